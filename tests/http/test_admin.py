"""Clinics, labs, devices, users, tokens, the network and its audit log."""

import datetime
import threading
import time
import unittest

from lenstest import Service, uuid7, wait_until

PASSWORD = "quiet lantern 7 boats"


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def api(self, method, path, body=None, role="admin", etag=None, **headers):
        if etag:
            headers["If-Match"] = etag
        return self.net.api(role, method, path, body, headers)

    def post(self, path, **fields):
        answer = self.api("POST", path, fields)
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body

    def get(self, path, role="admin"):
        answer = self.net.api(role, "GET", path)
        self.assertEqual(answer.status, 200, answer.body)
        return answer.body

    def patch(self, path, etag='"1"', **fields):
        return self.api("PATCH", path, fields, etag=etag)

    def pointers(self, answer, status=422):
        self.assertEqual(answer.status, status, answer.body)
        return [e["pointer"] for e in answer.body["errors"]]

    def works(self, token):
        return svc.api("GET", "/v1/me", token=token).status == 200

    def sign_in(self, user, password=PASSWORD):
        return svc.api("POST", "/v1/sessions", {
            "network": self.net.name, "user": user, "password": password})


# Path, a body that is right, and what of it must be unique.
RESOURCES = (
    ("/v1/clinics", {"name": "Harbour", "time_zone": "Asia/Kolkata"}),
    ("/v1/labs", {"name": "North bench"}),
    ("/v1/devices", {"name": "lane 2"}),
    ("/v1/users", {"name": "ilse", "role": "desk"}),
)


