"""deploy/dicom-gateway, sent to by storescu as an instrument would: every
instance arrives once, whatever is killed, and what is refused stands aside."""

import json
import os
import pathlib
import shutil
import signal
import socket
import subprocess
import tempfile
import time
import unittest
from unittest import mock

from lenstest import Service, repo
from lenstest.service import free_ports, wait_until

DATA = repo / "tests/data/dicom"
GOOD = sorted(p for p in DATA.glob("*.dcm") if p.name[0] != "9")
BAD = sorted(DATA.glob("9*.dcm"))


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def figures(reading):
    return {k: v for k, v in reading.items()
            if k not in ("id", "status", "patient")}


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()
        # Its own place: the gateway starts the spool's hook by a plain name.
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))
        self.addCleanup(shutil.rmtree, self.folder, ignore_errors=True)
        self.spool = self.folder / "spool"
        self.port = free_ports()
        self.token = self.folder / "token"
        self.token.write_text(self.net.tokens["device"] + "\n")
        self.process = None
        self.addCleanup(self.stop)

    def start(self, url=None):
        self.log = open(self.folder / "log", "ab")
        self.addCleanup(self.log.close)
        self.process = subprocess.Popen(
            [repo / "deploy/dicom-gateway", "--url", url or svc.base_url,
             "--token-file", self.token, "--port", str(self.port),
             "--spool", self.spool], stdin=subprocess.DEVNULL,
            stdout=self.log, stderr=subprocess.STDOUT)
        wait_until("the port is open", self.listens)

    def listens(self):
        with socket.socket() as s:
            return s.connect_ex(("127.0.0.1", self.port)) == 0

    def stop(self):
        if self.process and self.process.poll() is None:
            self.process.terminate()
            self.process.wait(70)

    def orphan(self):
        """Of a gateway that was killed: its receiver, by its number."""
        path = self.spool / "receiver.pid"
        if path.exists():
            try:
                os.kill(int(path.read_text()), signal.SIGTERM)
            except ProcessLookupError:
                pass

    def send(self, paths, check=True):
        return subprocess.run(
            ["storescu", "-R", "-aec", "LENSCLERK", "127.0.0.1",
             str(self.port), *paths], check=check,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)

    def status(self):
        out = subprocess.run(
            [repo / "deploy/dicom-gateway", "--status", "--spool", self.spool],
            check=True, stdout=subprocess.PIPE, text=True).stdout
        return dict(line.split(" ", 1) for line in out.splitlines())

    def settled(self):
        wait_until("nothing waits", lambda: self.status()["waiting"] == "0",
                   60, 0.3)

    def readings(self):
        answer = svc.api("GET", "/v1/readings?limit=500",
                         token=self.net.tokens["prescriber"])
        return [svc.api("GET", f"/v1/readings/{one['id']}",
                        token=self.net.tokens["prescriber"]).body
                for one in answer.body["items"]]


class Arrives(Case):
    def test_every_fixture_is_the_reading_that_its_json_is(self):
        self.start()
        self.send(GOOD)
        self.settled()
        got = {r["dicom"]["sop_instance"]: figures(r)
               for r in self.readings()}
        other = svc.network()
        want = {}
        for path in GOOD:
            r = svc.api("POST", "/v1/readings",
                        path.with_suffix(".json").read_bytes(),
                        other.tokens["device"],
                        {"Content-Type": "application/dicom+json"}).body
            r = r[0] if isinstance(r, list) else r
            want[r["dicom"]["sop_instance"]] = figures(r)
        self.assertEqual(len(want), 13)
        self.assertEqual(got, want)
        self.assertEqual(self.status()["refused"], "0")

    def test_it_answers_an_echo(self):
        self.start()
        subprocess.run(["echoscu", "-aec", "LENSCLERK", "127.0.0.1",
                        str(self.port)], check=True)

    def test_a_bad_one_stands_aside_with_the_reason(self):
        self.start()
        self.send([*BAD, GOOD[0]])
        self.settled()
        self.assertEqual(self.status()["refused"], "2")
        self.assertEqual(len(self.readings()), 1)
        aside = sorted((self.spool / "refused").glob("*.dcm"))
        self.assertEqual(len(aside), 2)
        for path in aside:
            reason = path.with_suffix(".txt").read_text()
            self.assertTrue(reason.startswith("status 409\n"), reason)
            item, = json.loads(reason.split("\n", 1)[1])["00081198"]["Value"]
            self.assertIn("0046", item["00091001"]["Value"][0])
            self.assertEqual(path.stat().st_mode & 0o077, 0)

    def test_another_class_is_not_even_taken(self):
        """A file of a class that isn't ours: nothing is negotiated."""
        self.start()
        other = self.folder / "other.dcm"
        # The last two characters of the class, in header and data set.
        data = GOOD[0].read_bytes()
        changed = data.replace(b"1.2.840.10008.5.1.4.1.1.78.1",
                               b"1.2.840.10008.5.1.4.1.1.77.1")
        self.assertNotEqual(data, changed)
        other.write_bytes(changed)
        self.assertNotEqual(self.send([other], check=False).returncode, 0)
        self.assertEqual(self.status()["waiting"], "0")


