"""POST /v1/optics: change as a probability, exchanged eyes, slips, instruments.

Every figure is found a second way: by sampling repeats, by adding up a density
numerically, by searching, or by making the mistake in the text and looking
whether it is found.  All sampling has fixed seeds.
"""

import csv
import json
import math
import pathlib
import random
import unittest

from apidoc import Description, read
from lenstest import Service, repo

described = Description()
DATA = pathlib.Path(repo) / "tests/data/optics/survey_pairs.csv"


def setUpModule():
    global svc, net
    svc = Service()
    net = svc.network()


def tearDownModule():
    svc.close()


def send(function, body):
    return svc.api("POST", f"/v1/optics/{function}", body, net.tokens["desk"])


def ask(function, body):
    """The answer, whose form is looked at, of an array that of the first."""
    answer = send(function, body)
    assert answer.status == 200, answer.body
    got = answer.body
    for one in got[:3] if isinstance(got, list) else [got]:
        described.schemas.check(
            f"../schema/optics.json#/$defs/{function}-answer",
            read(json.dumps(one)), closed=True)
    return got


def lens(sphere, cylinder=0, axis=None):
    if not cylinder:
        return {"sphere": sphere}
    return {"sphere": sphere, "cylinder": cylinder, "axis": axis}


def vector(of):
    """By adding up the power over all meridians, not by the formula; nothing
    in it turns faster than twice, so that 12 of them are exact."""
    n, m, j0, j45 = 12, 0, 0, 0
    for k in range(n):
        t = math.pi * k / n
        f = of["sphere"] + of.get("cylinder", 0) * math.sin(
            t - math.radians(of.get("axis") or 0)) ** 2
        m += f / n
        j0 += 2 * f * math.cos(2 * t) / n
        j45 += 2 * f * math.sin(2 * t) / n
    return [m, j0, j45]


def of_vector(v):
    half = math.hypot(v[1], v[2])
    if half < 1e-9:
        return {"sphere": v[0]}
    axis = math.degrees(math.atan2(v[2], v[1])) / 2 % 180 or 180
    return {"sphere": v[0] + half, "cylinder": -2 * half, "axis": axis}


def solve(s, v):
    """s^-1 v by Gauss-Jordan with pivots, and the determinant of s."""
    rows, det = [list(a) + [b] for a, b in zip(s, v)], 1
    for i in range(3):
        p = max(range(i, 3), key=lambda r: abs(rows[r][i]))
        if p != i:
            rows[i], rows[p], det = rows[p], rows[i], -det
        det *= rows[i][i]
        rows[i] = [x / rows[i][i] for x in rows[i]]
        for r in range(3):
            if r != i:
                rows[r] = [x - rows[r][i] * y
                           for x, y in zip(rows[r], rows[i])]
    return [r[3] for r in rows], det


def covariance(sample):
    n = len(sample)
    mean = [sum(x[i] for x in sample) / n for i in range(3)]
    return [[sum((x[i] - mean[i]) * (x[j] - mean[j]) for x in sample) / (n - 1)
             for j in range(3)] for i in range(3)]


def shifted(v, metres):
    """The power vector after a lens moved: per meridian F / (1 - d F), along
    the principal meridians of the matrix."""
    half = math.hypot(v[1], v[2])
    high, low = ((f / (1 - metres * f)) for f in (v[0] + half, v[0] - half))
    scale = (high - low) / 2 / half if half else 0
    return [(high + low) / 2, v[1] * scale, v[2] * scale]


def turned(v, degrees):
    t = math.radians(2 * degrees)
    return [v[0], v[1] * math.cos(t) - v[2] * math.sin(t),
            v[1] * math.sin(t) + v[2] * math.cos(t)]


# One reading's SD of M and of J as the studies print them, worked out by hand:
# adults: M sqrt((12 * (l / 1.96)^2 + 60 * (w / 2.772)^2) / 72) with l 0.27 and w
# 0.48 (autorefraction), l 0.29 and w 0.475 (subjective); J 0.37 / 1.96 / 2, and
# 0.29 / 2.772.  Children: PubMed 31703049.
SD = {("autorefraction", False, 40): (0.1678, 0.0944),
      ("subjective", False, 40): (0.1677, 0.1046),
      ("autorefraction", False, 8): (0.57, 0.11),
      ("autorefraction", True, 8): (0.17, 0.11),
      ("automated-subjective", False, 40): (0.2543, 0.1046),
      ("hand-held-autorefraction", False, 8): (0.2742, 0.0848)}


def repeat(rnd, v, sd, eye=True):
    """v measured again: a reading's own noise, 1 mm of vertex, 2 degrees."""
    v = turned(v, rnd.gauss(0, 2))
    if eye:
        v = shifted(v, rnd.gauss(0, 0.001))
    return [v[0] + rnd.gauss(0, sd[0]), v[1] + rnd.gauss(0, sd[1]),
            v[2] + rnd.gauss(0, sd[1])]