class Everywhere(Case):
    def body(self, path, body):
        return dict(body, clinic=self.net.clinic) \
            if path == "/v1/devices" else dict(body)

    def each(self):
        for path, body in RESOURCES:
            with self.subTest(path=path):
                yield path, self.body(path, body)

    def test_what_was_made_is_answered_listed_and_read(self):
        for path, body in self.each():
            answer = self.api("POST", path, body)
            self.assertEqual(answer.status, 201, answer.body)
            self.assertEqual(answer.headers["ETag"], '"1"')
            self.assertEqual(answer.headers["Location"],
                             f"{path}/{answer.body['id']}")
            for name, value in body.items():
                self.assertEqual(answer.body[name], value)
            one = self.api("GET", answer.headers["Location"])
            self.assertEqual(one.body, answer.body)
            self.assertEqual(one.headers["ETag"], '"1"')
            self.assertEqual(self.get(path)["items"][0], answer.body)

    def test_only_the_admin_writes(self):
        for path, body in self.each():
            made = self.post(path, **body)["id"]
            for role in ("desk", "prescriber", "lab", "device", "auditor"):
                answer = self.api("POST", path, body, role)
                self.assertEqual(answer.status, 403, role)
                answer = self.api("PATCH", f"{path}/{made}", {}, role, '"1"')
                self.assertEqual(answer.status, 403, role)
            self.assertEqual(svc.api("GET", path).status, 401)
            self.assertEqual(svc.api("POST", path, body).status, 401)

    def test_who_reads(self):
        for path, _ in self.each():
            for role in ("desk", "prescriber", "admin", "auditor"):
                self.assertEqual(self.api("GET", path, role=role).status, 200,
                                 role)
            self.assertEqual(self.api("GET", path, role="device").status, 403)
            self.assertEqual(self.api("GET", path, role="lab").status,
                             200 if path == "/v1/labs" else 403)

    def test_changes_count_versions_and_need_them(self):
        for path, body in self.each():
            made = self.post(path, **body)
            at = f"{path}/{made['id']}"
            self.assertEqual(self.api("PATCH", at, {}).status, 428)
            answer = self.patch(at, name="renamed")
            self.assertEqual(answer.status, 200, answer.body)
            self.assertEqual(answer.headers["ETag"], '"2"')
            self.assertEqual(answer.body, dict(made, name="renamed"))
            self.assertEqual(self.get(at), answer.body)
            self.assertEqual(self.patch(at, name="again").status, 412)
            self.assertEqual(self.patch(at, '"2"', name="again").status, 200)

    def test_a_name_is_taken_once_in_a_network(self):
        for path, body in self.each():
            self.post(path, **body)
            self.assertEqual(self.pointers(self.api("POST", path, body), 409),
                             ["/name"])
            second = self.post(path, **dict(body, name="second"))
            answer = self.patch(f"{path}/{second['id']}", name=body["name"])
            self.assertEqual(self.pointers(answer, 409), ["/name"])

    def test_names_are_needed_and_unknown_fields_refused(self):
        for path, body in self.each():
            answer = self.api("POST", path, dict(body, name=None, shade=1))
            self.assertEqual(sorted(self.pointers(answer)),
                             ["/name", "/shade"])
            made = self.post(path, **body)
            answer = self.patch(f"{path}/{made['id']}", id=uuid7())
            self.assertEqual(self.pointers(answer), ["/id"])

    def test_another_network_sees_and_changes_nothing(self):
        other = svc.network()
        for path, body in self.each():
            made = self.post(path, **body)["id"]
            at = f"{path}/{made}"
            self.assertEqual(other.api("admin", "GET", at).status, 404)
            self.assertEqual(other.api("admin", "PATCH", at, {"name": "x"},
                                       {"If-Match": "*"}).status, 404)
            listed = other.api("admin", "GET", path).body["items"]
            self.assertNotIn(made, [i["id"] for i in listed])
            self.assertEqual(self.get(at)["name"], body["name"])

    def test_keys_make_one(self):
        for path, body in self.each():
            if path == "/v1/users":
                continue  # a password's fast hash would be kept
            first = self.api("POST", path, body, **{"Idempotency-Key": path})
            again = self.api("POST", path, body, **{"Idempotency-Key": path})
            self.assertEqual((again.status, again.body), (201, first.body))

    def test_lists_page_newest_first(self):
        for path, body in self.each():
            made = [self.post(path, **dict(body, name=f"n{n}"))["id"]
                    for n in range(5)][::-1]
            seen, at = [], path + "?limit=2"
            while at:
                answer = self.api("GET", at)
                seen += [i["id"] for i in answer.body["items"]]
                link = answer.headers["Link"]
                at = link and link[1:link.index(">")]
            self.assertEqual(seen[:5], made)
            self.assertEqual(len(seen), len(set(seen)))
            self.assertEqual(self.pointers(self.api("GET", path + "?after=x")),
                             ["/after"])


class Clinics(Case):
    def test_steps_have_presets_and_lawful_values(self):
        made = self.post("/v1/clinics", name="Harbour", time_zone="UTC")
        self.assertEqual(made["steps"],
                         {"sphere": 0.25, "axis": 5, "prism": 0.5})
        self.assertEqual(made["cylinder_form"], "minus")
        answer = self.patch(f"/v1/clinics/{made['id']}",
                            steps={"sphere": 0.12, "axis": 1},
                            cylinder_form="plus")
        self.assertEqual(answer.body["steps"],
                         {"sphere": 0.12, "axis": 1, "prism": 0.5})
        self.assertEqual(answer.body["cylinder_form"], "plus")
        for steps, pointer in (({"sphere": 0.2}, "/steps/sphere"),
                               ({"sphere": 0.125}, "/steps/sphere"),
                               ({"axis": 3}, "/steps/axis"),
                               ({"axis": 2.5}, "/steps/axis"),
                               ({"prism": 1}, "/steps/prism"),
                               ({"add": 1}, "/steps/add"), (7, "/steps")):
            answer = self.api("POST", "/v1/clinics", {
                "name": "X", "time_zone": "UTC", "steps": steps})
            self.assertEqual(self.pointers(answer), [pointer], steps)

    def test_a_time_zone_is_one_that_the_database_knows(self):
        for zone in ("Mars/Olympus", "europe/vienna", "posix/UTC",
                     "localtime", "+02:00", "EST5EDT,M3.2.0,M11.1.0", ""):
            answer = self.api("POST", "/v1/clinics",
                              {"name": "X", "time_zone": zone})
            self.assertEqual(self.pointers(answer), ["/time_zone"], zone)
        answer = self.patch(f"/v1/clinics/{self.net.clinic}",
                            time_zone="Nowhere/Else")
        self.assertEqual(self.pointers(answer), ["/time_zone"])
        answer = self.patch(f"/v1/clinics/{self.net.clinic}",
                            time_zone="America/St_Johns")
        self.assertEqual(answer.status, 200, answer.body)


