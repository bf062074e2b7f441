"""Orders over HTTP: placing, drafts, who sees what, moves."""

import unittest

from check_word import check_word, order_number
from lenstest import Service, uuid7
from order_case import (EYE, FINAL, FRAME, HEIGHTS, LENS, PROGRESSIVE,
                        VARYING, OrderCase)


def setUpModule():
    OrderCase.svc = Service()


def tearDownModule():
    OrderCase.svc.close()


class Placing(OrderCase):
    def test_single_vision_needs_design_material_index_pd_frame_and_lab(self):
        answer = self.post(self.body())
        self.assertEqual(answer.status, 201, answer.body)
        order = answer.body
        self.assertEqual(self.version(answer), 1)
        self.assertEqual(answer.headers["Location"],
                         f"/v1/orders/{order['id']}")
        self.assertEqual(order["status"], "requested")
        self.assertEqual(order["number"], order_number(order["id"]))
        self.assertEqual(order["right"]["sphere"], -2.25)
        self.assertEqual(order["left"]["axis"], None)
        self.assertEqual(order["pd_mm"], {"right": 31.5, "left": 32})
        self.assertEqual(order["pair"], True)
        self.assertEqual(order["cautions"], [])
        self.assertNotIn("gaps", order)
        self.assertEqual([h["status"] for h in order["history"]],
                         ["requested"])
        self.assertEqual(order["history"][0]["by"]["name"], "User desk")
        again = self.get(order["id"])
        self.assertEqual(again.body, order)
        self.assertEqual(again.headers["ETag"], answer.headers["ETag"])

    def test_the_check_word_is_the_one_of_its_description(self):
        order = self.place(self.body(self.signed(dict(
            VARYING, left={"sphere": 0.5, "cylinder": -1.25, "axis": 5,
                           "add": 2.25, "prism": [
                               {"amount": 1, "base": "out"},
                               {"amount": 0.5, "base": "down"}]})),
            lens=PROGRESSIVE, frame=dict(FRAME, fitting_height_mm=HEIGHTS)))
        self.assertEqual(order["check_word"], check_word(
            {"sphere": -225, "cylinder": -75, "axis": 172, "add": 200,
             "pd_far": 3150, "fitting_height": 2200},
            {"sphere": 50, "cylinder": -125, "axis": 5, "add": 225,
             "prism_in": -100, "prism_up": -50, "pd_far": 3200,
             "fitting_height": 2250}, 1200))

    def test_the_lab_is_told_once_and_for_all(self):
        order = self.place()
        told = self.svc.psql(
            "SELECT edition, body::json ->> 'check_word',"
            " body::json #>> '{right,sphere}' FROM order_edition"
            f" WHERE order_id = '{order['id']}'")
        self.assertEqual(told, [["1", order["check_word"], "-2.25"]])

    def test_a_plus_clinic_orders_in_plus_cylinder(self):
        self.svc.psql("UPDATE clinic SET cylinder_form = 'plus'"
                      f" WHERE clinic_id = '{self.net.clinic}'")
        # Eighths: -2.125 - 0.625 = -2.75, so in plus cylinder -2.75 +0.62.
        order = self.place(self.body(self.signed(dict(
            FINAL, right={"sphere": -2.12, "cylinder": -0.62, "axis": 10}))))
        self.assertEqual(order["cylinder_form"], "plus")
        self.assertEqual(order["right"]["cylinder"], -0.62)
        self.assertEqual(order["check_word"], check_word(
            {"sphere": -275, "cylinder": 62, "axis": 100, "pd_far": 3150},
            {"sphere": -175, "cylinder": 0, "pd_far": 3200}, 1200))
        plus = self.get(order["id"], tail="?cylinder=plus")
        self.assertEqual(plus.body["right"]["cylinder"], 0.62)
        self.assertNotEqual(plus.headers["ETag"],
                            self.get(order["id"]).headers["ETag"])

    def test_an_own_pd_goes_before_the_signed_one(self):
        exam = self.signed({k: FINAL[k] for k in ("right", "left")}
                           | {"vertex_mm": 12, "pd_mm": {"binocular": 64}})
        order = self.place(self.body(exam, pd_mm={"right": 32, "left": 31}))
        self.assertEqual(order["pd_mm"], {"right": 32, "left": 31})
        self.assertEqual(self.place(self.body(exam))["pd_mm"],
                         {"binocular": 64})

    def test_one_lens_alone_is_ordered_alone(self):
        order = self.place(only="right", pd_mm={"right": 31})
        self.assertEqual((order["only"], order["pair"]), ("right", False))
        self.assertNotIn("left", order)
        self.problem(self.post(self.body(only="right", pair=True)), 422,
                     "/pair")

    def test_a_pair_in_words(self):
        exam = self.signed()
        for word, only in (("right", "right"), ("left", "left"),
                           ("both", None)):
            order = self.place(self.body(exam, pair=word))
            self.assertEqual((order.get("only"), order["pair"]),
                             (only, word == "both"))
            self.assertEqual("right" in order, word != "left")
        draft = self.place(self.body(exam, only="right", draft=True))["id"]
        for word, only, version in (("left", "left", 1), ("both", None, 2)):
            got = self.patch(draft, {"pair": word}, version)
            self.assertEqual(got.status, 200, got.body)
            self.assertEqual(got.body.get("only"), only)
        self.place(self.body(exam, pair="left", only="left"))
        for wrong in ({"pair": "left", "only": "right"},
                      {"pair": "both", "only": "right"}, {"pair": "one"}):
            self.problem(self.post(self.body(exam, **wrong)), 422, "/pair")

    def test_without_an_exam_its_own_gaps_are_named(self):
        self.problem(self.post({"frame": {"a_mm": 52}}), 422, "/exam",
                     "/lens/design", "/lens/material", "/lens/index",
                     "/frame/b_mm", "/frame/dbl_mm", "/frame/ed_mm", "/lab")
        self.problem(self.post({"draft": True}), 422, "/exam")

    def test_the_order_before_it_is_named_and_is_the_same_patients(self):
        first = self.place()
        second = self.place(previous=first["id"])
        self.assertEqual(second["previous_number"], first["number"])
        other = self.someone("Q-2", "Else", "Somebody")
        answer = self.post(self.body(self.signed(patient=other),
                                     previous=first["id"]))
        self.problem(answer, 422, "/previous")

    def test_a_number_that_is_taken_is_made_anew(self):
        first = self.place()
        self.svc.psql(f"""
            CREATE TABLE once (n integer);
            CREATE FUNCTION take_number() RETURNS trigger LANGUAGE plpgsql
            SECURITY DEFINER AS $$ BEGIN
                IF NOT EXISTS (SELECT 1 FROM once) THEN
                    INSERT INTO once VALUES (1);
                    NEW.number := '{first['number']}';
                END IF;
                RETURN NEW;
            END $$;
            CREATE TRIGGER take_number BEFORE INSERT ON orders
            FOR EACH ROW WHEN (NEW.network_id = '{self.net.id}')
            EXECUTE FUNCTION take_number()""")
        try:
            second = self.place()
        finally:
            self.svc.psql("DROP TRIGGER take_number ON orders;"
                          " DROP FUNCTION take_number; DROP TABLE once")
        self.assertNotEqual(second["number"], first["number"])
        self.assertEqual(second["number"], order_number(second["id"]))
        self.assertEqual(self.get(second["id"]).body, second)


