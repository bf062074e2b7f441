"""An order as a FHIR R4 VisionPrescription.

The elements, their types and how often each may stand are those of R4 4.0.1
(StructureDefinition VisionPrescription and its value sets); the example is
HL7's own number 33123.
"""

import json
import re
import unittest
from decimal import Decimal

from lenstest import Service, repo
from order_case import EYE, FINAL, FRAME, OrderCase

PRODUCT = "http://terminology.hl7.org/CodeSystem/ex-visionprescriptionproduct"

INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
DATE_TIME = re.compile(r"\d{4}(-\d\d(-\d\d)?)?|" + INSTANT.pattern)
IDENTIFIER = {"system": (0, 1, str), "value": (0, 1, str), "type": (0, 1, dict)}
PRISM = {"amount": (1, 1, Decimal), "base": (1, 1, ("up", "down", "in", "out"))}
LENS = {"product": (1, 1, dict), "eye": (1, 1, ("right", "left")),
        "sphere": (0, 1, Decimal), "cylinder": (0, 1, Decimal),
        "axis": (0, 1, int), "prism": (0, 9, PRISM), "add": (0, 1, Decimal),
        "power": (0, 1, Decimal), "backCurve": (0, 1, Decimal),
        "diameter": (0, 1, Decimal), "duration": (0, 1, dict),
        "color": (0, 1, str), "brand": (0, 1, str),
        "note": (0, 9, {"text": (1, 1, str)})}
PRESCRIPTION = {
    "resourceType": (1, 1, ("VisionPrescription",)), "id": (0, 1, str),
    "contained": (0, 9, None), "identifier": (0, 9, IDENTIFIER),
    "status": (1, 1, ("active", "cancelled", "draft", "entered-in-error")),
    "created": (1, 1, DATE_TIME), "patient": (1, 1, dict),
    "encounter": (0, 1, dict), "dateWritten": (1, 1, DATE_TIME),
    "prescriber": (1, 1, dict), "lensSpecification": (1, 9, LENS)}


def is_of(value, kind):
    if kind is None:
        return True
    if isinstance(kind, tuple):
        return value in kind
    if isinstance(kind, re.Pattern):
        return isinstance(value, str) and bool(kind.fullmatch(value))
    return type(value) is kind


def faults(thing, table, at=""):
    """What the table doesn't allow."""
    found = [f"{at}/{name}: unknown" for name in thing if name not in table]
    for name, (least, most, kind) in table.items():
        value = thing.get(name)
        many = value if isinstance(value, list) else (
            [] if value is None else [value])
        if not least <= len(many) <= most:
            found.append(f"{at}/{name}: stands {len(many)} times")
        if most > 1 and value is not None and not isinstance(value, list):
            found.append(f"{at}/{name}: is no list")
        for i, one in enumerate(many):
            if isinstance(kind, dict):
                found += faults(one, kind, f"{at}/{name}/{i}")
            elif not is_of(one, kind):
                found.append(f"{at}/{name}: {one!r}")
    return found


def setUpModule():
    OrderCase.svc = Service()


def tearDownModule():
    OrderCase.svc.close()


