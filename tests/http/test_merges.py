"""Two records found to be one person, and taken apart again: every old
identifier keeps leading there, and nothing that was written is rewritten."""

import concurrent.futures
import threading
import unittest
import warnings

from lenstest import Service, SqlError, uuid7


def setUpModule():
    global svc
    warnings.simplefilter("ignore", ResourceWarning)
    svc = Service()


def tearDownModule():
    svc.close()


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()
        self.minute = 0
        self.keep = self.patient(family="Okonjo", given="Ada",
                                 born="1984-05-30", record_number="K-1")
        self.gone = self.patient(family="Okonyo", given="Ada",
                                 born="1984-05-30", record_number="G-2")

    def api(self, method, path, body=None, role="desk", status=200,
            headers=None, net=None):
        answer = (net or self.net).api(role, method, path, body, headers)
        self.assertEqual(answer.status, status,
                         (method, path, answer.body))
        return answer

    def patient(self, **fields):
        return self.api("POST", "/v1/patients", fields, status=201).body["id"]

    def tag(self, patient):
        return self.api("GET", f"/v1/patients/{patient}").headers["ETag"]

    def merge(self, keep, gone, status=200, role="desk", tag=None, **more):
        return self.api("POST", f"/v1/patients/{keep}/merge",
                        dict({"other": gone}, **more), role, status,
                        {"If-Match": tag or self.tag(keep)})

    def unmerge(self, keep, gone=None, status=200, tag=None):
        return self.api("POST", f"/v1/patients/{keep}/unmerge",
                        {"other": gone} if gone else None, "desk", status,
                        {"If-Match": tag or self.tag(keep)})

    def reading(self, patient, sphere=-2.0, kind="autorefraction", **more):
        self.minute += 1
        body = dict({
            "kind": kind, "patient": patient,
            "taken_at": f"2026-03-02T{8 + self.minute // 60:02d}:"
                        f"{self.minute % 60:02d}:00Z",
            "right": {"sphere": sphere, "cylinder": -0.75, "axis": 172},
            "left": {"sphere": sphere}}, **more)
        return self.api("POST", "/v1/readings", body, "device", 201).body

    def visit(self, patient):
        return self.api("POST", "/v1/visits", {"patient": patient},
                        "prescriber", 201).body

    def exam(self, patient):
        return self.api("POST", "/v1/exams",
                        {"visit": self.visit(patient)["id"]}, "prescriber",
                        201).body

    def ids(self, path):
        return [i["id"] for i in self.api("GET", path).body["items"]]

    def timeline(self, patient):
        return self.ids(f"/v1/patients/{patient}/timeline")


