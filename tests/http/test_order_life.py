"""What happens to an order after it is placed: amendments, questions, remakes,
superseded Rx, and every move that isn't lawful."""

import itertools
import unittest

from check_word import check_word
from lenstest import Service, uuid7
from order_case import (EYE, FINAL, FRAME, HEIGHTS, PROGRESSIVE, VARYING,
                        OrderCase)


def setUpModule():
    OrderCase.svc = Service()


def tearDownModule():
    OrderCase.svc.close()


class LifeCase(OrderCase):
    def amend_order(self, order, role="desk", version=None, **body):
        if version is None:
            version = self.get(order, role).body["version"]
        return self.net.api(role, "POST", f"/v1/orders/{order}/amend",
                            {"reason": "as the patient asked", **body},
                            {"If-Match": f'"{version}"'})

    def ask(self, order, pointer="/lens/tint", text="which shade?",
            role="lab"):
        return self.net.api(role, "POST", f"/v1/orders/{order}/questions",
                            {"pointer": pointer, "text": text})

    def log(self, order):
        """What the audit log says of an order, oldest first."""
        return self.net.api("auditor", "GET", f"/v1/audit?subject={order}"
                            ).body["items"][::-1]

    def walk(self, order, *moves):
        for role, status, stage in moves:
            answer = self.move(order, role, status, stage)
            self.assertEqual(answer.status, 200, answer.body)
        return answer.body


TO_CUT = (("lab", "accepted", None), ("lab", "in-progress", "cut"))
TO_SENT = (*TO_CUT, ("lab", "in-progress", "checked"),
           ("lab", "completed", "sent"))


