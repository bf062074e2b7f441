"""Survey eyes into a running service, and what comes back of them.

The rows are those of tests/data/corpus/README.md; their columns are explained
there.  Each person becomes one autorefraction with the keratometry of the
same eyes, one lensometry, one or two acuities, all as the survey has them: in
plus-cylinder form, without a vertex distance.  What is expected of the service
is worked out here from the rows by other means than its own: whole hundredths,
cosines, and a plain condition for each caution.
"""

import collections
import csv
import json
import math
import pathlib
import time

NDJSON = {"Content-Type": "application/x-ndjson"}
LINES = 1000  # of readings in a body
PROFILE = pathlib.Path(__file__).parents[2] / "deploy/profiles/survey-eyes.json"
SIDES = {"R": "right", "L": "left"}
WORSE = "666"  # the code for worse than 20/200, not a denominator

# What the survey's comment says of the moment of the objective refraction.
LENS_WORN = {"2": "aphakic contact lens", "3": "contact lens",
             "5": "contact lenses for monovision",
             "6": "contact lens, right eye only",
             "7": "contact lens, left eye only"}
COMMENTS = {"1": "monovision at acuity", "4": "artificial eye, side not said"}


def people(path):
    """{person: {"R": row, "L": row}}, in the order of the file."""
    found = {}
    with open(path, encoding="utf-8", newline="") as text:
        for row in csv.DictReader(text):
            found.setdefault(row["person"], {})[row["eye"]] = row
    return found


def power(row, part):
    """The figures that are there; a blank is no zero."""
    names = {"sphere": "sph", "cylinder": "cyl", "axis": "axis"}
    return {name: float(row[f"{part}_{short}"])
            for name, short in names.items() if row[f"{part}_{short}"]}


def cornea(row):
    return {which: {"radius_mm": float(row[f"k_{which}_mm"]),
                    "power": float(row[f"k_{which}_d"]),
                    "axis": float(row[f"k_{which}_axis"])}
            for which in ("flat", "steep") if row[f"k_{which}_mm"]}


def refraction_eye(row):
    eye = power(row, "or")
    if eye and cornea(row):
        eye["keratometry"] = cornea(row)
    return eye


def cornea_eye(row):
    """Of an eye that gave no refraction; the others' goes with that."""
    return {} if row["or_sph"] else cornea(row)


def lens_eye(row):
    return power(row, "rx")


def acuity_eye(column):
    def eye(row):
        if row[column] in ("", WORSE):
            return {}
        return {"acuity": {"notation": "snellen", "text": f"20/{row[column]}"}}
    return eye


KINDS = (
    ("autorefraction", refraction_eye, {}),
    ("keratometry", cornea_eye, {}),
    ("lensometry", lens_eye, {}),
    ("acuity", acuity_eye("va_presenting"),
     {"with": "habitual", "distance": "far"}),
    ("acuity", acuity_eye("va_objective"),
     {"with": "autorefraction", "distance": "far"}),
)


def readings(person, rows):
    """The readings of one person in the native form."""
    some = next(iter(rows.values()))
    # The days aren't published: the first of the cycle's second year.
    taken = f"{some['cycle'][-4:]}-01-01T12:00:00Z"
    for kind, of_eye, more in KINDS:
        eyes = {SIDES[side]: of_eye(row) for side, row in sorted(rows.items())}
        eyes = {side: eye for side, eye in eyes.items() if eye}
        if not eyes:
            continue
        body = {"kind": kind, "taken_at": taken,
                "device": {"serial": f"survey-{kind}"},
                "patient": {"record_number": f"S-{person}"}, **more, **eyes}
        if kind == "autorefraction" and some["comment"] in LENS_WORN:
            body["condition"] = {"lens_worn": LENS_WORN[some["comment"]]}
        if some["comment"] in COMMENTS:
            body["comment"] = COMMENTS[some["comment"]]
        yield body


# --- what is expected, from the rows alone

def minus(eye):
    """Sphere, cylinder, axis in hundredths and minus form; axis 0: none."""
    sph, cyl, axis = (round(100 * eye.get(name, 0))
                      for name in ("sphere", "cylinder", "axis"))
    if cyl > 0:
        sph, cyl, axis = sph + cyl, -cyl, axis + 9000
    axis = axis % 18000 or 18000
    return sph, cyl, axis if cyl else 0


def vector(sph, cyl, axis_deg):
    return (sph + cyl / 2,
            -cyl / 2 * math.cos(math.radians(2 * axis_deg)),
            -cyl / 2 * math.sin(math.radians(2 * axis_deg)))


def of_eye(eye):
    return vector(eye["sphere"], eye.get("cylinder", 0), eye.get("axis", 0))


def strength(eye):
    return max(abs(eye["sphere"]), abs(eye["sphere"] + eye.get("cylinder", 0)))


def apart(a, b):
    off = abs(a - b) % 180
    return min(off, 180 - off)


