"""What the tests of orders share: an exam that is signed, and an order."""

import json
import re
import unittest

from lenstest import uuid7

EYE = {"sphere": -2.25, "cylinder": -0.75, "axis": 172}
FINAL = {"right": EYE, "left": {"sphere": -1.75, "cylinder": 0},
         "vertex_mm": 12, "pd_mm": {"right": 31.5, "left": 32}}
VARYING = {"right": dict(EYE, add=2), "left": {"sphere": -1.75, "add": 2},
           "vertex_mm": 12, "pd_mm": {"right": 31.5, "left": 32}}

LENS = {"design": "single-vision", "material": "resin", "index": 1.498}
FRAME = {"a_mm": 52, "b_mm": 34, "dbl_mm": 18, "ed_mm": 55}
PROGRESSIVE = {"design": "progressive", "material": "polyurethane",
               "index": 1.67}
HEIGHTS = {"right": 22, "left": 22.5}


class OrderCase(unittest.TestCase):
    svc = None  # set by the file

    def setUp(self):
        self.net = self.svc.network()
        self.patient = self.someone("Q-10442", "Okonjo", "Tamsin")

    def someone(self, number, family, given, net=None):
        answer = (net or self.net).api(
            "desk", "POST", "/v1/patients",
            {"record_number": number, "family": family, "given": given,
             "born": "1971-11-09"})
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body["id"]

    def exam(self, patient=None, net=None):
        """An exam that is begun; its id and tag."""
        net, visit = net or self.net, uuid7()
        self.svc.psql(
            "INSERT INTO visit (network_id, visit_id, patient_id, clinic_id,"
            f" at, created_at) VALUES ('{net.id}', '{visit}',"
            f" '{patient or self.patient}', '{net.clinic}', now(), now())")
        answer = net.api("prescriber", "POST", "/v1/exams", {"visit": visit})
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body["id"], answer.headers["ETag"]

    def sign(self, exam, etag, final, net=None):
        net = net or self.net
        answer = net.api("prescriber", "PATCH", f"/v1/exams/{exam}",
                         {"final": final}, {"If-Match": etag})
        self.assertEqual(answer.status, 200, answer.body)
        answer = net.api("prescriber", "POST", f"/v1/exams/{exam}/sign", {},
                         {"If-Match": answer.headers["ETag"]})
        self.assertEqual(answer.status, 200, answer.body)
        return answer.headers["ETag"]

    def signed(self, final=None, patient=None, net=None):
        exam, etag = self.exam(patient, net)
        self.sign(exam, etag, final or FINAL, net)
        return exam

    def amend(self, exam, final):
        etag = self.net.api("prescriber", "GET",
                            f"/v1/exams/{exam}").headers["ETag"]
        answer = self.net.api("prescriber", "POST", f"/v1/exams/{exam}/amend",
                              {"reason": "the axis was typed wrong"},
                              {"If-Match": etag})
        self.assertEqual(answer.status, 200, answer.body)
        return self.sign(exam, answer.headers["ETag"], final)

    def body(self, exam=None, **more):
        return {"exam": exam or self.signed(), "lens": LENS, "frame": FRAME,
                "lab": self.net.lab, **more}

    def post(self, body, role="desk", **headers):
        return self.net.api(role, "POST", "/v1/orders", body, headers)

    def place(self, body=None, **more):
        answer = self.post(body or self.body(**more))
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body

    def get(self, order, role="desk", tail="", net=None):
        return (net or self.net).api(role, "GET", f"/v1/orders/{order}{tail}")

    def move(self, order, role, status, stage=None, version=None, **more):
        body = {"status": status, **more}
        if stage:
            body["stage"] = stage
        if version is None:
            version = self.get(order, role).body["version"]
        return self.net.api(role, "POST", f"/v1/orders/{order}/status", body,
                            {"If-Match": f'"{version}"'})

    def patch(self, order, body, version=1, role="desk"):
        return self.net.api(
            role, "PATCH", f"/v1/orders/{order}", json.dumps(body),
            {"If-Match": f'"{version}"',
             "Content-Type": "application/merge-patch+json"})

    def problem(self, answer, status, *pointers):
        """The answer is a problem of that status that names those places."""
        self.assertEqual(answer.status, status, answer.body)
        self.assertEqual(answer.headers["Content-Type"],
                         "application/problem+json")
        if pointers:
            got = [e["pointer"] for e in answer.body["errors"]]
            self.assertEqual(sorted(got), sorted(pointers), answer.body)
        return answer.body

    def version(self, answer):
        """Of the ETag: version, then what the bytes are."""
        found = re.fullmatch(r'"(\d+)-[0-9a-f]{12}"', answer.headers["ETag"])
        self.assertTrue(found, answer.headers["ETag"])
        return int(found.group(1))

    def second_lab(self):
        """Another lab of the network, whose user is "lab2"."""
        first, self.net.lab = self.net.lab, uuid7()
        self.svc.psql("INSERT INTO lab (network_id, lab_id, name) VALUES"
                      f" ('{self.net.id}', '{self.net.lab}', 'Other workshop')")
        self.net.add("lab", "lab2")
        second, self.net.lab = self.net.lab, first
        return second

    def second_clinic(self, **columns):
        """Another clinic of the network, whose users are "desk2" and
        "prescriber2"."""
        first, self.net.clinic = self.net.clinic, uuid7()
        self.svc.psql(
            "INSERT INTO clinic (network_id, clinic_id, name, time_zone)"
            f" VALUES ('{self.net.id}', '{self.net.clinic}', 'Branch',"
            " 'Europe/Vienna')")
        self.net.add("desk", "desk2")
        self.net.add("prescriber", "prescriber2")
        second, self.net.clinic = self.net.clinic, first
        return second