class Change(unittest.TestCase):
    def change(self, old, new, method="subjective", age=40, drops=False):
        return ask("change-probability", {
            "old": {**old, "method": method, "cycloplegic": drops},
            "new": {**new, "method": method, "cycloplegic": drops},
            "age_years": age})

    def test_spheres_have_the_spread_of_the_studies(self):
        for (method, drops, age), (m, j) in SD.items():
            with self.subTest(f"{method} {drops} {age}"):
                got = self.change(lens(0), lens(0.25), method, age, drops)
                self.assertAlmostEqual(got["sd"]["m"], m * math.sqrt(2), 3)
                self.assertAlmostEqual(got["sd"]["j0"], j * math.sqrt(2), 3)
                self.assertAlmostEqual(got["sd"]["j45"], j * math.sqrt(2), 3)
                self.assertEqual(got["basis"], "published")

    def test_limits_come_out_as_published(self):
        """Rosenfield & Chiu: 0.50 D is the least significant shift; Sheedy and
        others: 0.475 (subjective), 0.48 (objective) between two visits.  The
        pool of both lies there."""
        for method in ("subjective", "autorefraction"):
            got = self.change(lens(-1), lens(-1), method)
            self.assertAlmostEqual(got["limit_m"], 0.475, delta=0.03)

    def test_the_tail_is_the_density_added_up(self):
        """Simpson's rule on chi-square's density with 3 degrees."""
        def density(x):
            return math.sqrt(x / (2 * math.pi)) * math.exp(-x / 2)

        for diopters in (0.1, 0.3, 0.5, 0.66, 0.8, 1.2):
            got = self.change(lens(-1), lens(-1 - diopters))
            d2, n = got["distance"] ** 2, 20000
            h = (60 - d2) / n
            tail = sum((1 if k in (0, n) else 4 if k % 2 else 2)
                       * density(d2 + k * h) for k in range(n + 1)) * h / 3
            self.assertAlmostEqual(got["probability"], tail, 7)
            alone = math.erfc(diopters / got["sd"]["m"] / math.sqrt(2))
            self.assertAlmostEqual(got["probability_m"], alone, 9)
            self.assertEqual(
                got["verdict"],
                "more than repeat error explains" if tail < 0.05 else
                "at the edge of repeat error" if alone < 0.05 else
                "inside repeat error")

    def test_a_part_that_is_beyond_alone_is_never_called_inside(self):
        """-1.00 to -1.50: p 0.05 to 0.2 of all three, M past its own limit."""
        got = self.change(lens(-1), lens(-1.5))
        self.assertGreater(got["probability"], 0.05)
        self.assertGreater(abs(got["delta"]["m"]), got["limit_m"])
        self.assertEqual(got["verdict"], "at the edge of repeat error")
        self.assertEqual(got["cautions"], [
            "M alone changed by -0.50 D, beyond its 95 percent limit of "
            f"{got['limit_m']:.2f} D; together with J0 and J45 the change is "
            "not beyond"])
        got = self.change(lens(-1), lens(-0.625, -0.75, 180))
        self.assertEqual(got["delta"]["m"], 0)
        self.assertEqual(got["verdict"], "at the edge of repeat error")
        self.assertIn("cylinder and axis alone", got["cautions"][0])

    def test_the_chance_of_cylinder_and_axis_by_samples(self):
        """Of 100,000 normal pairs with the sd of the answer: how many lie as
        far out; a sphere's J0 and J45 aren't correlated."""
        rnd = random.Random(22)
        got = self.change(lens(-1), lens(-0.75, -0.5, 20))
        sd = got["sd"]
        far = math.hypot(got["delta"]["j0"] / sd["j0"],
                         got["delta"]["j45"] / sd["j45"])
        share = sum(math.hypot(rnd.gauss(0, 1), rnd.gauss(0, 1)) >= far
                    for _ in range(100000)) / 100000
        self.assertAlmostEqual(got["probability_j"], share, delta=0.01)

    def test_repeats_that_are_sampled_are_as_far_apart(self):
        """Repeats made by turning the lens and moving it along the exact
        vertex formula; their covariance, by samples, gives the distance."""
        rnd = random.Random(4)
        for old, new in ((lens(-1, -0.75, 20), lens(-1.5, -1, 35)),
                         (lens(-9, -3.5, 70), lens(-9.5, -3.5, 74)),
                         (lens(8, -5, 170), lens(8.5, -4.5, 167))):
            sd = SD["subjective", False, 40]
            was, now = vector(old), vector(new)
            made = [[b - a for a, b in zip(repeat(rnd, was, sd),
                                           repeat(rnd, now, sd))]
                    for _ in range(20000)]
            s = covariance(made)
            delta = [b - a for a, b in zip(vector(old), vector(new))]
            d = math.sqrt(sum(a * b for a, b in
                              zip(delta, solve(s, delta)[0])))
            got = self.change(old, new)
            self.assertAlmostEqual(got["distance"] / d, 1, delta=0.03)
            for i, part in enumerate(("m", "j0", "j45")):
                self.assertAlmostEqual(got["delta"][part], delta[i], 9)
                self.assertAlmostEqual(
                    got["sd"][part] / math.sqrt(s[i][i]), 1, delta=0.03)

    def test_repeating_alone_is_called_a_change_once_in_twenty(self):
        rnd = random.Random(5)
        for at in (lens(-2, -1.25, 30), lens(-12, -4, 100)):
            made = [[dict(of_vector(repeat(rnd, vector(at),
                                           (0.1678, 0.1046))),
                          method="subjective") for _ in range(2)]
                    for _ in range(3000)]
            got = ask("change-probability", [
                {"old": a, "new": b, "age_years": 40} for a, b in made])
            share = sum(g["verdict"].startswith("more") for g in got) / 3000
            self.assertAlmostEqual(share, 0.05, delta=0.015)

    def test_one_change_means_more_with_drops_in_a_child(self):
        no_drops = self.change(lens(1), lens(1.75), "autorefraction", 8)
        drops = self.change(lens(1), lens(1.75), "autorefraction", 8, True)
        self.assertEqual(no_drops["verdict"], "inside repeat error")
        self.assertEqual(drops["verdict"], "more than repeat error explains")

    def test_methods_conditions_and_ages_are_said(self):
        got = ask("change-probability", {
            "old": {"sphere": 1, "method": "retinoscopy",
                    "cycloplegic": True},
            "new": {"sphere": 0, "method": "subjective"}})
        self.assertEqual(len(got["cautions"]), 4)
        self.assertEqual(got["basis"], "chosen")
        self.assertEqual(self.change(lens(1), lens(1))["cautions"], [])

    def test_it_agrees_with_the_fixed_limits_where_they_are_clear(self):
        """change-against-noise with 0.50 and 0.25 D: what lies well inside it
        is inside here, what lies at twice the limits is not."""
        rnd = random.Random(6)
        for factor, flag, word in ((0.4, "within", "inside repeat error"),
                                   (2, "change",
                                    "more than repeat error explains")):
            for _ in range(50):
                old = [rnd.uniform(-3, 3), rnd.uniform(-.5, .5),
                       rnd.uniform(-.5, .5)]
                t = rnd.uniform(0, 2 * math.pi)
                new = [old[0] + 0.5 * factor * rnd.choice((-1, 1)),
                       old[1] + 0.25 * factor * math.cos(t),
                       old[2] + 0.25 * factor * math.sin(t)]
                pair = of_vector(old), of_vector(new)
                fixed = ask("change-against-noise", {
                    "old": pair[0], "new": pair[1], "limit_m": 0.5,
                    "limit_j": 0.25})
                self.assertEqual(fixed["flag"], flag)
                self.assertEqual(self.change(*pair)["verdict"], word)


