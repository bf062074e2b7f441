"""An order's Rx as a DICOM Spectacle Prescription Report.

Template rows and codes as in TID 2020, 2021, CID 4214 and 4215 of PS3.16; the
files are held against dciodvfy and dcentvfy of dicom3tools and dsrdump of
dcmtk.  dciodvfy's table of this class asks for optional clinical trial modules
in every report; its lines about them are no faults.
"""

import json
import pathlib
import re
import shutil
import subprocess
import tempfile
import unittest

from dicom_file import file_of
from lenstest import Service
from order_case import FINAL, VARYING, OrderCase

DICOM = {"Content-Type": "application/dicom"}
FULL = {
    "right": {"sphere": -2.25, "cylinder": -0.75, "axis": 170, "add": 1.75,
              "intermediate_add": 1.00,
              "prism": [{"amount": 1, "base": "out"},
                        {"amount": 0.5, "base": "up"}]},
    "left": {"sphere": 0.12, "cylinder": 0, "add": 1.75,
             "prism": [{"amount": 2, "base": "down"}]},
    "vertex_mm": 12,
    "pd_mm": {"right": 31.5, "left": 32,
              "near": {"right": 30, "left": 30.5}}}


def setUpModule():
    OrderCase.svc = Service()


def tearDownModule():
    OrderCase.svc.close()


def concept(item):
    code = item["0040A043"]["Value"][0]
    return code["00080100"]["Value"][0], code["00080104"]["Value"][0]


def rows(container):
    """Of a container: meaning of each row -> its value."""
    found = {}
    for item in container["0040A730"]["Value"]:
        kind = item["0040A040"]["Value"][0]
        if kind == "NUM":
            value = item["0040A300"]["Value"][0]["0040A30A"]["Value"][0]
        elif kind == "CODE":
            value = item["0040A168"]["Value"][0]["00080104"]["Value"][0]
        elif kind == "TEXT":
            value = item["0040A160"]["Value"][0]
        else:
            value = rows(item)
        found[concept(item)[1]] = value
    return found


