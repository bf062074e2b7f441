"""schema/openapi.json against the routes, the words and the limits of the
service; and the same description as the service gives it out."""

import json
import pathlib
import re
import unittest

from apidoc import (
    Description, Faults, page, problem_words, read, routes)
from apidoc.description import HERE
from apidoc.routes import ROLES, optics_functions, optics_ranges, source
from apidoc.schema import NOTES, SHAPES, WORDS
from lenstest import Service, repo

SCHEMA = pathlib.Path(repo) / "schema"
EVERY_KEYWORD = NOTES | set(SHAPES) | set(WORDS) | {
    "$ref", "allOf", "anyOf", "oneOf"}


def setUpModule():
    global svc, described, table
    svc = Service()
    described = Description()
    table = {key(r.method, r.path): r for r in routes()}


def tearDownModule():
    svc.close()


def key(method, path):
    """What two spellings of one path have in common."""
    return method, re.sub(r"\{\w+\}", "{}", path)


def resolve(ref):
    return described.schemas.resolve(HERE, "../schema/" + ref)


def pairs():
    for o in described.operations():
        if key(o.method, o.path) in table:
            yield o, table[key(o.method, o.path)]


class Routes(unittest.TestCase):
    def test_every_route_is_described_and_nothing_else(self):
        said = {key(o.method, o.path) for o in described.operations()}
        self.assertEqual(said, set(table))
        self.assertGreater(len(said), 60)

    def test_each_names_the_roles_that_may(self):
        for o, route in pairs():
            with self.subTest(str(o)):
                self.assertEqual(
                    o.json["x-roles"], [r for r in ROLES if r in route.roles])
                self.assertEqual(o.json.get("security"),
                                 [] if route.open else None)

    def test_each_names_its_word_in_the_audit_log(self):
        for o, route in pairs():
            with self.subTest(str(o)):
                self.assertEqual(o.json.get("x-audit", ""), route.action)

    def test_each_names_its_query_arguments(self):
        for o, route in pairs():
            with self.subTest(str(o)):
                self.assertEqual(sorted(o.names("query")),
                                 sorted(route.query))

    def test_each_names_the_headers_that_it_reads(self):
        names = {"MATCH": "If-Match", "KEYED": "Idempotency-Key"}
        for o, route in pairs():
            with self.subTest(str(o)):
                self.assertEqual(
                    sorted(o.names("header")),
                    sorted(names[f] for f in route.flags & set(names)))
                for p in o.parameters:
                    if p["name"] == "If-Match":
                        self.assertTrue(p["required"])

    def test_each_place_holder_of_a_path_is_a_parameter(self):
        for o, _ in pairs():
            with self.subTest(str(o)):
                self.assertEqual(o.names("path"),
                                 re.findall(r"\{(\w+)\}", o.path))

    def test_each_says_what_body_it_takes(self):
        for o, route in pairs():
            body = o.json.get("requestBody")
            media = set(body["content"]) if body else set()
            with self.subTest(str(o)):
                if route.flags & {"JSON"}:
                    self.assertEqual(media, {"application/json"})
                elif route.flags & {"MERGE"}:
                    self.assertEqual(media, {"application/json",
                                             "application/merge-patch+json"})
                elif o.path.startswith("/dicomweb/"):
                    self.assertEqual(media, {"multipart/related"})
                elif route.flags & {"RAW"}:
                    self.assertLess({"application/json"}, media)
                else:
                    self.assertEqual(media, set())
                if body:
                    self.assertEqual(body["required"],
                                     "MAYBE" not in route.flags)

    def test_each_says_how_it_refuses(self):
        for o, route in pairs():
            body = route.flags & {"JSON", "MERGE", "RAW"}
            with self.subTest(str(o)):
                said = set(o.responses)
                must = {"default"}
                must |= {"401"} if not route.open else set()
                must |= {"403"} if 0 < len(route.roles) < len(ROLES) else set()
                must |= {"404"} if "{id}" in o.path else set()
                must |= {"412", "428"} if "MATCH" in route.flags else set()
                must |= {"422"} if body or route.query else set()
                self.assertLessEqual(must, said)
                if "MATCH" not in route.flags:
                    self.assertFalse(said & {"412", "428"})
                if len(route.roles) in (0, len(ROLES)):
                    self.assertNotIn("403", said)

    def test_each_has_a_summary_an_id_and_a_known_tag(self):
        tags = [t["name"] for t in described.json["tags"]]
        ids = [o.json["operationId"] for o in described.operations()]
        self.assertEqual(len(set(ids)), len(ids))
        for o in described.operations():
            with self.subTest(str(o)):
                self.assertTrue(o.json["summary"])
                self.assertIn(o.json["tags"][0], tags)