# --- exchange

def entry(right, left, method="autorefraction", years=None):
    e = {"right": right, "left": left, "method": method}
    return e if years is None else {**e, "years_before": years}


def swapped(e):
    return {**e, "right": e["left"], "left": e["right"]}


def survey():
    """The right and left lens of each person, by refraction and by glasses
    (None without)."""
    lines = [x for x in DATA.read_text().splitlines() if x[0] != "#"]

    def one(row, name):
        if row[f"{name}_sphere"] == "":
            return None
        return lens(float(row[f"{name}_sphere"]),
                    float(row[f"{name}_cylinder"]),
                    float(row[f"{name}_axis"] or 0))
    for row in csv.DictReader(lines):
        yield {"eyes": [one(row, "right"), one(row, "left")],
               "glasses": [one(row, "right_glasses"),
                           one(row, "left_glasses")],
               "cornea": [(float(row[f"{e}_flat_power"]),
                           float(row[f"{e}_flat_axis"]),
                           float(row[f"{e}_steep_power"]))
                          for e in ("right", "left")]}


def differ(eyes):
    return math.dist(vector(eyes[0]), vector(eyes[1]))


class Exchange(unittest.TestCase):
    os_p02 = lens(0, -0.5, 10)

    def test_p02_one_eye_progresses(self):
        """doaj.org 0b8504d87eaf4f21afbba14032a38e34: a true change."""
        first = entry(lens(-2.25), self.os_p02, "subjective")
        later = entry(lens(-6.75, -0.5, 170), self.os_p02, "subjective")
        for new, history in (
                (later, [{**first, "years_before": 4.5}]),
                (later, [{**first, "years_before": 5.6},
                         {**later, "years_before": 1.1}])):
            got = ask("eye-exchange", {"entry": new, "history": history})
            self.assertEqual(got["verdict"], "as labelled")
            self.assertLess(got["probability"], 0.001)
            self.assertNotIn("text", got)

    def test_p22_right_and_left_exchanged_on_import(self):
        """eyetubeod.com 2016/04: 7.07 D from its own history, 0.00 from the
        other eye's."""
        was = entry(lens(-6.75, -6.5, 30), lens(-7, -7.75, 130), years=1)
        new = entry(lens(-7, -7.75, 130), lens(-6.75, -6.5, 30))
        got = ask("eye-exchange", {"entry": new, "history": [was]})
        self.assertEqual(got["verdict"], "likely exchanged")
        self.assertGreater(got["probability"], 0.9)
        for eye in ("right", "left"):
            self.assertAlmostEqual(got["distance_own"][eye], 7.07, 2)
            self.assertEqual(got["distance_other"][eye], 0)
        self.assertIn("please confirm the side", got["text"])
        got = ask("eye-exchange", {"entry": swapped(new), "history": [was]})
        self.assertEqual(got["verdict"], "as labelled")

    def test_both_eyes_drifting_together_say_nothing(self):
        """P-04, a new diabetic: both eyes to plus within days."""
        was = entry(lens(-1), lens(-1.25), years=0.05)
        got = ask("eye-exchange", {"entry": entry(lens(2.5), lens(2.25)),
                                   "history": [was]})
        self.assertNotEqual(got["verdict"], "likely exchanged")

    def test_one_bad_entry_of_the_past_doesnt_count(self):
        good = [entry(lens(-1), lens(-3), years=y) for y in (1, 2, 3, 4)]
        bad = swapped({**good[0], "years_before": 0.5})
        new = entry(lens(-1), lens(-3))
        got = ask("eye-exchange", {"entry": new, "history": [bad, *good]})
        self.assertEqual(got["verdict"], "as labelled")
        got = ask("eye-exchange", {"entry": swapped(new),
                                   "history": [bad, *good]})
        self.assertEqual(got["verdict"], "likely exchanged")
        # Two entries of the past that contradict each other: nobody knows.
        got = ask("eye-exchange", {"entry": new, "history": [bad, good[0]]})
        self.assertEqual(got["verdict"], "cannot be told")

    def test_the_ratio_is_that_of_a_mixture_of_normals(self):
        """Student's t as normals whose precision is chi-square, added up
        numerically; one entry of the past, exchanged with 0.001 itself."""
        sd = SD["autorefraction", False, 40]
        for right, left, new, years in (
                (lens(-1), lens(-1.5), (lens(-1.25), lens(-1.25)), 0.5),
                (lens(-1), lens(-3), (lens(-2), lens(-2.5)), 2),
                (lens(2, -1, 90), lens(1, -1, 90),
                 (lens(1.5, -1, 90), lens(2, -1, 80)), 3)):
            was = [vector(right), vector(left)]
            now = [vector(new[0]), vector(new[1])]
            s = [[0] * 3 for _ in range(3)]
            for v in was + now:
                turn = [0, -2 * v[2] * math.radians(2),
                        2 * v[1] * math.radians(2)]
                shift = [0.001 * x for x in (
                    v[0] ** 2 + v[1] ** 2 + v[2] ** 2, 2 * v[0] * v[1],
                    2 * v[0] * v[2])]
                for i in range(3):
                    s[i][i] += sd[min(i, 1)] ** 2
                    for j in range(3):
                        s[i][j] += turn[i] * turn[j] + shift[i] * shift[j]
            for i in range(3):
                s[i][i] += (years * (0.15 if i == 0 else 0.05)) ** 2

            def density(x):
                y, det = solve(s, x)
                d2, total, n = sum(a * b for a, b in zip(x, y)), 0, 4000
                for k in range(n):
                    # w in 0..40 with the density of chi-square(3) / 3
                    w = (k + 0.5) * 40 / n
                    gamma = (1.5 ** 1.5 / math.gamma(1.5) * math.sqrt(w)
                             * math.exp(-1.5 * w))
                    total += gamma * w ** 1.5 * math.exp(-w * d2 / 2)
                return total * 40 / n / math.sqrt(det)

            d_was = [a - b for a, b in zip(*was)]
            d_now = [a - b for a, b in zip(*now)]
            same = density([a - b for a, b in zip(d_now, d_was)])
            turned_ = density([a + b for a, b in zip(d_now, d_was)])
            want = math.log((0.999 * turned_ + 0.001 * same)
                            / (0.999 * same + 0.001 * turned_))
            got = ask("eye-exchange", {
                "entry": entry(*new), "age_years": 40,
                "history": [entry(right, left, years=years)]})
            self.assertAlmostEqual(got["log_likelihood_ratio"], want,
                                   delta=0.01)
            odds = math.exp(want) * 0.01 / 0.99
            self.assertAlmostEqual(got["probability"], odds / (1 + odds),
                                   delta=1e-3)

    def judge(self, pairs):
        """How many of (entry, history) are called exchanged."""
        got = ask("eye-exchange", [
            {"entry": e, "history": h, "age_years": 40} for e, h in pairs])
        return [g["verdict"] == "likely exchanged" for g in got]

    def test_survey_eyes_measured_again(self):
        """600 people's eyes, each measured three times with noise, of which one
        reading in twenty is three times as wide; then once more, labelled
        rightly and wrongly."""
        rnd, cases = random.Random(7), []

        def again(eyes):
            wide = 3 if rnd.random() < 0.05 else 1
            sd = [wide * x for x in SD["autorefraction", False, 40]]
            return [of_vector(repeat(rnd, vector(e), sd)) for e in eyes]
        people = [p["eyes"] for p in survey()]
        for eyes in people:
            history = [entry(*again(eyes), years=y) for y in (1, 2, 3)]
            cases.append((entry(*again(eyes)), history))
        false = self.judge(cases)
        found = self.judge([(swapped(e), h) for e, h in cases])
        apart = [differ(e) for e in people]
        by = {}
        for a, f in zip(apart, found):
            name = "1 D" if a >= 1 else "0.5 D" if a >= 0.5 else "less"
            by.setdefault(name, []).append(f)
        missed = {k: 1 - sum(v) / len(v) for k, v in by.items()}
        print(f"\nexchange, repeats: {sum(false)} of {len(false)} false; "
              f"missed of eyes apart by 1 D or more {missed['1 D']:.3f}, 0.5 "
              f"to 1 D {missed['0.5 D']:.3f}, less {missed['less']:.3f}")
        self.assertLessEqual(sum(false), 0.01 * len(false))
        self.assertLess(missed["1 D"], 0.05)
        # Eyes as good as equal can't be told, and must not be called.
        alike = [f for a, f in zip(apart, false) if a < 0.25]
        self.assertGreater(len(alike), 50)
        self.assertEqual(sum(alike), 0)

    def test_survey_eyes_against_the_glasses_their_owners_wear(self):
        """Nothing simulated: refraction of 300 people, glasses as the past."""
        people = [p for p in survey() if p["glasses"][0]]
        cases = [(entry(*p["eyes"]),
                  [entry(*p["glasses"], "lensometry", 2)]) for p in people]
        false = self.judge(cases)
        found = self.judge([(swapped(e), h) for e, h in cases])
        clear = [f for p, f in zip(people, found)
                 if min(differ(p["glasses"]), differ(p["eyes"])) >= 1.5]
        print(f"\nexchange, glasses: {sum(false)} of {len(false)} false; "
              f"found {sum(clear)} of {len(clear)} apart by 1.5 D or more, "
              f"{sum(found)} of {len(found)} in all")
        self.assertEqual(len(false), 300)
        self.assertLessEqual(sum(false), 6)
        self.assertGreaterEqual(sum(clear), 0.8 * len(clear))

    def test_mirrored_eyes_are_never_called(self):
        rnd, cases = random.Random(8), []
        for _ in range(300):
            m, c, a = rnd.uniform(-6, 4), -rnd.choice((0.25, 0.5, 0.75)), 180
            eyes = [lens(m, c, a), lens(m, c, a)]
            sd = SD["autorefraction", False, 40]
            again = [entry(*[of_vector(repeat(rnd, vector(e), sd))
                             for e in eyes], years=y) for y in (None, 1, 2)]
            cases.append((again[0], again[1:]))
        self.assertEqual(sum(self.judge(cases)), 0)
        self.assertEqual(sum(self.judge([(swapped(e), h)
                                         for e, h in cases])), 0)

    def test_without_history_nothing_can_be_told(self):
        got = ask("eye-exchange", {"entry": entry(lens(-1), lens(-3))})
        self.assertEqual((got["verdict"], got["compared"]),
                         ("cannot be told", 0))
        self.assertAlmostEqual(got["probability"], 0.01, 9)
        self.assertAlmostEqual(
            ask("eye-exchange", {"entry": entry(lens(-1), lens(-3)),
                                 "prior": 0.2, "history": []})["probability"],
            0.2, 9)

    def test_one_eye_of_the_past_by_a_mixture_of_normals(self):
        """Student's t as above, of one eye: labelled beside its own past,
        exchanged beside the other eye's figure."""
        was, now = lens(-2), (lens(-3.5, -0.5, 20), lens(-2.25))
        years, sd = 2, SD["autorefraction", False, 40]

        def density(p):
            s = [[0] * 3 for _ in range(3)]
            for v in (vector(was), vector(p)):
                turn = [0, -2 * v[2] * math.radians(2),
                        2 * v[1] * math.radians(2)]
                shift = [0.001 * x for x in (
                    v[0] ** 2 + v[1] ** 2 + v[2] ** 2, 2 * v[0] * v[1],
                    2 * v[0] * v[2])]
                for i in range(3):
                    s[i][i] += sd[min(i, 1)] ** 2
                    for j in range(3):
                        s[i][j] += turn[i] * turn[j] + shift[i] * shift[j]
            for i in range(3):
                s[i][i] += (years * (0.20 if i == 0 else 0.05)) ** 2
            x = [a - b for a, b in zip(vector(p), vector(was))]
            y, det = solve(s, x)
            d2, total, n = sum(a * b for a, b in zip(x, y)), 0, 4000
            for k in range(n):
                w = (k + 0.5) * 40 / n
                total += w * w * math.exp(-w * (1.5 + d2 / 2))
            return total / math.sqrt(det)

        same, turned_ = density(now[0]), density(now[1])
        got = ask("eye-exchange", {
            "entry": entry(*now), "age_years": 40,
            "history": [entry(was, None, years=years)]})
        self.assertAlmostEqual(
            got["log_likelihood_ratio"],
            math.log((0.999 * turned_ + 0.001 * same)
                     / (0.999 * same + 0.001 * turned_)), delta=0.01)
        self.assertEqual(got["compared"], 1)
        self.assertIsNone(got["distance_own"]["left"])
        self.assertIsNone(got["distance_other"]["right"])
        self.assertAlmostEqual(got["distance_other"]["left"], 0.25, 9)

    def test_survey_eyes_against_glasses_read_one_by_one(self):
        """As above, each lens in an entry of its own."""
        people = [p for p in survey() if p["glasses"][0]]
        cases = [(entry(*p["eyes"]),
                  [entry(p["glasses"][0], None, "lensometry", 2),
                   entry(None, p["glasses"][1], "lensometry", 2)])
                 for p in people]
        false = self.judge(cases)
        found = self.judge([(swapped(e), h) for e, h in cases])
        clear = [f for p, f in zip(people, found)
                 if min(differ(p["glasses"]), differ(p["eyes"])) >= 1.5]
        print(f"\nexchange, single glasses: {sum(false)} of {len(false)} "
              f"false; found {sum(clear)} of {len(clear)} apart by 1.5 D or "
              f"more, {sum(found)} of {len(found)} in all")
        self.assertLessEqual(sum(false), 6)
        self.assertGreaterEqual(sum(clear), 0.6 * len(clear))

    def test_p02_by_the_other_eye_alone(self):
        """The eye that progressed, read alone: nothing is called."""
        got = ask("eye-exchange", {
            "entry": entry(lens(-6.75, -0.5, 170), self.os_p02, "subjective"),
            "history": [{"right": lens(-2.25), "method": "subjective",
                         "years_before": 4.5}]})
        self.assertNotEqual(got["verdict"], "likely exchanged")
        self.assertNotIn("text", got)

    def test_the_text_says_which_distances_are_known(self):
        got = ask("eye-exchange", {
            "entry": entry(lens(-6, -3, 20), lens(-1)), "prior": 0.2,
            "history": [entry(lens(-1), None, years=1)]})
        self.assertEqual(
            got["text"], "right and left look exchanged; the right eye is "
            f"{got['distance_own']['right']:.2f} D from its own past; the "
            "left eye is 0.00 D from the other eye's; nothing was changed, "
            "please confirm the side")


