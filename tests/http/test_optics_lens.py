"""POST /v1/optics/{function}: frames, tolerances, pairs, lenses to be made.

The case files of these functions run in test_optics.py.
"""

import unittest

from lenstest import Service


def setUpModule():
    global svc, net
    svc = Service()
    net = svc.network()


def tearDownModule():
    svc.close()


def ask(function, body):
    return svc.api("POST", f"/v1/optics/{function}", body, net.tokens["lab"])


class Case(unittest.TestCase):
    def right(self, function, body):
        answer = ask(function, body)
        self.assertEqual(answer.status, 200, answer.body)
        return answer.body

    def refused(self, function, body, *errors):
        answer = ask(function, body)
        self.assertEqual(answer.status, 422, answer.body)
        self.assertEqual([(e["pointer"], e["detail"])
                          for e in answer.body["errors"]], list(errors))


FRAME = {"a_mm": 52, "dbl_mm": 18, "ed_mm": 56, "pd_mm": 60,
         "allowance_mm": 1}
LENS = {"back_vertex_power": 4, "front_power": 6, "index": 1.5,
        "diameter_mm": 60}


class Frame(Case):
    def test_one_many_and_none(self):
        one = self.right("blank-size", FRAME)
        # Forum archive t-1795: frame PD 70, eyes 60, ED 56, 1 mm: 67.
        self.assertEqual(one, {"frame_pd_mm": 70, "decentration_each_mm": 5,
                               "minimum_blank_mm": 67})
        self.assertEqual(self.right("blank-size", [FRAME] * 3), [one] * 3)
        self.assertEqual(self.right("blank-size", []), [])

    def test_what_is_flat_has_no_radius(self):
        flat = self.right("sag", {"surface_power": 0, "index": 1.5,
                                  "diameter_mm": 60})
        self.assertEqual(flat, {"radius_mm": None, "sag_mm": 0,
                                "sag_approx_mm": 0})
        self.assertEqual(
            self.right("nominal-power", [
                {"index": 1.5}, {"index": 1.5, "front_radius_m": None,
                                 "back_radius_m": 0.5}]),
            [{"power": 0}, {"power": 1}])

    def test_nonsense_is_named(self):
        self.refused("blank-size", [FRAME, dict(FRAME, ed_mm=51)],
                     ("/1/ed_mm", '"51" is under a_mm'))
        self.refused("blank-size", {"a_mm": "52", "dbl": 18, "ed_mm": 56,
                                    "pd_mm": 60, "allowance_mm": -1},
                     ("/dbl", "no such field here"),
                     ("/a_mm", "must be a number"),
                     ("/dbl_mm", "is required"),
                     ("/allowance_mm", '"-1" is outside 0 to 20 mm'))
        self.refused("sag", {"surface_power": 20, "index": 1.5,
                             "diameter_mm": 60},
                     ("/diameter_mm",
                      '"60" is wider than a surface of the lens'))
        self.refused("edge-thickness", dict(LENS, index=0.9, centre_mm=3),
                     ("/index", '"0.9" is outside 1.001 to 3'))
        self.refused("centre-thickness",
                     dict(LENS, back_vertex_power=-4, min_edge_mm=1),
                     ("/min_edge_mm",
                      '"1" is exceeded at any centre thickness'))
        self.refused("nominal-power", {"index": 1.5, "front_radius_m": 0},
                     ("/front_radius_m", '"0" is outside -1000 to 1000 m or '
                      "within 0.001 of 0"))
        self.refused("segment-drop", {"b_mm": 30, "segment_height_mm": 31},
                     ("/segment_height_mm", '"31" is above b_mm'))
        self.refused("edge-from-curvatures",
                     {"front_curvature": 0.04, "back_curvature": 0,
                      "centre_mm": 3, "semi_diameter_mm": 26},
                     ("/semi_diameter_mm",
                      '"26" is wider than a surface of the lens'))


def lens(sphere, cylinder=0, axis=None):
    return {"sphere": sphere, "cylinder": cylinder, "axis": axis}