class Documents(unittest.TestCase):
    def test_every_reference_resolves_and_every_file_is_reached(self):
        reached = set()
        for base, ref in described.refs():
            reached.add(described.schemas.resolve(base, ref)[0])
        self.assertEqual(
            {p.name for p in SCHEMA.glob("*.json")} - {"openapi.json"},
            {p.removeprefix("/schema/") for p in reached} - {HERE})

    def test_no_file_says_a_member_twice(self):
        def pairs_once(pairs):
            names = [n for n, _ in pairs]
            self.assertEqual(sorted(names), sorted(set(names)))
            return dict(pairs)
        for path in SCHEMA.glob("*.json"):
            with self.subTest(path.name):
                json.loads(path.read_text(), object_pairs_hook=pairs_once)

    def test_every_definition_is_used(self):
        used = {described.schemas.resolve(base, ref)[0] + "#"
                + ref.partition("#")[2] for base, ref in described.refs()}
        for name in optics_functions():
            used |= {f"/schema/optics.json#/$defs/{name}",
                     f"/schema/optics.json#/$defs/{name}-answer"}
        for path in SCHEMA.glob("*.json"):
            for name in json.loads(path.read_text()).get("$defs", {}):
                self.assertIn(f"/schema/{path.name}#/$defs/{name}", used)
        for kind in ("parameters", "headers", "responses"):
            for name in described.json["components"][kind]:
                self.assertIn(f"{HERE}#/components/{kind}/{name}", used)

    def test_schemas_use_keywords_that_the_tests_check(self):
        def look(schema, where):
            self.assertLessEqual(set(schema), EVERY_KEYWORD, where)
            for name, one in [*schema.get("properties", {}).items(),
                              *schema.get("$defs", {}).items()]:
                look(one, f"{where}/{name}")
            for word in ("allOf", "anyOf", "oneOf"):
                for one in schema.get(word, []):
                    look(one, f"{where}/{word}")
            if "items" in schema:
                look(schema["items"], f"{where}/items")
        for path in SCHEMA.glob("*.json"):
            if path.name != "openapi.json":
                text = json.loads(path.read_text())
                text.pop("x-problems", None)
                look(text, path.name)

    def test_the_page_is_what_the_description_makes(self):
        self.assertEqual((SCHEMA / "api.html").read_text(),
                         page.render(Description()),
                         "run tests/support/api-page")

    def test_every_link_of_the_page_leads_somewhere(self):
        text = (SCHEMA / "api.html").read_text()
        places = re.findall(r'id="([^"]+)"', text)
        self.assertEqual(len(places), len(set(places)))
        self.assertLessEqual(set(re.findall(r'href="#([^"]+)"', text)),
                             set(places))
        self.assertNotIn("<script", text)


def c_words(path, name):
    """The texts of a NULL-ended array in C."""
    body = re.search(rf"\b{name}\[\] = \{{(.*?)NULL", source(path), re.S)
    return re.findall(r'"([^"]+)"', body.group(1))


