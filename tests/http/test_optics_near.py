"""POST /v1/optics/{function}: near, both eyes, tilted lenses, reading level.

The case files of these functions run in test_optics.py.  Prism at the reading
level and tilted lenses are computed here a second time, by rays that are bent
at curved surfaces (Snell's law alone).
"""

import csv
import math
import pathlib
import random
import re

from lenstest import Service, repo
from optics_case import OpticsCase

DATA = pathlib.Path(repo) / "tests/data/optics"


def setUpModule():
    OpticsCase.svc = Service()
    OpticsCase.token = OpticsCase.svc.network().tokens["prescriber"]


def tearDownModule():
    OpticsCase.svc.close()


def table(name):
    with open(DATA / f"{name}.csv", newline="", encoding="utf-8") as f:
        return list(csv.DictReader(f))


def cross(a, b):
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2],
            a[0] * b[1] - a[1] * b[0]]


def dot(a, b):
    return sum(x * y for x, y in zip(a, b))


class Surface:
    """Half the squares of the way from the centre, times the curvatures along
    the line at an angle and across it; metres, x to the examiner's right, y
    up."""

    def __init__(self, along, across, angle_deg=0.0, centre=(0.0, 0.0)):
        self.curves, self.centre = (along, across), centre
        t = math.radians(angle_deg)
        self.lines = ((math.cos(t), math.sin(t)), (-math.sin(t), math.cos(t)))

    def height(self, x, y):
        """The surface above (x, y), and its slopes there."""
        x, y = x - self.centre[0], y - self.centre[1]
        z, slope = 0.0, [0.0, 0.0]
        for curve, line in zip(self.curves, self.lines):
            s = x * line[0] + y * line[1]
            z += curve * s * s / 2
            slope[0] += curve * s * line[0]
            slope[1] += curve * s * line[1]
        return z, slope

    def bend(self, point, way, n_from, n_to):
        for _ in range(20):  # where the ray meets it
            z, slope = self.height(point[0], point[1])
            step = (z - point[2]) / (
                way[2] - slope[0] * way[0] - slope[1] * way[1])
            point = [p + step * w for p, w in zip(point, way)]
        _, slope = self.height(point[0], point[1])
        normal = [-slope[0], -slope[1], 1.0]
        size = math.sqrt(dot(normal, normal))
        normal = [x / size for x in normal]
        # What lies in the surface keeps n sin; the rest follows.
        flat = cross(normal, cross(way, normal))
        flat = [x * n_from / n_to for x in flat]
        deep = math.sqrt(1 - dot(flat, flat))
        return point, [f + deep * n for f, n in zip(flat, normal)]


INDEX = 1.6


def thin_lens(power, index=INDEX, centre=(0.0, 0.0), front=5.0):
    """A front of that power and a back of two curves, in contact."""
    sphere, cylinder, axis = power
    back = [(front - f) / (index - 1) for f in (sphere, sphere + cylinder)]
    front /= index - 1
    return [Surface(front, front, 0, centre),
            Surface(back[0], back[1], axis, centre)]


def through(surfaces, point, way, index=INDEX):
    """The way of a ray behind glasses of two surfaces each."""
    for i, surface in enumerate(surfaces):
        n = (1, index) if i % 2 == 0 else (index, 1)
        point, way = surface.bend(point, way, *n)
    return way


# The lens and the shifts are made so much smaller for the ray that what is left
# is the part that grows as the shift does, which the matrix is about.
SMALL = 1e-4


def met_by_rays(eye, lens):
    """(base in, base up) in cm/m at the reading point of one lens."""
    sign = 1 if eye == "right" else -1

    def place(at):
        return (sign * at.get("in_mm", 0) / 1000 * SMALL,
                -at["down_mm"] / 1000 * SMALL)

    glass = thin_lens((lens["sphere"], lens.get("cylinder", 0),
                       lens.get("axis") or 0))
    if lens.get("add"):
        glass += thin_lens((lens["add"], 0, 0),
                           centre=place(lens["segment"]))
    x, y, z = through(glass, [*place(lens), -0.01], [0, 0, 1])
    # Light is turned towards the base.
    return sign * 100 * x / z / SMALL, 100 * y / z / SMALL