def flat_steeper(eye):
    k = eye.get("keratometry", eye)
    return "flat" in k and (k["flat"]["power"] > k["steep"]["power"] or
                            k["flat"]["radius_mm"] < k["steep"]["radius_mm"])


def skewed(eye):
    k = eye.get("keratometry", eye)
    return "flat" in k and \
        90 - apart(k["flat"]["axis"], k["steep"]["axis"]) > 5


def radius_differs(eye):
    k = eye.get("keratometry", eye)
    return any(abs(round(33750 / k[which]["radius_mm"])
                   - round(100 * k[which]["power"])) > 25
               for which in ("flat", "steep") if which in k)


def beyond(eye):
    k = eye.get("keratometry", eye)
    return "flat" in k and (
        corneal_cylinder(k) > 8 or not 30 <= k["flat"]["power"] <= 60 or
        not 30 <= k["steep"]["power"] <= 60)


def mismatched(eye):
    """The cylinder over 2 D from corneal less 0.50 x 90; at the glasses,
    since no vertex is known."""
    k = eye.get("keratometry")
    if not k or "sphere" not in eye or corneal_cylinder(k) < 0:
        return False
    want = vector(0, -corneal_cylinder(k), k["flat"]["axis"])
    rule = vector(0, -0.5, 90)
    have = of_eye(eye)
    # Half a cylinder is the length of (J0, J45).
    return 2 * math.hypot(*(have[i] - want[i] - rule[i] for i in (1, 2))) > 2


def corneal_cylinder(k):
    return k["steep"]["power"] - k["flat"]["power"]


REACH = {"autorefraction": (-30, 25, 12), "lensometry": (-25, 25, 10)}


def out_of_reach(kind, eye):
    if kind not in REACH or "sphere" not in eye:
        return False
    low, high, cyl = REACH[kind]
    ends = (eye["sphere"], eye["sphere"] + eye.get("cylinder", 0))
    return max(ends) > high or min(ends) < low or \
        abs(eye.get("cylinder", 0)) > cyl


def alike(a, b):
    if "sphere" in a and "sphere" in b and a.get("cylinder") and \
            minus(a) == minus(b):
        return True
    a, b = a.get("keratometry", a), b.get("keratometry", b)
    return "flat" in a and "flat" in b and a == b


def signs(body):
    found = {math.copysign(1, body[side]["cylinder"])
             for side in ("right", "left")
             if body.get(side, {}).get("cylinder")}
    return len(found) == 2


def cautions(body):
    """{(code, eye or "both")} that the service should have."""
    found = {("patient-unknown", "both")}  # nobody of the survey is a patient
    kind = body["kind"]
    for side in ("right", "left"):
        eye = body.get(side, {})
        tests = {
            "vertex-missing": kind == "autorefraction" and "sphere" in eye
            and strength(eye) >= 5,
            "beyond-range": out_of_reach(kind, eye),
            "cylinder-missing": "axis" in eye and "cylinder" not in eye,
            "axis-dropped": eye.get("cylinder") == 0 and eye.get("axis", 0) > 0,
            "k-flat-steeper": flat_steeper(eye),
            "k-not-perpendicular": skewed(eye),
            "k-power-radius": radius_differs(eye),
            "k-beyond-range": beyond(eye),
            "cornea-mismatch": mismatched(eye),
        }
        found |= {(code, side) for code, is_so in tests.items() if is_so}
    if signs(body):
        found.add(("mixed-cylinder-signs", "both"))
    if "right" in body and "left" in body and \
            alike(body["right"], body["left"]):
        found.add(("eyes-alike", "both"))
    return found


# --- sums

class Figures:
    """Count, means and standard deviation (n - 1) as the survey's summary."""

    def __init__(self):
        self.values = []

    def add(self, m, j0, j45):
        self.values.append((m, j0, j45))

    def summary(self):
        n = len(self.values)
        mean = [math.fsum(v[i] for v in self.values) / n for i in range(3)]
        squares = math.fsum((v[0] - mean[0]) ** 2 for v in self.values)
        return {"n": n, "mean_m": mean[0], "sd_m": math.sqrt(squares / (n - 1)),
                "mean_j0": mean[1], "mean_j45": mean[2]}


def raw_summary(found):
    """The same from the rows as they are, in plus-cylinder form."""
    figures = collections.defaultdict(Figures)
    for rows in found.values():
        for side, row in rows.items():
            for part in ("or", "rx"):
                eye = power(row, part)
                if len(eye) == 3:
                    figures[part, side].add(*of_eye(eye))
    return {key: value.summary() for key, value in figures.items()}


