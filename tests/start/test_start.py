"""deploy/start and deploy/stop as somebody at a terminal uses them."""

import json
import os
import pathlib
import re
import shutil
import socket
import subprocess
import tempfile
import time
import unittest

from lenstest import Client, repo, wait_until
from lenstest.service import alive, built, free_ports

ROOT = os.getuid() == 0
ME = str(os.getpid())


def deploy(word, *options, cwd="/", **environment):
    """deploy/WORD without a terminal, an input, a locale or a home."""
    done = subprocess.run(
        [repo / "deploy" / word, *map(str, options)], cwd=cwd,
        env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin",
             "ASAN_OPTIONS": os.environ.get("ASAN_OPTIONS", ""),
             "LENSCLERK_START_FSYNC": "off", **environment},
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, text=True, timeout=900, check=False)
    return done.returncode, done.stdout


class Started(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))
        self.folder.chmod(0o755)
        self.addCleanup(shutil.rmtree, self.folder, True)
        self.state = self.folder / "s"
        self.port = free_ports()
        self.addCleanup(self.stop)

    def start(self, *more, state=None, **environment):
        return deploy("start", "--empty", "--port", self.port, "--state",
                      state or self.state, "--built", built(), "--while-pid",
                      ME, *more, **environment)

    def stop(self, state=None):
        return deploy("stop", "--state", state or self.state)

    def ready(self):
        try:
            return Client("127.0.0.1", self.port).api(
                "GET", "/readyz").status == 200
        except OSError:
            return False

    def pids(self):
        rows = (self.state / "run/status").read_text().splitlines()
        return {r.split()[0]: int(r.split()[1]) for r in rows}


class Start(Started):
    def test_comes_up_goes_down_and_comes_up_in_under_three_seconds(self):
        code, out = self.start()
        self.assertEqual(code, 0, out)
        self.assertIn(f"Lensclerk is up at http://127.0.0.1:{self.port}", out)
        self.assertTrue(self.ready())
        pids = self.pids()
        self.assertEqual(self.stop(),
                         (0, f"Lensclerk in {self.state} is stopped\n"))
        self.assertFalse(self.ready())
        self.assertFalse(any(map(alive, pids.values())))
        began = time.monotonic()
        code, out = self.start()
        took = time.monotonic() - began
        self.assertEqual(code, 0, out)
        self.assertTrue(self.ready())
        self.assertLess(took, 3)

    def test_says_at_once_that_it_is_up_already(self):
        self.start()
        before = self.pids()
        began = time.monotonic()
        code, out = self.start()
        self.assertLess(time.monotonic() - began, 1.5)
        self.assertEqual(code, 0, out)
        self.assertIn("is already up at", out)
        self.assertEqual(self.pids(), before)

    def test_keeps_its_port_and_takes_another_when_told(self):
        self.start()
        code, out = deploy("start", "--empty", "--state", self.state,
                           "--built", built(), "--while-pid", ME)
        self.assertIn(f"is already up at http://127.0.0.1:{self.port}", out)
        self.port = free_ports()
        code, out = self.start()
        self.assertEqual(code, 0, out)
        self.assertIn("stopping the service to change it", out)
        self.assertTrue(self.ready())

    def test_stop_stops_once(self):
        self.start()
        self.stop()
        self.assertEqual(self.stop(),
                         (0, f"Lensclerk in {self.state} was not running\n"))
        code, out = self.stop(self.folder / "none")
        self.assertEqual(code, 0)
        self.assertIn("nothing to stop", out)

    def test_comes_up_after_everything_was_killed(self):
        self.start()
        pids = self.pids()
        os.kill(pids["supervisor"], 9)
        code, out = self.start()
        self.assertEqual(code, 0, out)
        self.assertTrue(self.ready())
        wait_until("the old ones are gone",
                   lambda: not any(map(alive, pids.values())))

    def test_works_in_a_folder_whose_name_is_long_or_odd(self):
        for name in ("x" * 120, "a b, ü"):
            with self.subTest(name):
                state = self.folder / name / "s"
                code, out = self.start(state=state)
                self.assertEqual(code, 0, out)
                self.assertTrue(self.ready())
                sock = pathlib.Path((state / "run/sock").read_text().strip())
                self.assertLess(len(str(sock)), 90)
                self.assertEqual(self.stop(state)[0], 0)
                self.assertFalse(sock.exists())

    def test_two_at_once_make_one_service(self):
        words = [repo / "deploy/start", "--empty", "--port", str(self.port),
                 "--state", self.state, "--built", built(), "--while-pid", ME]
        env = dict(os.environ, LENSCLERK_START_FSYNC="off")
        both = [subprocess.Popen(
            words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, env=env) for _ in range(2)]
        out = [p.communicate(timeout=120)[0] for p in both]
        self.assertEqual([p.returncode for p in both], [0, 0], out)
        self.assertEqual(sum("is already up at" in o for o in out), 1)

    def test_files_with_secrets_are_closed_to_others(self):
        self.start()
        self.assertEqual((self.state / "lensclerk.conf").stat().st_mode & 0o7,
                         0)
        self.assertEqual((self.state / "log").stat().st_mode & 0o7, 0)
        for path in (self.state / "secrets").glob("*"):
            self.assertEqual(path.stat().st_mode & 0o77, 0, path)
        for path in (self.state / "log").glob("lensclerkd.log"):
            self.assertEqual(path.stat().st_mode & 0o77, 0, path)


