"""DICOM over HTTP: files, read by a confined child, give what their DICOM JSON
gives; the bad ones are refused with every fault named."""

import json
import os
import pathlib
import shutil
import struct
import subprocess
import tempfile
import unittest

from lenstest import Service, repo

DATA = repo / "tests/data/dicom"
JSON = {"Content-Type": "application/dicom+json"}
FILE = {"Content-Type": "application/dicom"}
GOOD = sorted(p.stem for p in DATA.glob("*.dcm") if p.name[0] != "9")
BAD = sorted(p.stem for p in DATA.glob("9*.dcm"))


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def dcm(name):
    return (DATA / f"{name}.dcm").read_bytes()


def as_json(name):
    return (DATA / f"{name}.json").read_bytes()


def one(body):
    return body[0] if isinstance(body, list) else body


def figures(reading):
    """All that an instance says, without what the record gave it."""
    return {k: v for k, v in one(reading).items()
            if k not in ("id", "status", "patient")}


def faults(answer):
    return sorted((e["pointer"], e["detail"]) for e in answer.body["errors"])


def expected(name):
    """What the row of a fixture names as faults."""
    for line in (DATA / "fixtures.jsonl").read_text().splitlines():
        row = json.loads(line)
        if row["base"] == f"dicom/{name}.json":
            return row
    raise KeyError(name)


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def post(self, body, headers, path="/v1/readings", net=None):
        return svc.api("POST", path, body, (net or self.net).tokens["device"],
                       headers)


class Files(Case):
    def test_all_fixtures_are_there(self):
        # 13 good ones and 2 bad ones were made.
        self.assertEqual((len(GOOD), len(BAD)), (13, 2))

    def test_a_file_is_the_reading_that_its_json_is(self):
        other = svc.network()
        for name in GOOD:
            a = self.post(dcm(name), FILE)
            b = self.post(as_json(name), JSON, net=other)
            self.assertEqual((a.status, b.status), (201, 201), name)
            self.assertEqual(figures(a.body), figures(b.body), name)

    def test_the_same_instance_is_there_already_in_any_encoding(self):
        for name in GOOD[:3]:
            a = self.post(dcm(name), FILE)
            b = self.post(as_json(name), JSON)
            self.assertEqual((a.status, b.status), (201, 200), name)
            self.assertEqual(one(a.body)["id"], one(b.body)["id"])

    def test_the_original_is_the_file(self):
        stored = self.post(dcm(GOOD[0]), FILE)
        got = svc.api("GET", f"/v1/readings/{stored.body['id']}/original",
                      token=self.net.tokens["prescriber"])
        self.assertEqual(got.headers["Content-Type"], "application/dicom")
        self.assertEqual(got.body, dcm(GOOD[0]))

    def test_a_bad_one_is_refused_with_every_fault(self):
        for name in BAD:
            a = self.post(dcm(name), FILE)
            b = self.post(as_json(name), JSON)
            self.assertEqual((a.status, b.status), (422, 422), name)
            self.assertEqual(faults(a), faults(b))
            self.assertEqual(sorted(p for p, _ in faults(a)),
                             sorted(expected(name)["faults"]), name)

    def test_preview_stores_nothing(self):
        answer = self.post(dcm(GOOD[0]), FILE, "/v1/readings/preview")
        self.assertEqual((answer.status, answer.body["status"]),
                         (200, "preview"))
        self.assertEqual(self.post(dcm(GOOD[0]), FILE).status, 201)

    def test_what_is_no_file_is_said(self):
        whole = dcm(GOOD[0])
        for why, body in (("empty", b""), ("no preamble", whole[128:]),
                          ("other bytes", b"\0" * 200),
                          ("only the head", whole[:132]),
                          ("cut", whole[:-7]),
                          ("json", as_json(GOOD[0]))):
            answer = self.post(body, FILE)
            self.assertEqual(answer.status, 400, why)
            self.assertEqual([e["pointer"] for e in answer.body["errors"]],
                             [""], why)

    def test_a_number_that_is_none_is_refused(self):
        """-2.00 in the first eye's sphere, as NaN and as infinity."""
        whole = dcm(GOOD[0])
        at = whole.index(struct.pack("<d", -2.0))
        for bits in (float("nan"), float("inf")):
            answer = self.post(
                whole[:at] + struct.pack("<d", bits) + whole[at + 8:], FILE)
            self.assertEqual(answer.status, 400)

    def test_a_length_beyond_the_end_ends_soon(self):
        whole = bytearray(dcm(GOOD[0]))
        for at in range(140, len(whole), 97):
            broken = bytes(whole[:at]) + b"\xff\xff\xff\x7f" + \
                bytes(whole[at + 4:])
            self.assertIn(self.post(broken, FILE).status, (200, 201, 400, 422))

    def test_what_takes_much_is_refused(self):
        """A value of 3 MiB of bytes is 4 MiB of base64."""
        whole = dcm(GOOD[0])
        bulk = struct.pack("<HH2sHI", 0x7fe0, 0x0010, b"OB", 0, 3 << 20)
        answer = self.post(whole + bulk + b"\1" * (3 << 20), FILE)
        self.assertEqual(answer.status, 422)
        self.assertIn("more than", answer.body["errors"][0]["detail"])
        self.assertEqual(self.post(whole, FILE).status, 201)

    def test_other_characters_become_ours(self):
        """ISO 8859-1 in the file, by the standard's own word for it."""
        if not shutil.which("dcmodify"):
            self.fail("dcmodify is missing")
        with tempfile.TemporaryDirectory() as folder:
            path = pathlib.Path(folder, "x.dcm")
            path.write_bytes(dcm(GOOD[0]))
            latin = b"Br\xfcckner-Fixture^Odile"
            subprocess.run(
                [b"dcmodify", b"-nb", b"-m", b"0008,0005=ISO_IR 100",
                 b"-m", b"0010,0010=" + latin, os.fsencode(path)],
                check=True, stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL)
            answer = self.post(path.read_bytes(), FILE)
        self.assertEqual(answer.status, 201, answer.body)
        self.assertEqual(answer.body["patient_as_sent"]["family"],
                         "Brückner-Fixture")


