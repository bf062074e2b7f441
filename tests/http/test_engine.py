"""What the service promises of every request, whatever it is about."""

import concurrent.futures
import gzip
import http.client
import json
import os
import re
import resource
import signal
import socket
import statistics
import subprocess
import tempfile
import threading
import time
import unittest
import uuid
import warnings

from lenstest import (Client, Service, alive, plain_build, repo, uuid7,
                      wait_until)

PASSWORD = "quiet lantern 7 boats"


def setUpModule():
    global svc
    warnings.simplefilter("ignore", ResourceWarning)
    svc = Service()


def tearDownModule():
    svc.close()


def reading(minute, **more):
    return {"kind": "autorefraction", "right": {"sphere": -1},
            "taken_at": f"2026-03-{minute // 1440 + 1:02d}T"
            f"{minute // 60 % 24:02d}:{minute % 60:02d}:00Z", **more}


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def api(self, method, path, body=None, role="desk", **headers):
        return self.net.api(role, method, path, body, headers)

    def post(self, path, body, role="desk", status=201, **headers):
        answer = self.net.api(role, "POST", path, body, headers)
        self.assertEqual(answer.status, status, answer.body)
        return answer

    def raw(self, method, path, **headers):
        """The answer with its bytes as they came."""
        connection = http.client.HTTPConnection("127.0.0.1", svc.port)
        connection.request(method, path, headers={
            "Authorization": f"Bearer {self.net.tokens['desk']}", **headers})
        answer = connection.getresponse()
        data = answer.read()
        connection.close()
        return answer, data

    def patient(self, **fields):
        return self.post("/v1/patients", fields or {"family": "Ode"}).body

    def claimed(self, n):
        """A patient with n readings."""
        who = self.patient(record_number="Q-1", family="Ode")
        self.post("/v1/readings", [
            reading(i, patient={"record_number": "Q-1"}) for i in range(n)],
            role="device")
        return who["id"]


class Methods(Case):
    def test_head_is_get_without_the_body(self):
        who = self.claimed(30)
        for path in ("/v1/me", "/healthz", f"/v1/patients/{who}",
                     f"/v1/patients/{who}/timeline", "/v1/nothing",
                     f"/v1/readings/{uuid7()}"):
            with self.subTest(path):
                got, data = self.raw("GET", path)
                head, nothing = self.raw("HEAD", path)
                self.assertEqual((head.status, nothing), (got.status, b""))
                self.assertEqual(head.headers["Content-Length"],
                                 str(len(data)))
                for name in ("ETag", "Content-Type", "Vary",
                             "Cache-Control"):
                    self.assertEqual(head.headers[name], got.headers[name])

    def test_options_and_405_name_what_works(self):
        who = self.patient()["id"]
        for path, methods in (
                ("/healthz", {"GET", "HEAD"}),
                ("/v1/patients", {"GET", "HEAD", "POST"}),
                (f"/v1/patients/{who}", {"GET", "HEAD", "PATCH"}),
                ("/v1/sessions", {"POST"}),
                ("/v1/sessions/current", {"DELETE"}),
                (f"/v1/readings/{who}/claim", {"POST", "DELETE"})):
            with self.subTest(path):
                answer = self.api("OPTIONS", path)
                self.assertEqual((answer.status, answer.body), (204, b""))
                allow = {m.strip() for m in
                         answer.headers["Allow"].split(",")}
                self.assertEqual(allow, methods | {"OPTIONS"})
                for method in ("PUT", "PATCH", "DELETE", "POST", "GET"):
                    if method in methods:
                        continue
                    answer = self.api(method, path, "{}")
                    self.assertEqual(answer.status, 405, method)
                    self.assertEqual(
                        {m.strip() for m in
                         answer.headers["Allow"].split(",")}, allow)

    def test_who_is_not_known_learns_nothing_of_what_there_is(self):
        for method, path in (("GET", "/v1/nothing"), ("PUT", "/v1/me"),
                             ("GET", f"/v1/patients/{uuid7()}"),
                             ("DELETE", "/v1/nothing")):
            self.assertEqual(svc.api(method, path).status, 401, path)
            self.assertIn(self.api(method, path).status, (404, 405), path)

    def test_every_route_knows_its_roles(self):
        # The table that the router reads, read again as text.
        text = (repo / "server/http/routes.def").read_text()
        routes = re.findall(
            r'ROUTE\("(\w+)",\s*"([^"]+)",\s*\w+,\s*([A-Z_|\s]+?),', text)
        self.assertGreater(len(routes), 40)
        groups = {
            "HTTP_STAFF": {"desk", "prescriber", "admin", "auditor"},
            "HTTP_ANYBODY": {"desk", "prescriber", "admin", "auditor", "lab",
                             "device"}, "HTTP_OPEN": None}
        self.net.add("desk", "leaver")
        for method, path, words in routes:
            roles = set()
            for word in re.split(r"\s*\|\s*", words.strip()):
                found = groups.get(word, {word[5:].lower()})
                roles = None if found is None else roles | found
            at = path.replace("{id}", uuid7()).replace("{word}", "none")
            if roles is None or path == "/v1/sessions/current":
                continue
            if path == "/v1/events":
                method = "HEAD"  # the answer to GET has no end
            with self.subTest(f"{method} {path}"):
                self.assertEqual(svc.api(method, at).status, 401)
                for role in self.net.users.keys() | {"device"}:
                    answer = self.net.api(role, method, at)
                    word = "desk" if role == "leaver" else role
                    if word in roles:
                        self.assertNotIn(answer.status, (401, 403, 405),
                                         answer.body)
                    else:
                        self.assertEqual(answer.status, 403, (role, at))


