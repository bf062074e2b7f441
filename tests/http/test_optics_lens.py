"""POST /v1/optics/{function}: frames, tolerances, pairs, lenses to be made.

The case files of these functions run in test_optics.py.
"""

import math
import random
import unittest

from lenstest import Service
from optics_case import OpticsCase


def setUpModule():
    OpticsCase.svc = Service()
    OpticsCase.token = OpticsCase.svc.network().tokens["lab"]


def tearDownModule():
    OpticsCase.svc.close()


FRAME = {"a_mm": 52, "dbl_mm": 18, "ed_mm": 56, "pd_mm": 60,
         "allowance_mm": 1}
LENS = {"back_vertex_power": 4, "front_power": 6, "index": 1.5,
        "diameter_mm": 60}


class Frame(OpticsCase):
    def test_one_many_and_none(self):
        one = self.right("blank-size", FRAME)
        # Forum archive t-1795: frame PD 70, eyes 60, ED 56, 1 mm: 67.
        self.assertEqual(one, {"frame_pd_mm": 70, "decentration_each_mm": 5,
                               "minimum_blank_mm": 67})
        self.assertEqual(self.right("blank-size", [FRAME] * 3), [one] * 3)
        self.refused(
            "blank-size", [], ("", "must hold 1 to 100000 items, not 0"))

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


class Tolerance(OpticsCase):
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
            answer = self.ask("tolerance-power", dict(body, profile=word))
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


def glass(sphere, cylinder=0, axis=None, **more):
    return {"sphere": sphere, "cylinder": cylinder, "axis": axis,
            "pd_mm": 31, "height_mm": 20, **more}


def finished(ordered, delivered=None):
    return {"ordered": ordered, "delivered": delivered or ordered}


def pair(right, left=None, **more):
    return {"profile": "ANSI Z80.1-2015", "lens_type": "single-vision",
            "right": right, "left": left or right, **more}


def along(g, meridian):
    """Power in a meridian, by the sine-squared law."""
    return g["sphere"] + g["cylinder"] * math.sin(
        math.radians(meridian - (g["axis"] or 0))) ** 2


def path(g, x, y):
    """Half the power times the distance squared, along the ray's own
    meridian: what a thin lens takes off the path at x, y (cm), times 100."""
    return along(g, math.degrees(math.atan2(y, x))) * (x * x + y * y) / 2


def deviation(g, x, y, h=1e-4):
    """Base of the prism met at x, y from the centre: the slope of the path
    (finite differences), against x and y."""
    return (-(path(g, x + h, y) - path(g, x - h, y)) / (2 * h),
            -(path(g, x, y + h) - path(g, x, y - h)) / (2 * h))


def residual(ordered, delivered):
    """Minus-form lens of the difference, by searching its meridians."""
    def off(t):
        return along(delivered, t) - along(ordered, t)

    top = max(range(720), key=lambda n: off(n / 4)) / 4
    for step in (0.1, 0.01, 0.001, 1e-4, 1e-5):
        top = max((top + n * step for n in range(-10, 11)), key=off)
    return off(top), off(top + 90) - off(top), top % 180 or 180


def wrong_pair(rng):
    def quarter(low, high):
        return rng.randint(low * 4, high * 4) / 4

    eyes = {}
    for side in ("right", "left"):
        g = glass(quarter(-8, 8), quarter(-4, 0), rng.randint(1, 180),
                  prism={"base_in": quarter(-2, 2), "base_up": quarter(-2, 2)})
        d = glass(g["sphere"] + rng.uniform(-.3, .3),
                  g["cylinder"] + rng.uniform(-.3, .3),
                  (g["axis"] + rng.randint(-9, 9) - 1) % 180 + 1,
                  prism={k: v + rng.uniform(-.3, .3)
                         for k, v in g["prism"].items()},
                  pd_mm=31 + rng.uniform(-3, 3),
                  height_mm=20 + rng.uniform(-3, 3))
        eyes[side] = finished(g, d)
    return pair(eyes["right"], eyes["left"])


