"""lensclerkd network, user and device: what is made before anybody signs in."""

import pathlib
import secrets
import stat
import tempfile
import unittest

from lenstest import Service, wait_until

PASSWORD = "quiet lantern 7 boats"


def setUpModule():
    global svc, folder
    svc = Service()
    folder = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))


def tearDownModule():
    for path in folder.iterdir():
        path.unlink()
    folder.rmdir()
    svc.close()


def secret(text):
    path = folder / secrets.token_hex(6)
    path.write_text(text)
    return path


def fresh():
    return folder / secrets.token_hex(6)


class Case(unittest.TestCase):
    def setUp(self):
        self.name = f"op-{secrets.token_hex(4)}"

    def network(self):
        svc.cli("network", "add", "--name", self.name, "--display", "Op net")
        return self.name

    def fails(self, code, *words):
        done = svc.cli(*words, check=False)
        self.assertEqual(done.returncode, code, done.stderr + done.stdout)
        self.assertTrue(done.stderr.startswith("lensclerkd: ")
                        or "usage:" in done.stderr, done.stderr)
        self.assertEqual(done.stdout, "")
        return done.stderr

    def user(self, *more, user="ada", role="admin"):
        return ("user", "add", "--network", self.name, "--user", user,
                "--role", role, *more)

    def sign_in(self, password=PASSWORD, user="ada"):
        return svc.api("POST", "/v1/sessions", {
            "network": self.name, "user": user, "password": password})


class FromNothing(Case):
    def test_a_network_its_admin_a_clinic_and_a_device(self):
        made = svc.cli("network", "add", "--name", self.name, "--display",
                       "Three Lanterns").stdout.strip()
        self.assertRegex(made, r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f-]{21}$")
        token_file = fresh()
        svc.cli(*self.user("--display=Ada Op", "--password-file",
                           secret(PASSWORD + "\n"), "--token-file",
                           token_file, "--token-days", 3660))
        answer = self.sign_in()
        self.assertEqual(answer.status, 201, answer.body)
        self.assertEqual(answer.body["display"], "Ada Op")
        self.assertEqual(stat.S_IMODE(token_file.stat().st_mode), 0o600)
        token = token_file.read_text().strip()
        answer = svc.api("POST", "/v1/clinics", {
            "name": "Harbour Street", "time_zone": "Europe/Vienna"}, token)
        self.assertEqual(answer.status, 201, answer.body)
        clinic = answer.body["id"]
        device_file = fresh()
        device = svc.cli(
            "device", "add", "--network", self.name, "--name", "lane 1",
            "--clinic", "Harbour Street", "--serial", "AR-0017",
            "--token-file", device_file).stdout.strip()
        self.assertEqual(stat.S_IMODE(device_file.stat().st_mode), 0o600)
        me = svc.api("GET", "/v1/me", token=device_file.read_text().strip())
        self.assertEqual(me.status, 200, me.body)
        self.assertEqual((me.body["id"], me.body["role"], me.body["clinic"]),
                         (device, "device", clinic))
        svc.cli(*self.user("--clinic", "Harbour Street", "--token-file",
                           fresh(), user="desk", role="desk"))
        rows = svc.api("GET", "/v1/audit", token=token).body["items"]
        self.assertEqual(
            [r["action"] for r in rows if r["request"] == "command-line"],
            ["user-added", "device-added", "user-added", "network-added"])

    def test_a_forgotten_password_is_set_again_and_all_tokens_end(self):
        self.network()
        token_file = fresh()
        svc.cli(*self.user("--password-file", secret(PASSWORD),
                           "--token-file", token_file))
        token = token_file.read_text().strip()
        self.assertEqual(svc.api("GET", "/v1/me", token=token).status, 200)
        svc.cli("user", "password", "--network", self.name, "--user", "ada",
                "--password-file", secret("another lantern 8"))
        self.assertEqual(self.sign_in().status, 401)
        self.assertEqual(self.sign_in("another lantern 8").status, 201)
        wait_until("the token ends", lambda: svc.api(
            "GET", "/v1/me", token=token).status == 401, 3)