class Refusing(Started):
    def refused(self, answer, *texts):
        code, out = answer
        self.assertEqual(code, 1, out)
        for text in texts:
            self.assertIn(text, out)
        self.assertRegex(out, r"(?m)^deploy/start: ")
        return out


class Refused(Refusing):
    """Each with what is wrong and what to do, and nothing left running."""

    def test_port_in_use(self):
        with socket.socket() as s:
            s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            s.bind(("127.0.0.1", self.port))
            s.listen()
            self.refused(self.start(), f"port {self.port} is in use",
                         "--port N")
        self.assertEqual(self.start()[0], 0)

    def test_metrics_port_in_use(self):
        with socket.socket() as s:
            s.bind(("127.0.0.1", self.port + 1))
            s.listen()
            self.refused(self.start(), f"port {self.port + 1} is in use")

    def test_folder_that_holds_other_things(self):
        self.state.mkdir()
        (self.state / "letter.txt").write_text("dear")
        self.refused(self.start(), "holds other things",
                     "name a new or empty folder with --state DIR")
        self.assertEqual([p.name for p in self.state.iterdir()],
                         ["letter.txt"])

    def test_folder_that_is_a_file(self):
        self.state.write_text("")
        self.refused(self.start(), "is not a folder")

    def test_folder_of_somebody_else(self):
        other, owner = pathlib.Path("/proc"), "root"
        if ROOT:
            self.state.mkdir()
            shutil.chown(self.state, "nobody")
            other, owner = self.state, "nobody"
        self.refused(self.start(state=other), f"belongs to user {owner}",
                     "run this as that user")

    def test_folder_that_can_not_be_made(self):
        self.refused(self.start(state="/proc/lensclerk"),
                     "can't make the folder", "--state DIR")

    def test_options_that_make_no_sense(self):
        for words, text in (
                (["--prot", "1"], 'no option "--prot"'),
                (["--port"], "needs a value"),
                (["--port", "0"], "from 1 to 65534"),
                (["--port", "70000"], "from 1 to 65534"),
                (["--port", "x"], 'not "x"'),
                (["--state", "a'b"], "can't be used")):
            with self.subTest(words):
                self.refused(deploy("start", *words), text)

    def test_configuration_that_the_daemon_refuses(self):
        self.start()
        self.stop()
        conf = self.state / "lensclerk.conf"
        conf.write_text(conf.read_text().replace("level=info", "level=loud"))
        out = self.refused(self.start(), "is refused", '"loud"')
        self.assertNotIn("is up", out)
        self.assertFalse(alive(self.pids()["supervisor"]))


class AsRoot(Refusing):
    """What an ordinary user can't try: several users, a small disk."""

    def test_as_root_nothing_of_the_service_runs_as_root(self):
        self.start()
        pids = self.pids()

        def user(pid):
            text = pathlib.Path(f"/proc/{pid}/status").read_text()
            return [int(n) for n in
                    re.search(r"^Uid:(.*)$", text, re.M)[1].split()]
        self.assertEqual(len(set(user(pids["postgres"]))), 1)
        self.assertEqual(len(set(user(pids["lensclerkd"]))), 1)
        both = {user(pids["postgres"])[0], user(pids["lensclerkd"])[0]}
        self.assertEqual(len(both), 2)
        self.assertNotIn(0, both)

    def test_folder_below_a_closed_one(self):
        closed = self.folder / "closed"
        closed.mkdir(mode=0o700)
        self.refused(self.start(state=closed / "s"), "can't reach",
                     "chmod o+x")

    def test_folder_on_a_full_disk(self):
        place = self.folder / "small"
        place.mkdir()
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs",
                        place], check=True)
        self.addCleanup(subprocess.run, ["umount", place], check=True)
        self.refused(self.start(state=place / "s"), "MB are free",
                     "--state DIR")


class Whole(unittest.TestCase):
    """The command as a newcomer gives it: packages, build, demo."""

    def test_start_builds_and_brings_up(self):
        with tempfile.TemporaryDirectory(prefix="lenstest-") as folder:
            os.chmod(folder, 0o755)
            state = pathlib.Path(folder) / "s"
            port = free_ports()
            words = ["--state", state, "--port", port, "--while-pid", ME]
            try:
                code, out = deploy("start", *words)
                self.assertEqual(code, 0, out)
                self.accounts_work(out, state, port)
                deploy("stop", "--state", state)
                began = time.monotonic()
                code, out = deploy("start", *words)
                self.assertLess(time.monotonic() - began, 3, out)
                self.accounts_work(out, state, port)
            finally:
                deploy("stop", "--state", state)

    def accounts_work(self, out, state, port):
        self.assertIn(f"is up at http://127.0.0.1:{port}", out)
        path = state / "demo.json"
        self.assertEqual(path.stat().st_mode & 0o777, 0o600)
        demo = json.loads(path.read_text())
        self.assertEqual(demo["base_url"], f"http://127.0.0.1:{port}")
        client = Client("127.0.0.1", port)
        self.assertLessEqual(
            {"desk", "prescriber", "lab", "device", "admin", "auditor"},
            {account["role"] for account in demo["accounts"]})
        for account in demo["accounts"]:
            with self.subTest(account["role"]):
                answer = client.api("GET", "/v1/me", token=account["token"])
                self.assertEqual(answer.status, 200)
                self.assertEqual(answer.body["role"], account["role"])
                self.assertIn(account.get("user") or "token only", out)


if not ROOT:
    del AsRoot