class Pair(OpticsCase):
    def test_residual_and_centring_by_another_way(self):
        """The core adds power vectors and multiplies matrices; here meridians
        are searched and the slope of a thin lens is taken."""
        rng = random.Random(7)
        asked = [wrong_pair(rng) for _ in range(300)]
        for body, got in zip(asked, self.right("pair-check", asked)):
            errors = {}
            for side, inwards in (("right", 1), ("left", -1)):
                was, now = body[side]["ordered"], body[side]["delivered"]
                s, c, a = residual(was, now)
                found = got[side]["residual"]
                self.assertAlmostEqual(found["sphere"], s, 6)
                self.assertAlmostEqual(found["cylinder"], c, 6)
                if c < -0.01:
                    turn = abs(found["axis"] - a) % 180
                    self.assertLess(min(turn, 180 - turn), 0.01)
                # The eye stands inwards of a centre that is too wide, and
                # below one that is too high.
                x = inwards * (now["pd_mm"] - was["pd_mm"]) / 10
                y = (was["height_mm"] - now["height_mm"]) / 10
                h, v = deviation(now, x, y)
                centring = got[side]["centring_prism"]
                self.assertAlmostEqual(centring["base_in"], inwards * h, 5)
                self.assertAlmostEqual(centring["base_up"], v, 5)
                errors[side] = [
                    now["prism"][k] - was["prism"][k] + centring[k]
                    for k in ("base_in", "base_up")]
            both = got["both"]
            self.assertAlmostEqual(
                both["horizontal_imbalance"],
                errors["right"][0] + errors["left"][0], 9)
            self.assertAlmostEqual(
                both["vertical_imbalance"],
                errors["right"][1] - errors["left"][1], 9)

    def test_a_pair_as_ordered(self):
        got = self.right("pair-check", pair(finished(glass(-2, -1, 30))))
        self.assertEqual((got["verdict"], got["not_judged"]), ("pass", []))
        self.assertEqual(got["right"]["residual"], {
            "sphere": 0, "cylinder": 0, "axis": None, "m": 0, "j0": 0,
            "j45": 0, "blur": 0})
        self.assertEqual(sorted(got["right"]["lines"]),
                         ["axis", "cylinder", "sphere"])
        self.assertEqual(sorted(got["both"]["lines"]),
                         ["horizontal", "vertical"])
        self.assertIn("local rules", got["caution"])

    def test_not_judged_lists_what_and_why(self):
        """4 mm to one side before -2.00 is 0.80 in and 0.80 out."""
        body = pair(finished(glass(-2), glass(-2, pd_mm=27)),
                    finished(glass(-2), glass(-2, pd_mm=35)))
        got = self.right("pair-check", body)
        self.assertEqual(got["both"]["horizontal_imbalance"], 0)
        self.assertEqual(got["both"]["lines"]["horizontal"]["verdict"],
                         "pass")
        self.assertEqual((got["verdict"], got["not_judged"]), ("not-judged", [
            {"eye": "both", "what": "horizontal imbalance", "why":
             "the errors of the two lenses cancel, and no rule holds one "
             "lens"}]))
        body["right"]["delivered"]["add"] = 1
        got = self.right("pair-check", body)["not_judged"]
        self.assertEqual(got[0], {"eye": "right", "what": "add",
                                  "why": "a figure is missing"})

    def test_prism_thinning_of_progressives_is_said_and_does_not_fail(self):
        """1.50 base down in both; ordered, it passes."""
        thin = {"base_in": 0, "base_up": -1.5}
        for sphere in (-4, -1, 2, 5):
            made = glass(sphere, add=2, prism=thin)
            for ordered, verdict, n in ((glass(sphere, add=2), "not-judged",
                                         1), (made, "pass", 0)):
                got = self.right("pair-check", pair(
                    finished(ordered, made), lens_type="progressive"))
                self.assertEqual((got["verdict"], len(got["not_judged"])),
                                 (verdict, n))
            self.assertEqual(
                got["both"]["lines"]["vertical"]["verdict"], "pass")

    def test_a_failed_pair_names_what_would_explain_it(self):
        """Each mistake made here by hand, in the figures as they are typed."""
        good = {"right": glass(-2.25, -1.25, 20), "left": glass(-3, -0.5, 165)}

        def read(**more):
            return {**good["right"], **more}

        for what, eye, right, left in (
                ("right and left are exchanged", "both", good["left"],
                 good["right"]),
                ("the axis is 90 degrees off", "right", read(axis=110),
                 good["left"]),
                ("the axis is mirrored: the lens was read from its other side",
                 "both", read(axis=160), {**good["left"], "axis": 15}),
                ("the sign of the cylinder is wrong", "right",
                 read(cylinder=1.25), good["left"]),
                ("sphere and cylinder are of different cylinder forms",
                 "right", read(cylinder=1.25, axis=110), good["left"]),
                ("the sign of the sphere is wrong", "left", good["right"],
                 {**good["left"], "sphere": 3}),
                ("the signs of sphere and cylinder are wrong", "right",
                 read(sphere=2.25, cylinder=1.25), good["left"])):
            got = self.right("pair-check", pair(
                finished(good["right"], right), finished(good["left"], left)))
            with self.subTest(what):
                self.assertEqual(got["verdict"], "fail")
                first = got["explanations"][0]
                self.assertEqual((first["what"], first["eye"],
                                  first["verdict"]), (what, eye, "pass"))
                self.assertLess(first["size"], 1e-9)
                sizes = [e["size"] for e in got["explanations"]]
                self.assertEqual(sizes, sorted(sizes))
                self.assertLess(sizes[-1], got["size"] / 2)
                # Nothing is applied: the residual is of what was measured.
                s, c, _ = residual(good["right"], right)
                self.assertAlmostEqual(got["right"]["residual"]["sphere"], s,
                                       6)
                self.assertAlmostEqual(got["right"]["residual"]["cylinder"],
                                       c, 6)
        got = self.right("pair-check", pair(finished(good["right"])))
        self.assertNotIn("explanations", got)

    def test_a_base_turned_round_is_what_explains_a_prism(self):
        """1.00 in and 1.50 down, made out and up: 3.61 cm/m too much."""
        ordered = glass(-3, prism={"base_in": 1, "base_up": -1.5})
        got = self.right("pair-check", pair(finished(glass(-3)), finished(
            ordered, {**ordered, "prism": {"base_in": -1, "base_up": 1.5}})))
        self.assertEqual(got["verdict"], "fail")
        self.assertAlmostEqual(got["size"], math.hypot(2, 3), 12)
        (only,) = got["explanations"]
        self.assertEqual((only["what"], only["eye"], only["verdict"]), (
            "the base of the prism is turned round", "left", "pass"))
        self.assertEqual(only["left"]["prism"], {"base_in": 0, "base_up": 0})

    def test_a_lens_read_from_its_other_side_by_rays(self):
        """Front +10.00, 8 mm of 1.6: vertex powers by taking light through
        both surfaces from either side, one after the other; the add of a front
        of +12.25 read through the back."""
        n, t = 1.6, 0.008

        def vertex(first, second):
            # Parallel light meets the surface first; where it is focused.
            focus = 1 / (first / n) - t
            return n / focus + second

        back = -4.0
        behind, before = vertex(10, back), vertex(back, 10)
        body = {"front_power": 10, "index": 1.6, "thickness_mm": 8}
        asked = pair(finished(glass(behind), glass(before)),
                     finished(glass(behind)))
        asked["right"]["body"] = body
        got = self.right("pair-check", asked)["explanations"]
        self.assertEqual([(e["what"], e["eye"]) for e in got],
                         [("the front vertex power was read", "right")])
        self.assertLess(got[0]["size"], 1e-9)
        through = vertex(12.25, back) - behind
        asked = pair(finished(glass(behind, add=2.25),
                              glass(behind, add=through)),
                     finished(glass(behind, add=2.25)), lens_type="bifocal")
        asked["right"]["body"] = body
        got = self.right("pair-check", asked)["explanations"]
        self.assertEqual([e["what"] for e in got],
                         ["the add was read through the back"])
        self.assertAlmostEqual(got[0]["right"]["add_error"], 0, 9)
        asked["right"]["body"] = {**body, "thickness_mm": 160, "index": 0.9}
        self.refused(
            "pair-check", asked,
            ("/right/body/index", '"0.9" is outside 1.001 to 3'),
            ("/right/body/thickness_mm", '"160" is outside 0 to 100 mm'))
        asked["right"]["body"] = {**body, "front_power": 20,
                                  "thickness_mm": 80}
        self.refused("pair-check", asked, (
            "/right/body/front_power",
            '"20" has its focal point inside the lens'))

    def test_p18_the_residual_stands_beside_the_verdict(self):
        got = self.right("pair-check", pair(
            finished(glass(0, -6, 90), glass(0, -6, 92))))["right"]
        self.assertEqual(got["lines"]["axis"]["verdict"], "pass")
        self.assertAlmostEqual(got["residual"]["cylinder"], -0.4188, 4)
        self.assertAlmostEqual(got["residual"]["m"], 0, 9)

    def test_p19_centres_wider_than_the_eyes(self):
        for sphere in (-3, 3):
            got = self.right("pair-check", pair(finished(
                glass(sphere, pd_mm=59.9 / 2), glass(sphere, pd_mm=32.8))))
            self.assertAlmostEqual(got["both"]["horizontal_imbalance"],
                                   -0.57 * sphere)
            line = got["both"]["lines"]["horizontal"]
            self.assertEqual((line["verdict"], got["verdict"]),
                             ("fail", "fail"))
            self.assertAlmostEqual(line["rules"][0]["error"], 5.7)

    def test_a_loose_lens_between_and_and_or(self):
        got = self.right("pair-check", {
            "profile": "ANSI Z80.1-2015", "lens_type": "progressive",
            "mounted": False, "right": finished(
                glass(-6, add=2), glass(-6, add=2, pd_mm=31.9))})
        point = got["right"]["lines"]["reference_point"]
        self.assertEqual([(r["unit"], r["verdict"]) for r in point["rules"]],
                         [("prism", "fail"), ("mm", "pass")])
        self.assertEqual((point["verdict"], got["verdict"]),
                         ("at-limit", "at-limit"))
        self.assertEqual(got["right"]["add_error"], 0)
        self.assertNotIn("left", got)
        self.assertNotIn("both", got)

    def test_bifocals_have_segments(self):
        one = glass(1, add=2, segment_height_mm=16)
        got = self.right("pair-check", pair(
            finished(one, dict(one, segment_height_mm=16.8)),
            finished(one, dict(one, segment_height_mm=15.7)),
            lens_type="bifocal"))
        self.assertEqual(got["right"]["lines"]["segment_height"]["verdict"],
                         "pass")
        self.assertEqual(got["both"]["lines"]["segment_heights"]["verdict"],
                         "fail")

    def test_nonsense_is_named(self):
        self.refused("pair-check", {"profile": "ANSI Z80.1-2015",
                                    "lens_type": "single-vision"},
                     ("/right", "is required where there is no left"))
        lacks = glass(-2)
        del lacks["pd_mm"]
        self.refused(
            "pair-check", pair(finished(glass(-2), lacks),
                               finished(glass(-2, -1), glass(99999))),
            ("/right/delivered/pd_mm", "is required: ordered and delivered "
             "both have it or neither"),
            ("/left/ordered/axis", "is required with a cylinder"),
            ("/left/delivered/sphere", '"99999" is outside -1000 to 1000 D'))
        self.refused("pair-check", [pair(finished(glass(-2))), pair(
            finished(lacks, glass(-2)), mounted="yes")],
            ("/1/mounted", "must be true or false, not a text"),
            ("/1/right/ordered/pd_mm", "is required: ordered and delivered "
             "both have it or neither"),
            ("/1/left/ordered/pd_mm", "is required: ordered and delivered "
             "both have it or neither"))
        self.refused("pair-check", pair(finished(
            glass(-2, prism={"base_in": 1, "base": "up"}))),
            *[(f"/{side}/{what}{name}", why) for side in ("right", "left")
              for what in ("ordered", "delivered")
              for name, why in (("/prism/base", "no such field here"),
                                ("/prism/base_up", "is required"))])