# Where C says the words, and where the schemas do.
WORD_LISTS = [
    ("server/record/reading.c", "RECORD_KIND_WORDS", "reading", "kind"),
    ("server/record/side.c", "RECORD_LENS_WORDS", "common", "lens"),
    ("server/record/side.c", "RECORD_PURPOSES", "common", "purpose"),
    ("server/record/acuity.c", "NOTATIONS", "common", "notation"),
    ("server/record/step.c", "RECORD_TESTS", "exam", "test"),
    ("server/record/step_field.c", "RECORD_FIELD_WORDS", "exam", "field"),
    ("server/record/exam.c", "OUTCOMES", "exam", "outcome"),
    ("server/record/exam.c", "RECORD_ACUITY_STAGES", "exam",
     "acuity-noted/properties/with"),
    ("server/record/reading.c", "RECORD_ACUITY_WITH", "reading",
     "reading-sent/properties/with"),
    ("server/record/reading.c", "RECORD_LENS_TYPES", "reading",
     "reading-sent/properties/lens_type"),
    ("server/record/reading.c", "RECORD_DISTANCES", "reading",
     "reading-sent/properties/distance"),
    ("server/record/exam_shapes.c", "WARNINGS", "exam",
     "history/properties/warning_signs/items"),
    ("server/record/exam_shapes.c", "DIABETES", "exam",
     "history/properties/diabetes"),
    ("server/record/order.c", "RECORD_DESIGNS", "order",
     "lens/properties/design"),
    ("server/record/order.c", "RECORD_MATERIALS", "order",
     "lens/properties/material"),
    ("server/record/order.c", "RECORD_SUPPLIES", "order",
     "frame/properties/supply"),
    ("server/record/order.c", "RECORD_PRIORITIES", "order",
     "order-new/properties/priority"),
    ("server/record/order_state.c", "RECORD_ORDER_STATUS_WORDS", "order",
     "order-head/properties/status"),
    ("server/record/order_state.c", "RECORD_ORDER_STATUS_WORDS", "event",
     "order/properties/status"),
    ("server/record/order_state.c", "RECORD_ORDER_STAGE_WORDS", "order",
     "event/properties/stage"),
    ("server/record/order_state.c", "RECORD_REMAKE_CAUSES", "order", "cause"),
    ("server/http/releases.c", "KINDS", "rx", "release-sent/properties/kind"),
    ("server/http/releases.c", "KINDS", "rx", "release/properties/kind"),
    ("server/http/releases.c", "WAYS", "rx", "release-sent/properties/way"),
    ("server/http/network.c", "LEAP_DAYS", "admin",
     "network-change/properties/expiry_leap_day"),
    ("server/http/webhooks.c", "KINDS", "webhook", "kind"),
    ("server/http/webhooks.c", "STATES", "webhook",
     "delivery/properties/state"),
    ("server/record/order.c", "RECORD_MAKE_CHOICES", "order",
     "order-new/properties/make_power"),
    ("server/http/visits.c", "STATUSES", "visit",
     "visit-change/properties/status"),
    ("server/record/user.c", "RECORD_ROLES", "admin",
     "user-new/properties/role"),
    ("server/record/patient.c", "SEXES", "patient",
     "patient-sent/properties/sex"),
    ("server/instruments/profile.c", "FORMS", "profile",
     "profile/properties/form"),
    ("server/instruments/encoding.c", "ENCODING_WORDS", "profile",
     "profile/properties/encoding"),
]


