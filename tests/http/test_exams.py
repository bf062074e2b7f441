"""Exams over HTTP: begun, started from a reading, refined, signed, amended;
the Rx, the delta, and the habitual glasses."""

import json
import threading
import unittest

from lenstest import Service, uuid7
from lenstest.fixture import insert

PLANO = {"lens": "power", "sphere": 0, "cylinder": 0, "axis": None}


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def eye(sphere, cylinder=0, axis=None, **more):
    return {"sphere": sphere, "cylinder": cylinder, "axis": axis, **more}


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()
        self.patient = self.person("Q-10442")
        self.visit = self.visit_of(self.patient)

    # --- what an exam needs

    def person(self, number):
        answer = self.net.api("desk", "POST", "/v1/patients", {
            "record_number": number, "family": "Okonjo", "given": "Tamsin",
            "born": "1971-11-09"})
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body["id"]

    def visit_of(self, patient):
        answer = self.net.api("desk", "POST", "/v1/visits",
                              {"patient": patient})
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body["id"]

    def reading(self, kind, number="Q-10442", taken="2026-03-02T09:14:05+01:00",
                **more):
        body = {"kind": kind, "taken_at": taken, **more}
        if number:
            body["patient"] = {"record_number": number}
        answer = self.net.api("device", "POST", "/v1/readings", body)
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body["id"]

    def elsewhere(self, role="prescriber"):
        """Somebody of that role at another clinic of the network."""
        clinic, own = uuid7(), self.net.clinic
        svc.psql(insert("clinic", network_id=self.net.id, clinic_id=clinic,
                        name=f"Clinic {clinic}", time_zone="Asia/Tokyo"))
        self.net.clinic = clinic
        self.net.add(role, clinic)
        self.net.clinic = own
        return clinic

    # --- asking

    def call(self, method, path, body=None, etag=None, role="prescriber",
             key=None):
        headers = {}
        if etag:
            headers["If-Match"] = etag
        if key:
            headers["Idempotency-Key"] = key
        return self.net.api(role, method, path, body, headers)

    def good(self, answer, status=200):
        self.assertEqual(answer.status, status, answer.body)
        return answer

    def begin(self, **more):
        answer = self.good(self.call(
            "POST", "/v1/exams", {"visit": self.visit, **more}), 201)
        return answer.body["id"], answer.headers["ETag"]

    def get(self, exam, part="", role="prescriber", status=200):
        return self.good(
            self.call("GET", f"/v1/exams/{exam}{part}", role=role),
            status).body

    def etag(self, exam):
        return self.good(
            self.call("GET", f"/v1/exams/{exam}")).headers["ETag"]

    def patch(self, exam, body, etag=None, role="prescriber"):
        return self.call("PATCH", f"/v1/exams/{exam}", body,
                         etag or self.etag(exam), role)

    def start(self, exam, source, **more):
        return self.call("POST", f"/v1/exams/{exam}/start-from",
                         {"source": source, **more}, self.etag(exam))

    def step(self, exam, role="prescriber", **body):
        return self.call("POST", f"/v1/exams/{exam}/steps", body, role=role)

    def sign(self, exam, **body):
        return self.call("POST", f"/v1/exams/{exam}/sign", body or None,
                         self.etag(exam))

    def pointers(self, answer, status=422):
        self.assertEqual(answer.status, status, answer.body)
        self.assertIn("application/problem+json",
                      answer.headers["Content-Type"])
        return [e["pointer"] for e in answer.body.get("errors", [])]

    def codes(self, cautions, of_eye=False):
        return {c["code"] for c in cautions
                if of_eye is False or c.get("eye") == of_eye}

    def signed(self, **final):
        exam, _ = self.begin()
        self.good(self.patch(exam, {"final": {
            "right": eye(-1), "left": eye(-1), **final}}))
        self.good(self.sign(exam))
        return exam


class WholeFlow(Case):
    def test_from_a_reading_to_a_frozen_delta(self):
        glasses = self.reading(
            "lensometry", right=eye(-2.00, -0.50, 175), left=eye(-1.75),
            taken="2026-03-02T08:55:00+01:00")
        auto = self.reading(
            "autorefraction", vertex_mm=12.00,
            right={"repeats": [eye(-2.62, -0.75, 172)],
                   "representative": eye(-2.62, -0.75, 172)},
            left=eye(-1.87, -0.25, 0.49),
            pd_mm={"binocular": 63, "right": 31.5, "left": 31.5})

        exam, etag = self.begin()
        self.assertEqual(etag, '"1"')
        shown = self.get(exam)
        self.assertEqual(shown["status"], "preliminary")
        self.assertEqual(shown["habitual"], glasses)
        self.assertEqual(shown["visit"], self.visit)
        self.assertEqual(shown["patient"], self.patient)
        self.assertNotIn("working", shown)
        self.assertEqual(
            [m["pointer"] for m in shown["missing_to_sign"]],
            ["/final/right", "/final/left"])

        answer = self.good(self.start(exam, auto))
        self.assertEqual(answer.headers["ETag"], '"2"')
        self.assertEqual(answer.body["rounded"], [
            {"eye": "left", "field": "axis", "from": 0.49, "to": 180}])
        working = answer.body["working"]
        self.assertEqual(working["right"], {
            "lens": "power", "sphere": -2.62, "cylinder": -0.75, "axis": 172})
        self.assertEqual(working["left"]["axis"], 180)
        self.assertEqual(working["vertex_mm"], 12)
        self.assertEqual(working["pd_mm"],
                         {"right": 31.5, "left": 31.5, "binocular": 63})
        self.assertEqual(working["source"]["id"], auto)
        self.assertEqual(working["source"]["kind"], "autorefraction")

        answer = self.good(self.step(
            exam, eye="right", field="sphere", **{"from": -2.62}, to=-2.50,
            test="duochrome"), 201)
        self.assertEqual(answer.body["ordinal"], 2)
        self.assertEqual(answer.body["cautions"], [])
        self.assertEqual(answer.body["working"]["right"]["sphere"], -2.50)
        self.assertEqual(answer.headers["ETag"], '"3"')
        self.good(self.step(
            exam, eye="left", field="sphere", **{"from": -1.87}, to=-1.75,
            acuity={"notation": "decimal", "text": "1.0"}), 201)

        self.good(self.patch(exam, {
            "history": {"complaint": "blurred at the board"},
            "acuities": [
                {"eye": "right", "distance": "far", "with": "habitual",
                 "notation": "snellen", "text": "6/12"},
                {"eye": "right", "distance": "far", "with": "working",
                 "notation": "snellen", "text": "6/6"}],
            "objective": {"autorefraction": auto},
            "final": {"purpose": "distance", "expires_on": "2028-03-02"}}))

        draft = self.get(exam, "/delta")
        self.assertFalse(draft["frozen"])
        self.assertEqual(draft["of"], "working")

        answer = self.good(self.sign(exam))
        body = answer.body
        self.assertEqual(body["status"], "final")
        self.assertEqual(body["final_from"], "working")
        self.assertEqual(body["final"]["right"]["sphere"], -2.5)
        self.assertNotIn("missing_to_sign", body)
        self.assertIn("acuity-missing", self.codes(body["cautions"], "left"))
        self.assertNotIn("acuity-missing",
                         self.codes(body["cautions"], "right"))

        rx = self.get(exam, "/rx")
        self.assertEqual(rx, body["rx"])
        self.assertEqual(rx["status"], "final")
        self.assertEqual(rx["signed_by"]["licence_number"], "L-1")
        self.assertEqual(rx["patient"]["record_number"], "Q-10442")
        self.assertEqual(rx["expires_on"], "2028-03-02")
        self.assertEqual(rx["purpose"], "distance")
        self.assertEqual(rx["vertex_mm"], 12)
        self.assertEqual(rx["right"]["acuity"]["text"], "6/6")

        delta = self.get(exam, "/delta")
        self.assertEqual(delta, body["delta"])
        self.assertTrue(delta["frozen"])
        self.assertEqual(delta["habitual"]["id"], glasses)
        # -2.00 -0.50 x 175 to -2.50 -0.75 x 172: S + C/2 from -2.25 to -2.875
        right = delta["right"]
        self.assertEqual(right["spherical_equivalent_change"], -0.625)
        self.assertEqual(right["power_vector"]["m"], -0.625)
        self.assertEqual(right["sphere_change"], -0.5)
        self.assertFalse(right["within_noise"])
        self.assertTrue(delta["left"]["within_noise"])
        self.assertIn("0.62 D more minus", right["words"][0])

        # Neither newer glasses nor another choice move what was signed.
        self.reading("lensometry", right=eye(-4), left=eye(-4),
                     taken="2026-03-02T10:00:00+01:00")
        self.assertEqual(self.get(exam, "/delta"), delta)
        self.assertEqual(self.get(exam)["habitual"], glasses)

        line = self.good(self.call(
            "GET", f"/v1/patients/{self.patient}/timeline")).body["items"]
        final = [i for i in line if i["kind"] == "final"]
        self.assertEqual(len(final), 1)
        self.assertEqual(final[0]["origin"], "exam")
        self.assertEqual(final[0]["exam"], exam)
        self.assertEqual(final[0]["right"]["sphere"], -2.5)

        steps = self.get(exam, "/steps")
        self.assertEqual([s["ordinal"] for s in steps["items"]], [3, 2, 1])
        self.assertEqual([s["kind"] for s in steps["items"]],
                         ["change", "change", "start-from"])
        self.assertEqual(steps["items"][1]["test"], "duochrome")
        self.assertEqual(steps["items"][0]["acuity"]["text"], "1.0")
        self.assertIsNone(steps["next"])


