"""POST /v1/optics/{function}: through another lens, its blur as a picture, and
the cross cylinder.

Each is computed here a second time by another method: rays through a pupil
whose error is a surface that is differentiated numerically; and patients spread
evenly over the prior, weighed by their answers, in place of cells and tables.
"""

import math
import unittest

from lenstest import Service
from optics_case import OpticsCase

ARCMIN = 180 * 60 / math.pi


def setUpModule():
    OpticsCase.svc = Service()
    OpticsCase.token = OpticsCase.svc.network().tokens["prescriber"]


def tearDownModule():
    OpticsCase.svc.close()


def lens(sphere, cylinder=0, axis=180, **more):
    return {"sphere": sphere, "cylinder": cylinder, "axis": axis, **more}


def power_along(of, t):
    """Sine-squared law; at the cornea when its distance is known."""
    first, second = of["sphere"], of["sphere"] + of["cylinder"]
    if "vertex_mm" in of:
        # Where each meridian's focus lies, seen from the cornea.
        first, second = (
            1 / (1 / f - of["vertex_mm"] / 1000) if f else 0
            for f in (first, second))
    return first + (second - first) * math.sin(
        t - math.radians(of["axis"])) ** 2


def shift(lenses, x, y, h=1e-6):
    """Where the ray through (x, y) mm of the pupil goes, minutes of arc: the
    slope of the surface r^2 F / 2, by central differences."""
    def surface(u, v):
        r = math.hypot(u, v)
        t = math.atan2(v, u)
        return r * r / 2 * sum(k * power_along(p, t) for k, p in lenses)
    return ((surface(x + h, y) - surface(x - h, y)) / (2 * h) / 1000 * ARCMIN,
            (surface(x, y + h) - surface(x, y - h)) / (2 * h) / 1000 * ARCMIN)