class Amending(LifeCase):
    def test_the_difference_is_loud_and_the_lab_accepts_anew(self):
        order = self.place(self.body(self.signed(VARYING), lens=PROGRESSIVE,
                                     frame=dict(FRAME,
                                                fitting_height_mm=HEIGHTS)))
        self.walk(order["id"], ("lab", "accepted", None))
        answer = self.amend_order(
            order["id"], pd_mm={"right": 31.5, "left": 31},
            lens={"tint": "grey 2"}, reason="measured again")
        self.assertEqual(answer.status, 200, answer.body)
        now = answer.body
        self.assertEqual((now["status"], now["edition"], now["version"]),
                         ("requested", 2, 3))
        told = now["amendment"]
        self.assertEqual((told["edition"], told["replaces"], told["reason"],
                          told["by"]["name"]),
                         (2, 1, "measured again", "User desk"))
        self.assertEqual(
            [(c["pointer"], c.get("eye"), c["optical"], c["before"],
              c["after"]) for c in told["changes"]],
            [("/pd_mm/left", "left", True, 32, 31),
             ("/lens/tint", None, False, None, "grey 2")])
        self.assertEqual(told["changes"][0]["text"],
                         "left far PD: 31 mm, was 32 mm")
        self.assertNotEqual(now["check_word"], order["check_word"])
        self.assertEqual(now["check_word"], check_word(
            {"sphere": -225, "cylinder": -75, "axis": 172, "add": 200,
             "pd_far": 3150, "fitting_height": 2200},
            {"sphere": -175, "cylinder": 0, "add": 200, "pd_far": 3100,
             "fitting_height": 2250}, 1200))
        self.assertEqual([h["event"] for h in now["history"]],
                         ["placed", "moved", "amended"])
        self.assertEqual(self.get(order["id"]).body, now)
        self.assertEqual(self.get(order["id"], "lab").body["amendment"], told)

    def test_every_edition_is_kept_as_it_was_told(self):
        order = self.place()["id"]
        first = self.get(order).body["check_word"]
        self.amend_order(order, frame={"dbl_mm": 17})
        self.amend_order(order, frame={"dbl_mm": 16}, reason="typed wrong")
        for role in ("desk", "lab", "auditor"):
            items = self.get(order, role, "/editions").body["items"]
            self.assertEqual([i["edition"] for i in items], [3, 2, 1])
            self.assertEqual([i["told"]["frame"]["dbl_mm"] for i in items],
                             [16, 17, 18])
            self.assertEqual(items[2]["told"]["check_word"], first)
            self.assertNotIn("changes", items[2])
            self.assertEqual(items[0]["reason"], "typed wrong")
            self.assertEqual(items[0]["changes"][0]["text"],
                             "frame size DBL: 16 mm, was 17 mm")

    def test_an_amended_rx_comes_in_when_the_exam_is_named(self):
        exam = self.signed()
        order = self.place(self.body(exam))["id"]
        self.amend(exam, dict(FINAL, right=dict(
            EYE, axis=127, prism=[{"amount": 1.5, "base": "in"}])))
        self.problem(self.amend_order(order, notes="soon"), 409, "/exam")
        answer = self.amend_order(order, exam=exam)
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(
            [c["text"] for c in answer.body["amendment"]["changes"]],
            ["right axis: 127, was 172",
             "right prism: 1.50 base in, was nothing",
             "edition of the Rx: 2, was 1"])
        self.assertEqual(answer.body["rx"]["edition"], 2)
        self.assertEqual(answer.body["cautions"], [])

    def test_a_lens_that_is_cut_ends_it(self):
        order = self.place()["id"]
        self.walk(order, *TO_CUT)
        problem = self.problem(self.amend_order(order, notes="late"), 409,
                               "/stage")
        self.assertIn("cut", problem["errors"][0]["detail"])
        self.problem(self.move(order, "desk", "cancelled"), 409)
        self.walk(order, ("lab", "in-progress", "checked"))
        self.problem(self.amend_order(order, notes="late"), 409, "/stage")

    def test_drafts_and_ended_orders_are_not_amended(self):
        exam = self.signed()
        draft = self.place(self.body(exam, draft=True))["id"]
        self.problem(self.amend_order(draft, notes="x"), 409, "/status")
        for role, status in (("desk", "cancelled"), ("lab", "rejected")):
            order = self.place(self.body(exam))["id"]
            self.walk(order, (role, status, None))
            self.problem(self.amend_order(order, notes="x"), 409, "/status")

    def test_what_is_wrong_with_it_is_named_at_once(self):
        order = self.place()["id"]
        answer = self.net.api(
            "desk", "POST", f"/v1/orders/{order}/amend",
            {"lens": {"index": 9, "design": "bifocal"}, "colour": 1,
             "lab": self.second_lab()}, {"If-Match": '"1"'})
        self.problem(answer, 422, "/reason", "/lens/index", "/colour", "/lab",
                     "/right/add", "/left/add", "/pd_mm/near/right",
                     "/pd_mm/near/left", "/frame/fitting_height_mm/right",
                     "/frame/fitting_height_mm/left")
        self.problem(self.amend_order(order, frame={"a_mm": 52}), 422, "")
        self.problem(self.amend_order(order, version=7, notes="x"), 412)
        self.problem(self.net.api(
            "desk", "POST", f"/v1/orders/{order}/amend",
            {"reason": "x", "notes": "y"}), 428)
        self.assertEqual(self.get(order).body["edition"], 1)

    def test_the_same_key_is_the_same_amendment(self):
        order = self.place()["id"]
        headers = {"If-Match": '"1"', "Idempotency-Key": "a-1"}
        body = {"reason": "x", "notes": "y"}
        one, two = (self.net.api("desk", "POST", f"/v1/orders/{order}/amend",
                                 body, headers) for _ in range(2))
        self.assertEqual((one.status, one.body), (two.status, two.body))
        self.assertEqual(self.get(order).body["edition"], 2)