def made_up(rng):
    cylinder = rng.choice([0, -0.5, -1.25, -3, 2])
    lens = {"sphere": rng.randrange(-40, 41) / 4, "cylinder": cylinder,
            "down_mm": rng.uniform(-5, 15), "in_mm": rng.uniform(-4, 4)}
    if cylinder:
        lens["axis"] = rng.randrange(1, 181)
    if rng.random() < 0.7:
        lens["add"] = rng.randrange(3, 15) / 4
        lens["segment"] = {"down_mm": rng.uniform(3, 20),
                           "in_mm": rng.uniform(0, 3)}
    return lens


class ReadingLevel(OpticsCase):
    P14 = {"right": {"sphere": -4.5, "cylinder": -1.5, "axis": 180,
                     "down_mm": 10},
           "left": {"sphere": -1, "cylinder": -1, "axis": 30, "down_mm": 10}}

    def test_rays_meet_the_same(self):
        rng = random.Random(14)
        pairs = [{"right": made_up(rng), "left": made_up(rng)}
                 for _ in range(200)]
        for pair, got in zip(pairs, self.right("reading-level", pairs)):
            rays = {eye: met_by_rays(eye, pair[eye]) for eye in pair}
            for eye, (base_in, base_up) in rays.items():
                with self.subTest(eye=eye, pair=pair):
                    self.assertAlmostEqual(
                        got["met"][eye]["base_in"], base_in, delta=1e-4)
                    self.assertAlmostEqual(
                        got["met"][eye]["base_up"], base_up, delta=1e-4)
            vertical = rays["right"][1] - rays["left"][1]
            with self.subTest(pair=pair):
                self.assertAlmostEqual(got["vertical"], vertical, delta=2e-4)
                self.assertAlmostEqual(
                    got["horizontal"],
                    rays["right"][0] + rays["left"][0], delta=2e-4)
                lower = min(rays, key=lambda eye: rays[eye][1])
                if abs(vertical) > 1e-3:
                    self.assertEqual(got["slab_off"]["eye"], lower)
                    self.assertAlmostEqual(
                        got["slab_off"]["amount"], abs(vertical), delta=2e-4)

    def test_meridians_meet_the_same(self):
        """Prentice on each principal meridian alone: power times distance from
        the centre along it."""
        rng = random.Random(15)
        lenses = [made_up(rng) for _ in range(100)]
        answers = self.right("reading-level", [
            {"right": lens, "left": {"sphere": 0, "down_mm": 0}}
            for lens in lenses])
        for lens, got in zip(lenses, answers):
            x, y = lens["in_mm"] / 10, -lens["down_mm"] / 10
            axis = math.radians(lens.get("axis", 0))
            want = [0, 0]
            for power, line in (
                    (lens["sphere"], (math.cos(axis), math.sin(axis))),
                    (lens["sphere"] + lens["cylinder"],
                     (-math.sin(axis), math.cos(axis)))):
                prism = -power * (x * line[0] + y * line[1])
                want = [w + prism * at for w, at in zip(want, line)]
            with self.subTest(lens=lens):
                self.assertAlmostEqual(
                    got["distance"]["right"]["base_in"], want[0], places=9)
                self.assertAlmostEqual(
                    got["distance"]["right"]["base_up"], want[1], places=9)

    def test_p14(self):
        """P-14 (c), by hand in tests/unit/optics/slab.c: 6.00 and 1.75 base
        down, and 0.433 horizontally that no sine-squared rule shows."""
        got = self.right("reading-level", self.P14)
        self.assertAlmostEqual(got["vertical"], -4.25, places=12)
        self.assertAlmostEqual(abs(got["horizontal"]), 0.433, places=3)
        self.assertEqual(got["slab_off"]["eye"], "right")
        self.assertAlmostEqual(got["slab_off"]["amount"], 4.25, places=12)
        self.assertEqual(got["slab_off"]["rounded"], 4.5)
        self.assertIn("estimate", got["caution"])
        older = self.right("vertical-imbalance", {
            "down_mm": 10, **{eye: {n: v for n, v in lens.items()
                                    if n != "down_mm"}
                              for eye, lens in self.P14.items()}})
        self.assertEqual(older["right"], got["distance"]["right"])
        self.assertAlmostEqual(older["imbalance"], abs(got["vertical"]))

    def test_p15_what_is_not_known_is_null(self):
        pair = {"right": {"sphere": 5, "add": 3, "down_mm": 10},
                "left": {"sphere": 2, "add": 1, "down_mm": 10}}
        got = self.right("reading-level", pair)
        self.assertEqual(
            [got[n] for n in ("met", "vertical", "horizontal", "slab_off")],
            [None] * 4)
        self.assertAlmostEqual(got["distance"]["right"]["base_up"]
                               - got["distance"]["left"]["base_up"], 3)
        pair["left"]["add"] = 3
        got = self.right("reading-level", pair)
        self.assertAlmostEqual(got["vertical"], 3)
        self.assertIsNone(got["horizontal"])
        self.assertEqual(got["slab_off"]["eye"], "left")

    def test_null_is_absent(self):
        lens = {"sphere": -1, "down_mm": 10}
        nulls = dict(lens, cylinder=None, axis=None, add=None, in_mm=None,
                     segment=None)
        one = self.right("reading-level", {"right": lens, "left": lens})
        self.assertIsNone(one["slab_off"])
        self.assertEqual(
            self.right("reading-level", [{"right": nulls, "left": nulls}] * 2),
            [one] * 2)
        self.refused(
            "reading-level", [], ("", "must hold 1 to 100000 items, not 0"))

    def test_nonsense_is_named(self):
        lens = {"sphere": -1, "add": 2, "down_mm": 10}
        known = dict(lens, segment={"down_mm": 8})
        one = "is required: both segments' centres are known or neither"
        self.refused("reading-level", {"right": known, "left": lens},
                     ("/left/segment", one))
        self.refused("reading-level", [{"right": lens, "left": known}],
                     ("/0/right/segment", one))
        self.refused(
            "reading-level",
            {"right": {"sphere": 0, "cylinder": -1, "down_mm": 51,
                       "add": -1, "seg": 1},
             "left": dict(lens, segment={"in_mm": "2"})},
            ("/right/seg", "no such field here"),
            ("/right/axis", "is required with a cylinder"),
            ("/right/add", '"-1" is outside 0 to 20 D'),
            ("/right/down_mm", '"51" is outside -50 to 50 mm'),
            ("/left/segment/down_mm", "is required"),
            ("/left/segment/in_mm", "must be a number"))
        self.refused("reading-level", {"right": lens},
                     ("/left", "is required"))