class LookThrough(OpticsCase):
    pairs = [
        (lens(-2.25, -0.75, 180), lens(-2, -0.75, 10)),
        (lens(1.5, -2.25, 33), lens(0.75, -1.5, 21)),
        (lens(-9, -2, 120, vertex_mm=12), lens(-8.5, -2.25, 125,
                                               vertex_mm=15)),
        (lens(8, -1, 60, vertex_mm=10), lens(8, -1, 60, vertex_mm=14)),
    ]

    def test_the_missing_lens_and_its_blur_by_rays(self):
        for needs, worn in self.pairs:
            for pupil in (2.5, 4, 6):
                with self.subTest(f"{needs} {worn} {pupil}"):
                    got = self.right("look-through", {
                        "correction": needs, "worn": worn, "pupil_mm": pupil,
                        "best_logmar": -0.1})
                    self.blur(got, needs, worn, pupil)

    def blur(self, got, needs, worn, pupil):
        turns = [math.pi * k / 7200 for k in range(7200)]
        left = [power_along(needs, t) - power_along(worn, t) for t in turns]
        m = sum(left) / len(left)
        # Over all meridians F^2 means M^2 + J^2 / 2.
        b2 = 2 * sum(f * f for f in left) / len(left) - m * m
        self.assertAlmostEqual(got["m"], m, places=9)
        self.assertAlmostEqual(got["blur"], math.sqrt(b2), places=9)
        mar = 1 + b2 * (pupil / 4) ** 2
        self.assertAlmostEqual(got["relative_mar"], mar, places=9)
        self.assertAlmostEqual(got["logmar"], math.log10(mar) - 0.1, places=9)
        self.assertAlmostEqual(got["logmar_loss"], math.log10(mar), places=9)
        self.assertAlmostEqual(got["decimal"], 10 ** 0.1 / mar, places=9)
        rim = [shift([(1, needs), (-1, worn)], pupil / 2 * math.cos(t),
                     pupil / 2 * math.sin(t)) for t in turns[::10]]
        far = max(rim, key=lambda p: math.hypot(*p))
        self.assertAlmostEqual(2 * math.hypot(*far), got["major_arcmin"],
                               delta=0.001)
        self.assertAlmostEqual(2 * min(math.hypot(*p) for p in rim),
                               got["minor_arcmin"], delta=0.001)
        if got["major_arcmin"] - got["minor_arcmin"] > 0.1:
            turn = math.degrees(math.atan2(far[1], far[0]))
            off = (turn - got["major_axis"]) % 180
            self.assertLess(min(off, 180 - off), 1)

    def test_at_four_millimetres_it_is_the_acuity_loss(self):
        for error in (lens(-1), lens(0.5, -1.25, 77), lens(-3, -2, 10)):
            old = self.right("acuity-loss", error)
            new = self.right("look-through", {
                "correction": error, "worn": lens(0), "pupil_mm": 4})
            for name in ("blur", "relative_mar", "logmar_loss"):
                self.assertAlmostEqual(new[name], old[name], places=12)
            self.assertNotIn("logmar", new)
            self.assertNotIn("decimal", new)

    def test_the_way_back_is_the_other_sign(self):
        now, old = lens(-2.25, -0.75, 180), lens(-2, -1.5, 10)
        there, back = (
            self.right("look-through", {"correction": a, "worn": b,
                                        "pupil_mm": 4})
            for a, b in ((now, old), (old, now)))
        for name in ("m", "j0", "j45"):
            self.assertAlmostEqual(there[name], -back[name], places=12)
        self.assertAlmostEqual(there["blur"], back["blur"], places=12)

    def test_a_young_eye_makes_up_for_plus(self):
        body = {"correction": lens(1), "worn": lens(0), "pupil_mm": 4}
        self.assertEqual(self.right("look-through", body)["blur"], 1)
        young = self.right("look-through", dict(body, accommodation=8))
        self.assertEqual((young["blur"], young["accommodated"],
                          young["logmar_loss"]), (0, 1, 0))

    def test_the_same_lens_elsewhere_is_another(self):
        body = {"correction": lens(-10, vertex_mm=12),
                "worn": lens(-10, vertex_mm=16), "pupil_mm": 4}
        # By hand: -10 / 1.12 = -8.9286 and -10 / 1.16 = -8.6207.
        self.assertAlmostEqual(
            self.right("look-through", body)["sphere"], -0.3079, places=4)

    def test_nonsense(self):
        body = {"correction": lens(-1), "worn": lens(0), "pupil_mm": 4}
        self.refused("look-through", {},
                     ("/correction", "is required"), ("/worn", "is required"),
                     ("/pupil_mm", "is required"))
        self.refused("look-through", dict(body, pupil_mm=0),
                     ("/pupil_mm", '"0" is outside 0.1 to 20 mm'))
        self.refused("look-through", dict(body, best_logmar=9),
                     ("/best_logmar", '"9" is outside -2.5 to 5'))
        self.refused("look-through", dict(body, accommodation=-1),
                     ("/accommodation", '"-1" is outside 0 to 30 D'))
        self.refused("look-through", dict(body, worn=lens(0, vertex_mm=12)),
                     ("/correction/vertex_mm",
                      "is required: both lenses have it or neither"))
        self.refused("look-through",
                     dict(body, correction=lens(0, vertex_mm=12)),
                     ("/worn/vertex_mm",
                      "is required: both lenses have it or neither"))
        self.refused(
            "look-through", dict(body, correction=lens(-1, vertex_mm=101),
                                 worn=lens(50, vertex_mm=20)),
            ("/correction/vertex_mm", '"101" is outside 0 to 100 mm'),
            ("/worn/sphere", '"50" has its focal point where the lens is '
             "moved to"))
        self.refused("look-through", dict(body, correction=lens(0, -1, 400)),
                     ("/correction/axis", '"400" is outside 0 to 180 degrees'))
        self.refused("look-through", [body, dict(body, worn=3)],
                     ("/1/worn", "must be an object, not a number"))
        self.refused(
            "look-through", [], ("", "must hold 1 to 100000 items, not 0"))


