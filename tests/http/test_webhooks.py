"""Webhooks: who is told, signed how, again when, and what is dead."""

import time
import unittest

from lenstest import Service, uuid7
from lenstest.receiver import Receiver
from lenstest.service import wait_until
from order_case import OrderCase


def setUpModule():
    OrderCase.svc = Service(settings={"webhooks_retry_s": 1,
                                      "webhooks_attempts": 3})


def tearDownModule():
    OrderCase.svc.close()


class Webhooks(OrderCase):
    def setUp(self):
        super().setUp()
        self.receiver = Receiver()
        self.addCleanup(self.receiver.close)

    def hook(self, path="/told", url=None, net=None, **more):
        answer = (net or self.net).api(
            "admin", "POST", "/v1/webhooks",
            {"url": url or self.receiver.url + path, **more})
        self.assertEqual(answer.status, 201, answer.body)
        self.receiver.secrets[answer.body["id"]] = answer.body["secret"]
        return answer.body["id"]

    def told(self, n, path="/told", seconds=15):
        wait_until(f"{n} messages", lambda: len(
            self.receiver.taken(path)) >= n, seconds)
        self.assertEqual(self.receiver.wrong, [])
        return self.receiver.taken(path)

    def deliveries(self, hook, query=""):
        answer = self.net.api("admin", "GET",
                              f"/v1/webhooks/{hook}/deliveries{query}")
        self.assertEqual(answer.status, 200, answer.body)
        return answer.body["items"]

    def replay(self, hook, body, role="admin"):
        return self.net.api(role, "POST", f"/v1/webhooks/{hook}/replay", body)

    def test_each_event_of_an_order_is_told_signed_and_in_order(self):
        hook = self.hook()
        order = self.place()
        for status in ("received", "accepted", "in-progress"):
            self.move(order["id"], "lab", status)
        told = self.told(4)
        self.assertEqual([m["kind"] for m in told],
                         ["order-placed"] + ["order-moved"] * 3)
        self.assertEqual([m["order"]["version"] for m in told], [1, 2, 3, 4])
        self.assertEqual(told[1]["order"], {
            "order": order["id"], "number": order["number"], "edition": 1,
            "version": 2, "status": "received", "stage": None})
        self.assertEqual(set(told[0]), {"id", "at", "kind", "order"})
        for secret in (self.patient, "Okonjo", "Q-10442"):
            self.assertNotIn(secret, str(told))
        items = wait_until("all told", lambda: [
            d for d in self.deliveries(hook, "?state=delivered")][3:]
            and self.deliveries(hook, "?state=delivered"))
        self.assertEqual([d["event"] for d in items],
                         [m["id"] for m in told][::-1])
        self.assertEqual({(d["attempts"], d["answered"]) for d in items},
                         {(1, 204)})

    def test_kinds_labs_and_networks_are_told_apart(self):
        second, exam = self.second_lab(), self.signed()
        self.hook("/moved", kinds=["order-moved"])
        self.hook("/second", lab=second)
        self.hook("/other", net=self.svc.network())
        self.hook("/all")
        ours = self.place(self.body(exam))["id"]
        theirs = self.place(self.body(exam, lab=second))["id"]
        draft = self.place(self.body(exam, draft=True))["id"]
        self.move(ours, "lab", "received")
        self.told(4, "/all")
        self.assertEqual([m["order"]["order"] for m in self.told(1, "/moved")],
                         [ours])
        self.assertEqual([m["order"]["order"]
                          for m in self.told(1, "/second")], [theirs])
        self.assertIn(draft, [m["order"]["order"]
                              for m in self.told(4, "/all")])
        self.assertEqual(self.receiver.taken("/other"), [])

    def test_a_refused_message_holds_back_what_follows_and_comes_again(self):
        refusals = iter([500, 302])
        self.receiver.answer = lambda path, message: next(refusals, 200)
        hook = self.hook()
        order = self.place()["id"]
        self.move(order, "lab", "received")
        told = self.told(2)
        self.assertEqual([m["order"]["version"] for m in told], [1, 2])
        tried = [(s, m["order"]["version"])
                 for _, s, m in self.receiver.told]
        self.assertEqual(tried, [(500, 1), (302, 1), (200, 1), (200, 2)])
        self.assertEqual([m for p, _, m in self.receiver.told
                          if p == "/elsewhere"], [])
        items = wait_until("both told", lambda: [
            d["attempts"] for d in self.deliveries(hook, "?state=delivered")]
            == [1, 3])
        self.assertTrue(items)

    def test_what_is_dead_is_seen_and_told_again(self):
        self.receiver.answer = lambda path, message: \
            410 if message["kind"] == "order-placed" else 200
        hook = self.hook()
        order = self.place()["id"]
        dead = wait_until("it is dead", lambda: self.deliveries(
            hook, "?state=dead"), 20)
        self.assertEqual((dead[0]["attempts"], dead[0]["answered"],
                          dead[0]["order"]), (3, 410, order))
        self.move(order, "lab", "received")
        self.told(1)
        self.receiver.answer = lambda path, message: 200
        self.assertEqual(self.replay(hook, {"dead": True}).body,
                         {"deliveries": 1})
        self.assertEqual([m["kind"] for m in self.told(2)],
                         ["order-moved", "order-placed"])
        wait_until("both are told", lambda: len(
            self.deliveries(hook, "?state=delivered")) == 2)
        since = self.receiver.taken()[1]["id"]
        self.assertEqual(self.replay(hook, {"since": since}).body,
                         {"deliveries": 2})
        again = self.told(4)
        self.assertEqual([m["id"] for m in again[2:]],
                         [again[1]["id"], again[0]["id"]])

    def test_an_address_that_is_not_there_is_said(self):
        gone = Receiver()
        gone.close()
        hook = self.hook(url=gone.url + "/told")
        self.place()
        waits = wait_until("an attempt", lambda: [
            d for d in self.deliveries(hook) if "trouble" in d])
        self.assertNotIn("answered", waits[0])
        self.assertIn(waits[0]["state"], ("waiting", "dead"))

    def test_what_is_closed_is_told_nothing_more(self):
        self.receiver.answer = lambda path, message: 503
        hook = self.hook()
        self.place()
        wait_until("an attempt", lambda: self.receiver.told)
        answer = self.net.api("admin", "PATCH", f"/v1/webhooks/{hook}",
                              {"closed": True}, {"If-Match": '"1"'})
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual([d["state"] for d in self.deliveries(hook)],
                         ["dead"])
        self.place()
        time.sleep(1.5)
        self.assertEqual(len(self.deliveries(hook)), 1)
        self.problem(self.replay(hook, {"dead": True}), 409, "/closed")

    def test_a_backlog_is_posted_some_at_a_time(self):
        # 64 at once, whatever waits: CLAIM_MOST of server/http/deliver.c.
        begun = []

        def answer(path, message):
            if not begun:
                begun.append(self.svc.psql(
                    "SELECT count(*) FROM webhook_delivery WHERE attempts > 0"
                    f" AND webhook_id = '{hook}'"))
            return 200
        self.receiver.answer = answer
        hook = self.hook("/many")
        self.svc.psql(
            "INSERT INTO outbox (network_id, event_id, kind, subject_id, body)"
            f" SELECT '{self.net.id}', gen_random_uuid(), 'order-moved',"
            " gen_random_uuid(), '{}' FROM generate_series(1, 600)")
        self.told(600, "/many", 60)
        self.assertEqual(begun[0], [["64"]])
        wait_until("all are told", lambda: self.svc.psql(
            "SELECT count(*) FROM webhook_delivery WHERE state = 'delivered'"
            f" AND webhook_id = '{hook}'") == [["600"]], 60)

    def test_a_slow_address_holds_nobody_up(self):
        def answer(path, message):
            if path == "/slow":
                time.sleep(3)
            return 200
        self.receiver.answer = answer
        self.hook("/slow")
        self.place()
        begun = time.monotonic()
        for _ in range(20):
            self.assertEqual(self.svc.api("GET", "/readyz").status, 200)
        self.assertLess(time.monotonic() - begun, 2)
        self.told(1, "/slow")

    def test_every_way_it_is_refused(self):
        for body, pointer in (
                ({}, "/url"), ({"url": "ftp://a.example/"}, "/url"),
                ({"url": "http://a.example/"}, "/url"),
                ({"url": "http://127.a.example/"}, "/url"),
                ({"url": "https://me:pw@a.example/"}, "/url"),
                ({"url": "not one"}, "/url"), ({"url": 1}, "/url"),
                ({"url": "https://a.example/", "kinds": ["x"]}, "/kinds/0"),
                ({"url": "https://a.example/", "kinds": "x"}, "/kinds"),
                ({"url": "https://a.example/", "closed": True}, "/closed"),
                ({"url": "https://a.example/", "lab": uuid7()}, "/lab"),
                ({"url": "https://a.example/", "secret": "s"}, "/secret")):
            answer = self.net.api("admin", "POST", "/v1/webhooks", body)
            self.problem(answer, 422, pointer)
        hook = self.hook(url="https://a.example/")
        path = f"/v1/webhooks/{hook}"
        other = self.svc.network()
        for role in ("desk", "prescriber", "lab", "auditor", "device"):
            for method, to, body in (
                    ("GET", "/v1/webhooks", None), ("GET", path, None),
                    ("POST", "/v1/webhooks", {"url": "https://a.example/"}),
                    ("GET", path + "/deliveries", None),
                    ("POST", path + "/replay", {"dead": True})):
                self.problem(self.net.api(role, method, to, body), 403)
        self.problem(other.api("admin", "GET", path), 404)
        self.problem(other.api("admin", "GET", path + "/deliveries"), 404)
        self.problem(other.api("admin", "POST", path + "/replay",
                               {"dead": True}), 404)
        self.problem(other.api("admin", "PATCH", path, {"kinds": []},
                               {"If-Match": "*"}), 404)
        self.assertEqual(other.api("admin", "GET", "/v1/webhooks").body,
                         {"items": [], "next": None})
        for body, pointer in (({}, ""), ({"dead": "x"}, "/dead"),
                              ({"since": "x"}, "/since")):
            self.problem(self.replay(hook, body), 422, pointer)
        seen = self.net.api("admin", "GET", path)
        self.assertEqual(seen.headers["ETag"], '"1"')
        self.assertNotIn("secret", seen.body)
        self.problem(self.net.api("admin", "PATCH", path, {"kinds": []},
                                  {"If-Match": '"7"'}), 412)
        self.problem(self.net.api("admin", "PATCH", path, {"kinds": []}), 428)


if __name__ == "__main__":
    unittest.main()