class Beginning(Case):
    def test_what_is_wrong_is_named(self):
        self.assertEqual(self.pointers(self.call("POST", "/v1/exams", {})),
                         ["/visit"])
        answer = self.call("POST", "/v1/exams", {
            "visit": "x", "performed_at": "2099-01-01T00:00:00Z", "mood": 1})
        self.assertEqual(sorted(self.pointers(answer)),
                         ["/mood", "/performed_at", "/visit"])
        answer = self.call("POST", "/v1/exams", {"visit": uuid7()})
        self.assertEqual(self.pointers(answer), ["/visit"])

    def test_earlier_than_a_day_is_a_catch_up_entry(self):
        exam, _ = self.begin(performed_at="2024-05-06T10:00:00+02:00")
        shown = self.get(exam)
        self.assertTrue(shown["catch_up"])
        self.assertEqual(shown["performed_at"], "2024-05-06T10:00:00+02:00")
        exam, _ = self.begin()
        self.assertFalse(self.get(exam)["catch_up"])

    def test_the_same_key_is_the_same_exam(self):
        body = {"visit": self.visit}
        first = self.good(self.call("POST", "/v1/exams", body, key="k1"), 201)
        again = self.good(self.call("POST", "/v1/exams", body, key="k1"), 201)
        self.assertEqual(first.body, again.body)
        self.assertEqual(first.headers["ETag"], again.headers["ETag"])
        answer = self.call("POST", "/v1/exams", {
            **body, "performed_at": "2026-01-01T00:00:00Z"}, key="k1")
        self.assertEqual(answer.status, 422, answer.body)

    def test_a_cancelled_visit_takes_none(self):
        svc.psql(f"UPDATE visit SET status = 'cancelled'"
                 f" WHERE visit_id = '{self.visit}'")
        answer = self.call("POST", "/v1/exams", {"visit": self.visit})
        self.assertEqual(self.pointers(answer, 409), ["/visit"])

    def test_lists(self):
        first, _ = self.begin()
        second = self.signed()
        path = f"/v1/exams?patient={self.patient}"
        answer = self.good(self.call("GET", path)).body
        self.assertEqual([i["id"] for i in answer["items"]], [second, first])
        answer = self.good(self.call("GET", path + "&limit=1"))
        self.assertEqual([i["id"] for i in answer.body["items"]], [second])
        answer = self.good(self.call(
            "GET", path + "&limit=1&after=" + answer.body["next"])).body
        self.assertEqual([i["id"] for i in answer["items"]], [first])
        self.assertIsNone(answer["next"])
        answer = self.good(self.call("GET", path + "&status=final")).body
        self.assertEqual([i["id"] for i in answer["items"]], [second])
        answer = self.good(self.call("GET", "/v1/exams")).body
        self.assertEqual(len(answer["items"]), 2)
        self.assertEqual(
            self.call("GET", "/v1/exams?status=odd").status, 422)
        self.assertEqual(
            self.call("GET", "/v1/exams?patient=odd").status, 422)