class Answers(Case):
    def test_an_unchanged_thing_is_not_sent_again(self):
        who = self.patient()["id"]
        path = f"/v1/patients/{who}"
        got = self.api("GET", path)
        tag = got.headers["ETag"]
        self.assertRegex(tag, r'^"1"$')
        for listed in (tag, f'"x", {tag}', f"W/{tag}", "*"):
            answer = self.api("GET", path, **{"If-None-Match": listed})
            self.assertEqual((answer.status, answer.body), (304, b""), listed)
            # RFC 9110, 15.4.5: what a 200 would have said of the tag, of
            # caching and of what the answer varies with.
            for name in ("ETag", "Vary", "Cache-Control"):
                self.assertEqual(answer.headers[name], got.headers[name])
        for listed in ('"2"', '"11"', "1", '"1-plus"'):
            answer = self.api("GET", path, **{"If-None-Match": listed})
            self.assertEqual(answer.status, 200, listed)
        changed = self.api("PATCH", path, {"given": "A"}, **{"If-Match": tag})
        self.assertEqual(changed.headers["ETag"], '"2"')
        answer = self.api("GET", path, **{"If-None-Match": tag})
        self.assertEqual(answer.status, 200)

    def test_gzip_is_given_where_it_is_asked_for_and_pays(self):
        who = self.claimed(30)
        path = f"/v1/patients/{who}/timeline"
        plain = self.api("GET", path)
        self.assertIsNone(plain.headers["Content-Encoding"])
        self.assertIn("Accept-Encoding", plain.headers["Vary"])
        for wish in ("gzip", "br, gzip;q=0.5", "*"):
            answer, data = self.raw("GET", path, **{"Accept-Encoding": wish})
            self.assertEqual(answer.headers["Content-Encoding"], "gzip")
            self.assertEqual(json.loads(gzip.decompress(data)), plain.body)
            self.assertLess(len(data), len(json.dumps(plain.body)) / 3)
        tag = answer.headers["ETag"]
        self.assertEqual(tag, plain.headers["ETag"][:-1] + '-gz"')
        again = self.api("GET", path, **{"Accept-Encoding": "gzip",
                                         "If-None-Match": tag})
        self.assertEqual((again.status, again.headers["ETag"]), (304, tag))
        for wish in ("gzip;q=0", "gzip; q=0.0", "identity", "br"):
            answer = self.api("GET", path, **{"Accept-Encoding": wish})
            self.assertIsNone(answer.headers["Content-Encoding"], wish)
        small = self.api("GET", "/v1/me", **{"Accept-Encoding": "gzip"})
        self.assertIsNone(small.headers["Content-Encoding"])
        # A change may name the tag of what was sent packed.
        tag = self.api("GET", f"/v1/patients/{who}").headers["ETag"]
        answer = self.api("PATCH", f"/v1/patients/{who}", {"given": "B"},
                          **{"If-Match": tag[:-1] + '-gz"'})
        self.assertEqual(answer.status, 200, answer.body)

    def test_each_request_has_an_id_that_its_problem_and_log_tell(self):
        seen = set()
        for path in ("/v1/me", "/v1/nothing", "/healthz"):
            answer = self.api("GET", path)
            number = answer.headers["X-Request-Id"]
            self.assertEqual(uuid.UUID(number).version, 7)
            seen.add(number)
            if answer.status != 200:
                self.assertEqual(answer.body["request"], number)
            wait_until("the log tells of it",
                       lambda: number in svc.log("lensclerkd"))
        self.assertEqual(len(seen), 3)

    def test_every_answer_keeps_itself_private(self):
        answer = self.api("GET", "/v1/me")
        self.assertEqual(answer.headers["Cache-Control"], "private, no-cache")
        self.assertEqual(answer.headers["X-Content-Type-Options"], "nosniff")
        self.assertEqual(answer.headers["Referrer-Policy"], "no-referrer")
        self.assertIn("Authorization", answer.headers["Vary"])

    def test_the_log_is_json_a_line_and_names_nobody(self):
        name, secret = "Zwetschkenbaum", "Quittenkern9"
        who = self.patient(family=name, record_number=secret)
        self.post("/v1/patients", {"family": name, "record_number": secret},
                  status=409)
        self.api("GET", f"/v1/patients?q={name}")
        self.api("GET", f"/v1/patients/{who['id']}?{secret}=1")
        self.api("GET", f"/v1/{secret}")
        self.post("/v1/readings", reading(1, patient={
            "record_number": secret, "family": name}), role="device")
        self.post("/v1/sessions", {"network": "nowhere", "user": name.lower(),
                                   "password": PASSWORD}, status=401)
        time.sleep(0.3)
        log = svc.log("lensclerkd")
        for line in log.splitlines():
            self.assertLessEqual({"at", "level", "event"},
                                 set(json.loads(line)))
        for word in (name, name.lower(), secret, PASSWORD,
                     self.net.tokens["desk"]):
            self.assertNotIn(word, log)