class Words(unittest.TestCase):
    def test_word_lists_are_those_of_the_code(self):
        for path, name, file, where in WORD_LISTS:
            with self.subTest(f"{path} {name}"):
                _, schema = resolve(f"{file}.json#/$defs/{where}")
                self.assertEqual(schema["enum"], c_words(path, name))

    def test_sections_of_an_exam_are_those_of_the_code(self):
        _, sent = resolve("exam.json#/$defs/sections-sent")
        self.assertEqual(
            [n for n in sent["properties"] if n != "habitual"],
            c_words("server/record/exam.c", "RECORD_SECTIONS"))

    def test_members_of_an_order_are_those_of_the_code(self):
        fields = c_words("server/record/order.c", "RECORD_ORDER_FIELDS")
        for name, more in (("order-new", ["exam", "draft"]),
                           ("order-change", ["exam"]),
                           ("order-amendment", ["exam", "reason"]),
                           ("order-remake", ["cause", "note", "draft"])):
            _, schema = resolve(f"order.json#/$defs/{name}")
            self.assertEqual(sorted(schema["properties"]),
                             sorted(fields + more))

    def test_sizes_of_batches_are_those_of_the_code(self):
        for path, name, schema in (
                ("server/instruments/format.h", "INSTRUMENTS_READINGS_MAX",
                 "reading.json#/$defs/readings-sent/anyOf/1"),
                ("server/http/optics_answer.c", "ITEMS_MAX",
                 "optics.json#/$defs/request/anyOf/1")):
            most = re.search(rf"#define {name} (\d+)", source(path)).group(1)
            _, array = resolve(schema)
            self.assertEqual(array["maxItems"], int(most))

    def test_limits_of_lines_are_those_of_the_code(self):
        said = described.json["paths"]["/v1/readings"]["post"]["description"]
        for path, name in (
                ("server/instruments/native_lines.h", "NATIVE_LINE_MAX"),
                ("server/instruments/profile.h", "PROFILE_LINE_MAX"),
                ("server/http/lines.c", "LINES_MOST")):
            most = re.search(rf"#define {name} (\d+)", source(path)).group(1)
            self.assertIn(f" {int(most):,} ", said)
        shift = re.search(r"#define ANSWER_MOST \((\d+) << 20\)",
                          source("server/http/lines.c")).group(1)
        self.assertIn(f" {shift} MiB", said)

    def test_problems_are_those_of_the_code(self):
        said = described.schemas.document("/schema/problem.json")["x-problems"]
        self.assertEqual({w: p["status"] for w, p in said.items()},
                         problem_words())
        titles = re.findall(r'\{\d+, "([A-Z][^"]+)"\}',
                            source("server/http/problem.c"))
        self.assertEqual(sorted(p["title"] for p in said.values()),
                         sorted(titles))
        self.assertTrue(all(p["description"] for p in said.values()))

    def test_optics_functions_and_their_members_are_those_of_the_code(self):
        functions = optics_functions()
        item = described.json["paths"]["/v1/optics/{function}"]
        self.assertEqual(item["parameters"][0]["schema"]["enum"],
                         list(functions))
        for name, members in functions.items():
            with self.subTest(name):
                _, schema = resolve(f"optics.json#/$defs/{name}")
                self.assertEqual(sorted(schema["properties"]),
                                 sorted(members))

    def test_optics_ranges_are_those_of_the_code(self):
        ranges, looked = optics_ranges(), 0
        for name, of in described.schemas.document(
                "/schema/optics.json")["$defs"].items():
            if name.endswith("-answer"):
                continue
            for member, schema in of.get("properties", {}).items():
                if "$ref" in schema:
                    _, schema = described.schemas.resolve(
                        "/schema/optics.json", schema["$ref"])
                if member in ranges and "minimum" in schema:
                    looked += 1
                    self.assertIn((float(schema["minimum"]),
                                   float(schema["maximum"])),
                                  ranges[member], f"{name}/{member}")
        self.assertGreater(looked, 80)