class Labs(Case):
    def test_a_labs_user_sees_that_lab_alone(self):
        other = self.post("/v1/labs", name="South bench")["id"]
        listed = self.get("/v1/labs", "lab")["items"]
        self.assertEqual([i["id"] for i in listed], [self.net.lab])
        answer = self.net.api("lab", "GET", f"/v1/labs/{other}")
        self.assertEqual(answer.status, 404)
        self.assertEqual(
            self.net.api("lab", "GET", f"/v1/labs/{self.net.lab}").status,
            200)


class Devices(Case):
    def test_a_device_needs_a_clinic_of_this_network(self):
        other = svc.network()
        for clinic in (other.clinic, uuid7(), "x", None):
            answer = self.api("POST", "/v1/devices",
                              {"name": "d", "clinic": clinic})
            self.assertEqual(self.pointers(answer), ["/clinic"], clinic)

    def test_moving_or_retiring_a_device_ends_its_tokens(self):
        harbour = self.post("/v1/clinics", name="H", time_zone="UTC")["id"]
        at = f"/v1/devices/{self.net.device}"
        self.assertTrue(self.works(self.net.tokens["device"]))
        self.assertEqual(self.patch(at, serial="AR-2").status, 200)
        time.sleep(1.5)
        self.assertTrue(self.works(self.net.tokens["device"]))
        self.assertEqual(self.patch(at, '"2"', clinic=harbour).status, 200)
        wait_until("the token ends",
                   lambda: not self.works(self.net.tokens["device"]), 3)
        token = self.post("/v1/tokens", device=self.net.device)["token"]
        me = svc.api("GET", "/v1/me", token=token).body
        self.assertEqual((me["role"], me["clinic"]), ("device", harbour))
        self.assertEqual(self.patch(at, '"3"', retired=True).status, 200)
        wait_until("the token ends", lambda: not self.works(token), 3)
        answer = self.api("POST", "/v1/tokens", {"device": self.net.device})
        self.assertEqual(self.pointers(answer, 409), ["/device"])


