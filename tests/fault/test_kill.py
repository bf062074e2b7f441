"""What was answered 2xx is there, once, whatever was killed meanwhile."""

import http.client
import random
import threading
import time
import unittest

from lenstest import Service

KILLS = 20
WRITERS = 6


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def reading(number):
    """A reading that no other is: its instant counts microseconds."""
    seconds, part = divmod(number, 1_000_000)
    return {
        "kind": "autorefraction",
        "taken_at": f"2026-03-02T09:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
                    f".{part:06d}+01:00",
        "device": {"serial": f"AR-{seconds // 3600}"},
        "right": {"sphere": -2.25, "cylinder": -0.75, "axis": 172},
        "left": {"sphere": -2.50, "cylinder": -0.25, "axis": 8}}


class Load:
    """Writers that send one reading after another; one whose answer was lost
    is sent again until there is an answer."""

    def __init__(self, net, first):
        self.net = net
        self.numbers = iter(range(first, first + 10_000_000, 7))
        self.lock = threading.Lock()
        self.stop = threading.Event()
        self.stored = {}  # number -> id
        self.unexpected = []
        self.repeats = 0
        self.threads = [threading.Thread(target=self.write)
                        for _ in range(WRITERS)]

    def write(self):
        while not self.stop.is_set():
            with self.lock:
                number = next(self.numbers)
            self.store(number)
        svc.client.close()

    def store(self, number):
        body = reading(number)
        until = time.monotonic() + 60
        while time.monotonic() < until:
            try:
                answer = self.net.api("device", "POST", "/v1/readings", body)
            except (OSError, http.client.HTTPException):
                self.repeats += 1
                time.sleep(0.02)
                continue
            if answer.status in (200, 201):
                self.stored[number] = answer.body["id"]
                return
            if answer.status != 503:
                self.unexpected.append((answer.status, answer.body))
                return
            self.repeats += 1
            time.sleep(0.05)
        self.unexpected.append((0, "no answer within a minute"))

    def run(self, kill, pause):
        for thread in self.threads:
            thread.start()
        for _ in range(KILLS):
            time.sleep(random.uniform(*pause))
            kill()
            svc.wait_ready(60)
        time.sleep(0.3)
        self.stop.set()
        for thread in self.threads:
            thread.join()


class Killed(unittest.TestCase):
    def check(self, net, load):
        self.assertEqual(load.unexpected, [])
        self.assertGreater(len(load.stored), KILLS)
        rows = svc.psql(
            "SELECT reading_id, (SELECT count(*) FROM reading_eye AS e"
            "  WHERE e.reading_id = r.reading_id),"
            " (SELECT count(*) FROM entry AS n"
            "  WHERE n.entry_id = r.reading_id),"
            " (SELECT count(*) FROM audit AS a"
            "  WHERE a.subject_id = r.reading_id),"
            " (SELECT count(*) FROM reading_original AS o"
            "  WHERE o.original_id = r.original_id)"
            f" FROM reading AS r WHERE network_id = '{net.id}'")
        stored = {row[0]: row[1:] for row in rows}
        missing = set(load.stored.values()) - set(stored)
        self.assertEqual(missing, set(), "answered 2xx and gone")
        self.assertEqual(len(stored), len(rows))
        # One row a reading that was sent, each with all that belongs to it.
        self.assertEqual(len(set(load.stored.values())), len(load.stored))
        self.assertEqual(len(stored), len(load.stored))
        self.assertEqual({tuple(row) for row in stored.values()},
                         {("2", "1", "1", "1")})

    def test_daemon_killed_under_load_loses_nothing(self):
        net = svc.network()
        load = Load(net, 1_000_000)
        load.run(lambda: svc.kill("lensclerkd"), (0.1, 0.5))
        self.check(net, load)

    def test_database_killed_under_load_loses_nothing(self):
        net = svc.network()
        load = Load(net, 500_000_000)
        load.run(lambda: svc.kill("postgres"), (0.2, 0.7))
        self.check(net, load)
        self.assertGreater(load.repeats + len(load.stored), KILLS)


if __name__ == "__main__":
    unittest.main()