class Gaps(OrderCase):
    """P-20, the omissions that labs telephone about."""

    def test_a_progressive_without_add_is_refused_by_eye(self):
        body = self.body(lens=PROGRESSIVE,
                         frame=dict(FRAME, fitting_height_mm=HEIGHTS))
        problem = self.problem(self.post(body), 422, "/right/add", "/left/add")
        self.assertIn("the add of the right eye",
                      problem["errors"][0]["detail"])

    def test_no_pd_is_refused_by_eye(self):
        exam = self.signed(dict(FINAL, pd_mm={}))
        self.problem(self.post(self.body(exam)), 422, "/pd_mm/right",
                     "/pd_mm/left")

    def test_no_cylinder_without_axis_and_no_power_as_text_gets_so_far(self):
        exam, etag = self.exam()
        for eye, pointer in (({"sphere": 0, "cylinder": -1.25},
                              "/final/right/axis"),
                             ({"sphere": "2.00"}, "/final/right/sphere")):
            answer = self.net.api("prescriber", "PATCH", f"/v1/exams/{exam}",
                                  {"final": {"right": eye}},
                                  {"If-Match": etag})
            self.problem(answer, 422, pointer)

    def test_plano_is_not_missing(self):
        exam = self.signed(dict(FINAL, right={"sphere": 0, "cylinder": 0},
                                left={"sphere": 0.00}))
        self.assertEqual(self.place(self.body(exam))["right"]["sphere"], 0)

    def test_everything_missing_is_named_at_once_beside_what_is_wrong(self):
        exam = self.signed(dict(FINAL, pd_mm={}))
        answer = self.post({"exam": exam, "lens": {"design": "bifocal",
                                                   "index": 15},
                            "frame": {"a_mm": "52", "colour": "red"},
                            "lab": uuid7(), "priority": "soon"})
        self.problem(answer, 422, "/lens/index", "/lens/material",
                     "/frame/a_mm", "/frame/colour", "/frame/b_mm",
                     "/frame/dbl_mm", "/frame/ed_mm", "/priority", "/lab",
                     "/right/add", "/left/add", "/pd_mm/right", "/pd_mm/left",
                     "/pd_mm/near/right", "/pd_mm/near/left",
                     "/frame/fitting_height_mm/right",
                     "/frame/fitting_height_mm/left")

    def test_a_draft_keeps_its_gaps_and_lists_them(self):
        answer = self.post({"exam": self.signed(dict(FINAL, pd_mm={})),
                            "lens": PROGRESSIVE, "draft": True})
        self.assertEqual(answer.status, 201, answer.body)
        order = answer.body
        self.assertEqual(order["status"], "draft")
        self.assertNotIn("check_word", order)
        gaps = {g["pointer"]: g for g in order["gaps"]}
        self.assertEqual(set(gaps), {
            "/right/add", "/left/add", "/pd_mm/right", "/pd_mm/left",
            "/frame/a_mm", "/frame/b_mm", "/frame/dbl_mm", "/frame/ed_mm",
            "/frame/fitting_height_mm/right", "/frame/fitting_height_mm/left",
            "/lab"})
        self.assertEqual(gaps["/pd_mm/left"]["eye"], "left")
        self.assertEqual(gaps["/pd_mm/left"]["field"], "monocular far PD")
        self.assertNotIn("eye", gaps["/lab"])

    def test_lenses_without_power_need_no_figures(self):
        for word in ("balance", "occluder", "prosthesis"):
            with self.subTest(lens=word):
                exam = self.signed({"right": dict(EYE, add=2),
                                    "left": {"lens": word}, "vertex_mm": 12,
                                    "pd_mm": {"right": 31}})
                order = self.place(self.body(
                    exam, lens=PROGRESSIVE,
                    frame=dict(FRAME, fitting_height_mm={"right": 22})))
                self.assertEqual(order["left"], {"lens": word})

    def test_unequal_adds_are_a_caution(self):
        # P-15: adds of 3.00 and 1.00.
        exam = self.signed({"right": {"sphere": 5, "add": 3},
                            "left": {"sphere": 2, "add": 1}, "vertex_mm": 12,
                            "pd_mm": {"binocular": 63, "near": 60}})
        order = self.place(self.body(
            exam, lens=dict(LENS, design="bifocal"),
            frame=dict(FRAME, fitting_height_mm={"right": 17, "left": 17})))
        self.assertEqual([c["code"] for c in order["cautions"]],
                         ["adds-differ"])
        self.assertIn("2.00 D", order["cautions"][0]["text"])
        self.assertEqual((order["right"]["add"], order["left"]["add"]), (3, 1))

    def test_reading_glasses_say_what_to_make(self):
        # P-05: far +1.50 with an add of 1.50 is +3.00 for near.
        exam = self.signed({"right": {"sphere": 1.5, "add": 1.5},
                            "left": {"sphere": 1.5, "add": 1.5},
                            "pd_mm": {"near": 60}})
        order = self.place(self.body(exam, purpose="near"))
        self.assertEqual([c["code"] for c in order["cautions"]],
                         ["make-sum", "make-sum"])
        self.assertIn("make this one: sphere +3.00",
                      order["cautions"][0]["text"])


