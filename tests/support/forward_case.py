"""What the tests of lensclerk-forward share."""

import json
import pathlib
import shutil
import signal
import subprocess
import tempfile
import unittest

from lenstest import wait_until
from lenstest.service import FAULT, built

QUIET = 60  # ms


def reading(serial, number, more=0):
    """A reading that no other is; more bytes are blanks."""
    text = json.dumps({
        "kind": "autorefraction",
        "taken_at": f"2026-03-02T{number // 3600 % 24:02d}:"
                    f"{number // 60 % 60:02d}:{number % 60:02d}+01:00",
        "device": {"serial": serial},
        "right": {"sphere": -2.25, "cylinder": -0.75, "axis": 172},
        "left": {"sphere": -2.50, "cylinder": -0.25, "axis": 8}})
    return text + " " * more


class ForwardCase(unittest.TestCase):
    svc = None  # the test file's

    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))
        self.addCleanup(shutil.rmtree, self.folder)
        self.net = self.svc.network()
        self.spool, self.inbox = self.folder / "spool", self.folder / "in"
        self.inbox.mkdir()
        self.token = self.folder / "token"
        self.token.write_text(self.net.tokens["device"] + "\n")
        self.token.chmod(0o600)
        self.log = self.folder / "log"
        self.log.touch()
        self.addCleanup(self.look_at_log)
        self.port = self.svc.port
        self.program = built() / "server/lensclerk-forward"
        self.running = []
        self.addCleanup(self.end)

    def look_at_log(self):
        text = self.log.read_text(errors="replace")
        self.assertIsNone(FAULT.search(text), text[-4000:])
        # Neither the token nor a file's name, nor a measurement.
        for secret in (self.net.tokens["device"], "Somebody", "-2.25"):
            self.assertNotIn(secret, text)

    def end(self):
        for process in self.running:
            if process.poll() is None:
                process.kill()
            process.wait()

    def words(self, *more):
        return [str(w) for w in (
            self.program, "--spool", self.spool,
            "--url", f"http://127.0.0.1:{self.port}", "--token", self.token,
            "--quiet", QUIET, "--retry-first", 20, "--retry-most", 200,
            *more)]

    def start(self, *more, **options):
        with self.log.open("ab") as log:
            options = {"stdin": subprocess.DEVNULL, "stdout": log,
                       "stderr": log, **options}
            process = subprocess.Popen(self.words(*more), **options)
        self.running.append(process)
        return process

    def watch(self, *more, **options):
        return self.start("--watch", self.inbox, *more, **options)

    def once(self, *more, status=0, seconds=60, **options):
        """--once to its end."""
        process = self.start("--once", *more, **options)
        self.assertEqual(process.wait(seconds), status,
                         self.log.read_text()[-2000:])
        return process

    def stop(self, process):
        process.send_signal(signal.SIGTERM)
        self.assertEqual(process.wait(20), 0, self.log.read_text()[-2000:])

    def status(self, *more):
        """(exit status, what --status --json says)"""
        done = subprocess.run(
            [self.program, "--spool", self.spool,
             "--status", "--json"], stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, text=True, check=False, timeout=20)
        return done.returncode, json.loads(done.stdout)

    def waiting(self):
        return len(list((self.spool / "queue").glob("*.item")))

    def drop(self, name, text):
        """As a careful instrument does it: renamed in when it is whole."""
        new = self.folder / "new"
        new.write_bytes(text if isinstance(text, bytes) else text.encode())
        new.rename(self.inbox / name)

    def count(self):
        """Readings on record, and how often their contents were kept."""
        return [int(n) for n in self.svc.psql(
            "SELECT count(*), count(DISTINCT content_hash) FROM reading"
            f" WHERE network_id = '{self.net.id}'")[0]]

    def wait_count(self, n, seconds=30):
        wait_until(f"{n} readings are on record",
                   lambda: self.count()[0] == n, seconds, 0.05)

    def refused(self):
        return sorted(p.name for p in (self.spool / "refused").iterdir())