class Superseded(LifeCase):
    def test_a_lab_does_not_go_on_with_an_rx_that_no_longer_stands(self):
        exam = self.signed()
        order, cut = (self.place(self.body(exam))["id"] for _ in range(2))
        self.walk(cut, *TO_CUT)
        self.amend(exam, dict(FINAL, right=dict(EYE, axis=127)))
        self.walk(order, ("lab", "received", None))
        self.problem(self.move(order, "lab", "accepted"), 409, "/exam")
        self.amend_order(order, exam=exam)
        self.walk(order, *TO_CUT)
        # What is cut is cut: the clinic decides what becomes of it.
        self.walk(cut, ("lab", "in-progress", "checked"),
                  ("lab", "completed", "sent"))


class Questions(LifeCase):
    def test_a_question_stands_at_its_field_until_it_is_answered(self):
        order = self.place()["id"]
        asked = self.ask(order, "/right/axis", "172 or 127?")
        self.assertEqual((asked.status, asked.headers["ETag"]), (201, '"1"'))
        seen = self.get(order).body
        self.assertEqual(seen["questions"], [asked.body])
        self.assertEqual(asked.body["pointer"], "/right/axis")
        self.assertEqual(asked.body["by"]["name"], "User lab")
        self.assertIn("question-open", [c["code"] for c in seen["cautions"]])
        path = f"/v1/orders/{order}/questions/{asked.body['id']}/answer"
        answered = self.net.api("desk", "POST", path, {"text": "172"})
        self.assertEqual(answered.status, 201, answered.body)
        seen = self.get(order, "lab").body
        self.assertEqual(seen["questions"], [answered.body])
        self.assertEqual(answered.body["answer"]["text"], "172")
        self.assertEqual(answered.body["answer"]["by"]["name"], "User desk")
        self.assertNotIn("question-open",
                         [c["code"] for c in seen["cautions"]])
        self.assertEqual([h["event"] for h in seen["history"]],
                         ["placed", "asked", "answered"])
        self.assertEqual(seen["version"], 3)
        self.problem(self.net.api("desk", "POST", path, {"text": "127"}), 409)

    def test_who_asks_who_answers_and_about_what(self):
        second, exam = self.second_lab(), self.signed()
        order = self.place(self.body(exam))["id"]
        theirs = self.place(self.body(exam, lab=second))["id"]
        for role in ("desk", "prescriber", "auditor", "admin", "device"):
            self.problem(self.ask(order, role=role), 403)
        self.problem(self.ask(theirs), 404)
        self.problem(self.ask(order, "/patient/born"), 422, "/pointer")
        self.problem(self.ask(order, "/right/axis", ""), 422, "/text")
        asked = self.ask(order).body["id"]
        for where, question, status in (
                (order, uuid7(), 404), (theirs, asked, 404)):
            self.problem(self.net.api(
                "desk", "POST",
                f"/v1/orders/{where}/questions/{question}/answer",
                {"text": "x"}), status)
        self.second_clinic()
        path = f"/v1/orders/{order}/questions/{asked}/answer"
        self.problem(self.net.api("desk2", "POST", path, {"text": "x"}), 403)
        self.problem(self.svc.network().api("desk", "POST", path,
                                            {"text": "x"}), 404)
        self.walk(order, ("lab", "rejected", None))
        self.problem(self.ask(order), 409, "/status")


class Logged(LifeCase):
    def test_whatever_happens_to_an_order_stands_in_the_audit_log(self):
        order = self.place()["id"]
        self.amend_order(order, frame={"dbl_mm": 17})
        asked = self.ask(order).body["id"]
        answer = self.net.api(
            "desk", "POST", f"/v1/orders/{order}/questions/{asked}/answer",
            {"text": "grey 2"})
        self.assertEqual(answer.status, 201, answer.body)
        self.walk(order, *TO_CUT)
        check = self.net.api(
            "lab", "POST", f"/v1/orders/{order}/bench-checks",
            {"profile": "ANSI Z80.1-2015", "right": EYE,
             "left": {"sphere": -1.75}})
        self.assertEqual(check.status, 201, check.body)
        rows = [r for r in self.log(order) if r["action"] != "viewed"]
        self.assertEqual([r["action"] for r in rows],
                         ["order-begun", "order-amended", "order-asked",
                          "order-answered", "order-moved", "order-moved",
                          "order-checked"])
        self.assertEqual({r["patient"] for r in rows}, {self.patient})
        self.assertEqual(rows[1]["detail"]["changes"][0]["pointer"],
                         "/frame/dbl_mm")
        self.assertEqual(rows[3]["detail"],
                         {"question": asked, "pointer": "/lens/tint"})
        self.assertEqual(rows[6]["detail"]["bench_check"],
                         check.body["id"])


