"""Field profiles over HTTP: versions, a try on a sample, and readings."""

import base64
import csv
import json
import os
import re
import subprocess
import unittest

from apidoc import Description
from lenstest import Service, repo

CORPUS = repo / "tests/data/corpus/sample.csv"
SHIPPED = repo / "deploy/profiles"
CSV = {"Content-Type": "text/csv"}

# Made up for these tests: a row a lens.
ROWS = {
    "title": "rows", "form": "delimited", "zone": "+01:00",
    "eye": {"from": "eye", "right": ["R"], "left": ["L"]},
    "group": ["number"],
    "readings": [{"kind": "lensometry", "fields": [
        {"to": "/taken_at", "from": "at", "format": "DD.MM.YYYY hh:mm"},
        {"to": "/patient/record_number", "from": "number"},
        {"to": "/{eye}/sphere", "from": "sph"},
        {"to": "/{eye}/cylinder", "from": "cyl"},
        {"to": "/{eye}/axis", "from": "axis"}]}]}
HEAD = "number,at,eye,sph,cyl,axis\n"
GOOD = HEAD + "Q-1,02.03.2026 09:14,R,-2.25,-0.75,172\n" \
              "Q-1,02.03.2026 09:14,L,+1.00,0,\n"
LINES = {
    "title": "lines", "form": "lines", "zone": "clinic",
    "lines": {"patterns": [
        {"pattern": "{at} {eye} {sph}"}]},
    "eye": {"from": "eye", "right": ["R"], "left": ["L"]},
    "readings": [{"kind": "autorefraction", "fields": [
        {"to": "/taken_at", "from": "at", "format": "YYYY-MM-DDThh:mm"},
        {"to": "/{eye}/sphere", "from": "sph"}]}]}


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def shipped(name):
    return json.loads((SHIPPED / f"{name}.json").read_text(encoding="utf-8"))


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def ask(self, role, method, path, body=None, status=200, **headers):
        headers = {n.replace("_", "-"): v for n, v in headers.items()}
        answer = self.net.api(role, method, path, body, headers)
        self.assertEqual(answer.status, status, answer.body)
        return answer

    def add(self, name="rows", profile=None, **more):
        return self.ask("admin", "POST", "/v1/profiles",
                        {"name": name, "profile": profile or ROWS}, 201,
                        **more)

    def pointers(self, answer):
        return [e["pointer"] for e in answer.body["errors"]]

    def count(self, table="reading"):
        return int(svc.psql(f"SELECT count(*) FROM {table}"
                            f" WHERE network_id = '{self.net.id}'")[0][0])