def about(line, degrees):
    """The rotation about x or y; z points to the eye."""
    t = math.radians(degrees)
    c, s = math.cos(t), math.sin(t)
    return {"x": ((1, 0, 0), (0, c, -s), (0, s, c)),
            "y": ((c, 0, s), (0, 1, 0), (-s, 0, c))}[line]


def tilted_by_rays(lens, index, tilt_deg, kind):
    return turned_by_rays(
        lens, index, about({"pantoscopic": "x", "wrap": "y"}[kind], tilt_deg))


def turned_by_rays(lens, index, turn):
    """(f11, f12, f22) of a lens that is turned, by four rays near the line of
    sight, taken into the lens's frame and back."""
    back = tuple(zip(*turn))
    glass = thin_lens(lens, index)
    small = 1e-5

    def turned(m, v):
        return [dot(row, v) for row in m]

    def out(x, y):
        way = turned(turn, through(glass, turned(back, [x, y, -0.01]),
                                   turned(back, [0, 0, 1]), index))
        return way[0] / way[2], way[1] / way[2]

    columns = []
    for dx, dy in ((small, 0), (0, small)):
        ahead, behind = out(dx, dy), out(-dx, -dy)
        columns.append([(b - a) / (2 * small) for a, b in zip(ahead, behind)])
    return columns[0][0], (columns[0][1] + columns[1][0]) / 2, columns[1][1]