class Merged(Case):
    def test_old_identifiers_keep_leading_to_the_person(self):
        merged = self.merge(self.keep, self.gone, reason="a spelling").body
        self.assertEqual(merged["id"], self.keep)
        self.assertEqual([(m["id"], m["record_number"], m["into"])
                          for m in merged["merged"]],
                         [(self.gone, "G-2", self.keep)])
        for patient in (self.keep, self.gone):
            got = self.api("GET", f"/v1/patients/{patient}")
            self.assertEqual(got.body, merged)
            self.assertEqual(got.headers["ETag"], '"2"')
        for q in ("okonyo", "G-2", "okonjo", "ada okonyo"):
            self.assertEqual(self.ids(f"/v1/patients?q={q.replace(' ', '+')}"),
                             [self.keep], q)
        self.assertEqual(self.ids("/v1/patients?born=1984-05-30"),
                         [self.keep])
        self.assertEqual(self.ids("/v1/patients?q=okonyo&born=1984"),
                         [self.keep])
        self.assertEqual(self.ids("/v1/patients"), [self.keep])

    def test_everything_stands_in_the_survivors_lists(self):
        mine, its = (self.reading({"record_number": n})["id"]
                     for n in ("K-1", "G-2"))
        visit, exam = self.visit(self.gone)["id"], self.exam(self.gone)["id"]
        self.merge(self.keep, self.gone)
        for patient in (self.keep, self.gone):
            self.assertEqual(self.timeline(patient), [its, mine])
            self.assertEqual(self.ids(f"/v1/exams?patient={patient}"), [exam])
            self.assertIn(visit, self.ids(f"/v1/visits?patient={patient}"))
        for path in (f"/v1/readings/{its}", f"/v1/visits/{visit}",
                     f"/v1/exams/{exam}"):
            got = self.api("GET", path, role="prescriber")
            self.assertEqual(got.body["patient"], self.keep, path)
            # Another patient is shown, so the tag is another.
            self.assertRegex(got.headers["ETag"], r'^"2["-]', path)
        seen = self.api("GET", f"/v1/audit?patient={self.keep}",
                        role="auditor").body["items"]
        self.assertIn(self.gone, {a["patient"] for a in seen})

    def test_the_timeline_goes_over_both_by_pages(self):
        made = [self.reading({"record_number": n}, sphere=-1 - i / 4)["id"]
                for i, n in enumerate(("K-1", "G-2") * 4)]
        self.merge(self.keep, self.gone)
        found, after = [], ""
        while True:
            page = self.api("GET", f"/v1/patients/{self.gone}/timeline"
                                   f"?limit=3{after}").body
            found += page["items"]
            if not page["next"]:
                break
            after = f"&after={page['next']}"
        self.assertEqual([i["id"] for i in found], made[::-1])
        # Each differs from the one before, of whichever record.
        self.assertEqual([i["delta"]["to"] for i in found[:-1]],
                         [i["id"] for i in found[1:]])
        self.assertEqual(found[0]["delta"]["right"]["sphere"], -0.25)

    def test_what_names_an_old_identifier_claims_itself_for_the_survivor(self):
        self.merge(self.keep, self.gone)
        for patient in ({"record_number": "G-2"}, {"id": self.gone},
                        {"record_number": "G-2", "family": "Okonjo"},
                        {"record_number": "K-1", "family": "Okonyo"},
                        {"id": self.keep, "record_number": "G-2"},
                        {"family": "Okonyo", "given": "Ada",
                         "born": "1984-05-30"}):
            body = self.reading(patient)
            self.assertEqual(body["patient"], self.keep, patient)
        for patient in ({"record_number": "G-2", "family": "Other"},
                        {"record_number": "G-2", "born": "1999"},
                        {"id": self.gone, "record_number": "N-9"}):
            body = self.reading(patient)
            self.assertEqual(body["status"], "unclaimed", patient)
            self.assertEqual(body["cautions"][-1]["code"],
                             "patient-mismatch")

    def test_two_records_of_one_name_are_one_person_once_merged(self):
        twin = self.patient(family="Okonjo", given="Ada", born="1984-05-30")
        who = {"family": "Okonjo", "given": "Ada", "born": "1984-05-30"}
        self.assertEqual(self.reading(who)["status"], "unclaimed")
        self.merge(self.keep, twin)
        self.assertEqual(self.reading(who)["patient"], self.keep)

    def test_new_things_of_an_old_id_are_the_survivors(self):
        pair = self.reading({"record_number": "G-2"}, kind="lensometry")
        self.merge(self.keep, self.gone)
        visit = self.visit(self.gone)
        self.assertEqual(visit["patient"], self.keep)
        self.assertEqual(visit["person"]["record_number"], "K-1")
        lone = self.reading(None)
        claimed = self.api(
            "POST", f"/v1/readings/{lone['id']}/claim",
            {"patient": self.gone}, headers={"If-Match": '"1"'}).body
        self.assertEqual(claimed["patient"], self.keep)
        habitual = self.api("GET", f"/v1/patients/{self.gone}/habitual").body
        self.assertEqual(habitual["patient"], self.keep)
        self.assertEqual(habitual["entry"]["id"], pair["id"])
        self.api("POST", f"/v1/patients/{self.gone}/habitual",
                 {"entry": pair["id"]}, status=201)
        self.assertIn("chosen", self.api(
            "GET", f"/v1/patients/{self.keep}/habitual").body)

    def test_an_exam_goes_on_across_a_merge(self):
        reading = self.reading({"record_number": "K-1"})
        exam = self.exam(self.gone)
        self.merge(self.keep, self.gone)
        path = f"/v1/exams/{exam['id']}"
        tag = self.api("GET", path, role="prescriber").headers["ETag"]
        begun = self.api("POST", f"{path}/start-from",
                         {"source": reading["id"]}, "prescriber",
                         headers={"If-Match": tag})
        patched = self.api(
            "PATCH", path, {"final": {
                "right": {"sphere": -2, "cylinder": -0.75, "axis": 172},
                "left": {"sphere": -2}}}, "prescriber",
            headers={"If-Match": begun.headers["ETag"]})
        self.api("POST", f"{path}/sign", {}, "prescriber",
                 headers={"If-Match": patched.headers["ETag"]})
        rx = self.api("GET", f"{path}/rx").body
        self.assertEqual(rx["patient"]["record_number"], "K-1")
        kinds = [i["kind"] for i in self.api(
            "GET", f"/v1/patients/{self.keep}/timeline").body["items"]]
        self.assertIn("final", kinds)

    def test_a_change_through_an_old_id_is_the_survivors(self):
        tag = self.merge(self.keep, self.gone).headers["ETag"]
        changed = self.api("PATCH", f"/v1/patients/{self.gone}",
                           {"telephone": "1"}, headers={"If-Match": tag})
        self.assertEqual((changed.body["id"], changed.body["telephone"]),
                         (self.keep, "1"))
        self.assertEqual(len(changed.body["merged"]), 1)
        self.api("PATCH", f"/v1/patients/{self.keep}", {"merged": []},
                 headers={"If-Match": "*"}, status=422)

    def test_births_that_differ_are_a_caution(self):
        other = self.patient(family="Okonjo", born="1984-06-30")
        [caution] = self.merge(self.keep, other).body["cautions"]
        self.assertEqual((caution["code"], caution["patient"]),
                         ("births-differ", other))

    def test_a_new_patient_like_one_that_was_merged_names_the_survivor(self):
        self.merge(self.keep, self.gone)
        made = self.api("POST", "/v1/patients",
                        {"family": "Okonyo", "given": "Ada",
                         "born": "1984-05-30"}, status=201).body
        self.assertEqual([c["patient"] for c in made["cautions"]],
                         [self.keep])