class Versions(Case):
    def test_a_profile_is_added_read_and_listed(self):
        made = self.add()
        self.assertEqual(made.headers["Location"], "/v1/profiles/rows")
        self.assertEqual((made.body["version"], made.body["form"],
                          made.body["profile"]), (1, "delimited", ROWS))
        got = self.ask("desk", "GET", "/v1/profiles/rows")
        self.assertEqual(got.body, made.body)
        self.assertEqual(got.headers["ETag"], made.headers["ETag"])
        self.add("other", LINES)
        items = self.ask("desk", "GET", "/v1/profiles").body["items"]
        self.assertEqual([i["name"] for i in items], ["other", "rows"])
        page = self.ask("desk", "GET", "/v1/profiles?limit=1").body
        rest = self.ask("desk", "GET",
                        f"/v1/profiles?after={page['next']}").body
        self.assertEqual([i["name"] for i in rest["items"]], ["rows"])

    def test_a_version_never_changes_and_the_newest_counts(self):
        first = self.add()
        path = "/v1/profiles/rows/versions"
        changed = {**ROWS, "title": "rows, again"}
        tag = first.headers["ETag"]
        self.ask("admin", "POST", path, {"profile": changed}, 428)
        second = self.ask("admin", "POST", path, {"profile": changed}, 201,
                          If_Match=tag)
        self.assertEqual((second.body["version"], second.body["id"]),
                         (2, first.body["id"]))
        self.ask("admin", "POST", path, {"profile": ROWS}, 412, If_Match=tag)
        got = self.ask("desk", "GET", "/v1/profiles/rows").body
        self.assertEqual(got["profile"]["title"], "rows, again")
        old = self.ask("desk", "GET", "/v1/profiles/rows?version=1").body
        self.assertEqual(old, first.body)
        told = self.ask("desk", "GET", path).body["items"]
        self.assertEqual([v["version"] for v in told], [2, 1])
        self.assertTrue(all(v["created_by"] for v in told))
        for wrong, status in (("?version=9", 404), ("?version=0", 422),
                              ("?version=-1", 422), ("?version=x", 422)):
            self.ask("desk", "GET", "/v1/profiles/rows" + wrong, None, status)
        self.assertEqual(len(
            self.ask("desk", "GET", "/v1/profiles").body["items"]), 1)

    def test_a_name_is_taken_once_and_is_fit_for_a_path(self):
        self.add()
        again = self.ask("admin", "POST", "/v1/profiles",
                         {"name": "rows", "profile": ROWS}, 409)
        self.assertEqual(self.pointers(again), ["/name"])
        for name in ("preview", "Rows", "-rows", "ro ws", "r/s", "r@1",
                     "x" * 64, ""):
            with self.subTest(name):
                answer = self.ask("admin", "POST", "/v1/profiles",
                                  {"name": name, "profile": ROWS}, 422)
                self.assertEqual(self.pointers(answer), ["/name"])

    def test_the_same_key_twice_adds_once(self):
        first = self.add(Idempotency_Key="p")
        second = self.add(Idempotency_Key="p")
        self.assertEqual(first.body, second.body)
        self.assertEqual(self.count("field_profile"), 1)

    def test_of_two_at_the_same_time_one_is_told_of_the_other(self):
        self.add()
        for name, version, tail, body, status in (
                ("rows", 2, "/rows/versions", {"profile": ROWS}, 412),
                ("new", 1, "", {"name": "new", "profile": ROWS}, 409)):
            first = subprocess.Popen(
                svc.psql_command("lensclerk_super"), text=True, cwd="/",
                stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                env={"PATH": os.environ["PATH"]})
            with first, self.subTest(name):
                first.stdin.write(
                    "BEGIN; INSERT INTO field_profile (network_id, name,"
                    " version, profile_id, title, form, document, created_at)"
                    f" SELECT '{self.net.id}', '{name}', {version},"
                    " gen_random_uuid(), 'x', 'lines', '{}', now();"
                    " SELECT 'stands'; SELECT pg_sleep(1); COMMIT;")
                first.stdin.close()
                self.assertEqual(first.stdout.readline(), "stands\n")
                self.ask("admin", "POST", "/v1/profiles" + tail, body,
                         status, If_Match='"1"')

    def test_only_an_admin_writes_and_only_this_network_sees(self):
        self.add()
        for role in ("desk", "prescriber", "auditor", "device", "lab"):
            self.ask(role, "POST", "/v1/profiles",
                     {"name": "mine", "profile": ROWS}, 403)
            self.ask(role, "POST", "/v1/profiles/rows/versions",
                     {"profile": ROWS}, 403, If_Match="*")
        self.assertEqual(svc.api("GET", "/v1/profiles").status, 401)
        other = svc.network()
        for method, path, body in (
                ("GET", "/v1/profiles/rows", None),
                ("GET", "/v1/profiles/rows/versions", None),
                ("POST", "/v1/profiles/rows/versions", {"profile": ROWS})):
            answer = other.api("admin", method, path, body,
                               {"If-Match": "*"} if body else {})
            self.assertEqual(answer.status, 404, path)
        self.assertEqual(
            other.api("admin", "GET", "/v1/profiles").body["items"], [])
        answer = other.api("desk", "POST", "/v1/readings?profile=rows",
                           GOOD.encode(), CSV)
        self.assertEqual(answer.status, 422)

    def test_it_is_in_the_audit_log_and_no_row_can_be_changed(self):
        made = self.add()
        rows = self.ask("auditor", "GET",
                        f"/v1/audit?subject={made.body['id']}").body["items"]
        self.assertEqual([r["action"] for r in rows], ["profile-added"])
        may = svc.psql(
            "SELECT has_table_privilege('lensclerkd', 'field_profile', p)"
            " FROM unnest(ARRAY['SELECT', 'INSERT', 'UPDATE', 'DELETE']) AS p")
        self.assertEqual([r[0] for r in may], ["t", "t", "f", "f"])

    def test_every_fault_of_a_profile_is_told_at_once(self):
        wrong = {**ROWS, "form": "delimited", "encoding": "ebcdic",
                 "fixed": {}, "colour": 1,
                 "readings": [{"kind": "lens", "fields": [
                     {"to": "/right/spere", "from": "sph"},
                     {"to": "/right/sphere", "from": "sph", "unit": "mm"},
                     {"to": "/right/axis"},
                     {"to": "/taken_at", "from": "at", "format": "DD.MM."},
                 ]}]}
        answer = self.ask("admin", "POST", "/v1/profiles",
                          {"name": "rows", "profile": wrong}, 422)
        self.assertEqual(sorted(self.pointers(answer)), sorted(
            "/profile" + p for p in (
                "/encoding", "/fixed", "/colour", "/readings/0/kind",
                "/readings/0/fields/0/to", "/readings/0/fields/1/unit",
                "/readings/0/fields/2", "/readings/0/fields/3/format")))

    def test_a_document_has_its_limit(self):
        values = {f"{i:04}" + "x" * 180: "y" * 190 for i in range(180)}
        field = {"to": "/comment", "from": "number", "values": values}
        big = json.loads(json.dumps(ROWS))
        big["readings"][0]["fields"] += [field, field]
        answer = self.ask("admin", "POST", "/v1/profiles",
                          {"name": "rows", "profile": big}, 422)
        self.assertEqual(self.pointers(answer), ["/profile"])