class WhoMay(Case):
    def test_another_network_finds_nothing(self):
        exam = self.signed()
        other = svc.network()
        for method, part, body in (
                ("GET", "", None), ("GET", "/rx", None),
                ("GET", "/delta", None), ("GET", "/steps", None),
                ("GET", "/versions", None), ("PATCH", "", {"history": {}}),
                ("POST", "/start-from", {"source": uuid7()}),
                ("POST", "/steps", {"undo": uuid7()}),
                ("POST", "/steps", {"nonsense": True}),
                ("POST", "/sign", None), ("POST", "/amend", {"reason": "x"}),
                ("DELETE", "/amend", None),
                ("POST", "/entered-in-error", {"reason": "x"})):
            answer = other.api("prescriber", method, f"/v1/exams/{exam}{part}",
                               body, {"If-Match": "*"})
            self.assertEqual(answer.status, 404, (method, part, answer.body))
            self.assertNotIn("errors", answer.body)
        answer = other.api("prescriber", "GET",
                           f"/v1/exams?patient={self.patient}")
        self.assertEqual(answer.body["items"], [])
        answer = other.api("prescriber", "POST", "/v1/exams",
                           {"visit": self.visit})
        self.assertEqual(self.pointers(answer), ["/visit"])
        for method, body in (("GET", None), ("POST", {"entry": uuid7()})):
            answer = other.api(
                "desk", method, f"/v1/patients/{self.patient}/habitual", body)
            self.assertEqual(answer.status, 404, answer.body)

    def test_another_clinic_reads_what_is_signed(self):
        there = self.elsewhere()
        draft, _ = self.begin()
        for method, part, body in (
                ("GET", "", None), ("GET", "/rx", None),
                ("GET", "/delta", None), ("GET", "/steps", None),
                ("PATCH", "", {"history": {}}), ("POST", "/sign", None),
                ("POST", "/start-from", {"source": uuid7()}),
                ("POST", "/steps", {"eye": "right"})):
            answer = self.call(method, f"/v1/exams/{draft}{part}", body, "*",
                               role=there)
            self.assertEqual(answer.status, 403, (method, part, answer.body))
        exam = self.signed()
        self.get(exam, role=there)
        self.get(exam, "/rx", role=there)
        answer = self.good(self.call(
            "GET", f"/v1/exams?patient={self.patient}", role=there)).body
        self.assertEqual([i["id"] for i in answer["items"]], [exam])
        answer = self.call("POST", f"/v1/exams/{exam}/amend", {"reason": "x"},
                           "*", role=there)
        self.assertEqual(answer.status, 403, answer.body)
        answer = self.call("POST", "/v1/exams", {"visit": self.visit},
                           role=there)
        self.assertEqual(answer.status, 403, answer.body)

    def test_an_open_amendment_shows_others_what_was_signed(self):
        there = self.elsewhere()
        exam = self.signed()
        self.good(self.call("POST", f"/v1/exams/{exam}/amend",
                            {"reason": "axis"}, self.etag(exam)))
        self.good(self.patch(exam, {"final": {"right": {"sphere": -3}}}))
        self.assertEqual(self.get(exam)["final"]["right"]["sphere"], -3)
        shown = self.get(exam, role=there)
        self.assertEqual(shown["final"]["right"]["sphere"], -1)
        self.assertEqual(shown["edition"], 1)

    def test_roles(self):
        exam, _ = self.begin()
        for role in ("lab", "device"):
            self.assertEqual(
                self.call("GET", f"/v1/exams/{exam}", role=role).status, 403)
        for role in ("desk", "lab", "device", "admin", "auditor"):
            for part, body in (("/sign", None), ("/amend", {"reason": "x"}),
                               ("/start-from", {"source": uuid7()}),
                               ("/steps", {"undo": uuid7()})):
                answer = self.call("POST", f"/v1/exams/{exam}{part}", body,
                                   "*", role=role)
                self.assertEqual(answer.status, 403, (role, part))
        self.good(self.patch(
            exam, {"history": {"complaint": "tired"}}, role="desk"))
        answer = self.patch(exam, {"final": {"right": PLANO}}, role="desk")
        self.assertEqual(answer.status, 403, answer.body)
        answer = svc.api("GET", f"/v1/exams/{exam}")
        self.assertEqual(answer.status, 401, answer.body)


class Sections(Case):
    def test_a_patch_needs_the_version_that_it_saw(self):
        exam, etag = self.begin()
        answer = self.call("PATCH", f"/v1/exams/{exam}", {"history": {}})
        self.assertEqual(answer.status, 428, answer.body)
        answer = self.good(self.patch(
            exam, {"history": {"complaint": "halos"}}, etag))
        self.assertEqual(answer.headers["ETag"], '"2"')
        answer = self.patch(exam, {"history": {"complaint": "none"}}, etag)
        self.assertEqual(answer.status, 412, answer.body)
        self.assertEqual(self.get(exam)["history"], {"complaint": "halos"})

    def test_null_removes(self):
        exam, _ = self.begin()
        self.good(self.patch(exam, {"history": {
            "complaint": "halos", "notes": "at night"}}))
        self.good(self.patch(exam, {"history": {"notes": None}}))
        self.assertEqual(self.get(exam)["history"], {"complaint": "halos"})
        self.good(self.patch(exam, {"history": None}))
        self.assertNotIn("history", self.get(exam))

    def test_every_fault_is_named_at_once_and_nothing_is_kept(self):
        exam, etag = self.begin()
        answer = self.patch(exam, {
            "history": {"complaint": "halos", "shoe_size": 43},
            "final": {"right": eye(-1, -1.25), "left": eye("2.00"),
                      "vertex_mm": 50},
            "acuities": [{"eye": "right"}], "mood": "good"})
        self.assertEqual(sorted(self.pointers(answer)), [
            "/acuities/0/distance", "/acuities/0/notation",
            "/acuities/0/text", "/acuities/0/with", "/final/left/sphere",
            "/final/right/axis", "/final/vertex_mm", "/history/shoe_size",
            "/mood"])
        self.assertEqual(self.etag(exam), etag)

    def test_plus_cylinder_is_kept_as_minus_and_shown_as_asked(self):
        exam, _ = self.begin()
        self.good(self.patch(exam, {"final": {
            "right": eye(1.00, 0.50, 180), "left": PLANO}}))
        shown = self.get(exam)["final"]["right"]
        self.assertEqual((shown["sphere"], shown["cylinder"], shown["axis"]),
                         (1.50, -0.50, 90))
        answer = self.good(self.call(
            "GET", f"/v1/exams/{exam}?cylinder=plus"))
        shown = answer.body["final"]["right"]
        self.assertEqual((shown["sphere"], shown["cylinder"], shown["axis"]),
                         (1.00, 0.50, 180))
        self.assertEqual(answer.headers["ETag"], '"2-plus"')
        answer = self.patch(
            exam, {"final": {"right": {"cylinder": 0.75, "axis": 180}}})
        self.assertEqual(self.pointers(answer), ["/final/right/cylinder"])
        answer = self.call("GET", f"/v1/exams/{exam}?cylinder=odd")
        self.assertEqual(answer.status, 422, answer.body)
        # The tag of a view is good for a change.
        self.good(self.patch(exam, {"near": {"right": {"add": 2}}},
                             '"2-plus"'))

    def test_objective_names_readings_of_this_patient(self):
        exam, _ = self.begin()
        other = self.person("Q-2")
        self.assertTrue(other)
        auto = self.reading("autorefraction", right=eye(-1), left=eye(-1))
        theirs = self.reading("autorefraction", number="Q-2",
                              right=eye(-2), left=eye(-2))
        tray = self.reading("autorefraction", number=None,
                            right=eye(-3), left=eye(-3))
        answer = self.patch(exam, {"objective": {
            "autorefraction": theirs, "lensometry": auto,
            "retinoscopy": uuid7(), "others": [tray, auto]}})
        self.assertEqual(sorted(self.pointers(answer)), [
            "/objective/autorefraction", "/objective/lensometry",
            "/objective/others/0", "/objective/retinoscopy"])
        self.good(self.patch(exam, {"objective": {
            "autorefraction": auto, "others": [auto]}}))