class Keys(Case):
    """Idempotency-Key of what isn't a reading."""

    def test_twins_at_once_make_one(self):
        for path, body in (
                ("/v1/patients", {"family": "Ode"}),
                ("/v1/visits", {"patient": self.patient()["id"]})):
            key = {"Idempotency-Key": str(uuid.uuid4())}
            barrier = threading.Barrier(16)

            def one(_):
                barrier.wait()
                answer = self.net.api("desk", "POST", path, body, key)
                svc.client.close()
                return answer

            with concurrent.futures.ThreadPoolExecutor(16) as pool:
                answers = list(pool.map(one, range(16)))
            self.assertEqual({a.status for a in answers}, {201}, path)
            self.assertEqual({json.dumps(a.body) for a in answers},
                             {json.dumps(answers[0].body)})
            self.assertEqual({a.headers["ETag"] for a in answers}, {'"1"'})

    def test_another_body_path_or_owner_is_another_request(self):
        key = {"Idempotency-Key": str(uuid.uuid4())}
        first = self.post("/v1/patients", {"family": "Ode"}, **key)
        again = self.post("/v1/patients", {"family": "Ode"}, **key)
        self.assertEqual(again.body, first.body)
        self.assertEqual(again.headers["Idempotency-Replayed"], "true")
        self.post("/v1/patients", {"family": "Ng"}, status=422, **key)
        self.post("/v1/visits", {"patient": first.body["id"]}, status=422,
                  **key)
        other = self.post("/v1/patients", {"family": "Ode"},
                          role="prescriber", **key)
        self.assertNotEqual(other.body["id"], first.body["id"])

    def test_a_refused_request_keeps_no_key(self):
        key = {"Idempotency-Key": str(uuid.uuid4())}
        self.post("/v1/patients", {"born": "x"}, status=422, **key)
        self.post("/v1/patients", {"family": "Ode"}, **key)


class Tenants(Case):
    def test_requests_of_two_networks_share_connections_and_nothing_else(self):
        # P-29: 24 clients at once, so that statements of both networks stand
        # in one pipeline of one connection, some refused among them.
        nets = [svc.network(), svc.network()]
        made = []
        for net in nets:
            who = net.api("desk", "POST", "/v1/patients", {
                "family": net.name, "record_number": "Q-1"}).body["id"]
            net.api("device", "POST", "/v1/readings", [
                reading(i, patient={"record_number": "Q-1"})
                for i in range(3)])
            made.append((who, {r["id"] for r in net.api(
                "desk", "GET", "/v1/readings").body["items"]}))
        barrier, odd = threading.Barrier(24), []

        def ask(i):
            net, (who, readings) = nets[i % 2], made[i % 2]
            foreign = made[1 - i % 2][0]
            barrier.wait()
            for k in range(30):
                got = net.api("desk", "GET", "/v1/readings")
                if {r["id"] for r in got.body["items"]} != readings:
                    odd.append(got)
                got = net.api("desk", "GET", f"/v1/patients/{who}")
                if got.body.get("family") != net.name:
                    odd.append(got)
                got = net.api("desk", "GET", f"/v1/patients/{foreign}")
                if got.status != 404:
                    odd.append(got)
                if k % 10 == i % 10:
                    got = net.api("desk", "PATCH", f"/v1/patients/{foreign}",
                                  {"given": "X"}, {"If-Match": "*"})
                    if got.status != 404:
                        odd.append(got)
            svc.client.close()

        with concurrent.futures.ThreadPoolExecutor(24) as pool:
            list(pool.map(ask, range(24)))
        self.assertEqual(odd, [])
        self.assertEqual(svc.psql("SELECT count(*) FROM patient"
                                  " WHERE given = 'X'"), [["0"]])