def matrix(lens):
    """By turning the two principal powers into place."""
    t = math.radians(lens["axis"] or 0)
    on, across = lens["sphere"], lens["sphere"] + lens["cylinder"]
    c, s = math.cos(t), math.sin(t)
    return (on * c * c + across * s * s, (on - across) * s * c,
            on * s * s + across * c * c)


class Tilt(OpticsCase):
    def test_rays_through_a_tilted_lens_meet_the_same_power(self):
        rng = random.Random(8)
        asked = [{"sphere": rng.randrange(-40, 41) / 4,
                  "cylinder": rng.choice([-0.5, -2, -4]),
                  "axis": rng.randrange(1, 181), "index": 1.6,
                  "tilt_deg": rng.uniform(-25, 25),
                  "kind": rng.choice(["pantoscopic", "wrap"])}
                 for _ in range(100)]
        for q, got in zip(asked, self.right("tilt", asked)):
            rays = tilted_by_rays((q["sphere"], q["cylinder"], q["axis"]),
                                  q["index"], q["tilt_deg"], q["kind"])
            with self.subTest(q):
                for a, b in zip(matrix(got), rays):
                    self.assertAlmostEqual(a, b, delta=1e-3)

    def test_a_compensated_lens_acts_as_wanted(self):
        wanted = [{"sphere": -7, "cylinder": -1, "axis": 151, "index": 1.586,
                   "tilt_deg": t, "kind": "wrap"} for t in range(0, 30, 5)]
        orders = self.right("tilt-compensation", wanted)
        acts = self.right("tilt", [{**w, **o}
                                   for w, o in zip(wanted, orders)])
        for w, a in zip(wanted, acts):
            for member in ("sphere", "cylinder", "axis"):
                self.assertAlmostEqual(w[member], a[member], places=9)
        rays = [tilted_by_rays((o["sphere"], o["cylinder"], o["axis"]), 1.586,
                               w["tilt_deg"], "wrap")
                for w, o in zip(wanted, orders)]
        for w, by in zip(wanted, rays):
            for a, b in zip(matrix(w), by):
                self.assertAlmostEqual(a, b, delta=1e-3)

    @staticmethod
    def stand(q):
        """Wrapped in the frame, then tilted with it; by where edges go."""
        temporal = (-1 if q["eye"] == "right" else 1, 0, 0)
        wrap = about("y", q["wrap_deg"])
        if dot(wrap[2], temporal) * q["wrap_deg"] < 0:
            wrap = about("y", -q["wrap_deg"])
        tilt = about("x", q["pantoscopic_deg"])
        if dot(tilt[2], (0, -1, 0)) * q["pantoscopic_deg"] < 0:
            tilt = about("x", -q["pantoscopic_deg"])
        return tuple(tuple(dot(row, column) for column in zip(*wrap))
                     for row in tilt)

    def test_tilt_and_wrap_at_once_by_rays(self):
        rng = random.Random(23)
        asked = [{"eye": rng.choice(["right", "left"]),
                  "sphere": rng.randrange(-40, 41) / 4,
                  "cylinder": rng.choice([-0.5, -2, -4]),
                  "axis": rng.randrange(1, 181), "index": 1.6,
                  "pantoscopic_deg": rng.uniform(-25, 25),
                  "wrap_deg": rng.uniform(-25, 25)} for _ in range(100)]
        acts = self.right("as-worn", asked)
        orders = self.right("as-worn-compensation", asked)
        for q, got, order in zip(asked, acts, orders):
            for lens, want in ((q, got), (order, q)):
                rays = turned_by_rays(
                    (lens["sphere"], lens["cylinder"], lens["axis"] or 0),
                    q["index"], self.stand(q))
                with self.subTest(q):
                    for a, b in zip(matrix(want), rays):
                        self.assertAlmostEqual(a, b, delta=1e-3)

    def test_at_once_is_more_than_one_after_the_other(self):
        """A sphere of -8.00 tilted by 15 and wrapped by 20: the axis lies
        between the two, and mirrored before the other eye."""
        q = {"sphere": -8, "index": 1.5, "pantoscopic_deg": 15,
             "wrap_deg": 20}
        right, left = self.right("as-worn", [dict(q, eye="right"),
                                             dict(q, eye="left")])
        self.assertAlmostEqual(right["sphere"], left["sphere"], 9)
        self.assertAlmostEqual(right["axis"], 180 - left["axis"], 9)
        self.assertGreater(min(right["axis"] % 90, 90 - right["axis"] % 90),
                           20)
        for kind, name in (("pantoscopic", "wrap_deg"),
                           ("wrap", "pantoscopic_deg")):
            one = self.right("as-worn", dict(q, eye="left", **{name: 0}))
            alone = self.right("tilt", {
                "sphere": -8, "index": 1.5, "kind": kind,
                "tilt_deg": 35 - q[name]})
            for member in ("sphere", "cylinder", "axis"):
                self.assertAlmostEqual(one[member], alone[member], 9)
        self.refused("as-worn", dict(q, wrap_deg=61),
                     ("/eye", "is required"),
                     ("/wrap_deg", '"61" is outside -60 to 60 degrees'))
        self.refused("as-worn-compensation", [],
                     ("", "must hold 1 to 100000 items, not 0"))

    def test_the_sphere_is_the_lens_without_cylinder(self):
        q = {"sphere": -8, "index": 1.5, "tilt_deg": 12}
        got = self.right("tilt-sphere", [dict(q, form="exact"),
                                         dict(q, form="martin")])
        self.assertEqual(sorted(got[0]), ["across", "along_tilt_axis"])
        self.assertEqual(sorted(got[1]), ["cylinder", "sphere"])
        lens = self.right("tilt", dict(q, kind="pantoscopic"))
        self.assertAlmostEqual(lens["sphere"], got[0]["along_tilt_axis"])
        self.assertAlmostEqual(lens["sphere"] + lens["cylinder"],
                               got[0]["across"])
        self.assertEqual(lens["axis"], 180)
        self.refused(
            "tilt", [], ("", "must hold 1 to 100000 items, not 0"))

    def test_nonsense_is_named(self):
        q = {"sphere": 1, "index": 1.5, "tilt_deg": 12}
        self.refused("tilt-sphere", [dict(q, form="exact"), q],
                     ("/1/form", "is required"))
        self.refused(
            "tilt-sphere", {"sphere": 1, "index": 0.9, "tilt_deg": 90,
                            "form": "martin"},
            ("/index", '"0.9" is outside 1.001 to 3'),
            ("/tilt_deg", '"90" is outside -60 to 60 degrees'))
        for function in ("tilt", "tilt-compensation"):
            answer = self.ask(function, dict(q, kind="sideways", cylinder=-1))
            self.assertEqual(answer.status, 422)
            self.assertEqual([e["pointer"] for e in answer.body["errors"]],
                             ["/axis", "/kind"])


