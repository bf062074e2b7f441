"""schema/api.html: the description as one page for people, without scripts.

render() makes the same text of the same description every time.
"""

import html
import pathlib

here = pathlib.Path(__file__).resolve().parent


def e(text):
    return html.escape(str(text), quote=True)


def tag(name, inside, **attributes):
    rest = "".join(f' {k.rstrip("_")}="{e(v)}"' for k, v in attributes.items())
    return f"<{name}{rest}>{inside}</{name}>"


def words(text):
    """A description: its sentences, with what stands in code."""
    return e(text)


# --- shapes

def anchor(ref):
    """reading.json#/$defs/eye -> shape-reading-eye"""
    path, _, pointer = ref.partition("#/$defs/")
    return f"shape-{path.rpartition('/')[2].removesuffix('.json')}-{pointer}"


class Shapes:
    def __init__(self, file):
        self.file = file  # "reading.json", the one that $refs start from

    def ref(self, ref):
        return ref if not ref.startswith("#") else self.file + ref

    def link(self, ref):
        ref = self.ref(ref)
        return tag("a", e(ref.rpartition("/")[2]), href="#" + anchor(ref))

    def kind(self, s):
        """What a value may be, in a few words."""
        if "$ref" in s:
            return self.link(s["$ref"])
        for word in ("anyOf", "oneOf"):
            if word in s and "properties" not in s and any(
                    set(one) != {"required"} for one in s[word]):
                return " or ".join(dict.fromkeys(map(self.kind, s[word])))
        if "const" in s:
            return "always " + tag("code", e(constant(s["const"])))
        if "enum" in s:
            return "one of " + ", ".join(
                tag("code", e(constant(one))) for one in s["enum"])
        if "allOf" in s and s["allOf"][0].get("$ref"):
            return "with all of " + " and ".join(map(self.kind, s["allOf"]))
        names = s.get("type", "anything")
        names = [names] if isinstance(names, str) else names
        return " or ".join(self.named(name, s) for name in names)

    def named(self, name, s):
        if name == "array":
            return f"list{between(s, 'minItems', 'maxItems', ' of {} items')}" \
                + (f" of {self.kind(s['items'])}" if "items" in s else "")
        if name == "string":
            if s.get("format") in ("uuid", "date-time", "date"):
                return {"uuid": "id", "date-time": "instant",
                        "date": "day"}[s["format"]]
            most = s.get("maxLength")
            return f"text of up to {most}" if most else "text"
        if name in ("number", "integer"):
            word = "whole number" if name == "integer" else "number"
            return word + between(s, "minimum", "maximum", ", {}") + (
                f", in {s['multipleOf']}" if "multipleOf" in s else "")
        return {"boolean": "true or false", "object": "object"}.get(name, name)

    def members(self, s):
        """An object's members as a list; "" when it has none of its own."""
        if s.get("type") == "array" and "items" in s:
            return self.members(s["items"])
        rows = "".join(self.member(name, one, name in s.get("required", []))
                       for name, one in s.get("properties", {}).items())
        inner = "".join(self.members(one) for word in ("anyOf", "oneOf")
                        for one in s.get(word, [])
                        if "properties" in one and "properties" not in s)
        return (tag("ul", rows, class_="members") if rows else "") + inner

    def member(self, name, s, needed):
        need = tag("span", "required", class_="need") if needed else ""
        said = ""
        if "description" in s:
            said = " " + tag("span", words(s["description"]), class_="said")
        return tag("li", f"{tag('code', e(name))} {need} "
                   f"{tag('span', self.kind(s), class_='kind')}{said}"
                   f"{self.members(s)}") + "\n"

    def also(self, s):
        """What an object has beside its own members."""
        bases = [one for one in s.get("allOf", [])]
        text = ""
        linked = [self.link(b["$ref"]) for b in bases if "$ref" in b]
        if linked:
            text = tag("p", "All of " + " and ".join(linked)
                       + (", and:" if "properties" in s else "."))
        return text + "".join(self.members(b) for b in bases
                              if "$ref" not in b)

    def rule(self, s):
        """Which members may stand together."""
        for word, said in (("oneOf", "Exactly one of"),
                           ("anyOf", "At least one of")):
            names = [one["required"][0] for one in s.get(word, [])
                     if set(one) == {"required"}]
            if names:
                return tag("p", said + " " + ", ".join(
                    tag("code", e(n)) for n in names) + ".")
        return ""

    def shape(self, name, s):
        body = self.also(s) + self.members(s) + self.rule(s)
        kind = "" if "properties" in s or "allOf" in s else \
            tag("p", self.kind(s), class_="kind")
        said = tag("p", words(s["description"])) if "description" in s else ""
        return tag("section", tag("h4", e(name)) + said + kind + body,
                   id=f"shape-{self.file.removesuffix('.json')}-{name}") + "\n"


def constant(value):
    return "null" if value is None else str(value).lower() \
        if isinstance(value, bool) else value


def between(s, low, high, form):
    if low in s and high in s:
        return form.format(f"{s[low]} to {s[high]}")
    if high in s:
        return form.format(f"at most {s[high]}")
    return form.format(f"at least {s[low]}") if low in s and s[low] else ""


# --- operations

def schema_kind(schema):
    return Shapes("openapi.json").kind(schema) if schema else ""