def traced(error, pupil, arcmin_per_pixel, side, points=360):
    """Rays spread evenly over the pupil, counted by pixel; and their second
    moments, pixels squared."""
    counts, moments, n = {}, [0, 0, 0], 0
    for i in range(points):
        for k in range(points):
            x = ((i + 0.5) / points - 0.5) * pupil
            y = ((k + 0.5) / points - 0.5) * pupil
            if x * x + y * y > pupil * pupil / 4:
                continue
            u, v = shift([(1, error)], x, y)
            u, v = side * u / arcmin_per_pixel, v / arcmin_per_pixel
            at = (math.floor(u + 0.5), math.floor(v + 0.5))
            counts[at] = counts.get(at, 0) + 1
            moments = [moments[0] + u * u, moments[1] + v * v,
                       moments[2] + u * v]
            n += 1
    return {at: c / n for at, c in counts.items()}, [m / n for m in moments]


class PointSpread(OpticsCase):
    def cells(self, got):
        half = got["n"] // 2
        return {(x - half, half - y): w
                for y, row in enumerate(got["rows"])
                for x, w in enumerate(row) if w}

    def test_the_picture_by_rays(self):
        for error, pupil, pixel, seen_by in (
                (lens(-1, -0.75, 30), 5, 1, "examiner"),
                (lens(-1, -0.75, 30), 5, 1, "patient"),
                (lens(0.5, -1.5, 110), 4, 0.75, "patient"),
                (lens(2), 3, 1.3, "examiner")):
            with self.subTest(f"{error} {seen_by}"):
                got = self.right("point-spread", dict(
                    error, pupil_mm=pupil, arcmin_per_pixel=pixel,
                    seen_by=seen_by))
                rays, moments = traced(
                    error, pupil, pixel, 1 if seen_by == "examiner" else -1)
                self.compare(self.cells(got), rays, moments)

    def compare(self, drawn, rays, moments):
        self.assertAlmostEqual(sum(drawn.values()), 1, delta=1e-9)
        apart = sum(abs(drawn.get(at, 0) - rays.get(at, 0))
                    for at in drawn.keys() | rays.keys())
        self.assertLess(apart, 0.03)
        # A pixel spreads its own light by a twelfth.
        for want, of in ((moments[0] + 1 / 12, lambda x, y: x * x),
                         (moments[1] + 1 / 12, lambda x, y: y * y),
                         (moments[2], lambda x, y: x * y)):
            got = sum(w * of(*at) for at, w in drawn.items())
            self.assertAlmostEqual(got, want, delta=0.05)

    def test_the_patient_sees_the_mirror_image(self):
        body = dict(lens(-1, -1, 20), pupil_mm=4, arcmin_per_pixel=1)
        there = self.right("point-spread", dict(body, seen_by="examiner"))
        here = self.right("point-spread", body)
        self.assertAlmostEqual(there["drawn_axis"], 110)
        self.assertAlmostEqual(here["drawn_axis"], 70)
        for one, other in zip(here["rows"], there["rows"]):
            for a, b in zip(one, reversed(other)):
                self.assertAlmostEqual(a, b, places=12)

    def test_size_and_border(self):
        body = dict(lens(-1), pupil_mm=4, arcmin_per_pixel=1)
        least = self.right("point-spread", body)
        self.assertEqual(least["n"], 15)  # 13.75 minutes of arc
        self.assertIsNone(least["drawn_axis"])
        wide = self.right("point-spread", dict(body, n=21))
        self.assertEqual((wide["n"], len(wide["rows"]), len(wide["rows"][0])),
                         (21, 21, 21))
        self.assertEqual(sum(wide["rows"][0]), 0)
        self.assertEqual(self.right("point-spread", dict(
            body, arcmin_per_pixel=20, n=3))["rows"],
            [[0, 0, 0], [0, 1, 0], [0, 0, 0]])

    def test_nonsense(self):
        body = dict(lens(-1), pupil_mm=4, arcmin_per_pixel=1)
        for n, detail in (
                (14, '"14" is not odd: the point has a pixel in the middle'),
                (14.5, '"14.5" is not odd: the point has a pixel in the middle'),
                (13, '"13" is too small to hold this blur'),
                (131, '"131" is outside 1 to 129 pixels')):
            self.refused("point-spread", dict(body, n=n), ("/n", detail))
        self.refused("point-spread", dict(body, arcmin_per_pixel=0.1),
                     ("/arcmin_per_pixel",
                      '"0.1" makes this blur wider than 129 pixels'))
        self.refused("point-spread", dict(body, arcmin_per_pixel=0),
                     ("/arcmin_per_pixel",
                      '"0" is outside 0.001 to 1000 minutes of arc'))
        self.refused("point-spread", [body, dict(body, seen_by="me")],
                     ("/1/seen_by", 'must be one of patient, examiner'))
        self.refused("point-spread", [body] * 31,
                     ("", "must hold 1 to 30 items, not 31"))
        self.refused(
            "point-spread", [], ("", "must hold 1 to 30 items, not 0"))
        self.assertEqual(len(self.right("point-spread", [body] * 30)), 30)