class Near(OpticsCase):
    def test_donders_table(self):
        rows = table("06f_donders_table")
        self.assertEqual(len(rows), 14)
        got = self.right("donders-amplitude",
                         [{"age_years": float(r["age"])} for r in rows])
        self.assertEqual([a["amplitude"] for a in got],
                         [float(r["amplitude"]) for r in rows])

    def test_add_by_age_table(self):
        for row in table("06c_add_by_age"):
            # Inside the band: its ends belong to the next one, too.
            ages = [int(row["age_from"]) + 0.5, int(row["age_to"]) - 0.5]
            for got in self.right("add-by-age",
                                  [{"age_years": a} for a in ages]):
                self.assertEqual(got, {"low": float(row["add_low"]),
                                       "high": float(row["add_high"])})
        self.assertEqual(self.right("add-by-age", {"age_years": 55}),
                         {"low": 1.5, "high": 2.25})

    def test_one_many_and_none(self):
        for function, body, want in (
                ("amplitude-by-age", {"age_years": 40},
                 {"minimum": 5, "average": 6.5, "maximum": 9}),
                # 100 / 40 - 2 / 2
                ("add-from-amplitude",
                 {"distance_cm": 40, "amplitude": 2, "fraction": 0.5},
                 {"add": 1.5}),
                ("add-at-distance",
                 {"add": 2, "distance_cm": 40, "new_distance_cm": 80},
                 {"add_at_new_distance": 0.75, "dioptric_shift": -1.25}),
                ("clear-range", {"add": 2, "amplitude": 0.5},
                 {"far_cm": 50, "near_cm": 40}),
                ("clear-range", {"add": 0, "amplitude": 0},
                 {"far_cm": None, "near_cm": None})):
            with self.subTest(function):
                self.assertEqual(self.right(function, body), want)
                self.assertEqual(self.right(function, [body] * 3), [want] * 3)
                self.refused(
                    function, [], ("", "must hold 1 to 100000 items, not 0"))

    def test_nonsense_is_named(self):
        self.refused("amplitude-by-age", [{"age_years": 40},
                                          {"age_years": 131}],
                     ("/1/age_years", '"131" is outside 0 to 130 years'))
        self.refused("donders-amplitude", {"age_years": 9},
                     ("/age_years", '"9" is outside 10 to 75 years'))
        self.refused("add-by-age", {"age_years": 44},
                     ("/age_years", '"44" is outside 45 to 130 years'))
        self.refused(
            "add-from-amplitude", {"distance_cm": 0, "amplitude": -1},
            ("/distance_cm", '"0" is outside 1 to 1000 cm'),
            ("/amplitude", '"-1" is outside 0 to 100 D'),
            ("/fraction", "is required"))
        self.refused(
            "add-at-distance", {"add": 21, "distance_cm": 40,
                                "new_distance_cm": "50"},
            ("/add", '"21" is outside 0 to 20 D'),
            ("/new_distance_cm", "must be a number"))
        self.refused("clear-range", {"add": 1, "amplitude": 101, "age": 1},
                     ("/age", "no such field here"),
                     ("/amplitude", '"101" is outside 0 to 100 D'))