class Starting(Case):
    def setUp(self):
        super().setUp()
        self.exam, _ = self.begin()

    # http://visionmagazineonline.co.za/2019/04/25/residual-astigmatism-with-
    # scleral-lens-fit/: an over-refraction never becomes a refraction.
    def test_an_over_refraction_is_refused(self):
        over = self.reading(
            "over-refraction", condition={"lens_worn": "trial scleral lens"},
            right=eye(-3, -1.75, 35), left=eye(-1.5, -1.75, 45))
        answer = self.start(self.exam, over)
        self.assertEqual(self.pointers(answer), ["/source"])
        self.assertIn("over-refraction", answer.body["detail"])
        self.good(self.patch(self.exam, {"final": {
            "right": eye(-7, -3.5, 77), "left": eye(-7.75, -2, 119)}}))
        answer = self.call(
            "GET", f"/v1/exams/{self.exam}/delta?against={over}")
        self.assertEqual(answer.status, 422, answer.body)
        self.assertIn("over-refraction", answer.body["detail"])

    def test_what_has_no_lens_power_of_this_patient_is_refused(self):
        self.person("Q-2")
        sources = {
            "keratometry": self.reading("keratometry", right={
                "flat": {"radius_mm": 7.8, "axis": 180},
                "steep": {"radius_mm": 7.6, "axis": 90}}),
            "another patient": self.reading(
                "autorefraction", number="Q-2", right=eye(-2)),
            "tray": self.reading(
                "autorefraction", number=None, right=eye(-3)),
            "which eye": self.reading("lensometry", unspecified=eye(-1)),
            "no reading": uuid7()}
        for word, source in sources.items():
            answer = self.start(self.exam, source)
            self.assertEqual(self.pointers(answer), ["/source"], word)
            self.assertIn(word, answer.body["detail"])
        self.assertNotIn("working", self.get(self.exam))
        answer = self.call("POST", f"/v1/exams/{self.exam}/start-from",
                           {"from": 1}, "*")
        self.assertEqual(sorted(self.pointers(answer)), ["/from", "/source"])

    def test_it_needs_the_version(self):
        auto = self.reading("autorefraction", right=eye(-1), left=eye(-1))
        path = f"/v1/exams/{self.exam}/start-from"
        answer = self.call("POST", path, {"source": auto})
        self.assertEqual(answer.status, 428, answer.body)
        answer = self.call("POST", path, {"source": auto}, '"9"')
        self.assertEqual(answer.status, 412, answer.body)

    def test_add_prism_and_one_eye(self):
        pair = self.reading("lensometry", left={
            **eye(-1.25), "add": 2.00,
            "prism": [{"amount": 1.5, "base": "up"}]})
        auto = self.reading("autorefraction", right=eye(-2), left=eye(-1),
                            vertex_mm=13)
        self.good(self.start(self.exam, auto))
        answer = self.good(self.start(self.exam, pair))
        working = answer.body["working"]
        self.assertEqual(working["right"]["sphere"], -2)
        self.assertEqual(working["left"]["add"], 2)
        self.assertEqual(working["left"]["prism"],
                         [{"amount": 1.5, "base": "up"}])
        self.assertEqual(working["vertex_mm"], 13)
        self.assertEqual(self.codes(answer.body["cautions"]),
                         {"eye-missing", "vertex-differs"})
        answer = self.good(self.start(self.exam, auto, eye="left"))
        self.assertNotIn("add", answer.body["working"]["left"])
        answer = self.start(self.exam, pair, eye="right")
        self.assertEqual(self.pointers(answer), ["/eye"])

    def test_undo_brings_back_power_and_source(self):
        first = self.reading("autorefraction", right=eye(-1), left=eye(-1))
        second = self.reading("autorefraction", right=eye(-2), left=eye(-2))
        one = self.good(self.start(self.exam, first)).body["step"]
        two = self.good(self.start(self.exam, second)).body["step"]
        self.good(self.step(self.exam, undo=two), 201)
        working = self.get(self.exam)["working"]
        self.assertEqual(working["right"]["sphere"], -1)
        self.assertEqual(working["source"]["id"], first)
        self.good(self.step(self.exam, undo=one), 201)
        self.assertNotIn("working", self.get(self.exam))


