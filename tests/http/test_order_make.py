"""Can the lab make it, and which power: signed or compensated."""

import unittest

from lenstest import Service
from order_case import (FINAL, FRAME, HEIGHTS, LENS, PROGRESSIVE, VARYING,
                        OrderCase)

WORN = {"worn_vertex_mm": 14, "tilt_deg": 0, "wrap_deg": 0}


def setUpModule():
    OrderCase.svc = Service()


def tearDownModule():
    OrderCase.svc.close()


def lens(sphere, cylinder=0, axis=None, **more):
    return {"sphere": sphere, "cylinder": cylinder, "axis": axis, **more}


class Make(OrderCase):
    def make(self, order, role="desk"):
        answer = self.get(order, role, "/make")
        self.assertEqual(answer.status, 200, answer.body)
        return answer.body

    def ordered(self, final, **more):
        return self.place(self.body(self.signed(
            {"vertex_mm": 12, "pd_mm": {"right": 31.5, "left": 32}, **final}),
            **more))

    def codes(self, eye):
        return [f["code"] for f in eye["findings"]]

    def near(self, got, sphere, cylinder, axis):
        self.assertAlmostEqual(got["sphere"], sphere, 2)
        self.assertAlmostEqual(got["cylinder"], cylinder, 2)
        self.assertAlmostEqual(got["axis"], axis, 2)

    def test_a_child_with_moved_lenses_gets_more_minus_farther_away(self):
        # P-08: -16.00 -2.50 x 158 and -19.00 -1.25 x 142 at 12 mm; at 14 mm
        # -16.53 -2.68 and -19.75 -1.35 (F / (1 - d F) in each meridian).
        eyes = {"right": lens(-16, -2.5, 158), "left": lens(-19, -1.25, 142)}
        order = self.ordered(eyes, frame=dict(FRAME, **WORN))
        made = self.make(order["id"])
        self.assertEqual(made["make_power"], "signed")
        self.near(made["right"]["signed"], -16, -2.5, 158)
        self.near(made["right"]["compensated"], -16.53, -2.68, 158)
        self.near(made["left"]["compensated"], -19.75, -1.35, 142)
        self.near(made["right"]["make_this_one"], -16, -2.5, 158)
        self.near(made["right"]["orderable"], -16.5, -2.75, 158)
        self.assertNotIn("made", order)
        self.assertEqual([c["code"] for c in order["cautions"]],
                         ["vertex-differs"])

    def test_a_compensated_power_is_told_as_the_one_to_make(self):
        eyes = {"right": lens(-16, -2.5, 158), "left": lens(-19, -1.25, 142)}
        order = self.ordered(eyes, frame=dict(FRAME, **WORN),
                             make_power="compensated")
        self.near(order["right"], -16, -2.5, 158)
        self.near(order["made"]["right"], -16.53, -2.68, 158)
        self.near(order["made"]["left"], -19.75, -1.35, 142)
        told = [c for c in order["cautions"]
                if c["code"] == "make-compensated"]
        self.assertEqual([c["eye"] for c in told], ["right", "left"])
        self.assertIn("make this one: sphere -16.53, cylinder -2.68, axis 158",
                      told[0]["text"])
        self.assertIn("14.00 mm", told[0]["text"])
        self.assertNotIn("vertex-differs",
                         [c["code"] for c in order["cautions"]])
        fhir = self.get(order["id"], tail="/fhir").body
        self.assertIn("make this one: sphere -16.53",
                      str(fhir["lensSpecification"][0]["note"]))
        self.assertEqual(fhir["lensSpecification"][0]["sphere"], -16)
        page = self.get(order["id"], tail=".html").body.decode()
        self.assertIn("make this one: sphere \u221216.53", page)
        data = self.get(order["id"], "lab", "/lab-data").body
        self.assertEqual(data["made"], order["made"])
        code = self.svc.psql("SELECT code FROM order_edition WHERE order_id ="
                             f" '{order['id']}'")[0][0]
        self.assertIn("MAKE-RIGHT SPH -16.53 CYL -2.68 AXIS 158", code)
        # And the finished pair is held to it.
        self.svc.psql("UPDATE orders SET status = 'completed'"
                      f" WHERE order_id = '{order['id']}'")
        check = self.net.api(
            "lab", "POST", f"/v1/orders/{order['id']}/bench-checks",
            {"profile": "ANSI Z80.1-2015", "pd_mm": {"right": 31.5,
                                                     "left": 32},
             "height_mm": {"right": 18, "left": 18},
             "right": lens(-16.5, -2.75, 158), "left": lens(-19.75, -1.25,
                                                            142)})
        self.assertEqual(check.status, 201, check.body)
        self.near(check.body["ordered"]["right"], -16.53, -2.68, 158)
        self.assertEqual(check.body["verdict"], "pass")

    def test_what_a_compensation_needs_is_a_gap(self):
        body = self.body(make_power="compensated")
        self.problem(self.post(body), 422, "/frame/worn_vertex_mm",
                     "/frame/tilt_deg", "/frame/wrap_deg")
        draft = self.place(dict(body, draft=True))
        self.assertEqual({g["pointer"] for g in draft["gaps"]},
                         {"/frame/worn_vertex_mm", "/frame/tilt_deg",
                          "/frame/wrap_deg"})
        exam = self.signed({k: v for k, v in FINAL.items()
                            if k != "vertex_mm"})
        self.problem(self.post(self.body(exam, make_power="compensated",
                                         frame=dict(FRAME, **WORN))), 422,
                     "/vertex_mm")
        self.problem(self.post(self.body(make_power="both")), 422,
                     "/make_power")

    def test_tilt_alone_turns_a_sphere_into_a_lens_with_a_cylinder(self):
        # Thin lens exactly, n 1.498, 10 degrees: t' = 6.657, k = (1.498 cos
        # t' - cos t) / 0.498 = 1.01023; the lens is -10 / k along and
        # -10 cos^2 t / k across, so a plus cylinder at 180 to make.
        order = self.ordered(
            {"right": lens(-10), "left": lens(-10)},
            frame=dict(FRAME, worn_vertex_mm=12, tilt_deg=10, wrap_deg=0))
        eye = self.make(order["id"])["right"]
        along, across = -9.8988, -9.6003
        got = eye["compensated"]
        meridians = sorted((got["sphere"], got["sphere"] + got["cylinder"]))
        self.assertAlmostEqual(meridians[0], along, 2)
        self.assertAlmostEqual(meridians[1], across, 2)

    def test_what_can_not_be_made_is_said_with_a_proposal_before_placing(self):
        wide = {"a_mm": 56, "b_mm": 40, "dbl_mm": 24, "ed_mm": 58}
        draft = self.place(self.body(self.signed(
            {"right": lens(-10), "left": lens(-1), "vertex_mm": 12,
             "pd_mm": {"right": 28, "left": 28}}), frame=wide,
            draft=True))["id"]
        made = self.make(draft)
        self.assertEqual(self.codes(made["right"]),
                         ["blank-too-small", "thick"])
        self.assertEqual(self.codes(made["left"]), ["blank-too-small"])
        # Decentration (56 + 24) / 2 - 28 = 12 in; least blank ED + 2 x 12 + 2.
        self.assertEqual(made["left"]["estimate"]["decentration"]["in_mm"], 12)
        self.assertEqual(made["left"]["estimate"]["least_blank_mm"], 84)
        for finding in made["right"]["findings"]:
            self.assertTrue(finding["proposal"])
        # A frame that fits the patient has neither.
        self.assertEqual(self.patch(draft, {"frame": {
            "a_mm": 46, "b_mm": 36, "dbl_mm": 16, "ed_mm": 48},
            "lens": {"material": "polyurethane", "index": 1.67}}).status, 200)
        made = self.make(draft)
        self.assertEqual(self.codes(made["left"]), [])

    def test_figures_that_no_lens_has_are_named(self):
        made = self.make(self.place(self.body(
            frame=dict(FRAME, ed_mm=30)))["id"])
        self.assertEqual(self.codes(made["right"]), ["figures-impossible"])
        self.assertIn("ed_mm", made["right"]["findings"][0]["text"])
        self.assertNotIn("estimate", made["right"])

    def test_a_progressive_lens_needs_room_below_its_cross(self):
        body = self.body(self.signed(VARYING), lens=PROGRESSIVE,
                         frame=dict(FRAME, fitting_height_mm={
                             "right": 14, "left": 22}))
        made = self.make(self.place(body)["id"])
        # Corridor 14 mm and near zone 3 mm (common practice).
        self.assertEqual(self.codes(made["right"]), ["height-too-small"])
        self.assertEqual(made["right"]["findings"][0]["mm"], 17)
        self.assertEqual(self.codes(made["left"]), [])

    def test_reading_level_and_slab_off(self):
        # P-14 c: right -4.50 -1.50 x 180, left -1.00 -1.00 x 030, equal adds,
        # 10 mm down: 6.00 and 1.75 base down, 4.25 apart, less at the right.
        order = self.ordered(
            {"right": lens(-4.5, -1.5, 180, add=2),
             "left": lens(-1, -1, 30, add=2), "pd_mm": {
                 "right": 31, "left": 31, "near": 58}},
            lens=dict(LENS, design="bifocal"),
            frame=dict(FRAME, fitting_height_mm=HEIGHTS))
        level = self.make(order["id"])["reading_level"]
        self.assertEqual((level["known"], level["vertical"],
                          level["slab_off"]),
                         (True, -4.25, {"eye": "right", "amount": 4.5}))
        # P-15: unequal adds, segments not known: not computed.
        order = self.ordered(
            {"right": lens(5, add=3), "left": lens(2, add=1), "pd_mm": {
                "right": 31, "left": 31, "near": 58}},
            lens=dict(LENS, design="bifocal"),
            frame=dict(FRAME, fitting_height_mm=HEIGHTS))
        self.assertEqual(self.make(order["id"])["reading_level"],
                         {"down_mm": 10, "known": False})

    def test_who_may_look(self):
        order = self.place()["id"]
        for role, status in (("desk", 200), ("prescriber", 200), ("lab", 200),
                             ("admin", 200), ("auditor", 200),
                             ("device", 403)):
            self.assertEqual(self.get(order, role, "/make").status, status)
        self.problem(self.get(order, "desk", "/make", self.svc.network()),
                     404)
        draft = self.place(draft=True)["id"]
        self.problem(self.get(draft, "lab", "/make"), 404)

    def test_an_amended_order_on_paper_says_what_differs(self):
        order = self.place()["id"]
        answer = self.net.api(
            "desk", "POST", f"/v1/orders/{order}/amend",
            {"reason": "x", "pd_mm": {"right": 31.5, "left": 31}},
            {"If-Match": '"1"'})
        self.assertEqual(answer.status, 200, answer.body)
        page = self.get(order, tail=".html").body.decode()
        self.assertIn("left far PD: 31 mm, was 32 mm", page)
        self.assertIn("version 1", page)
        self.assertEqual(self.get(order, tail=".pdf").status, 200)


if __name__ == "__main__":
    unittest.main()