class Users(Case):
    def add(self, **fields):
        body = {"name": "ilse", "role": "prescriber",
                "clinic": self.net.clinic, "password": PASSWORD}
        return self.post("/v1/users", **dict(body, **fields))

    def test_a_user_can_sign_in_and_the_password_comes_out_nowhere(self):
        made = self.add(display="Ilse Rao", licence_number="OPT 55-2071",
                        practice_address="12 Quayside Walk\nHarbourton")
        self.assertIs(made["may_sign_in"], True)
        answer = self.sign_in("ilse")
        self.assertEqual(answer.status, 201, answer.body)
        me = svc.api("GET", "/v1/me", token=answer.body["token"]).body
        self.assertEqual((me["id"], me["role"]), (made["id"], "prescriber"))
        at = f"/v1/users/{made['id']}"
        seen = [made, self.get(at), self.get("/v1/users"),
                self.get("/v1/audit"), self.get("/v1/users", "auditor")]
        for body in seen:
            self.assertNotIn(PASSWORD, repr(body))
            self.assertNotIn("argon2", repr(body))
        stored = svc.psql("SELECT password_hash FROM app_user WHERE user_id ="
                          f" '{made['id']}'")[0][0]
        # Argon2id, 64 MiB (RFC 9106's m counts kibibytes).
        self.assertRegex(stored, r"^\$argon2id\$v=19\$m=65536,t=2,p=1\$")

    def test_without_a_password_nobody_signs_in(self):
        made = self.add(password=None)
        self.assertIs(made["may_sign_in"], False)
        self.assertEqual(self.sign_in("ilse").status, 401)

    def test_what_a_user_must_be(self):
        cases = (({"name": "Ilse"}, "/name"), ({"name": ".x"}, "/name"),
                 ({"name": "n" * 64}, "/name"), ({"role": "device"}, "/role"),
                 ({"role": None}, "/role"), ({"password": "short"},
                                             "/password"),
                 ({"password": "\u00e9" * 11}, "/password"),
                 ({"password": "x" * 201}, "/password"),
                 ({"clinic": uuid7()}, "/clinic"),
                 ({"lab": self.net.lab}, "/lab"), ({"role": "lab"}, "/lab"),
                 ({"role": "lab", "lab": uuid7()}, "/lab"),
                 ({"disabled": 1}, "/disabled"),
                 ({"display": "a\tb"}, "/display"))
        for fields, pointer in cases:
            body = dict({"name": "ilse", "role": "desk"}, **fields)
            answer = self.api("POST", "/v1/users", body)
            self.assertEqual(self.pointers(answer), [pointer], fields)
        self.assertNotIn("ilse", [
            u["name"] for u in self.get("/v1/users")["items"]])
        self.add(role="lab", lab=self.net.lab, clinic=None)

    def test_colleagues_see_a_name_and_a_role(self):
        made = self.add(display="Ilse Rao", licence_number="OPT 55-2071")
        for role in ("desk", "prescriber"):
            answer = self.api("GET", f"/v1/users/{made['id']}", role=role)
            self.assertEqual(answer.body, {
                "id": made["id"], "display": "Ilse Rao", "role": "prescriber",
                "clinic": self.net.clinic})
            self.assertEqual(answer.headers["ETag"], '"1-brief"')
            for user in self.get("/v1/users", role)["items"]:
                self.assertLessEqual(
                    set(user), {"id", "display", "role", "clinic", "lab"})

    def test_a_change_of_what_a_user_may_do_ends_the_tokens(self):
        harbour = self.post("/v1/clinics", name="H", time_zone="UTC")["id"]
        made = self.add()
        at, version = f"/v1/users/{made['id']}", 1
        changes = (({"role": "desk"}, True), ({"clinic": harbour}, True),
                   ({"display": "Ilse M"}, False),
                   ({"password": PASSWORD + "!"}, True),
                   ({"disabled": True}, True))
        for fields, ends in changes:
            token = self.post("/v1/tokens", user=made["id"])["token"]
            self.assertTrue(self.works(token))
            answer = self.patch(at, f'"{version}"', **fields)
            self.assertEqual(answer.status, 200, answer.body)
            version += 1
            if ends:
                wait_until(f"{fields} ends the token",
                           lambda: not self.works(token), 3)
            else:
                time.sleep(1.5)
                self.assertTrue(self.works(token), fields)
        answer = self.api("POST", "/v1/tokens", {"user": made["id"]})
        self.assertEqual(self.pointers(answer, 409), ["/user"])
        self.assertEqual(self.sign_in("ilse", PASSWORD + "!").status, 401)

    def test_a_change_that_came_too_late_ends_nothing(self):
        made = self.add()
        token = self.post("/v1/tokens", user=made["id"])["token"]
        at = f"/v1/users/{made['id']}"
        self.assertEqual(self.patch(at, display="Ilse M").status, 200)
        self.assertEqual(self.patch(at, role="desk").status, 412)
        time.sleep(1.5)
        self.assertTrue(self.works(token))

    def test_a_new_password_works_and_the_old_one_does_not(self):
        made = self.add()
        answer = self.patch(f"/v1/users/{made['id']}",
                            password="another lantern 8")
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(self.sign_in("ilse").status, 401)
        self.assertEqual(self.sign_in("ilse", "another lantern 8").status, 201)
        row = self.get(f"/v1/audit?subject={made['id']}")["items"][0]
        self.assertIn("user-changed", [r["action"] for r in self.get(
            f"/v1/audit?subject={made['id']}")["items"]])
        self.assertNotIn("lantern", repr(row))

    def test_nobody_disables_or_promotes_themselves(self):
        at = f"/v1/users/{self.net.users['admin']}"
        self.assertEqual(self.pointers(self.patch(at, disabled=True), 409),
                         ["/disabled"])
        self.assertEqual(self.pointers(self.patch(at, role="auditor"), 409),
                         ["/role"])
        self.assertEqual(self.patch(at, display="Admin").status, 200)


    def test_a_change_during_a_sign_in_keeps_its_session_out(self):
        # The password is checked while another transaction changes the user
        # and has not committed yet.
        made = self.add()
        change = threading.Thread(target=svc.psql, args=(f"""
BEGIN; UPDATE app_user SET password_hash = 'x', version = version + 1
WHERE user_id = '{made["id"]}'; SELECT pg_sleep(1.5); COMMIT""",))
        change.start()
        time.sleep(0.3)
        answer = self.sign_in("ilse")
        change.join()
        self.assertEqual(answer.status, 401, answer.body)
        self.assertEqual(svc.psql(
            f"SELECT 1 FROM token WHERE user_id = '{made['id']}'"), [])

    def test_a_token_made_during_a_change_ends_with_it(self):
        made = self.add()
        hold = threading.Thread(target=svc.psql, args=(f"""
BEGIN; SELECT 1 FROM app_user WHERE user_id = '{made["id"]}' FOR UPDATE;
SELECT pg_sleep(1.5); COMMIT""",))
        hold.start()
        time.sleep(0.3)
        tokens = []
        make = threading.Thread(target=lambda: tokens.append(
            self.post("/v1/tokens", user=made["id"])["token"]))
        make.start()
        time.sleep(0.3)
        answer = self.patch(f"/v1/users/{made['id']}", role="desk")
        self.assertEqual(answer.status, 200, answer.body)
        hold.join()
        make.join()
        wait_until("the token is of the new role or ends", lambda: svc.api(
            "GET", "/v1/me", token=tokens[0]).body.get("role") in
            (None, "desk"), 3)


