"""Orders through all their states while the daemon and the receiver of their
messages are killed: every message is told at least once, in order for each
order, and no unlawful move is ever taken.

LENSTEST_ORDERS=10000 for a long run."""

import http.client
import os
import random
import threading
import time
import unittest

from lenstest import Service
from lenstest.receiver import Receiver
from lenstest.service import wait_until
from order_case import OrderCase

ORDERS = int(os.environ.get("LENSTEST_ORDERS", "60"))
CLERKS = 4
WALK = (("lab", "received", None), ("lab", "on-hold", None),
        ("lab", "accepted", None), ("lab", "in-progress", "cut"),
        ("lab", "in-progress", "checked"), ("lab", "completed", "sent"),
        ("desk", "completed", "arrived"), ("desk", "completed", "handed over"))
ENDS = (("lab", "rejected", None), ("desk", "cancelled", None))
# Moves that no status allows.
UNLAWFUL = (("lab", "requested", None), ("desk", "draft", None),
            ("desk", "completed", None), ("lab", "cancelled", None))


def setUpModule():
    OrderCase.svc = Service(settings={"webhooks_retry_s": 1,
                                      "webhooks_attempts": 1000})


def tearDownModule():
    OrderCase.svc.close()


class Clerks:
    """Who place orders and move them, again and again until it is known."""

    def __init__(self, case, exam):
        self.case, self.exam, self.net = case, exam, case.net
        self.numbers = iter(range(ORDERS))
        self.lock, self.unexpected = threading.Lock(), []
        self.moves = self.lost = 0
        self.threads = [threading.Thread(target=self.work)
                        for _ in range(CLERKS)]

    def call(self, *request, **headers):
        """An answer, or None when it was lost."""
        try:
            answer = self.net.api(*request, headers={
                n.replace("_", "-"): v for n, v in headers.items()})
        except (OSError, http.client.HTTPException):
            self.lost += 1
            time.sleep(0.05)
            return None
        return None if answer.status == 503 else answer

    def sure(self, *request, **headers):
        until = time.monotonic() + 60
        while time.monotonic() < until:
            answer = self.call(*request, **headers)
            if answer:
                return answer
        raise TimeoutError(f"no answer within a minute: {request}")

    def move(self, order, role, status, stage):
        """Moves it, also when it isn't known if it moved already."""
        body = {"status": status, **({"stage": stage} if stage else {})}
        path = f"/v1/orders/{order}"
        while True:
            now = self.sure(role, "GET", path).body
            if (now["status"], now["stage"] if stage else None) == \
                    (status, stage):
                return
            answer = self.call(role, "POST", path + "/status", body,
                               If_Match=f'"{now["version"]}"')
            if answer and answer.status != 412:
                if answer.status != 200:
                    self.unexpected.append((answer.status, answer.body))
                return

    def try_unlawful(self, order):
        role, status, _ = random.choice(UNLAWFUL)
        answer = self.call(role, "POST", f"/v1/orders/{order}/status",
                           {"status": status}, If_Match="*")
        if answer and answer.status not in (403, 409):
            self.unexpected.append((status, answer.status, answer.body))

    def one(self, number):
        placed = self.sure(
            "desk", "POST", "/v1/orders", self.case.body(self.exam),
            Idempotency_Key=f"o-{number}")
        order = placed.body["id"]
        walk = WALK if number % 4 else (*WALK[:number // 4 % 3],
                                        ENDS[number // 4 % 2])
        for role, status, stage in walk:
            if random.random() < 0.3:
                self.try_unlawful(order)
            self.move(order, role, status, stage)
            self.moves += 1

    def work(self):
        while True:
            with self.lock:
                number = next(self.numbers, None)
            if number is None:
                break
            try:
                self.one(number)
            except Exception as why:  # told by the test
                self.unexpected.append(repr(why))
        OrderCase.svc.client.close()


class Crashes(OrderCase):
    def test_nothing_is_lost_and_each_order_is_told_in_order(self):
        receiver = Receiver()
        hook = self.net.api("admin", "POST", "/v1/webhooks",
                            {"url": receiver.url + "/told"}).body
        receiver.secrets[hook["id"]] = hook["secret"]
        receivers, clerks = [receiver], Clerks(self, self.signed())
        for thread in clerks.threads:
            thread.start()
        kills = 0
        while any(t.is_alive() for t in clerks.threads):
            time.sleep(random.uniform(0.5, 2.5))
            if kills % 2:
                receivers.append(self.another(receivers[-1], hook))
            else:
                self.svc.kill("lensclerkd")
            kills += 1
        self.svc.wait_ready()
        self.assertEqual(clerks.unexpected, [])
        self.assertGreaterEqual(kills, 3)
        wait_until("everything is told", lambda: self.svc.psql(
            "SELECT count(*) FROM webhook_delivery WHERE webhook_id ="
            f" '{hook['id']}' AND state <> 'delivered'") == [["0"]], 300)
        self.compare(receivers)
        print(f"\n{ORDERS} orders, {clerks.moves} moves, {kills} kills,"
              f" {clerks.lost} answers lost,"
              f" {sum(len(r.taken()) for r in receivers)} messages")
        receivers[-1].close()

    def another(self, old, hook):
        """The receiver at the same place, after it was gone for a while."""
        old.close()
        time.sleep(random.uniform(0.1, 1.0))
        new = wait_until("the port is free", lambda: self.receiver(old.port))
        new.secrets[hook["id"]] = hook["secret"]
        return new

    def receiver(self, port):
        try:
            return Receiver(port)
        except OSError:
            return None

    def compare(self, receivers):
        """What was told against the events that are on record."""
        for receiver in receivers:
            self.assertEqual(receiver.wrong, [])
        told = {}
        for receiver in receivers:
            for message in receiver.taken():
                versions = told.setdefault(message["order"]["order"], [])
                if message["order"]["version"] not in versions:
                    versions.append(message["order"]["version"])
        kept = {}
        for order, version in self.svc.psql(
                "SELECT subject_id, ordinal FROM outbox WHERE network_id ="
                f" '{self.net.id}' ORDER BY subject_id, ordinal"):
            kept.setdefault(order, []).append(int(version))
        self.assertEqual(len(kept), ORDERS)
        self.assertEqual(told, kept)
        ends = dict(self.svc.psql(
            "SELECT status, count(*) FROM orders WHERE network_id ="
            f" '{self.net.id}' GROUP BY status"))
        self.assertLessEqual(set(ends), {"completed", "rejected", "cancelled"})
        self.lawful()

    def lawful(self):
        """Each step on record follows from the one before."""
        after = {"": {"requested"},
                 "requested": {"received", "rejected", "cancelled"},
                 "received": {"on-hold", "rejected", "cancelled"},
                 "on-hold": {"accepted", "rejected", "cancelled"},
                 "accepted": {"in-progress"},
                 "in-progress": {"in-progress", "completed"},
                 "completed": {"completed"}}
        now = {}
        for order, status in self.svc.psql(
                "SELECT order_id, status FROM order_event WHERE network_id ="
                f" '{self.net.id}' ORDER BY order_id, event_id"):
            self.assertIn(status, after[now.get(order, "")], order)
            now[order] = status


if __name__ == "__main__":
    unittest.main()
