"""lensclerk-forward against the real daemon: every file's reading is in the
record exactly once, whatever is killed, cut, full or away meanwhile.

LENSTEST_KILLS=200 kills it that often (10).
"""

import os
import random
import resource
import socket
import subprocess
import threading
import time

from forward_case import ForwardCase, reading
from lenstest import Service, plain_build, wait_until

KILLS = int(os.environ.get("LENSTEST_KILLS", "10"))


def setUpModule():
    ForwardCase.svc = Service()


def tearDownModule():
    ForwardCase.svc.close()


class Relay:
    """A line to the daemon that can be down, and that can lose answers."""

    def __init__(self, port):
        self.to, self.up, self.lose = port, True, False
        self.lost = 0
        self.server = socket.create_server(("127.0.0.1", 0))
        self.port = self.server.getsockname()[1]
        threading.Thread(target=self.serve, daemon=True).start()

    def serve(self):
        while True:
            try:
                one, _ = self.server.accept()
            except OSError:
                return
            threading.Thread(target=self.carry, args=(one,),
                             daemon=True).start()

    def carry(self, one):
        with one:
            if not self.up:
                return
            try:
                with socket.create_connection(("127.0.0.1", self.to)) as two:
                    threading.Thread(target=self.pump, args=(one, two, False),
                                     daemon=True).start()
                    self.pump(two, one, True)
            except OSError:
                pass

    def pump(self, a, b, answers):
        try:
            while data := a.recv(65536):
                if not self.up:
                    break
                if answers and self.lose:
                    self.lost += 1
                    break
                b.sendall(data)
        except OSError:
            pass
        for s in (a, b):
            try:
                s.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass

    def close(self):
        self.server.close()


