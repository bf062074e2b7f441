"""JSON Schema 2020-12, as much of it as schema/ uses.

A keyword that is not known here is an error of the schema, so that nothing
stands in a schema that no test looks at.  Two things go beyond the standard:
x-places, the decimals that an answer writes, and "closed", which refuses
members that no schema of that object names (an answer says nothing that is
not described; clients still have to let new members pass).
"""

import decimal
import json
import re
from typing import NamedTuple

TYPES = {
    "object": lambda v: isinstance(v, dict),
    "array": lambda v: isinstance(v, list),
    "string": lambda v: isinstance(v, str),
    "boolean": lambda v: isinstance(v, bool),
    "null": lambda v: v is None,
    "number": lambda v: is_number(v),
    "integer": lambda v: is_number(v) and v == int(v),
}
NAMED = object()  # stands among the names seen when a schema names members
NOTES = {"$schema", "title", "description", "format", "default", "$defs"}


def is_number(value):
    return isinstance(value, (int, decimal.Decimal)) and \
        not isinstance(value, bool)


def read(text):
    """JSON with its decimals as they were written."""
    return json.loads(text, parse_float=decimal.Decimal)


def same(a, b):
    return is_number(a) == is_number(b) and a == b and \
        isinstance(a, bool) == isinstance(b, bool)


class Faults(AssertionError):
    pass


class Place(NamedTuple):
    """A schema, the document that it stands in, and how to look at it."""
    base: str
    schema: dict
    closed: bool

    def at(self, schema):
        return self._replace(schema=schema)


class Schemas:
    """fetch(path) gives the text of a document, path as the service has it:
    /schema/reading.json."""

    def __init__(self, fetch):
        self.fetch = fetch
        self.documents = {}

    def document(self, path):
        if path not in self.documents:
            self.documents[path] = json.loads(
                self.fetch(path), parse_float=decimal.Decimal)
        return self.documents[path]

    def resolve(self, base, ref):
        """(document's path, what stands there) of a $ref in base."""
        path, _, pointer = ref.partition("#")
        if path.startswith("../"):
            path = path[2:]
        elif path and not path.startswith("/"):
            path = base.rpartition("/")[0] + "/" + path
        path = path or base
        value = self.document(path)
        for part in pointer.split("/")[1:]:
            value = value[int(part) if isinstance(value, list) else
                          part.replace("~1", "/").replace("~0", "~")]
        return path, value

    def check(self, ref, value, closed=False):
        """Raises Faults unless value, made by read(), is as ref says."""
        base, schema = self.resolve("/v1/openapi.json", ref) \
            if isinstance(ref, str) else ("/v1/openapi.json", ref)
        faults = self.whole(Place(base, schema, closed), value, "")
        if faults:
            raise Faults(f"{ref}: " + "\n  ".join(faults[:20]))

    # --- one value

    def whole(self, place, value, at):
        """Faults of a value and of members that no schema names."""
        faults, seen = self.look(place, value, at)
        if place.closed and NAMED in seen and not faults:
            faults += [f"{at}/{name}: no schema names it"
                       for name in value if name not in seen]
        return faults

    def look(self, place, value, at):
        """(faults, names of members that a schema looked at)"""
        faults, seen = [], set()
        for word, asked in place.schema.items():
            if word in NOTES:
                continue
            if word == "$ref":
                base, schema = self.resolve(place.base, asked)
                more, names = self.look(
                    Place(base, schema, place.closed), value, at)
            elif word in ("allOf", "anyOf", "oneOf"):
                more, names = self.several(word, place, value, at)
            elif word in SHAPES:
                more, names = SHAPES[word](self, place, value, at)
            elif word in WORDS:
                more, names = WORDS[word](asked, value, place), set()
                more = [f"{at}: {more}"] if more else []
            else:
                raise ValueError(f"{place.base}: \"{word}\" is a keyword that"
                                 " nothing here checks")
            faults += more
            seen |= names
        return faults, seen

    def several(self, word, place, value, at):
        looks = [self.look(place.at(s), value, at)
                 for s in place.schema[word]]
        good = [seen for faults, seen in looks if not faults]
        names = set().union(*good) if good else set()
        if word == "allOf":
            return [f for faults, _ in looks for f in faults], names
        if len(good) == 1 or (good and word == "anyOf"):
            return [], names
        if good:
            return [f"{at}: fits {len(good)} of oneOf"], names
        return [f"{at}: fits none of {word}:\n    " + "\n    ".join(
            sum((faults[:3] for faults, _ in looks), []))], names

    def properties(self, place, value, at):
        faults, known = [], place.schema["properties"]
        if not isinstance(value, dict):
            return [], set()
        for name in value:
            if name in known:
                faults += self.whole(place.at(known[name]), value[name],
                                     f"{at}/{name}")
        return faults, set(value) & set(known) | {NAMED}

    def additional(self, place, value, at):
        rest = set(value) - set(place.schema.get("properties", {})) \
            if isinstance(value, dict) else set()
        if place.schema["additionalProperties"] is not False:
            raise ValueError("additionalProperties is false, or absent")
        return [f"{at}/{name}: is not allowed" for name in sorted(rest)], \
            set()

    def items(self, place, value, at):
        if not isinstance(value, list):
            return [], set()
        return [fault for i, item in enumerate(value) for fault in
                self.whole(place.at(place.schema["items"]), item,
                           f"{at}/{i}")], set()


SHAPES = {"properties": Schemas.properties, "items": Schemas.items,
          "additionalProperties": Schemas.additional}


# --- keywords about one value: what is wrong, or None

def of_type(asked, value, _):
    names = [asked] if isinstance(asked, str) else asked
    if not any(TYPES[name](value) for name in names):
        return f"{value!r} is not {' or '.join(names)}"


def of_enum(asked, value, _):
    if not any(same(value, one) for one in asked):
        return f"{value!r} is none of {asked}"


def of_const(asked, value, _):
    if not same(value, asked):
        return f"{value!r} is not {asked!r}"


def required(asked, value, _):
    missing = [n for n in asked if n not in value] \
        if isinstance(value, dict) else []
    if missing:
        return f"lacks {missing}"


def sized(least, kinds, word):
    def look(asked, value, _):
        if isinstance(value, kinds) and (
                len(value) < asked if least else len(value) > asked):
            return f"has {len(value)} of {word} {asked}"
    return look


def bounded(holds, word):
    def look(asked, value, _):
        if is_number(value) and not holds(value, asked):
            return f"{value} is not {word} {asked}"
    return look


def pattern(asked, value, _):
    if isinstance(value, str) and not re.search(asked, value):
        return f"{value!r} doesn't match {asked}"


def places(asked, value, place):
    """Answers only; 0.00 has two, and -0.00 never leaves."""
    if not place.closed or not is_number(value):
        return None
    if -decimal.Decimal(value).as_tuple().exponent != asked:
        return f"{value} is not written with {asked} decimals"
    if value == 0 and decimal.Decimal(value).is_signed():
        return "a negative zero"


WORDS = {
    "type": of_type, "enum": of_enum, "const": of_const, "required": required,
    "minLength": sized(True, str, "at least"),
    "maxLength": sized(False, str, "at most"),
    "minItems": sized(True, list, "at least"),
    "maxItems": sized(False, list, "at most"),
    "minProperties": sized(True, dict, "at least"),
    "minimum": bounded(lambda v, a: v >= a, "at least"),
    "maximum": bounded(lambda v, a: v <= a, "at most"),
    "multipleOf": bounded(lambda v, a: v % a == 0, "a multiple of"),
    "pattern": pattern, "x-places": places,
}