class Remaking(LifeCase):
    def test_a_remake_names_what_it_replaces_and_why(self):
        order = self.place()["id"]
        self.amend_order(order, frame={"dbl_mm": 17})
        self.walk(order, *TO_SENT)
        answer = self.net.api(
            "desk", "POST", f"/v1/orders/{order}/remake",
            {"cause": "axis-off", "note": "right, 9 degrees",
             "only": "right"})
        self.assertEqual(answer.status, 201, answer.body)
        new = answer.body
        self.assertEqual(answer.headers["Location"], f"/v1/orders/{new['id']}")
        self.assertEqual(new["remake_of"], {
            "order": order, "number": self.get(order).body["number"],
            "edition": 2, "cause": "axis-off", "note": "right, 9 degrees"})
        self.assertEqual((new["status"], new["edition"], new["only"],
                          new["frame"]["dbl_mm"], new["previous"]),
                         ("requested", 1, "right", 17, order))
        self.assertEqual(self.get(new["id"]).body, new)
        old = self.get(order).body
        self.assertEqual([(r["order"], r["cause"]) for r in old["remade_by"]],
                         [(new["id"], "axis-off")])
        self.assertEqual(old["history"][-1]["event"], "remade")
        self.assertEqual((old["status"], old["stage"]), ("completed", "sent"))
        row, = self.log(new["id"])
        self.assertEqual((row["action"], row["detail"]), (
            "order-remade", {"status": "requested", "remake_of": order,
                             "cause": "axis-off"}))

    def test_it_takes_the_rx_that_stands(self):
        exam = self.signed()
        order = self.place(self.body(exam))["id"]
        self.walk(order, *TO_SENT)
        self.amend(exam, dict(FINAL, right=dict(EYE, axis=127)))
        answer = self.net.api("desk", "POST", f"/v1/orders/{order}/remake",
                              {"cause": "rx-changed"})
        self.assertEqual(answer.status, 201, answer.body)
        self.assertEqual(answer.body["right"]["axis"], 127)
        self.assertEqual(self.get(order).body["right"]["axis"], 172)

    def test_only_glasses_that_were_made_are_remade_and_a_cause_is_needed(self):
        order = self.place()["id"]
        path = f"/v1/orders/{order}/remake"
        self.problem(self.net.api("desk", "POST", path, {}), 422, "/cause")
        self.problem(self.net.api("desk", "POST", path,
                                  {"cause": "bad luck"}), 422, "/cause")
        good = {"cause": "broken"}
        self.problem(self.net.api("desk", "POST", path, good), 409, "/status")
        self.problem(self.net.api("lab", "POST", path, good), 403)
        self.walk(order, ("lab", "accepted", None), ("lab", "failed", None))
        draft = self.net.api("desk", "POST", path, dict(good, draft=True))
        self.assertEqual((draft.status, draft.body["status"]), (201, "draft"))
        self.assertNotIn("check_word", draft.body)
        again = self.move(draft.body["id"], "desk", "requested")
        self.assertEqual(again.status, 200, again.body)
        self.assertEqual(again.body["remake_of"]["cause"], "broken")
        key = {"Idempotency-Key": "r-1"}
        one, two = (self.net.api("desk", "POST", path, good, key)
                    for _ in range(2))
        self.assertEqual((one.status, one.body), (201, two.body))


