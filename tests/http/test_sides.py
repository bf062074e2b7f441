"""A lens that came without its side gets it from a person, as a row of its
own; and whose a reading was, told from the first row on."""

import unittest
import warnings

from lenstest import Service, uuid7


def setUpModule():
    global svc
    warnings.simplefilter("ignore", ResourceWarning)
    svc = Service()


def tearDownModule():
    svc.close()


LENS = {"sphere": -2.25, "cylinder": -0.75, "axis": 20,
        "prism": [{"amount": 0.5, "base": "in"}]}


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()
        self.patient = self.api("POST", "/v1/patients", {
            "family": "Ode", "record_number": "O-1"}, status=201).body["id"]

    def api(self, method, path, body=None, role="desk", status=200,
            headers=None, net=None):
        answer = (net or self.net).api(role, method, path, body, headers)
        self.assertEqual(answer.status, status, (method, path, answer.body))
        return answer

    def lens(self, minute=0, **more):
        body = {"kind": "lensometry",
                "taken_at": f"2026-03-02T09:{minute:02d}:00Z",
                "patient": {"record_number": "O-1"}, "unspecified": LENS}
        body.update(more)
        body = {k: v for k, v in body.items() if v is not None}
        return self.api("POST", "/v1/readings", body, "device", 201).body["id"]

    def assign(self, reading, eye, tag="*", status=200, **more):
        return self.api("POST", f"/v1/readings/{reading}/side",
                        dict({"eye": eye}, **more), status=status,
                        headers={"If-Match": tag})

    def take_back(self, reading, status=200):
        return self.api("DELETE", f"/v1/readings/{reading}/side",
                        status=status, headers={"If-Match": "*"})


class Sides(Case):
    def test_at_its_eye_it_counts_everywhere(self):
        reading = self.lens()
        habitual = f"/v1/patients/{self.patient}/habitual"
        self.assertIsNone(self.api("GET", habitual).body["entry"])
        sided = self.assign(reading, "left", '"1"', reason="marked L")
        self.assertEqual(sided.headers["ETag"], '"2"')
        self.assertNotIn("unspecified", sided.body)
        self.assertEqual(sided.body["left"]["sphere"], -2.25)
        self.assertEqual(sided.body["left"]["prism"], LENS["prism"])
        self.assertEqual(self.api("GET", f"/v1/readings/{reading}").body,
                         sided.body)
        pair = self.api("GET", habitual).body["entry"]
        self.assertEqual(pair["id"], reading)
        self.assertEqual(pair["left"]["sphere"], -2.25)
        [item] = self.api("GET", f"/v1/patients/{self.patient}/timeline"
                          ).body["items"]
        self.assertEqual(item["left"]["axis"], 20)
        visit = self.api("POST", "/v1/visits", {"patient": self.patient},
                         "prescriber", 201).body["id"]
        exam = self.api("POST", "/v1/exams", {"visit": visit}, "prescriber",
                        201)
        begun = self.api("POST", f"/v1/exams/{exam.body['id']}/start-from",
                         {"source": reading}, "prescriber",
                         headers={"If-Match": exam.headers["ETag"]})
        self.assertEqual(begun.body["working"]["left"]["sphere"], -2.25)

    def test_two_of_one_side_make_a_delta(self):
        old = self.lens(1)
        new = self.lens(2, unspecified=dict(LENS, sphere=-2.75))
        for reading in (old, new):
            self.assign(reading, "right")
        items = self.api("GET", f"/v1/patients/{self.patient}/timeline"
                         ).body["items"]
        self.assertEqual(items[0]["delta"]["to"], old)
        self.assertEqual(items[0]["delta"]["right"]["sphere"], -0.5)

    def test_each_assignment_is_a_row_and_the_latest_decides(self):
        reading = self.lens()
        self.assign(reading, "left")
        right = self.assign(reading, "right").body
        self.assertNotIn("left", right)
        back = self.take_back(reading).body
        self.assertEqual(back["unspecified"]["sphere"], -2.25)
        self.assertNotIn("right", back)
        self.assertEqual(
            svc.psql("SELECT coalesce(eye, 0) FROM reading_side WHERE"
                     f" reading_id = '{reading}' ORDER BY side_id"),
            [["2"], ["1"], ["0"]])
        self.assertEqual(
            svc.psql("SELECT coalesce(right_m, left_m) IS NULL FROM entry"
                     f" WHERE entry_id = '{reading}'"), [["t"]])
        self.assertEqual(
            svc.psql("SELECT action FROM audit WHERE subject_id ="
                     f" '{reading}' AND action LIKE '%sided'"
                     " ORDER BY audit_id"),
            [["reading-sided"], ["reading-sided"], ["reading-unsided"]])

    def test_what_cannot_be(self):
        sided = self.lens(4, unspecified=None, left={"sphere": 1})
        self.assign(sided, "right", status=409)
        one = self.lens(5)
        self.take_back(one, status=409)
        self.assign(one, "both", status=422)
        self.assign(one, "left", '"7"', status=412)
        self.api("POST", f"/v1/readings/{one}/side", {"eye": "left"},
                 status=428)
        self.assign(uuid7(), "left", status=404)
        for role in ("device", "lab", "admin", "auditor"):
            self.api("POST", f"/v1/readings/{one}/side", {"eye": "left"},
                     role, 403, {"If-Match": "*"})

    def test_a_text_that_looks_like_the_member_stays(self):
        words = 'the "unspecified": one, "eye":"unspecified"'
        reading = self.lens(comment=words)
        self.assertEqual(self.assign(reading, "left").body["comment"], words)

    def test_another_network_finds_nothing(self):
        reading, other = self.lens(), svc.network()
        for method, path, body in (("POST", "side", {"eye": "left"}),
                                   ("DELETE", "side", None),
                                   ("GET", "claims", None)):
            self.api(method, f"/v1/readings/{reading}/{path}", body,
                     status=404, headers={"If-Match": "*"}, net=other)


class Claims(Case):
    def test_whose_it_was_newest_first(self):
        reading = self.lens()
        other = self.api("POST", "/v1/patients", {"family": "Else"},
                         status=201).body["id"]
        claim = f"/v1/readings/{reading}/claim"
        self.api("POST", claim, {"patient": other, "reason": "wrong card"},
                 headers={"If-Match": "*"})
        self.api("DELETE", claim, headers={"If-Match": "*"})
        items = self.api("GET", claim + "s").body["items"]
        self.assertEqual([i["patient"] for i in items],
                         [None, other, self.patient])
        self.assertEqual(items[1]["reason"], "wrong card")
        self.assertEqual(items[1]["by"], {
            "id": self.net.users["desk"], "name": "User desk"})
        self.assertEqual(items[2]["matched"], "number")
        self.assertNotIn("by", items[2])
        self.api("GET", f"/v1/readings/{uuid7()}/claims", status=404)
        self.api("GET", claim + "s", role="device", status=403)


if __name__ == "__main__":
    unittest.main()