# --- slips

def typed(power):
    """As people write it: sign, two decimals; axis three digits."""
    return [f"{power['sphere']:+.2f}", f"{power.get('cylinder', 0):+.2f}",
            f"{power.get('axis') or 0:03.0f}"]


def lens_of(text):
    return lens(float(text[0]), float(text[1]), float(text[2]))


def mistakes(power):
    """What one mistake at the keyboard makes of a lens."""
    s, c, a = typed(power)

    def other(x):
        return ("-" if x[0] == "+" else "+") + x[1:]

    def point(x):
        whole, part = x[1:].split(".")
        return f"{x[0]}{int(whole + part[0])}.{part[1]}0"
    yield "the sign of the sphere is wrong", (other(s), c, a)
    yield "the decimal point of the sphere is misplaced", (point(s), c, a)
    if float(c):
        yield "the sign of the cylinder is wrong", (s, other(c), a)
        yield "the decimal point of the cylinder is misplaced", (s, point(c),
                                                                 a)
        yield ("the axis is 90 degrees off",
               (s, c, f"{(int(a) + 90 - 1) % 180 + 1:03d}"))
        for i in (0, 1):
            d = a[:i] + a[i + 1] + a[i] + a[i + 2:]
            if 1 <= int(d) <= 180:
                yield "two digits of the axis are exchanged", (s, c, d)