class Trying(Case):
    def tried(self, profile, sample, **more):
        body = {"profile": profile, "sample": sample, **more}
        return self.ask("admin", "POST", "/v1/profiles/preview",
                        {k: v for k, v in body.items() if v is not None}).body

    def test_good_rows_stand_beside_the_faults_of_others(self):
        told = self.tried(ROWS, GOOD + "Q-2,02.03.2026 09:14,R,2.25,0,\n"
                                       "Q-3,02.03.2026 09:14,R,-2.25,-1,\n")
        self.assertEqual(len(told["readings"]), 1)
        right = told["readings"][0]["right"]
        self.assertEqual((right["sphere"], right["cylinder"], right["axis"]),
                         (-2.25, -0.75, 172))
        self.assertEqual(told["readings"][0]["taken_at"],
                         "2026-03-02T09:14:00+01:00")
        self.assertEqual(told["readings"][0]["status"], "preview")
        self.assertEqual(
            [(r["line"], r["last_line"], r["errors"][0]["pointer"])
             for r in told["refused"]],
            [(4, 4, "/right/sphere"), (5, 5, "/right/axis")])
        self.assertIn('line 4, column "sph": has no sign',
                      told["refused"][0]["errors"][0]["detail"])
        self.assertEqual(self.count(), 0)

    def test_a_sample_may_be_any_bytes(self):
        for encoding, word in (("utf-16-le", "utf-16le"), ("utf-16", "utf-8"),
                               ("latin-1", "latin-1"), ("utf-8-sig", "utf-8")):
            raw = base64.b64encode(GOOD.encode(encoding)).decode()
            told = self.tried({**ROWS, "encoding": word}, None,
                              sample_base64=raw)
            self.assertEqual(len(told["readings"]), 1, encoding)
        for body in ({"sample": 5}, {"sample_base64": "?"}, {},
                     {"sample": "x", "sample_base64": "eA=="}):
            self.ask("desk", "POST", "/v1/profiles/preview",
                     {"profile": ROWS, **body}, 422)

    def test_a_whole_payload_is_good_or_refused(self):
        good = "2026-03-02T09:14 R -2.25\n2026-03-02T09:14 L +1\n"
        told = self.tried(LINES, good)
        self.assertEqual((len(told["readings"]), told["refused"]), (1, []))
        self.assertTrue(told["readings"][0]["offset_assumed"])
        told = self.tried(LINES, good + "something else\n")
        self.assertEqual(told["readings"], [])
        self.assertIn("line 3", told["refused"][0]["errors"][0]["detail"])

    def test_who_may_try(self):
        body = {"profile": ROWS, "sample": GOOD}
        for role, status in (("desk", 200), ("prescriber", 200),
                             ("auditor", 403), ("lab", 403), ("device", 403)):
            self.ask(role, "POST", "/v1/profiles/preview", body, status)

    def test_the_survey_is_read_by_the_profile_that_is_shipped(self):
        told = self.tried(shipped("survey-eyes"),
                          CORPUS.read_text(encoding="utf-8"))
        self.assertEqual(told["refused"], [])
        with open(CORPUS, encoding="utf-8", newline="") as text:
            rows = list(csv.DictReader(text))
        kinds = [r["kind"] for r in told["readings"]]
        for kind, column in (("autorefraction", "or_sph"),
                             ("lensometry", "rx_sph")):
            people = {r["person"] for r in rows if r[column]}
            self.assertEqual(kinds.count(kind), len(people), kind)


