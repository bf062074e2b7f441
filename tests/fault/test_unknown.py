"""Connections cut between a statement and its result, many times.

Whatever was under way is either answered 2xx and there once, or not answered
2xx and not there; nothing else is told to a client for it.
"""

import hashlib
import itertools
import subprocess
import threading
import unittest
import uuid
import warnings

from lenstest import Client, Service, uuid7

CUTS = 150
WRITERS = 6


def setUpModule():
    global svc
    warnings.simplefilter("ignore", ResourceWarning)
    svc = Service()


def tearDownModule():
    svc.close()


# Those that are executing, or, now and then, all of the daemon's.
CUT = """SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity
WHERE usename = 'lensclerkd' AND (state = 'active' OR {all});
SELECT pg_sleep({pause});
"""


def cut(times):
    """In one session, so that the cuts come in the midst of things."""
    sql = "".join(CUT.format(all="true" if i % 5 == 0 else "false",
                             pause=0.01 + i % 7 / 100)
                  for i in range(times))
    done = subprocess.run(
        svc.psql_command("lensclerk_super"), input=sql, text=True, cwd="/",
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=300,
        check=True)
    return sum(int(row) for row in done.stdout.split() if row.isdigit())


class Load:
    """Threads that call one(number) until told to stop."""

    def __init__(self, one):
        self.one, self.numbers = one, itertools.count(1)
        self.stop, self.lock = threading.Event(), threading.Lock()
        self.answers, self.broken = {}, []
        self.threads = [threading.Thread(target=self.run)
                        for _ in range(WRITERS)]

    def run(self):
        client = Client("127.0.0.1", svc.port, timeout=60)
        while not self.stop.is_set():
            with self.lock:
                number = next(self.numbers)
            try:
                self.answers[number] = self.one(client, number)
            except Exception as fault:  # the daemon itself must not suffer
                self.broken.append(repr(fault))
        client.close()

    def under_cuts(self):
        for thread in self.threads:
            thread.start()
        killed = 0
        while killed < CUTS:
            killed += cut(50)
        self.stop.set()
        for thread in self.threads:
            thread.join()
        return self.answers


