"""Visits over HTTP: today's list, in the clinic's own day."""

import datetime
import unittest
import zoneinfo

from lenstest import Service, uuid7


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def instant(text):
    return datetime.datetime.fromisoformat(text.replace("Z", "+00:00"))


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()
        self.patient = self.add_patient(family="Ode", given="Ann",
                                        record_number="Q-1", born="1984-05")

    def add_patient(self, **fields):
        answer = self.net.api("desk", "POST", "/v1/patients", fields)
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body["id"]

    def clinic(self, name, time_zone):
        answer = self.net.api("admin", "POST", "/v1/clinics",
                              {"name": name, "time_zone": time_zone})
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body["id"]

    def user_of(self, name, clinic):
        """A desk user of a clinic, or of none."""
        self.net.add("desk", name)
        value = f"'{clinic}'" if clinic else "NULL"
        for table in ("app_user", "token"):
            svc.psql(f"UPDATE {table} SET clinic_id = {value} WHERE user_id ="
                     f" '{self.net.users[name]}'")

    def add(self, role="desk", status=201, **fields):
        fields.setdefault("patient", self.patient)
        answer = self.net.api(role, "POST", "/v1/visits", fields)
        self.assertEqual(answer.status, status, answer.body)
        return answer.body

    def get(self, path, role="desk", status=200):
        answer = self.net.api(role, "GET", path)
        self.assertEqual(answer.status, status, answer.body)
        return answer.body

    def ids(self, query=""):
        return [v["id"] for v in self.get("/v1/visits" + query)["items"]]

    def patch(self, visit, body, etag='"1"', role="desk"):
        return self.net.api(role, "PATCH", f"/v1/visits/{visit}", body,
                            {"If-Match": etag})

    def pointers(self, answer, status=422):
        self.assertEqual(answer.status, status, answer.body)
        return [e["pointer"] for e in answer.body["errors"]]


