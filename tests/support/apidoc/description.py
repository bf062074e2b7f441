"""schema/openapi.json, with what it refers to."""

import pathlib
import re

from .schema import Schemas

repo = pathlib.Path(__file__).resolve().parents[3]
METHODS = ("get", "post", "patch", "put", "delete")
HERE = "/v1/openapi.json"


def file_of(path):
    """The text of a document as it stands in schema/."""
    name = "openapi.json" if path == HERE else path.removeprefix("/schema/")
    return (repo / "schema" / name).read_text(encoding="utf-8")


class Operation:
    def __init__(self, description, path, method, item):
        self.of = description
        self.path, self.method = path, method.upper()
        self.json = item[method]
        self.shared = item.get("parameters", [])

    @property
    def parameters(self):
        return [self.of.plain(p)
                for p in self.shared + self.json.get("parameters", [])]

    def names(self, where):
        return [p["name"] for p in self.parameters if p["in"] == where]

    @property
    def responses(self):
        return {status: self.of.plain(r)
                for status, r in self.json["responses"].items()}

    def request_schema(self, media):
        return self.json["requestBody"]["content"][media]["schema"]

    def answer_schema(self, status, media):
        """The schema of an answer, or None where it has no JSON of its own;
        KeyError when the description knows no such answer."""
        responses = self.responses
        found = responses.get(str(status))
        if not found:
            if status < 400:
                raise KeyError(f"{self}: no answer {status} is described")
            found = responses["default"]
        content = found.get("content", {})
        if not media and not content:
            return None
        if "*/*" in content:
            return None
        return content[media].get("schema")

    def __str__(self):
        return f"{self.method} {self.path}"


class Description:
    def __init__(self, fetch=file_of):
        self.schemas = Schemas(fetch)
        self.json = self.schemas.document(HERE)

    def plain(self, value):
        """Itself, or what its $ref names in this document."""
        return self.schemas.resolve(HERE, value["$ref"])[1] \
            if "$ref" in value else value

    def operations(self):
        return [Operation(self, path, method, item)
                for path, item in self.json["paths"].items()
                for method in METHODS if method in item]

    def find(self, method, path):
        """The operation of a request's path (without its query)."""
        fits = [o for o in self.operations() if o.method == method
                and re.fullmatch(pattern(o.path), path)]
        if not fits:
            raise KeyError(f"{method} {path} is not described")
        return min(fits, key=lambda o: o.path.count("{"))

    def refs(self):
        """(document, $ref) of everything that can be reached from here."""
        seen, left = set(), [HERE]
        while left:
            path = left.pop()
            for ref in within(self.schemas.document(path)):
                there, _ = self.schemas.resolve(path, ref)
                yield path, ref
                if there not in seen:
                    seen.add(there)
                    left.append(there)


def pattern(path):
    return re.sub(r"\\\{id\\\}", "[0-9a-fA-F-]{36}",
                  re.sub(r"\\\{(?!id)\w+\\\}", "[^/]+", re.escape(path)))


def within(value):
    if isinstance(value, dict):
        if isinstance(value.get("$ref"), str):
            yield value["$ref"]
        value = list(value.values())
    if isinstance(value, list):
        for item in value:
            yield from within(item)