class Tokens(Case):
    def test_a_token_is_told_once_and_kept_as_a_hash(self):
        answer = self.api("POST", "/v1/tokens", {
            "user": self.net.users["desk"], "label": "export", "days": 30})
        self.assertEqual(answer.status, 201, answer.body)
        made = answer.body
        self.assertRegex(made["token"], r"^lens_[A-Za-z0-9_-]{43}$")
        self.assertEqual(answer.headers["Cache-Control"].split(",")[-1]
                         .strip(), "no-store")
        days = (datetime.datetime.fromisoformat(
            made["expires_at"].replace("Z", "+00:00"))
            - datetime.datetime.now(datetime.timezone.utc)).days
        self.assertIn(days, (29, 30))
        me = svc.api("GET", "/v1/me", token=made["token"]).body
        self.assertEqual((me["id"], me["role"]),
                         (self.net.users["desk"], "desk"))
        listed = self.get("/v1/tokens")["items"]
        self.assertEqual(listed[0]["id"], made["id"])
        self.assertEqual(listed[0]["user_name"], "desk")
        self.assertEqual(listed[0]["label"], "export")
        self.assertNotIn(made["token"], repr(listed))
        dump = svc.psql("SELECT row_to_json(t) FROM token AS t "
                        f"WHERE token_id = '{made['id']}'")
        self.assertNotIn(made["token"], repr(dump))

    def test_revoked_it_works_no_more(self):
        made = self.post("/v1/tokens", user=self.net.users["desk"])
        at = f"/v1/tokens/{made['id']}"
        self.assertTrue(self.works(made["token"]))
        self.assertEqual(self.api("DELETE", at).status, 204)
        wait_until("the token ends", lambda: not self.works(made["token"]), 3)
        self.assertEqual(self.api("DELETE", at).status, 204)
        self.assertIn("revoked_at", self.get("/v1/tokens")["items"][0])

    def test_whose_and_for_how_long(self):
        user, device = self.net.users["desk"], self.net.device
        other = svc.network()
        for body, pointers in (
                ({}, ["/user"]), ({"user": user, "device": device},
                                  ["/device"]),
                ({"user": uuid7()}, ["/user"]),
                ({"user": other.users["desk"]}, ["/user"]),
                ({"device": other.device}, ["/device"]),
                ({"device": user}, ["/device"]),
                ({"user": user, "days": 0}, ["/days"]),
                ({"user": user, "days": 3661}, ["/days"]),
                ({"user": user, "days": 1.5}, ["/days"]),
                ({"user": user, "label": "", "role": "admin"},
                 ["/label", "/role"])):
            answer = self.api("POST", "/v1/tokens", body)
            self.assertEqual(sorted(self.pointers(answer)), pointers, body)

    def test_only_the_admin_and_only_of_this_network(self):
        made = self.post("/v1/tokens", user=self.net.users["desk"])
        at = f"/v1/tokens/{made['id']}"
        other = svc.network()
        self.assertEqual(other.api("admin", "DELETE", at).status, 404)
        self.assertNotIn(made["id"], [
            t["id"] for t in other.api("admin", "GET", "/v1/tokens")
            .body["items"]])
        for role in ("desk", "prescriber", "lab", "device", "auditor"):
            self.assertEqual(self.api("DELETE", at, role=role).status, 403)
            self.assertEqual(self.api("GET", "/v1/tokens", role=role).status,
                             403)
            self.assertEqual(
                self.api("POST", "/v1/tokens",
                         {"user": self.net.users["desk"]}, role).status, 403)
        self.assertTrue(self.works(made["token"]))

    def test_a_repeated_key_never_gives_a_token_again(self):
        body = {"user": self.net.users["desk"]}
        key = {"Idempotency-Key": "t"}
        first = self.api("POST", "/v1/tokens", body, **key)
        again = self.api("POST", "/v1/tokens", body, **key)
        self.assertEqual((first.status, again.status), (201, 201))
        self.assertNotEqual(first.body["token"], again.body["token"])
        kept = svc.psql("SELECT body FROM idempotency WHERE network_id = "
                        f"'{self.net.id}'")
        self.assertEqual(kept, [])


