"""lensclerk-supervise, with programs that only play database and daemon."""

import os
import pathlib
import shutil
import signal
import subprocess
import tempfile
import time
import unittest

from lenstest.service import alive, built, wait_until

# Says that it is ready as PostgreSQL does: number in line 1, state in line 8.
DATABASE = """#!/bin/sh
{ echo $$; for i in 2 3 4 5 6 7; do echo; done; echo ready; } >"$2/postmaster.pid"
echo "database $$ $(id -un) PGHOST=$PGHOST LC_ALL=$LC_ALL"
trap 'echo "database told INT" ; rm "$2/postmaster.pid"; exit 0' INT
trap 'echo "database told TERM"; exit 3' TERM
while :; do sleep 0.02; done
"""
SILENT = """#!/bin/sh
trap 'exit 0' INT
while :; do sleep 0.02; done
"""
DAEMON = """#!/bin/sh
echo "daemon $$ $(id -un) LENSCLERK_X=$LENSCLERK_X files=$(ulimit -n)"
trap 'echo "daemon told TERM"; sleep 0.2; echo "daemon done"; exit 0' TERM
while :; do sleep 0.02; done
"""
DEAF = """#!/bin/sh
trap '' TERM
while :; do sleep 0.02; done
"""
BROKEN = """#!/bin/sh
echo "no such luck"
exit 1
"""

ROOT = os.getuid() == 0