class Import:
    """Sends all that the rows say, and reads it back."""

    def __init__(self, network):
        self.network = network
        self.sent = {}      # id: body
        self.sent_at = None  # when rows had been answered
        self.refused = []   # (body, errors)
        self.kinds = collections.Counter()
        self.faults = []    # texts: the service says something else
        self.cautions = collections.defaultdict(list)  # code: [(body, eye)]
        self.received = collections.defaultdict(Figures)
        self.vectors = collections.defaultdict(Figures)

    def run(self, found):
        self.send([body for person, rows in found.items()
                   for body in readings(person, rows)])
        self.read()

    def run_rows(self, found, data):
        """The same, where the service reads the file by the profile that is
        shipped; what is expected still follows from the rows."""
        profile = json.loads(PROFILE.read_text(encoding="utf-8"))
        answer = self.network.api("admin", "POST", "/v1/profiles", {
            "name": "survey-eyes", "profile": profile})
        if answer.status != 201:
            raise RuntimeError(f"{answer.status}: {answer.body}")
        self.send_rows(found, data)
        self.sent_at = time.monotonic()
        self.read()

    def send_rows(self, found, data):
        answer = self.network.api(
            "device", "POST", "/v1/readings?profile=survey-eyes", data,
            {"Content-Type": "text/csv"})
        if answer.status != 200:
            raise RuntimeError(f"{answer.status}: {answer.body}")
        told = [json.loads(row) for row in answer.body.splitlines()]
        if len(told) != len(found):
            raise RuntimeError(f"{len(found)} persons, {len(told)} answers")
        line = 2  # behind the header
        for (person, rows), row in zip(found.items(), told):
            bodies = list(readings(person, rows))
            ids = row.get("ids") or [row.get("id")]
            if (row["line"], row.get("last_line", row["line"])) != \
                    (line, line + len(rows) - 1):
                raise RuntimeError(f"{row} where line {line} is due")
            line += len(rows)
            if row["status"] == 201 and len(ids) == len(bodies):
                self.sent.update(zip(ids, bodies))
                self.kinds.update(body["kind"] for body in bodies)
            else:
                self.refused.append((bodies, row))

    def send(self, bodies):
        for at in range(0, len(bodies), LINES):
            part = bodies[at:at + LINES]
            text = "".join(json.dumps(body) + "\n" for body in part)
            answer = self.network.api("device", "POST", "/v1/readings", text,
                                      NDJSON)
            if answer.status != 200:
                raise RuntimeError(f"{answer.status}: {answer.body}")
            rows = [json.loads(row) for row in answer.body.splitlines()]
            if [row["line"] for row in rows] != list(range(1, len(part) + 1)):
                raise RuntimeError("the lines aren't answered in their order")
            for body, row in zip(part, rows):
                if row["status"] == 201:
                    self.sent[row["id"]] = body
                    self.kinds[body["kind"]] += 1
                else:
                    self.refused.append((body, row))

    def read(self):
        """Every page of the tray, where all of it waits for its patients."""
        seen, after = set(), ""
        while after is not None:
            page = self.network.api(
                "desk", "GET", "/v1/readings?unclaimed=true&limit=500" + after)
            if page.status != 200:
                raise RuntimeError(f"{page.status}: {page.body}")
            for item in page.body["items"]:
                seen.add(item["id"])
                self.compare(self.sent[item["id"]], item)
            after = page.body["next"] and f"&after={page.body['next']}"
        if seen != set(self.sent):
            self.faults.append(f"{len(set(self.sent) - seen)} readings were"
                               " stored and aren't listed")

    def compare(self, body, item):
        for side in ("right", "left"):
            eye = body.get(side)
            if (side in item) != bool(eye):
                self.fault(body, side, "an eye too many or too few")
            elif eye and "sphere" in eye:
                self.compare_power(body, side, item[side])
        got = {(c["code"], c["eye"] or "both") for c in item["cautions"]}
        if got != cautions(body):
            self.fault(body, "", f"cautions {sorted(got)}, expected"
                       f" {sorted(cautions(body))}")
        for code, eye in got:
            self.cautions[code].append((body, eye))

    def compare_power(self, body, side, got):
        want = minus(body[side])
        have = tuple(round(100 * (got[name] or 0))
                     for name in ("sphere", "cylinder", "axis"))
        if have != want:
            self.fault(body, side, f"{have}, expected {want}")
        parts = (got["m"], got["j0"], got["j45"])
        exact = of_eye(body[side])
        if any(abs(a - b) > 0.000051 for a, b in zip(parts, exact)):
            self.fault(body, side, f"vector {parts}, expected {exact}")
        # A cylinder that wasn't there counts in no mean.
        if "cylinder" in body[side]:
            key = ("or" if body["kind"] == "autorefraction" else "rx",
                   side[0].upper())
            self.vectors[key].add(*parts)
            self.received[key].add(*vector(*(x / 100 for x in have)))

    def fault(self, body, side, text):
        self.faults.append(f"{body['patient']['record_number']}"
                           f" {body['kind']} {side}: {text}")

    def eyes(self, code):
        """How many eyes of each kind carry a caution; the whole is one."""
        return collections.Counter(
            body["kind"] for body, _ in self.cautions[code])
