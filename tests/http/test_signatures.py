"""What is signed: an Rx, an order as its lab was told it, the square code.

Checked by openssl (RFC 8032) over bytes that are written here once more by
RFC 8785, and by the program's own command."""

import base64
import json
import pathlib
import shutil
import subprocess
import tempfile
import unittest

from lenstest import Service, uuid7
from order_case import EYE, FINAL, OrderCase


def setUpModule():
    OrderCase.svc = Service()


def tearDownModule():
    OrderCase.svc.close()


def number(x):
    """ECMAScript's Number::toString for the sizes that a record holds."""
    if float(x) == int(x):
        return str(int(x))
    text = repr(float(x))
    if "e" in text or not 1e-6 <= abs(x) < 1e21:
        raise AssertionError(f"a size that no record holds: {x}")
    return text


def canonical(value):
    """RFC 8785."""
    if isinstance(value, dict):
        names = sorted(value, key=lambda n: n.encode("utf-16-be"))
        return "{" + ",".join(
            f"{json.dumps(n, ensure_ascii=False)}:{canonical(value[n])}"
            for n in names) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(canonical, value)) + "]"
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return number(value)


def raw(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


class Signatures(OrderCase):
    def setUp(self):
        super().setUp()
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))
        self.addCleanup(shutil.rmtree, self.folder)

    def file(self, name, data):
        path = self.folder / name
        path.write_text(data if isinstance(data, str) else json.dumps(data),
                        encoding="utf-8")
        return path

    def keys(self, net=None):
        return (net or self.net).api("desk", "GET", "/v1/keys").body

    def openssl(self, data, value, key):
        """True when openssl finds the signature good."""
        der = bytes.fromhex("302a300506032b6570032100") + raw(key["x"])
        (self.folder / "key.der").write_bytes(der)
        (self.folder / "data").write_bytes(data)
        (self.folder / "value").write_bytes(raw(value))
        done = subprocess.run(
            ["openssl", "pkeyutl", "-verify", "-pubin", "-keyform", "DER",
             "-inkey", self.folder / "key.der", "-rawin", "-in",
             self.folder / "data", "-sigfile", self.folder / "value"],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            check=False)
        return done.returncode == 0

    def command(self, *words):
        return subprocess.run(
            [self.svc.build / "server/lensclerkd", "verify", *words],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True, check=False)

    def verify(self, path, keys=None):
        return self.command(path, "--keys",
                            self.file("keys", keys or self.keys()))

    def good(self, document):
        key = next(k for k in self.keys()["keys"]
                   if k["kid"] == document["signature"]["key"])
        rest = {n: v for n, v in document.items() if n != "signature"}
        return self.openssl(canonical(rest).encode(),
                            document["signature"]["value"], key)

    def rx(self, exam):
        answer = self.net.api("desk", "GET", f"/v1/exams/{exam}/rx")
        self.assertEqual(answer.status, 200, answer.body)
        return answer.body

    def test_an_rx_is_signed_and_openssl_agrees(self):
        rx = self.rx(self.signed(dict(FINAL, right=dict(
            EYE, sphere=-2.12, prism=[{"amount": 1.5, "base": "in"}]))))
        self.assertEqual(rx["signature"]["algorithm"], "Ed25519")
        self.assertTrue(self.good(rx))
        done = self.verify(self.file("rx.json", rx))
        self.assertEqual((done.returncode, done.stdout[:5]), (0, "good:"),
                         done.stdout + done.stderr)
        changed = json.loads(json.dumps(rx))
        changed["right"]["axis"] = 127
        self.assertFalse(self.good(changed))
        done = self.verify(self.file("changed.json", changed))
        self.assertEqual((done.returncode, done.stdout[:8]), (1, "NOT GOOD"))

    def test_any_order_of_members_and_any_spelling_of_numbers_is_the_same(self):
        rx = self.rx(self.signed())
        turned = dict(reversed(rx.items()))
        text = json.dumps(turned, indent=2).replace("-2.25", "-2.250")
        self.assertIn("-2.250", text)
        self.assertEqual(self.verify(self.file("rx.json", text)).returncode, 0)

    def test_names_of_any_script_are_signed(self):
        self.patient = self.someone("Q-77", "\u00d6zg\u00fcr \U0001f453\uff5e",
                                    "\u0645\u0631\u064a\u0645 \"\\\"")
        rx = self.rx(self.signed())
        self.assertTrue(self.good(rx))
        self.assertEqual(self.verify(self.file("rx.json", rx)).returncode, 0)

    def test_an_order_is_signed_edition_by_edition(self):
        order = self.place()
        first = self.get(order["id"], "lab", "/lab-data")
        self.assertEqual((first.status, first.headers["ETag"]), (200, '"1"'))
        answer = self.net.api(
            "desk", "POST", f"/v1/orders/{order['id']}/amend",
            {"reason": "x", "frame": {"dbl_mm": 17}}, {"If-Match": '"1"'})
        self.assertEqual(answer.status, 200, answer.body)
        second = self.get(order["id"], "lab", "/lab-data").body
        self.assertEqual((second["edition"], second["order"],
                          second["check_word"]),
                         (2, order["id"], order["check_word"]))
        for told in (first.body, second):
            self.assertTrue(self.good(told))
            self.assertEqual(
                self.verify(self.file("o.json", told)).returncode, 0)
        draft = self.place(draft=True)["id"]
        self.problem(self.get(draft, tail="/lab-data"), 409)
        placed = self.move(draft, "desk", "requested")
        self.assertEqual(placed.status, 200, placed.body)
        self.assertTrue(self.good(self.get(draft, tail="/lab-data").body))

    def test_the_square_code_holds_its_own_signature(self):
        order = self.place()
        code = self.svc.psql("SELECT code FROM order_edition WHERE"
                             f" order_id = '{order['id']}'")[0][0]
        self.assertIn(f"CHECK {order['check_word']}\n", code)
        head, _, value = code.rstrip("\n").rpartition("\nSIGNATURE ")
        key = self.keys()["keys"][0]
        self.assertIn(f"\nKEY {key['kid']}", head)
        self.assertTrue(self.openssl((head + "\n").encode(), value, key))
        self.assertEqual(self.verify(self.file("code", code)).returncode, 0)
        wrong = code.replace("SPH -2.25", "SPH +2.25")
        self.assertNotEqual(wrong, code)
        self.assertEqual(self.verify(self.file("code", wrong)).returncode, 1)
        more = code.rstrip("\n") + "\nSPH +2.25\n"
        self.assertEqual(self.verify(self.file("code", more)).returncode, 2)

    def test_after_a_rotation_both_keys_are_known_and_the_new_one_signs(self):
        old = self.rx(self.signed())
        made = self.net.api("admin", "POST", "/v1/keys", {"reason": "yearly"},
                            {"Idempotency-Key": "k"})
        self.assertEqual(made.status, 201, made.body)
        again = self.net.api("admin", "POST", "/v1/keys", {"reason": "yearly"},
                             {"Idempotency-Key": "k"})
        self.assertEqual(again.body, made.body)
        new = self.rx(self.signed())
        self.assertEqual([k["kid"] for k in self.keys()["keys"]],
                         [new["signature"]["key"], old["signature"]["key"]])
        self.assertEqual(made.body, self.keys()["keys"][0])
        self.assertTrue(self.good(old) and self.good(new))
        for rx in (old, new):
            one = self.svc.api(
                "GET", f"/.well-known/rx-keys/{rx['signature']['key']}")
            self.assertEqual(one.status, 200, one.body)
            self.assertEqual(self.verify(self.file("rx", rx),
                                         one.body).returncode, 0)
        other = self.svc.network()
        self.assertEqual(self.keys(other), {"keys": []})
        self.assertEqual(self.verify(self.file("rx", old),
                                     self.keys(other)).returncode, 2)
        for role in ("desk", "lab", "auditor", "device"):
            self.problem(self.net.api(role, "POST", "/v1/keys",
                                      {"reason": "x"}), 403)
        self.problem(self.net.api("admin", "POST", "/v1/keys", {}), 422,
                     "/reason")
        self.problem(self.svc.api("GET", f"/.well-known/rx-keys/{uuid7()}"),
                     404)

    def test_the_database_holds_no_secret_and_the_log_none(self):
        self.place()
        secret = (self.svc.state / "s/secrets/signing.key").read_text().strip()
        self.assertEqual(len(secret), 64)
        self.assertNotIn(secret, self.svc.log("lensclerkd"))
        columns = self.svc.psql(
            "SELECT column_name FROM information_schema.columns WHERE"
            " table_name = 'signing_key' ORDER BY 1")
        self.assertEqual([c[0] for c in columns], [
            "key_id", "made_at", "made_by", "network_id", "number",
            "public_key"])
        mode = (self.svc.state / "s/secrets/signing.key").stat().st_mode
        self.assertEqual(mode & 0o037, 0)

    def test_what_can_not_be_told_is_said(self):
        for name, text in (("e", ""), ("j", "{"), ("n", "{}"),
                           ("t", "ORDER 1\nCHECK 2\n"), ("d", '{"a":1,"a":2}'),
                           ("l", "x\nKEY k\nSIGNATURE s\n")):
            done = self.verify(self.file(name, text))
            self.assertEqual(done.returncode, 2, done.stdout)
            self.assertTrue(done.stdout)
        self.assertEqual(
            self.verify(self.folder / "not-there").returncode, 2)
        self.assertEqual(self.command().returncode, 2)
        self.assertIn("usage", self.command("--help").stdout)


if __name__ == "__main__":
    unittest.main()