class Apart(Case):
    def test_all_is_as_before_and_what_came_since_goes_where_it_named(self):
        before = {p: self.api("GET", f"/v1/patients/{p}").body
                  for p in (self.keep, self.gone)}
        its = self.reading({"record_number": "G-2"})["id"]
        exam = self.exam(self.gone)["id"]
        self.merge(self.keep, self.gone)
        later = self.reading({"record_number": "G-2"})["id"]
        mine = self.reading({"record_number": "K-1"})["id"]
        moved = self.reading({"record_number": "G-2"})["id"]
        self.api("POST", f"/v1/readings/{moved}/claim",
                 {"patient": self.keep}, headers={"If-Match": '"1"'})
        apart = self.unmerge(self.keep)
        self.assertEqual(apart.body, before[self.keep])
        self.assertEqual(self.api("GET", f"/v1/patients/{self.gone}").body,
                         before[self.gone])
        self.assertEqual(self.timeline(self.gone), [later, its])
        # Whom a person gave a reading, that stays.
        self.assertEqual(self.timeline(self.keep), [moved, mine])
        self.assertEqual(self.ids(f"/v1/exams?patient={self.gone}"), [exam])
        self.assertEqual(self.ids(f"/v1/exams?patient={self.keep}"), [])
        self.assertEqual(
            svc.psql("SELECT patient_id, into_id FROM patient_merge WHERE"
                     f" network_id = '{self.net.id}' ORDER BY merge_id"),
            [[self.gone, self.keep], [self.gone, ""]])
        self.assertEqual(
            svc.psql("SELECT action, subject_id, patient_id FROM audit WHERE"
                     f" network_id = '{self.net.id}' AND action LIKE"
                     " 'patient-%merged' ORDER BY audit_id"),
            [["patient-merged", self.gone, self.keep],
             ["patient-unmerged", self.gone, self.keep]])
        self.assertEqual(
            svc.psql("SELECT patient_id, reason FROM reading_claim WHERE"
                     f" reading_id = '{later}'"), [[self.gone, "unmerged"]])

    def test_it_can_be_done_again_and_either_way_round(self):
        for keep, gone in ((self.keep, self.gone), (self.gone, self.keep)):
            for _ in range(2):
                self.merge(keep, gone)
                self.assertEqual(self.ids("/v1/patients"), [keep])
                self.unmerge(keep)
                self.assertEqual(set(self.ids("/v1/patients")),
                                 {self.keep, self.gone})

    def test_merges_of_merges_come_apart_in_any_order(self):
        third = self.patient(family="Oconjo", given="Ada")
        one, two, three = (
            self.reading({"record_number": "K-1"})["id"],
            self.reading({"record_number": "G-2"})["id"],
            self.reading({"id": third})["id"])
        self.merge(self.gone, third)
        top = self.merge(self.keep, self.gone).body
        self.assertEqual({m["id"]: m["into"] for m in top["merged"]},
                         {third: self.gone, self.gone: self.keep})
        self.assertEqual(self.timeline(third), [three, two, one])
        # The middle one leaves with whom it had.
        left = self.unmerge(self.keep, self.gone).body
        self.assertNotIn("merged", left)
        self.assertEqual(self.timeline(third), [three, two])
        self.assertEqual(self.timeline(self.keep), [one])
        self.merge(self.keep, self.gone)
        # Or the last one alone, by its own old path.
        left = self.unmerge(third).body
        self.assertEqual([m["id"] for m in left["merged"]], [self.gone])
        self.assertEqual(self.timeline(third), [three])
        self.assertEqual(self.timeline(self.gone), [two, one])

    def test_without_a_name_the_last_one_comes_apart(self):
        third = self.patient(family="Oconjo", given="Ada")
        self.merge(self.keep, self.gone)
        self.merge(self.keep, third)
        left = self.unmerge(self.keep).body
        self.assertEqual([m["id"] for m in left["merged"]], [self.gone])