class SignIn(Case):
    def setUp(self):
        super().setUp()
        self.user = self.api("POST", "/v1/users", {
            "name": "ilse", "role": "desk", "password": PASSWORD,
            "clinic": self.net.clinic}, role="admin")
        self.assertEqual(self.user.status, 201, self.user.body)

    def sign_in(self, **change):
        body = {"network": self.net.name, "user": "ilse",
                "password": PASSWORD, **change}
        return svc.api("POST", "/v1/sessions", body)

    def cookie(self, answer):
        return answer.headers["Set-Cookie"].split(";")[0]

    def test_the_right_password_gives_a_token_and_a_cookie(self):
        answer = self.sign_in()
        self.assertEqual(answer.status, 201, answer.body)
        self.assertEqual(answer.headers["Cache-Control"], "no-store")
        set_cookie = answer.headers["Set-Cookie"]
        for word in ("HttpOnly", "SameSite=Strict", "Path=/"):
            self.assertIn(word, set_cookie)
        self.assertNotIn("Secure", set_cookie)  # no TLS in this test
        me = svc.api("GET", "/v1/me", token=answer.body["token"])
        self.assertEqual((me.status, me.body["user"], me.body["role"]),
                         (200, "ilse", "desk"))
        self.assertTrue(me.body["session"])
        by_cookie = svc.api("GET", "/v1/me",
                            headers={"Cookie": self.cookie(answer)})
        self.assertEqual(by_cookie.body, me.body)
        self.assertNotIn(answer.body["token"], svc.log("lensclerkd"))
        hashes = svc.psql("SELECT encode(token_hash, 'hex') FROM token WHERE"
                          f" network_id = '{self.net.id}'")
        self.assertNotIn([answer.body["token"]], hashes)

    def test_whatever_is_wrong_the_answer_is_the_same(self):
        other = svc.network()
        answers = [self.sign_in(**change) for change in (
            {"password": "another lantern 8"}, {"user": "nobody"},
            {"network": "nowhere"}, {"network": other.name},
            {"user": "desk"})]  # who has no password
        texts = {json.dumps({k: v for k, v in a.body.items()
                             if k != "request"}) for a in answers}
        self.assertEqual({a.status for a in answers}, {401})
        self.assertEqual(len(texts), 1, texts)
        self.assertTrue(all(a.headers["Set-Cookie"] is None
                            for a in answers))

    def test_an_unknown_name_costs_what_a_wrong_password_costs(self):
        def took(**change):
            times = []
            for _ in range(5):
                began = time.monotonic()
                self.assertEqual(self.sign_in(**change).status, 401)
                times.append(time.monotonic() - began)
            return statistics.median(times)

        self.sign_in(user="nobody")  # what is made once is made
        wrong = took(password="another lantern 8")
        unknown = took(user="nobody")
        # Argon2id is nearly all of it; without it an answer takes a
        # hundredth.  Wide, as the machine is shared.
        self.assertGreater(unknown, wrong / 4)
        self.assertLess(unknown, wrong * 4)

    def test_a_cookie_works_from_the_pages_own_origin_only(self):
        cookie = self.cookie(self.sign_in())
        host = f"127.0.0.1:{svc.port}"

        def post(**headers):
            return svc.api("POST", "/v1/patients", {"family": "Ode"},
                           headers={"Cookie": cookie, **headers})

        self.assertEqual(post(Origin=f"http://{host}").status, 201)
        for origin in (f"https://{host}", "http://evil.example", "null",
                       f"http://{host}.evil.example", f"http://x@{host}",
                       f"http://{host}/", "http://127.0.0.1:1"):
            answer = post(Origin=origin)
            self.assertEqual(answer.status, 403, origin)
        self.assertEqual(post().status, 403)  # no Origin at all
        self.assertEqual(len(svc.psql(
            "SELECT 1 FROM patient WHERE network_id ="
            f" '{self.net.id}'")), 1)
        # Reading is safe, and a bearer token is nothing a browser sends.
        self.assertEqual(svc.api("GET", "/v1/me", headers={
            "Cookie": cookie, "Origin": "http://evil.example"}).status, 200)
        answer = svc.api("POST", "/v1/patients", {"family": "Ode"},
                         token=self.net.tokens["desk"],
                         headers={"Origin": "http://evil.example"})
        self.assertEqual(answer.status, 201)

    def test_a_behind_proxy_origin_is_the_configured_one(self):
        with tempfile.TemporaryFile() as log:
            process, client = svc.another(
                log, {"LENSCLERK_SERVER_ORIGIN": "https://clerk.example"})
            cookie = self.cookie(self.sign_in())
            for origin, status in (
                    ("https://clerk.example", 201),
                    (f"http://127.0.0.1:{client.port}", 403)):
                answer = client.api("POST", "/v1/patients",
                                    {"family": "Ode"}, headers={
                                        "Cookie": cookie, "Origin": origin})
                self.assertEqual(answer.status, status, origin)
            client.close()
            process.terminate()
            self.assertEqual(process.wait(40), 0)

    def test_signed_out_is_out_at_once_and_for_good(self):
        answer = self.sign_in()
        token = answer.body["token"]
        out = svc.api("DELETE", "/v1/sessions/current", token=token)
        self.assertEqual(out.status, 204)
        self.assertIn("Max-Age=0", out.headers["Set-Cookie"])
        self.assertEqual(svc.api("GET", "/v1/me", token=token).status, 401)
        self.assertEqual(svc.api("GET", "/v1/me", headers={
            "Cookie": self.cookie(answer)}).status, 401)
        # The other tokens of the same user still work.
        self.assertEqual(svc.api(
            "GET", "/v1/me", token=self.sign_in().body["token"]).status, 200)

    def test_too_many_at_once_are_told_to_come_again(self):
        # Argon2id takes 64 MiB: one at a time, twenty wait, the others are
        # answered at once.
        barrier = threading.Barrier(60)

        def one(_):
            client = Client("127.0.0.1", svc.port, timeout=120)
            barrier.wait()
            answer = client.api("POST", "/v1/sessions", {
                "network": self.net.name, "user": "ilse",
                "password": "another lantern 8"})
            client.close()
            return answer

        with concurrent.futures.ThreadPoolExecutor(60) as pool:
            answers = list(pool.map(one, range(60)))
        counts = {s: [a.status for a in answers].count(s)
                  for s in {a.status for a in answers}}
        self.assertEqual(set(counts), {401, 503}, counts)
        # 20 that waited, one at work, and those that took their places.
        self.assertGreaterEqual(counts[401], 20)
        for answer in answers:
            if answer.status == 503:
                self.assertGreater(int(answer.headers["Retry-After"]), 0)
        # Meanwhile and after, others are served.
        self.assertEqual(self.api("GET", "/v1/me").status, 200)