class TheNetwork(Case):
    def test_settings_are_read_by_staff_and_changed_by_the_admin(self):
        was = self.get("/v1/network", "desk")
        self.assertEqual((was["name"], was["vertex_needed"]),
                         (self.net.name, 5.0))
        self.assertNotIn("expiry_months", was)
        self.assertEqual(was["expiry_leap_day"], "february-28")
        self.assertEqual(
            self.api("PATCH", "/v1/network", {}, "desk", '"1"').status, 403)
        self.assertEqual(self.api("GET", "/v1/network", role="lab").status,
                         403)
        answer = self.patch("/v1/network", vertex_needed=4.5,
                            expiry_months=24, display="Three Lanterns")
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(answer.headers["ETag"], '"2"')
        self.assertEqual(answer.body, dict(
            was, vertex_needed=4.5, expiry_months=24,
            display="Three Lanterns"))
        self.assertEqual(self.get("/v1/network"), answer.body)
        self.assertEqual(self.patch("/v1/network").status, 412)
        answer = self.patch("/v1/network", '"2"', expiry_months=None)
        self.assertEqual(answer.status, 200)
        self.assertNotIn("expiry_months", answer.body)
        other = svc.network()
        self.assertEqual(other.api("admin", "GET", "/v1/network").body["id"],
                         other.id)

    def test_settings_have_limits(self):
        for fields, pointer in (({"vertex_needed": 41}, "/vertex_needed"),
                                ({"vertex_needed": None}, "/vertex_needed"),
                                ({"vertex_needed": 4.505}, "/vertex_needed"),
                                ({"expiry_months": 0}, "/expiry_months"),
                                ({"expiry_months": 121}, "/expiry_months"),
                                ({"display": " "}, "/display"),
                                ({"name": "x"}, "/name")):
            answer = self.patch("/v1/network", **fields)
            self.assertEqual(self.pointers(answer), [pointer], fields)