class Readings(Case):
    def test_a_text_is_stored_as_it_came_and_as_it_was_read(self):
        self.add("lines", LINES)
        text = b"2026-03-02T09:14 R -2.25\r\n2026-03-02T09:14 L +1\r\n"
        plain = {"Content-Type": "text/plain; charset=utf-8"}
        path = "/v1/readings?profile=lines"
        stored = self.net.api("device", "POST", path, text, plain)
        self.assertEqual(stored.status, 201, stored.body)
        self.assertEqual(len(stored.body), 1)
        self.assertEqual(stored.body[0]["left"]["sphere"], 1)
        original = self.ask(
            "desk", "GET", f"/v1/readings/{stored.body[0]['id']}/original")
        self.assertEqual(original.body, text)
        again = self.net.api("device", "POST", path + "@1", text, plain)
        self.assertEqual((again.status, again.body[0]["id"]),
                         (200, stored.body[0]["id"]))
        self.assertEqual(svc.psql(
            "SELECT format FROM reading WHERE network_id ="
            f" '{self.net.id}'"), [["profile:lines@1"]])

    def test_a_text_says_which_profile_reads_it(self):
        self.add()
        self.add("lines", LINES)
        text = b"2026-03-02T09:14 R -2.25\n"
        for media, query, status in (
                ("text/plain", "", 422), ("text/plain", "?profile=none", 422),
                ("text/plain", "?profile=lines@2", 422),
                ("text/plain", "?profile=lines@x", 422),
                ("text/csv", "?profile=lines", 415),
                ("application/xml", "?profile=lines", 415),
                ("application/json", "?profile=lines", 415),
                ("application/dicom+json", "?profile=lines", 415),
                ("text/html", "", 415)):
            with self.subTest(media + query):
                answer = self.net.api("device", "POST",
                                      "/v1/readings/preview" + query, text,
                                      {"Content-Type": media})
                self.assertEqual(answer.status, status, answer.body)
                if status == 422:
                    self.assertEqual(self.pointers(answer), ["/profile"])

    def test_a_refused_text_stores_nothing(self):
        self.add("lines", LINES)
        text = b"2026-03-02T09:14 R -2.25\n2026-03-02T09:15 L 1.00\n"
        answer = self.net.api("device", "POST", "/v1/readings?profile=lines",
                              text, {"Content-Type": "text/plain"})
        self.assertEqual(answer.status, 422)
        self.assertEqual(self.count() + self.count("reading_original"), 0)

    def test_xml_and_json_of_any_shape(self):
        self.add("sessions", shipped("shots-xml"))
        self.add("results", shipped("results-json"))
        data = repo / "tests/data/profile"
        for name, media, file in (
                ("sessions", "application/xml", "session.xml"),
                ("sessions", "text/xml", "session.xml"),
                ("results", "application/json", "results.json")):
            answer = self.net.api("device", "POST",
                                  f"/v1/readings?profile={name}",
                                  (data / file).read_bytes(),
                                  {"Content-Type": media})
            self.assertIn(answer.status, (200, 201), answer.body)
            self.assertEqual(len(answer.body), 2)

    def test_a_local_time_is_of_the_zone_of_the_clinic(self):
        self.add("lines", LINES)
        answer = self.net.api("desk", "POST",
                              "/v1/readings/preview?profile=lines",
                              b"2026-07-02T09:14 R -2.25\n",
                              {"Content-Type": "text/plain"})
        self.assertEqual(answer.status, 200, answer.body)
        zone = self.ask("admin", "GET",
                        "/v1/clinics").body["items"][0]["time_zone"]
        self.assertEqual(zone, "Europe/Vienna")
        self.assertEqual(answer.body[0]["taken_at"],
                         "2026-07-02T09:14:00+02:00")


