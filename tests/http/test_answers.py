"""What the service takes and answers against the description, on a walk
through everything that can be asked.

Each request and each answer is held against its schema, closed: a member that
no schema names fails, as does a power that isn't written with two decimals.
"""

import json
import pathlib
import re
import unittest

from apidoc import Checked, Description, read, routes
from apidoc.description import HERE
from apidoc.routes import optics_functions
from lenstest import Service, repo, uuid7

DATA = pathlib.Path(repo) / "tests/data"
HERE_AND_NOW = {"taken_at": "2026-03-02T09:14:05+01:00"}

# A reading of each kind in the native form, with as many members as it can
# have.  Figures are made up.
READINGS = [
    {"kind": "autorefraction", "vertex_mm": 12.0, "vertex_assumed": True,
     "device": {"serial": "AR-1", "model": "Bench", "manufacturer": "Own",
                "software": "1.2"},
     "condition": {"cycloplegic": False, "lens_worn": "none",
                   "test_distance_m": 6},
     "right": {"repeats": [
         {"sphere": -2.25, "cylinder": -0.75, "axis": 172, "confidence": 9},
         {"sphere": -2.5, "cylinder": -0.5, "axis": 170},
         {"sphere": -3.0, "cylinder": 0.75, "axis": 80.5}],
         "representative": {"sphere": -2.25, "cylinder": -0.75, "axis": 172},
         "pupil_mm": 4.5, "cornea_mm": 11.8, "acuity":
         {"notation": "snellen", "text": "6/6"},
         "keratometry": {"flat": {"radius_mm": 7.8, "axis": 180},
                         "steep": {"radius_mm": 7.6, "axis": 90}}},
     "left": {"sphere": -7.5, "cylinder": 1.0, "axis": 90},
     "pd_mm": {"binocular": 63.0, "right": 31.5, "left": 31.5, "near": 60.0},
     "comment": "two lines\nof text"},
    {"kind": "lensometry", "lens_type": "progressive",
     "pair": {"label": "brown", "purpose": "distance", "made_on": "2024-05",
              "worn": True},
     "right": {"sphere": 1.25, "cylinder": -0.5, "axis": 90, "add": 2.0,
               "add_distance_mm": 400, "second_add": 2.25,
               "intermediate_add": 1.0, "prism": [
                   {"amount": 0.5, "base": "in"}, {"amount": 1, "base": "up"}],
               "near_prism": [{"amount": 2, "angle": 90}],
               "transmittance_percent": 91.5, "channel_mm": 14},
     "left": {"sphere": 1.5, "near_total": 3.5,
              "prism": [{"amount": 1.5, "angle": 0}]}},
    {"kind": "keratometry", "right": {"flat": {"radius_mm": 7.8, "axis": 21.3},
                                      "steep": {"power": 44.5, "axis": 111},
                                      "index": 1.3375},
     "left": {"flat": {"radius_mm": 7.8, "power": 43.27, "axis": 0}}},
    {"kind": "subjective", "vertex_mm": 13, "condition":
     {"cycloplegic": True, "drug": "cyclopentolate 1 %", "minutes_since": 30},
     "right": {"lens": "prosthesis"},
     "left": {"sphere": -1, "add": 1.5, "acuity": {
         "notation": "decimal", "text": "0.8", "logmar": 0.1},
         "near_acuity": {"notation": "n-points", "text": "N5"}}},
    {"kind": "acuity", "with": "habitual", "distance": "far",
     "right": {"acuity": {"notation": "snellen", "text": "CF"}},
     "both": {"acuity": {"notation": "logmar", "text": "0.00"}}},
    {"kind": "retinoscopy", "working_distance": {"mm": 667},
     "right": {"sphere": 1.0, "cylinder": 0.5, "axis": 45}},
    {"kind": "over-refraction", "condition": {"lens_worn": "trial soft lens"},
     "left": {"sphere": 0.25}},
    {"kind": "lensometry", "unspecified": {"sphere": -3}}]


def setUpModule():
    global svc, described
    svc = Service()
    described = Description()


def tearDownModule():
    svc.close()


UNKNOWN = "no-such-member"


class Probe:
    """A body of every member that a schema names, each null, and in every
    object one that it doesn't; self.places has the pointers of those."""

    def __init__(self, base, schema):
        self.places = []
        self.body = self.made(base, schema, "")

    def made(self, base, schema, at):
        if "$ref" in schema:
            return self.made(*described.schemas.resolve(base, schema["$ref"]),
                             at)
        if "anyOf" in schema and "properties" not in schema:
            some = [self.made(base, one, at) for one in schema["anyOf"]]
            return next((one for one in some if one is not None), None)
        if schema.get("type") == "array":
            item = self.made(base, schema["items"], at + "/0")
            return None if item is None else [item]
        if "properties" not in schema:
            return None
        body = {name: self.made(base, one, f"{at}/{name}")
                for name, one in schema["properties"].items()}
        self.places.append(f"{at}/{UNKNOWN}")
        return {**body, UNKNOWN: 1}

    def told(self, answer):
        return sorted(e["pointer"] for e in answer.body["errors"]
                      if e["detail"] == "no such field here")


def leaves(base, schema, at=()):
    """(path, schema) of every value of a request that has a limit."""
    if "$ref" in schema:
        yield from leaves(*described.schemas.resolve(base, schema["$ref"]),
                          at)
    elif "properties" in schema:
        for name, one in schema["properties"].items():
            yield from leaves(base, one, (*at, name))
    elif "anyOf" in schema:
        for one in schema["anyOf"]:
            yield from leaves(base, one, at)
    elif schema.get("type") == "array":
        yield from leaves(base, schema["items"], (*at, 0))
        if "maxItems" in schema:
            yield at, {"maxItems": schema["maxItems"]}
    elif {"minimum", "maximum", "maxLength"} & set(schema):
        yield at, schema