class Missing(Case):
    def test_without_the_program_it_is_503_and_json_goes_on(self):
        with tempfile.NamedTemporaryFile() as log:
            process, client = svc.another(log, {"PATH": "/nowhere"})
            try:
                token = self.net.tokens["device"]
                answer = client.api("POST", "/v1/readings", dcm(GOOD[0]),
                                    token, FILE)
                self.assertEqual(answer.status, 503)
                self.assertIn("dcm2json", answer.body["detail"])
                self.assertIn("Retry-After", answer.headers)
                answer = client.api("POST", "/v1/readings", as_json(GOOD[0]),
                                    token, JSON)
                self.assertEqual(answer.status, 201)
            finally:
                client.close()
                process.terminate()
                process.wait(20)


class Prescriptions(Case):
    """A Spectacle Prescription Report is what another prescribed."""

    def setUp(self):
        super().setUp()
        self.patient = svc.api(
            "POST", "/v1/patients",
            {"record_number": "FX-2041-07", "family": "Brückner-Fixture",
             "given": "Odile", "born": "1979-03-14"},
            self.net.tokens["desk"]).body["id"]
        self.report = one(self.post(dcm("06-spectacle-prescription"),
                                    FILE).body)

    def test_it_says_what_it_is_and_by_whom(self):
        self.assertEqual(self.report["patient"], self.patient)
        self.assertEqual(self.report["prescription"],
                         {"by": "Dr Examiner Fixture", "verified": True})

    def test_it_is_compared_with_no_refraction_of_ours(self):
        self.post(dcm("04-subjective-both"), FILE)
        items = svc.api("GET", f"/v1/patients/{self.patient}/timeline",
                        token=self.net.tokens["desk"]).body["items"]
        self.assertEqual(len(items), 2)
        self.assertFalse([i for i in items if "delta" in i])

    def test_it_can_be_named_as_the_glasses_that_are_worn(self):
        path = f"/v1/patients/{self.patient}/habitual"
        answer = svc.api("POST", path, {"entry": self.report["id"]},
                         self.net.tokens["desk"])
        self.assertEqual(answer.status, 201, answer.body)


if __name__ == "__main__":
    unittest.main()