class Supervise(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))
        self.addCleanup(shutil.rmtree, self.folder)
        self.folder.chmod(0o755)
        for name in ("data", "run", "log"):
            (self.folder / name).mkdir()
        if ROOT:
            shutil.chown(self.folder / "data", "postgres")
        self.pid = None
        self.addCleanup(self.end)

    def program(self, name, text):
        path = self.folder / name
        path.write_text(text)
        path.chmod(0o755)
        return path

    def run_it(self, *more, database=DATABASE, daemon=DAEMON, **environment):
        words = [built() / "server/lensclerk-supervise", "--postgres",
                 self.program("database", database), "--data",
                 self.folder / "data", "--run", self.folder / "run",
                 "--logs", self.folder / "log"]
        if ROOT:
            words += ["--db-user", "postgres", "--daemon-user", "nobody"]
        done = subprocess.run(
            [*words, *more, "--", self.program("daemon", daemon)],
            env=dict(os.environ, **environment), stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            timeout=30, check=False)
        if done.returncode == 0:
            self.pid = int((self.folder / "run/supervise.pid").read_text())
        return done

    def end(self):
        if self.pid and alive(self.pid):
            os.kill(self.pid, signal.SIGTERM)
            wait_until("the supervisor ends", lambda: not alive(self.pid))

    def status(self):
        rows = (self.folder / "run/status").read_text().splitlines()
        return {r.split()[0]: (int(r.split()[1]), *r.split()[2:])
                for r in rows}

    def log(self, name):
        return (self.folder / "log" / f"{name}.log").read_text()

    def running(self, name, but=0):
        """The number of that program once it runs and isn't `but`."""
        def look():
            pid = self.status()[name][0]
            return pid if pid not in (0, but) and alive(pid) else 0
        return wait_until(f"{name} runs", look)

    def test_starts_both_and_stops_the_daemon_first(self):
        self.assertEqual(self.run_it().returncode, 0)
        both = [self.running("postgres"), self.running("lensclerkd")]
        wait_until("the daemon speaks", lambda: "daemon" in
                   self.log("lensclerkd"))
        self.end()
        self.assertFalse(any(alive(pid) for pid in both))
        self.assertIn("daemon done", self.log("lensclerkd"))
        self.assertIn("database told INT", self.log("postgres"))
        text = self.log("supervise")
        self.assertLess(text.index("lensclerkd ended with status 0"),
                        text.index("postgres told to stop"))

    def test_gives_each_its_user_and_a_clean_environment(self):
        self.run_it(PGHOST="elsewhere", LENSCLERK_X="kept", LC_ALL="xx")
        wait_until("both speak", lambda: "daemon" in self.log("lensclerkd"))
        mine = subprocess.run(["id", "-un"], text=True, check=True,
                              stdout=subprocess.PIPE).stdout.strip()
        who = ("postgres", "nobody") if ROOT else (mine, mine)
        self.assertRegex(self.log("postgres"),
                         rf"database \d+ {who[0]} PGHOST= LC_ALL=C.UTF-8\n")
        self.assertRegex(self.log("lensclerkd"),
                         rf"daemon \d+ {who[1]} LENSCLERK_X=kept files=\d+\n")

    def test_restarts_a_killed_daemon_at_once(self):
        self.run_it()
        first = self.running("lensclerkd")
        time.sleep(0.1)
        began = time.monotonic()
        os.kill(first, signal.SIGKILL)
        self.running("lensclerkd", but=first)
        self.assertLess(time.monotonic() - began, 1)

    def test_restarts_a_killed_database_and_leaves_the_daemon(self):
        self.run_it()
        database, daemon = self.running("postgres"), self.running("lensclerkd")
        os.kill(database, signal.SIGKILL)
        self.running("postgres", but=database)
        self.assertEqual(self.running("lensclerkd"), daemon)

    def test_pauses_longer_each_time_a_program_fails_at_its_start(self):
        self.run_it(daemon=BROKEN)
        wait_until("four starts", lambda: int(self.status()["lensclerkd"][2])
                   >= 4)
        began = time.monotonic()
        wait_until("two more starts", lambda:
                   int(self.status()["lensclerkd"][2]) >= 6)
        # The pauses are 0, 100, 200, 400, 800 ms.
        self.assertGreater(time.monotonic() - began, 1.0)
        self.assertTrue(alive(self.pid))

    def test_reports_a_database_that_does_not_start(self):
        done = self.run_it(database=BROKEN)
        self.assertEqual(done.returncode, 1)
        self.assertIn("PostgreSQL does not start", done.stdout)
        self.assertEqual(self.log("postgres").count("no such luck"), 6)

    def test_holds_the_daemon_until_hangup(self):
        self.run_it("--hold")
        self.running("postgres")
        time.sleep(0.2)
        self.assertEqual(self.status()["lensclerkd"][0], 0)
        os.kill(self.pid, signal.SIGHUP)
        first = self.running("lensclerkd")
        wait_until("it speaks", lambda: "daemon" in self.log("lensclerkd"))
        os.kill(self.pid, signal.SIGHUP)
        self.running("lensclerkd", but=first)
        self.assertIn("daemon done", self.log("lensclerkd"))

    def test_starts_no_daemon_before_the_database_answers(self):
        words = [built() / "server/lensclerk-supervise", "--foreground",
                 "--postgres", self.program("database", SILENT), "--data",
                 self.folder / "data", "--run", self.folder / "run",
                 "--logs", self.folder / "log"]
        words += ["--db-user", "postgres"] if ROOT else []
        with subprocess.Popen(
                [*words, "--", self.program("daemon", DAEMON)],
                stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as s:
            wait_until("there is a status", (self.folder /
                                             "run/status").exists)
            time.sleep(0.5)
            row = self.status()
            s.send_signal(signal.SIGINT)
            self.assertEqual(s.wait(10), 0)
        self.assertEqual(row["postgres"][1], "starting")
        self.assertEqual(row["lensclerkd"][0], 0)

    def test_leaves_nothing_when_it_is_killed(self):
        self.run_it()
        both = [self.running("postgres"), self.running("lensclerkd")]
        wait_until("the daemon speaks", lambda: "daemon" in
                   self.log("lensclerkd"))
        os.kill(self.pid, signal.SIGKILL)
        wait_until("both end", lambda: not any(map(alive, both)))
        self.assertIn("daemon done", self.log("lensclerkd"))
        self.assertIn("database told INT", self.log("postgres"))
        # And its stale number is not in the way.
        self.assertEqual(self.run_it().returncode, 0)

    def test_refuses_a_second_one(self):
        self.run_it()
        first = self.pid
        done = self.run_it()
        self.assertEqual(done.returncode, 1)
        self.assertIn("another supervisor runs here already", done.stdout)
        self.assertTrue(alive(first))

    def test_kills_a_daemon_that_does_not_stop(self):
        self.run_it("--stop-timeout", "1", daemon=DEAF)
        daemon = self.running("lensclerkd")
        time.sleep(0.2)
        self.end()
        self.assertFalse(alive(daemon))
        self.assertIn("lensclerkd ended by signal 9", self.log("supervise"))

    def test_stops_when_the_process_it_is_for_has_gone(self):
        other = subprocess.Popen(["sleep", "60"])
        try:
            self.run_it("--while-pid", str(other.pid))
            self.running("lensclerkd")
        finally:
            other.kill()
            other.wait()
        wait_until("the supervisor ends", lambda: not alive(self.pid))
        self.assertIn("has gone: stopping", self.log("supervise"))

    def test_is_not_deaf_when_its_caller_ignored_signals(self):
        before = {s: signal.signal(s, signal.SIG_IGN) for s in
                  (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
        try:
            self.run_it()
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)
        self.running("lensclerkd")
        self.end()
        self.assertIn("stopped", self.log("supervise"))

    def test_keeps_no_descriptor_of_its_caller(self):
        ours, theirs = os.pipe()
        os.set_inheritable(theirs, True)
        words = [built() / "server/lensclerk-supervise", "--postgres",
                 self.program("database", DATABASE), "--data",
                 self.folder / "data", "--run", self.folder / "run",
                 "--logs", self.folder / "log"]
        words += ["--db-user", "postgres"] if ROOT else []
        subprocess.run([*words, "--", self.program("daemon", DAEMON)],
                       stdin=subprocess.DEVNULL, close_fds=False, check=True)
        self.pid = int((self.folder / "run/supervise.pid").read_text())
        os.close(theirs)
        os.set_blocking(ours, False)
        self.assertEqual(os.read(ours, 1), b"")  # the end, and no EAGAIN
        os.close(ours)

    def test_sets_a_large_log_aside(self):
        self.run_it()
        self.running("lensclerkd")
        log = self.folder / "log/lensclerkd.log"
        os.truncate(log, 65 * 1024 * 1024)
        wait_until("it is set aside", lambda: log.stat().st_size < 1024, 10)
        self.assertGreaterEqual(
            (self.folder / "log/lensclerkd.log.1").stat().st_size,
            65 * 1024 * 1024)

    def test_says_what_its_command_line_lacks(self):
        done = subprocess.run(
            [built() / "server/lensclerk-supervise", "--run", "/tmp"],
            stderr=subprocess.PIPE, text=True, check=False)
        self.assertEqual(done.returncode, 2)
        self.assertIn("are needed (see --help)", done.stderr)