class Refused(Case):
    def test_names_that_are_taken(self):
        self.network()
        self.assertIn("another network has this name", self.fails(
            1, "network", "add", "--name", self.name, "--display", "x"))
        svc.cli(*self.user("--password-file", secret(PASSWORD)))
        token_file = fresh()
        self.assertIn("another user has this name", self.fails(
            1, *self.user("--token-file", token_file)))
        self.assertFalse(token_file.exists())

    def test_what_is_not_there_is_named(self):
        self.assertIn(f'there is no network "{self.name}"', self.fails(
            1, *self.user("--token-file", fresh())))
        self.network()
        token_file = fresh()
        self.assertIn('has no clinic "Nowhere"', self.fails(
            1, *self.user("--clinic", "Nowhere", "--token-file", token_file)))
        self.assertIn('has no clinic "Nowhere"', self.fails(
            1, "device", "add", "--network", self.name, "--name", "d",
            "--clinic", "Nowhere", "--token-file", token_file))
        self.assertIn('has no lab "Nowhere"', self.fails(
            1, *self.user("--lab", "Nowhere", "--token-file", token_file,
                          role="lab")))
        self.assertIn('no user "bo"', self.fails(
            1, "user", "password", "--network", self.name, "--user", "bo",
            "--password-file", secret(PASSWORD)))
        self.assertIn("can't read", self.fails(
            1, *self.user("--password-file", folder / "none")))
        self.assertFalse(token_file.exists())

    def test_a_file_that_is_there_is_never_written_over(self):
        self.network()
        path = secret("precious")
        self.assertIn("it is there already", self.fails(
            1, *self.user("--token-file", path)))
        self.assertEqual(path.read_text(), "precious")

    def test_a_short_password(self):
        self.network()
        for text in ("", "short\n", "\n" + PASSWORD, "x" * 201):
            self.assertIn("must have 12 to 200 characters", self.fails(
                1, *self.user("--password-file", secret(text))))
        self.assertIn("or --token-file is needed", self.fails(2, *self.user()))

    def test_commands_that_are_wrong(self):
        token = ("--token-file", folder / "never")
        for words, text in (
                (("network", "add"), "--name is needed"),
                (("network", "add", "--name", "A", "--display", "x"),
                 "--name must be"),
                (("network", "add", "--name"), "--name needs a value"),
                (("network", "add", "--name="), "--name is empty"),
                (("network", "add", "--name", "a", "--name", "b"),
                 "--name stands twice"),
                (("network", "add", "--colour", "red"), "no option"),
                (("network", "add", "name"), "no option"),
                (("network", "remove"), "usage:"), (("user",), "usage:"),
                (self.user(*token, user="Ada"), "--user must be"),
                (self.user(*token, role="boss"), "--role must be"),
                (self.user(*token, role="device"), "device add"),
                (self.user(*token, role="lab"), "--lab is needed"),
                (self.user(*token, "--lab", "x"), "--lab goes with"),
                (self.user(*token, "--token-days", "0"), "--token-days"),
                (self.user(*token, "--token-days", "3661"), "--token-days"),
                (self.user("--password-file", secret(PASSWORD),
                           "--token-days", "3"), "goes with --token-file"),
                (("device", "add", "--network", "x", "--name", "d",
                  "--clinic", "c"), "--token-file is needed")):
            with self.subTest(words=words):
                self.assertIn(text, self.fails(2, *words))
        self.assertFalse((folder / "never").exists())

    def test_help_tells_every_option(self):
        for word in ("network", "user", "device"):
            for words in ((word, "--help"), (word, "add", "--help")):
                done = svc.cli(*words)
                self.assertIn(f"usage: lensclerkd {word} add", done.stdout)
                self.assertEqual(done.stderr, "")