class Tolerance(Case):
    def power(self, profile, ordered, measured, kind="single-vision"):
        return self.right("tolerance-power", {
            "profile": profile, "lens_type": kind, "ordered": ordered,
            "measured": measured})

    def test_p16_one_lens_two_editions(self):
        for ordered, measured in ((lens(0, -0.25, 90), lens(0, -0.25, 100)),
                                  (lens(0, -0.5, 90), lens(0, -0.5, 96))):
            for profile, want in (("ANSI Z80.1-1999", "fail"),
                                  ("ANSI Z80.1-2005", "pass")):
                got = self.power(profile, ordered, measured)
                self.assertEqual(got["verdict"]["axis"], want)
                self.assertEqual(got["lines"]["axis"]["verdict"], want)

    def test_p17_a_boundary_in_two_rows_is_at_the_limit(self):
        got = self.power("ANSI Z80.1-2015", lens(-1, -2, 90),
                         lens(-1, -1.86, 90))
        self.assertEqual(got["verdict"]["cylinder"], "fail")
        line = got["lines"]["cylinder"]
        self.assertEqual(line["verdict"], "at-limit")
        self.assertEqual([(r["limit"], r["verdict"]) for r in line["rules"]],
                         [(0.13, "fail"), (0.15, "pass")])
        self.assertTrue(all(r["source"] for r in line["rules"]))

    def test_the_sphere_is_read_by_both_meridians(self):
        line = self.power("ANSI Z80.1-2015", lens(-6.25, -1, 180),
                          lens(-6.11, -1, 180))["lines"]["sphere"]
        self.assertEqual(line["verdict"], "at-limit")
        self.assertEqual([(r["by"], r["verdict"]) for r in line["rules"]],
                         [("sphere meridian in minus form", "fail"),
                          ("meridian of highest power", "pass")])

    def test_a_profile_says_only_what_was_seen_of_it(self):
        got = self.power("ANSI Z80.1-2005", lens(1), lens(2))
        self.assertEqual(got["verdict"], {
            "sphere": "n/a", "cylinder": "n/a", "axis": "n/a"})
        self.assertEqual(got["limit"], {
            "sphere": None, "cylinder": None, "axis": None})
        place = self.right("tolerance-prism", dict(
            PLACE, profile="ANSI Z80.1-2005"))["vertical"]
        self.assertEqual((place["by"], place["verdict"]), (None, "n/a"))

    def test_there_is_no_default_profile(self):
        body = {"lens_type": "bifocal", "ordered": lens(1),
                "measured": lens(1)}
        self.refused("tolerance-power", body, ("/profile", "is required"))
        for word in ("ANSI", "ISO 21987"):
            answer = ask("tolerance-power", dict(body, profile=word))
            self.assertEqual(answer.status, 422)
            self.assertEqual(answer.body["errors"][0]["pointer"], "/profile")

    def test_nonsense_is_named(self):
        self.refused("tolerance-power", {
            "profile": "ANSI Z80.1-2015", "lens_type": "progressive",
            "ordered": lens(1, -1), "measured": {"sphere": 1, "add": 2}},
            ("/ordered/axis", "is required with a cylinder"),
            ("/measured/add", "no such field here"))
        self.refused("tolerance-prism", dict(PLACE, vertical_power=-1),
                     ("/vertical_power", '"-1" is outside 0 to 1000 D'))
        self.refused("axis-tolerance", {"cylinder": 0, "error": 0.12},
                     ("/cylinder", '"0" is none, and has no axis'))

    def test_the_type_of_lens_decides(self):
        sv, pal = (self.right("tolerance-prism", dict(
            PLACE, horizontal_power=3, lens_type=kind))["horizontal"]
            for kind in ("single-vision", "progressive"))
        self.assertEqual((sv["by"], pal["by"]), ("mm", "prism"))


PLACE = {"profile": "ANSI Z80.1-2015", "vertical_power": 1,
         "horizontal_power": 1, "vertical_imbalance": 0.1, "vertical_mm": 0.5,
         "horizontal_imbalance": 0.1, "horizontal_mm": 0.5}


if __name__ == "__main__":
    unittest.main()