def word(finding):
    """The table's name of a finding as the API writes it."""
    name = re.sub(r" \(exo \+\)|lateral ", "", finding)
    name = re.sub(r"^(BO|BI) (distance|near) (\w+)",
                  lambda m: f"{m[2]}-base-{'out' if m[1] == 'BO' else 'in'}-"
                            f"{m[3]}", name)
    name = {"AC/A": "ac-a", "NRA": "negative-relative-accommodation",
            "PRA": "positive-relative-accommodation",
            "fused cross-cylinder": "cross-cylinder",
            "binocular cross-cylinder": "cross-cylinder"}.get(name, name)
    return name.replace(" ", "-")


class Binocular(OpticsCase):
    def test_both_printings_of_morgans_table(self):
        rows, narrow = table("07e_morgan"), " [narrow band]"
        self.assertEqual(len(rows), 34)
        for row in rows:
            band = row["finding"].endswith(narrow)
            finding = row["finding"].removesuffix(narrow)
            # The table counts exo as positive, we as negative.
            mean = float(row["mean"]) * (-1 if "exo" in finding else 1)
            got = self.right("expected-finding",
                             {"finding": word(finding), "value": mean + 1})
            with self.subTest(row["finding"]):
                self.assertEqual(got["mean"], mean)
                self.assertEqual(got["narrow_sd" if band else "sd"],
                                 float(row["sd"]))
                self.assertAlmostEqual(got["difference"], 1, places=12)

    def test_one_many_and_none(self):
        for function, body, want in (
                ("sheard", {"phoria": 8, "reserve": 10}, {"prism": 2}),
                ("percival", {"greater": 20, "lesser": 4}, {"prism": 4}),
                ("one-to-one", {"eso": 6, "base_in_recovery": -2},
                 {"prism": 4}),
                # 6 + 0.5 (-4 - 2)
                ("ac-a", {"method": "calculated", "pd_cm": 6, "near_m": 0.5,
                          "far_phoria": 2, "near_phoria": -4}, {"ac_a": 3}),
                ("ac-a", {"method": "gradient", "lens_change": -1,
                          "phoria_without_lens": -2, "phoria_with_lens": -6},
                 {"ac_a": 4})):
            with self.subTest(function):
                self.assertEqual(self.right(function, body), want)
                self.assertEqual(self.right(function, [body] * 3), [want] * 3)
                self.refused(
                    function, [], ("", "must hold 1 to 100000 items, not 0"))

    def test_nonsense_is_named(self):
        self.refused("sheard", [{"phoria": -8, "reserve": 10}],
                     ("/0/phoria", '"-8" is outside 0 to 100 cm/m'))
        self.refused("percival", {"greater": 4, "lesser": 5},
                     ("/lesser", '"5" is more than greater'))
        self.refused("one-to-one", {"eso": 4}, ("/base_in_recovery",
                                                "is required"))
        answer = self.ask("expected-finding", {"finding": "phoria", "value": 1})
        self.assertEqual(answer.status, 422)
        self.assertEqual(answer.body["errors"][0]["pointer"], "/finding")

    def test_sphere_instead_of_prism(self):
        """A phoria, the ratio by gradient, and what a lens leaves of it, found
        by halving: where it is as much less as the prism takes."""
        for eso, ratio, prism in ((8, 4, 2), (-6, 5, 3), (4, 2.5, 4)):
            # Eso (positive) takes base out; plus lowers the stimulus.
            base_in = -prism if eso > 0 else prism

            def left(sphere):
                return eso - ratio * sphere

            want = eso - prism if eso > 0 else eso + prism
            low, high = -20.0, 20.0
            for _ in range(60):
                middle = (low + high) / 2
                low, high = ((middle, high) if left(middle) > want
                             else (low, middle))
            got = self.right("sphere-for-prism",
                             {"base_in": base_in, "ac_a": ratio})
            self.assertAlmostEqual(got["sphere"], low, 9)
            self.assertIn("try on the patient", got["caution"])
            gradient = self.right("ac-a", {
                "method": "gradient", "lens_change": -got["sphere"],
                "phoria_without_lens": eso, "phoria_with_lens": want})
            self.assertAlmostEqual(gradient["ac_a"], ratio, 9)
        self.assertEqual(self.right("sphere-for-prism", {
            "base_in": 0, "ac_a": 4})["sphere"], 0)
        self.refused("sphere-for-prism", {"base_in": -2, "ac_a": 0},
                     ("/ac_a", '"0" is outside 0.1 to 30 cm/m a dioptre'))

    def test_each_way_to_ac_a_has_its_members(self):
        self.refused(
            "ac-a", {"method": "calculated", "pd_cm": 62, "near_m": 0.4,
                     "far_phoria": 0, "lens_change": 1},
            ("/lens_change", "is no member of this method"),
            ("/pd_cm", '"62" is outside 1 to 15 cm'),
            ("/near_phoria", "is required"))
        gradient = {"method": "gradient", "lens_change": 0,
                    "phoria_without_lens": 1, "phoria_with_lens": 2}
        self.refused("ac-a", gradient, (
            "/lens_change", '"0" is no change: it is under 0.01 D'))
        self.refused("ac-a", dict(gradient, lens_change=1, near_m=0.4),
                     ("/near_m", "is no member of this method"))
        self.refused("ac-a", {"lens_change": 1}, ("/method", "is required"))