def parameter(p):
    need = tag("span", "required", class_="need") if p.get("required") else ""
    return tag("tr", tag("th", tag("code", e(p["name"])) + " " + need,
                         scope="row")
               + tag("td", schema_kind(p.get("schema")))
               + tag("td", words(p.get("description", "")))) + "\n"


def media_rows(content):
    return "".join(
        tag("li", (tag("code", e(media)) if media != "*/*" else "any bytes")
            + " " + schema_kind(one.get("schema")))
        for media, one in content.items())


def who(o):
    roles = o.json["x-roles"]
    if not roles:
        return "No token is asked for."
    text = "any role" if len(roles) == 6 else ", ".join(roles)
    audit = o.json.get("x-audit")
    return f"For {e(text)}." + (
        f" In the audit log: {tag('code', e(audit))}." if audit else "")


def answers(o, problems):
    rows = ""
    for status, r in sorted(o.responses.items()):
        plain = status in problems and "anyOf" not in str(r)
        if status == "default" or plain:
            continue
        headers = ", ".join(tag("code", e(h)) for h in r.get("headers", {}))
        rows += tag("li", f"{tag('strong', status)} {words(r['description'])}"
                    + (f" With {headers}." if headers else "")
                    + (tag("ul", media_rows(r["content"]))
                       if r.get("content") else "")) + "\n"
    refusals = [tag("a", status, href=f"#problem-{problems[status]}")
                for status in sorted(o.responses) if status in problems]
    if refusals:
        rows += tag("li", "Or a problem: " + ", ".join(refusals)
                    + ", or another.") + "\n"
    return tag("ul", rows, class_="answers")


def functions(o):
    """Of POST /v1/optics/{function}: each with its own shapes."""
    if not o.path.endswith("{function}"):
        return ""
    of = o.of.schemas.document("/schema/optics.json")["$defs"]
    names = o.parameters[0]["schema"]["enum"]
    return tag("p", "Functions:") + tag("ul", "".join(
        tag("li", tag("a", tag("code", e(name)), href=f"#shape-optics-{name}")
            + " " + words(of[name]["description"]) + ": "
            + tag("a", "answer", href=f"#shape-optics-{name}-answer")) + "\n"
        for name in names))


def operation(o, problems):
    said = o.json.get("description")
    body = o.json.get("requestBody")
    parameters = "".join(map(parameter, o.parameters))
    return tag(
        "section",
        tag("h3", tag("span", o.method, class_=f"method {o.method.lower()}")
            + " " + tag("code", e(o.path)))
        + tag("p", tag("strong", words(o.json["summary"])) + ". "
              + (words(said) if said else ""))
        + tag("p", who(o), class_="who")
        + (tag("div", tag("table", tag("tbody", parameters)), class_="wide")
           if parameters else "")
        + (tag("p", "Body" + ("" if body["required"] else ", if any") + ":")
           + tag("ul", media_rows(body["content"])) if body else "")
        + tag("p", "Answers:") + answers(o, problems) + functions(o),
        id=o.json["operationId"], class_="operation") + "\n"


# --- the page

def contents(description, tags):
    text = ""
    for t in tags:
        rows = "".join(
            tag("li", tag("a", tag("span", o.method, class_="method "
                                   + o.method.lower()) + " "
                          + tag("code", e(o.path)),
                          href="#" + o.json["operationId"])
                + " " + tag("span", words(o.json["summary"]), class_="said"))
            for o in description.operations() if o.json["tags"] == [t["name"]])
        text += tag("h3", tag("a", e(t["name"]), href="#tag-" + t["name"])) \
            + tag("ul", rows) + "\n"
    return text


def problem_list(problems):
    return "".join(
        tag("section", tag("h3", tag("code", e(word)) + f" {p['status']}")
            + tag("p", tag("strong", words(p["title"])) + ". "
                  + words(p["description"])), id=f"problem-{word}") + "\n"
        for word, p in problems.items())


def shapes(description):
    text = ""
    files = sorted({p for p in description.schemas.documents
                    if p.startswith("/schema/")})
    for path in files:
        document, name = description.schemas.document(path), path[8:]
        file = Shapes(name)
        text += tag("section", tag("h3", e(document["title"]))
                    + tag("p", words(document["description"]) + " "
                          + tag("a", e(path), href=path))
                    + "".join(file.shape(n, s)
                              for n, s in document["$defs"].items())) + "\n"
    return text


def fill(template, parts):
    for name, text in parts.items():
        template = template.replace("{{" + name + "}}", text)
    return template


def render(description):
    list(description.refs())  # loads every document
    problems = description.schemas.document("/schema/problem.json")[
        "x-problems"]
    by_status = {str(p["status"]): word for word, p in problems.items()}
    tags = description.json["tags"]
    groups = "".join(
        tag("section", tag("h2", e(t["name"])) + tag("p", e(t["description"]))
            + "".join(operation(o, by_status)
                      for o in description.operations()
                      if o.json["tags"] == [t["name"]]),
            id="tag-" + t["name"]) + "\n" for t in tags)
    return fill((here / "page.html").read_text(encoding="utf-8"), {
        "style": (here / "page.css").read_text(encoding="utf-8"),
        "about": words(description.json["info"]["description"]),
        "version": e(description.json["info"]["version"]),
        "contents": contents(description, tags),
        "groups": groups,
        "problems": problem_list(problems),
        "shapes": shapes(description)})