class Limits(Case):
    """What the schema says to be the limit is the service's limit, too."""

    # A good profile of each form; every limit is tried within one.
    FORMS = {
        "delimited": ROWS,
        "fixed": {
            "title": "f", "form": "fixed",
            "fixed": {"columns": [{"name": "sph", "from": 1, "length": 6}]}},
        "lines": LINES,
        "xml": {
            "title": "x", "form": "xml",
            "xml": {"rows": [{"name": "r", "path": "r"}],
                    "namespaces": {"p": "urn:p"}}},
        "json": {
            "title": "j", "form": "json",
            "json": {"rows": [{"name": "r", "path": "/r"}]}}}
    READING = {"kind": "lensometry", "fields": [
        {"to": "/right/sphere", "from": "sph"}]}
    SIDES = {"numbers": {}, "not_measured": [], "eye": {"from": "sph"}}

    def leaves(self, base, schema, at=()):
        """(path, schema) of every limit."""
        base, schema = self.resolved(base, schema)
        for name, one in schema.get("properties", {}).items():
            yield from self.leaves(base, one, (*at, name))
        for one in schema.get("anyOf", []):
            yield from self.leaves(base, one, at)
        if schema.get("type") == "array":
            yield from self.leaves(base, schema["items"], (*at, 0))
        if set(schema) & {"maxLength", "maximum", "maxItems"}:
            yield at, schema

    def resolved(self, base, schema):
        if "$ref" in schema:
            return self.described.schemas.resolve(base, schema["$ref"])
        return base, schema

    def beyond(self, schema):
        """(least that is wrong, greatest that is right)"""
        if "maxLength" in schema:
            n = schema["maxLength"]
            return "/" + "x" * n, "/" + "x" * (n - 1)
        if "maximum" in schema:
            return schema["maximum"] + 1, schema["maximum"]
        item = "x" if "$ref" in schema["items"] else {}
        return [item] * (schema["maxItems"] + 1), None

    def put(self, form, path, value):
        doc = json.loads(json.dumps(
            {"readings": [self.READING], **self.FORMS[form],
             **(self.SIDES if form != "lines" else {})}))
        at = doc
        for name, after in zip(path, path[1:]):
            if isinstance(name, int):
                at.extend([{}] * (name + 1 - len(at)))
            elif not isinstance(at.get(name),
                                list if isinstance(after, int) else dict):
                at[name] = [] if isinstance(after, int) else {}
            at = at[name]
        if isinstance(path[-1], int):
            at[:] = [value]
        else:
            at[path[-1]] = value
        answer = self.net.api("admin", "POST", "/v1/profiles/preview",
                              {"profile": doc, "sample": "x"})
        self.assertIn(answer.status, (200, 422))
        return [e for e in answer.body.get("errors", [])
                if e["pointer"].startswith(
                    "/profile" + "".join(f"/{p}" for p in path))]

    def test_every_limit_of_a_profile_is_as_described(self):
        self.described = Description()
        tried = 0
        for path, schema in self.leaves(
                "/v1/openapi.json",
                {"$ref": "../schema/profile.json#/$defs/profile"}):
            if path[-2:] == ("from", 0):
                continue  # one of two; a place alone has the same limit
            form = path[0] if path[0] in self.FORMS else "delimited"
            if path[-1] == "row":
                form = "xml"
            wrong, right = self.beyond(schema)
            with self.subTest("/".join(map(str, path))):
                told = self.put(form, path, wrong)
                self.assertTrue(any(
                    re.search(r"at most \d+ char|from -?\d+ to \d+, not|"
                              r"hold \d+ to \d+ items", e["detail"])
                    for e in told), told)
                tried += 1
                if right is None:
                    continue
                self.assertFalse(any(
                    re.search(r"at most \d+ char|from -?\d+ to \d+, not",
                              e["detail"])
                    for e in self.put(form, path, right)))
        self.assertGreater(tried, 40)


if __name__ == "__main__":
    unittest.main()