class Trouble(ForwardCase):
    def test_killed_at_random_with_the_server_half_of_the_time_down(self):
        relay = Relay(self.svc.port)
        self.addCleanup(relay.close)
        self.port = relay.port
        dropped = 0
        for kill in range(KILLS):
            relay.up, relay.lose = kill % 2 == 0, kill % 4 == 0
            process = self.watch()
            until = time.monotonic() + random.uniform(0.01, 0.7)
            while time.monotonic() < until:
                self.drop(f"{dropped}.json", reading("A", dropped))
                dropped += 1
                time.sleep(random.uniform(0, 0.05))
            process.kill()
            process.wait()
            if kill == KILLS // 2:
                self.svc.kill("lensclerkd")
        self.svc.wait_ready()
        relay.up, relay.lose = True, False
        left = len(list(self.inbox.iterdir())) + self.waiting(), time.monotonic()
        self.once("--watch", self.inbox, seconds=60 + 5 * KILLS)
        left = *left, time.monotonic()
        self.assertEqual(list(self.inbox.iterdir()), [])
        self.assertEqual(self.refused(), [])
        self.assertEqual(self.waiting(), 0)
        self.assertEqual(self.count(), [dropped, dropped])
        print(f"{KILLS} kills, {dropped} files, {relay.lost} answers lost, "
              f"{left[0]} left at the end for {left[2] - left[1]:.0f} s")

    def test_lost_answers_have_no_effect(self):
        relay = Relay(self.svc.port)
        self.addCleanup(relay.close)
        self.port = relay.port
        relay.lose = True
        for i in range(3):
            self.drop(f"{i}.json", reading("A", i))
        process = self.watch()
        self.wait_count(3)
        wait_until("answers were lost", lambda: relay.lost > 3)
        self.assertEqual(self.waiting(), 3)
        code, status = self.status()
        self.assertEqual((code, status["health"]), (1, ["not-sending"]))
        self.assertIn("no answer", status["last_error"])
        relay.lose = False
        wait_until("the queue is empty", lambda: self.waiting() == 0)
        self.stop(process)
        self.assertEqual(self.count(), [3, 3])

    def test_a_full_disk_leaves_the_files_where_they_are(self):
        def limit():
            resource.setrlimit(resource.RLIMIT_FSIZE,
                               (5000, resource.RLIM_INFINITY))
        process = self.watch(preexec_fn=limit)
        self.drop("big.json", reading("A", 1, 20000))
        wait_until("it says so", lambda: self.state()["not_spooling"])
        self.assertEqual([p.name for p in self.inbox.iterdir()], ["big.json"])
        code, status = self.status()
        self.assertEqual((code, status["health"]), (1, ["not-spooling"]))
        self.assertIn("can't write to the spool", status["last_error"])
        self.assertEqual(self.waiting(), 0)
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE,
                         (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        self.wait_count(1)
        wait_until("it is well", lambda: self.state()["health"] == [])
        wait_until("the folder is empty",
                   lambda: not list(self.inbox.iterdir()))
        self.stop(process)

    def test_a_small_disk_that_is_full(self):
        """On a disk of its own where we may have one, else by a limit."""
        self.spool.mkdir()
        mounted = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=128k", "none", self.spool],
            stderr=subprocess.DEVNULL, check=False).returncode == 0
        if not mounted:
            self.test_a_full_disk_leaves_the_files_where_they_are()
            return
        self.addCleanup(subprocess.run, ["umount", "-l", self.spool],
                        check=True)
        process = self.watch()
        wait_until("it runs", lambda: self.state()["health"] == [])
        filler = self.spool / "filler"
        with filler.open("wb", buffering=0) as file:
            while True:
                try:
                    file.write(b"x" * 4096)
                except OSError:
                    break
        for i in range(5):
            self.drop(f"{i}.json", reading("A", i))
        wait_until("it says so", lambda: self.state()["not_spooling"])
        self.assertEqual(len(list(self.inbox.iterdir())), 5)
        self.assertIn("No space left", self.state()["last_error"])
        process.kill()
        process.wait()
        process = self.watch()
        filler.unlink()
        self.wait_count(5)
        wait_until("the folder is empty",
                   lambda: not list(self.inbox.iterdir()))
        self.stop(process)
        self.assertEqual(self.count(), [5, 5])

    def state(self):
        if not (self.spool / "queue").exists():
            return {"not_spooling": None, "health": None}
        return self.status()[1]

    def test_what_stays_when_the_power_fails(self):
        """At each moment source or queue holds it for good: content, then its
        name, and only then the source is touched."""
        self.program = plain_build() / "server/lensclerk-forward"
        self.drop("a.json", reading("A", 1))
        calls = self.folder / "calls"
        with self.log.open("ab") as log:
            done = subprocess.run(
                ["strace", "-f", "-y", "-o", calls, "-e", "trace=pwrite64,"
                 "ftruncate,fsync,renameat,renameat2,unlinkat",
                 *self.words("--watch", self.inbox, "--once")],
                stdin=subprocess.DEVNULL, stdout=log, stderr=log, timeout=60,
                check=False)
        self.assertEqual(done.returncode, 0, self.log.read_text())
        order = [line.split(None, 1)[1] for line in
                 calls.read_text().splitlines() if "exited" not in line]

        def last(*parts):
            found = [i for i, call in enumerate(order)
                     if all(part in call for part in parts)]
            self.assertTrue(found, parts)
            return found[-1]
        self.assertEqual(
            sorted(range(5), key=[
                last("pwrite64", "/queue/draft-"),
                last("fsync", "/queue/draft-"),
                last("renameat(", "draft-1", ".item"),
                last("fsync", "/queue>"),
                last("renameat2", "a.json", ".taken-")].__getitem__),
            list(range(5)), order)
        self.assertLess(last("renameat2", "a.json"), last("unlinkat", ".taken-"))
        # Its folders' names, too.
        self.assertLess(last("fsync", f"<{self.folder}>"),
                        last("renameat(", ".item"))

    def test_two_of_them_on_one_spool(self):
        process = self.watch()
        wait_until("it runs", lambda: self.state().get("running"))
        other = self.watch()
        self.assertEqual(other.wait(20), 1)
        self.assertIn("another lensclerk-forward", self.log.read_text())
        self.drop("a.json", reading("A", 1))
        self.wait_count(1)
        self.stop(process)

    def test_two_spools_on_one_folder(self):
        first = self.watch()
        self.spool = self.folder / "other"
        second = self.watch()
        for i in range(40):
            self.drop(f"{i}.json", reading("A", i))
            time.sleep(0.01)
        self.wait_count(40)
        wait_until("the folder is empty",
                   lambda: not list(self.inbox.iterdir()))
        self.stop(first)
        self.stop(second)
        self.assertEqual(self.count(), [40, 40])

    def test_a_torn_item_is_not_sent(self):
        self.port = 1  # nobody is there
        for i in range(3):
            self.drop(f"{i}.json", reading("A", i))
        self.once("--watch", self.inbox, status=1)
        items = sorted((self.spool / "queue").iterdir())
        self.assertEqual(len(items), 3)
        items[0].write_bytes(items[0].read_bytes()[:-1])
        whole = bytearray(items[1].read_bytes())
        whole[2100] ^= 1
        items[1].write_bytes(whole)
        (self.spool / "queue/draft-1").write_bytes(whole[:3000])
        self.port = self.svc.port
        self.once(status=1)
        self.assertEqual(self.count(), [1, 1])
        self.assertEqual(list((self.spool / "queue").iterdir()), [])
        names = [f"damaged-{p.name}" for p in items[:2]]
        self.assertEqual(self.refused(), sorted(
            names + [f"{n}.reason.txt" for n in names]))

    def test_a_revoked_token_holds_everything(self):
        self.drop("a.json", reading("A", 1))
        good = self.token.read_text()
        self.token.write_text("lens_nobody\n")
        self.once("--watch", self.inbox, status=1)
        self.assertEqual((self.waiting(), self.refused()), (1, []))
        self.assertIn("the token", self.status()[1]["not_sending"]["text"])
        self.token.write_text(good)
        self.once()
        self.assertEqual(self.count(), [1, 1])
        self.assertEqual(self.status()[0], 0)