class Fhir(OrderCase):
    def fhir(self, order, role="desk"):
        answer = self.get(order, role, "/fhir")
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(answer.headers["Content-Type"],
                         "application/fhir+json")
        # Decimals as they are written: their places are part of the value.
        raw = self.raw(order, role)
        resource = json.loads(raw, parse_float=Decimal)
        self.assertEqual(faults(resource, PRESCRIPTION), [])
        for lens in resource["lensSpecification"]:
            self.check_lens(lens)
        return resource

    def raw(self, order, role):
        connection = self.svc.client.connection()
        connection.request("GET", f"/v1/orders/{order}/fhir", headers={
            "Authorization": f"Bearer {self.net.tokens[role]}",
            "Accept": "application/fhir+json"})
        return connection.getresponse().read().decode()

    def check_lens(self, lens):
        """Our own rules, which R4 doesn't have."""
        self.assertEqual(lens["product"]["coding"],
                         [{"system": PRODUCT, "code": "lens"}])
        self.assertEqual("cylinder" in lens, "axis" in lens)
        self.assertTrue(1 <= lens.get("axis", 1) <= 180)
        figures = [lens.get(n) for n in ("sphere", "cylinder", "add")]
        figures += [p["amount"] for p in lens.get("prism", [])]
        for figure in figures:
            if figure is not None:
                self.assertEqual(figure.as_tuple().exponent, -2)
                self.assertFalse(figure.is_zero() and figure.is_signed())

    def test_the_official_example_comes_out_as_it_went_in(self):
        official = json.loads(
            (repo / "tests/data/fhir-official.json").read_text())
        final = {"vertex_mm": 12, "pd_mm": {"binocular": 63}}
        for lens in official["lensSpecification"]:
            final[lens["eye"]] = {
                "sphere": float(lens["sphere"]), "add": float(lens["add"]),
                "prism": [{"amount": float(p["amount"]), "base": p["base"]}
                          for p in lens["prism"]]}
            if "cylinder" in lens:
                final[lens["eye"]].update(cylinder=float(lens["cylinder"]),
                                          axis=lens["axis"])
        order = self.place(self.body(self.signed(final)))
        got = self.fhir(order["id"])["lensSpecification"]
        for lens, want in zip(got, official["lensSpecification"]):
            for name in ("sphere", "cylinder", "add"):
                self.assertEqual(str(lens.get(name)), str(want.get(name)))
            self.assertEqual(lens.get("axis"), want.get("axis"))
            self.assertEqual(lens["eye"], want["eye"])
            self.assertEqual([(p["amount"], p["base"]) for p in lens["prism"]],
                             [(Decimal(p["amount"]), p["base"])
                              for p in want["prism"]])

    def test_who_and_when(self):
        order = self.place()
        resource = self.fhir(order["id"], "lab")
        self.assertEqual(resource["status"], "active")
        self.assertEqual(resource["dateWritten"], order["rx"]["signed_at"])
        self.assertEqual(resource["identifier"][0], {
            "system": "urn:ietf:rfc:3986",
            "value": "urn:uuid:" + order["id"]})
        self.assertEqual(resource["identifier"][1]["value"], order["number"])
        held = {"#" + c["id"]: c for c in resource["contained"]}
        # R4, DomainResource: what is contained is referred to.
        self.assertEqual(set(held), {resource["patient"]["reference"],
                                     resource["prescriber"]["reference"]})
        patient = held[resource["patient"]["reference"]]
        self.assertEqual(set(patient), {"resourceType", "id", "identifier",
                                        "name"})
        self.assertEqual(patient["resourceType"], "Patient")
        self.assertEqual(patient["identifier"][0]["value"], "Q-10442")
        self.assertEqual(patient["name"],
                         [{"family": "Okonjo", "given": ["Tamsin"]}])
        self.assertNotIn("1971", json.dumps(resource, default=str))

    def test_axes_are_whole_and_from_1_to_180(self):
        # P-21: 0 and 180 are one axis; an instrument may say 0.
        for axis in (1, 90, 179, 180):
            with self.subTest(axis=axis):
                order = self.place(self.body(self.signed(dict(
                    FINAL, right=dict(EYE, axis=axis)))))
                lens = self.fhir(order["id"])["lensSpecification"][0]
                self.assertIs(type(lens["axis"]), int)
                self.assertEqual(lens["axis"], axis)

    def test_no_cylinder_is_left_out_and_plano_is_said(self):
        order = self.place(self.body(self.signed(dict(
            FINAL, right={"sphere": 0, "cylinder": 0}))))
        lens = self.fhir(order["id"])["lensSpecification"][0]
        self.assertEqual(str(lens["sphere"]), "0.00")
        self.assertNotIn("cylinder", lens)

    def test_lenses_without_a_power_get_none(self):
        for word in ("occluder", "prosthesis", "none"):
            with self.subTest(lens=word):
                order = self.place(self.body(self.signed(
                    {"right": EYE, "left": {"lens": word}, "vertex_mm": 12,
                     "pd_mm": {"right": 31}})))
                right, = self.fhir(order["id"])["lensSpecification"]
                self.assertEqual(right["eye"], "right")
                self.assertIn("sphere", right)
                self.assertIn(
                    "the left eye: " + ("no lens" if word == "none" else word),
                    right["note"][0]["text"])

    def test_a_balance_lens_is_one_without_figures(self):
        order = self.place(self.body(self.signed(
            {"right": EYE, "left": {"lens": "balance"}, "vertex_mm": 12,
             "pd_mm": {"right": 31}})))
        right, left = self.fhir(order["id"])["lensSpecification"]
        self.assertEqual(right["eye"], "right")
        self.assertNotIn("left eye", right["note"][0]["text"])
        self.assertEqual(set(left), {"product", "eye", "note"})
        self.assertIn("balance", left["note"][0]["text"])

    def test_one_lens_alone_and_what_r4_has_no_place_for(self):
        exam = self.signed({"right": dict(EYE, add=2, intermediate_add=1,
                                          near_prism=[{"amount": 1.5,
                                                       "base": "in"}]),
                            "left": EYE, "vertex_mm": 12.5,
                            "pd_mm": {"right": 31.5, "near": {"right": 30}}})
        order = self.place(self.body(
            exam, only="right",
            lens={"design": "trifocal", "material": "mineral", "index": 1.523},
            frame=dict(FRAME, fitting_height_mm={"right": 18})))
        lenses = self.fhir(order["id"])["lensSpecification"]
        self.assertEqual([lens["eye"] for lens in lenses], ["right"])
        note = lenses[0]["note"][0]["text"]
        for words in ("vertex of 12.50 mm", "intermediate add 1.00 D",
                      "prism for near 1.50 base in", "PD far 31.50 mm",
                      "PD near 30.00 mm", "fitting height 18.00 mm"):
            self.assertIn(words, note)

    def test_the_status_follows_the_orders(self):
        exam = self.signed()
        draft = self.place(self.body(exam, draft=True))["id"]
        self.assertEqual(self.fhir(draft)["status"], "draft")
        order = self.place(self.body(exam))["id"]
        self.move(order, "lab", "rejected")
        self.assertEqual(self.fhir(order)["status"], "cancelled")


if __name__ == "__main__":
    unittest.main()