def limits(schema):
    """(good, bad) values at and beyond each limit."""
    step = float(schema.get("multipleOf", 1))
    if "maximum" in schema:
        most = float(schema["maximum"])
        yield most, most + step
    if "minimum" in schema:
        least = float(schema["minimum"])
        yield least, least - step
    if "maxLength" in schema:
        most, least = schema["maxLength"], schema["minLength"]
        letter = "x" if "pattern" in schema else "\u00e9"
        yield letter * most, letter * (most + 1)
        yield "x" * least, "x" * (least - 1)
    if "maxItems" in schema:
        yield [], [None] * (schema["maxItems"] + 1)
    if "multipleOf" in schema:
        yield float(schema["maximum"]), \
            (float(schema["minimum"]) + float(schema["maximum"])) / 2 \
            + step / 10 * 3


def beside(path, value):
    """What a value is only read, or only right, beside."""
    name = path[-1]
    if name == "text" and "acuit" in str(path[-3:]):
        return {"notation": "jaeger"}
    if name == "logmar":
        return {"notation": "logmar", "text": f"{value:.1f}"}
    if name == "cylinder":
        return {"sphere": 0, "axis": 90}
    if str(name).endswith("add_distance_mm"):
        return {name.removesuffix("_distance_mm"): 1}
    return {}


def holding(path, value, good):
    """A body with value at path, and what must stand beside it."""
    for i, name in reversed(list(enumerate(path))):
        value = [value] if name == 0 else {
            name: value,
            **(beside(path, good) if i == len(path) - 1 else {})}
    if path[0] == "acuities" and len(path) > 1:
        value["acuities"][0] = {
            "eye": "both", "distance": "far", "with": "nothing",
            "notation": "jaeger", "text": "2", **value["acuities"][0]}
    return value


GLASS = {"sphere": -6.25, "cylinder": -1, "axis": 180, "add": 2,
         "prism": {"base_in": 1, "base_up": 0}, "pd_mm": 31, "height_mm": 20,
         "segment_height_mm": 16}
# Functions of the optics core that have no file of cases.
WITHOUT_FILE = {
    # A survey's triple, off every grid.
    "nearest-orderable": {
        "sphere": -1.37, "cylinder": -0.62, "axis": 12, "step": 0.25},
    "pair-check": {
        "profile": "ANSI Z80.1-2015", "lens_type": "bifocal",
        "right": {"ordered": GLASS, "delivered": dict(GLASS, pd_mm=32)},
        "left": {"ordered": GLASS, "delivered": dict(GLASS, axis=2)}},
    "manufacturability": {
        "eye": "left", "sphere": -6, "prism": {"base_in": 3, "base_up": 0},
        "front_power": 3, "index": 1.67, "material": "polyurethane",
        "a_mm": 52, "b_mm": 36, "dbl_mm": 18, "ed_mm": 56, "pd_mm": 31,
        "height_mm": 16, "min_centre_mm": 1.5, "min_edge_mm": 1,
        "allowance_mm": 1, "blank_mm": 60, "corridor_mm": 14,
        "near_zone_mm": 3},
    "donders-amplitude": {"age_years": 47},
    "add-by-age": {"age_years": 50},
    "expected-finding": {"finding": "near-phoria", "value": -8},
    "reading-level": {
        "right": {"sphere": -4.5, "cylinder": -1.5, "axis": 180, "add": 2,
                  "down_mm": 10, "in_mm": 2,
                  "segment": {"down_mm": 13, "in_mm": 2}},
        "left": {"sphere": -1, "cylinder": -1, "axis": 30, "add": 2.5,
                 "down_mm": 10, "segment": {"down_mm": 8}}},
    "change-probability": {
        "old": {"sphere": -1, "method": "retinoscopy", "cycloplegic": True},
        "new": {"sphere": -2, "method": "subjective"}},
    "eye-exchange": {
        "entry": {"right": {"sphere": -1}, "left": {"sphere": -4},
                  "method": "subjective"},
        "history": [{"right": {"sphere": -4}, "left": {"sphere": -1},
                     "method": "subjective", "years_before": 1}]},
    "slip-explanation": {
        "entry": {"right": {"sphere": -25}, "left": {"sphere": -2.5},
                  "method": "subjective"},
        "history": [{"right": {"sphere": -2.5}, "left": {"sphere": -2.5},
                     "method": "subjective", "years_before": 1}],
        "cornea": {"left": {"cylinder": -0.5, "axis": 180}}},
    "device-bias": {
        "visits": [{"right": {"reading": {"sphere": n},
                              "final": {"sphere": n, "cylinder": -1,
                                        "axis": 90}}} for n in range(4)]},
    "control-limits": {"values": [1, 2, 1, 2, 9]},
    "as-worn": {"eye": "right", "sphere": -8, "index": 1.5,
                "pantoscopic_deg": 15, "wrap_deg": 20},
    "as-worn-compensation": {"eye": "left", "sphere": -8, "cylinder": -1,
                             "axis": 30, "index": 1.6, "pantoscopic_deg": 8,
                             "wrap_deg": 5},
    "sphere-for-prism": {"base_in": -2, "ac_a": 4},
    "look-through": {
        "correction": {"sphere": -2.25, "cylinder": -0.75, "axis": 180},
        "worn": {"sphere": -2}, "pupil_mm": 4, "best_logmar": -0.1},
    "point-spread": {"sphere": -0.5, "cylinder": -0.5, "axis": 30,
                     "pupil_mm": 4, "arcmin_per_pixel": 1},
    "cross-cylinder": {
        "start": {"sphere": -2.25, "cylinder": -0.75, "axis": 180},
        "presentations": [
            {"trial": {"sphere": -2.25, "cylinder": -0.75, "axis": 180},
             "size": 0.25, "minus_axis": 45, "answer": "first"}],
        "grid": True},
}


