"""DICOMweb's Store: instances as parts of one body, each standing alone.

The forms are those of PS3.18 (10.5) and RFC 2046; failure reasons from memory
of PS3.4 and PS3.18.
"""

import json
import pathlib
import tempfile
import unittest

from lenstest import Service, repo

DATA = repo / "tests/data/dicom"
GOOD = sorted(p.stem for p in DATA.glob("*.dcm") if p.name[0] != "9")
BAD = sorted(p.stem for p in DATA.glob("9*.dcm"))
DICOM, DICOM_JSON = "application/dicom", "application/dicom+json"
STUDIES = "/dicomweb/studies"


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def dcm(name):
    return (DATA / f"{name}.dcm").read_bytes()


def instance(name):
    body = json.loads((DATA / f"{name}.json").read_text())
    return body[0] if isinstance(body, list) else body


def value(item, tag):
    return item[tag]["Value"][0]


def uid(name):
    return value(instance(name), "00080018")


def study(name):
    return value(instance(name), "0020000D")


def body_of(parts, boundary="edge"):
    out = b""
    for kind, data in parts:
        out += f"--{boundary}\r\nContent-Type: {kind}\r\n\r\n".encode()
        out += data + b"\r\n"
    return out + f"--{boundary}--\r\n".encode()


def files(names):
    return [(DICOM, dcm(n)) for n in names]


def as_json(instances):
    return [(DICOM_JSON, json.dumps(instances).encode())]


def items(answer, tag):
    return answer.body.get(tag, {}).get("Value", [])


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def store(self, parts, path=STUDIES, role="device", net=None, kind=None,
              body=None, headers=None):
        kind = kind or parts[0][0]
        return svc.api(
            "POST", path, body_of(parts) if body is None else body,
            (net or self.net).tokens[role],
            {"Content-Type":
             f'multipart/related; type="{kind}"; boundary=edge',
             **(headers or {})})

    def reading(self, item, net=None):
        path = value(item, "00091002")
        answer = svc.api("GET", path,
                         token=(net or self.net).tokens["prescriber"])
        self.assertEqual(answer.status, 200)
        return answer.body

    def figures(self, answer, net=None):
        """By SOP instance: all that it says, without what was given to it."""
        return {value(i, "00081155"):
                {k: v for k, v in self.reading(i, net).items()
                 if k not in ("id", "status", "patient")}
                for i in items(answer, "00081199")}


class Stored(Case):
    def test_every_fixture_in_every_encoding_is_the_same_reading(self):
        found = []
        for parts in (files(GOOD), as_json([instance(n) for n in GOOD]),
                      [as_json(instance(n))[0] for n in GOOD]):
            net = svc.network()
            answer = self.store(parts, net=net)
            self.assertEqual(answer.status, 200, answer.body)
            self.assertEqual(answer.headers["Content-Type"], DICOM_JSON)
            self.assertEqual(len(items(answer, "00081199")), len(GOOD))
            self.assertNotIn("00081198", answer.body)
            found.append(self.figures(answer, net))
        net = svc.network()
        plain = {}
        for name in GOOD:
            got = svc.api("POST", "/v1/readings", dcm(name),
                          net.tokens["device"], {"Content-Type": DICOM}).body
            plain[uid(name)] = {k: v for k, v in got.items()
                                if k not in ("id", "status", "patient")}
        for one in found:
            self.assertEqual(one, plain)

    def test_the_answer_names_what_was_stored(self):
        answer = self.store(files(GOOD[:1]))
        self.assertEqual(answer.body["00081190"], {"vr": "UR"})
        item, = items(answer, "00081199")
        self.assertEqual(value(item, "00081150"),
                         "1.2.840.10008.5.1.4.1.1.78.1")
        self.assertEqual(value(item, "00081155"), uid(GOOD[0]))
        self.assertEqual(list(item), sorted(item))
        self.assertEqual(list(answer.body), sorted(answer.body))

    def test_the_original_is_the_part(self):
        text = json.dumps([instance(n) for n in GOOD[:2]]).encode()
        answer = self.store([(DICOM, dcm(GOOD[2])), (DICOM_JSON, text)])
        for item, data, kind in zip(items(answer, "00081199"),
                                    (dcm(GOOD[2]), text, text),
                                    (DICOM, DICOM_JSON, DICOM_JSON)):
            got = svc.api("GET", value(item, "00091002") + "/original",
                          token=self.net.tokens["prescriber"])
            self.assertEqual(got.headers["Content-Type"], kind)
            if kind == DICOM_JSON:
                self.assertEqual(got.body, json.loads(data))
            else:
                self.assertEqual(got.body, data)

    def test_a_repeat_stores_nothing_more(self):
        first = self.store(files(GOOD))
        again = self.store(as_json([instance(n) for n in GOOD]))
        self.assertEqual((first.status, again.status), (200, 200))
        self.assertEqual(first.body, again.body)

    def test_one_instance_twice_in_a_body_is_one_reading(self):
        for parts in (files([GOOD[0], GOOD[0]]),
                      as_json([instance(GOOD[1])] * 2)):
            a, b = items(self.store(parts), "00081199")
            self.assertEqual(value(a, "00091002"), value(b, "00091002"))

    def test_bulk_data_is_passed_over(self):
        answer = self.store(as_json(instance(GOOD[0]))
                            + [("application/octet-stream", b"\0\1\2")])
        self.assertEqual(answer.status, 200)
        self.assertEqual(len(items(answer, "00081199")), 1)

    def test_the_type_may_stand_without_quotes_or_not_at_all(self):
        for extra in ("; type=application/dicom", ""):
            answer = svc.api(
                "POST", STUDIES, body_of(files(GOOD[:1])),
                self.net.tokens["device"],
                {"Content-Type": f"multipart/related{extra}; boundary=edge"})
            self.assertEqual(answer.status, 200)

    def test_a_study_takes_its_own_only(self):
        path = f"{STUDIES}/{study(GOOD[0])}"
        own = [n for n in GOOD if study(n) == study(GOOD[0])]
        other = [n for n in GOOD if study(n) != study(GOOD[0])]
        self.assertTrue(own and other)
        answer = self.store(files([own[0], other[0]]), path)
        self.assertEqual(answer.status, 202)
        self.assertEqual(value(items(answer, "00081199")[0], "00081155"),
                         uid(own[0]))
        failed, = items(answer, "00081198")
        self.assertEqual(value(failed, "00081155"), uid(other[0]))
        self.assertEqual(value(failed, "00081197"), 0xA900)
        self.assertIn("another study", value(failed, "00091001"))


