"""lensclerk-forward: what it takes, what it sends, what it does with answers."""

import json
import os
import pathlib
import pty
import random
import re
import resource
import shutil
import socket
import ssl
import subprocess
import threading
import time

from forward_case import QUIET, ForwardCase, reading
from lenstest import Service, plain_build, wait_until
from lenstest.service import built


def setUpModule():
    ForwardCase.svc = Service()


def tearDownModule():
    ForwardCase.svc.close()


class Files(ForwardCase):
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

    def test_what_a_late_writer_still_writes_is_another_reading(self):
        process = self.watch("--quiet", "400")
        self.drop("last.json", reading("A", 1))
        # By another name it is the file that a writer has open.
        taken = wait_until("it was taken", lambda: list(
            self.inbox.glob(".taken-*")))[0]
        taken.write_text(reading("A", 2))
        self.wait_count(2)
        wait_until("the folder is empty",
                   lambda: not list(self.inbox.iterdir()))
        self.stop(process)
        self.assertEqual(self.count(), [2, 2])

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


class Places(ForwardCase):
    def test_a_folder_that_goes_and_comes(self):
        process = self.watch()
        wait_until("it runs", lambda: (self.spool / "state").exists())
        self.inbox.rename(self.folder / "away")
        wait_until("it says so",
                   lambda: "can't look into" in self.log.read_text(), 15)
        self.inbox.mkdir()
        self.drop("a.json", reading("A", 1))
        self.wait_count(1)
        # And it hears of the new one at once.
        self.drop("b.json", reading("A", 2))
        self.wait_count(2, 2)
        self.stop(process)

    def test_folders_that_would_feed_each_other(self):
        for more in (("--watch", self.spool), ("--watch", self.inbox, "--keep",
                     self.inbox), ("--watch", self.inbox, "--refused",
                                   self.inbox)):
            self.once(*more, status=1)
        self.assertEqual(self.log.read_text().count("the same folder"), 3)

    def test_a_file_that_may_not_be_removed_is_sent_once(self):
        self.drop("a.json", reading("A", 1))
        self.inbox.chmod(0o555)
        self.addCleanup(self.inbox.chmod, 0o700)
        process = self.watch(**self.somebody_else())
        wait_until("it says so", lambda: "can't be taken out of" in
                   self.log.read_text())
        self.wait_count(1)
        time.sleep(QUIET / 1000 * 5)
        self.assertIn("can't be taken out of",
                      self.status()[1]["not_spooling"]["text"])
        self.stop(process)
        self.assertEqual(self.log.read_text().count('"spooled"'), 1)
        self.assertTrue((self.inbox / "a.json").exists())

    def somebody_else(self):
        """For root, whom modes don't bind: options to run it as nobody."""
        if os.getuid() != 0:
            return {}
        self.folder.chmod(0o711)
        self.spool.mkdir()
        self.program = shutil.copy(self.program, self.folder / "program")
        for path in (self.spool, self.token):
            os.chown(path, 65534, 65534)
        return {"user": 65534, "group": 65534, "extra_groups": []}


