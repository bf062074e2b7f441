"""Lines of readings, taken in while they arrive: their order and fates, and
what they cost in memory, whoever sends or reads slowly.

LENSTEST_LINES=100000 makes the long ones as long as that."""

import collections
import contextlib
import json
import os
import pathlib
import select
import signal
import socket
import tempfile
import threading
import time
import unittest

from lenstest import Client, Service, alive, plain_build, wait_until

MANY = int(os.environ.get("LENSTEST_LINES", "5000"))
NDJSON = {"Content-Type": "application/x-ndjson"}
LIMIT_MB = 1  # of bodies that are held whole
LINE_MOST = 65536  # NATIVE_LINE_MAX
LINES_MOST = 1_000_000  # of a body


def setUpModule():
    global svc
    svc = Service(settings={"server_body_limit_mb": LIMIT_MB})


def tearDownModule():
    svc.close()


def reading(number, **change):
    """A reading that no other is: its instant counts milliseconds."""
    seconds, part = divmod(number, 1000)
    body = {"kind": "autorefraction",
            "taken_at": f"2026-03-{1 + seconds // 86400:02d}T"
                        f"{seconds // 3600 % 24:02d}:{seconds // 60 % 60:02d}"
                        f":{seconds % 60:02d}.{part:03d}Z",
            "right": {"repeats": [
                {"sphere": -2.25, "cylinder": -0.75, "axis": 172},
                {"sphere": -2.50, "cylinder": -0.50, "axis": 174},
                {"sphere": -2.25, "cylinder": -0.75, "axis": 170}]},
            "left": {"sphere": -1.00, "cylinder": 0}}
    return {**body, **change}


def line(number, **change):
    return json.dumps(reading(number, **change)).encode() + b"\n"


def chunk(data):
    return b"%x\r\n%s\r\n" % (len(data), data)


class Upload:
    """One request whose body goes out piece by piece."""

    def __init__(self, service, token, path="/v1/readings", more=""):
        self.socket = socket.create_connection(
            ("127.0.0.1", service.port), timeout=60)
        self.socket.sendall(
            f"POST {path} HTTP/1.1\r\nHost: localhost\r\n"
            f"Authorization: Bearer {token}\r\n{more}"
            "Content-Type: application/x-ndjson\r\n"
            "Transfer-Encoding: chunked\r\n\r\n".encode())

    def send(self, data):
        self.socket.sendall(chunk(data))

    def send_lines(self, numbers, most=50):
        part = []
        for number in numbers:
            part.append(line(number))
            if len(part) == most:
                self.send(b"".join(part))
                part = []
        if part:
            self.send(b"".join(part))

    def answer(self, pause=0.0):
        """Status, headers, and the lines one by one."""
        self.socket.sendall(b"0\r\n\r\n")
        file = self.socket.makefile("rb", buffering=4096)
        status = int(file.readline().split()[1])
        headers = {}
        while (row := file.readline().strip()):
            name, _, value = row.decode().partition(": ")
            headers[name] = value
        return status, headers, self.rows(
            file, int(headers["Content-Length"]), pause)

    @staticmethod
    def rows(file, left, pause):
        while left:
            row = file.readline()
            if not row:
                raise ConnectionError(f"{left} bytes are missing")
            left -= len(row)
            time.sleep(pause)
            yield json.loads(row)

    def close(self):
        self.socket.close()


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def rows(self, table="reading"):
        return int(svc.psql(f"SELECT count(*) FROM {table}"
                            f" WHERE network_id = '{self.net.id}'")[0][0])

    def upload(self, **options):
        upload = Upload(svc, self.net.tokens["device"], **options)
        self.addCleanup(upload.close)
        return upload

    def post(self, data, status=200, role="device", **headers):
        answer = self.net.api(role, "POST", "/v1/readings", data,
                              {**NDJSON, **{name.replace("_", "-"): value for
                                            name, value in headers.items()}})
        self.assertEqual(answer.status, status, answer.body)
        return answer if status != 200 else \
            [json.loads(row) for row in answer.body.splitlines()]

    def nothing_at_work(self):
        wait_until("nothing is at work", lambda: b"\nlensclerk_requests_active"
                   b" 0\n" in svc.metrics().body)