class Failed(Case):
    def test_the_good_are_stored_beside_the_bad(self):
        answer = self.store(files([GOOD[0], *BAD, GOOD[1]]))
        self.assertEqual(answer.status, 202)
        self.assertEqual([value(i, "00081155")
                          for i in items(answer, "00081199")],
                         [uid(GOOD[0]), uid(GOOD[1])])
        self.assertEqual([value(i, "00081155")
                          for i in items(answer, "00081198")],
                         [uid(n) for n in BAD])

    def test_every_fault_of_the_bad_is_named(self):
        for parts in (files(BAD), as_json([instance(n) for n in BAD])):
            answer = self.store(parts)
            self.assertEqual(answer.status, 409)
            self.assertNotIn("00081199", answer.body)
            for name, item in zip(BAD, items(answer, "00081198")):
                alone = svc.api("POST", "/v1/readings", dcm(name),
                                self.net.tokens["device"],
                                {"Content-Type": DICOM}).body["errors"]
                lines = value(item, "00091001").split("\n")
                self.assertEqual(len(lines), len(alone))
                for line, fault in zip(lines, alone):
                    # In an array the place begins with the instance's.
                    self.assertTrue(line.endswith(
                        f"{fault['pointer']} {fault['detail']}"), line)
                self.assertEqual(value(item, "00081197"), 0xA900)

    def test_another_class_is_not_supported(self):
        other = instance(GOOD[0])
        # Digital X-Ray Image Storage, for presentation (PS3.4; from memory).
        other["00080016"]["Value"] = ["1.2.840.10008.5.1.4.1.1.1.1"]
        answer = self.store(as_json(other))
        self.assertEqual(answer.status, 409)
        self.assertEqual(
            value(items(answer, "00081198")[0], "00081197"), 0x0122)

    def test_what_is_no_instance_is_another_failure(self):
        for part in ((DICOM, b"no file"), (DICOM, dcm(GOOD[0])[:-9]),
                     (DICOM_JSON, b"{"), (DICOM_JSON, b"[1]"),
                     (DICOM_JSON, b"{}")):
            answer = self.store([part, *files(GOOD[:1])], kind=DICOM)
            self.assertEqual(answer.status, 202, part)
            other, = items(answer, "0008119A")
            self.assertNotIn("00081155", other)
            self.assertIn(value(other, "00081197"), (0xC000, 0xA900))
            self.assertTrue(value(other, "00091001"))

    def test_a_broken_body_stores_nothing(self):
        whole = body_of(files(GOOD[:2]))
        for why, body in (("empty", b""), ("cut", whole[:-10]),
                          ("no part", b"--edge--\r\n"),
                          ("only bulk", body_of([("text/plain", b"x")])),
                          ("no headers' end", b"--edge\r\nA: b\r\n--edge--"),
                          ("other boundary", whole.replace(b"--edge",
                                                           b"--side"))):
            answer = self.store(None, kind=DICOM_JSON, body=body)
            self.assertEqual(answer.status, 400, why)
        for name in GOOD[:2]:
            self.assertEqual(
                svc.api("POST", "/v1/readings", dcm(name),
                        self.net.tokens["device"],
                        {"Content-Type": DICOM}).status, 201)

    def test_other_media_are_415(self):
        token = self.net.tokens["device"]
        for kind in (DICOM, DICOM_JSON, "multipart/form-data; boundary=edge",
                     "application/json", ""):
            answer = svc.api("POST", STUDIES, body_of(files(GOOD[:1])), token,
                             {"Content-Type": kind})
            self.assertEqual(answer.status, 415, kind)
        for kind in ("application/dicom+xml", "text/plain"):
            answer = self.store([(kind, b"x")], kind=DICOM)
            self.assertEqual(answer.status, 415, kind)
        body = body_of(files(GOOD[:1])).replace(
            b"\r\n\r\n", b"\r\nContent-Transfer-Encoding: base64\r\n\r\n", 1)
        self.assertEqual(self.store(None, kind=DICOM, body=body).status, 415)

    def test_a_content_type_without_a_good_boundary_is_400(self):
        for extra in ("", "; boundary=", '; boundary="a', "; boundary=a;"
                      " boundary=b", f"; boundary={'x' * 71}"):
            answer = svc.api("POST", STUDIES, body_of(files(GOOD[:1])),
                             self.net.tokens["device"],
                             {"Content-Type": f"multipart/related{extra}"})
            self.assertEqual(answer.status, 400, extra)

    def test_only_its_own_form_can_be_given(self):
        self.assertEqual(self.store(files(GOOD[:1]), headers={
            "Accept": "application/dicom+xml"}).status, 406)
        for accept in (DICOM_JSON, "application/json", "*/*"):
            self.assertEqual(self.store(files(GOOD[:1]), headers={
                "Accept": accept}).status, 200)

    def test_a_study_is_a_unique_identifier(self):
        for word in ("x", "1.2.a", "1" * 65, "%20"):
            self.assertEqual(self.store(
                files(GOOD[:1]), f"{STUDIES}/{word}").status, 422, word)

    def test_more_than_500_instances_are_refused(self):
        parts = [(DICOM_JSON, b"[" + b",".join([b"{}"] * 250) + b"]")] * 3
        self.assertEqual(self.store(parts).status, 422)

    def test_methods(self):
        answer = svc.api("GET", STUDIES, token=self.net.tokens["device"])
        self.assertEqual(answer.status, 405)
        self.assertIn("POST", answer.headers["Allow"])