class Sources(OrderCase):
    def test_an_exam_that_is_not_signed_is_not_ordered_from(self):
        exam, _ = self.exam()
        self.problem(self.post(self.body(exam)), 409, "/exam")
        self.problem(self.post(self.body(exam, draft=True)), 409, "/exam")

    def test_an_over_refraction_can_not_be_ordered(self):
        # P-06.
        answer = self.net.api("prescriber", "POST", "/v1/readings", {
            "kind": "over-refraction", "taken_at": "2026-03-02T09:14:05+01:00",
            "patient": {"id": self.patient},
            "condition": {"lens_worn": "trial scleral lens"},
            "right": {"representative": {"sphere": -3, "cylinder": -1.75,
                                         "axis": 35}}})
        self.assertEqual(answer.status, 201, answer.body)
        problem = self.problem(self.post(self.body(answer.body["id"])), 422,
                               "/exam")
        self.assertIn("over-refraction", problem["errors"][0]["detail"])

    def test_what_is_not_there_is_named(self):
        self.problem(self.post(self.body(uuid7())), 422, "/exam")
        other = self.svc.network()
        self.problem(self.post(self.body(lab=other.lab)), 422, "/lab")
        self.svc.psql("UPDATE lab SET closed = true"
                      f" WHERE lab_id = '{self.net.lab}'")
        self.problem(self.post(self.body()), 422, "/lab")

    def test_an_order_of_a_superseded_rx_is_not_placed(self):
        exam = self.signed()
        draft = self.place(self.body(exam, draft=True))["id"]
        self.amend(exam, dict(FINAL, right=dict(EYE, axis=127)))
        kept = self.get(draft).body
        self.assertEqual(kept["right"]["axis"], 172)
        self.assertIn("rx-amended", [c["code"] for c in kept["cautions"]])
        problem = self.problem(self.move(draft, "desk", "requested"), 409,
                               "/exam")
        self.assertIn("edition 1", problem["errors"][0]["detail"])
        # The same exam named again takes what was signed last.
        answer = self.patch(draft, {"exam": exam})
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(answer.body["right"]["axis"], 127)
        self.assertEqual(answer.body["rx"]["edition"], 2)
        self.assertEqual(self.get(draft).body, answer.body)
        placed = self.move(draft, "desk", "requested")
        self.assertEqual(placed.status, 200, placed.body)
        self.assertEqual(placed.body["right"]["axis"], 127)
        self.problem(self.patch(self.place(draft=True)["id"],
                                {"exam": self.signed()}), 422, "/exam")

    def test_an_exam_entered_in_error_is_not_ordered_from(self):
        exam = self.signed()
        etag = self.net.api("prescriber", "GET",
                            f"/v1/exams/{exam}").headers["ETag"]
        answer = self.net.api(
            "prescriber", "POST", f"/v1/exams/{exam}/entered-in-error",
            {"reason": "another patient"}, {"If-Match": etag})
        self.assertEqual(answer.status, 200, answer.body)
        self.problem(self.post(self.body(exam)), 409, "/exam")

    def test_an_expired_and_a_later_rx_are_cautions(self):
        old = self.signed(dict(FINAL, expires_on="2020-02-29"))
        codes = [c["code"] for c in self.place(self.body(old))["cautions"]]
        self.assertEqual(codes, ["rx-expired"])
        self.signed()
        codes = [c["code"] for c in self.place(self.body(old))["cautions"]]
        self.assertEqual(codes, ["rx-expired", "newer-rx"])

    def test_an_exam_that_needs_no_lenses_has_nothing_to_order(self):
        exam = self.signed({"outcome": "none-needed"})
        self.problem(self.post(self.body(exam, pd_mm={"binocular": 63})), 422,
                     "/right")


