"""A sample of survey eyes over the whole path of a reading.

All of them go through tests/survey; rows and their source are described in
tests/data/corpus/README.md.  The sums of the sample were made by awk.
"""

import csv
import unittest

import survey
from lenstest import Service, repo

CORPUS = repo / "tests/data/corpus"


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


class Sample(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.people = survey.people(CORPUS / "sample.csv")
        cls.found = survey.Import(svc.network())
        cls.found.run(cls.people)

    def test_every_row_is_stored_and_comes_back_as_it_must(self):
        self.assertEqual(sum(map(len, self.people.values())), 948)
        self.assertEqual(self.found.refused, [])
        self.assertEqual(self.found.faults, [])

    def test_sums_are_those_of_another_tool(self):
        with open(CORPUS / "sample_summary.csv", encoding="utf-8",
                  newline="") as text:
            wanted = {(r["measure"], r["eye"]): r
                      for r in csv.DictReader(text)}
        self.assertEqual(set(self.found.received), set(wanted))
        for key, row in wanted.items():
            for got, places in ((self.found.received, 6e-7),
                                (self.found.vectors, 1e-5)):
                summary = got[key].summary()
                for column, value in summary.items():
                    self.assertAlmostEqual(value, float(row[column]),
                                           delta=places, msg=(key, column))

    def test_codes_for_not_measured_never_arrive(self):
        # 21 by a count of the rows: worse than 20/200 is no denominator.
        codes = sum(row[name] == survey.WORSE
                    for rows in self.people.values() for row in rows.values()
                    for name in ("va_presenting", "va_objective"))
        self.assertEqual(codes, 21)
        sent = sum(side in body for body in self.found.sent.values()
                   for side in ("right", "left") if body["kind"] == "acuity")
        given = sum(row[name] != "" for rows in self.people.values()
                    for row in rows.values()
                    for name in ("va_presenting", "va_objective"))
        self.assertEqual(sent, given - codes)

    def test_each_anomaly_carries_its_caution(self):
        """Rows looked at one by one; see the README for what they show."""
        for number, kind, code, eye in (
                ("S-100461", "autorefraction", "k-beyond-range", "left"),
                ("S-101266", "keratometry", "k-beyond-range", "left"),
                ("S-100970", "autorefraction", "k-not-perpendicular", "right"),
                ("S-100970", "autorefraction", "k-power-radius", "right")):
            with self.subTest(number, code=code):
                self.assertIn(
                    (number, kind, eye),
                    {(body["patient"]["record_number"], body["kind"], side)
                     for body, side in self.found.cautions[code]})

    def test_minus_cylinders_lie_along_the_flat_meridian(self):
        # Taken for minus, the survey's plus cylinders would lie along the
        # steep one: with-the-rule would become against-the-rule.
        flat = steep = 0
        for body in self.found.sent.values():
            for eye in (body.get("right", {}), body.get("left", {})):
                k = eye.get("keratometry")
                if body["kind"] != "autorefraction" or not k or \
                        eye.get("cylinder", 0) < 1.5 or \
                        survey.corneal_cylinder(k) < 1.5:
                    continue
                # Each is what the service gave back, by the first test.
                axis = survey.minus(eye)[2] / 100
                flat += survey.apart(axis, k["flat"]["axis"]) <= 20
                steep += survey.apart(axis, k["steep"]["axis"]) <= 20
        self.assertEqual((flat, steep), (60, 0))

    def test_a_minus_cylinder_in_a_plus_file_is_taken_as_it_stands(self):
        # Person 110629 alone has minus cylinders: 4.25 -1.75 x 9.
        bodies = [b for b in self.found.sent.values()
                  if b["patient"]["record_number"] == "S-110629"
                  and b["kind"] == "lensometry"]
        self.assertEqual([b["right"] for b in bodies],
                         [{"sphere": 4.25, "cylinder": -1.75, "axis": 9}])


class Rows(unittest.TestCase):
    def test_the_file_itself_by_the_shipped_profile_gives_the_same(self):
        people = survey.people(CORPUS / "sample.csv")
        found = survey.Import(svc.network())
        found.run_rows(people, (CORPUS / "sample.csv").read_bytes())
        self.assertEqual(found.refused, [])
        self.assertEqual(found.faults, [])
        with open(CORPUS / "sample_summary.csv", encoding="utf-8",
                  newline="") as text:
            for row in csv.DictReader(text):
                got = found.received[row["measure"], row["eye"]].summary()
                for column, value in got.items():
                    self.assertAlmostEqual(value, float(row[column]),
                                           delta=6e-7, msg=column)


if __name__ == "__main__":
    unittest.main()
