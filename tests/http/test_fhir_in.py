"""FHIR R4 taken in: prescriptions of others, observations, bundles."""

import json
import unittest

from lenstest import Service, repo

DATA = repo / "tests/data/fhir"
FHIR = {"Content-Type": "application/fhir+json"}


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def load(name):
    return json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def post(self, resource, status=201, path="/v1/readings", role="desk"):
        body = resource if isinstance(resource, bytes) else \
            json.dumps(resource, ensure_ascii=False).encode()
        answer = self.net.api(role, "POST", path, body, FHIR)
        self.assertEqual(answer.status, status, answer.body)
        return answer

    def ask(self, role, method, path, body=None, status=200, headers=None):
        answer = self.net.api(role, method, path, body, headers)
        self.assertEqual(answer.status, status, answer.body)
        return answer

    def count(self):
        return int(svc.psql("SELECT count(*) FROM reading"
                            f" WHERE network_id = '{self.net.id}'")[0][0])

    def test_a_bundle_finds_its_patient_and_keeps_its_bytes(self):
        patient = self.ask("desk", "POST", "/v1/patients", {
            "record_number": "FX-2041-07", "family": "Brückner-Fixture",
            "given": "Odile", "born": "1979-03-14"}, 201).body["id"]
        raw = (DATA / "bundle.json").read_bytes()
        stored = self.post(raw).body
        self.assertEqual([r["kind"] for r in stored], [
            "subjective", "autorefraction", "acuity", "keratometry"])
        for one in stored:
            self.assertEqual((one["status"], one["patient"]),
                             ("claimed", patient), one["kind"])
        original = self.ask("desk", "GET",
                            f"/v1/readings/{stored[0]['id']}/original")
        self.assertEqual(original.body, json.loads(raw))
        self.assertEqual(int(original.headers["Content-Length"]), len(raw))
        again = self.post(raw, 200).body
        self.assertEqual([r["id"] for r in again], [r["id"] for r in stored])
        self.assertEqual(self.count(), 4)

    def test_a_prescription_can_be_named_the_habitual_glasses(self):
        patient = self.ask("desk", "POST", "/v1/patients", {
            "record_number": "FX-2041-07", "family": "Ode"}, 201).body["id"]
        rx = load("good-visionprescription")
        rx["patient"] = {"identifier": {"value": "FX-2041-07"}}
        rx["prescriber"] = {"display": "Dr Made Up"}
        one = self.post(rx).body[0]
        self.assertEqual(one["prescription"], {"by": "Dr Made Up"})
        self.assertEqual(one["status"], "claimed")
        path = f"/v1/patients/{patient}/habitual"
        before = self.ask("desk", "GET", path).body
        self.assertNotEqual((before.get("habitual") or {}).get("id"),
                            one["id"])
        named = self.net.api("desk", "POST", path, {
            "entry": one["id"], "purpose": "distance"})
        self.assertIn(named.status, (200, 201), named.body)
        now = self.ask("desk", "GET", path).body
        self.assertEqual(now["entry"]["id"], one["id"])
        self.assertEqual(now["entry"]["kind"], "prescription")

    def test_a_prescription_is_no_measurement_with_the_same_figures(self):
        rx = self.post(load("good-visionprescription")).body[0]
        mine = {"kind": "subjective", "taken_at": rx["taken_at"]}
        for side in ("right", "left"):
            mine[side] = {n: rx[side][n] for n in
                          ("sphere", "cylinder", "axis", "add", "prism")}
        stored = self.ask("desk", "POST", "/v1/readings", mine, 201)
        self.assertNotEqual(stored.body["id"], rx["id"])

    def test_all_or_nothing_and_a_preview_stores_nothing(self):
        bundle = load("bundle")
        self.post(bundle, 200, "/v1/readings/preview")
        bundle["entry"][2]["resource"]["status"] = "cancelled"
        answer = self.post(bundle, 422)
        self.assertEqual([e["pointer"] for e in answer.body["errors"]],
                         ["/entry/2/resource/status"])
        self.assertEqual(self.count(), 0)

    def test_what_is_faulty_is_refused_with_its_place(self):
        for path in sorted(DATA.glob("bad-*.json")) + \
                sorted(DATA.glob("own-check-*.json")):
            with self.subTest(path.name):
                answer = self.post(path.read_bytes(), 422)
                self.assertTrue(all(e["pointer"]
                                    for e in answer.body["errors"]))
        self.post(b"{", 400)
        self.assertEqual(self.count(), 0)


if __name__ == "__main__":
    unittest.main()