class Refused(Case):
    def test_what_cannot_be_merged(self):
        third = self.patient(family="Third")
        for body, pointer in (({}, "/other"), ({"other": "x"}, "/other"),
                              ({"other": uuid7()}, "/other"),
                              ({"other": self.keep}, "/other"),
                              ({"other": self.gone, "who": 1}, "/who")):
            answer = self.api("POST", f"/v1/patients/{self.keep}/merge", body,
                              status=422, headers={"If-Match": "*"})
            self.assertEqual([e["pointer"] for e in answer.body["errors"]],
                             [pointer])
        self.merge(self.keep, self.gone)
        self.merge(self.keep, self.gone, status=409)
        self.merge(third, self.gone, status=409)
        # Its old path is the survivor's.
        self.merge(self.gone, self.keep, status=422)
        self.unmerge(self.keep, third, status=422)
        self.unmerge(third, status=409)
        self.api("POST", f"/v1/patients/{uuid7()}/merge", {"other": third},
                 status=404, headers={"If-Match": "*"})
        self.api("POST", f"/v1/patients/{uuid7()}/unmerge", None,
                 status=404, headers={"If-Match": "*"})

    def test_each_needs_the_version_that_was_seen(self):
        for path in ("merge", "unmerge"):
            where = f"/v1/patients/{self.keep}/{path}"
            body = {"other": self.gone}
            self.api("POST", where, body, status=428)
            self.api("POST", where, body, status=412,
                     headers={"If-Match": '"7"'})
            # 412 comes before 422.
            self.api("POST", where, {"other": 1}, status=412,
                     headers={"If-Match": '"7"'})
        self.merge(self.keep, self.gone, tag='"1"')
        self.unmerge(self.keep, self.gone, status=412, tag='"1"')

    def test_roles(self):
        for path in ("merge", "unmerge"):
            for role in ("device", "lab", "admin", "auditor"):
                self.api("POST", f"/v1/patients/{self.keep}/{path}",
                         {"other": self.gone}, role, 403,
                         {"If-Match": '"1"'})

    def test_another_network_is_neither_seen_nor_merged(self):
        other = svc.network()
        foreign = self.api("POST", "/v1/patients", {"family": "Far"},
                           status=201, net=other).body["id"]
        for path in ("merge", "unmerge"):
            self.api("POST", f"/v1/patients/{self.keep}/{path}",
                     {"other": foreign}, status=404, net=other,
                     headers={"If-Match": '"1"'})
        self.merge(self.keep, foreign, status=422)
        # Nor can the daemon write it, whatever it forgets to ask.
        with self.assertRaises(SqlError) as caught:
            svc.psql(f"BEGIN; SET LOCAL app.network_id = '{self.net.id}';"
                     "SET LOCAL app.at = '2026-03-02T09:00:00Z';"
                     "INSERT INTO patient_merge (merge_id, patient_id,"
                     f" into_id) VALUES ('{uuid7()}', '{self.keep}',"
                     f" '{foreign}'); COMMIT", role="lensclerkd")
        self.assertEqual(caught.exception.sqlstate, "23503")

    def test_at_once_each_way_round_one_of_them_survives(self):
        barrier = threading.Barrier(8)
        ways = [(self.keep, self.gone), (self.gone, self.keep)]

        def one(i):
            keep, gone = ways[i % 2]
            barrier.wait()
            return self.net.api(
                "desk", "POST", f"/v1/patients/{keep}/merge",
                {"other": gone}, {"If-Match": '"1"'}).status

        with concurrent.futures.ThreadPoolExecutor(8) as pool:
            statuses = sorted(pool.map(one, range(8)))
        self.assertEqual(statuses.count(200), 1, statuses)
        self.assertLessEqual(set(statuses[1:]), {409, 412, 422})
        self.assertEqual(len(self.ids("/v1/patients")), 1)

    def test_no_row_says_that_a_patient_is_merged_into_itself(self):
        for sql in (f"UPDATE patient SET merged_into = patient_id,"
                    f" survivor_id = patient_id",
                    "UPDATE patient SET survivor_id = patient_id"):
            with self.assertRaises(SqlError) as caught:
                svc.psql(f"BEGIN; SET LOCAL app.network_id = '{self.net.id}';"
                         f" {sql} WHERE patient_id = '{self.keep}'; COMMIT",
                         role="lensclerkd")
            self.assertEqual(caught.exception.sqlstate, "23514")


if __name__ == "__main__":
    unittest.main()