def quarter(v):
    p = of_vector(v)
    c = round(p.get("cylinder", 0) * 4) / 4
    return lens(round((v[0] - c / 2) * 4) / 4, c,
                round(p.get("axis") or 0) or 180)


class Slip(unittest.TestCase):
    was = entry(lens(-2.5, -0.75, 172), lens(-2.25, -1, 8), "subjective", 2)
    left = lens(-2.25, -1, 8)

    def explain(self, right, history=None, **more):
        body = {"entry": entry(right, self.left, "subjective"),
                "history": [self.was] if history is None else history, **more}
        return ask("slip-explanation", body)["right"]

    def test_a_decimal_point_is_offered_in_words(self):
        got = self.explain(lens(-25, -0.75, 172))
        self.assertEqual(got["verdict"], "one slip explains it")
        offered = got["offered"]
        self.assertEqual((offered["sphere"], offered["cylinder"],
                          offered["axis"]), (-2.5, -0.75, 172))
        self.assertGreater(offered["log_odds"], math.log(10))
        self.assertEqual(
            offered["text"],
            "-25.00 -0.75 x 172 fits badly; -2.50 -0.75 x 172 would fit, if "
            "the decimal point of the sphere is misplaced; nothing was "
            "changed, please look")

    def test_what_fits_is_offered_nothing(self):
        for right in (lens(-2.5, -0.75, 172), lens(-2.75, -0.5, 170),
                      lens(-2.25, -1, 5)):
            got = self.explain(right)
            self.assertEqual(got["verdict"], "fits")
            self.assertNotIn("offered", got)

    def test_a_true_change_is_offered_nothing(self):
        got = self.explain(lens(-4.5, -0.75, 172))
        self.assertEqual(got["verdict"], "no one slip explains it")
        self.assertNotIn("offered", got)

    def test_both_eyes_changing_together_fit(self):
        """P-04: both eyes 3.75 D to plus within days (bjo 84/10/1097)."""
        new = {"right": lens(1.25, -0.75, 172), "left": lens(1.5, -1, 8),
               "method": "subjective"}
        got = ask("slip-explanation", {
            "entry": new, "history": [{**self.was, "years_before": 0.05}]})
        self.assertEqual([got[e]["verdict"] for e in ("right", "left")],
                         ["fits", "fits"])

    def test_a_pair_without_history_has_one_offer(self):
        """-2.25 beside -22.50, and +2.00 beside -2.00: a slip of either eye
        explains each; the survey's own eyes tell which is likelier."""
        for right, left, eye, sphere in (
                (-2.25, -22.5, "left", -2.25), (-22.5, -2.25, "right", -2.25),
                (2, -2, "right", -2), (-2, 2, "left", -2)):
            got = ask("slip-explanation", {
                "entry": entry(lens(right), lens(left))})
            other = "left" if eye == "right" else "right"
            offered = got[eye]["offered"]
            self.assertEqual((offered["eye"], offered["sphere"]),
                             (eye, sphere))
            self.assertNotIn("offered", got[other])
            self.assertEqual(got[other]["verdict"],
                             "a slip of the other eye is likelier")
            beside = offered["alternatives"][0]
            self.assertEqual(beside["eye"], other)
            self.assertAlmostEqual(
                beside["times_as_likely"],
                math.exp(beside["log_odds"] - offered["log_odds"]), 9)
            self.assertIn(f"or the {other} eye as {beside['sphere']:+.2f}",
                          offered["text"])

    def test_the_odds_of_a_pair_are_those_of_the_survey(self):
        """Counted, not fitted: of the whole survey's 23,383 pairs of eyes the
        mean M is within 1 D of -2 in 3,914, of +2 in 2,439, of -4 in 1,454 and
        of +4 in 393.  The fit is within a factor of 1.6."""
        for m, minus, plus in ((2, 3914, 2439), (4, 1454, 393)):
            got = ask("slip-explanation", {"entry": entry(lens(m), lens(-m))})
            beside = got["right"]["offered"]["alternatives"][0]
            ratio = beside["times_as_likely"] / (plus / minus)
            self.assertLess(abs(math.log(ratio)), math.log(1.6))

    def test_a_sign_lost_in_both_eyes_is_found(self):
        """By history, where both eyes could have changed together; by the
        corneas."""
        was = entry(lens(-2.25), lens(-2), "subjective", 1)
        got = ask("slip-explanation", {
            "entry": entry(lens(2.25), lens(2), "subjective"),
            "history": [was]})
        for eye, sphere in (("right", -2.25), ("left", -2)):
            self.assertEqual(got[eye]["verdict"], "one slip explains it")
            offered = got[eye]["offered"]
            self.assertEqual((offered["eye"], offered["slip"],
                              offered["sphere"]),
                             ("both", "the sign of the sphere is wrong",
                              sphere))
            self.assertIn("wrong in both eyes", offered["text"])
        got = ask("slip-explanation", {
            "entry": entry(lens(0, 2.5, 175), lens(0, 2.5, 5)),
            "cornea": {e: {"cylinder": -2.25, "axis": 180}
                       for e in ("right", "left")}})
        for eye in ("right", "left"):
            offered = got[eye]["offered"]
            self.assertEqual((offered["eye"], offered["cylinder"]),
                             ("both", -2.5))

    def test_a_lost_sign_of_the_other_form_is_offered_with_its_odds(self):
        """-2.25 -0.75 x 172 with its cylinder's sign lost."""
        got = ask("slip-explanation", {
            "entry": {"right": lens(-2.25, 0.75, 172),
                      "method": "subjective"},
            "history": [{"right": lens(-2.25, -0.75, 172),
                         "method": "subjective", "years_before": 1}]})
        got = got["right"]
        self.assertEqual(got["verdict"], "one slip may explain it")
        offered = got["offered"]
        self.assertEqual((offered["sphere"], offered["cylinder"],
                          offered["axis"]), (-2.25, -0.75, 172))
        self.assertAlmostEqual(math.log(offered["odds"]),
                               offered["log_odds"], 9)
        self.assertGreater(offered["odds"], 1)
        self.assertLess(offered["odds"], 10)
        self.assertIn(f"({offered['odds']:.2g} times as likely as the entry",
                      offered["text"])

    def test_exchanged_eyes_are_offered_in_both(self):
        was = entry(lens(-6.75, -6.5, 30), lens(-7, -7.75, 130), years=1)
        new = entry(lens(-7, -7.75, 130), lens(-6.75, -6.5, 30))
        got = ask("slip-explanation", {"entry": new, "history": [was]})
        for eye in ("right", "left"):
            self.assertEqual(got[eye]["offered"]["slip"],
                             "right and left are exchanged")

    def test_the_cornea_tells_an_axis_that_is_90_degrees_off(self):
        body = {"entry": {"right": lens(1, -3, 90), "method": "subjective"},
                "cornea": {"right": {"cylinder": -3, "axis": 180}}}
        got = ask("slip-explanation", body)["right"]
        meant = got["considered"][0]
        self.assertIn(meant["slip"], ("the axis is 90 degrees off",
                                      "the sign of the cylinder is wrong"))
        self.assertEqual(meant["axis"], 180)
        # Cornea alone can't tell those two apart; a history does.
        self.assertEqual(got["verdict"], "one slip may explain it")
        named = [got["offered"], *got["offered"]["alternatives"]]
        self.assertEqual(
            sorted(x["slip"] for x in named if x["axis"] == 180),
            ["the axis is 90 degrees off",
             "the sign of the cylinder is wrong"])
        body["history"] = [{"right": lens(1.25, -2.75, 178),
                            "method": "subjective", "years_before": 1}]
        got = ask("slip-explanation", body)["right"]
        self.assertEqual(got["offered"]["slip"], "the axis is 90 degrees off")

    def test_nothing_known_nothing_offered(self):
        got = ask("slip-explanation", {
            "entry": {"left": lens(-25), "method": "subjective"}})
        self.assertEqual(list(got), ["left"])
        self.assertEqual(got["left"]["verdict"], "nothing to hold it against")
        self.assertEqual(got["left"]["considered"], [])

    def test_a_very_unequal_pair_without_history_is_left_alone(self):
        """P-01 (reviewofmm.com): a true pair, 21 D apart."""
        got = ask("slip-explanation", {"entry": entry(
            lens(0.75, -1.25, 180), lens(-19, -4.5, 165))})
        for eye in ("right", "left"):
            self.assertNotIn("offered", got[eye])

    def test_mistakes_made_in_the_text_are_found(self):
        """600 people's prescriptions a year old and today's, slightly other;
        one mistake in today's text.  What is offered must be what was there
        before the mistake."""
        rnd, cases, untouched = random.Random(9), [], []
        sd = SD["subjective", False, 40]
        for p in survey():
            old = [quarter(vector(e)) for e in p["eyes"]]
            new = [quarter(repeat(rnd, vector(e), sd)) for e in old]
            history = [entry(*old, "subjective", 1)]
            e = entry(*new, "subjective")
            untouched.append({"entry": e, "history": history})
            wrong = [(name, lens_of(text)) for name, text in mistakes(new[0])]
            name, right = rnd.choice(wrong)
            cases.append((name, new[0], {"entry": {**e, "right": right},
                                         "history": history}))
        counts = {}
        for (name, meant, _), got in zip(cases, ask(
                "slip-explanation", [c[2] for c in cases])):
            got = got["right"].get("offered")
            how = "not offered" if got is None else "right" if math.dist(
                vector(got), vector(meant)) < 1e-6 else "wrong"
            of = counts.setdefault(name, {"right": 0, "wrong": 0,
                                          "not offered": 0})
            of[how] += 1
        offered = [g for got in ask("slip-explanation", untouched)
                   for g in got.values() if "offered" in g]
        print("\nslips:", *(f"\n  {k}: {v}" for k, v in counts.items()),
              f"\n  without a slip: {len(offered)} of "
              f"{2 * len(untouched)} eyes offered one")
        right = sum(v["right"] for v in counts.values())
        wrong = sum(v["wrong"] for v in counts.values())
        self.assertLessEqual(len(offered), 0.005 * 2 * len(untouched))
        self.assertLessEqual(wrong, 0.03 * (right + wrong))
        point = counts["the decimal point of the sphere is misplaced"]
        self.assertGreater(point["right"], 0.7 * sum(point.values()))