def vector(of):
    t = math.radians(2 * of["axis"])
    return (-of["cylinder"] / 2 * math.cos(t), -of["cylinder"] / 2
            * math.sin(t))


def shown(trial, minus_axis, answer, size=0.25, at_once=False):
    return {"trial": trial, "size": size, "minus_axis": minus_axis,
            "answer": answer, "at_once": at_once}


class Patients:
    """Spread over a normal prior so that each is as likely as the next."""

    def __init__(self, start, spread=0.2, side=140):
        j0, j45 = vector(start)
        self.at, self.weight = [], []
        for i in range(side):
            r = spread * math.sqrt(-2 * math.log((i + 0.5) / side))
            for k in range(side):
                t = 2 * math.pi * (k + 0.5 * (i % 2)) / side
                self.at.append((j0 + r * math.cos(t), j45 + r * math.sin(t)))
        self.weight = [1 / len(self.at)] * len(self.at)

    def chances(self, at, p, noise=0.04, same=0.02, lapse=0.04):
        trial = vector(p["trial"])
        c = vector({"cylinder": -2 * p["size"], "axis": p["minus_axis"]})
        r = (at[0] - trial[0], at[1] - trial[1])
        seen = [math.log10(1 + math.dist(r, end) ** 2)
                for end in (c, (-c[0], -c[1]))]
        share = 0.7 if p["at_once"] else 1
        u = seen[1] - seen[0]
        first, second = (
            0.5 * math.erfc((share * same - d) / (share * noise)
                            / math.sqrt(2)) for d in (u, -u))
        clear = {"first": first, "second": second,
                 "same": 1 - first - second}
        return {word: lapse / 3 + (1 - lapse) * p
                for word, p in clear.items()}

    def hear(self, p):
        self.weight = [w * self.chances(at, p)[p["answer"]]
                       for at, w in zip(self.at, self.weight)]
        whole = sum(self.weight)
        self.weight = [w / whole for w in self.weight]

    def mean(self, of):
        return sum(w * of(at) for at, w in zip(self.at, self.weight))

    def share_at(self, of, share):
        """The value of of behind which that share of them is."""
        total = 0
        for value, w in sorted(
                (of(at), w) for at, w in zip(self.at, self.weight)):
            total += w
            if total >= share:
                return value