STATUSES = ("draft", "requested", "received", "accepted", "rejected",
            "in-progress", "on-hold", "completed", "cancelled", "failed")
STAGES = (None, "cut", "checked", "sent", "arrived", "handed over")
# The lawful moves, written down here once more: from, to, whose.
LAWFUL = {
    ("draft", "requested"): "desk", ("draft", "cancelled"): "desk",
    ("requested", "received"): "lab", ("requested", "accepted"): "lab",
    ("requested", "rejected"): "lab", ("requested", "cancelled"): "desk",
    ("received", "accepted"): "lab", ("received", "rejected"): "lab",
    ("received", "on-hold"): "lab", ("received", "cancelled"): "desk",
    ("accepted", "in-progress"): "lab", ("accepted", "on-hold"): "lab",
    ("accepted", "failed"): "lab", ("accepted", "cancelled"): "desk",
    ("in-progress", "on-hold"): "lab", ("in-progress", "completed"): "lab",
    ("in-progress", "failed"): "lab", ("in-progress", "cancelled"): "desk",
    ("on-hold", "accepted"): "lab", ("on-hold", "rejected"): "lab",
    ("on-hold", "in-progress"): "lab", ("on-hold", "failed"): "lab",
    ("on-hold", "cancelled"): "desk"}


class Lawful(LifeCase):
    def test_from_every_status_only_lawful_moves_are_taken(self):
        exam = self.signed()
        for start, to, role in itertools.product(STATUSES, STATUSES,
                                                 ("desk", "lab")):
            if start == "draft" and role == "lab":
                continue  # it doesn't know of it
            order = self.place(self.body(
                exam, draft=start == "draft")) if (start, to) in LAWFUL \
                or not hasattr(self, start) else getattr(self, start)
            setattr(self, start, order)
            self.svc.psql(f"UPDATE orders SET status = '{start}'"
                          f" WHERE order_id = '{order['id']}'")
            answer = self.net.api(
                role, "POST", f"/v1/orders/{order['id']}/status",
                {"status": to}, {"If-Match": "*"})
            lawful = LAWFUL.get((start, to)) == role
            self.assertEqual(answer.status == 200, lawful,
                             (start, to, role, answer.body))
            if not lawful:
                self.assertIn(answer.status, (403, 409))
                self.assertEqual(self.svc.psql(
                    "SELECT status FROM orders WHERE order_id ="
                    f" '{order['id']}'"), [[start]])

    def test_each_event_has_one_message_in_the_outbox(self):
        order = self.place(draft=True)["id"]
        self.walk(order, ("desk", "requested", None))
        asked = self.ask(order).body["id"]
        self.net.api("desk", "POST",
                     f"/v1/orders/{order}/questions/{asked}/answer",
                     {"text": "none"})
        self.amend_order(order, notes="x")
        self.walk(order, *TO_SENT)
        rows = self.svc.psql(
            "SELECT kind, ordinal, coalesce(lab_id::text, ''),"
            " body::json ->> 'status' FROM outbox"
            f" WHERE subject_id = '{order}' ORDER BY ordinal, event_id")
        self.assertEqual([r[0] for r in rows], [
            "order-begun", "order-placed", "order-asked", "order-answered",
            "order-amended", "order-moved", "order-moved", "order-moved",
            "order-moved"])
        self.assertEqual([int(r[1]) for r in rows], list(range(1, 10)))
        self.assertEqual([r[2] for r in rows],
                         [""] + [self.net.lab] * 8)
        self.assertEqual(rows[-1][3], "completed")
        events = self.svc.psql("SELECT count(*) FROM order_event WHERE"
                               f" order_id = '{order}'")
        self.assertEqual(events, [[str(len(rows))]])


if __name__ == "__main__":
    unittest.main()