class Tokens(Case):
    def gone(self, token, seconds):
        began = time.monotonic()
        wait_until("the token is refused",
                   lambda: svc.api("GET", "/v1/me",
                                   token=token).status == 401, 15)
        self.assertLess(time.monotonic() - began, seconds)

    def test_a_revoked_token_is_dead_within_two_seconds(self):
        token = self.net.tokens["desk"]
        self.assertEqual(svc.api("GET", "/v1/me", token=token).status, 200)
        svc.psql("UPDATE token SET revoked_at = now()"
                 f" WHERE network_id = '{self.net.id}' AND role = 'desk'")
        self.gone(token, 2.0)

    def test_the_other_daemon_hears_of_it_too(self):
        with tempfile.TemporaryFile() as log:
            process, client = svc.another(log)
            token = self.net.tokens["prescriber"]
            self.assertEqual(client.api("GET", "/v1/me",
                                        token=token).status, 200)
            listed = self.api("GET", "/v1/tokens", role="admin").body["items"]
            mine = next(t for t in listed if t["role"] == "prescriber")
            answer = self.api("DELETE", f"/v1/tokens/{mine['id']}",
                              role="admin")
            self.assertIn(answer.status, (200, 204), answer.body)
            began = time.monotonic()
            wait_until("the other daemon refuses it", lambda: client.api(
                "GET", "/v1/me", token=token).status == 401, 15)
            self.assertLess(time.monotonic() - began, 2.0)
            client.close()
            process.terminate()
            self.assertEqual(process.wait(40), 0)

    def test_an_expired_token_is_dead_though_it_was_seen(self):
        token = self.net.tokens["auditor"]
        svc.psql("UPDATE token SET expires_at = now() + interval '2 s'"
                 f" WHERE network_id = '{self.net.id}' AND role = 'auditor'")
        self.assertEqual(svc.api("GET", "/v1/me", token=token).status, 200)
        self.gone(token, 4.0)


class Health(Case):
    def test_alive_and_ready_are_open_to_anybody(self):
        self.assertEqual(svc.api("GET", "/healthz").body,
                         {"status": "alive"})
        ready = svc.api("GET", "/readyz")
        self.assertEqual((ready.status, ready.body["status"]),
                         (200, "ready"))

    def test_metrics_are_prometheus_text(self):
        # The text format 0.0.4: HELP and TYPE before the samples of each
        # name, a sample a line.
        before = self.samples()
        self.api("GET", "/v1/me")
        self.post("/v1/readings", reading(1), role="device")
        self.api("GET", "/v1/nothing")
        after = self.samples()
        for name, more in (
                ('lensclerk_requests_total{status="2xx"}', 2),
                ('lensclerk_requests_total{status="4xx"}', 1),
                ("lensclerk_readings_stored_total", 1)):
            self.assertGreaterEqual(after[name] - before[name], more, name)
        self.assertEqual(after["lensclerk_database_up"], 1)
        self.assertGreater(after["lensclerk_connections"], 0)

    def samples(self):
        answer = svc.metrics()
        self.assertEqual(answer.status, 200)
        self.assertTrue(answer.headers["Content-Type"].startswith(
            "text/plain; version=0.0.4"))
        text = answer.body.decode()
        self.assertTrue(text.endswith("\n"))
        kinds, found = {}, {}
        for line in text.splitlines():
            if line.startswith("# TYPE "):
                _, _, name, kind = line.split(" ")
                self.assertIn(kind, ("counter", "gauge", "histogram"))
                kinds[name] = kind
            elif line.startswith("#"):
                self.assertRegex(line, r"^# HELP [a-z_]+ \S")
            else:
                match = re.fullmatch(
                    r'([a-zA-Z_:][a-zA-Z0-9_:]*)(\{[a-z]+="[^"]*"\})?'
                    r" ([0-9.e+-]+)", line)
                self.assertTrue(match, line)
                self.assertIn(match[1], kinds)
                if kinds[match[1]] == "counter":
                    self.assertTrue(match[1].endswith("_total"))
                found[match[1] + (match[2] or "")] = float(match[3])
        return found

    def test_metrics_are_on_a_port_of_their_own(self):
        self.assertIn(svc.api("GET", "/metrics").status, (401, 404))
        self.assertEqual(
            Client("127.0.0.1", svc.port + 1).api("GET", "/v1/me").status,
            404)


class Views(Case):
    def rows(self, who, action="viewed"):
        return svc.psql(
            "SELECT user_id, subject_kind, detail FROM audit WHERE"
            f" patient_id = '{who}' AND action = '{action}'"
            " ORDER BY audit_id")

    def test_the_first_view_is_in_the_log_before_its_answer(self):
        for path in ("", "/timeline", "/habitual"):
            who = self.patient()["id"]
            self.api("GET", f"/v1/patients/{who}{path}")
            self.assertEqual([r[0] for r in self.rows(who)],
                             [self.net.users["desk"]], path)
            # Again, by the same user: counted, and written later.
            for _ in range(5):
                self.api("GET", f"/v1/patients/{who}")
            self.assertEqual(len(self.rows(who)), 1)
            # Another user is another reader.
            self.api("GET", f"/v1/patients/{who}", role="auditor")
            self.assertEqual(len(self.rows(who)), 2)

    def test_a_reading_and_its_original_are_views_too(self):
        for tail in ("", "/original"):
            who = self.claimed_one()
            self.api("GET", f"/v1/readings/{who[1]}{tail}")
            self.assertEqual(len(self.rows(who[0])), 1, tail)

    def claimed_one(self):
        number = uuid.uuid4().hex
        who = self.patient(family="Ode", record_number=number)["id"]
        made = self.post("/v1/readings", reading(
            1, patient={"record_number": number}), role="device")
        return who, made.body["id"]

    def test_a_list_of_readings_shows_whose_they_are_and_says_so(self):
        seen = [self.claimed_one()[0] for _ in range(5)]
        self.api("GET", "/v1/readings?limit=3")
        self.assertEqual([len(self.rows(who)) for who in seen],
                         [0, 0, 1, 1, 1])

    def test_what_is_not_shown_is_no_view(self):
        who = self.patient()["id"]
        other = svc.network()
        self.assertEqual(other.api("desk", "GET",
                                   f"/v1/patients/{who}").status, 404)
        self.api("GET", f"/v1/patients/{who}", role="lab")
        self.api("GET", f"/v1/patients/{who}/timeline?limit=0")
        self.assertEqual(self.rows(who), [])

    def test_counted_views_are_written_when_the_service_stops(self):
        who = self.patient()["id"]
        with tempfile.TemporaryFile() as log:
            process, client = svc.another(log)
            for _ in range(7):
                answer = client.api("GET", f"/v1/patients/{who}",
                                    token=self.net.tokens["desk"])
                self.assertEqual(answer.status, 200)
            self.assertEqual(self.rows(who, "viewed-again"), [])
            client.close()
            process.terminate()
            self.assertEqual(process.wait(40), 0)
        (user, kind, detail), = self.rows(who, "viewed-again")
        self.assertEqual((user, kind), (self.net.users["desk"], "patient"))
        self.assertEqual(json.loads(detail), {"views": 6})