class Fates(Case):
    def test_each_of_many_has_its_own_in_order(self):
        # Every kind of line, again and again, in pieces of any size.
        kinds = {
            0: lambda i: (line(i), 201),
            1: lambda i: (line(i, right={"sphere": 99}), 422),
            2: lambda i: (line(i - 2), 200),  # the same again
            3: lambda i: (b'{"kind": \n', 400),
            4: lambda i: (b"\n", None),
            5: lambda i: (b" \t\r\n", None),
            6: lambda i: (b"[]\n", 422),
            7: lambda i: (line(i)[:-1] + b"\r\n", 201),
            8: lambda i: (b'{"a": "' + b"b" * (LINE_MOST - 9) + b'"}\n', 422),
            9: lambda i: (b'{"a": "' + b"b" * (LINE_MOST - 8) + b'"}\n', 413)
            if i % 200 == 9 else (line(i), 201),
        }
        n = 2000
        sent = [kinds[i % 10](i) if i % 10 != 8 or i % 200 == 8
                else (line(i), 201) for i in range(n)]
        data = b"".join(part for part, _ in sent)
        want = [(i + 1, status) for i, (_, status) in enumerate(sent)
                if status]
        upload = self.upload()
        at, step = 0, 0
        while at < len(data):
            step = step * 7919 % 30011 + 1
            upload.send(data[at:at + step])
            at += step
        status, headers, rows = upload.answer()
        rows = list(rows)
        self.assertEqual([r for r in rows if r["status"] >= 500], [])
        self.assertEqual((status, headers["Content-Type"]),
                         (200, "application/x-ndjson"))
        self.assertEqual([(r["line"], r["status"]) for r in rows], want)
        by_line = {r["line"]: r for r in rows}
        for row in rows:
            if row["status"] == 200:
                self.assertEqual(row["id"], by_line[row["line"] - 2]["id"])
        self.assertEqual(
            {e["pointer"] for e in by_line[2]["errors"]}, {"/right/sphere"})
        self.assertIn("65536", by_line[10]["errors"][0]["detail"])
        new = [r["id"] for r in rows if r["status"] == 201]
        self.assertEqual(len(set(new)), len(new))
        self.assertEqual(
            {row[0] for row in svc.psql(
                "SELECT reading_id FROM reading"
                f" WHERE network_id = '{self.net.id}'")}, set(new))
        # Each kept as its own line arrived.
        got = self.net.api("desk", "GET",
                           f"/v1/readings/{by_line[8]['id']}/original")
        self.assertEqual(got.body, line(7)[:-1] + b"\r")

    def test_a_line_that_has_no_end_in_sight_is_refused_and_passed_over(self):
        upload = self.upload()
        upload.send(line(0))
        for _ in range(40):
            upload.send(b"a" * 65536)
        upload.send(b"\n" + line(1) + line(2)[:-1])
        rows = list(upload.answer()[2])
        self.assertEqual([(r["line"], r["status"]) for r in rows],
                         [(1, 201), (2, 413), (3, 201), (4, 201)])

    def test_a_body_over_the_limit_of_others_is_taken(self):
        repeats = reading(0)["right"]["repeats"] * 10
        data = b"".join(line(i, right={"repeats": repeats})
                        for i in range(1000))
        self.assertGreater(len(data), LIMIT_MB << 20)
        self.assertEqual({r["status"] for r in self.post(data)}, {201})
        self.assertEqual(self.rows(), 1000)

    def test_lines_beyond_a_million_are_not_read(self):
        data = b"\n" * (LINES_MOST - 1) + line(0) + line(1) + line(2)
        rows = self.post(data)
        self.assertEqual([(r["line"], r["status"]) for r in rows],
                         [(LINES_MOST, 201), (LINES_MOST + 1, 413)])
        self.assertEqual(self.rows(), 1)

    def test_a_preview_of_many_stores_nothing(self):
        data = b"".join(line(i) for i in range(600)) + b"{}\n"
        answer = self.net.api("device", "POST", "/v1/readings/preview", data,
                              NDJSON)
        rows = [json.loads(row) for row in answer.body.splitlines()]
        self.assertEqual([r["status"] for r in rows], [200] * 600 + [422])
        self.assertEqual(rows[7]["reading"]["right"]["repeats"][0]["sphere"],
                         -2.25)
        self.assertEqual(self.rows(), 0)

    def test_a_key_makes_a_repeat_answer_as_the_first(self):
        data = b"".join(line(i) for i in range(300))
        first = self.post(data, Idempotency_Key="a")
        self.assertEqual(self.post(data, Idempotency_Key="a"), first)
        # Cut off and sent again: what was taken is a repeat, the rest is new.
        upload = self.upload(more="Idempotency-Key: b\r\n")
        upload.send_lines(range(1000, 1200))
        wait_until("some is stored", lambda: self.rows() >= 400)
        upload.close()
        data = b"".join(line(i) for i in range(1000, 1300))
        self.assertEqual(
            [r["status"] for r in self.post(data, Idempotency_Key="b")],
            [201] * 300)
        self.assertEqual(self.rows(), 600)

    def test_without_a_key_a_repeat_says_there_already(self):
        data = b"".join(line(i) for i in range(300))
        first = self.post(data)
        again = self.post(data)
        self.assertEqual([r["id"] for r in again], [r["id"] for r in first])
        self.assertEqual({r["status"] for r in again}, {200})