# --- instruments

PEOPLE = list(survey())


def device(rnd, n, turn=0, bias=(0, 0, 0), sd=(0.25, 0.12)):
    """n patients of the survey by an instrument that is biased and turned."""
    visits = []
    for p in rnd.sample(PEOPLE, n):
        pair = {}
        for eye, e in zip(("right", "left"), p["eyes"]):
            v = turned(vector(e), turn)
            v = [a + b for a, b in zip(v, bias)]
            pair[eye] = {"final": e, "reading": of_vector(
                [v[0] + rnd.gauss(0, sd[0]), v[1] + rnd.gauss(0, sd[1]),
                 v[2] + rnd.gauss(0, sd[1])])}
        visits.append(pair)
    return {"visits": visits}


def misfit(eyes, degrees):
    """Sum of squares that a turn of all finals leaves."""
    return sum((a - b) ** 2 for final, reading in eyes
               for a, b in zip(turned(final, degrees)[1:], reading[1:]))


class Device(unittest.TestCase):
    def test_an_instrument_that_is_right(self):
        got = ask("device-bias", device(random.Random(10), 200))
        self.assertEqual(got["verdict"], "right")
        self.assertEqual((got["visits"], got["eyes"]), (200, 400))
        self.assertAlmostEqual(got["sd"]["m"], 0.25, delta=0.03)
        self.assertAlmostEqual(got["sd"]["j45"], 0.12, delta=0.015)
        self.assertAlmostEqual(got["standard_error"]["m"], 0.25 / 20,
                               delta=0.002)

    def test_bias_and_turn_are_found(self):
        got = ask("device-bias", device(random.Random(11), 200, turn=4))
        self.assertEqual(got["verdict"], "turned")
        both = got["turn"]["both"]
        self.assertAlmostEqual(both["degrees"], 4,
                               delta=3 * both["standard_error"])
        got = ask("device-bias", device(random.Random(12), 200,
                                        bias=(-0.25, 0, 0)))
        self.assertEqual(got["verdict"], "biased")
        self.assertAlmostEqual(got["bias"]["m"], -0.25, delta=0.05)
        got = ask("device-bias", device(random.Random(13), 200, -5,
                                        (0.3, 0, 0)))
        self.assertEqual(got["verdict"], "biased and turned")

    def test_a_turn_that_is_only_certain_is_none(self):
        """0.26 degrees of 400 visits is many errors from 0, and less than the
        2 degrees that a lens of the strongest cylinder may be off."""
        for turn, verdict in ((0.26, "right"), (-1.9, "right"),
                              (2.3, "turned")):
            got = ask("device-bias", device(random.Random(21), 400, turn,
                                            sd=(0.05, 0.01)))
            both = got["turn"]["both"]
            self.assertGreater(abs(both["degrees"]),
                               3 * both["standard_error"])
            self.assertEqual(got["verdict"], verdict)

    def test_the_turn_is_where_a_search_finds_the_least_misfit(self):
        for seed, turn in ((14, 3), (15, -30), (16, 60)):
            body = device(random.Random(seed), 40, turn)
            eyes = [(vector(e["final"]), vector(e["reading"]))
                    for p in body["visits"] for e in p.values()]
            low, high = turn - 20.0, turn + 20.0
            while high - low > 1e-5:
                third = (high - low) / 3
                if misfit(eyes, low + third) < \
                        misfit(eyes, high - third):
                    high -= third
                else:
                    low += third
            got = ask("device-bias", body)["turn"]["both"]["degrees"]
            self.assertAlmostEqual(got, (low + high) / 2, 3)

    def test_the_error_is_the_spread_of_many_such_instruments(self):
        rnd = random.Random(17)
        got = ask("device-bias", [device(rnd, 30, 2) for _ in range(200)])
        for find, error in (
                (lambda g: g["turn"]["both"]["degrees"],
                 lambda g: g["turn"]["both"]["standard_error"]),
                (lambda g: g["bias"]["m"],
                 lambda g: g["standard_error"]["m"])):
            found = [find(g) for g in got]
            mean = sum(found) / 200
            spread = math.sqrt(sum((x - mean) ** 2 for x in found) / 199)
            said = math.sqrt(sum(error(g) ** 2 for g in got) / 200)
            self.assertAlmostEqual(said / spread, 1, delta=0.25)

    def test_eyes_that_turn_opposite_ways_are_no_turned_table(self):
        rnd = random.Random(18)
        one, other = device(rnd, 100, 6)["visits"], device(rnd, 100,
                                                          -6)["visits"]
        got = ask("device-bias", {"visits": [
            {"right": a["right"], "left": b["left"]}
            for a, b in zip(one, other)]})
        self.assertNotIn("turned", got["verdict"])

    def test_few_or_spherical_eyes(self):
        got = ask("device-bias", device(random.Random(19), 9, 10))
        self.assertEqual(got["verdict"], "too few to tell")
        same = {"reading": lens(-1), "final": lens(-1.25)}
        got = ask("device-bias", {"visits": [{"right": same}] * 20})
        self.assertEqual(got["turn"], {"both": None, "right": None,
                                       "left": None})
        self.assertEqual((got["verdict"], got["eyes"]), ("biased", 20))

    def test_control_limits_of_a_handbook(self):
        """Ten flow rates of NIST/SEMATECH e-Handbook 6.3.2.2, from memory:
        mean 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041; by
        hand 508.1 / 10 and 16.9 / 9 / 1.128 * 3."""
        got = ask("control-limits", {"values": [
            49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]})
        self.assertAlmostEqual(got["centre"], 50.81, 9)
        self.assertAlmostEqual(got["low"], 45.8159, delta=0.002)
        self.assertAlmostEqual(got["high"], 55.8041, delta=0.002)
        self.assertTrue(got["in_control"])
        self.assertIsNone(got["first_outside"])

    def test_a_step_is_seen_beyond_the_limits_or_as_a_run(self):
        calm = [0.1, -0.1, 0.05, -0.05, 0.1, -0.1, 0.05, -0.05, 0.1, -0.1]
        got = ask("control-limits", [
            {"values": calm + [0.9], "baseline": 10},
            {"values": calm + [0.15] * 8, "baseline": 10}])
        self.assertEqual((got[0]["first_outside"], got[0]["outside"],
                          got[0]["in_control"]), (10, 1, False))
        self.assertEqual((got[1]["first_run"], got[1]["outside"],
                          got[1]["in_control"]), (17, 0, False))

    def test_sigma_is_that_of_normal_noise(self):
        rnd = random.Random(20)
        got = ask("control-limits",
                  {"values": [rnd.gauss(3, 0.5) for _ in range(5000)]})
        self.assertAlmostEqual(got["sigma"], 0.5, delta=0.02)