class Answers(ForwardCase):
    """A service that only plays, for what the real one seldom says."""

    def play(self, *answers, context=None):
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
                if context:
                    try:
                        one = context.wrap_socket(one, server_side=True)
                    except OSError:
                        continue
                with one:
                    data = bytearray()
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

    def test_memory_does_not_grow_with_what_is_sent(self):
        self.program = plain_build() / "server/lensclerk-forward"
        self.play(self.answer(201), self.answer(201), self.answer(201))
        peaks = []
        for size in (1000, 1 << 25):
            self.drop("a.csv", b"1,2,3\n" * (size // 6))
            peaks.append(self.peak("--watch", self.inbox))
            self.assertEqual(len(self.requests[-1][3]), size // 6 * 6)
        with (self.folder / "input").open("wb+") as file:
            file.write(b"1,2,3\n" * ((1 << 25) // 6))
            file.seek(0)
            peaks.append(self.peak("--stdin", stdin=file))
        self.assertEqual(self.waiting(), 0)
        self.assertLess(max(peaks) - peaks[0], 6 << 10, "KiB")

    def peak(self, *more, **options):
        """Of memory, KiB, of one run to its end."""
        process = self.start("--once", *more, **options)
        most = 0
        while process.poll() is None:
            status = pathlib.Path(f"/proc/{process.pid}/status").read_text()
            found = re.search(r"VmHWM:\s+(\d+)", status)
            most = int(found[1]) if found else most  # none: it has ended
            time.sleep(0.005)
        self.assertEqual(process.returncode, 0, self.log.read_text())
        return most

    def test_over_tls_to_the_right_one_only(self):
        names = self.certificate("right"), self.certificate("wrong")
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(names[0], names[0].with_suffix(".key"))
        self.play(*[self.answer(201)] * 3, context=context)
        self.drop("a.json", "{}")
        words = ("--url", f"https://localhost:{self.port}", "--watch",
                 self.inbox)
        for more in ((), ("--ca", names[1])):
            self.once(*words, *more, status=1)
            self.assertEqual((self.waiting(), self.requests), (1, []))
            self.assertIn("certificate",
                          self.status()[1]["not_sending"]["text"])
        self.once(*words, "--ca", names[0])
        self.assertEqual((self.waiting(), len(self.requests)), (0, 1))

    def certificate(self, name):
        """Of localhost, its own authority; the key is beside it."""
        path = self.folder / f"{name}.pem"
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt",
             "ec_paramgen_curve:P-256", "-nodes", "-days", "2", "-subj",
             f"/CN={name}", "-addext", "subjectAltName=DNS:localhost",
             "-keyout", path.with_suffix(".key"), "-out", path],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL, check=True, timeout=30)
        return path

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

    def test_a_profile_that_is_not_there_is_not_the_files_fault(self):
        problem = json.dumps({"status": 422, "errors": [
            {"pointer": "/profile", "detail": "there is none"}]})
        self.play(*[self.answer(422, problem)] * 2)
        self.drop("a.csv", "1,2\n")
        self.once("--watch", self.inbox, "--profile", "counter", status=1)
        self.assertEqual((self.waiting(), self.refused()), (1, []))
        self.assertIn('no profile "counter"',
                      self.status()[1]["not_sending"]["text"])
        # But one that was sent without a profile is in the wrong folder.
        shutil.rmtree(self.spool)
        self.drop("a.csv", "1,2\n")
        self.once("--watch", self.inbox, status=1)
        self.assertEqual(self.refused(), ["a.csv", "a.csv.reason.txt"])

    def test_nothing_is_redirected(self):
        self.play(self.answer(307, Location="/v1/readings"), self.answer(201))
        self.drop("a.json", reading("A", 1))
        self.once("--watch", self.inbox, status=1)
        self.assertEqual((self.waiting(), len(self.requests)), (1, 1))

    def test_what_is_not_encrypted_goes_by_no_proxy(self):
        self.play(self.answer(201))
        self.drop("a.json", "{}")
        nobody = "http://127.0.0.1:1"
        self.once("--watch", self.inbox, env={
            **os.environ, "http_proxy": nobody, "all_proxy": nobody})
        self.assertEqual((self.waiting(), len(self.requests)), (0, 1))

    def test_a_long_answer_is_cut(self):
        self.play(self.answer(422, json.dumps({
            "title": "wrong", "errors": [
                {"pointer": f"/{i}", "detail": "x" * 50}
                for i in range(2000)]})))
        self.drop("a.json", "{}")
        self.once("--watch", self.inbox, status=1)
        size = (self.spool / "refused/a.json.reason.txt").stat().st_size
        self.assertLess(size, 40000)


class Text(ForwardCase):
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
        for number, room in enumerate((2000, 2100)):
            with self.subTest(f"{room} bytes: a label has 2048"):
                self.full(number, room)
        self.assertEqual(self.count(), [2, 2])

    def full(self, number, room):
        self.spool = self.folder / f"spool-{number}"
        self.log.write_text("")
        process = self.serial("--idle", "150")
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE,
                         (room, resource.RLIM_INFINITY))
        self.say(reading("A", number))
        wait_until("it says so",
                   lambda: "can't write" in self.log.read_text())
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE,
                         (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        self.wait_count(number + 1)
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


class Profiles(ForwardCase):
    """Made up for these tests."""
    FIELDS = [{"to": "/taken_at", "from": "at", "format": "YYYY-MM-DDThh:mm"},
              {"to": "/{eye}/sphere", "from": "sph"}]
    ROWS = {"title": "rows", "form": "delimited", "zone": "clinic",
            "eye": {"from": "eye", "right": ["R"], "left": ["L"]},
            "group": ["at"],
            "readings": [{"kind": "autorefraction", "fields": FIELDS}]}
    LINES = {"title": "lines", "form": "lines", "zone": "clinic",
             "lines": {"patterns": [{"pattern": "{at} {eye} {sph}"},
                                    {"pattern": "END"}]},
             "eye": {"from": "eye", "right": ["R"], "left": ["L"]},
             "readings": [{"kind": "autorefraction", "fields": FIELDS}]}

    def setUp(self):
        super().setUp()
        for profile in (self.ROWS, self.LINES):
            answer = self.net.api("admin", "POST", "/v1/profiles", {
                "name": profile["title"], "profile": profile})
            self.assertEqual(answer.status, 201, answer.body)

    def test_rows_of_a_file_stand_or_fall_by_group(self):
        self.drop("Somebody.csv", "at,eye,sph\n"
                  "2026-03-02T09:14,R,-2.25\n2026-03-02T09:14,L,-1.00\n"
                  "2026-03-02T09:20,R,2.25\n2026-03-02T09:30,L,+0.50\n")
        self.once("--watch", self.inbox, "--profile", "rows", status=1)
        self.assertEqual(self.count(), [2, 2])
        reason = (self.spool / "refused/Somebody.csv.reason.txt").read_text()
        self.assertIn("1 of 3 lines were refused", reason)
        self.assertIn("line 4: ", reason)
        # Put right and put in again it has one reading more.
        self.drop("again.csv", "at,eye,sph\n"
                  "2026-03-02T09:14,R,-2.25\n2026-03-02T09:14,L,-1.00\n"
                  "2026-03-02T09:20,R,+2.25\n2026-03-02T09:30,L,+0.50\n")
        self.once("--watch", self.inbox, "--profile", "rows")
        self.assertEqual(self.count(), [3, 3])

    def test_text_of_a_serial_line(self):
        ours, theirs = pty.openpty()
        self.addCleanup(os.close, ours)
        self.addCleanup(os.close, theirs)
        process = self.start("--serial", os.ttyname(theirs), "--profile",
                             "lines", "--end", "END\\r\\n", "--line",
                             "2400,7E1")
        wait_until("it runs", lambda: (self.spool / "state").exists())
        time.sleep(0.3)  # what comes before the line is set is echoed
        for minute in range(3):
            os.write(ours, f"2026-03-02T09:0{minute} R -2.25\r\n"
                           f"2026-03-02T09:0{minute} L +1.00\r\n"
                           "END\r\n".encode())
        self.wait_count(3)
        self.stop(process)
        self.assertEqual(self.refused(), [])

    def test_a_profile_that_is_not_there_holds_the_file(self):
        self.drop("a.csv", "at,eye,sph\n2026-03-02T09:14,R,-2.25\n")
        self.once("--watch", self.inbox, "--profile", "row", status=1)
        self.assertEqual((self.waiting(), self.refused()), (1, []))
        self.assertEqual(self.count(), [0, 0])
        # Whoever mends the slip has what waited sent by the right one.
        self.once("--watch", self.inbox, "--profile", "rows")
        self.assertEqual((self.waiting(), self.count()), (0, [1, 1]))
        self.assertEqual(self.status()[0], 0)


class CommandLine(ForwardCase):
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
                    "file:///etc/passwd", "http://127.0.0.1.clerk.example",
                    "http://128.0.0.1"):
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