class Who(Case):
    def test_roles(self):
        for role, status in (("device", 200), ("desk", 200),
                             ("prescriber", 200), ("lab", 403),
                             ("admin", 403), ("auditor", 403)):
            self.assertEqual(self.store(files(GOOD[:1]), role=role).status,
                             status, role)

    def test_nobody(self):
        answer = svc.api("POST", STUDIES, body_of(files(GOOD[:1])), None,
                         {"Content-Type": "multipart/related; boundary=edge"})
        self.assertEqual(answer.status, 401)

    def test_another_network_sees_nothing_and_has_its_own(self):
        answer = self.store(files(GOOD[:1]))
        path = value(items(answer, "00081199")[0], "00091002")
        other = svc.network()
        self.assertEqual(
            svc.api("GET", path, token=other.tokens["prescriber"]).status, 404)
        again = self.store(files(GOOD[:1]), net=other)
        self.assertNotEqual(
            value(items(again, "00081199")[0], "00091002"), path)

    def test_without_the_program_files_are_503_and_json_goes_on(self):
        with tempfile.TemporaryDirectory() as folder:
            with open(pathlib.Path(folder, "log"), "wb") as log:
                process, client = svc.another(log, {"PATH": "/nowhere"})
                try:
                    for parts, status in ((files(GOOD[:2]), 503),
                                          (as_json(instance(GOOD[0])), 200)):
                        answer = client.api(
                            "POST", STUDIES, body_of(parts),
                            self.net.tokens["device"],
                            {"Content-Type":
                             "multipart/related; boundary=edge"})
                        self.assertEqual(answer.status, status)
                        if status == 503:
                            self.assertIn("Retry-After", answer.headers)
                finally:
                    client.close()
                    process.terminate()
                    process.wait(20)


if __name__ == "__main__":
    unittest.main()
