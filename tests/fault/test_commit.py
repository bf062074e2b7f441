"""An INSERT that went well is no commit (P-31): what fails at the commit, or
is committed with a warning, is not answered as if nothing were."""

import concurrent.futures
import threading
import unittest
import uuid

from lenstest import Service

# Fires when the transaction commits, for rows whose text says so.
TRIGGER = """
CREATE FUNCTION at_commit() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE word text := to_jsonb(NEW) ->> TG_ARGV[0];
BEGIN
    IF word LIKE 'fail%' THEN
        RAISE EXCEPTION 'Zwetschke: %', word;
    ELSIF word LIKE 'warn%' THEN
        RAISE WARNING 'committed, and not everywhere yet';
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER at_commit AFTER INSERT ON patient
DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION at_commit(family);
CREATE CONSTRAINT TRIGGER at_commit AFTER INSERT ON reading
DEFERRABLE INITIALLY DEFERRED FOR EACH ROW
EXECUTE FUNCTION at_commit(device_serial);
GRANT EXECUTE ON FUNCTION at_commit TO PUBLIC;
"""


def setUpModule():
    global svc
    svc = Service()
    svc.psql(TRIGGER)


def tearDownModule():
    svc.close()


class Commit(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def patient(self, family, **headers):
        return self.net.api("desk", "POST", "/v1/patients",
                            {"family": family}, headers)

    def reading(self, serial):
        return self.net.api("device", "POST", "/v1/readings", {
            "kind": "autorefraction", "taken_at": "2026-03-02T09:14:05Z",
            "device": {"serial": serial}, "right": {"sphere": -1}})

    def count(self, table):
        return int(svc.psql(f"SELECT count(*) FROM {table}"
                            f" WHERE network_id = '{self.net.id}'")[0][0])

    def test_a_write_that_fails_at_its_commit_is_no_success(self):
        for headers in ({}, {"Idempotency-Key": str(uuid.uuid4())}):
            answer = self.patient("fail", **headers)
            self.assertEqual(answer.status, 500, answer.body)
            # PostgreSQL's words and the row are for nobody outside.
            self.assertNotIn("Zwetschke", str(answer.body))
        for table in ("patient", "audit", "idempotency"):
            self.assertEqual(self.count(table), 0, table)
        self.assertEqual(self.patient("fine").status, 201)

    def test_a_write_whose_commit_warned_is_looked_for_and_found(self):
        key = {"Idempotency-Key": str(uuid.uuid4())}
        answer = self.patient("warn", **key)
        self.assertEqual(answer.status, 201, answer.body)
        again = self.patient("warn", **key)
        self.assertEqual((again.status, again.body), (201, answer.body))
        self.assertEqual(self.count("patient"), 1)
        self.assertEqual(self.count("audit"), 1)

    def test_of_readings_in_one_commit_only_the_bad_ones_fail(self):
        words = ["fail", "warn", "fine", "good"]
        barrier = threading.Barrier(48)

        def one(i):
            barrier.wait()
            word = words[i % 4]
            answer = self.reading(f"{word}-{i}")
            svc.client.close()
            return word, answer

        with concurrent.futures.ThreadPoolExecutor(48) as pool:
            answers = list(pool.map(one, range(48)))
        for word, answer in answers:
            self.assertEqual(answer.status, 500 if word == "fail" else 201,
                             (word, answer.body))
        self.assertEqual(self.count("reading"), 36)
        self.assertEqual(self.count("entry"), 36)
        kept = {row[0] for row in svc.psql(
            "SELECT reading_id FROM reading WHERE network_id ="
            f" '{self.net.id}'")}
        self.assertEqual(kept, {a.body["id"] for w, a in answers
                                if w != "fail"})

    def test_an_array_fails_at_its_commit_as_a_whole(self):
        body = [{"kind": "autorefraction", "right": {"sphere": -1},
                 "device": {"serial": serial},
                 "taken_at": "2026-03-02T09:14:05Z"}
                for serial in ("a", "fail", "b")]
        answer = self.net.api("device", "POST", "/v1/readings", body)
        self.assertEqual(answer.status, 500, answer.body)
        for table in ("reading", "reading_original", "entry", "audit"):
            self.assertEqual(self.count(table), 0, table)


if __name__ == "__main__":
    unittest.main()
