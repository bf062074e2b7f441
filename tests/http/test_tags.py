"""Entity tags: of collections, of lists of tags, of what has no version.

RFC 9110, sections 8.4 (content codings), 13.1.1 (If-Match), 13.1.2
(If-None-Match).
"""

import unittest

from lenstest import Service


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


class Tags(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def patient(self, **more):
        answer = self.net.api("desk", "POST", "/v1/patients",
                              {"given": "Aino", **more})
        self.assertEqual(answer.status, 201, answer.body)
        return f"/v1/patients/{answer.body['id']}", answer.headers["ETag"]

    def test_any_tag_of_a_list_may_fit(self):
        for tags, status in (('"7", "1"', 200), ('"2" , "9-plus"', 200),
                             ('"3-minus"', 200), ('"7", "8"', 412),
                             ('W/"4"', 412), ('W/"9", "4"', 200)):
            if tags == '"7", "1"':
                path, _ = self.patient()
            answer = self.net.api("desk", "PATCH", path, {"sex": "other"},
                                  {"If-Match": tags})
            self.assertEqual(answer.status, status, tags)

    def test_collections_carry_a_tag_that_changes_with_them(self):
        self.patient(record_number="T-1")
        for path in ("/v1/patients?q=aino", "/v1/readings",
                     "/v1/readings?unclaimed=true", "/v1/clinics",
                     "/v1/labs", "/v1/users", "/v1/devices"):
            first = self.net.api("desk", "GET", path)
            tag = first.headers["ETag"]
            self.assertEqual(first.status, 200, path)
            self.assertRegex(tag, r'^"[^"]+"$', path)
            again = self.net.api("desk", "GET", path, None,
                                 {"If-None-Match": tag})
            self.assertEqual((again.status, again.body), (304, b""), path)
        before = self.net.api("desk", "GET", "/v1/patients?q=aino")
        self.patient(record_number="T-2")
        after = self.net.api("desk", "GET", "/v1/patients?q=aino")
        self.assertNotEqual(before.headers["ETag"], after.headers["ETag"])

    def test_who_one_is_has_a_tag_too(self):
        answer = self.net.api("desk", "GET", "/v1/me")
        self.assertEqual(answer.status, 200)
        self.assertIsNotNone(answer.headers["ETag"])

    def test_a_coded_body_is_refused(self):
        answer = self.net.api("desk", "POST", "/v1/patients", {"given": "A"},
                              {"Content-Encoding": "gzip"})
        self.assertEqual(answer.status, 415, answer.body)