class DatabaseGone(unittest.TestCase):
    """On a service of its own, as others would be cut off too."""

    @classmethod
    def setUpClass(cls):
        cls.svc = Service()
        cls.net = cls.svc.network()

    @classmethod
    def tearDownClass(cls):
        cls.svc.close()

    def test_it_answers_503_meanwhile_and_recovers_by_itself(self):
        who = self.net.api("desk", "POST", "/v1/patients",
                           {"family": "Ode"}).body["id"]
        daemon = self.svc.pid("lensclerkd")
        supervisor = self.svc.pid("supervisor")
        os.kill(supervisor, signal.SIGSTOP)  # who would restart it
        try:
            database = self.svc.kill("postgres", signal.SIGINT)
            wait_until("PostgreSQL has ended", lambda: not alive(database))
            self.assertEqual(self.svc.api("GET", "/healthz").status, 200)
            wait_until("it isn't ready", lambda: self.svc.api(
                "GET", "/readyz").status == 503)
            began = time.monotonic()
            for method, path, body in (
                    ("GET", f"/v1/patients/{who}", None),
                    ("POST", "/v1/patients", {"family": "Ng"}),
                    ("POST", "/v1/readings", reading(1))):
                answer = self.net.api("desk", method, path, body)
                self.assertEqual(answer.status, 503, answer.body)
                self.assertGreater(int(answer.headers["Retry-After"]), 0)
                self.assertIn("nothing was stored", answer.body["detail"])
            # Each is given up after some seconds and none hangs for ever.
            self.assertLess(time.monotonic() - began, 45)
            self.assertEqual(
                Client("127.0.0.1", self.svc.port + 1).api(
                    "GET", "/metrics").status, 200)
        finally:
            os.kill(supervisor, signal.SIGCONT)
        self.svc.wait_ready(30)
        answer = self.net.api("desk", "GET", f"/v1/patients/{who}")
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(self.svc.pid("lensclerkd"), daemon)
        self.assertEqual(self.svc.psql(
            "SELECT (SELECT count(*) FROM patient WHERE network_id ="
            f" '{self.net.id}'), (SELECT count(*) FROM reading WHERE"
            f" network_id = '{self.net.id}')"), [["1", "0"]])

    def test_a_daemon_stops_though_the_database_hangs(self):
        with tempfile.TemporaryFile() as log:
            process, client = self.svc.another(log)
            self.assertEqual(client.api(
                "GET", "/v1/me", token=self.net.tokens["desk"]).status, 200)
            stopped = [int(row[0]) for row in self.svc.psql(
                "SELECT pid FROM pg_stat_activity"
                " WHERE usename = 'lensclerkd'")]
            for pid in stopped:
                os.kill(pid, signal.SIGSTOP)
            try:
                answers = []

                def ask():
                    one = Client("127.0.0.1", client.port, timeout=60)
                    try:
                        answers.append(one.api(
                            "POST", "/v1/readings", reading(77),
                            token=self.net.tokens["device"]).status)
                    except (OSError, http.client.HTTPException) as fault:
                        answers.append(fault)

                thread = threading.Thread(target=ask)
                thread.start()
                time.sleep(0.5)
                process.terminate()
                # What waits is told so; nothing is torn down under it.
                self.assertEqual(process.wait(45), 0)
                thread.join()
                self.assertEqual(answers, [503])
            finally:
                for pid in stopped:
                    os.kill(pid, signal.SIGCONT)
            client.close()
            log.seek(0)
            self.assertNotIn(b"Sanitizer", log.read())
        self.svc.wait_ready(30)