class Asking(OrderCase):
    def test_every_malformed_body_is_named(self):
        good = self.body()
        for change, pointer in (
                ({"exam": None}, "/exam"), ({"exam": "x"}, "/exam"),
                ({"exam": 7}, "/exam"), ({"draft": "yes"}, "/draft"),
                ({"lens": []}, "/lens"), ({"frame": 3}, "/frame"),
                ({"lens": dict(LENS, treatments="x")}, "/lens/treatments"),
                ({"lens": dict(LENS, design="varying")}, "/lens/design"),
                ({"frame": dict(FRAME, b_mm=9)}, "/frame/b_mm"),
                ({"frame": dict(FRAME, tilt_deg=8.125)}, "/frame/tilt_deg"),
                ({"frame": dict(FRAME, supply="later")}, "/frame/supply"),
                ({"lab": "the usual"}, "/lab"), ({"only": "both"}, "/only"),
                ({"pair": 1}, "/pair"), ({"pair": False}, "/pair"),
                ({"purpose": "reading"}, "/purpose"),
                ({"pd_mm": {"right": 50}}, "/pd_mm/right"),
                ({"pd_mm": 63}, "/pd_mm"), ({"notes": "x" * 401}, "/notes"),
                ({"notes": ""}, "/notes"), ({"deliver_to": 1}, "/deliver_to"),
                ({"check_word": "947T"}, "/check_word"),
                ({"right": EYE}, "/right"), ({"status": "draft"}, "/status"),
                ({"previous": []}, "/previous")):
            with self.subTest(change=change):
                answer = self.post({**good, **change})
                self.assertEqual(answer.status, 422, answer.body)
                self.assertIn(pointer, [e["pointer"]
                                        for e in answer.body["errors"]])
        self.assertEqual(self.post("[").status, 400)
        self.assertEqual(self.net.api("desk", "GET", "/v1/orders").body,
                         {"items": [], "next": None})

    def test_the_same_key_is_the_same_order(self):
        body = self.body()
        key = {"Idempotency-Key": "k-1"}
        first = self.net.api("desk", "POST", "/v1/orders", body, key)
        again = self.net.api("desk", "POST", "/v1/orders", body, key)
        self.assertEqual((again.status, again.body), (201, first.body))
        self.assertEqual(again.headers["ETag"], first.headers["ETag"])
        other = self.net.api("desk", "POST", "/v1/orders",
                             dict(body, notes="x"), key)
        self.assertEqual(other.status, 422)
        self.assertEqual(
            len(self.net.api("desk", "GET", "/v1/orders").body["items"]), 1)
        move = {"If-Match": '"1"', "Idempotency-Key": "k-2"}
        path = f"/v1/orders/{first.body['id']}/status"
        one = self.net.api("lab", "POST", path, {"status": "received"}, move)
        two = self.net.api("lab", "POST", path, {"status": "received"}, move)
        self.assertEqual(one.status, 200, one.body)
        self.assertEqual((two.status, two.body), (200, one.body))
        self.assertEqual(two.headers["ETag"], one.headers["ETag"])

    def test_who_may_place_and_who_may_look(self):
        body = self.body()
        for role in ("lab", "device", "admin", "auditor"):
            self.problem(self.post(body, role), 403)
        self.problem(self.svc.api("POST", "/v1/orders", body), 401)
        self.assertEqual(self.post(body, "prescriber").status, 201)
        order = self.place(body)["id"]
        for role, status in (("desk", 200), ("prescriber", 200), ("lab", 200),
                             ("admin", 200), ("auditor", 200),
                             ("device", 403)):
            for tail in ("", ".pdf", ".html", "/fhir"):
                self.assertEqual(self.get(order, role, tail).status, status,
                                 (role, tail))
            self.assertEqual(
                self.net.api(role, "GET", "/v1/orders").status, status)
        self.assertEqual(self.svc.api("GET", f"/v1/orders/{order}").status,
                         401)

    def test_another_network_learns_nothing(self):
        order, other = self.place()["id"], self.svc.network()
        for role in ("desk", "prescriber", "lab", "admin", "auditor"):
            for tail in ("", ".pdf", ".html", "/fhir"):
                self.problem(self.get(order, role, tail, other), 404)
            self.assertEqual(other.api(role, "GET", "/v1/orders").body,
                             {"items": [], "next": None})
        tag = {"If-Match": '"1"'}
        self.problem(other.api("desk", "PATCH", f"/v1/orders/{order}", {},
                               tag), 404)
        self.problem(other.api("lab", "POST", f"/v1/orders/{order}/status",
                               {"status": "received"}, tag), 404)
        mine = self.body()
        self.problem(other.api("desk", "POST", "/v1/orders", mine), 422,
                     "/exam")

    def test_a_lab_sees_its_own_and_no_more_of_a_patient_than_two_names(self):
        second = self.second_lab()
        exam = self.signed(dict(FINAL, right=dict(EYE, acuity={
            "notation": "snellen", "text": "6/6"})))
        ours = self.place(self.body(exam))["id"]
        theirs = self.place(self.body(exam, lab=second))["id"]
        draft = self.place(self.body(exam, draft=True))["id"]
        seen = self.get(ours, "lab")
        self.assertEqual(self.version(seen), 1)
        self.assertEqual(seen.body["patient"],
                         {"record_number": "Q-10442", "family": "Okonjo",
                          "given": "Tamsin"})
        text = str(seen.body)
        for secret in (self.patient, exam, "1971", "6/6", "acuity"):
            self.assertNotIn(secret, text)
        for order in (theirs, draft):
            for tail in ("", ".pdf", ".html", "/fhir"):
                self.problem(self.get(order, "lab", tail), 404)
            self.problem(self.net.api(
                "lab", "POST", f"/v1/orders/{order}/status",
                {"status": "received"}, {"If-Match": '"1"'}), 404)
        for role, order in (("lab", ours), ("lab2", theirs)):
            for query in ("", "?status=requested", f"?lab={self.net.lab}",
                          f"?lab={second}"):
                items = self.net.api(
                    role, "GET", "/v1/orders" + query).body["items"]
                self.assertLessEqual({i["id"] for i in items}, {order})
            items = self.net.api(role, "GET", "/v1/orders").body["items"]
            self.assertEqual([i["id"] for i in items], [order])
            self.assertNotIn(self.patient, str(items))

    def test_a_draft_is_its_own_clinics(self):
        self.second_clinic()
        exam = self.signed()
        draft = self.place(self.body(exam, draft=True))["id"]
        placed = self.place(self.body(exam))["id"]
        for tail in ("", ".pdf", ".html", "/fhir"):
            self.problem(self.get(draft, "desk2", tail), 403)
            self.assertEqual(self.get(placed, "desk2", tail).status, 200)
        self.problem(self.post(self.body(exam), "desk2"), 403)
        self.problem(self.patch(draft, {"notes": "x"}, role="desk2"), 403)
        answer = self.net.api("prescriber2", "POST",
                              f"/v1/orders/{placed}/status",
                              {"status": "cancelled"}, {"If-Match": '"1"'})
        self.problem(answer, 403)
        items = self.net.api("desk2", "GET", "/v1/orders").body["items"]
        self.assertEqual([i["id"] for i in items], [placed])
        items = self.net.api("desk", "GET", "/v1/orders").body["items"]
        self.assertEqual([i["id"] for i in items], [placed, draft])

    def test_lists_by_status_patient_lab_number_and_page(self):
        other = self.someone("Q-2", "Else", "Somebody")
        exam, exam2 = self.signed(), self.signed(patient=other)
        orders = [self.place(self.body(e)) for e in (exam, exam2, exam)]
        self.move(orders[0]["id"], "lab", "received")
        ids = [o["id"] for o in orders]

        def found(query):
            answer = self.net.api("desk", "GET", "/v1/orders?" + query)
            self.assertEqual(answer.status, 200, answer.body)
            return [i["id"] for i in answer.body["items"]]

        self.assertEqual(found(""), ids[::-1])
        self.assertEqual(found("status=requested"), [ids[2], ids[1]])
        self.assertEqual(found("status=received"), [ids[0]])
        self.assertEqual(found(f"patient={other}"), [ids[1]])
        self.assertEqual(found(f"lab={self.net.lab}"), ids[::-1])
        self.assertEqual(found(f"lab={uuid7()}"), [])
        typed = orders[1]["number"].lower().replace("-", "%20")
        self.assertEqual(found(f"number={typed}"), [ids[1]])
        page = self.net.api("desk", "GET", "/v1/orders?limit=2")
        self.assertEqual([i["id"] for i in page.body["items"]], ids[:0:-1])
        self.assertIn(f"after={page.body['next']}", page.headers["Link"])
        self.assertEqual(found(f"limit=2&after={page.body['next']}"), ids[:1])
        wrong = "2" if orders[1]["number"][0] != "2" else "3"
        for query, pointer in (
                ("status=done", "/status"), ("lab=x", "/lab"),
                ("patient=x", "/patient"), ("limit=0", "/limit"),
                (f"number={wrong}{orders[1]['number'][1:]}", "/number")):
            self.problem(self.net.api("desk", "GET", "/v1/orders?" + query),
                         422, pointer)

    def test_looking_and_placing_are_in_the_audit(self):
        order = self.place()["id"]
        self.get(order, "lab")
        self.get(order, "lab")
        self.move(order, "lab", "accepted", note="ready on Friday")
        rows = self.svc.psql(
            "SELECT a.action, u.name, a.patient_id FROM audit AS a"
            " JOIN app_user AS u ON u.user_id = a.user_id"
            f" WHERE a.subject_id = '{order}' ORDER BY a.at")
        self.assertEqual(rows, [
            ["order-begun", "desk", self.patient],
            [rows[1][0], "lab", self.patient],
            ["order-moved", "lab", self.patient]])

    def test_methods_and_types_are_honest(self):
        order = self.place()["id"]
        answer = self.net.api("desk", "DELETE", f"/v1/orders/{order}")
        self.assertEqual(answer.status, 405)
        self.assertEqual(set(answer.headers["Allow"].split(", ")),
                         {"GET", "HEAD", "PATCH", "OPTIONS"})
        for tail in ("", ".pdf", "/fhir"):
            self.assertEqual(self.net.api(
                "desk", "HEAD", f"/v1/orders/{order}{tail}").status, 200)
        answer = self.net.api("desk", "PATCH", f"/v1/orders/{order}", "notes",
                              {"If-Match": '"1"',
                               "Content-Type": "text/plain"})
        self.assertEqual(answer.status, 415)
        tag = self.get(order).headers["ETag"]
        answer = self.net.api("desk", "GET", f"/v1/orders/{order}",
                              headers={"If-None-Match": tag})
        self.assertEqual((answer.status, answer.headers["ETag"]), (304, tag))

    def test_a_new_doubt_about_the_rx_makes_a_new_tag(self):
        exam = self.signed()
        order = self.place(self.body(exam))["id"]
        tag = {"If-None-Match": self.get(order, "lab").headers["ETag"]}
        path = f"/v1/orders/{order}"
        self.assertEqual(
            self.net.api("lab", "GET", path, headers=tag).status, 304)
        self.amend(exam, FINAL)
        answer = self.net.api("lab", "GET", path, headers=tag)
        self.assertEqual(answer.status, 200)
        self.assertEqual((answer.body["version"],
                          [c["code"] for c in answer.body["cautions"]]),
                         (1, ["rx-amended"]))