class Refusals(unittest.TestCase):
    def refused(self, function, body, *errors):
        answer = send(function, body)
        self.assertEqual(answer.status, 422, answer.body)
        self.assertEqual([(e["pointer"], e["detail"])
                          for e in answer.body["errors"]], list(errors))

    def test_empty_arrays_and_arrays_of_several(self):
        for function in ("change-probability", "eye-exchange",
                         "slip-explanation", "device-bias",
                         "control-limits"):
            self.refused(
                function, [], ("", "must hold 1 to 100000 items, not 0"))
        got = ask("control-limits", [{"values": [1, 2]},
                                     {"values": [3, 3, 3]}])
        self.assertEqual([g["centre"] for g in got], [1.5, 3])

    def test_change_probability(self):
        self.refused("change-probability", {"old": {"sphere": 1}, "x": 1},
                     ("/x", "no such field here"),
                     ("/old/method", "is required"), ("/new", "is required"))
        good = {"sphere": 1, "method": "subjective"}
        self.refused(
            "change-probability",
            [{"old": good, "new": good},
             {"old": {**good, "cylinder": -1},
              "new": {**good, "cycloplegic": "no"}, "age_years": 131}],
            ("/1/age_years", '"131" is outside 0 to 130 years'),
            ("/1/old/axis", "is required with a cylinder"),
            ("/1/new/cycloplegic", "must be true or false, not a text"))

    def test_eye_exchange(self):
        good = entry(lens(-1), lens(-2))
        self.refused("eye-exchange", {"entry": entry(lens(-1), None)},
                     ("/entry", "must have both eyes"))
        self.refused("eye-exchange", {}, ("/entry", "is required"))
        self.refused(
            "eye-exchange",
            {"entry": good, "prior": 0.6, "history": [
                entry(None, None, years=1), {**good, "years_before": -1}, 7]},
            ("/history/0", "must have right, left or both"),
            ("/history/1/years_before", '"-1" is outside 0 to 130 years'),
            ("/history/2", "must be an object, not a number"),
            ("/prior", '"0.6" is outside 0.000001 to 0.5'))
        answer = send("eye-exchange", {
            "entry": good, "history": [{**good, "years_before": 1}] * 101})
        self.assertEqual(answer.status, 422)
        self.assertEqual(answer.body["errors"][0]["pointer"], "/history")

    def test_slip_explanation(self):
        self.refused(
            "slip-explanation",
            {"entry": entry(lens(-1), lens(-2)), "cornea": {
                "right": {"cylinder": -1}, "left": {"axis": 3}, "both": 1}},
            ("/cornea/both", "no such field here"),
            ("/cornea/right/axis", "is required with a cylinder"),
            ("/cornea/left/cylinder", "is required"))

    def test_instruments(self):
        same = {"reading": lens(-1), "final": lens(-1)}
        self.refused("device-bias", {"visits": [{"right": same}, {}]},
                     ("/visits/1", "must have right, left or both"))
        self.refused("device-bias",
                     {"visits": [{"right": {"reading": lens(-1)}},
                                {"left": {**same, "x": 1}}]},
                     ("/visits/0/right/final", "is required"),
                     ("/visits/1/left/x", "no such field here"))
        self.refused("device-bias", {}, ("/visits", "is required"))
        self.refused("control-limits", {"values": [1, 2], "baseline": 3},
                     ("/baseline", '"3" is more than there are values'))
        answer = send("control-limits", {"values": [1, "2", 1e9],
                                         "baseline": 1.5})
        self.assertEqual([e["pointer"] for e in answer.body["errors"]],
                         ["/baseline", "/values/1", "/values/2"])
        self.assertEqual(send("control-limits",
                              {"values": [1]}).status, 422)
