"""A body of lines, cut by killing who takes it: what is sent again until it is
answered is in the record once, and what was answered stays.

LENSTEST_KILLS sets how many times; each uploads LINES lines."""

import http.client
import json
import os
import random
import socket
import threading
import time
import unittest

from lenstest import Service

KILLS = int(os.environ.get("LENSTEST_KILLS", "4"))
LINES = 1500
NDJSON = {"Content-Type": "application/x-ndjson"}


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def line(number):
    """A reading that no other is: its instant counts milliseconds."""
    seconds, part = divmod(number, 1000)
    return json.dumps({
        "kind": "autorefraction",
        "taken_at": f"2026-03-{1 + seconds // 86400:02d}T"
                    f"{seconds // 3600 % 24:02d}:{seconds // 60 % 60:02d}"
                    f":{seconds % 60:02d}.{part:03d}Z",
        "right": {"sphere": -2.25, "cylinder": -0.75, "axis": 172},
        "left": {"sphere": -2.50, "cylinder": -0.25, "axis": 8}}).encode()


class Killed(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()
        self.cut = 0  # uploads whose answer was lost

    def post(self, numbers, headers):
        """The rows of the answer, in order; sent again until there is one."""
        data = b"\n".join(line(number) for number in numbers)
        until = time.monotonic() + 120
        while time.monotonic() < until:
            try:
                answer = self.net.api("device", "POST", "/v1/readings", data,
                                      headers)
            except (OSError, http.client.HTTPException):
                self.cut += 1
                time.sleep(0.02)
                continue
            rows = [json.loads(row) for row in answer.body.splitlines()] \
                if answer.status == 200 else []
            if rows and all(row["status"] in (200, 201) for row in rows):
                return rows
            odd = {row["status"] for row in rows} or {answer.status}
            self.assertLessEqual(odd, {200, 201, 503})
            time.sleep(0.05)
        raise TimeoutError("no answer within two minutes")

    def check(self, victim, key):
        stored = {}
        for i in range(KILLS):
            numbers = range(i * LINES, (i + 1) * LINES)
            headers = {**NDJSON, "Idempotency-Key": f"k-{i}"} if key else NDJSON
            timer = threading.Timer(random.uniform(0.02, 0.4),
                                    svc.kill, (victim,))
            timer.start()
            rows = self.post(numbers, headers)
            timer.join()
            svc.wait_ready(60)
            self.assertEqual([row["line"] for row in rows],
                             list(range(1, LINES + 1)))
            if key:
                self.assertEqual({row["status"] for row in rows}, {201})
            stored.update(zip(numbers, (row["id"] for row in rows)))
        self.assertGreater(self.cut, 0, "nothing was cut")
        self.assertEqual(len(set(stored.values())), KILLS * LINES)
        found = svc.psql("SELECT reading_id FROM reading"
                         f" WHERE network_id = '{self.net.id}'")
        self.assertEqual({row[0] for row in found}, set(stored.values()))
        # Each once, and with all that belongs to it.
        n = KILLS * LINES
        self.assertEqual([int(svc.psql(
            f"SELECT count(*) FROM {table}"
            f" WHERE network_id = '{self.net.id}'")[0][0])
            for table in ("reading", "reading_eye", "entry",
                          "reading_original", "audit")],
            [n, 2 * n, n, n, n])

    def test_the_daemon(self):
        self.check("lensclerkd", False)

    def test_the_daemon_with_keys(self):
        self.check("lensclerkd", True)

    def test_the_database(self):
        self.cut = 1  # its loss needs not cost the connection
        self.check("postgres", False)

    def test_what_was_answered_before_the_kill_stays(self):
        data = b"\n".join(line(900_000 + i) for i in range(LINES))
        with socket.create_connection(("127.0.0.1", svc.port), 60) as s:
            s.sendall(
                b"POST /v1/readings HTTP/1.1\r\nHost: localhost\r\n"
                b"Content-Type: application/x-ndjson\r\n"
                b"Authorization: Bearer %s\r\nContent-Length: %d\r\n\r\n"
                % (self.net.tokens["device"].encode(), len(data)) + data)
            answer = s.makefile("rb", buffering=2048)
            self.assertIn(b" 200 ", answer.readline())
            while answer.readline().strip():
                pass
            rows = [json.loads(answer.readline()) for _ in range(100)]
            svc.kill("lensclerkd")
        svc.wait_ready(60)
        self.assertEqual({row["status"] for row in rows}, {201})
        stored = {row[0] for row in svc.psql(
            "SELECT reading_id FROM reading"
            f" WHERE network_id = '{self.net.id}'")}
        self.assertLessEqual({row["id"] for row in rows}, stored)


if __name__ == "__main__":
    unittest.main()