class Walk:
    """The steps in order; what one makes, later ones use."""

    def __init__(self, test):
        self.test = test
        self.net = svc.network()
        self.checked = Checked(svc.client, described)
        self.probed = set()
        self.faults, self.bounded = [], 0

    def ask(self, role, method, path, body=None, status=200, **headers):
        headers = {n.replace("_", "-"): v for n, v in headers.items()}
        answer = self.checked.api(method, path, body,
                                  self.net.tokens.get(role), headers)
        self.test.assertEqual(answer.status, status,
                              f"{method} {path}: {answer.raw[:2000]}")
        return answer

    def change(self, role, path, body, method="PATCH", status=200, **headers):
        """With the ETag that stands."""
        at = path if method == "PATCH" else path.rpartition("/")[0]
        etag = self.ask("admin", "GET", at).etag if role == "admin" else \
            self.ask("prescriber", "GET", at).etag
        return self.ask(role, method, path, body, status, If_Match=etag,
                        **headers)

    def probe(self, role, method, path, without=(), variants=()):
        """The service knows every member that the description names, and no
        other.  without: members read only beside others."""
        o = described.find(method, path)
        media = "application/merge-patch+json" if method == "PATCH" \
            else "application/json"
        base, schema = HERE, o.request_schema(media)
        while "properties" not in schema:
            if "$ref" in schema:
                base, schema = described.schemas.resolve(base, schema["$ref"])
            else:
                schema = (schema.get("oneOf") or schema["anyOf"])[0]
        if without:
            schema = {**schema, "properties": {
                n: {} if n in without else s
                for n, s in schema["properties"].items()}}
        probe = Probe(base, schema)
        answer = self.ask(role, method, path, probe.body, 422, If_Match="*")
        self.test.assertEqual(probe.told(answer), sorted(probe.places),
                              f"{method} {path}")
        self.probed.add(str(o))
        self.bounds(role, method, path, variants or ({},), without)

    def bounds(self, role, method, path, variants=({},), without=()):
        """What a schema says to be the limit is the service's limit, too.
        variants: what stands beside the value, of which one must do."""
        o = described.find(method, path)
        schema = o.request_schema(
            "application/merge-patch+json" if method == "PATCH"
            else "application/json")
        for at, leaf in leaves(HERE, schema):
            if not at or at[0] in (0, *without) or at[-1] == "near_total":
                continue  # which is told by the add that it makes
            pointer = "".join(f"/{part}" for part in at)
            for good, bad in limits(leaf):
                told = [[self.told(role, method, path,
                                   {**holding(at, value, good), **more})
                         for value in (good, bad)] for more in variants]
                if not any(pointer not in a and
                           any(p.startswith(pointer) for p in b)
                           for a, b in told):
                    self.faults.append(
                        f"{o} {pointer}: {good!r} {bad!r} {told}")
                self.bounded += 1

    def told(self, role, method, path, body):
        """The places of its faults, of which one more makes sure."""
        answer = self.ask(role, method, path, {**body, UNKNOWN: 1}, 422,
                          If_Match="*")
        return [e["pointer"] for e in answer.body["errors"]]

    # --- the service itself, and who asks

    def service(self):
        for path in ("/healthz", "/readyz", "/v1/openapi.json", "/docs/api",
                     "/schema/reading.json", "/"):
            self.ask(None, "GET", path)
        asset = re.search(r"/assets/app-\w+\.js",
                          svc.api("GET", "/").body.decode()).group()
        self.ask(None, "GET", asset)

    def sessions(self):
        password = "correct horse battery"
        self.ask("admin", "POST", "/v1/users", {
            "name": "noor", "role": "desk", "password": password,
            "clinic": self.net.clinic}, 201)
        signed = self.ask(None, "POST", "/v1/sessions", {
            "network": self.net.name, "user": "noor", "password": password},
            201)
        self.ask(None, "POST", "/v1/sessions", {
            "network": self.net.name, "user": "noor", "password": "wrong"},
            401)
        self.net.tokens["noor"] = signed.body["token"]
        for role in ("noor", "device", "lab", "admin"):
            self.ask(role, "GET", "/v1/me")
        self.ask("noor", "DELETE", "/v1/sessions/current", status=204)
        self.ask("noor", "GET", "/v1/me", status=401)
        self.probe(None, "POST", "/v1/sessions")

    # --- administration

    def family(self, plural, first, change, wrong):
        made = self.ask("admin", "POST", f"/v1/{plural}", first, 201)
        path = f"/v1/{plural}/{made.body['id']}"
        self.test.assertEqual(made.headers["Location"], path)
        self.change("admin", path, change)
        self.change("admin", path, wrong, status=422)
        self.ask("desk", "GET", path)
        self.ask("admin", "GET", f"/v1/{plural}?limit=1")
        self.ask("desk", "POST", f"/v1/{plural}", first, 403)
        self.probe("admin", "POST", f"/v1/{plural}")
        self.probe("admin", "PATCH", path)
        return made.body["id"]

    def administration(self):
        self.ask("auditor", "GET", "/v1/network")
        self.change("admin", "/v1/network", {"expiry_months": 24,
                                             "vertex_needed": 5})
        self.ask("auditor", "GET", "/v1/network")
        self.probe("admin", "PATCH", "/v1/network")
        self.probe("admin", "POST", "/v1/tokens")
        self.family("clinics", {
            "name": "North", "time_zone": "Europe/Lisbon",
            "address": "1 Made-up Street\nNowhere", "telephone": "555 0100",
            "steps": {"sphere": 0.12, "axis": 1, "prism": 0.5},
            "cylinder_form": "plus"}, {"closed": True, "telephone": None},
            {"steps": {"sphere": 0.3}})
        self.family("labs", {"name": "Bench two", "address": "Back room"},
                    {"closed": True}, {"name": None})
        device = self.family(
            "devices", {"name": "keratometer", "clinic": self.net.clinic,
                        "serial": "K-1", "model": "m", "manufacturer": "o"},
            {"model": None}, {"clinic": 5})
        self.family("users", {
            "name": "ada.k", "display": "Ada K", "role": "prescriber",
            "clinic": self.net.clinic, "licence_number": "L-77",
            "practice_address": "1 Made-up Street",
            "password": "twelve or more"}, {"disabled": True},
            {"role": "king"})
        self.ask("desk", "GET", "/v1/users")
        self.ask("auditor", "GET", "/v1/users")
        token = self.ask("admin", "POST", "/v1/tokens", {
            "device": device, "label": "bench PC", "days": 30}, 201)
        self.ask("admin", "POST", "/v1/tokens", {}, 422)
        self.ask("admin", "GET", "/v1/tokens?limit=2")
        self.ask("admin", "DELETE", f"/v1/tokens/{token.body['id']}",
                 status=204)
        self.ask("admin", "GET", "/v1/tokens")
        self.ask("lab", "GET", "/v1/labs")

    # --- people and what was measured

    def patients(self):
        sent = {"record_number": "Q-10442", "family": "Okonjo",
                "given": "Tamsin", "born": "1971-11-09", "sex": "female",
                "telephone": "555 0199"}
        first = self.ask("desk", "POST", "/v1/patients", sent, 201,
                         Idempotency_Key="p-1")
        again = self.ask("desk", "POST", "/v1/patients", sent, 201,
                         Idempotency_Key="p-1")
        self.test.assertEqual(first.raw, again.raw)
        self.ask("desk", "POST", "/v1/patients", sent, 409)
        self.ask("desk", "POST", "/v1/patients", {
            **sent, "record_number": "Q-10443"}, 201)  # a likely duplicate
        self.ask("desk", "POST", "/v1/patients", {
            "given": 7, "born": "1971-02-30", "colour": "red"}, 422)
        self.patient = first.body["id"]
        path = f"/v1/patients/{self.patient}"
        self.change("desk", path, {"telephone": None})
        self.ask("desk", "PATCH", path, {"sex": "other"}, 428)
        self.ask("desk", "PATCH", path, {"sex": "other"}, 412, If_Match='"9"')
        self.ask("desk", "GET", f"/v1/patients/{uuid7()}", status=404)
        self.ask("desk", "GET", "/v1/patients?q=tamsin+okonjo&born=1971-11-09")
        self.ask("desk", "GET", "/v1/patients?limit=1")
        self.ask("desk", "GET", "/v1/patients?limit=none", status=422)
        etag = self.ask("desk", "GET", path).etag
        self.ask("desk", "GET", path, status=304, If_None_Match=etag)
        self.probe("desk", "POST", "/v1/patients")
        self.probe("desk", "PATCH", path)
        self.merges(path)

    def merges(self, path):
        twin = self.ask("desk", "POST", "/v1/patients", {
            "record_number": "Q-10444", "family": "Okonyo",
            "given": "Tamsin", "born": "1971-09-11"}, 201).body["id"]
        merge = {"other": twin, "reason": "one spelling"}
        self.ask("desk", "GET", f"{path}/duplicates")
        for word in ("merge", "unmerge", "merge"):
            self.change("desk", f"{path}/{word}", merge, "POST")
        self.change("desk", f"{path}/merge", merge, "POST", 409)
        self.change("desk", f"{path}/unmerge", {"other": uuid7()}, "POST",
                    422)
        self.ask("desk", "GET", f"/v1/patients/{twin}")
        self.probe("desk", "POST", f"{path}/merge")
        self.probe("desk", "POST", f"{path}/unmerge")
        self.change("desk", f"{path}/unmerge", None, "POST")

    def visits(self):
        made = self.ask("desk", "POST", "/v1/visits", {
            "patient": self.patient, "reason": "blurred far sight"}, 201)
        self.visit = made.body["id"]
        self.ask("desk", "POST", "/v1/visits", {
            "patient": uuid7(), "at": "soon"}, 422)
        path = f"/v1/visits/{self.visit}"
        self.change("desk", path, {"status": "in-progress", "reason": None})
        self.change("desk", path, {"status": "planned"}, status=409)
        self.ask("desk", "GET", path)
        self.ask("desk", "GET", "/v1/visits")
        self.ask("desk", "GET", f"/v1/visits?patient={self.patient}")
        self.ask("desk", "GET", "/v1/visits?date=2026", status=422)
        self.probe("desk", "POST", "/v1/visits")
        self.probe("desk", "PATCH", path)

    def readings(self):
        mine = {"patient": {"record_number": "Q-10442"}, **HERE_AND_NOW}
        first = self.ask("device", "POST", "/v1/readings",
                         {**READINGS[0], **mine}, 201, Idempotency_Key="r-1")
        self.reading = first.body["id"]
        self.test.assertEqual(first.body["status"], "claimed")
        self.ask("device", "POST", "/v1/readings", {**READINGS[0], **mine})
        several = [{**r, **mine} for r in READINGS[1:]]
        stored = self.ask("desk", "POST", "/v1/readings", several, 201)
        self.lensometry = stored.body[0]["id"]
        self.ask("desk", "POST", "/v1/readings/preview", several)
        self.ask("desk", "POST", "/v1/readings/preview",
                 {**READINGS[2], **HERE_AND_NOW})
        lines = [json.dumps({**READINGS[0], "taken_at": t, "patient": p})
                 for t, p in (("2025-03-02T09:14:05Z",
                               {"record_number": "Q-10442"}),
                              ("2025-03-02T09:15:05Z",
                               {"family": "Nobody", "born": "1900"}))]
        lines.append('{"kind": "lensometry"}')
        for path in ("/v1/readings", "/v1/readings/preview"):
            self.ask("desk", "POST", path, "\n".join(lines).encode(),
                     Content_Type="application/x-ndjson")
        self.ask("desk", "POST", "/v1/readings", [
            {**READINGS[0], **mine, "right": {"sphere": 99}}], 422)
        self.ask("desk", "POST", "/v1/readings", b"{", 400,
                 Content_Type="application/json")
        self.ask("desk", "POST", "/v1/readings", b"", 415,
                 Content_Type="text/html")
        # What an eye may have depends on the kind.
        for path in ("/v1/readings", "/v1/readings/preview"):
            self.probe("desk", "POST", path, (
                "right", "left", "both", "unspecified", "pair",
                "working_distance"), [{"kind": "autorefraction"}])
        self.bounds("desk", "POST", "/v1/readings/preview",
                    [{"kind": r["kind"]} for r in READINGS[:7]],
                    ("left", "both", "unspecified"))
        self.dicom()
        self.profiles()
        self.each_reading(stored)
        self.tray()

    def dicom(self):
        for path in sorted((DATA / "dicom").glob("*.json")):
            text = path.read_bytes()
            bad = path.name.startswith("9")
            for to in ("/v1/readings/preview", "/v1/readings"):
                answer = self.checked.api(
                    "POST", to, text, self.net.tokens["desk"],
                    {"Content-Type": "application/dicom+json"})
                good = answer.status in (200, 201)
                if bad:
                    self.test.assertEqual(answer.status, 422, path.name)
                else:
                    self.test.assertTrue(good, (path.name, answer.raw[:500]))
        self.dicom_store()

    def dicom_store(self):
        names = sorted((DATA / "dicom").glob("*.json"))
        study = json.loads(names[0].read_text())["0020000D"]["Value"][0]
        for chosen, status in ((names[:1], 200), (names[-2:], 409),
                               (names[-2:] + names[:1], 202)):
            parts = b"".join(b"--b\r\nContent-Type: application/dicom+json"
                             b"\r\n\r\n" + path.read_bytes() + b"\r\n"
                             for path in chosen) + b"--b--"
            for to in ("/dicomweb/studies", f"/dicomweb/studies/{study}"):
                answer = self.checked.api(
                    "POST", to, parts, self.net.tokens["desk"],
                    {"Content-Type": "multipart/related; boundary=b"})
                self.test.assertEqual(answer.status, status, answer.raw[:900])

    def profiles(self):
        profile = json.loads(
            (DATA / "profile/lenses.json").read_text(encoding="utf-8"))
        sample = (DATA / "profile/lenses.csv").read_text(encoding="utf-8")
        path = "/v1/profiles/lenses"
        new = {"name": "lenses", "profile": profile}
        self.ask("admin", "POST", "/v1/profiles", new, 201)
        self.ask("admin", "POST", "/v1/profiles", new, 409)
        self.ask("admin", "POST", "/v1/profiles", {
            "name": "L", "profile": {"form": "csv"}}, 422)
        tag = self.ask("desk", "GET", path).etag
        self.ask("admin", "POST", path + "/versions", {"profile": profile},
                 201, If_Match=tag)
        self.ask("admin", "POST", path + "/versions", {"profile": profile},
                 412, If_Match=tag)
        self.ask("desk", "GET", path + "?version=1")
        self.ask("desk", "GET", path + "?version=9", status=404)
        self.ask("auditor", "GET", path + "/versions")
        self.ask("auditor", "GET", "/v1/profiles?limit=1")
        tried = self.ask("desk", "POST", "/v1/profiles/preview", {
            "profile": profile, "sample": sample + "torn"}).body
        self.test.assertTrue(tried["readings"] and tried["refused"])
        self.ask("desk", "POST", "/v1/profiles/preview", {}, 422)
        for to, status in (("/v1/readings/preview", 200),
                           ("/v1/readings", 201)):
            self.ask("desk", "POST", to + "?profile=lenses@1",
                     sample.encode(), status, Content_Type="text/plain")
            self.ask("desk", "POST", to + "?profile=lenses",
                     sample.encode() + b"Q-2,,R,-1.00,0,\n",
                     Content_Type="text/csv")
        for to in ("/v1/profiles", path + "/versions",
                   "/v1/profiles/preview"):
            self.probe("admin", "POST", to, ("profile",))

    def each_reading(self, stored):
        for one in stored.body:
            path = f"/v1/readings/{one['id']}"
            got = self.ask("prescriber", "GET", path)
            # The history adds its own cautions behind the others.
            n = len(one["cautions"])
            self.test.assertEqual(got.body["cautions"][:n], one["cautions"])
            self.test.assertEqual({**got.body, "cautions": 0},
                                  {**one, "cautions": 0})
            self.ask("prescriber", "GET", path + "?cylinder=plus")
            self.ask("prescriber", "GET", path + "/original")
        self.ask("prescriber", "GET", path + "?cylinder=both", status=422)

    def tray(self):
        items = self.ask("desk", "GET",
                         "/v1/readings?unclaimed=true").body["items"]
        waiting = next(r for r in items if r.get("patient_as_sent", {}).get(
            "family") == "Nobody")
        self.ask("desk", "GET", "/v1/readings?limit=2")
        path = f"/v1/readings/{waiting['id']}/claim"
        self.change("desk", path, {"patient": self.patient, "reason": "hers"},
                    "POST")
        self.change("desk", path, {"patient": uuid7()}, "POST", 422)
        self.change("desk", path, None, "DELETE")
        self.change("desk", path, None, "DELETE", 409)
        self.probe("desk", "POST", path)
        self.ask("desk", "GET", path + "s")
        self.side()

    def side(self):
        lens = self.ask("device", "POST", "/v1/readings", {
            "kind": "lensometry", **HERE_AND_NOW,
            "unspecified": {"sphere": 1.25, "cylinder": -0.5, "axis": 90}},
            201).body
        path = f"/v1/readings/{lens['id']}/side"
        self.change("desk", path, {"eye": "left", "reason": "marked"}, "POST")
        self.change("desk", path, {"eye": "both"}, "POST", 422)
        self.change("desk", path, None, "DELETE")
        self.change("desk", path, None, "DELETE", 409)
        self.probe("desk", "POST", path)

    # --- the main job

    def habitual(self):
        path = f"/v1/patients/{self.patient}/habitual"
        self.ask("desk", "GET", path)
        self.ask("desk", "POST", path, {
            "entry": self.lensometry, "purpose": "distance"}, 201)
        self.ask("desk", "POST", path, {"purpose": "near", "typed": {
            "right": {"sphere": 2.25}, "left": {"lens": "balance"},
            "vertex_mm": 12, "pd_mm": {"binocular": 62}, "pair": "readers",
            "made_on": "2020", "worn": True, "origin": "prescription"}}, 201)
        self.ask("desk", "POST", path, {}, 422)
        self.ask("desk", "GET", path + "?purpose=near")
        self.probe("desk", "POST", path)

    def exam_begun(self):
        made = self.ask("desk", "POST", "/v1/exams", {"visit": self.visit},
                        201)
        self.exam = f"/v1/exams/{made.body['id']}"
        self.ask("desk", "POST", "/v1/exams", {"visit": uuid7()}, 422)
        self.ask("desk", "GET", self.exam + "/rx", status=409)
        self.change("prescriber", self.exam + "/start-from", {
            "source": self.reading, "eye": "both"}, "POST")
        self.change("prescriber", self.exam + "/start-from", {
            "source": uuid7()}, "POST", 422)
        self.probe("desk", "POST", "/v1/exams")
        self.probe("prescriber", "PATCH", self.exam)
        self.probe("prescriber", "POST", self.exam + "/start-from")
        self.probe("prescriber", "POST", self.exam + "/sign")

    def steps(self):
        to = self.exam + "/steps"
        for body in (
                {"eye": "right", "field": "sphere", "from": -2.25,
                 "to": -2.0, "test": "duochrome"},
                {"eye": "right", "field": "cylinder", "from": -0.75,
                 "to": -1.0, "test": "cross-cylinder-power",
                 "hold_equivalent": True, "acuity":
                 {"notation": "snellen", "text": "6/5"}},
                {"eye": "right", "field": "axis", "from": 172, "to": 170,
                 "form": "minus", "test": "cross-cylinder-axis"},
                {"eye": "both", "field": "add", "from": None, "to": 1.5},
                {"eye": "left", "field": "prism_horizontal", "from": None,
                 "to": {"amount": 0.5, "base": "in"}},
                {"eye": "both", "field": "vertex_mm", "from": 12, "to": 12.5}):
            done = self.ask("prescriber", "POST", to, body, 201)
        self.ask("prescriber", "POST", to, {"undo": done.body["id"]}, 201)
        refused = self.ask("prescriber", "POST", to, {
            "eye": "right", "field": "sphere", "from": 1, "to": 2}, 409)
        self.test.assertIn("standing", refused.body)
        self.ask("prescriber", "POST", to, {
            "eye": "third", "field": "sphere"}, 422)
        self.ask("desk", "GET", to)
        self.ask("desk", "GET", to + "?limit=2&cylinder=plus")
        self.probe("prescriber", "POST", to, ("acuity",), [
            {"eye": "right", "field": "cylinder", "from": -1, "to": -2}])

    def sections(self):
        eye = {"sphere": -2.0, "cylinder": -1.0, "axis": 170, "add": 1.5,
               "intermediate_add": 0.75,
               "prism": [{"amount": 0.5, "base": "out"}], "acuity":
               {"notation": "snellen", "text": "6/6"}}
        refraction = {"right": eye, "left": {
            "sphere": -6.75, "cylinder": -1, "axis": 180, "add": 1.5},
            "vertex_mm": 12, "pd_mm": {"right": 31.5, "left": 31, "near":
                                       {"right": 30, "left": 29.5}},
            "purpose": "distance"}
        self.change("prescriber", self.exam, {
            "history": {"complaint": "halos", "warning_signs": ["eye-pain"],
                        "diabetes": "none", "pregnant": False,
                        "tasks": [{"name": "cello", "distance_mm": 700}]},
            "acuities": [
                {"eye": "right", "distance": "far", "distance_m": 6,
                 "with": "habitual", "notation": "snellen", "text": "6/12"},
                {"eye": "both", "distance": "near", "with": "final",
                 "notation": "n-points", "text": "N5"}],
            "objective": {"autorefraction": self.reading,
                          "others": [self.lensometry]},
            "binocular": {
                "phorias": [{"distance": "far", "horizontal":
                             {"amount": 2, "direction": "exo"},
                             "turn": "phoria", "method": "cover-test"}],
                "vergences": [{"distance": "near", "direction": "base-out",
                               "break": 18, "recovery": 12}],
                "worth_four_dot": {"far": "fusion"}, "stereo_arcsec": 40,
                "near_point_of_convergence": {"break_mm": 70},
                "aca_ratio": 4.5, "dominant_eye": "right"},
            "near": {"working_distance_mm": 400, "right": {"add": 1.5,
                                                           "amplitude": 4},
                     "left": {"add": 1.5}, "method": "range",
                     "clear_from_mm": 300, "clear_to_mm": 600},
            "subjective": {**refraction, "condition": {
                "cycloplegic": False, "test_distance_m": 6}},
            "final": {**refraction, "expires_on": "2028-03-02",
                      "outcome": "new"}})
        self.change("prescriber", self.exam, {
            "final": {"right": {"sphere": 1.003}}, "nothing": 1}, status=422)
        self.ask("desk", "GET", self.exam + "?cylinder=plus")
        self.ask("desk", "GET", f"/v1/exams?patient={self.patient}")
        self.ask("desk", "GET", self.exam + "/delta")
        self.ask("desk", "GET",
                 f"{self.exam}/delta?against={self.reading}&cylinder=plus")

    def signed(self):
        self.change("prescriber", self.exam + "/sign", None, "POST")
        self.change("prescriber", self.exam + "/sign", {}, "POST", 409)
        for path in ("", "/rx", "/rx?cylinder=plus", "/delta", "/versions"):
            self.ask("desk", "GET", self.exam + path)
        self.ask("desk", "GET", "/v1/exams?status=final&limit=5")
        self.released()
        reason = {"reason": "the axis was read from the wrong line"}
        self.change("prescriber", self.exam + "/amend", reason, "POST")
        self.ask("desk", "GET", self.exam)
        self.probe("prescriber", "POST", self.exam + "/amend")
        self.probe("prescriber", "POST", self.exam + "/entered-in-error")
        self.change("prescriber", self.exam + "/amend", None, "DELETE")
        self.change("prescriber", self.exam + "/amend", reason, "POST")
        self.change("prescriber", self.exam, {"final": {"right": {
            "axis": 175}}})
        self.change("prescriber", self.exam + "/sign", reason, "POST")
        self.ask("desk", "GET", self.exam + "/versions?cylinder=plus")
        self.ask("desk", "GET", f"/v1/patients/{self.patient}/timeline")
        self.ask("desk", "GET", f"/v1/patients/{self.patient}/timeline"
                 "?limit=2&cylinder=plus")

    def released(self):
        path = self.exam + "/releases"
        self.ask("desk", "POST", path, {
            "kind": "copy-given", "way": "electronic", "person": "the mother",
            "at": "2026-03-02T09:14:05+01:00"}, 201)
        self.ask("prescriber", "POST", path, {
            "kind": "refusal", "note": "in a hurry"}, 201)
        self.ask("desk", "POST", path, {"kind": "lost"}, 422)
        self.probe("desk", "POST", path)
        self.ask("desk", "GET", path)

    def orders(self):
        exam = self.exam.rpartition("/")[2]
        lens = {"design": "progressive", "material": "resin", "index": 1.5,
                "treatments": ["hard coat"], "tint": "none"}
        frame = {"a_mm": 52, "b_mm": 38, "dbl_mm": 18, "ed_mm": 56,
                 "fitting_height_mm": {"right": 22, "left": 22.5},
                 "worn_vertex_mm": 13, "tilt_deg": 8, "wrap_deg": 5,
                 "supply": "enclosed"}
        self.ask("desk", "POST", "/v1/orders", {"exam": exam}, 422)
        placed = self.ask("desk", "POST", "/v1/orders", {
            "exam": exam, "lens": lens, "frame": frame, "lab": self.net.lab,
            "priority": "urgent", "purpose": "distance", "notes": "a note",
            "deliver_to": "the clinic", "make_power": "compensated"}, 201, Idempotency_Key="o-1")
        path = f"/v1/orders/{placed.body['id']}"
        draft = self.ask("desk", "POST", "/v1/orders", {
            "exam": exam, "draft": True, "only": "right",
            "previous": placed.body["id"]}, 201)
        other = f"/v1/orders/{draft.body['id']}"
        self.change("desk", other, {"lens": {"design": "single-vision"},
                                    "only": None})
        self.change("desk", other, {"lens": {"index": 9}}, status=422)
        self.probe("desk", "POST", "/v1/orders")
        self.probe("desk", "PATCH", other)
        self.probe("desk", "POST", other + "/status")
        self.change("desk", other + "/status", {"status": "cancelled",
                                                "note": "twice"}, "POST")
        self.change("desk", other, {"notes": "late"}, status=409)
        self.amended(path)
        for status, stage in (("received", None), ("accepted", None),
                              ("in-progress", "cut")):
            self.change("lab", path + "/status", {
                "status": status, **({"stage": stage} if stage else {})},
                "POST")
        self.change("lab", path + "/status", {"status": "requested"}, "POST",
                    403)
        self.seen_by(placed, path)
        self.remade(path)

    def amended(self, path):
        question = self.ask("lab", "POST", path + "/questions", {
            "pointer": "/lens/tint", "text": "which shade?"}, 201)
        self.ask("lab", "POST", path + "/questions", {
            "pointer": "/nowhere", "text": "?"}, 422)
        answers = f"{path}/questions/{question.body['id']}/answer"
        self.ask("desk", "POST", answers, {"text": "grey 2"}, 201)
        self.ask("desk", "POST", answers, {"text": "brown"}, 409)
        self.probe("lab", "POST", path + "/questions")
        self.probe("desk", "POST", answers)
        # A fitting height is read beside the frame's height that stands.
        self.probe("desk", "POST", path + "/amend", ("frame",))
        self.change("desk", path + "/amend", {
            "reason": "the shade", "lens": {"tint": "grey 2"},
            "frame": {"fitting_height_mm": {"left": 23}}}, "POST")
        self.change("desk", path + "/amend", {"reason": "again"}, "POST", 422)
        for role in ("desk", "lab"):
            self.ask(role, "GET", path + "/editions")

    def checked_glasses(self, path):
        eyes = {"right": {"sphere": -2.0, "cylinder": -1.12, "axis": 178,
                          "add": 1.5, "prism": [{"amount": 0.5,
                                                 "base": "out"}]},
                "left": {"sphere": -6.75, "cylinder": -1, "axis": 90,
                         "add": 1.5},
                "pd_mm": {"right": 31, "left": 32},
                "height_mm": {"right": 22, "left": 23}}
        path += "/bench-checks"
        self.ask("lab", "POST", path, {"profile": "by eye"}, 422)
        made = self.ask("lab", "POST", path, {
            "profile": "ANSI Z80.1-2015", "note": "first", **eyes}, 201)
        self.ask("desk", "POST", path, {
            "profile": "ANSI Z80.1-1999", "again": made.body["id"]}, 201)
        # The first eye of the Rx is -2.00 -1.00; an eye that is read differs
        # by kind.
        self.probe("lab", "POST", path, ("right", "left"))
        for role in ("desk", "lab"):
            self.ask(role, "GET", path)
            self.ask(role, "GET", f"{path}/{made.body['id']}")

    def remade(self, path):
        self.checked_glasses(path)
        self.probe("desk", "POST", path + "/remake", ("frame",))
        self.ask("desk", "POST", path + "/remake", {"cause": "broken"}, 409)
        for stage in ("checked", "sent"):
            self.change("lab", path + "/status", {
                "status": "in-progress" if stage == "checked"
                else "completed", "stage": stage}, "POST")
        again = self.ask("desk", "POST", path + "/remake", {
            "cause": "axis-off", "note": "right", "only": "right"}, 201)
        self.ask("desk", "GET", path)
        self.ask("lab", "GET", f"/v1/orders/{again.body['id']}")

    def seen_by(self, placed, path):
        for role in ("desk", "lab"):
            for view in ("", "?cylinder=plus", ".html", "/fhir", "/dicom",
                         "/lab-data", "/make", ".pdf?paper=letter"):
                self.ask(role, "GET", path + view)
            self.ask(role, "GET", "/v1/orders?limit=1")
            self.ask(role, "GET", f"/v1/orders?number={placed.body['number']}"
                     "&status=in-progress")
        self.ask("desk", "GET", path + ".pdf?paper=a9", status=422)
        self.ask("desk", "GET",
                 f"/v1/orders?patient={self.patient}&lab={self.net.lab}")

    def events(self):
        """Each line of data that is told to somebody who comes back."""
        for role in ("desk", "lab"):
            answer = self.ask(role, "GET",
                              f"/v1/events?wait=0&after={self.patient}")
            self.test.assertGreater(len(answer.body), 3)
        self.ask("desk", "GET", "/v1/events?wait=soon", status=422)

    def webhooks(self):
        made = self.ask("admin", "POST", "/v1/webhooks", {
            "url": "http://127.0.0.1:9/told", "lab": self.net.lab,
            "kinds": ["order-moved", "order-placed"]}, 201)
        path = f"/v1/webhooks/{made.body['id']}"
        self.test.assertEqual(made.headers["Location"], path)
        self.ask("desk", "POST", "/v1/webhooks", {"url": "x"}, 403)
        self.probe("admin", "POST", "/v1/webhooks")
        self.change("admin", path, {"kinds": None})
        self.probe("admin", "PATCH", path)
        self.ask("admin", "GET", path)
        self.ask("admin", "GET", "/v1/webhooks?limit=1")
        self.ask("admin", "GET", path + "/deliveries")
        self.ask("admin", "GET", path + "/deliveries?state=lost", status=422)
        self.ask("admin", "POST", path + "/replay", {"dead": True})
        self.ask("admin", "POST", path + "/replay", {}, 422)
        self.probe("admin", "POST", path + "/replay")
        self.change("admin", path, {"closed": True})
        self.ask("admin", "POST", path + "/replay", {"dead": True}, 409)

    def keys(self):
        for role in ("desk", "lab"):
            answer = self.ask(role, "GET", "/v1/keys")
        self.test.assertEqual(len(answer.body["keys"]), 1)
        made = self.ask("admin", "POST", "/v1/keys", {"reason": "yearly"}, 201)
        self.ask("desk", "POST", "/v1/keys", {"reason": "x"}, 403)
        self.probe("admin", "POST", "/v1/keys")
        self.ask(None, "GET", made.headers["Location"])
        self.ask(None, "GET", f"/.well-known/rx-keys/{uuid7()}", status=404)

    def voided(self):
        self.change("prescriber", self.exam + "/entered-in-error",
                    {"reason": "another patient's"}, "POST")
        for path in ("/rx", "/delta"):
            self.ask("desk", "GET", self.exam + path, status=409)
        self.ask("desk", "GET", self.exam + "/versions")

    def optics(self):
        tried = set()
        for path in sorted((DATA / "optics").glob("*.jsonl")):
            rows = [read(line) for line in path.read_text().splitlines()]
            for row in rows[:1] + rows[-1:]:
                name = row["path"].rpartition("/")[2]
                self.compute(name, row["request"])
                tried.add(name)
        for name, request in WITHOUT_FILE.items():
            self.compute(name, request)
        return tried | set(WITHOUT_FILE)

    def compute(self, name, request):
        plain = json.loads(json.dumps(request, default=float))
        for body in (plain, [plain, plain]):
            answer = self.ask("device", "POST", f"/v1/optics/{name}", body)
            for one in answer.body if isinstance(body, list) \
                    else [answer.body]:
                described.schemas.check(
                    f"../schema/optics.json#/$defs/{name}-answer", one,
                    closed=True)

    def audit(self):
        self.ask("auditor", "GET", "/v1/audit?limit=500")
        self.ask("admin", "GET", f"/v1/audit?patient={self.patient}"
                 "&from=2020-01-01T00:00:00Z")
        self.ask("desk", "GET", "/v1/audit", status=403)


class Answers(unittest.TestCase):
    def test_everything_that_can_be_asked_is_answered_as_described(self):
        walk = Walk(self)
        for step in (walk.service, walk.sessions, walk.administration,
                     walk.patients, walk.visits, walk.readings, walk.habitual,
                     walk.exam_begun, walk.steps, walk.sections, walk.signed,
                     walk.orders, walk.events, walk.keys,
                     walk.webhooks, walk.voided, walk.audit):
            step()
        tried = walk.optics()
        self.assertEqual(tried, set(optics_functions()))
        self.assertEqual(
            {str(o) for o in described.operations()} - walk.checked.seen,
            set())
        self.assertEqual(len(walk.checked.seen), len(routes()))
        self.assertEqual(walk.faults, [], "\n".join(walk.faults))
        self.assertGreater(walk.bounded, 300)
        self.assertEqual(
            {str(o) for o in described.operations() if "requestBody" in o.json}
            - walk.probed,
            {"POST /v1/optics/{function}", "POST /dicomweb/studies",
             "POST /dicomweb/studies/{study}"})


if __name__ == "__main__":
    unittest.main()