class Stopping(Case):
    def test_what_was_accepted_is_answered_and_durable(self):
        with tempfile.TemporaryFile() as log:
            process, client = svc.another(log)
            stored, bad, lost = {}, [], []
            stop, numbers = threading.Event(), iter(range(10 ** 6))
            lock = threading.Lock()

            def write():
                one = Client("127.0.0.1", client.port)
                while not stop.is_set():
                    with lock:
                        number = next(numbers)
                    try:
                        answer = one.api(
                            "POST", "/v1/readings", reading(number),
                            token=self.net.tokens["device"])
                    except ConnectionRefusedError:
                        return
                    except (OSError, http.client.HTTPException) as fault:
                        lost.append(repr(fault))
                        return
                    if answer.status == 201:
                        stored[number] = answer.body["id"]
                    else:
                        bad.append((answer.status, answer.body))
                    if answer.headers["Connection"] == "close":
                        one.close()

            threads = [threading.Thread(target=write) for _ in range(12)]
            for thread in threads:
                thread.start()
            wait_until("the load runs", lambda: len(stored) > 200, 60)
            began = time.monotonic()
            process.terminate()
            self.assertEqual(process.wait(40), 0)
            self.assertLess(time.monotonic() - began, 30)
            stop.set()
            for thread in threads:
                thread.join()
            self.assertEqual(bad, [])
            kept = {row[0] for row in svc.psql(
                "SELECT reading_id FROM reading WHERE network_id ="
                f" '{self.net.id}'")}
            self.assertLessEqual(set(stored.values()), kept)
            # Whoever got no answer sent it when the door was shut already:
            # what was stored was answered.
            self.assertEqual(len(kept), len(stored), lost)
            log.seek(0)
            text = log.read().decode()
            self.assertIn('"event":"stopped"', text)
            self.assertNotIn("Sanitizer", text)
            client.close()

    def test_a_request_at_work_is_answered_before_the_end(self):
        made = self.api("POST", "/v1/users", {
            "name": "ilse", "role": "desk", "password": PASSWORD,
            "clinic": self.net.clinic}, role="admin")
        self.assertEqual(made.status, 201, made.body)
        with tempfile.TemporaryFile() as log:
            process, client = svc.another(log)
            answers = []

            def sign_in():
                one = Client("127.0.0.1", client.port, timeout=60)
                answers.append(one.api("POST", "/v1/sessions", {
                    "network": self.net.name, "user": "ilse",
                    "password": PASSWORD}))

            threads = [threading.Thread(target=sign_in) for _ in range(5)]
            for thread in threads:
                thread.start()
            # All five are in: a sign-in takes a tenth of a second and they
            # take turns.
            wait_until("they are at work", lambda: Client(
                "127.0.0.1", client.port + 1).api("GET", "/metrics")
                .body.count(b"\nlensclerk_requests_active 5\n"))
            process.terminate()
            for thread in threads:
                thread.join()
            self.assertEqual(process.wait(40), 0)
            self.assertEqual([a.status for a in answers], [201] * 5)
            self.assertEqual({a.headers["Connection"] for a in answers},
                             {"close"})
            client.close()