class TheLog(Case):
    def log(self, query="", role="auditor"):
        return self.get("/v1/audit" + query, role)["items"]

    def test_who_did_what_newest_first(self):
        lab = self.post("/v1/labs", name="South bench")["id"]
        self.patch(f"/v1/labs/{lab}", telephone="1")
        rows = self.log()
        self.assertEqual([(r["action"], r["subject_kind"], r["subject"])
                          for r in rows[:2]],
                         [("lab-changed", "lab", lab),
                          ("lab-added", "lab", lab)])
        self.assertEqual(rows[0]["user"], self.net.users["admin"])
        self.assertEqual(rows[0]["user_display"], "User admin")
        self.assertEqual(rows[0]["detail"], {"before": {"telephone": None}})
        self.assertNotIn("detail", rows[1])
        answer = self.api("PATCH", f"/v1/labs/{lab}", {"telephone": "2"},
                          etag='"2"')
        self.assertEqual(self.log()[0]["request"],
                         answer.headers["X-Request-Id"])

    def test_filters(self):
        patient = self.net.api("desk", "POST", "/v1/patients",
                               {"family": "Ode"}).body["id"]
        self.net.api("desk", "POST", "/v1/patients", {"family": "Ng"})
        lab = self.post("/v1/labs", name="South bench")["id"]
        desk, admin = self.net.users["desk"], self.net.users["admin"]
        self.assertEqual([r["patient"] for r in
                          self.log(f"?patient={patient}")], [patient])
        self.assertEqual([r["subject"] for r in self.log(f"?subject={lab}")],
                         [lab])
        self.assertEqual({r["user"] for r in self.log(f"?user={desk}")},
                         {desk})
        self.assertEqual(self.log(f"?user={admin}&subject={patient}"), [])
        self.assertEqual(
            len(self.log(f"?user={desk}&patient={patient}")), 1)
        self.assertEqual(self.log(f"?subject={lab}&to=2020-01-01T00:00:00Z"),
                         [])
        self.assertEqual(
            len(self.log(f"?subject={lab}&from=2020-01-01T00:00:00Z")), 1)
        self.assertEqual(
            self.log(f"?subject={lab}&from=2099-01-01T00:00:00Z"), [])
        for query, pointer in (("patient=x", "/patient"),
                               ("subject=x", "/subject"), ("user=x", "/user"),
                               ("from=2026", "/from"), ("to=x", "/to"),
                               ("after=x", "/after")):
            answer = self.api("GET", "/v1/audit?" + query)
            self.assertEqual(self.pointers(answer), [pointer], query)

    def test_pages(self):
        for n in range(5):
            self.post("/v1/labs", name=f"lab {n}")
        seen, at = [], "/v1/audit?limit=2"
        while at:
            answer = self.api("GET", at, role="auditor")
            seen += [r["id"] for r in answer.body["items"]]
            link = answer.headers["Link"]
            at = link and link[1:link.index(">")]
        self.assertEqual(len(seen), 5)
        self.assertEqual(seen, sorted(set(seen), reverse=True))

    def test_roles_and_networks(self):
        self.post("/v1/labs", name="South bench")
        for role in ("desk", "prescriber", "lab", "device"):
            self.assertEqual(self.api("GET", "/v1/audit", role=role).status,
                             403)
        self.assertEqual(svc.api("GET", "/v1/audit").status, 401)
        other = svc.network()
        self.assertEqual(other.api("auditor", "GET", "/v1/audit")
                         .body["items"], [])