class Waits(Case):
    def test_nothing_is_lost_while_the_service_is_away(self):
        nowhere = f"http://127.0.0.1:{free_ports()}"
        self.start(nowhere)
        self.send(GOOD[:5])
        wait_until("five wait", lambda: self.status()["waiting"] == "5")
        self.assertEqual(self.readings(), [])
        self.stop()
        self.start()
        self.settled()
        self.assertEqual(len(self.readings()), 5)

    def test_what_is_not_encrypted_goes_by_no_proxy(self):
        nobody = "http://127.0.0.1:1"
        with mock.patch.dict(os.environ, http_proxy=nobody, all_proxy=nobody):
            self.start()
        self.send(GOOD[:1])
        self.settled()
        self.assertEqual(len(self.readings()), 1)

    def test_an_address_that_begins_as_this_machine_is_another(self):
        self.start("http://127.0.0.1.clerk.example")
        self.assertIn("CAUTION: http://127.0.0.1.clerk.example",
                      (self.folder / "log").read_text())

    def test_a_token_that_is_not_taken_loses_nothing(self):
        good = self.token.read_text()
        self.token.write_text("0" * 40)
        self.start()
        self.send(GOOD[:2])
        wait_until("it says so", lambda: "isn't taken (401)" in
                   (self.folder / "log").read_text())
        self.assertEqual(self.status()["waiting"], "2")
        self.token.write_text(good)
        self.settled()
        self.assertEqual(len(self.readings()), 2)

    def test_killed_at_any_moment_each_arrives_once(self):
        """Where a sender was told of success the instance is there; sending
        the rest again makes no second reading."""
        self.start()
        for round_ in range(4):
            sender = subprocess.Popen(
                ["storescu", "-R", "-aec", "LENSCLERK", "127.0.0.1",
                 str(self.port), *GOOD], stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL)
            time.sleep(0.05 + 0.15 * round_)
            self.process.kill()
            self.process.wait()
            self.orphan()
            sender.wait(70)
            wait_until("the port is free", lambda: not self.listens())
            self.start()
        self.send(GOOD)
        self.settled()
        self.assertEqual(len(self.readings()), len(GOOD))

    def test_a_receiver_left_behind_is_ended(self):
        self.start()
        self.process.kill()
        self.process.wait()
        self.assertTrue(self.listens())
        self.start()
        wait_until("it says so", lambda: "left behind" in
                   (self.folder / "log").read_text())
        self.send(GOOD[:1])
        self.settled()
        self.assertEqual(len(self.readings()), 1)

    def test_two_on_one_spool_are_refused(self):
        self.start()
        second = subprocess.run(
            [repo / "deploy/dicom-gateway", "--url", svc.base_url,
             "--token-file", self.token, "--port", str(self.port),
             "--spool", self.spool], stderr=subprocess.PIPE, text=True,
            stdout=subprocess.DEVNULL)
        self.assertEqual(second.returncode, 1)
        self.assertIn("another one runs", second.stderr)

    def test_no_secret_is_seen_or_logged(self):
        self.start()
        self.send(GOOD[:1])
        self.settled()
        secret = self.token.read_text().strip()
        self.assertNotIn(secret, (self.folder / "log").read_text())
        self.stop()
        for path in self.spool.rglob("*"):
            if path.is_file():
                self.assertNotIn(secret.encode(), path.read_bytes(), path)


if __name__ == "__main__":
    unittest.main()