class Drafts(OrderCase):
    def draft(self, **more):
        return self.place({"exam": self.signed(), "draft": True, **more})["id"]

    def test_a_patch_merges_and_null_takes_away(self):
        order = self.draft(lens=LENS, notes="first")
        answer = self.patch(order, {
            "lens": {"index": 1.6, "tint": "grey"}, "frame": {"a_mm": 50},
            "notes": None, "lab": self.net.lab})
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(self.version(answer), 2)
        self.assertEqual(answer.body["lens"],
                         {"design": "single-vision", "material": "resin",
                          "index": 1.6, "treatments": [], "tint": "grey"})
        self.assertEqual(answer.body["frame"], {"a_mm": 50})
        self.assertNotIn("notes", answer.body)
        self.assertEqual(answer.body["lab_name"], "Workshop")
        self.assertEqual(self.get(order).body, answer.body)
        answer = self.patch(order, {"lab": None, "lens": {"tint": None}}, 2)
        self.assertEqual(answer.body["lab"], None)
        self.assertNotIn("lab_name", answer.body)
        self.assertIn("/lab", [g["pointer"] for g in answer.body["gaps"]])
        self.assertEqual(self.get(order).body, answer.body)

    def test_an_own_pd_can_be_given_and_taken_back(self):
        order = self.draft()
        answer = self.patch(order, {"pd_mm": {"right": 30}})
        self.assertEqual(answer.body["pd_mm"], {"right": 30, "left": 32})
        answer = self.patch(order, {"pd_mm": None}, 2)
        self.assertEqual(answer.body["pd_mm"], {"right": 31.5, "left": 32})

    def test_what_is_wrong_changes_nothing(self):
        order = self.draft()
        for body, pointer in (({"number": "2222-2222"}, "/number"),
                              ({"frame": {"a_mm": 1}}, "/frame/a_mm"),
                              ({"lab": uuid7()}, "/lab"),
                              ({"right": EYE}, "/right"),
                              ({"draft": False}, "/draft"),
                              ({"exam": uuid7()}, "/exam")):
            self.problem(self.patch(order, body), 422, pointer)
        self.problem(self.patch(order, {}, 7), 412)
        answer = self.net.api("desk", "PATCH", f"/v1/orders/{order}", {})
        self.problem(answer, 428)
        self.problem(self.patch(order, {}, role="lab"), 403)
        self.assertEqual(self.get(order).body["version"], 1)

    def test_placing_checks_what_ordering_at_once_does(self):
        order = self.draft(lens=LENS)
        self.problem(self.move(order, "desk", "requested"), 422,
                     "/frame/a_mm", "/frame/b_mm", "/frame/dbl_mm",
                     "/frame/ed_mm", "/lab")
        self.patch(order, {"frame": FRAME, "lab": self.net.lab})
        answer = self.move(order, "desk", "requested")
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(self.version(answer), 3)
        self.assertEqual([h["status"] for h in answer.body["history"]],
                         ["draft", "requested"])
        self.assertIsNotNone(answer.body["placed_at"])
        self.assertEqual(self.get(order).body, answer.body)
        self.assertEqual(self.get(order, "lab").status, 200)
        self.assertEqual(answer.body["check_word"],
                         self.place()["check_word"])
        self.problem(self.patch(order, {"notes": "x"}, 3), 409, "/status")

    def test_a_draft_can_be_dropped(self):
        order = self.draft()
        answer = self.move(order, "desk", "cancelled", note="changed his mind")
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(answer.body["history"][-1]["note"],
                         "changed his mind")
        self.problem(self.get(order, "lab"), 404)