class Adding(Case):
    def test_a_visit_stands_at_the_users_clinic_now(self):
        before = datetime.datetime.now(datetime.timezone.utc)
        answer = self.net.api("desk", "POST", "/v1/visits",
                              {"patient": self.patient, "reason": "new\nold"})
        self.assertEqual(answer.status, 201, answer.body)
        visit = answer.body
        self.assertEqual(answer.headers["ETag"], '"1"')
        self.assertEqual(answer.headers["Location"],
                         f"/v1/visits/{visit['id']}")
        self.assertEqual(visit["clinic"], self.net.clinic)
        self.assertEqual(visit["patient"], self.patient)
        self.assertEqual(visit["person"], {
            "record_number": "Q-1", "family": "Ode", "given": "Ann",
            "born": "1984-05"})
        self.assertEqual(visit["status"], "arrived")
        self.assertEqual(visit["reason"], "new\nold")
        at = instant(visit["at"])
        self.assertLess(abs((at - before).total_seconds()), 10)
        zone = zoneinfo.ZoneInfo("Europe/Vienna")
        self.assertEqual(at.utcoffset(), at.astimezone(zone).utcoffset())
        again = self.get(f"/v1/visits/{visit['id']}", "prescriber")
        self.assertEqual(again, visit)

    def test_an_instant_is_told_in_the_clinics_own_offset(self):
        # Vienna: +02:00 from the last Sunday of March on (EU 2000/84).
        for at, want in (("2026-03-28T09:00:00Z", "2026-03-28T10:00:00+01:00"),
                         ("2026-03-30T09:00:00Z", "2026-03-30T11:00:00+02:00")):
            self.assertEqual(self.add(at=at)["at"], want)

    def test_a_visit_ahead_is_planned(self):
        self.assertEqual(self.add(at="2099-01-01T00:00:00Z")["status"],
                         "planned")

    def test_every_fault_is_named_at_once(self):
        answer = self.net.api("desk", "POST", "/v1/visits", {
            "patient": "x", "clinic": 1, "at": "2026-03-02", "reason": "",
            "status": "planned"})
        self.assertEqual(sorted(self.pointers(answer)), [
            "/at", "/clinic", "/patient", "/reason", "/status"])
        answer = self.net.api("desk", "POST", "/v1/visits", {})
        self.assertEqual(self.pointers(answer), ["/patient"])

    def test_what_is_not_in_this_network_is_no_patient_or_clinic(self):
        other = svc.network()
        answer = other.api("desk", "POST", "/v1/visits",
                           {"patient": self.patient})
        self.assertEqual(self.pointers(answer), ["/patient"])
        self.user_of("floating", None)
        answer = self.net.api("floating", "POST", "/v1/visits", {
            "patient": self.patient, "clinic": other.clinic})
        self.assertEqual(self.pointers(answer), ["/clinic"])
        answer = self.net.api("floating", "POST", "/v1/visits", {
            "patient": uuid7(), "clinic": uuid7()})
        self.assertEqual(self.pointers(answer), ["/patient", "/clinic"])

    def test_without_a_clinic_of_ones_own_one_must_be_named(self):
        self.user_of("floating", None)
        answer = self.net.api("floating", "POST", "/v1/visits",
                              {"patient": self.patient})
        self.assertEqual(self.pointers(answer), ["/clinic"])
        made = self.add("floating", clinic=self.net.clinic)
        self.assertEqual(made["clinic"], self.net.clinic)

    def test_another_clinics_visits_are_its_own_users_to_write(self):
        harbour = self.clinic("Harbour", "Asia/Kolkata")
        self.user_of("harbour", harbour)
        self.add(status=403, clinic=harbour)
        visit = self.add("harbour")
        self.assertEqual(visit["clinic"], harbour)
        self.assertEqual(self.patch(visit["id"], {"reason": "x"}).status, 403)
        self.assertEqual(self.get(f"/v1/visits/{visit['id']}"), visit)
        self.assertEqual(
            self.patch(visit["id"], {"reason": "x"}, role="harbour").status,
            200)

    def test_a_closed_clinic_takes_no_visit(self):
        answer = self.net.api("admin", "PATCH",
                              f"/v1/clinics/{self.net.clinic}",
                              {"closed": True}, {"If-Match": '"1"'})
        self.assertEqual(answer.status, 200, answer.body)
        answer = self.net.api("desk", "POST", "/v1/visits",
                              {"patient": self.patient})
        self.assertEqual(self.pointers(answer), ["/clinic"])

    def test_the_same_key_twice_adds_one_visit(self):
        key = {"Idempotency-Key": "v"}
        body = {"patient": self.patient}
        first = self.net.api("desk", "POST", "/v1/visits", body, key)
        again = self.net.api("desk", "POST", "/v1/visits", body, key)
        self.assertEqual((again.status, again.body), (201, first.body))
        self.assertEqual(self.ids(), [first.body["id"]])

    def test_roles_and_tokens(self):
        body = {"patient": self.patient, "clinic": self.net.clinic}
        for role, post, get in (("prescriber", 201, 200), ("lab", 403, 403),
                                ("device", 403, 403), ("admin", 403, 200),
                                ("auditor", 403, 200)):
            answer = self.net.api(role, "POST", "/v1/visits", body)
            self.assertEqual(answer.status, post, role)
            self.assertEqual(self.net.api(role, "GET", "/v1/visits").status,
                             get, role)
        self.assertEqual(svc.api("GET", "/v1/visits").status, 401)


class Changing(Case):
    def test_a_patch_needs_the_standing_version(self):
        visit = self.add()
        path = f"/v1/visits/{visit['id']}"
        self.assertEqual(self.net.api("desk", "PATCH", path, {}).status, 428)
        answer = self.patch(visit["id"], {
            "reason": "broken frame", "at": "2026-01-05T08:00:00Z"})
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(answer.headers["ETag"], '"2"')
        self.assertEqual(answer.body, dict(
            visit, reason="broken frame", at="2026-01-05T09:00:00+01:00"))
        self.assertEqual(self.get(path), answer.body)
        self.assertEqual(self.patch(visit["id"], {}, '"1"').status, 412)
        answer = self.patch(visit["id"], {"reason": None}, '"2"')
        self.assertNotIn("reason", answer.body)

    def test_only_lawful_moves(self):
        # Common practice; the words are FHIR R4 Encounter.status.
        visit = self.add(at="2099-01-01T00:00:00Z")["id"]
        etag = 1
        for status, lawful in (("arrived", True), ("in-progress", True),
                               ("planned", False), ("finished", True),
                               ("arrived", False), ("cancelled", False),
                               ("in-progress", True), ("cancelled", True),
                               ("finished", False), ("cancelled", True),
                               ("planned", True)):
            answer = self.patch(visit, {"status": status}, f'"{etag}"')
            if lawful:
                self.assertEqual(answer.status, 200, answer.body)
                self.assertEqual(answer.body["status"], status)
                etag += 1
            else:
                self.assertEqual(self.pointers(answer, 409), ["/status"],
                                 status)
        self.assertEqual(self.pointers(
            self.patch(visit, {"status": "late"}, f'"{etag}"')), ["/status"])

    def test_patient_and_clinic_stay(self):
        visit = self.add()["id"]
        for name in ("patient", "clinic", "person", "id"):
            answer = self.patch(visit, {name: uuid7()})
            self.assertEqual(self.pointers(answer), ["/" + name])
        for name in ("at", "status"):
            answer = self.patch(visit, {name: None})
            self.assertEqual(self.pointers(answer), ["/" + name])

    def test_another_network_sees_and_changes_nothing(self):
        visit = self.add()["id"]
        other = svc.network()
        path = f"/v1/visits/{visit}"
        self.assertEqual(other.api("desk", "GET", path).status, 404)
        self.assertEqual(other.api("desk", "PATCH", path, {"reason": "x"},
                                   {"If-Match": "*"}).status, 404)
        for query in ("", f"?patient={self.patient}",
                      f"?clinic={self.net.clinic}"):
            answer = other.api("desk", "GET", "/v1/visits" + query)
            self.assertEqual(answer.body["items"], [], query)
        self.assertEqual(self.get(path)["id"], visit)