def lens_to_make(**more):
    return {"eye": "right", "sphere": -2, "front_power": 4, "index": 1.6,
            "density_g_cm3": 1.3, "a_mm": 52, "b_mm": 38, "dbl_mm": 18,
            "ed_mm": 56, "pd_mm": 31, "height_mm": 21, "min_centre_mm": 1.5,
            "min_edge_mm": 1, "allowance_mm": 1, **more}


def bisect(rises, low, high):
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if rises(middle) > 0 else (middle, high)
    return (low + high) / 2


class Geometry:
    """The same lens from the shapes themselves: where a line parallel to the
    axis meets sphere and torus, a contour walked by its parameter, a volume of
    slices.  No sag formula, no search, no polar integral."""

    def __init__(self, body, centre_mm):
        n = body["index"] - 1
        met = 1 / (1 / body["front_power"] - centre_mm / 1000 / body["index"])
        self.front = 1000 * n / body["front_power"]
        self.along = 1000 * n / (met - body["sphere"])
        self.across = 1000 * n / (
            met - body["sphere"] - body.get("cylinder", 0))
        self.turn = math.radians(body.get("axis") or 0)
        inwards = 1 if body["eye"] == "right" else -1
        prism = body.get("prism", {"base_in": 0, "base_up": 0})
        # Deviation (n - 1) * slope, in hundredths.
        self.slope = (inwards * prism["base_in"] / 100 / n,
                      prism["base_up"] / 100 / n)
        self.centre_mm = centre_mm
        self.x = inwards * ((body["a_mm"] + body["dbl_mm"]) / 2
                            - body["pd_mm"])
        self.y = body["height_mm"] - body["b_mm"] / 2
        self.a, self.b = body["a_mm"] / 2, body["b_mm"] / 2
        self.power = self.shape(body["ed_mm"] / 2)

    def contour(self, p, t):
        c, s = math.cos(t), math.sin(t)
        return (math.copysign(self.a * abs(c) ** (2 / p), c),
                math.copysign(self.b * abs(s) ** (2 / p), s))

    def shape(self, far):
        """The exponent whose contour reaches as far, by walking it."""
        def over(p):
            return max(math.hypot(*self.contour(p, n * math.pi / 4000))
                       for n in range(2001)) - far

        return bisect(over, 2, 200)

    def thickness(self, x, y):
        """At x, y from the boxed centre."""
        x, y = x - self.x, y - self.y
        u = x * math.cos(self.turn) + y * math.sin(self.turn)
        v = y * math.cos(self.turn) - x * math.sin(self.turn)
        # Sphere around (0, 0, front): on it the distance is the radius.
        front = bisect(lambda z: self.front - math.hypot(
            x, y, z - self.front), 0, self.front)
        # The circle in the axis plane, turned about the line at across: a
        # point stands on it where its distance from that line is the circle's.
        circle = bisect(lambda z: self.along - math.hypot(
            u, z - self.along), 0, self.along)
        arm = self.across - circle
        back = bisect(lambda z: arm - math.hypot(v, z - self.across),
                      circle, self.across)
        return self.centre_mm + back - front + (
            self.slope[0] * x + self.slope[1] * y)

    def rim(self, steps):
        """By even steps of x, and of y."""
        p = self.power
        for n in range(steps + 1):
            part = -1 + 2 * n / steps
            other = (1 - abs(part) ** p) ** (1 / p)
            for sign in (-1, 1):
                yield self.a * part, sign * self.b * other
                yield sign * self.a * other, self.b * part

    def volume(self, slices=60):
        """Simpson along rows, the middle rule between them."""
        total, step = 0, 2 * self.b / slices
        for i in range(slices):
            y = -self.b + (i + 0.5) * step
            half = self.a * (1 - abs(y / self.b) ** self.power) ** (
                1 / self.power)
            h = half / 6
            total += step * h / 3 * sum(
                (1 if k in (0, 12) else 4 if k % 2 else 2)
                * self.thickness(-half + k * h, y) for k in range(13))
        return total