# (schema, JSON that fits, JSON that doesn't)
CHECKS = [
    ({"type": "integer"}, "3", "3.5"), ({"type": "number"}, "-1", "true"),
    ({"type": ["string", "null"]}, "null", "0"),
    ({"type": "boolean"}, "false", "0"),
    ({"enum": ["a", None]}, "null", '"b"'), ({"const": 1}, "1", "true"),
    ({"required": ["a"]}, '{"a": null}', "{}"),
    ({"properties": {"a": {"type": "string"}}}, '{"b": 1}', '{"a": 1}'),
    ({"properties": {"a": {}}, "additionalProperties": False}, '{"a": 1}',
     '{"b": 1}'),
    ({"items": {"type": "null"}}, "[null]", "[0]"),
    ({"minItems": 1}, "[0]", "[]"), ({"maxItems": 1}, "[0]", "[0, 0]"),
    ({"minLength": 2}, '"ab"', '"a"'), ({"maxLength": 1}, '"a"', '"ab"'),
    ({"minProperties": 1}, '{"a": 0}', "{}"),
    ({"minimum": 2}, "2", "1.99"), ({"maximum": 2}, "2.00", "2.01"),
    ({"multipleOf": 0.01}, "-7.68", "-7.685"),
    ({"pattern": "^a$"}, '"a"', '"ba"'),
    ({"allOf": [{"minimum": 1}, {"maximum": 2}]}, "1", "3"),
    ({"anyOf": [{"minimum": 5}, {"maximum": 2}]}, "1", "3"),
    ({"oneOf": [{"minimum": 1}, {"minimum": 5}]}, "2", "6"),
    ({"oneOf": [{"minimum": 1}, {"minimum": 5}]}, "2", "0"),
    ({"$ref": "../schema/common.json#/$defs/side"}, '"left"', '"both"')]
CLOSED = [
    ({"x-places": 2}, "0.00", "0"), ({"x-places": 2}, "-7.50", "-7.5"),
    ({"x-places": 2}, "0.00", "-0.00"),
    ({"allOf": [{"properties": {"a": {}}}], "properties": {"b": {}}},
     '{"a": 1, "b": 1}', '{"a": 1, "c": 1}'),
    ({"properties": {"a": {"properties": {"b": {}}}}}, '{"a": {"b": 1}}',
     '{"a": {"c": 1}}'),
    ({"anyOf": [{"properties": {"a": {}}, "required": ["a"]},
                {"properties": {"b": {}}, "required": ["b"]}]},
     '{"b": 1}', '{"b": 1, "c": 1}')]


class Validator(unittest.TestCase):
    """What other tests lean on."""

    def test_each_keyword_lets_good_pass_and_bad_fail(self):
        schemas = [(*row, False) for row in CHECKS] + \
            [(*row, True) for row in CLOSED]
        for schema, good, bad, closed in schemas:
            schema = read(json.dumps(schema))  # decimals, as in the files
            with self.subTest(schema=schema, bad=bad):
                described.schemas.check(schema, read(good), closed)
                with self.assertRaises(Faults):
                    described.schemas.check(schema, read(bad), closed)

    def test_an_unknown_keyword_is_an_error_of_the_schema(self):
        with self.assertRaises(ValueError):
            described.schemas.check({"contains": {}}, [])


class Served(unittest.TestCase):
    def test_the_description_comes_over_http_as_it_stands(self):
        answer = svc.api("GET", "/v1/openapi.json")
        self.assertEqual(answer.status, 200)
        self.assertEqual(answer.headers["Content-Type"], "application/json")
        self.assertEqual(
            answer.body, json.loads((SCHEMA / "openapi.json").read_text()))

    def test_every_reference_resolves_over_http(self):
        def fetch(path):
            answer = svc.api("GET", path)
            self.assertEqual(answer.status, 200, path)
            return json.dumps(answer.body)
        there = Description(fetch)
        self.assertEqual(sorted(there.refs()), sorted(described.refs()))

    def test_the_page_comes_with_a_place_for_every_problem(self):
        answer = svc.api("GET", "/docs/api")
        self.assertEqual(answer.status, 200)
        self.assertEqual(answer.headers["Content-Type"],
                         "text/html; charset=utf-8")
        self.assertIn("style-src 'unsafe-inline'",
                      answer.headers["Content-Security-Policy"])
        text = answer.body.decode()
        for word in problem_words():
            self.assertIn(f'id="problem-{word}"', text)

    def test_nothing_beside_the_schemas_is_given_out(self):
        for name in ("none.json", "..%2fmeson.build", ".", "..", "%2e%2e",
                     "Reading.json"):
            with self.subTest(name):
                answer = svc.api("GET", f"/schema/{name}")
                self.assertEqual(answer.status, 404)


if __name__ == "__main__":
    unittest.main()