class CrossCylinder(OpticsCase):
    start = lens(-2.25, -0.75, 180)
    told = [
        shown(start, 180, "first"), shown(start, 45, "first"),
        shown(lens(-2, -1.25, 8), 98, "same"),
        shown(lens(-2, -1.25, 8), 143, "second", at_once=True),
        shown(lens(-2, -1.25, 12), 57, "same"),
        shown(lens(-2, -1.25, 12), 12, "second", size=0.5),
    ]

    def test_what_the_answers_leave_by_weighed_patients(self):
        for n in (1, 3, 6):
            with self.subTest(n):
                got = self.right("cross-cylinder", {
                    "start": self.start, "presentations": self.told[:n]})
                self.region(got, self.told[:n])

    def region(self, got, told):
        crowd = Patients(self.start)
        for p in told:
            crowd.hear(p)
        j0, j45 = crowd.mean(lambda a: a[0]), crowd.mean(lambda a: a[1])
        self.assertAlmostEqual(got["m"], -2.625)
        self.assertAlmostEqual(got["j0"], j0, delta=0.002)
        self.assertAlmostEqual(got["j45"], j45, delta=0.002)
        v0 = crowd.mean(lambda a: (a[0] - j0) ** 2)
        v45 = crowd.mean(lambda a: (a[1] - j45) ** 2)
        cov = crowd.mean(lambda a: (a[0] - j0) * (a[1] - j45))
        self.assertAlmostEqual(got["sd"]["j0"], math.sqrt(v0), delta=0.002)
        self.assertAlmostEqual(got["sd"]["j45"], math.sqrt(v45), delta=0.002)
        self.assertAlmostEqual(got["covariance"], cov, delta=0.0005)
        # The longest of all shadows of the ellipse.
        longest = max(
            math.sqrt(v0 * math.cos(t) ** 2 + v45 * math.sin(t) ** 2
                      + cov * math.sin(2 * t))
            for t in (math.pi * k / 500 for k in range(500)))
        self.assertAlmostEqual(
            got["ellipse"]["major"], math.sqrt(-2 * math.log(0.05)) * longest,
            delta=0.006)
        self.assertEqual(got["enough"], got["ellipse"]["major"] <= 0.23)
        self.intervals(got, crowd, (j0, j45))

    def intervals(self, got, crowd, mean):
        axis = math.degrees(math.atan2(mean[1], mean[0])) / 2 % 180

        def off(a):
            t = (math.degrees(math.atan2(a[1], a[0])) / 2 - axis) % 180
            return min(t, 180 - t)

        off_axis = (got["axis"] - axis) % 180
        self.assertLess(min(off_axis, 180 - off_axis), 0.5)
        self.assertAlmostEqual(got["cylinder"], -2 * math.hypot(*mean),
                               delta=0.004)
        # From 0 where no cylinder is in the region: a line through the crowd
        # From 0 where no cylinder lies in the region.
        none = got["cylinder_least"] == 0
        for name, share in (("cylinder_least", 0 if none else 0.025),
                            ("cylinder_most", 0.95 if none else 0.975)):
            self.assertAlmostEqual(
                got[name], -crowd.share_at(lambda a: 2 * math.hypot(*a),
                                           share) if share else 0, delta=0.02)
        self.assertAlmostEqual(
            got["axis_error"], crowd.share_at(off, 0.95), delta=1)

    def test_the_region_is_the_densest(self):
        got = self.right("cross-cylinder", {
            "start": self.start, "presentations": self.told, "grid": True})
        grid = got["grid"]
        weights = sorted((w for row in grid["weights"] for w in row),
                         reverse=True)
        self.assertAlmostEqual(sum(weights), 1, places=9)
        total, cells = 0, 0
        while total < 0.95:
            total += weights[cells]
            cells += 1
        self.assertAlmostEqual(
            got["area"], cells * grid["step"] ** 2,
            delta=1.01 * grid["step"] ** 2)
        self.assertAlmostEqual(
            got["entropy_bits"],
            -sum(w * math.log2(w) for w in weights if w), places=4)

    def entropy(self, told):
        return self.right("cross-cylinder", {
            "start": self.start, "presentations": told})["entropy_bits"]

    def test_the_gain_is_the_entropy_that_is_lost(self):
        """By asking what each of the three answers would leave."""
        for n in (0, 2, 5):
            told = self.told[:n]
            crowd = Patients(self.start, side=60)
            for p in told:
                crowd.hear(p)
            got = self.right("cross-cylinder", {
                "start": self.start, "presentations": told,
                "at_once": n == 2})
            next_one = dict(got["next"])
            phase, gain = next_one.pop("phase"), next_one.pop("gain_bits")
            self.assertIn(phase, ("power", "axis"))
            self.assertEqual(next_one["at_once"], n == 2)
            self.assertAlmostEqual(
                self.lost(crowd, told, next_one, got), gain, delta=0.01)
            # The other phase at the same lens would tell less, or as much.
            turned = dict(next_one, minus_axis=(
                next_one["minus_axis"] + 45) % 180)
            self.assertLess(
                self.lost(crowd, told, turned, got), gain * 1.02 + 0.005)

    def lost(self, crowd, told, p, got):
        loss = got["entropy_bits"]
        for answer in ("first", "second", "same"):
            chance = crowd.mean(lambda a: crowd.chances(a, p)[answer])
            loss -= chance * self.entropy(told + [dict(p, answer=answer)])
        return loss

    def test_a_patient_is_led_to_what_is_needed(self):
        """One without noise, from 0.25 D and 15 degrees off."""
        need = lens(-2, -1, 15)
        told, got = [], self.right("cross-cylinder", {
            "start": self.start, "presentations": []})
        self.assertEqual(got["cautions"],
                         ["an estimate; the practitioner decides"])
        while not got["enough"]:
            self.assertLess(len(told), 12)
            p = dict(got["next"])
            del p["phase"], p["gain_bits"]
            chances = Patients(self.start, side=1).chances(
                vector(need), p, noise=0.001)
            told.append(dict(p, answer=max(chances, key=chances.get)))
            got = self.right("cross-cylinder", {
                "start": self.start, "presentations": told})
        self.assertEqual(len(got["phases"]), len(told))
        self.assertLess(math.dist((got["j0"], got["j45"]), vector(need)), 0.1)
        self.assertRegex(
            got["words"],
            r"^cylinder -[01]\.\d\d D, most likely -[01]\.\d\d to -1\.\d\d D; "
            r"axis \d+, give or take \d+ degrees$")

    def test_without_a_cylinder_no_axis_is_told(self):
        got = self.right("cross-cylinder", {
            "start": lens(-1), "presentations": []})
        self.assertEqual((got["cylinder"], got["axis"], got["axis_error"]),
                         (0, None, 90))
        self.assertIn("no axis can be told yet", got["words"])
        self.assertEqual(got["next"]["phase"], "search")
        self.assertNotIn("grid", got)

    def test_doubts_are_said(self):
        far = lens(-0.5, -4, 180)
        got = self.right("cross-cylinder", {
            "start": self.start,
            "presentations": [shown(lens(-2.25 + n / 8, -0.75 - n / 4, 180),
                                    180, "first") for n in range(12)]})
        self.assertIn("the answers lead far from the start: begin anew from "
                      "here", got["cautions"])
        got = self.right("cross-cylinder", {
            "start": self.start, "presentations": [shown(far, 180, "same")]})
        self.assertEqual(got["m_range"], 0.125)
        got = self.right("cross-cylinder", {
            "start": self.start,
            "presentations": [shown(lens(-3, -0.75, 180), 180, "same")]})
        self.assertEqual(got["m_range"], 0.75)
        self.assertIn("the spherical equivalent was not held; the test needs "
                      "it", got["cautions"])

    def test_the_next_one_is_as_asked_for(self):
        body = {"start": self.start, "presentations": self.told[:3],
                "size": 0.5, "at_once": True, "step": 0.125}
        got = self.right("cross-cylinder", body)["next"]
        self.assertEqual((got["size"], got["at_once"]), (0.5, True))
        self.assertEqual(got["trial"]["cylinder"] * 8 % 1, 0)
        as_last = self.right("cross-cylinder", {
            "start": self.start, "presentations": self.told})["next"]
        self.assertEqual((as_last["size"], as_last["at_once"]), (0.5, False))

    def test_the_model_can_be_another(self):
        body = {"start": self.start, "presentations": self.told[:1]}
        plain = self.right("cross-cylinder", body)["sd"]["j0"]
        for name, value in (("noise", 0.2), ("lapse", 0.4), ("spread", 0.4)):
            self.assertGreater(self.right(
                "cross-cylinder", {**body, name: value})["sd"]["j0"], plain)
        same = dict(body, presentations=[shown(self.start, 180, "same")])
        self.assertGreater(
            self.right("cross-cylinder", dict(same, same=0.1))["sd"]["j0"],
            self.right("cross-cylinder", same)["sd"]["j0"])
        same["presentations"][0]["at_once"] = True
        self.assertGreater(
            self.right("cross-cylinder", dict(
                same, at_once_factor=1))["sd"]["j0"],
            self.right("cross-cylinder", same)["sd"]["j0"])

    def test_nonsense(self):
        good = {"start": self.start, "presentations": self.told[:2]}
        self.refused("cross-cylinder", {},
                     ("/start", "is required"),
                     ("/presentations", "is required"))
        self.refused("cross-cylinder", dict(good, spread=1, noise=0, same=-1,
                                            lapse=0, at_once_factor=2),
                     ("/spread", '"1" is outside 0.02 to 0.6 D'),
                     ("/noise", '"0" is outside 0.01 to 0.5'),
                     ("/same", '"-1" is outside 0 to 0.5'),
                     ("/lapse", '"0" is outside 0.001 to 0.5'),
                     ("/at_once_factor", '"2" is outside 0.1 to 1'))
        self.refused(
            "cross-cylinder", dict(good, presentations=[
                self.told[0], {"trial": lens(0, -1, 400), "size": 0.3,
                               "minus_axis": 181, "answer": "both",
                               "eye": 1}]),
            ("/presentations/1/eye", "no such field here"))
        self.refused(
            "cross-cylinder", dict(good, presentations=[
                self.told[0], {"trial": lens(0, -1, 400), "size": 0.3,
                               "minus_axis": 181, "answer": "both"}]),
            ("/presentations/1/trial/axis",
             '"400" is outside 0 to 180 degrees'),
            ("/presentations/1/size", '"0.3" is neither 0.25 nor 0.5 D'),
            ("/presentations/1/minus_axis",
             '"181" is outside 0 to 180 degrees'),
            ("/presentations/1/answer",
             'must be one of first, second, same'))
        self.refused("cross-cylinder", dict(good, presentations=[{}]),
                     ("/presentations/0/trial", "is required"),
                     ("/presentations/0/size", "is required"),
                     ("/presentations/0/minus_axis", "is required"),
                     ("/presentations/0/answer", "is required"))
        self.refused("cross-cylinder", dict(good, size="large", step=0.2,
                                            at_once=1, grid=1),
                     ("/size", "must be a number, not a text"),
                     ("/at_once", "must be true or false, not a number"),
                     ("/step", '"0.2" is none of 0.25, 0.125 and 0.12 D'),
                     ("/grid", "must be true or false, not a number"))
        self.refused("cross-cylinder", dict(
            good, presentations=self.told[:1] * 101),
            ("/presentations", "must hold 0 to 100 items, not 101"))
        self.refused("cross-cylinder", [good] * 31,
                     ("", "must hold 1 to 30 items, not 31"))
        self.refused(
            "cross-cylinder", [], ("", "must hold 1 to 30 items, not 0"))
        self.assertEqual(len(self.right("cross-cylinder", [good] * 3)), 3)


if __name__ == "__main__":
    unittest.main()