MAKES = [
    lens_to_make(),
    lens_to_make(eye="left", sphere=-4, cylinder=-2, axis=30, ed_mm=53,
                 pd_mm=29.5),
    lens_to_make(sphere=5, cylinder=-1.5, axis=100, front_power=8,
                 height_mm=17),
    lens_to_make(eye="left", sphere=-1, cylinder=-1, axis=145,
                 front_power=5, prism={"base_in": 2, "base_up": -1.5}),
    lens_to_make(sphere=3, front_power=6.5, index=1.523, ed_mm=60,
                 density_g_cm3=2.54, prism={"base_in": 0, "base_up": 3}),
]


class Make(OpticsCase):
    def test_thickness_and_weight_by_another_way(self):
        for body, got in zip(MAKES, self.right("manufacturability", MAKES)):
            with self.subTest(body["sphere"]):
                shape = Geometry(body, got["centre_mm"])
                rim = [shape.thickness(x, y) for x, y in shape.rim(300)]
                self.assertAlmostEqual(got["edge"]["thinnest"]["mm"],
                                       min(rim), 3)
                self.assertAlmostEqual(got["edge"]["thickest"]["mm"],
                                       max(rim), 3)
                self.assertAlmostEqual(
                    got["shape_blank_mm"] - 1,
                    2 * max(math.hypot(x - shape.x, y - shape.y)
                            for x, y in shape.rim(3000)), 1)
                for spot in got["edge"]["meridians"] + [got["least"]]:
                    self.assertAlmostEqual(
                        shape.thickness(spot["x_mm"], spot["y_mm"]),
                        spot["mm"], 6)
                volume = shape.volume()
                self.assertLess(abs(got["volume_mm3"] / volume - 1), 0.002)
                self.assertAlmostEqual(
                    got["weight_g"],
                    got["volume_mm3"] / 1000 * body["density_g_cm3"])

    def test_one_minimum_decides_the_centre(self):
        for body, got in zip(MAKES, self.right("manufacturability", MAKES)):
            over = (got["centre_mm"] - body["min_centre_mm"],
                    got["least"]["mm"] - body["min_edge_mm"])
            self.assertGreater(min(over), -1e-6)
            self.assertAlmostEqual(min(over), 0, 6)

    def test_meridians_stand_on_the_shape_a_quarter_apart(self):
        got = self.right("manufacturability", MAKES[1])["edge"]["meridians"]
        # Left eye: decentred 5.5 inwards is 5.5 to the examiner's left.
        turns = [math.degrees(math.atan2(s["y_mm"] - 2, s["x_mm"] + 5.5))
                 for s in got]
        for i, turn in enumerate(turns):
            self.assertAlmostEqual((turn - 30 - 90 * i + 180) % 360, 180, 6)

    def test_findings_say_what_is_short_and_by_how_much(self):
        body = lens_to_make(blank_mm=65, corridor_mm=18, near_zone_mm=4)
        got = self.right("manufacturability", body)
        # ED 56 + 2 * sqrt(4^2 + 2^2) + 1 against 65; 18 + 4 against 21.
        self.assertEqual([(f["code"], round(f["mm"], 3))
                          for f in got["findings"]],
                         [("blank-too-small", 0.944),
                          ("fitting-height-low", 1)])
        self.assertEqual(got["least_fitting_height_mm"], 22)
        self.assertTrue(all(f["text"] and f["proposal"]
                            for f in got["findings"]))
        self.assertIn("estimate", got["caution"])
        body.update(blank_mm=66, corridor_mm=17)
        got = self.right("manufacturability", body)
        self.assertEqual(got["findings"], [])
        thin = self.right("manufacturability", lens_to_make(
            sphere=-6, prism={"base_in": 3, "base_up": 0}))
        self.assertEqual([f["code"] for f in thin["findings"]],
                         ["thin-beside-centre"])
        self.assertIn("prism_by_decentration", thin)

    def test_what_nobody_bounds_is_said_to_be_thin(self):
        """A minus lens whose centre may be 0, a plus lens whose edge may."""
        for body, code, short in (
                (lens_to_make(sphere=-4, min_centre_mm=0, min_edge_mm=0),
                 "thin-centre", 1),
                (lens_to_make(sphere=-4, min_centre_mm=0.75, min_edge_mm=0),
                 "thin-centre", 0.25),
                (lens_to_make(sphere=4, front_power=7, min_edge_mm=0),
                 "thin-edge", 0.5)):
            got = self.right("manufacturability", body)
            self.assertEqual([f["code"] for f in got["findings"]], [code])
            self.assertAlmostEqual(got["findings"][0]["mm"], short, 6)
        for body in (lens_to_make(min_centre_mm=1),
                     lens_to_make(sphere=4, front_power=7, min_edge_mm=0.5)):
            got = self.right("manufacturability", body)
            self.assertEqual(got["findings"], [])

    def test_a_cylinder_makes_prism_across_its_axis(self):
        """Plano -2.00 x 180 has -2.00 along 90: 2 cm/m base up is 10 mm down;
        along 180 no shift makes any.  By the power matrix, back again."""
        body = lens_to_make(sphere=0, cylinder=-2, axis=180, pd_mm=35,
                            height_mm=19, prism={"base_in": 0, "base_up": 2})
        got = self.right("manufacturability", body)["prism_by_decentration"]
        self.assertAlmostEqual(got["in_mm"], 0, 9)
        self.assertAlmostEqual(got["up_mm"], -10, 9)
        got = self.right("manufacturability", {
            **body, "prism": {"base_in": 2, "base_up": 0}})
        self.assertNotIn("prism_by_decentration", got)
        for axis in (30, 45, 117):
            t = math.radians(axis)
            # Across the axis, where alone there is power: F r with F = C w w'.
            prism = {"base_in": -math.sin(t), "base_up": math.cos(t)}
            got = self.right("prism-decentration", {
                "eye": "right", "sphere": 0, "cylinder": -2, "axis": axis,
                **prism})
            x, y = got["in_mm"] / 10, got["up_mm"] / 10
            along = -2 * (x * -math.sin(t) + y * math.cos(t))
            self.assertAlmostEqual(along * -math.sin(t), prism["base_in"], 9)
            self.assertAlmostEqual(along * math.cos(t), prism["base_up"], 9)
            self.assertAlmostEqual(math.hypot(x, y), 0.5, 9)
            self.refused(
                "prism-decentration",
                {"eye": "right", "sphere": 0, "cylinder": -2, "axis": axis,
                 "base_in": 1, "base_up": 1},
                ("/sphere", '"0" leaves a meridian without power to make '
                 "prism"))

    def test_density_of_a_material(self):
        body = lens_to_make(material="polyurethane")
        self.refused("manufacturability", body,
                     ("", "must have one of material, density_g_cm3"))
        del body["density_g_cm3"]
        got = self.right("manufacturability", body)
        self.assertAlmostEqual(got["weight_g"],
                               got["volume_mm3"] / 1000 * 1.35)
        self.refused("manufacturability", dict(body, material="mineral"),
                     ("/material", "has no usual density at this index: "
                      "send density_g_cm3"))

    def test_height_is_the_datum_line_unless_said(self):
        body = lens_to_make()
        del body["height_mm"]
        got = self.right("manufacturability", body)["decentration"]
        self.assertEqual(got, {"in_mm": 4, "up_mm": 0})

    def test_nonsense_is_named(self):
        self.refused("manufacturability", [lens_to_make(), lens_to_make(
            ed_mm=99, pd_mm=5)],
            ("/1/ed_mm", '"99" is over the diagonal of a_mm and b_mm'))
        self.refused("manufacturability", lens_to_make(pd_mm=5),
                     ("/pd_mm", '"5" puts the reference point outside the '
                      "frame"))
        self.refused("manufacturability", lens_to_make(front_power=30),
                     ("/front_power", '"30" makes a surface narrower than '
                      "the lens for this frame"))
        body = lens_to_make(corridor_mm=14, index=0.9, material="wood",
                            prism={"base_in": "1"})
        self.refused("manufacturability", body,
                     ("/index", '"0.9" is outside 1.001 to 3'),
                     ("/prism/base_in", "must be a number"),
                     ("/prism/base_up", "is required"),
                     ("", "must have one of material, density_g_cm3"),
                     ("/near_zone_mm", "is required"))

    def test_many_at_once(self):
        asked = MAKES * 20
        got = self.right("manufacturability", asked)
        self.assertEqual(got[:5] * 20, got)


if __name__ == "__main__":
    unittest.main()