class Locale(Case):
    """P-27: a locale that writes 2,5 changes nothing."""

    def test_a_decimal_comma_of_the_locale_reaches_no_number(self):
        with tempfile.TemporaryDirectory(prefix="lenstest-") as folder, \
                tempfile.TemporaryFile() as log:
            os.chmod(folder, 0o755)
            subprocess.run(
                ["localedef", "--no-archive", "-i", "de_DE", "-f", "UTF-8",
                 f"{folder}/de_DE.UTF-8"], check=True,
                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            there = dict(os.environ, LC_ALL="de_DE.UTF-8", LOCPATH=folder)
            # It is a locale with a comma, and programs take it.
            self.assertEqual(subprocess.run(
                ["python3", "-c", "import locale; locale.setlocale("
                 "locale.LC_ALL, ''); print(locale.format_string('%.2f',"
                 " -2.5))"], env=there, text=True, check=True,
                stdout=subprocess.PIPE).stdout.strip(), "-2,50")
            # The C library itself never frees the LOCPATH that it cut.
            process, client = svc.another(
                log, {"LC_ALL": "de_DE.UTF-8", "LOCPATH": folder,
                      "LANG": "de_DE.UTF-8",
                      "ASAN_OPTIONS": "detect_leaks=0"})
            self.all_numbers(client)
            client.close()
            process.terminate()
            code = process.wait(40)
            log.seek(0)
            self.assertEqual(code, 0, log.read().decode()[-3000:])

    def all_numbers(self, client):
        def ask(role, method, path, body=None, status=200, **headers):
            answer = client.api(method, path, body,
                                token=self.net.tokens[role], headers=headers)
            self.assertEqual(answer.status, status, answer.body)
            return answer

        who = ask("desk", "POST", "/v1/patients", {
            "family": "Ode", "record_number": "Q-1"}, 201).body["id"]
        eye = {"sphere": -2.50, "cylinder": -0.75, "axis": 172.5}
        made = ask("device", "POST", "/v1/readings", {
            **reading(1), "right": eye, "vertex_mm": 12.5,
            "patient": {"record_number": "Q-1"}}, 201).body
        self.assertEqual(made["right"]["sphere"], -2.5)
        self.assertEqual(made["right"]["axis"], 172.5)
        self.assertEqual(made["vertex_mm"], 12.5)
        self.assertEqual(svc.psql(
            "SELECT sph_cd, axis_cdeg, round(m::numeric, 3) FROM reading_eye"
            f" WHERE reading_id = '{made['id']}'"),
            [["-250", "17250", "-2.875"]])
        ask("device", "POST", "/v1/readings", {
            **reading(2), "right": {"sphere": -2.25},
            "patient": {"record_number": "Q-1"}}, 201)
        items = ask("desk", "GET", f"/v1/patients/{who}/timeline").body
        self.assertEqual(items["items"][0]["delta"]["right"]["power_vector"]
                         ["m"], 0.625)
        moved = ask("desk", "POST", "/v1/optics/vertex", {
            "sphere": -10.5, "cylinder": 0, "axis": 0, "from_mm": 12.5,
            "to_mm": 0}).body
        # F' = F / (1 + d F) with d in metres toward the eye: -10.5 / 1.13125
        self.assertAlmostEqual(moved["sphere"], -10.5 / 1.13125, places=6)
        self.order(ask, who)

    def order(self, ask, who):
        visit = ask("desk", "POST", "/v1/visits", {"patient": who},
                    201).body["id"]
        exam = ask("prescriber", "POST", "/v1/exams", {"visit": visit}, 201)
        path = f"/v1/exams/{exam.body['id']}"
        eye = {"sphere": -2.50, "cylinder": -0.75, "axis": 172}
        final = ask("prescriber", "PATCH", path, {"final": {
            "right": eye, "left": eye, "vertex_mm": 12.5,
            "pd_mm": {"right": 31.5, "left": 32}}},
            **{"If-Match": exam.headers["ETag"]})
        ask("prescriber", "POST", f"{path}/sign", {},
            **{"If-Match": final.headers["ETag"]})
        order = ask("desk", "POST", "/v1/orders", {
            "exam": exam.body["id"], "lab": self.net.lab,
            "lens": {"design": "single-vision", "material": "resin",
                     "index": 1.498},
            "frame": {"a_mm": 52.5, "b_mm": 34, "dbl_mm": 18,
                      "ed_mm": 55}}, 201).body["id"]
        page = ask("desk", "GET", f"/v1/orders/{order}.html").body.decode()
        # The print writes a minus sign (U+2212) or a hyphen, and a point.
        self.assertRegex(page, "[-\u2212]2\\.50")
        self.assertRegex(page, "52\\.5")
        self.assertNotRegex(page, r"\d,\d")
        pdf = ask("desk", "GET", f"/v1/orders/{order}.pdf").body
        with tempfile.NamedTemporaryFile(suffix=".pdf") as file:
            file.write(pdf)
            file.flush()
            text = subprocess.run(["pdftotext", "-layout", file.name, "-"],
                                  check=True, text=True,
                                  stdout=subprocess.PIPE).stdout
        self.assertRegex(text, "[-\u2212]2\\.50")
        self.assertNotRegex(text, r"\d,\d")
        fhir = ask("desk", "GET", f"/v1/orders/{order}/fhir").body
        self.assertEqual(fhir["lensSpecification"][0]["sphere"], -2.5)


class Weight(unittest.TestCase):
    """What it costs to wait, measured in a build without sanitizers."""

    @classmethod
    def setUpClass(cls):
        cls.svc = Service(build=plain_build())
        cls.net = cls.svc.network()
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))

    @classmethod
    def tearDownClass(cls):
        cls.svc.close()

    def resident_mb(self):
        pid = self.svc.pid("lensclerkd")
        with open(f"/proc/{pid}/status", encoding="ascii") as status:
            for line in status:
                if line.startswith("VmRSS:"):
                    return int(line.split()[1]) / 1024
        return None

    def test_idle_memory_is_under_forty_megabytes(self):
        self.assertLess(self.resident_mb(), 40)
        # And again after it has worked: signing in takes 64 MiB, a timeline
        # and a print some.
        for i in range(300):
            self.net.api("device", "POST", "/v1/readings", reading(i))
        for _ in range(100):
            self.net.api("desk", "GET", "/v1/readings?limit=300")
        self.svc.api("POST", "/v1/sessions", {
            "network": "nowhere", "user": "nobody",
            "password": "quiet lantern 7"})
        self.assertLess(self.resident_mb(), 40)

    def test_two_thousand_idle_connections_hold_nobody_up(self):
        # A test of function: work that grows with the connections that are
        # merely open (a scan of them all in each turn) shows here as tens of
        # milliseconds, however fast the machine.  The best of several, as the
        # machine is shared.
        head = ("GET /v1/me HTTP/1.1\r\nHost: localhost\r\nAuthorization:"
                f" Bearer {self.net.tokens['desk']}\r\n\r\n").encode()
        idle = []
        try:
            for _ in range(2000):
                s = socket.create_connection(("127.0.0.1", self.svc.port))
                s.settimeout(20)
                s.sendall(head)
                idle.append(s)
                if len(idle) % 100 == 0:
                    for one in idle[-100:]:
                        got = b""
                        while b'"role":"desk"' not in got:
                            part = one.recv(65536)
                            self.assertTrue(part, got)
                            got += part
            took = []
            for i in range(20):
                began = time.monotonic()
                answer = self.net.api("desk", "GET", "/v1/me")
                took.append(time.monotonic() - began)
                self.assertEqual(answer.status, 200)
                answer = self.net.api("device", "POST", "/v1/readings",
                                      reading(10000 + i))
                self.assertEqual(answer.status, 201)
            self.assertLess(min(took), 0.050)
            open_now = float(re.search(
                rb"lensclerk_connections (\d+)",
                self.svc.metrics().body)[1])
            self.assertGreaterEqual(open_now, 2000)
            # They are still good for a request.
            for one in idle[::400]:
                one.sendall(head)
                self.assertTrue(one.recv(65536).startswith(b"HTTP/1.1 200"))
        finally:
            for one in idle:
                one.close()


if __name__ == "__main__":
    unittest.main()