class Unknown(unittest.TestCase):
    def setUp(self):
        svc.wait_ready()
        self.net = svc.network()

    def run_load(self, one, least=100):
        load = Load(one)
        answers = load.under_cuts()
        self.assertEqual(load.broken, [])
        self.assertGreater(len(answers), least)
        odd = {n: (a.status, a.body) for n, a in answers.items()
               if a.status not in (200, 201)}
        # Some seconds are tried; the database was never away that long.
        self.assertEqual(odd, {})
        return answers

    def ask(self, client, role, method, path, body=None, headers=None):
        return client.api(method, path, body, token=self.net.tokens[role],
                          headers=headers)

    def rows(self, sql):
        return svc.psql(sql.format(net=self.net.id))

    def test_patients_are_there_once(self):
        def add(client, n):
            headers = {"Idempotency-Key": str(uuid.uuid4())} if n % 2 else {}
            return self.ask(client, "desk", "POST", "/v1/patients",
                            {"family": "Ode", "record_number": f"Q-{n}"},
                            headers)

        answers = self.run_load(add)
        kept = dict(self.rows("SELECT record_number, patient_id FROM patient"
                              " WHERE network_id = '{net}'"))
        self.assertEqual(kept, {f"Q-{n}": a.body["id"]
                                for n, a in answers.items()})
        # Each with its audit row, and each key with its answer.
        self.assertEqual(
            self.rows("SELECT count(*), count(DISTINCT subject_id) FROM audit"
                      " WHERE network_id = '{net}' AND action ="
                      " 'patient-added'"), [[str(len(answers))] * 2])
        self.assertEqual(
            self.rows("SELECT count(*) FROM idempotency"
                      " WHERE network_id = '{net}'"),
            [[str(sum(n % 2 for n in answers))]])

    def test_claims_are_made_once(self):
        who = self.net.api("desk", "POST", "/v1/patients",
                           {"family": "Ode"}).body["id"]
        made = {}
        for start in range(0, 8000, 500):
            answer = self.net.api("device", "POST", "/v1/readings", [
                {"kind": "autorefraction", "right": {"sphere": -1},
                 "taken_at": f"2026-03-{n // 1440 + 1:02d}T"
                 f"{n // 60 % 24:02d}:{n % 60:02d}:00Z"}
                for n in range(start, start + 500)])
            made.update({start + i: r["id"]
                         for i, r in enumerate(answer.body)})

        def claim(client, n):
            return self.ask(client, "desk", "POST",
                            f"/v1/readings/{made[n]}/claim",
                            {"patient": who}, {"If-Match": '"1"'})

        answers = self.run_load(claim)
        claimed = {made[n] for n in answers}
        rows = self.rows(
            "SELECT e.entry_id, e.version, (SELECT count(*) FROM"
            " reading_claim AS c WHERE c.reading_id = e.entry_id) FROM entry"
            " AS e WHERE network_id = '{net}' AND patient_id IS NOT NULL")
        self.assertEqual({row[0] for row in rows}, claimed)
        self.assertEqual({tuple(row[1:]) for row in rows}, {("2", "1")})

    def test_readings_with_a_key_are_there_once(self):
        def send(client, n):
            return self.ask(client, "device", "POST", "/v1/readings", [
                {"kind": "autorefraction", "right": {"sphere": -1},
                 "device": {"serial": f"AR-{n}-{k}"},
                 "taken_at": "2026-03-02T09:14:05Z"} for k in range(2)],
                {"Idempotency-Key": f"key-{n}"})

        answers = self.run_load(send)
        self.assertEqual({a.status for a in answers.values()}, {201})
        kept = {row[0] for row in self.rows(
            "SELECT reading_id FROM reading WHERE network_id = '{net}'")}
        self.assertEqual(kept, {r["id"] for a in answers.values()
                                for r in a.body})
        self.assertEqual(len(kept), 2 * len(answers))

    def test_a_view_sent_again_is_the_same_view(self):
        # What the daemon does when the answer to a commit was lost, which
        # the cuts below hit too seldom: the same row once more.
        token = hashlib.sha256(self.net.tokens["desk"].encode()).hexdigest()
        again = ("SELECT ord FROM append_audit(ARRAY['\\x{token}'::bytea],"
                 " ARRAY['{audit}'::uuid], ARRAY[now()], ARRAY['viewed'],"
                 " ARRAY['patient'], ARRAY['{who}'::uuid],"
                 " ARRAY['{who}'::uuid], ARRAY['r'], ARRAY[NULL::text]);")
        sql = again.format(token=token, audit=uuid7(), who=uuid7())
        for _ in range(2):
            self.assertEqual(svc.psql(sql, role="lensclerkd"), [["1"]])
        self.assertEqual(
            self.rows("SELECT count(*) FROM audit WHERE network_id = '{net}'"
                      " AND action = 'viewed'"), [["1"]])

    def test_views_are_answered_and_in_the_log_once(self):
        made = [self.net.api("desk", "POST", "/v1/patients",
                             {"family": f"F{n}"}).body["id"]
                for n in range(400)]
        roles = ("desk", "prescriber", "admin", "auditor")

        def look(client, n):
            return self.ask(client, roles[n % 4], "GET",
                            f"/v1/patients/{made[n // 4 % 400]}/timeline")

        answers = self.run_load(look)
        seen = {(self.net.users[roles[n % 4]], made[n // 4 % 400])
                for n in answers}
        rows = self.rows("SELECT user_id, patient_id FROM audit WHERE"
                         " network_id = '{net}' AND action = 'viewed'")
        # Two at once of one user may both be the first.
        self.assertEqual({tuple(row) for row in rows}, seen)
        self.assertLess(len(rows), len(seen) + 20)


if __name__ == "__main__":
    unittest.main()