class Moves(OrderCase):
    def run_moves(self, order, *moves):
        for role, status, stage in moves:
            answer = self.move(order, role, status, stage)
            self.assertEqual(answer.status, 200, answer.body)
        return answer.body

    def test_from_the_desk_to_the_wearer(self):
        order = self.place()["id"]
        done = self.run_moves(
            order, ("lab", "received", None), ("lab", "accepted", None),
            ("lab", "in-progress", None), ("lab", "in-progress", "cut"),
            ("lab", "on-hold", None), ("lab", "in-progress", None),
            ("lab", "in-progress", "checked"), ("lab", "completed", "sent"),
            ("desk", "completed", "arrived"),
            ("prescriber", "completed", "handed over"))
        self.assertEqual((done["status"], done["stage"]),
                         ("completed", "handed over"))
        self.assertEqual(
            [(h["status"], h.get("stage")) for h in done["history"]],
            [("requested", None), ("received", None), ("accepted", None),
             ("in-progress", None), ("in-progress", "cut"),
             ("on-hold", "cut"), ("in-progress", "cut"),
             ("in-progress", "checked"), ("completed", "sent"),
             ("completed", "arrived"), ("completed", "handed over")])
        self.assertEqual(done["history"][1]["by"]["name"], "User lab")
        self.assertEqual(done["version"], 11)
        self.assertEqual(self.get(order, "prescriber").body, done)

    def test_an_order_is_not_cancelled_once_it_is_cut(self):
        order = self.place()["id"]
        self.run_moves(order, ("lab", "accepted", None),
                       ("lab", "in-progress", "cut"))
        problem = self.problem(self.move(order, "desk", "cancelled"), 409,
                               "/status")
        self.assertIn("cut", problem["errors"][0]["detail"])
        before = self.place()["id"]
        self.run_moves(before, ("lab", "accepted", None),
                       ("lab", "in-progress", None),
                       ("desk", "cancelled", None))

    def test_unlawful_moves_are_refused_and_leave_all_as_it_was(self):
        order = self.place()["id"]
        for role, status, stage, want in (
                ("lab", "completed", None, 409), ("lab", "draft", None, 409),
                ("lab", "in-progress", None, 409),
                ("lab", "requested", None, 403),
                ("desk", "requested", None, 409),
                ("lab", "received", "cut", 409),
                ("lab", "cancelled", None, 403),
                ("desk", "received", None, 403),
                ("desk", "in-progress", "cut", 403),
                ("lab", "completed", "arrived", 403)):
            with self.subTest(role=role, status=status, stage=stage):
                self.problem(self.move(order, role, status, stage), want)
        kept = self.get(order).body
        self.assertEqual((kept["version"], kept["status"], kept["stage"],
                          len(kept["history"])), (1, "requested", None, 1))

    def test_a_wrong_body_and_a_stale_tag(self):
        order = self.place()["id"]
        path = f"/v1/orders/{order}/status"
        for body, pointer in (({}, "/status"), ({"status": "done"}, "/status"),
                              ({"status": "received", "stage": "x"}, "/stage"),
                              ({"status": "received", "note": 1}, "/note"),
                              ({"status": "received", "by": "me"}, "/by")):
            self.problem(self.net.api("lab", "POST", path, body,
                                      {"If-Match": '"1"'}), 422, pointer)
        self.problem(self.net.api("lab", "POST", path, {"status": "received"}),
                     428)
        self.problem(self.move(order, "lab", "received", version=2), 412)
        # A tag names the version, whosever view it is of.
        answer = self.net.api(
            "lab", "POST", path, {"status": "received"},
            {"If-Match": self.get(order).headers["ETag"]})
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(self.version(answer), 2)
        self.problem(self.move(order, "lab", "accepted", version=1), 412)
        self.assertEqual(self.svc.api("POST", path, {}).status, 401)
        self.problem(self.net.api("auditor", "POST", path, {}), 403)

    def test_a_lab_says_no_with_a_reason(self):
        order = self.place()["id"]
        answer = self.move(order, "lab", "rejected", note="no such index")
        self.assertEqual(answer.body["history"][-1]["note"], "no such index")
        self.problem(self.move(order, "lab", "accepted"), 409, "/status")


if __name__ == "__main__":
    unittest.main()