class Dicom(OrderCase):
    def setUp(self):
        super().setUp()
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))
        self.addCleanup(shutil.rmtree, self.folder)

    def report(self, order, role="desk"):
        answer = self.get(order, role, "/dicom")
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(answer.headers["Content-Type"],
                         "application/dicom+json")
        one, = answer.body
        return one

    def file(self, report, name="one"):
        path = self.folder / f"{name}.dcm"
        path.write_bytes(file_of(report))
        return path

    def said(self, *command):
        done = subprocess.run(command, stdout=subprocess.PIPE,
                              stderr=subprocess.STDOUT, text=True)
        return done.returncode, done.stdout

    def check(self, path):
        """What the tools of others find wrong."""
        _, said = self.said("dciodvfy", "-new", path)
        self.assertIn("SpectaclePrescription", said)
        return [line for line in said.splitlines()
                if line.startswith("Error") and "ClinicalTrial" not in line]

    def ordered(self, final, **more):
        return self.place(self.body(self.signed(final), **more))["id"]

    def test_each_row_of_the_template_says_what_was_signed(self):
        report = self.report(self.ordered(FULL))
        self.assertEqual(concept(report),
                         ("111671", "Spectacle Prescription Report"))
        got = rows(report)
        self.assertEqual(got.pop("Right Eye Rx"), {
            "Sphere": -2.25, "Cylinder Power": -0.75, "Axis": 170,
            "Add Near": 1.75, "Add Intermediate": 1.0,
            "Horizontal Prism Power": 1.0, "Horizontal Prism Base": "Outward",
            "Vertical Prism Power": 0.5, "Vertical Prism Base": "Up"})
        self.assertEqual(got.pop("Left Eye Rx"), {
            "Sphere": 0.12, "Add Near": 1.75, "Vertical Prism Power": 2.0,
            "Vertical Prism Base": "Down"})
        comment = got.pop("Comment")
        # 31.5 and 32, 30 and 30.5 added.
        self.assertEqual(got, {"Distance Pupillary Distance": 63.5,
                               "Near Pupillary Distance": 60.5})
        for text in ("vertex of 12.00 mm", "right eye: PD far 31.50 mm",
                     "left eye: PD near 30.50 mm"):
            self.assertIn(text, comment)

    def test_outside_tools_find_nothing_wrong(self):
        for final in (FINAL, VARYING, FULL):
            path = self.file(self.report(self.ordered(final)))
            self.assertEqual(self.check(path), [])
            status, said = self.said("dsrdump", "+Pl", "+Pc", path)
            self.assertEqual(status, 0, said)
            # It says of itself what it doesn't check.
            self.assertEqual(
                [line for line in said.splitlines()
                 if re.match("[EW]:", line) and "VR checker" not in line
                 and "template constraints" not in line], [])
            self.assertIn("111671,DCM", said)

    def test_the_check_of_others_sees_what_is_wrong(self):
        """So that the test above can fail."""
        for tag in ("0040A491", "00100020", "0040A073"):
            report = self.report(self.ordered(FINAL))
            del report[tag]
            self.assertNotEqual(self.check(self.file(report)), [], tag)

    def test_reports_of_one_exam_are_of_one_study(self):
        exam = self.signed(FULL)
        paths = [self.file(self.report(self.place(self.body(exam))["id"]),
                           f"n{i}") for i in range(2)]
        status, said = self.said("dcentvfy", *paths)
        self.assertEqual((status, said), (0, ""))

    def test_it_comes_back_as_it_was_ordered(self):
        report = self.report(self.ordered(FULL))
        want = {k: {**FULL[k]} for k in ("right", "left")}
        for net, body, kind in (
                (self.svc.network(), file_of(report), DICOM),
                (self.svc.network(), json.dumps([report]),
                 {"Content-Type": "application/dicom+json"})):
            got = self.svc.api("POST", "/v1/readings", body,
                               net.tokens["device"], kind)
            self.assertEqual(got.status, 201, got.body)
            got = got.body[0] if isinstance(got.body, list) else got.body
            self.assertTrue(got["prescription"]["verified"])
            for side, eye in want.items():
                for name, value in eye.items():
                    self.assertEqual(got[side][name], value, (side, name))
            self.assertEqual(got["patient_as_sent"]["record_number"],
                             "Q-10442")
            self.assertEqual(got["patient_as_sent"]["born"], "1971-11-09")
            self.assertEqual(got["patient_as_sent"]["family"], "Okonjo")

    def test_one_lens_and_others_without_a_power_are_told(self):
        got = rows(self.report(self.ordered(FINAL, only="left")))
        self.assertNotIn("Right Eye Rx", got)
        self.assertIn("only the left lens", got["Comment"])
        final = dict(FINAL, right={"lens": "balance"})
        got = rows(self.report(self.ordered(final)))
        self.assertNotIn("Right Eye Rx", got)
        self.assertIn("right eye: balance", got["Comment"])

    def test_no_power_at_all_has_no_report(self):
        final = dict(FINAL, right={"lens": "balance"}, left={"lens": "balance"})
        answer = self.post(self.body(self.signed(final)))
        if answer.status == 201:
            self.assertEqual(
                self.get(answer.body["id"], "desk", "/dicom").status, 409)
        else:
            self.assertEqual(answer.status, 422)

    def test_it_is_the_same_until_something_changes(self):
        exam = self.signed(FULL)
        order = self.place(self.body(exam))["id"]
        a, b = self.report(order), self.report(order, "prescriber")
        self.assertEqual(a, b)
        other = self.report(self.place(self.body(exam))["id"])
        self.assertNotEqual(a["00080018"], other["00080018"])
        self.assertEqual(a["0020000D"], other["0020000D"])
        uid = re.compile(r"2\.25\.(0|[1-9][0-9]{0,38})")
        for tag in ("00080018", "0020000D", "0020000E"):
            self.assertTrue(uid.fullmatch(a[tag]["Value"][0]))

    def test_names_of_any_kind_stay_readable(self):
        """What is a sign in DICOM is a blank, and what is too long is cut."""
        for i, (given, kept) in enumerate((("E" * 90, "E" * 56),
                                           ("É" * 90, "É" * 56))):
            self.patient = self.someone(f"Q-{i}", "A^B=C\\D", given)
            report = self.report(self.ordered(FINAL))
            name = report["00100010"]["Value"][0]["Alphabetic"]
            self.assertEqual(name, "A B C D^" + kept)
            self.assertIn("was cut", rows(report)["Comment"])
            if given.isascii():  # dciodvfy counts bytes
                self.assertEqual(self.check(self.file(report)), [])
        self.patient = self.someone("Q-9", "Solo", None)
        report = self.report(self.ordered(FINAL))
        self.assertEqual(report["00100010"]["Value"],
                         [{"Alphabetic": "Solo"}])

    def test_who_may_read_it(self):
        order = self.ordered(FINAL)
        for role, status in (("desk", 200), ("prescriber", 200), ("lab", 200),
                             ("admin", 200), ("auditor", 200),
                             ("device", 403)):
            self.assertEqual(self.get(order, role, "/dicom").status, status,
                             role)
        for role, born in (("desk", ["19711109"]), ("lab", None)):
            report = self.get(order, role, "/dicom").body[0]
            self.assertEqual(report["00100030"].get("Value"), born, role)
            self.assertEqual(report["00100020"]["Value"], ["Q-10442"], role)
        other = self.svc.network()
        self.assertEqual(other.api(
            "desk", "GET", f"/v1/orders/{order}/dicom").status, 404)
        self.assertEqual(self.svc.api(
            "GET", f"/v1/orders/{order}/dicom").status, 401)
        answer = self.get(order, "desk", "/dicom")
        again = self.net.api("desk", "GET", f"/v1/orders/{order}/dicom",
                             None, {"If-None-Match": answer.headers["ETag"]})
        self.assertEqual(again.status, 304)
        self.assertEqual(self.net.api(
            "desk", "GET", f"/v1/orders/{order}/dicom", None,
            {"Accept": "application/pdf"}).status, 406)


if __name__ == "__main__":
    unittest.main()