class Rows(Case):
    """text/csv by a field profile: a group of rows is what a line is."""

    HEAD = b"number,at,eye,sph,cyl,axis\n"
    PROFILE = {
        "title": "rows", "form": "delimited", "zone": "+01:00",
        "eye": {"from": "eye", "right": ["R"], "left": ["L"]},
        "group": ["number"],
        "readings": [{"kind": kind, "fields": [
            {"to": "/taken_at", "from": "at",
             "format": "DD.MM.YYYY hh:mm:ss"},
            {"to": "/patient/record_number", "from": "number"},
            {"to": "/{eye}/sphere", "from": "sph"},
            {"to": "/{eye}/cylinder", "from": "cyl"},
            {"to": "/{eye}/axis", "from": "axis"}]}
            for kind in ("autorefraction", "lensometry")]}

    def setUp(self):
        super().setUp()
        answer = self.net.api("admin", "POST", "/v1/profiles", {
            "name": "rows", "profile": self.PROFILE})
        self.assertEqual(answer.status, 201, answer.body)

    @staticmethod
    def group(i, right=b"-2.25,-0.75,172"):
        at = b"02.03.2026 %02d:%02d:%02d" % (
            8 + i // 3600, i // 60 % 60, i % 60)
        return b"Q-%d,%s,R,%s\nQ-%d,%s,L,+1.00,0,\n" % (
            i, at, right, i, at)

    def csv(self, data, query="?profile=rows", path="/v1/readings",
            status=200, **headers):
        answer = self.net.api("device", "POST", path + query, data, {
            "Content-Type": "text/csv", **headers})
        self.assertEqual(answer.status, status, answer.body)
        return answer.body if status != 200 else \
            [json.loads(row) for row in answer.body.splitlines()]

    def test_each_group_of_rows_stands_or_falls_alone(self):
        n = 400
        groups = [self.group(i) if i % 7 else
                  self.group(i, right=b"2.25,-0.75,172") for i in range(n)]
        rows = self.csv(self.HEAD + b"".join(groups))
        self.assertEqual([(r["line"], r["last_line"]) for r in rows],
                         [(2 + 2 * i, 3 + 2 * i) for i in range(n)])
        self.assertEqual([r["status"] for r in rows],
                         [201 if i % 7 else 422 for i in range(n)])
        # One of each of its readings.
        self.assertEqual([e["pointer"] for e in rows[7]["errors"]],
                         ["/right/sphere"] * 2)
        for error in rows[7]["errors"]:
            self.assertIn('line 16, column "sph"', error["detail"])
        good = [r for r in rows if r["status"] == 201]
        self.assertTrue(all(r["id"] == r["ids"][0] and len(r["ids"]) == 2
                            for r in good))
        ids = {i for r in good for i in r["ids"]}
        self.assertEqual(len(ids), 2 * len(good))
        self.assertEqual({row[0] for row in svc.psql(
            "SELECT reading_id FROM reading"
            f" WHERE network_id = '{self.net.id}'")}, ids)
        # The original of both: the header, and their rows.
        got = [self.net.api("desk", "GET", f"/v1/readings/{i}/original")
               for i in rows[1]["ids"]]
        self.assertEqual([g.body for g in got],
                         [self.HEAD + self.group(1)] * 2)
        self.assertEqual(got[0].headers["Content-Type"], "text/csv")
        # All of it again.
        self.assertEqual(
            [r.get("ids") for r in self.csv(self.HEAD + b"".join(groups))],
            [r.get("ids") for r in rows])

    def test_a_key_makes_a_repeat_answer_as_the_first(self):
        data = self.HEAD + b"".join(self.group(i) for i in range(50))
        key = {"Idempotency-Key": "rows"}
        first = self.csv(data, **key)
        self.assertEqual({r["status"] for r in first}, {201})
        self.assertEqual(self.csv(data, **key), first)
        self.csv(self.HEAD + self.group(9), status=422, **key)

    def test_a_preview_shows_all_readings_of_a_group(self):
        rows = self.csv(self.HEAD + self.group(1) + self.group(2, b"x,0,"),
                        path="/v1/readings/preview")
        self.assertEqual([r["status"] for r in rows], [200, 422])
        self.assertEqual([r["kind"] for r in rows[0]["readings"]],
                         ["autorefraction", "lensometry"])
        self.assertEqual(self.rows(), 0)

    def test_what_has_no_fitting_header_is_told_once(self):
        for data, pointer in ((b"a,b\n" + self.group(1) * 300, None),
                              (b"", None), (b"\n\n", None)):
            with self.subTest(data[:20]):
                rows = self.csv(data)
                self.assertEqual([r["status"] for r in rows], [422])
        self.assertEqual(
            self.csv(self.HEAD, status=400)["errors"][0]["pointer"], "")
        self.assertEqual(self.rows(), 0)

    def test_which_profile_must_be_said(self):
        data = self.HEAD + self.group(1)
        for query, status in (("", 422), ("?profile=none", 422),
                              ("?profile=rows@2", 422), ("?profile=rows@1", 200),
                              ("?profile=rows&a=b", 422)):
            with self.subTest(query):
                self.csv(data, query, status=status)
        self.net.api("device", "POST", "/v1/readings?profile=rows", b"{}\n",
                     NDJSON)
        answer = self.net.api("device", "POST", "/v1/readings?profile=rows",
                              line(1), NDJSON)
        self.assertEqual(answer.status, 415, answer.body)


class Refused(Case):
    def test_who_may_not_is_told_behind_the_body_and_nothing_is_stored(self):
        data = b"".join(line(i) for i in range(3000))
        for token, path, more, status in (
                ("x" * 43, "/v1/readings", "", 401),
                (self.net.tokens["lab"], "/v1/readings", "", 403),
                (self.net.tokens["device"], "/v1/readings?a=b", "", 422),
                (self.net.tokens["device"], "/v1/readings",
                 "Content-Encoding: gzip\r\n", 415),
                (self.net.tokens["device"], "/v1/readings",
                 "Accept: text/html\r\n", 406)):
            with self.subTest(status=status):
                upload = Upload(svc, token, path, more)
                for at in range(0, len(data), 60000):
                    upload.send(data[at:at + 60000])
                upload.socket.sendall(b"0\r\n\r\n")
                got = b""
                while b"}" not in got:
                    got += upload.socket.recv(65536)
                self.assertTrue(got.startswith(b"HTTP/1.1 %d " % status), got)
                # The connection is good for more.
                upload.socket.sendall(
                    b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
                self.assertTrue(upload.socket.recv(65536).startswith(
                    b"HTTP/1.1 200"))
                upload.close()
        self.assertEqual(self.rows(), 0)

    def test_a_token_revoked_midway_is_dead_from_there_on(self):
        upload = self.upload()
        upload.send_lines(range(200))
        wait_until("they are stored", lambda: self.rows() == 200)
        svc.psql("UPDATE token SET revoked_at = now() WHERE network_id ="
                 f" '{self.net.id}' AND role = 'device'")
        upload.send_lines(range(200, 300))
        self.assertEqual([r["status"] for r in upload.answer()[2]],
                         [201] * 200 + [401] * 100)
        self.assertEqual(self.rows(), 200)


class Together(Case):
    def test_many_bodies_at_once_and_those_who_send_one(self):
        # More lines than the writer takes, of more bodies than share one.
        bodies, n, singles = 24, 150, 60
        done = [None] * bodies
        worst = [0.0]

        def many(i):
            done[i] = self.post(b"".join(
                line(i * n + k) for k in range(n)))
            svc.client.close()

        def one():
            for i in range(singles):
                began = time.monotonic()
                answer = self.net.api("desk", "POST", "/v1/readings",
                                      reading(900_000 + i))
                worst[0] = max(worst[0], time.monotonic() - began)
                self.assertEqual(answer.status, 201, answer.body)
            svc.client.close()

        threads = [threading.Thread(target=many, args=(i,))
                   for i in range(bodies)] + [threading.Thread(target=one)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        for rows in done:
            self.assertEqual([(r["line"], r["status"]) for r in rows],
                             [(k + 1, 201) for k in range(n)])
        self.assertEqual(self.rows(), bodies * n + singles)
        # Behind a share of each and never behind all of them; a wide bound,
        # as the machine is shared.
        self.assertLess(worst[0], 2.0)


class Gone(Case):
    def test_lines_before_a_lost_connection_stay_and_none_is_half(self):
        upload = self.upload()
        upload.send_lines(range(500))
        # Whole, but for its end: nobody knows that it is.
        upload.send(line(500)[:-1])
        wait_until("some is stored", lambda: self.rows() > 0)
        upload.close()
        self.nothing_at_work()
        stored = self.rows()
        self.assertLessEqual(stored, 500)
        self.assertEqual(
            [self.rows(t) for t in ("reading_original", "entry")],
            [stored] * 2)
        # The first ones, without a gap.
        self.assertEqual(
            [r["status"] for r in self.post(
                b"".join(line(i) for i in range(501)))],
            [200] * stored + [201] * (501 - stored))

    def test_one_that_stalls_has_its_lines_stored_and_holds_nobody_up(self):
        upload = self.upload()
        upload.send_lines(range(130))
        upload.send(line(130)[:40])
        wait_until("they are stored", lambda: self.rows() == 130)
        self.assertEqual(self.post(line(900))[0]["status"], 201)
        upload.send(line(130)[40:])
        self.assertEqual([r["status"] for r in upload.answer()[2]],
                         [201] * 131)

    def test_resets_at_any_point_leave_nothing_behind(self):
        for i in range(40):
            upload = self.upload()
            upload.send_lines(range(i * 1000, i * 1000 + 7 * i))
            if i % 2:
                upload.socket.sendall(b"0\r\n\r\n")
            # Reset instead of an orderly end.
            upload.socket.setsockopt(
                socket.SOL_SOCKET, socket.SO_LINGER,
                b"\x01\x00\x00\x00\x00\x00\x00\x00")
            upload.close()
        self.nothing_at_work()
        self.assertEqual(self.post(line(999_999))[0]["status"], 201)


class Database(unittest.TestCase):
    """On services of their own, as others would be cut off too."""

    def setUp(self):
        self.svc = Service()
        self.addCleanup(self.svc.close)
        self.net = self.svc.network()

    def test_what_comes_while_it_is_away_is_503_line_by_line(self):
        upload = Upload(self.svc, self.net.tokens["device"])
        upload.send_lines(range(300))
        wait_until("they are stored", lambda: self.svc.psql(
            "SELECT count(*) FROM reading") == [["300"]])
        supervisor = self.svc.pid("supervisor")
        os.kill(supervisor, signal.SIGSTOP)  # who would restart it
        try:
            database = self.svc.kill("postgres", signal.SIGINT)
            wait_until("PostgreSQL has ended", lambda: not alive(database))
            began = time.monotonic()
            upload.send_lines(range(300, 600))
            upload.send(line(700, right={"sphere": 99}))
            upload.send_lines(range(600, 3000))
            status, _, rows = upload.answer()
            rows = list(rows)
            took = time.monotonic() - began
        finally:
            os.kill(supervisor, signal.SIGCONT)
        upload.close()
        self.assertEqual(status, 200)
        self.assertEqual([r["line"] for r in rows], list(range(1, 3002)))
        self.assertEqual([r["status"] for r in rows],
                         [201] * 300 + [503] * 300 + [422] + [503] * 2400)
        # Waited for once and not for each.
        self.assertLess(took, 30)
        self.svc.wait_ready(30)
        self.assertEqual(self.svc.psql("SELECT count(*) FROM reading"),
                         [["300"]])


class Memory(unittest.TestCase):
    """Resident size, of a build without sanitizers."""

    def setUp(self):
        folder = tempfile.TemporaryDirectory(prefix="lenstest-tmp-")
        self.addCleanup(folder.cleanup)
        os.chmod(folder.name, 0o1777)
        self.folder = pathlib.Path(folder.name)
        self.svc = Service(build=plain_build(),
                           settings={"log_level": "warning"},
                           environment={"TMPDIR": folder.name})
        self.addCleanup(self.svc.close)
        self.net = self.svc.network()
        self.most = 0.0

    def resident_mb(self):
        pid = self.svc.pid("lensclerkd")
        text = pathlib.Path(f"/proc/{pid}/status").read_text("ascii")
        return int(text.partition("VmRSS:")[2].split()[0]) / 1024

    @contextlib.contextmanager
    def watched(self):
        done = threading.Event()

        def watch():
            while not done.wait(0.02):
                self.most = max(self.most, self.resident_mb())

        thread = threading.Thread(target=watch)
        thread.start()
        try:
            yield
        finally:
            done.set()
            thread.join()

    def warm(self):
        for i in range(5):
            answer = self.net.api(
                "device", "POST", "/v1/readings",
                b"".join(line(10_000_000 + 200 * i + k) for k in range(200)),
                NDJSON)
            self.assertEqual(answer.status, 200)

    def test_many_lines_take_no_more_than_few(self):
        # The answer is read slowly at first, after all was sent.
        self.warm()
        before = self.resident_mb()
        counts = collections.Counter()
        began = time.monotonic()
        with self.watched():
            upload = Upload(self.svc, self.net.tokens["device"])
            upload.send_lines(range(MANY))
            status, _, rows = upload.answer()
            took = time.monotonic() - began
            for number, row in enumerate(rows, 1):
                if number < 500:
                    time.sleep(0.002)
                if row["line"] != number:
                    self.fail(f"{row} where line {number} was expected")
                counts[row["status"]] += 1
            upload.close()
        self.assertEqual((status, counts), (200, {201: MANY}))
        print(f"{MANY} lines, {MANY / took:.0f} a second, "
              f"{before:.1f} MB before, {self.most:.1f} MB at most")
        # What is held is 128 lines with their rows, and no more with more.
        self.assertLess(self.most, before + 8)

    def test_a_slow_reader_of_a_long_answer_costs_a_block(self):
        self.warm()
        before = self.resident_mb()
        with self.watched():
            uploads = []
            for i in range(8):
                upload = Upload(self.svc, self.net.tokens["device"],
                                "/v1/readings/preview")
                upload.send_lines(range(4000))
                upload.socket.sendall(b"0\r\n\r\n")
                uploads.append(upload)
            # Each answer is over two megabytes, and nobody reads any.
            for upload in uploads:
                select.select([upload.socket], [], [], 30)
            time.sleep(0.5)
        for upload in uploads:
            upload.close()
        self.assertLess(self.most, before + 6)
        self.assertEqual(list(self.folder.iterdir()), [])


class NoRoom(unittest.TestCase):
    def test_without_room_for_the_answer_all_is_503_and_harmless(self):
        net = svc.network()
        with tempfile.TemporaryFile() as log:
            process, client = svc.another(
                log, environment={"TMPDIR": "/nonexistent"})
            self.addCleanup(client.close)

            def post(n):
                return client.api(
                    "POST", "/v1/readings",
                    b"".join(line(i) for i in range(n)),
                    token=net.tokens["device"], headers=NDJSON)
            answer = post(1500)
            self.assertEqual(answer.status, 503, answer.body)
            self.assertIn("send it again", answer.body["detail"])
            # A short answer needs none.
            self.assertEqual(
                [json.loads(row)["status"]
                 for row in post(100).body.splitlines()], [200] * 100)
            process.terminate()
            self.assertEqual(process.wait(40), 0)


class Stopping(unittest.TestCase):
    @staticmethod
    def begun(net):
        """It is at work, and not only on its way."""
        wait_until("some is stored", lambda: svc.psql(
            f"SELECT 1 FROM reading WHERE network_id = '{net.id}' LIMIT 1"))

    def test_one_at_work_is_finished_before_the_end(self):
        with tempfile.TemporaryFile() as log:
            net = svc.network()
            process, client = svc.another(log)
            upload = Upload(client, net.tokens["device"])
            upload.send_lines(range(400))
            self.begun(net)
            process.terminate()
            time.sleep(0.5)
            upload.send_lines(range(400, 600))
            status, headers, rows = upload.answer()
            self.assertEqual((status, headers["Connection"]), (200, "close"))
            self.assertEqual([r["status"] for r in rows], [201] * 600)
            self.assertEqual(process.wait(40), 0)
            client.close()
            log.seek(0)
            self.assertNotIn(b"Sanitizer", log.read())

    def test_one_that_stays_open_is_cut_and_nothing_leaks(self):
        with tempfile.TemporaryFile() as log:
            net = svc.network()
            process, client = svc.another(log)
            upload = Upload(client, net.tokens["device"])
            upload.send_lines(range(400))
            self.begun(net)
            process.terminate()
            self.assertEqual(process.wait(60), 0)
            client.close()
            upload.close()
            log.seek(0)
            self.assertNotIn(b"Sanitizer", log.read())


if __name__ == "__main__":
    unittest.main()
