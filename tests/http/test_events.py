"""GET /v1/events: who is told what, when, and what is told once more."""

import pathlib
import queue
import tempfile
import time
import unittest

from lenstest import Service
from lenstest.listen import Listener
from order_case import OrderCase


def setUpModule():
    OrderCase.svc = Service()


def tearDownModule():
    OrderCase.svc.close()


class Events(OrderCase):
    def listen(self, role="desk", path="/v1/events", last=None, port=None,
               net=None):
        listener = Listener(port or self.svc.port,
                            (net or self.net).tokens[role], path, last)
        self.addCleanup(listener.close)
        self.assertEqual(listener.answer.status, 200)
        return listener

    def nothing(self, listener, seconds=0.8):
        with self.assertRaises(queue.Empty):
            listener.get(seconds)

    def until(self, listener, kind):
        while True:
            event = listener.get()
            if event[1] == kind:
                return event

    def now(self, role="desk", net=None):
        """Everything of the last seconds."""
        first = "01000000-0000-7000-8000-000000000000"
        return self.listen(role, f"/v1/events?wait=0&after={first}",
                           net=net).all()

    def test_a_move_is_told_within_a_second_to_the_clinic_and_its_lab(self):
        order = self.place()
        desk, lab = self.listen(), self.listen("lab")
        self.assertEqual(desk.answer.headers["Content-Type"],
                         "text/event-stream")
        time.sleep(0.6)
        begun = time.monotonic()
        self.move(order["id"], "lab", "received")
        told = desk.get()
        self.assertLess(time.monotonic() - begun, 3)
        id_, kind, data = told
        self.assertEqual(kind, "order-moved")
        self.assertEqual(data, {
            "id": id_, "at": data["at"], "kind": kind,
            "subject": {"kind": "order", "id": order["id"]},
            "patient": self.patient,
            "order": {"order": order["id"], "number": order["number"],
                      "edition": 1, "version": 2, "status": "received",
                      "stage": None}})
        seen = lab.get()
        self.assertEqual(seen[0], id_)
        self.assertNotIn("patient", seen[2])
        self.nothing(desk)
        self.nothing(lab)

    def test_what_else_is_written_is_told_to_the_clinic_alone(self):
        desk, lab = self.listen(), self.listen("lab")
        time.sleep(0.6)
        patient = self.someone("Q-9", "Ode", "Ada")
        id_, kind, data = desk.get()
        self.assertEqual((kind, data["subject"]), (
            "patient-added", {"kind": "patient", "id": patient}))
        answer = self.net.api("device", "POST", "/v1/readings", {
            "kind": "autorefraction", "taken_at": "2026-03-02T09:14:05Z",
            "patient": {"record_number": "Q-9"},
            "right": {"sphere": -1}})
        self.assertEqual(answer.status, 201, answer.body)
        id_, kind, data = desk.get()
        self.assertEqual((kind, data["subject"]["id"], data["patient"]),
                         ("reading-stored", answer.body["id"], patient))
        # Looking is no news.
        self.net.api("desk", "GET", f"/v1/patients/{patient}")
        self.nothing(desk)
        self.nothing(lab)

    def test_networks_labs_and_other_clinics_drafts_stay_apart(self):
        second, exam = self.second_lab(), self.signed()
        self.second_clinic()
        other = self.svc.network()
        listeners = {
            "other": self.listen("desk", net=other),
            "lab2": self.listen("lab2"), "desk2": self.listen("desk2")}
        time.sleep(0.6)
        ours = self.place(self.body(exam))["id"]
        draft = self.place(self.body(exam, draft=True))["id"]
        self.nothing(listeners["other"])
        self.nothing(listeners["lab2"], 0.1)
        self.assertEqual(
            self.until(listeners["desk2"], "order-placed")[2]["subject"]["id"],
            ours)
        self.nothing(listeners["desk2"])
        theirs = self.place(self.body(exam, lab=second))["id"]
        self.assertEqual(listeners["lab2"].get()[2]["subject"]["id"], theirs)
        subjects = {e[2]["subject"]["id"] for e in self.now("desk")}
        self.assertLessEqual({ours, draft, theirs}, subjects)
        self.assertEqual({e[2]["subject"]["id"] for e in self.now("lab2")},
                         {theirs})
        self.assertEqual(self.now("desk", other), [])
        self.problem(self.net.api("device", "GET", "/v1/events"), 403)
        self.problem(self.svc.api("GET", "/v1/events"), 401)

    def test_who_comes_back_misses_nothing(self):
        order = self.place()["id"]
        listener = self.listen()
        time.sleep(0.6)
        self.move(order, "lab", "received")
        last = listener.get()[0]
        listener.close()
        self.move(order, "lab", "accepted")
        self.move(order, "lab", "in-progress")
        back = self.listen(last=last)
        found = {}
        while len(found) < 2:
            id_, _, data = back.get()
            self.assertNotEqual(id_, last)
            if data.get("order", {}).get("version", 0) > 2:
                self.assertNotIn(id_, found)
                found[id_] = data["order"]["status"]
        self.assertEqual(list(found.values()), ["accepted", "in-progress"])
        # And the stream goes on from there.
        self.move(order, "lab", "on-hold")
        while True:
            id_, _, data = back.get()
            self.assertNotIn(id_, found)
            if data.get("order", {}).get("status") == "on-hold":
                break

    def test_another_daemon_tells_the_same(self):
        log = tempfile.NamedTemporaryFile("w", suffix=".log")
        self.addCleanup(log.close)
        process, client = self.svc.another(log)
        self.addCleanup(process.wait)
        self.addCleanup(process.terminate)
        order = self.place()["id"]
        here, there = self.listen(), self.listen(port=client.port)
        time.sleep(0.6)
        self.move(order, "lab", "received")
        self.assertEqual(here.get(), there.get())
        # A daemon that stops ends its streams and doesn't wait for them.
        process.terminate()
        self.assertEqual(process.wait(15), 0,
                         pathlib.Path(log.name).read_text())
        self.assertTrue(there.done.wait(5))

    def test_a_revoked_token_is_told_nothing_more(self):
        listener = self.listen("prescriber")
        time.sleep(0.6)
        self.svc.psql("UPDATE token SET revoked_at = now()"
                      f" WHERE user_id = '{self.net.users['prescriber']}'")
        self.assertTrue(listener.done.wait(10))

    def test_a_stream_ends_after_the_time_that_was_asked_for(self):
        self.assertTrue(self.listen(path="/v1/events?wait=0").done.wait(5))
        begun = time.monotonic()
        listener = self.listen(path="/v1/events?wait=2")
        self.assertTrue(listener.done.wait(10))
        self.assertGreater(time.monotonic() - begun, 1.5)

    def test_what_is_no_id_and_no_time_is_refused(self):
        for query in ("after=x", "wait=-1", "wait=1.5", "wait=86401",
                      "wait=", "limit=3"):
            answer = self.net.api("desk", "GET", "/v1/events?" + query)
            self.problem(answer, 422)
        answer = self.net.api("desk", "GET", "/v1/events", headers={
            "Accept": "application/json"})
        self.assertEqual(answer.status, 406)

    def test_many_events_at_once_are_each_told_once(self):
        listener = self.listen()
        time.sleep(0.6)
        made = [self.someone(f"M-{n}", "Many", f"N{n}") for n in range(60)]
        told = [listener.get()[2]["subject"]["id"] for _ in made]
        self.assertEqual(sorted(told), sorted(made))
        self.nothing(listener, 3)


if __name__ == "__main__":
    unittest.main()
