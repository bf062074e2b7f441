"""What is recorded of giving out an Rx."""

import unittest

from lenstest import Service, uuid7
from order_case import FINAL, EYE, OrderCase


def setUpModule():
    OrderCase.svc = Service()


def tearDownModule():
    OrderCase.svc.close()


class Releases(OrderCase):
    def post(self, exam, body, role="desk", net=None, **headers):
        return (net or self.net).api(
            role, "POST", f"/v1/exams/{exam}/releases", body,
            {n.replace("_", "-"): v for n, v in headers.items()})

    def all(self, exam, role="desk"):
        answer = self.net.api(role, "GET", f"/v1/exams/{exam}/releases")
        self.assertEqual(answer.status, 200, answer.body)
        return answer.body["items"]

    def test_each_is_kept_with_the_edition_that_stood(self):
        exam = self.signed()
        consent = self.post(exam, {"kind": "consent", "way": "electronic"})
        copy = self.post(exam, {"kind": "copy-given", "way": "electronic",
                                "at": "2026-03-02T09:14:05+01:00"})
        for answer in (consent, copy):
            self.assertEqual(answer.status, 201, answer.body)
            self.assertEqual(answer.headers["ETag"], '"1"')
        self.assertEqual(copy.body["at"], "2026-03-02T08:14:05Z")
        self.assertEqual(copy.body["cautions"], [])
        self.amend(exam, dict(FINAL, right=dict(EYE, axis=127)))
        receipt = self.post(exam, {"kind": "receipt",
                                   "person": "the mother"})
        self.assertEqual([(r["kind"], r["edition"]) for r in self.all(exam)],
                         [("consent", 1), ("copy-given", 1), ("receipt", 2)])
        self.assertEqual(self.all(exam)[-1], receipt.body)
        logged = self.svc.psql(
            "SELECT count(*) FROM audit WHERE action = 'rx-released'"
            f" AND subject_id = '{exam}'")
        self.assertEqual(logged, [["3"]])

    def test_sending_without_a_consent_is_a_caution(self):
        answer = self.post(self.signed(), {"kind": "copy-given",
                                           "way": "electronic"})
        self.assertEqual([c["code"] for c in answer.body["cautions"]],
                         ["consent-missing"])
        answer = self.post(self.signed(), {"kind": "copy-given",
                                           "way": "paper"})
        self.assertEqual(answer.body["cautions"], [])

    def test_a_refusal_is_noted_by_a_prescriber(self):
        exam = self.signed()
        self.problem(self.post(exam, {"kind": "refusal", "note": "x"}), 403)
        self.problem(self.post(exam, {"kind": "refusal"}, "prescriber"), 422,
                     "/note")
        answer = self.post(exam, {"kind": "refusal", "note": "did not wait"},
                           "prescriber")
        self.assertEqual(answer.status, 201, answer.body)

    def test_what_is_not_signed_is_not_given_out(self):
        exam, _ = self.exam()
        self.problem(self.post(exam, {"kind": "copy-given"}), 409, "/status")

    def test_every_way_it_is_refused(self):
        exam = self.signed()
        for body, pointer in (
                ({}, "/kind"), ({"kind": "given"}, "/kind"),
                ({"kind": "receipt", "way": "pigeon"}, "/way"),
                ({"kind": "receipt", "at": "soon"}, "/at"),
                ({"kind": "receipt", "at": "2999-01-01T00:00:00Z"}, "/at"),
                ({"kind": "receipt", "colour": 1}, "/colour")):
            self.problem(self.post(exam, body), 422, pointer)
        good = {"kind": "receipt"}
        for role in ("lab", "device", "admin", "auditor"):
            self.problem(self.post(exam, good, role), 403)
        self.problem(self.post(uuid7(), good), 404)
        other = self.svc.network()
        self.problem(self.post(exam, good, net=other), 404)
        self.problem(other.api("desk", "GET", f"/v1/exams/{exam}/releases"),
                     404)
        self.second_clinic()
        self.problem(self.post(exam, good, "desk2"), 403)
        self.assertEqual(self.all(exam), [])
        self.assertEqual(self.all(exam, "desk2"), [])
        one, two = (self.post(exam, good, Idempotency_Key="r")
                    for _ in range(2))
        self.assertEqual((one.status, one.body), (201, two.body))
        self.assertEqual(self.all(exam, "auditor"), [one.body])


if __name__ == "__main__":
    unittest.main()
