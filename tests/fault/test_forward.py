"""lensclerk-forward against the real daemon: every file's reading is in the
record exactly once, whatever is killed, cut, full or away meanwhile.

LENSTEST_KILLS=200 kills it that often (10).
"""

import json
import os
import pathlib
import pty
import random
import resource
import shutil
import signal
import socket
import subprocess
import tempfile
import threading
import time
import unittest

from lenstest import Service, alive, wait_until
from lenstest.service import FAULT, built

KILLS = int(os.environ.get("LENSTEST_KILLS", "10"))
QUIET = 60  # ms


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


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


class Base(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))
        self.addCleanup(shutil.rmtree, self.folder)
        self.net = svc.network()
        self.spool, self.inbox = self.folder / "spool", self.folder / "in"
        self.inbox.mkdir()
        self.token = self.folder / "token"
        self.token.write_text(self.net.tokens["device"] + "\n")
        self.token.chmod(0o600)
        self.log = self.folder / "log"
        self.log.touch()
        self.addCleanup(self.look_at_log)
        self.port = svc.port
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
            built() / "server/lensclerk-forward", "--spool", self.spool,
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

    def once(self, *more, status=0, **options):
        """--once to its end."""
        process = self.start("--once", *more, **options)
        self.assertEqual(process.wait(60), status,
                         self.log.read_text()[-2000:])
        return process

    def stop(self, process):
        process.send_signal(signal.SIGTERM)
        self.assertEqual(process.wait(20), 0, self.log.read_text()[-2000:])

    def status(self, *more):
        """(exit status, what --status --json says)"""
        done = subprocess.run(
            [built() / "server/lensclerk-forward", "--spool", self.spool,
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
        return [int(n) for n in svc.psql(
            "SELECT count(*), count(DISTINCT content_hash) FROM reading"
            f" WHERE network_id = '{self.net.id}'")[0]]

    def wait_count(self, n, seconds=30):
        wait_until(f"{n} readings are on record",
                   lambda: self.count()[0] == n, seconds, 0.05)

    def refused(self):
        return sorted(p.name for p in (self.spool / "refused").iterdir())


class Files(Base):
    def test_a_file_becomes_a_reading_and_goes(self):
        process = self.watch()
        self.drop("Somebody.json", reading("A", 1))
        self.wait_count(1)
        wait_until("the folder is empty",
                   lambda: not list(self.inbox.iterdir()))
        code, status = self.status()
        self.assertEqual((code, status["health"]), (0, []))
        self.assertEqual((status["running"], status["pid"], status["sent"]),
                         (True, process.pid, 1))
        self.stop(process)
        code, status = self.status()
        self.assertEqual((code, status["health"]), (1, ["not-running"]))

    def test_what_was_there_before_is_taken_at_the_start(self):
        for i in range(30):
            self.drop(f"{i}.json", reading("A", i))
        self.once("--watch", self.inbox)
        self.assertEqual(self.count(), [30, 30])
        self.assertEqual(list(self.inbox.iterdir()), [])
        code, status = self.status()
        self.assertEqual((code, status["waiting"], status["sent"]), (0, 0, 30))

    def test_a_file_that_is_still_written_is_left(self):
        process = self.watch()
        text = reading("A", 1)
        with (self.inbox / "slow.json").open("w") as slow:
            for at in range(0, len(text), 40):
                slow.write(text[at:at + 40])
                slow.flush()
                time.sleep(0.02)
            # Whole, quiet and still open: who writes may not be done.
            time.sleep(QUIET / 1000 * 5)
            self.assertEqual(self.count()[0], 0)
            self.assertTrue((self.inbox / "slow.json").exists())
        self.wait_count(1)
        self.stop(process)
        self.assertEqual(self.refused(), [])

    def test_one_file_that_is_written_over_again_and_again(self):
        process = self.watch()
        path = self.inbox / "last.json"
        for i in range(15):
            path.write_text(reading("A", i))
            # Anywhere between just written, copied, set aside and removed.
            time.sleep(random.uniform(1.2, 4) * QUIET / 1000)
            wait_until("it was copied", lambda: self.known() > i)
        self.wait_count(15)
        self.stop(process)
        self.assertEqual(self.count(), [15, 15])

    def known(self):
        return self.count()[0] + self.waiting()

    def test_hidden_empty_linked_files_and_folders_are_left(self):
        outside = self.folder / "outside.json"
        outside.write_text(reading("A", 1))
        (self.inbox / "link.json").symlink_to(outside)
        (self.inbox / ".hidden.json").write_text(reading("A", 2))
        (self.inbox / "empty.json").touch()
        (self.inbox / "folder").mkdir()
        os.mkfifo(self.inbox / "pipe.json")
        before = sorted(self.inbox.iterdir())
        self.once("--watch", self.inbox)
        self.assertEqual(sorted(self.inbox.iterdir()), before)
        self.assertEqual(self.count(), [0, 0])

    def test_taken_files_can_be_kept(self):
        keep = self.folder / "kept"
        for name in ("a.json", "b.json"):
            self.drop(name, reading(name, 1))
        self.once("--watch", self.inbox, "--keep", keep)
        self.drop("a.json", reading("c", 1))
        self.once("--watch", self.inbox, "--keep", keep)
        self.assertEqual({p.name: json.loads(p.read_text())["device"]["serial"]
                          for p in keep.iterdir()},
                         {"a.json": "a.json", "b.json": "b.json",
                          "2-a.json": "c"})
        self.assertEqual(self.count(), [3, 3])

    def test_the_same_file_again_has_no_effect(self):
        for name in ("a.json", "b.json", "a.json"):
            self.drop(name, reading("A", 1))
            self.once("--watch", self.inbox)
        self.assertEqual(self.count(), [1, 1])

    def test_refused_files_are_set_aside_with_the_reason(self):
        wrong = reading("A", 1).replace("172", "272")
        self.drop("Somebody.json", wrong)
        self.drop("good.json", reading("A", 2))
        self.drop("what.bin", b"\0\1\2")
        self.once("--watch", self.inbox, status=1)
        self.assertEqual(self.count(), [1, 1])
        self.assertEqual(self.refused(), [
            "Somebody.json", "Somebody.json.reason.txt", "what.bin",
            "what.bin.reason.txt"])
        aside = self.spool / "refused"
        self.assertEqual((aside / "Somebody.json").read_text(), wrong)
        self.assertEqual((aside / "what.bin").read_bytes(), b"\0\1\2")
        reason = (aside / "Somebody.json.reason.txt").read_text()
        self.assertIn("/right/axis: ", reason)
        self.assertIn("422", reason)
        self.assertIn("415", (aside / "what.bin.reason.txt").read_text())
        code, status = self.status()
        self.assertEqual((code, status["refused"], status["health"]),
                         (1, 2, ["refused"]))
        # Again: it isn't there twice; another one of that name is.
        self.drop("Somebody.json", wrong)
        self.once("--watch", self.inbox, status=1)
        self.assertEqual(len(self.refused()), 4)
        self.drop("Somebody.json", wrong.replace("272", "273"))
        self.once("--watch", self.inbox, status=1)
        self.assertIn("2-Somebody.json.reason.txt", self.refused())
        # Who has dealt with them removes them.
        shutil.rmtree(aside)
        self.once("--watch", self.inbox)
        self.assertEqual(self.status()[0], 0)

    def test_lines_are_answered_one_by_one(self):
        lines = [reading("A", i) for i in range(200)]
        lines[3] = lines[3].replace("172", "272")
        lines[150] = "{"
        self.drop("many.ndjson", "\n".join(lines))
        self.once("--watch", self.inbox, status=1)
        self.assertEqual(self.count(), [198, 198])
        reason = (self.spool / "refused/many.ndjson.reason.txt").read_text()
        self.assertIn("2 of 200 lines were refused", reason)
        self.assertIn("line 4: /right/axis: ", reason)
        self.assertIn("line 151: ", reason)

    def test_memory_does_not_grow_with_a_file(self):
        # 6 MiB, under the daemon's limit.
        self.drop("big.json", reading("A", 1, 6 << 20))
        self.once("--watch", self.inbox)
        small = self.peak()
        self.assertEqual(self.count(), [1, 1])
        self.drop("b.json", reading("A", 2))
        self.once("--watch", self.inbox)
        self.assertLess(small, 64 << 10, "KiB")  # sanitizers take their part

    def peak(self):
        """Of all children that have ended, KiB."""
        return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss


class Trouble(Base):
    def test_killed_at_random_with_the_server_half_of_the_time_down(self):
        relay = Relay(svc.port)
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
                svc.kill("lensclerkd")
        svc.wait_ready()
        relay.up, relay.lose = True, False
        self.once("--watch", self.inbox)
        self.assertEqual(self.count(), [dropped, dropped])
        self.assertEqual(list(self.inbox.iterdir()), [])
        self.assertEqual(self.refused(), [])
        self.assertEqual(self.waiting(), 0)
        print(f"{KILLS} kills, {dropped} files, {relay.lost} answers lost")

    def test_lost_answers_have_no_effect(self):
        relay = Relay(svc.port)
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

    def state(self):
        if not (self.spool / "queue").exists():
            return {"not_spooling": None, "health": None}
        return self.status()[1]

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
        self.port = svc.port
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


class Answers(Base):
    """A service that only plays, for what the real one seldom says."""

    def play(self, *answers):
        """Each connection gets the next answer; requests are kept."""
        server = socket.create_server(("127.0.0.1", 0))
        self.addCleanup(server.close)
        self.port = server.getsockname()[1]
        self.requests = []

        def serve():
            for answer in answers:
                try:
                    one, _ = server.accept()
                except OSError:
                    return
                with one:
                    data = b""
                    while b"\r\n\r\n" not in data:
                        data += one.recv(65536)
                    head, _, body = data.partition(b"\r\n\r\n")
                    fields = dict(
                        line.split(": ", 1) for line in
                        head.decode().lower().split("\r\n")[1:])
                    while len(body) < int(fields["content-length"]):
                        body += one.recv(65536)
                    self.requests.append(
                        (time.monotonic(), head.decode(), fields, body))
                    one.sendall(answer.encode())
        thread = threading.Thread(target=serve, daemon=True)
        thread.start()

    @staticmethod
    def answer(status, body="", **fields):
        lines = [f"HTTP/1.1 {status} Words", "Connection: close",
                 f"Content-Length: {len(body)}"]
        lines += [f"{n.replace('_', '-')}: {v}" for n, v in fields.items()]
        return "\r\n".join(lines) + "\r\n\r\n" + body

    def test_what_is_sent(self):
        self.play(self.answer(201), self.answer(200))
        self.drop("a.csv", "x\n")
        self.once("--watch", self.inbox, "--profile", "a b/c".replace(" ", ""))
        self.drop("b.csv", "x\n")
        self.once("--watch", self.inbox)
        _, head, fields, body = self.requests[0]
        self.assertTrue(head.startswith(
            "POST /v1/readings?profile=ab%2Fc HTTP/1.1\r\n"), head)
        self.assertEqual((fields["content-type"], body), ("text/csv", b"x\n"))
        self.assertEqual(fields["authorization"],
                         f"bearer {self.net.tokens['device'].lower()}")
        # The same content by another profile is another request.
        self.assertNotEqual(fields["idempotency-key"],
                            self.requests[1][2]["idempotency-key"])

    def test_retry_after_is_honoured(self):
        self.play(self.answer(503, retry_after="1"), self.answer(201))
        self.drop("a.json", "{}")
        process = self.watch()
        wait_until("it was sent again", lambda: len(self.requests) == 2)
        wait_until("the queue is empty", lambda: self.waiting() == 0)
        self.stop(process)
        # libcurl counts from when the header came; a tick is forgiven.
        self.assertGreater(self.requests[1][0] - self.requests[0][0], 0.9)

    def test_one_that_the_service_fails_on_holds_nobody_up(self):
        self.play(self.answer(500), self.answer(201), self.answer(201))
        for name, text in (("a.json", "[1]"), ("b.json", "[2]")):
            self.drop(name, text)
            time.sleep(QUIET / 1000 * 3)
        process = self.watch()
        wait_until("all were sent", lambda: len(self.requests) == 3)
        wait_until("the queue is empty", lambda: self.waiting() == 0)
        self.stop(process)
        bodies = [r[3] for r in self.requests]
        self.assertEqual(bodies[0], bodies[2])
        self.assertEqual(sorted(bodies[:2]), [b"[1]", b"[2]"])

    def test_half_an_answer_is_none(self):
        whole = '{"line":1,"status":201,"id":"x"}\n'
        self.play(
            "HTTP/1.1 200 OK\r\nContent-Type: application/x-ndjson\r\n"
            f"Transfer-Encoding: chunked\r\n\r\n{len(whole):x}\r\n{whole}\r\n",
            self.answer(200, '{"line":1,"status":503}\n',
                        Content_Type="application/x-ndjson"),
            self.answer(200, "what?\n", Content_Type="application/x-ndjson"),
            self.answer(200, whole, Content_Type="application/x-ndjson"))
        self.drop("a.ndjson", "{}\n")
        process = self.watch()
        wait_until("it was sent again", lambda: len(self.requests) == 4)
        wait_until("the queue is empty", lambda: self.waiting() == 0)
        self.stop(process)
        self.assertEqual(self.refused(), [])

    def test_nothing_is_redirected(self):
        self.play(self.answer(307, Location=f"http://127.0.0.1:{svc.port}/"))
        self.drop("a.json", reading("A", 1))
        self.once("--watch", self.inbox, status=1)
        self.assertEqual((self.waiting(), self.count()[0]), (1, 0))

    def test_a_long_answer_is_cut(self):
        self.play(self.answer(422, json.dumps({
            "title": "wrong", "errors": [
                {"pointer": f"/{i}", "detail": "x" * 50}
                for i in range(2000)]})))
        self.drop("a.json", "{}")
        self.once("--watch", self.inbox, status=1)
        size = (self.spool / "refused/a.json.reason.txt").stat().st_size
        self.assertLess(size, 40000)


class Text(Base):
    def test_standard_input_is_one_message(self):
        self.once("--stdin", "--type", "application/json", stdin=self.input(
            reading("A", 1)))
        self.assertEqual(self.count(), [1, 1])

    def input(self, text):
        path = self.folder / "input"
        path.write_text(text)
        file = path.open()
        self.addCleanup(file.close)
        return file

    def test_a_pattern_parts_messages(self):
        text = "".join(reading("A", i) + "\x04\r\n" for i in range(20))
        self.once("--stdin", "--type", "application/json", "--end",
                  "\\x04\\r\\n", stdin=self.input(text), status=1)
        # The pattern is part of the message, and JSON has no such character.
        self.assertEqual(len(self.refused()), 40)
        text = "".join(reading("B", i) + "\n" for i in range(50))
        self.once("--stdin", "--type", "application/json", "--end", "\\n",
                  stdin=self.input(text))
        self.assertEqual(self.count(), [50, 50])

    def serial(self, *more):
        self.ours, theirs = pty.openpty()
        self.addCleanup(os.close, self.ours)
        name = os.ttyname(theirs)
        process = self.start("--serial", name, "--type", "application/json",
                             *more)
        wait_until("it runs", lambda: (self.spool / "queue").exists())
        time.sleep(0.3)
        self.addCleanup(os.close, theirs)
        return process

    def say(self, text):
        """As slowly as an instrument, in pieces that mean nothing."""
        for at in range(0, len(text), 50):
            os.write(self.ours, text[at:at + 50].encode())
            time.sleep(0.005)

    def test_silence_parts_messages_of_a_serial_line(self):
        process = self.serial("--idle", "150")
        for i in range(5):
            self.say(reading("A", i))
            wait_until("it was taken", lambda: self.count()[0] == i + 1)
        self.stop(process)
        self.assertEqual(self.count(), [5, 5])

    def test_a_message_that_has_come_is_kept_when_it_is_told_to_stop(self):
        process = self.serial("--idle", "400")
        self.say(reading("A", 1))
        self.stop(process)
        self.once()
        self.assertEqual(self.count(), [1, 1])

    def test_a_full_disk_loses_no_message(self):
        process = self.serial("--idle", "150")
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE,
                         (2000, resource.RLIM_INFINITY))
        self.say(reading("A", 1))
        wait_until("it says so",
                   lambda: "can't write" in self.log.read_text())
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE,
                         (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        self.wait_count(1)
        self.stop(process)

    def test_a_serial_line_that_is_not_there_is_waited_for(self):
        place = self.folder / "tty"
        process = self.start("--serial", place, "--idle", "100", "--type",
                             "application/json")
        wait_until("it says so",
                   lambda: "can't open the serial line" in self.log.read_text())
        self.ours, theirs = pty.openpty()
        self.addCleanup(os.close, self.ours)
        self.addCleanup(os.close, theirs)
        place.symlink_to(os.ttyname(theirs))
        wait_until("it works again",
                   lambda: "works-again" in self.log.read_text())
        self.say(reading("A", 1))
        self.wait_count(1)
        self.stop(process)


class CommandLine(Base):
    def ask(self, *words):
        done = subprocess.run(
            [str(w) for w in (built() / "server/lensclerk-forward", *words)],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True, check=False, timeout=20)
        return done.returncode, done.stdout, done.stderr

    def test_every_fault_is_named_at_once(self):
        code, _, said = self.ask(
            "--url", "http://clerk.example", "--line", "9600", "--end", "\\q",
            "--quiet", "0", "--watch", "/a", "--stdin", "--profile", "",
            "--retry-first", "9", "--retry-most", "8", "x")
        self.assertEqual(code, 2)
        for name in ("--spool", "--token", "unencrypted", "--line", "--end",
                     "--quiet", "exclude", "--profile", "--retry-most",
                     "x is not"):
            self.assertIn(name, said)
        for url in ("ftp://x", "https://a:b@c", "https://c?d", "nothing",
                    "file:///etc/passwd"):
            self.assertEqual(self.ask("--spool", "s", "--url", url, "--token",
                                      "t", "--stdin")[0], 2, url)

    def test_help_version_and_status_without_a_spool(self):
        self.assertEqual(self.ask("--help")[0], 0)
        self.assertEqual(self.ask("--version")[0], 0)
        code, _, said = self.ask("--spool", self.folder / "none", "--status")
        self.assertEqual(code, 2)
        self.assertIn("can't open the spool", said)

    def test_a_token_that_everybody_may_read_is_refused(self):
        self.token.chmod(0o644)
        self.drop("a.json", reading("A", 1))
        self.once("--watch", self.inbox, status=1)
        self.assertIn("can be read by every user", self.log.read_text())
        self.assertEqual(self.count()[0], 0)

    def test_status_as_text(self):
        self.drop("a.json", reading("A", 1))
        self.once("--watch", self.inbox)
        code, said, _ = self.ask("--spool", self.spool, "--status")
        self.assertEqual(code, 0)
        rows = dict(line.split("  ", 1) for line in said.splitlines())
        self.assertEqual(rows["health"].strip(), "well")
        self.assertEqual(rows["sent"].strip(), "1")
        self.assertEqual(rows["waiting"].strip(), "0")


if __name__ == "__main__":
    unittest.main()