class Steps(Case):
    def setUp(self):
        super().setUp()
        self.exam, _ = self.begin()
        auto = self.reading("autorefraction", right=eye(-2.25, -0.5, 90),
                            left=eye(-1))
        self.good(self.start(self.exam, auto))

    def test_from_must_stand(self):
        answer = self.step(self.exam, eye="right", field="sphere",
                           **{"from": -2.00}, to=-2.50)
        self.assertEqual(self.pointers(answer, 409), ["/from"])
        self.assertEqual(answer.body["standing"], -2.25)
        self.assertEqual(answer.body["working"]["right"]["sphere"], -2.25)
        self.assertEqual(self.get(self.exam)["version"], 2)
        answer = self.step(
            self.exam, eye="both", field="sphere",
            **{"from": -2.25}, to=-2.50)
        self.assertEqual(answer.status, 409)
        self.assertEqual(answer.body["standing"],
                         {"right": -2.25, "left": -1})

    def test_a_value_off_the_clinics_steps_is_taken_and_told(self):
        answer = self.good(self.step(
            self.exam, eye="right", field="axis", **{"from": 90}, to=93,
            test="cross-cylinder-axis"), 201)
        self.assertEqual(self.codes(answer.body["cautions"], "right"),
                         {"off-step"})

    def test_a_first_cylinder_without_axis_says_what_it_took(self):
        got = self.good(self.step(
            self.exam, eye="left", field="cylinder", to=-0.5,
            test="jackson-cross-cylinder", **{"from": 0}), 201).body
        self.assertEqual(got["working"]["left"]["axis"], 180)
        self.assertEqual(self.codes(got["cautions"], "left"),
                         {"axis-assumed"})
        self.good(self.step(self.exam, eye="left", field="axis", to=20,
                            **{"from": 180}), 201)
        got = self.good(self.step(
            self.exam, eye="left", field="cylinder", to=-0.75,
            **{"from": -0.5}), 201).body
        self.assertEqual(got["working"]["left"]["axis"], 20)
        self.assertEqual(got["cautions"], [])
        got = self.good(self.step(
            self.exam, eye="right", field="cylinder", to=-0.75, axis=80,
            **{"from": -0.5}), 201).body
        self.assertEqual(got["working"]["right"]["axis"], 80)
        self.assertEqual(got["cautions"], [])

    def test_a_whole_prism(self):
        whole = [{"amount": 1.5, "base": "in"}, {"amount": 1, "base": "up"}]
        got = self.good(self.step(
            self.exam, eye="right", field="prism", to=whole,
            test="phoria", **{"from": None}), 201).body
        self.assertEqual(got["working"]["right"]["prism"], whole)
        self.assertEqual(got["to"], whole)
        answer = self.step(self.exam, eye="right", field="prism", to=None,
                           **{"from": whole[0]})
        self.assertEqual(self.pointers(answer, 409), ["/from"])
        self.assertEqual(answer.body["standing"], whole)
        self.good(self.step(self.exam, undo=got["id"]), 201)
        self.assertNotIn("prism", self.get(self.exam)["working"]["right"])

    def test_every_fault_at_once(self):
        answer = self.call("POST", f"/v1/exams/{self.exam}/steps", {})
        self.assertEqual(self.pointers(answer), ["/eye", "/field", "/to"])
        answer = self.step(self.exam, eye="x", field="y", zz=1,
                           **{"from": "a"})
        self.assertEqual(sorted(self.pointers(answer)),
                         ["/eye", "/field", "/from", "/to", "/zz"])

    def test_faults_are_named(self):
        answer = self.step(self.exam, eye="right", field="sphere",
                           **{"from": "a"}, to=99, test="guess")
        self.assertEqual(sorted(self.pointers(answer)),
                         ["/from", "/test", "/to"])
        answer = self.step(self.exam, undo="x", eye="right")
        self.assertEqual(sorted(self.pointers(answer)), ["/eye", "/undo"])

    def test_undo_once_and_redo(self):
        step = self.good(self.step(
            self.exam, eye="right", field="cylinder", **{"from": -0.5},
            to=0), 201).body
        self.assertIsNone(step["working"]["right"]["axis"])
        undo = self.good(self.step(self.exam, undo=step["id"]), 201).body
        self.assertEqual(undo["undoes"], step["id"])
        self.assertEqual(undo["working"]["right"]["axis"], 90)
        answer = self.step(self.exam, undo=step["id"])
        self.assertEqual(self.pointers(answer, 409), ["/undo"])
        redo = self.good(self.step(self.exam, undo=undo["id"]), 201).body
        self.assertEqual(redo["working"]["right"]["cylinder"], 0)
        items = self.get(self.exam, "/steps")["items"]
        self.assertEqual([i["undone"] for i in items],
                         [False, True, True, False])
        answer = self.step(self.exam, undo=uuid7())
        self.assertEqual(self.pointers(answer), ["/undo"])

    def test_undo_of_what_was_changed_since_is_refused(self):
        step = self.good(self.step(
            self.exam, eye="left", field="sphere", **{"from": -1},
            to=-1.25), 201).body
        self.good(self.step(
            self.exam, eye="left", field="sphere", **{"from": -1.25},
            to=-1.5), 201)
        answer = self.step(self.exam, undo=step["id"])
        self.assertEqual(self.pointers(answer, 409), ["/undo"])

    def test_the_same_key_steps_once(self):
        body = {"eye": "left", "field": "sphere", "from": -1, "to": -1.25}
        path = f"/v1/exams/{self.exam}/steps"
        first = self.good(self.call("POST", path, body, key="s1"), 201)
        again = self.good(self.call("POST", path, body, key="s1"), 201)
        self.assertEqual(first.body, again.body)
        self.assertEqual(self.get(self.exam)["steps"]["count"], 2)

    def test_two_tablets_lose_nothing(self):
        """One turns the right sphere, one the left axis, at the same time;
        then both the same figure, of which only one can win each turn."""
        n = 12
        faults = []

        def walk(side, field, start, by):
            for i in range(n):
                answer = self.step(
                    self.exam, eye=side, field=field,
                    **{"from": start + i * by}, to=start + (i + 1) * by)
                if answer.status != 201:
                    faults.append((side, i, answer.status, answer.body))
                    return

        threads = [threading.Thread(target=walk, args=a) for a in (
            ("right", "sphere", -2.25, -0.25), ("right", "axis", 90, 1),
            ("left", "sphere", -1, -0.25))]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        self.assertEqual(faults, [])
        working = self.get(self.exam)["working"]
        self.assertEqual(working["right"]["sphere"], -2.25 - n * 0.25)
        self.assertEqual(working["right"]["axis"], 90 + n)
        self.assertEqual(working["left"]["sphere"], -1 - n * 0.25)
        self.assertEqual(self.get(self.exam)["steps"]["count"], 3 * n + 1)

        got = []

        def race():
            got.append(self.step(
                self.exam, eye="right", field="add", **{"from": None},
                to=1.00).status)

        threads = [threading.Thread(target=race) for _ in range(4)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        self.assertEqual(sorted(got), [201, 409, 409, 409])

    def test_pages(self):
        for i in range(4):
            self.good(self.step(
                self.exam, eye="left", field="sphere",
                **{"from": -1 - i * 0.25}, to=-1.25 - i * 0.25), 201)
        path = f"/v1/exams/{self.exam}/steps?limit=2"
        seen, after = [], ""
        while after is not None:
            answer = self.good(self.call("GET", path + after)).body
            seen += [i["ordinal"] for i in answer["items"]]
            after = answer["next"] and "&after=" + answer["next"]
        self.assertEqual(seen, [5, 4, 3, 2, 1])
        self.assertEqual(len(self.get(self.exam)["steps"]["last"]), 5)


class Signing(Case):
    def test_what_is_missing_is_named_at_once(self):
        exam, _ = self.begin()
        self.assertEqual(self.pointers(self.sign(exam)),
                         ["/final/right", "/final/left"])
        self.good(self.patch(exam, {"final": {"right": eye(-5)}}))
        self.assertEqual(self.pointers(self.sign(exam)),
                         ["/final/left", "/final/vertex_mm"])
        self.good(self.patch(exam, {"final": {
            "left": {"lens": "prosthesis"}, "vertex_mm": 12}}))
        answer = self.good(self.sign(exam))
        self.assertEqual(answer.body["final_from"], "final")

    def test_it_needs_the_version(self):
        exam, _ = self.begin()
        path = f"/v1/exams/{exam}/sign"
        self.assertEqual(self.call("POST", path).status, 428)
        self.assertEqual(self.call("POST", path, None, '"9"').status, 412)

    def test_a_signed_exam_changes_no_more(self):
        exam = self.signed()
        for answer in (
                self.patch(exam, {"history": {"complaint": "x"}}),
                self.step(exam, eye="left", field="sphere", **{"from": None},
                          to=-1),
                self.sign(exam),
                self.start(exam, self.reading(
                    "autorefraction", right=eye(-1), left=eye(-1)))):
            self.assertEqual(self.pointers(answer, 409), ["/status"])
        answer = self.call("GET", f"/v1/exams/{exam}/rx")
        self.assertEqual(answer.headers["ETag"], '"1"')

    def test_the_same_key_signs_once(self):
        exam, _ = self.begin()
        self.good(self.patch(exam, {"final": {
            "right": eye(-1), "left": eye(-1)}}))
        etag = self.etag(exam)
        path = f"/v1/exams/{exam}/sign"
        first = self.good(self.call("POST", path, {}, etag, key="g"))
        again = self.good(self.call("POST", path, {}, etag, key="g"))
        self.assertEqual(first.body, again.body)
        self.assertEqual(len(self.get(exam, "/versions")["items"]), 1)

    def test_an_unsigned_exam_has_no_rx(self):
        exam, _ = self.begin()
        answer = self.call("GET", f"/v1/exams/{exam}/rx")
        self.assertEqual(self.pointers(answer, 409), ["/status"])

    def test_the_rule_of_the_place_sets_the_expiry(self):
        svc.psql(f"UPDATE network SET expiry_months = 12"
                 f" WHERE network_id = '{self.net.id}'")
        # 12 months after 29 February is 28 February; the day is the clinic's:
        # 23:30 UTC on the 28th is the 29th in Vienna.
        exam, _ = self.begin(performed_at="2024-02-28T23:30:00Z")
        self.good(self.patch(exam, {"final": {
            "right": eye(-1), "left": eye(-1)}}))
        rx = self.good(self.sign(exam)).body["rx"]
        self.assertEqual(rx["expires_on"], "2025-02-28")
        svc.psql("UPDATE network SET expiry_leap_day = 'march-1'"
                 f" WHERE network_id = '{self.net.id}'")
        for at, months, day in (
                ("2024-02-28T23:30:00Z", 12, "2025-03-01"),
                ("2024-02-28T23:30:00Z", 48, "2028-02-29"),
                ("2024-02-28T12:00:00Z", 12, "2025-02-28"),
                ("2024-08-31T12:00:00Z", 6, "2025-02-28")):
            svc.psql(f"UPDATE network SET expiry_months = {months}"
                     f" WHERE network_id = '{self.net.id}'")
            exam, _ = self.begin(performed_at=at)
            self.good(self.patch(exam, {"final": {
                "right": eye(-1), "left": eye(-1)}}))
            self.assertEqual(
                self.good(self.sign(exam)).body["rx"]["expires_on"], day)

    def test_a_prescriber_overrides_the_expiry_with_a_reason_on_record(self):
        svc.psql("UPDATE network SET expiry_months = 24"
                 f" WHERE network_id = '{self.net.id}'")
        exam, _ = self.begin(performed_at="2026-03-02T12:00:00Z")
        self.good(self.patch(exam, {"final": {
            "right": eye(-1), "left": eye(-1), "expires_on": "2030-01-01"}}))
        body = self.good(self.sign(exam, reason="a stable eye")).body
        self.assertEqual(body["rx"]["expires_on"], "2030-01-01")
        self.assertIn("expiry-differs",
                      [c["code"] for c in body["cautions"]])
        detail = json.loads(svc.psql(
            "SELECT detail FROM audit WHERE action = 'exam-signed'"
            f" AND subject_id = '{exam}'")[0][0])
        self.assertEqual(
            (detail["reason"], detail["expires_on"],
             detail["expires_by_rule"]),
            ("a stable eye", "2030-01-01", "2028-03-02"))

    def test_no_rule_sets_none(self):
        self.assertIsNone(self.get(self.signed(), "/rx")["expires_on"])

    def test_no_glasses_needed(self):
        exam, _ = self.begin()
        self.good(self.patch(exam, {"final": {"outcome": "none-needed"}}))
        body = self.good(self.sign(exam)).body
        self.assertEqual(body["final_from"], "none-needed")
        self.assertEqual(body["rx"]["right"], {"lens": "none"})
        self.assertEqual(body["rx"]["outcome"], "none-needed")

    # https://gpli.info/er-case-28: OD -8.25 -9.25 x 163, OS -7.25 -8.75 x 11.
    def test_large_cylinders_in_both_forms(self):
        exam = self.signed(right=eye(-8.25, -9.25, 163),
                           left=eye(-7.25, -8.75, 11), vertex_mm=12)
        rx = self.get(exam, "/rx?cylinder=plus")
        self.assertEqual([rx["right"][k] for k in
                          ("sphere", "cylinder", "axis")], [-17.5, 9.25, 73])
        self.assertEqual([rx["left"][k] for k in
                          ("sphere", "cylinder", "axis")], [-16, 8.75, 101])


class Amending(Case):
    def test_a_new_edition_stands_beside_the_old(self):
        exam = self.signed()
        old = self.get(exam, "/rx")
        path = f"/v1/exams/{exam}/amend"
        etag = self.etag(exam)
        self.assertEqual(self.call("POST", path, {"reason": "x"}).status, 428)
        self.assertEqual(self.pointers(self.call("POST", path, {}, etag)),
                         ["/reason"])
        body = self.good(self.call(
            "POST", path, {"reason": "axis read wrong"}, etag)).body
        self.assertTrue(body["amending"])
        self.assertEqual(body["edition"], 2)
        self.assertEqual(self.get(exam, "/rx"), old)
        answer = self.call("POST", path, {"reason": "x"}, self.etag(exam))
        self.assertEqual(self.pointers(answer, 409), ["/status"])

        self.good(self.patch(exam, {"final": {"right": {"sphere": -1.5}}}))
        self.assertEqual(self.get(exam, "/rx"), old)
        body = self.good(self.sign(exam)).body
        self.assertEqual(body["status"], "amended")
        rx = self.get(exam, "/rx")
        self.assertEqual(rx["status"], "amended")
        self.assertEqual(rx["edition"], 2)
        self.assertEqual(rx["reason"], "axis read wrong")
        self.assertEqual(rx["right"]["sphere"], -1.5)
        versions = self.get(exam, "/versions")["items"]
        self.assertEqual([(v["edition"], v["superseded"], v["reason"])
                          for v in versions],
                         [(2, False, "axis read wrong"), (1, True, None)])
        self.assertEqual(versions[1]["rx"], old)
        line = self.good(self.call(
            "GET", f"/v1/patients/{self.patient}/timeline")).body["items"]
        self.assertEqual([i["edition"] for i in line], [2])

    def test_an_amendment_can_be_given_up(self):
        exam = self.signed()
        before = self.get(exam)
        path = f"/v1/exams/{exam}/amend"
        answer = self.call("DELETE", path, etag=self.etag(exam))
        self.assertEqual(self.pointers(answer, 409), ["/status"])
        self.good(self.call("POST", path, {"reason": "x"}, self.etag(exam)))
        self.good(self.patch(exam, {"final": {"right": {"sphere": -3}}}))
        self.good(self.call("DELETE", path, etag=self.etag(exam)))
        after = self.get(exam)
        self.assertEqual({**after, "version": 0}, {**before, "version": 0})

    def test_a_draft_is_not_amended(self):
        exam, etag = self.begin()
        answer = self.call("POST", f"/v1/exams/{exam}/amend",
                           {"reason": "x"}, etag)
        self.assertEqual(self.pointers(answer, 409), ["/status"])

    def test_entered_in_error_counts_no_more(self):
        exam = self.signed()
        body = self.good(self.call(
            "POST", f"/v1/exams/{exam}/entered-in-error",
            {"reason": "wrong person"}, self.etag(exam))).body
        self.assertEqual(body["status"], "entered-in-error")
        for part in ("/rx", "/delta"):
            answer = self.call("GET", f"/v1/exams/{exam}{part}")
            self.assertEqual(answer.status, 409, answer.body)
            self.assertIn("wrong person", answer.body["detail"])
        versions = self.get(exam, "/versions")["items"]
        self.assertEqual(versions[0]["status"], "entered-in-error")
        line = self.good(self.call(
            "GET", f"/v1/patients/{self.patient}/timeline")).body["items"]
        self.assertEqual(line, [])
        answer = self.patch(exam, {"history": {}})
        self.assertEqual(self.pointers(answer, 409), ["/status"])

    def test_no_role_of_the_daemon_rewrites_what_was_signed(self):
        self.signed()
        from lenstest import SqlError
        for act in ("UPDATE prescription SET rx = '{}'",
                    "DELETE FROM prescription", "DELETE FROM exam_step",
                    "UPDATE exam_step SET body = ''", "DELETE FROM exam"):
            with self.assertRaises(SqlError) as refused:
                svc.psql(f"SET app.network_id = '{self.net.id}'; {act};",
                         role="lensclerkd")
            self.assertEqual(refused.exception.sqlstate, "42501", act)


class Delta(Case):
    def test_without_habitual_there_is_none(self):
        exam, _ = self.begin()
        self.good(self.patch(exam, {"final": {
            "right": eye(-1), "left": eye(-1)}}))
        answer = self.call("GET", f"/v1/exams/{exam}/delta")
        self.assertEqual(self.pointers(answer, 409), ["/habitual"])
        body = self.good(self.sign(exam)).body
        self.assertNotIn("delta", body)
        self.assertIn("habitual-missing", self.codes(body["cautions"]))
        answer = self.call("GET", f"/v1/exams/{exam}/delta")
        self.assertEqual(self.pointers(answer, 409), ["/habitual"])

    def test_without_a_power_there_is_none(self):
        self.reading("lensometry", right=eye(-1), left=eye(-1))
        exam, _ = self.begin()
        answer = self.call("GET", f"/v1/exams/{exam}/delta")
        self.assertEqual(self.pointers(answer, 409), ["/final"])

    # https://www.mdpi.com/2411-5150/6/1/17: manifest RE plano, LE -5.00;
    # cycloplegic RE +0.75 -0.25 x 180, LE +0.75 -0.50 x 180.
    def test_false_myopia(self):
        dry = self.reading("autorefraction", right=eye(0), left=eye(-5),
                           condition={"cycloplegic": False})
        exam, _ = self.begin()
        self.good(self.patch(exam, {
            "subjective": {"condition": {"cycloplegic": True}},
            "final": {"right": eye(0.75, -0.25, 180),
                      "left": eye(0.75, -0.50, 180)}}))
        delta = self.get(exam, f"/delta?against={dry}")
        self.assertEqual(delta["left"]["difference"],
                         {"sphere": 5.75, "cylinder": -0.5, "axis": 180})
        self.assertEqual(delta["left"]["spherical_equivalent_change"], 5.5)
        self.assertEqual(delta["left"]["sphere_change"], 5.75)
        self.assertEqual(delta["right"]["spherical_equivalent_change"], 0.625)
        self.assertIn("cycloplegic-gap", self.codes(delta["cautions"], "left"))
        self.assertNotIn("cycloplegic-gap",
                         self.codes(delta["cautions"], "right"))
        self.assertIn("condition-differs", self.codes(delta["cautions"]))
        text = next(c["text"] for c in delta["cautions"]
                    if c["code"] == "condition-differs")
        self.assertIn("autorefraction, not cycloplegic", text)
        self.assertIn("final, cycloplegic", text)
        self.assertIn("against", delta["left"])
        self.assertNotIn("habitual", delta["left"])

    # https://doaj.org/article/0b8504d87eaf4f21afbba14032a38e34
    def test_one_eye_progresses(self):
        self.reading("lensometry", right=eye(-2.25), left=eye(0, -0.5, 10))
        exam, _ = self.begin()
        self.good(self.patch(exam, {"final": {
            "right": eye(-6.75, -0.5, 170), "left": eye(0, -0.5, 10)}}))
        delta = self.get(exam, "/delta")
        self.assertEqual(delta["right"]["difference"],
                         {"sphere": -4.5, "cylinder": -0.5, "axis": 170})
        self.assertEqual(delta["right"]["power_vector"]["m"], -4.75)
        self.assertTrue(delta["left"]["within_noise"])
        self.assertEqual(delta["left"]["words"], ["The power stays the same."])
        codes = self.codes(delta["cautions"], "right")
        self.assertIn("large-one-eye-change", codes)
        self.assertIn("vertex-unknown", codes)

    def test_against_what_cannot_be(self):
        exam, _ = self.begin()
        self.good(self.patch(exam, {"final": {
            "right": eye(-1), "left": eye(-1)}}))
        cornea = self.reading("keratometry", right={
            "flat": {"radius_mm": 7.8, "axis": 180},
            "steep": {"radius_mm": 7.6, "axis": 90}})
        for against in ("odd", uuid7(), cornea):
            answer = self.call(
                "GET", f"/v1/exams/{exam}/delta?against={against}")
            self.assertEqual(answer.status, 422, answer.body)

    def test_in_plus_form(self):
        self.reading("lensometry", right=eye(-2, -0.5, 90), left=eye(-1))
        exam = self.signed(right=eye(-2, -1, 90))
        delta = self.get(exam, "/delta?cylinder=plus")
        self.assertEqual(delta["right"]["habitual"]["cylinder"], 0.5)
        self.assertEqual(delta["right"]["difference"],
                         {"sphere": -0.5, "cylinder": 0.5, "axis": 180})


class Habitual(Case):
    def path(self):
        return f"/v1/patients/{self.patient}/habitual"

    def now(self, query=""):
        return self.good(self.call("GET", self.path() + query)).body

    def name(self, body, status=201, **more):
        return self.good(self.call(
            "POST", self.path(), body, role="desk", **more), status)

    def test_the_newest_lensometry_by_default(self):
        got = self.now()
        self.assertIsNone(got["entry"])
        self.assertIn("no lensometry", got["because"])
        old = self.reading("lensometry", right=eye(-1), left=eye(-1),
                           taken="2024-01-01T09:00:00Z")
        self.assertEqual(self.now()["entry"]["id"], old)
        new = self.reading("lensometry", right=eye(-2), left=eye(-2),
                           taken="2026-01-01T09:00:00Z")
        got = self.now()
        self.assertEqual(got["entry"]["id"], new)
        self.assertEqual(got["entry"]["right"]["sphere"], -2)
        self.assertIn("newest lensometry", got["because"])
        self.assertEqual([p["id"] for p in got["pairs"]], [new, old])
        reading_glasses = self.reading(
            "lensometry", right=eye(0), left=eye(0),
            pair={"purpose": "near", "label": "reading"},
            taken="2026-02-01T09:00:00Z")
        self.assertEqual(self.now()["entry"]["id"], new)
        got = self.now("?purpose=near")
        self.assertEqual(got["entry"]["id"], reading_glasses)
        self.assertEqual(got["entry"]["pair"], "reading")

    def test_a_lens_of_unknown_side_is_passed_over(self):
        lens = self.reading("lensometry", unspecified=eye(-1),
                            taken="2026-02-01T09:00:00Z")
        got = self.now()
        self.assertIsNone(got["entry"])
        self.assertEqual([p["id"] for p in got["pairs"]], [lens])
        exam, _ = self.begin()
        self.good(self.patch(exam, {"final": {
            "right": eye(-2.25), "left": eye(-2)}}))
        answer = self.call("GET", f"/v1/exams/{exam}/delta")
        self.assertEqual(self.pointers(answer, 409), ["/habitual"])
        self.assertIn("no habitual glasses", answer.body["detail"])
        pair = self.reading("lensometry", right=eye(-2), left=eye(-2),
                            taken="2026-01-01T09:00:00Z")
        self.assertEqual(self.now()["entry"]["id"], pair)
        delta = self.get(exam, "/delta")
        self.assertEqual(delta["habitual"]["id"], pair)
        self.assertEqual(delta["right"]["difference"]["sphere"], -0.25)
        one = self.reading("lensometry", left=eye(-2.5),
                           taken="2026-03-01T09:00:00Z")
        self.assertEqual(self.now()["entry"]["id"], one)

    def test_another_can_be_named_until_newer_ones_are_measured(self):
        old = self.reading("lensometry", right=eye(-1), left=eye(-1),
                           taken="2024-01-01T09:00:00Z")
        self.reading("lensometry", right=eye(-2), left=eye(-2),
                     taken="2026-01-01T09:00:00Z")
        answer = self.name({"entry": old})
        self.assertEqual(answer.body["entry"], old)
        got = self.now()
        self.assertEqual(got["entry"]["id"], old)
        self.assertEqual(got["chosen"]["by"]["id"], self.net.users["desk"])
        # An old file brought in later doesn't count as newer glasses.
        self.reading("lensometry", right=eye(-3), left=eye(-3),
                     taken="2020-01-01T09:00:00Z")
        self.assertEqual(self.now()["entry"]["id"], old)
        newest = self.reading("lensometry", right=eye(-4), left=eye(-4),
                              taken="2026-03-01T09:00:00Z")
        got = self.now()
        self.assertEqual(got["entry"]["id"], newest)
        self.assertNotIn("chosen", got)

    def test_a_typed_pair(self):
        answer = self.name({"typed": {
            "right": eye(1, 0.5, 180, add=2), "left": eye(1, add=2),
            "vertex_mm": 12, "pair": "old progressive", "made_on": "2023-05",
            "worn": True, "purpose": "distance"}}, key="t")
        again = self.name({"typed": {
            "right": eye(1, 0.5, 180, add=2), "left": eye(1, add=2),
            "vertex_mm": 12, "pair": "old progressive", "made_on": "2023-05",
            "worn": True, "purpose": "distance"}}, key="t")
        self.assertEqual(answer.body, again.body)
        got = self.now()
        self.assertEqual(len(got["pairs"]), 1)
        entry = got["entry"]
        self.assertEqual(entry["id"], answer.body["entry"])
        self.assertEqual(entry["origin"], "typed")
        self.assertEqual(
            [entry[k] for k in ("pair", "made_on", "worn", "purpose")],
            ["old progressive", "2023-05", True, "distance"])
        self.assertEqual(entry["right"]["cylinder"], -0.5)
        exam, _ = self.begin()
        self.assertEqual(self.get(exam)["habitual"], entry["id"])
        answer = self.good(self.start(exam, entry["id"]))
        self.assertEqual(answer.body["working"]["right"]["add"], 2)

    def test_what_is_refused(self):
        self.person("Q-2")
        theirs = self.reading("lensometry", number="Q-2", right=eye(-1))
        auto = self.reading("autorefraction", right=eye(-1), left=eye(-1))
        for body, pointers in (
                ({}, [""]), ({"entry": uuid7()}, ["/entry"]),
                ({"entry": theirs}, ["/entry"]), ({"entry": auto}, ["/entry"]),
                ({"entry": auto, "typed": {"right": PLANO}}, [""]),
                ({"typed": {}}, ["/typed"]),
                ({"typed": {"right": eye(-1, -1), "made_on": "May",
                            "shade": 1}, "purpose": "fun"},
                 ["/typed/shade", "/typed/right/axis", "/typed/made_on",
                  "/purpose"])):
            answer = self.call("POST", self.path(), body, role="desk")
            self.assertEqual(sorted(self.pointers(answer)), sorted(pointers))
        self.assertEqual(self.call("GET", self.path() + "?purpose=x").status,
                         422)
        self.assertEqual(self.call("GET", self.path(), role="lab").status, 403)

    def test_an_exam_can_name_another(self):
        old = self.reading("lensometry", right=eye(-1), left=eye(-1),
                           taken="2024-01-01T09:00:00Z")
        new = self.reading("lensometry", right=eye(-2), left=eye(-2),
                           taken="2026-01-01T09:00:00Z")
        exam, _ = self.begin()
        self.assertEqual(self.get(exam)["habitual"], new)
        self.good(self.patch(exam, {"habitual": old, "final": {
            "right": eye(-2), "left": eye(-2)}}))
        self.assertEqual(self.get(exam, "/delta")["habitual"]["id"], old)
        answer = self.patch(exam, {"habitual": uuid7()})
        self.assertEqual(self.pointers(answer), ["/habitual"])
        self.good(self.patch(exam, {"habitual": None}))
        self.assertEqual(self.get(exam, "/delta")["habitual"]["id"], new)


class NearTotal(Case):
    def test_a_near_power_becomes_an_add(self):
        exam, _ = self.begin()
        for section in ("subjective", "final"):
            got = self.good(self.patch(exam, {section: {
                "right": eye(-1, -0.5, 90, near_total=1),
                "left": eye(0.5, near_total=2.5, add=2)}})).body[section]
            self.assertEqual(got["right"]["sphere"], -1)
            self.assertEqual(got["right"]["cylinder"], -0.5)
            for side in ("right", "left"):
                self.assertEqual(got[side]["add"], 2)
                self.assertEqual(got[side]["add_from"], "near_total")
                self.assertNotIn("near_total", got[side])
        # Alone it is measured from what stands; an add is an add again.
        got = self.good(self.patch(exam, {"final": {
            "right": {"near_total": 0.5}, "left": {"add": 1.75}}})).body
        self.assertEqual(got["final"]["right"]["add"], 1.5)
        self.assertEqual(got["final"]["left"]["add"], 1.75)
        self.assertNotIn("add_from", got["final"]["left"])
        got = self.good(self.patch(exam, {"near": {
            "working_distance_mm": 400, "right": {"near_total": 1},
            "left": {"add": 2}}})).body["near"]
        self.assertEqual(got["right"], {"add": 2, "add_from": "near_total"})
        self.assertEqual(got["left"], {"add": 2})

    def test_what_is_refused(self):
        exam, _ = self.begin()
        answer = self.patch(exam, {
            "subjective": {"right": eye(-1, near_total=-2),
                           "left": eye(-1, near_total="x")},
            "history": {"shoe_size": 1},
            "final": {"right": eye(-1, near_total=1, add=1.5)},
            "near": {"left": {"near_total": 1}}})
        self.assertIn("/subjective/right/near_total", self.pointers(answer))
        self.assertIn("/subjective/left/near_total", self.pointers(answer))
        self.assertIn("/final/right/near_total", self.pointers(answer))
        answer = self.patch(exam, {"near": {"left": {"near_total": 1}}})
        self.assertEqual(self.pointers(answer), ["/near/left/near_total"])
        self.assertNotIn("near", self.get(exam))


class Audit(Case):
    def test_every_change_leaves_one_line(self):
        exam, _ = self.begin()
        auto = self.reading("autorefraction", right=eye(-1), left=eye(-1))
        self.good(self.start(exam, auto))
        self.good(self.step(exam, eye="left", field="sphere", **{"from": -1},
                            to=-1.25), 201)
        self.good(self.patch(exam, {"history": {"complaint": "x"}}))
        self.good(self.sign(exam))
        self.good(self.call("POST", f"/v1/exams/{exam}/amend",
                            {"reason": "r"}, self.etag(exam)))
        rows = svc.psql(
            f"SELECT action, detail FROM audit WHERE subject_id = '{exam}'"
            f" AND patient_id = '{self.patient}' AND subject_kind = 'exam'"
            f" AND action LIKE 'exam-%' ORDER BY audit_id")
        self.assertEqual([r[0] for r in rows], [
            "exam-begun", "exam-started-from", "exam-step", "exam-changed",
            "exam-signed", "exam-amended"])
        self.assertEqual(json.loads(rows[3][1]),
                         {"history": {"complaint": "x"}})


if __name__ == "__main__":
    unittest.main()