class Listing(Case):
    def test_today_is_the_list_without_a_date(self):
        now = self.add()["id"]
        self.add(at="2020-01-01T12:00:00Z")
        self.assertEqual(self.ids(), [now])
        item = self.get("/v1/visits")["items"][0]
        self.assertEqual(item["person"]["record_number"], "Q-1")
        self.assertEqual(item["person"]["family"], "Ode")

    def test_a_day_is_the_clinics_day_also_when_clocks_change(self):
        # Vienna's 29 March 2026 has 23 hours: from 23:00Z to 22:00Z.
        made = {at: self.add(at=at)["id"] for at in (
            "2026-03-28T22:59:59Z", "2026-03-28T23:00:00Z",
            "2026-03-29T21:59:59Z", "2026-03-29T22:00:00Z")}
        self.assertEqual(
            self.ids("?date=2026-03-29"),
            [made["2026-03-29T21:59:59Z"], made["2026-03-28T23:00:00Z"]])
        self.assertEqual(self.ids("?date=2026-03-28"),
                         [made["2026-03-28T22:59:59Z"]])

    def test_each_clinic_has_a_day_of_its_own(self):
        kolkata = self.clinic("Harbour", "Asia/Kolkata")
        self.user_of("harbour", kolkata)
        at = "2026-06-01T20:00:00Z"  # the 1st in Vienna, the 2nd in Kolkata
        vienna_visit = self.add(at=at)["id"]
        kolkata_visit = self.add("harbour", at=at)
        self.assertEqual(kolkata_visit["at"], "2026-06-02T01:30:00+05:30")
        self.assertEqual(self.ids("?date=2026-06-01"), [vienna_visit])
        self.assertEqual(self.ids("?date=2026-06-02"),
                         [kolkata_visit["id"]])
        self.assertEqual(self.ids(f"?date=2026-06-01&clinic={kolkata}"), [])
        self.assertEqual(
            self.ids(f"?date=2026-06-01&patient={self.patient}"),
            [vienna_visit])
        self.assertEqual(
            set(self.ids(f"?patient={self.patient}")),
            {vienna_visit, kolkata_visit["id"]})

    def test_pages_hold_every_visit_once_newest_first(self):
        made = [self.add(at=f"2026-02-03T{9 + n // 4:02}:{n % 4 * 15:02}:00Z")
                ["id"] for n in range(11)]
        twin = [self.add(at="2026-02-03T09:00:00Z")["id"] for _ in range(3)]
        want = made[:0:-1] + sorted(twin + made[:1], reverse=True)
        for query in ("?date=2026-02-03", f"?patient={self.patient}"):
            seen, path = [], f"/v1/visits{query}&limit=4"
            while path:
                answer = self.net.api("desk", "GET", path)
                self.assertEqual(answer.status, 200, answer.body)
                seen += [v["id"] for v in answer.body["items"]]
                link = answer.headers["Link"]
                path = link and link[1:link.index(">")]
            self.assertEqual(seen, want, query)

    def test_wrong_questions_are_refused_by_name(self):
        for query, pointer in (("date=2026-02-30", "/date"),
                               ("date=2026-02", "/date"),
                               ("clinic=x", "/clinic"),
                               ("patient=x", "/patient"),
                               ("after=x", "/after"), ("after=1.x", "/after")):
            answer = self.net.api("desk", "GET", "/v1/visits?" + query)
            self.assertEqual(self.pointers(answer), [pointer], query)
