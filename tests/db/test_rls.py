"""What the database itself guarantees, whatever the daemon forgets: networks
apart, evidence that stays, figures in range.  Traps measured on PostgreSQL 15
are named where they are tried."""

import re
import unittest

from lenstest import Service, SqlError, uuid7

# Rows are evidence: never changed, never deleted.
APPEND_ONLY = {
    "audit", "field_profile", "patient_merge", "reading_original", "reading", "reading_eye",
    "reading_claim", "reading_side",
    "habitual_choice", "exam_step", "prescription", "order_edition",
    "order_event", "order_question", "order_answer", "order_remake",
    "bench_check", "signing_key", "rx_release"}


def setUpModule():
    global svc, one, two
    svc = Service()
    one, two = svc.network(), svc.network()
    for net in (one, two):
        fill(net)


def tearDownModule():
    svc.close()


def fill(net):
    """A row in every table that a network's day fills."""
    net.ids = {name: uuid7() for name in (
        "patient", "merge", "visit", "original", "reading", "claim", "side",
        "choice", "exam",
        "step", "prescription", "order", "event", "audit", "outbox", "question",
        "check", "key", "release", "webhook")}
    i, n = net.ids, f"'{net.id}'"
    user = net.users["prescriber"]
    svc.psql(f"""
BEGIN;
SET LOCAL app.network_id = {n};
SET LOCAL app.audit_id = '{i["audit"]}';
SET LOCAL app.action = 'tried';
SET LOCAL app.request_id = 'r';
SET LOCAL app.at = '2026-03-02T09:00:00Z';
INSERT INTO patient (patient_id, family, family_fold)
VALUES ('{i["patient"]}', 'Ode', 'ode');
INSERT INTO patient_word (word, patient_id) VALUES ('ode', '{i["patient"]}');
INSERT INTO patient_merge (merge_id, patient_id)
VALUES ('{i["merge"]}', '{i["patient"]}');
INSERT INTO visit (visit_id, patient_id, clinic_id, at)
VALUES ('{i["visit"]}', '{i["patient"]}', '{net.clinic}', now());
INSERT INTO field_profile (name, version, profile_id, title, form, document)
    VALUES ('rows', 1, '{uuid7()}', 'Rows', 'delimited', '{{}}');
INSERT INTO reading_original (original_id, media_type, bytes)
VALUES ('{i["original"]}', 'text/plain', 'x');
INSERT INTO reading (reading_id, kind, condition_key, taken_at,
    taken_offset_min, received_at, token_id, matched, format, content_hash,
    original_id, original_part, body)
SELECT '{i["reading"]}', 'autorefraction', '', now(), 0, now(), token_id,
    'none', 'native', sha256('x'), '{i["original"]}', 0, ''
FROM token WHERE network_id = {n} LIMIT 1;
INSERT INTO reading_eye (reading_id, eye, sph_cd, cyl_cd, m, j0, j45)
VALUES ('{i["reading"]}', 1, -225, 0, -2.25, 0, 0);
INSERT INTO entry (entry_id, patient_id, at, origin, kind, condition_key, body)
VALUES ('{i["reading"]}', '{i["patient"]}', now(), 'reading',
    'autorefraction', '', '');
INSERT INTO reading_claim (claim_id, reading_id, patient_id)
VALUES ('{i["claim"]}', '{i["reading"]}', '{i["patient"]}');
INSERT INTO reading_side (side_id, reading_id, eye)
VALUES ('{i["side"]}', '{i["reading"]}', 1);
INSERT INTO habitual_choice (choice_id, patient_id, entry_id)
VALUES ('{i["choice"]}', '{i["patient"]}', '{i["reading"]}');
INSERT INTO exam (exam_id, visit_id, patient_id, clinic_id, performed_at, body)
VALUES ('{i["exam"]}', '{i["visit"]}', '{i["patient"]}', '{net.clinic}',
    now(), '{{}}');
INSERT INTO exam_step (step_id, exam_id, ordinal, body)
VALUES ('{i["step"]}', '{i["exam"]}', 1, '{{}}');
INSERT INTO prescription (prescription_id, exam_id, edition, patient_id,
    signed_by, signed_at, exam_body, rx)
VALUES ('{i["prescription"]}', '{i["exam"]}', 1, '{i["patient"]}', '{user}',
    now(), '{{}}', '{{}}');
INSERT INTO orders (order_id, number, exam_id, prescription_id, patient_id,
    clinic_id, lab_id, status, body)
VALUES ('{i["order"]}', 'N-1', '{i["exam"]}', '{i["prescription"]}',
    '{i["patient"]}', '{net.clinic}', '{net.lab}', 'requested', '{{}}');
INSERT INTO order_edition (order_id, edition, body)
VALUES ('{i["order"]}', 1, '{{}}');
INSERT INTO order_event (order_id, event_id, status)
VALUES ('{i["order"]}', '{i["event"]}', 'requested');
INSERT INTO order_question (question_id, order_id, edition, pointer, question)
VALUES ('{i["question"]}', '{i["order"]}', 1, '/right/axis', '?');
INSERT INTO order_answer (question_id, answer)
VALUES ('{i["question"]}', '172');
INSERT INTO order_remake (order_id, of_order_id, of_edition, cause)
VALUES ('{i["order"]}', '{i["order"]}', 1, 'lost');
INSERT INTO bench_check (bench_check_id, order_id, edition, profile, verdict,
    measured, body)
VALUES ('{i["check"]}', '{i["order"]}', 1, 'tried', 'pass', '{{}}', '{{}}');
INSERT INTO signing_key (key_id, number, public_key)
VALUES ('{i["key"]}', 1, sha256('x'));
INSERT INTO rx_release (release_id, exam_id, prescription_id, patient_id,
    kind, body)
VALUES ('{i["release"]}', '{i["exam"]}', '{i["prescription"]}',
    '{i["patient"]}', 'copy-given', '{{}}');
INSERT INTO webhook (webhook_id, url, kinds)
VALUES ('{i["webhook"]}', 'https://receiver.example/', '{{}}');
INSERT INTO audit (subject_kind, subject_id, patient_id)
VALUES ('patient', '{i["patient"]}', '{i["patient"]}');
INSERT INTO outbox (event_id, kind, subject_id, body)
VALUES ('{i["outbox"]}', 'tried', '{i["patient"]}', '{{}}');
INSERT INTO idempotency (owner_id, key, body_hash, status)
VALUES ('{user}', 'k', 'x', 201);
COMMIT;
""")


def tables():
    """Every table with a network_id."""
    return [row[0] for row in svc.psql("""
SELECT c.relname FROM pg_class AS c
JOIN pg_attribute AS a ON a.attrelid = c.oid AND a.attname = 'network_id'
WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
ORDER BY 1""")]


def daemon(sql):
    return svc.psql(sql, role="lensclerkd")


def within(net, sql):
    """As the daemon in a transaction of a network; the last statement's
    rows."""
    return daemon(f"BEGIN; SET LOCAL app.network_id = '{net.id}'; {sql};"
                  " COMMIT;")


class Case(unittest.TestCase):
    def refused(self, sqlstate, act, *args):
        with self.assertRaises(SqlError) as caught:
            act(*args)
        self.assertEqual(caught.exception.sqlstate, sqlstate,
                         str(caught.exception))
        return str(caught.exception)


class Apart(Case):
    def test_every_table_of_networks_has_forced_row_security(self):
        # P-30: without FORCE the owner, and views of the owner, see all.
        rows = svc.psql("""
SELECT c.relname FROM pg_class AS c
WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
    AND c.relname <> 'schema_migration'
    AND NOT (c.relrowsecurity AND c.relforcerowsecurity)""")
        self.assertEqual(rows, [])
        self.assertGreaterEqual(len(tables()), 24)

    def test_the_fixture_fills_every_table(self):
        for table in tables():
            for net in (one, two):
                rows = svc.psql(f"SELECT count(*) FROM {table} "
                                f"WHERE network_id = '{net.id}'")
                self.assertNotEqual(rows, [["0"]], table)

    def test_the_daemon_sees_the_rows_of_its_network_and_no_others(self):
        for table in tables():
            for net, other in ((one, two), (two, one)):
                rows = within(
                    net, f"SELECT DISTINCT network_id FROM {table}")
                self.assertEqual(rows, [[net.id]], table)
                rows = within(net, f"SELECT count(*) FROM {table} "
                                   f"WHERE network_id = '{other.id}'")
                self.assertEqual(rows, [["0"]], table)

    def test_without_a_network_nothing_can_be_read(self):
        # P-29: before any setting the policy raises 42704; after a
        # transaction with SET LOCAL the setting is '' and it raises 22P02.
        for table in tables():
            self.refused("42704", daemon, f"SELECT * FROM {table}")
            self.refused("22P02", daemon, f"""
BEGIN; SET LOCAL app.network_id = '{one.id}'; SELECT 1 FROM {table}; COMMIT;
SELECT * FROM {table}""")

    def test_a_network_that_is_none_shows_nothing(self):
        for table in tables():
            rows = daemon(f"BEGIN; SET LOCAL app.network_id = '{uuid7()}';"
                          f" SELECT count(*) FROM {table}; COMMIT")
            self.assertEqual(rows, [["0"]], table)

    def test_nothing_can_be_written_for_another_network(self):
        for sql in (
            f"INSERT INTO lab (network_id, lab_id, name) VALUES ('{two.id}',"
            f" '{uuid7()}', 'x')",
            "INSERT INTO patient (network_id, patient_id, family, created_at)"
            f" VALUES ('{two.id}', '{uuid7()}', 'x', now())",
            "INSERT INTO audit (network_id, audit_id, at, action,"
            " subject_kind, subject_id, request_id) VALUES"
            f" ('{two.id}', '{uuid7()}', now(), 'x', 'x', '{uuid7()}', 'r')",
            f"UPDATE patient SET network_id = '{two.id}'",
            f"UPDATE visit SET network_id = '{two.id}'"):
            self.refused("42501", within, one, sql)

    def test_an_update_without_a_condition_stays_in_its_network(self):
        within(one, "UPDATE patient SET telephone = 'mine'")
        rows = svc.psql("SELECT DISTINCT network_id FROM patient "
                        "WHERE telephone = 'mine'")
        self.assertEqual(rows, [[one.id]])
        gone = daemon(f"BEGIN; SET LOCAL app.network_id = '{one.id}'; "
                      "DELETE FROM outbox RETURNING network_id; ROLLBACK")
        self.assertEqual({row[0] for row in gone}, {one.id})

    def test_a_row_cannot_point_into_another_network(self):
        # Keys hold the network first, so a foreign id fits nowhere.
        self.refused("23503", within, one, f"""
INSERT INTO visit (visit_id, patient_id, clinic_id, at, created_at)
VALUES ('{uuid7()}', '{two.ids["patient"]}', '{one.clinic}', now(), now())""")
        self.refused("23503", within, one, f"""
INSERT INTO device (device_id, name, clinic_id)
VALUES ('{uuid7()}', 'x', '{two.clinic}')""")

    def test_a_network_stays(self):
        # Readings and audit rows need not look for theirs: it can't go.
        for sql in (f"DELETE FROM network WHERE network_id = '{two.id}'",
                    f"UPDATE network SET network_id = '{uuid7()}'"
                    f" WHERE network_id = '{two.id}'"):
            self.refused("23000", svc.psql, sql)

    def test_network_id_leads_every_key_and_foreign_key(self):
        rows = svc.psql("""
SELECT c.conrelid::regclass, c.conname FROM pg_constraint AS c
JOIN pg_attribute AS a ON a.attrelid = c.conrelid AND a.attnum = c.conkey[1]
WHERE c.connamespace = 'public'::regnamespace AND c.contype IN ('p', 'u', 'f')
    AND a.attname <> 'network_id'
    AND c.conrelid <> 'schema_migration'::regclass""")
        self.assertEqual(rows, [])

    def test_network_id_leads_every_index_but_five(self):
        # Those of signing in, of forgetting answers after seven days, and of
        # finding which networks have messages to send.
        rows = svc.psql("""
SELECT i.indexrelid::regclass FROM pg_index AS i
JOIN pg_class AS c ON c.oid = i.indrelid
JOIN pg_attribute AS a ON a.attrelid = i.indrelid AND a.attnum = i.indkey[0]
WHERE c.relnamespace = 'public'::regnamespace AND a.attname <> 'network_id'
    AND c.relname <> 'schema_migration' ORDER BY 1""")
        self.assertEqual({r[0] for r in rows}, {
            "idempotency_by_age", "network_by_name", "token_by_hash",
            "token_by_revocation", "webhook_delivery_due"})

    def test_no_key_is_made_by_a_sequence(self):
        self.assertEqual(svc.psql(
            "SELECT relname FROM pg_class WHERE relkind = 'S' "
            "AND relnamespace = 'public'::regnamespace"), [])

    def test_there_is_no_view_that_could_see_more_than_its_caller(self):
        rows = svc.psql("""
SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace
    AND relkind IN ('v', 'm')
    AND NOT coalesce(reloptions @> '{security_invoker=true}', false)""")
        self.assertEqual(rows, [])


class Roles(Case):
    def test_the_roles_are_weak_and_own_what_they_should(self):
        rows = svc.psql("""
SELECT rolname, rolsuper, rolbypassrls, rolcreaterole, rolcreatedb,
    rolreplication, rolcanlogin
FROM pg_roles WHERE rolname LIKE 'lensclerk%'
    AND rolname <> 'lensclerk_super' ORDER BY 1""")
        self.assertEqual(rows, [
            ["lensclerk_append", "f", "f", "f", "f", "f", "f"],
            ["lensclerk_auth", "f", "f", "f", "f", "f", "f"],
            ["lensclerk_owner", "f", "f", "f", "f", "f", "t"],
            ["lensclerkd", "f", "f", "f", "f", "f", "t"]])

    def test_the_daemon_owns_nothing_and_is_a_member_of_nothing(self):
        self.assertEqual(svc.psql("""
SELECT relname FROM pg_class
WHERE pg_has_role('lensclerkd', relowner, 'USAGE')
UNION ALL
SELECT proname FROM pg_proc
WHERE pg_has_role('lensclerkd', proowner, 'USAGE')"""), [])
        self.assertEqual(svc.psql("""
SELECT r.rolname FROM pg_auth_members AS m
JOIN pg_roles AS r ON r.oid = m.roleid
WHERE m.member = 'lensclerkd'::regrole"""), [])

    def test_the_daemon_can_neither_make_nor_become_anything(self):
        for sql in ("CREATE TABLE t (a int)", "CREATE TEMP TABLE t (a int)",
                    "CREATE SCHEMA s",
                    "CREATE FUNCTION f() RETURNS int LANGUAGE sql AS"
                    " 'SELECT 1'", "SET ROLE lensclerk_owner",
                    "SET ROLE lensclerk_append", "SET ROLE lensclerk_auth",
                    "TRUNCATE patient",
                    "ALTER TABLE patient DISABLE ROW LEVEL SECURITY",
                    "DROP POLICY patient_tenant ON patient"):
            self.refused("42501", daemon, sql)
        self.refused("42501", daemon,
                     "BEGIN; SET LOCAL row_security = off; SET LOCAL"
                     f" app.network_id = '{one.id}'; SELECT * FROM patient;")

    def test_evidence_can_be_added_and_read_only(self):
        rows = svc.psql("""
SELECT c.relname, has_any_column_privilege('lensclerkd', c.oid, 'UPDATE'),
    has_table_privilege('lensclerkd', c.oid, 'DELETE, TRUNCATE')
FROM pg_class AS c WHERE c.relnamespace = 'public'::regnamespace
    AND c.relkind IN ('r', 'p')""")
        rights = {name: (update, delete) for name, update, delete in rows}
        self.assertLessEqual(APPEND_ONLY, set(rights))
        for table in sorted(APPEND_ONLY):
            with self.subTest(table=table):
                self.assertEqual(rights[table], ("f", "f"))
                self.refused("42501", within, one,
                             f"UPDATE {table} SET network_id = network_id")
                self.refused("42501", within, one, f"DELETE FROM {table}")

    def test_what_can_be_deleted_is_no_record(self):
        rows = svc.psql("""
SELECT c.relname FROM pg_class AS c
WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
    AND has_table_privilege('lensclerkd', c.oid, 'DELETE') ORDER BY 1""")
        self.assertEqual([r[0] for r in rows],
                         ["idempotency", "outbox", "patient_word"])

    def test_of_a_token_only_its_end_can_be_changed(self):
        within(one, "UPDATE token SET revoked_at = NULL")
        for column, value in (("role", "'admin'"), ("network_id", "network_id"),
                              ("expires_at", "now()"),
                              ("token_hash", "token_hash"),
                              ("user_id", "user_id")):
            self.refused("42501", within, one,
                         f"UPDATE token SET {column} = {value}")
        self.refused("42501", within, one, "DELETE FROM token")

    def test_the_roles_behind_functions_have_only_what_these_need(self):
        rows = svc.psql("""
SELECT r.rolname, c.relname FROM pg_roles AS r, pg_class AS c
WHERE r.rolname IN ('lensclerk_append', 'lensclerk_auth')
    AND c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
    AND (has_any_column_privilege(r.oid, c.oid, 'UPDATE')
        OR has_table_privilege(r.oid, c.oid, 'DELETE, TRUNCATE')
        OR pg_has_role(r.oid, c.relowner, 'USAGE'))""")
        # Answers kept for repeats are forgotten after seven days.
        self.assertEqual(rows, [["lensclerk_append", "idempotency"]])
        rows = svc.psql("""
SELECT c.relname FROM pg_class AS c
WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
    AND has_table_privilege('lensclerk_auth', c.oid, 'INSERT')""")
        self.assertEqual(rows, [])


class Functions(Case):
    def test_what_runs_as_its_owner_has_a_fixed_search_path(self):
        rows = svc.psql("""
SELECT p.proname, pg_get_userbyid(p.proowner), array_to_string(p.proconfig, ';')
FROM pg_proc AS p WHERE p.pronamespace = 'public'::regnamespace
    AND p.prosecdef ORDER BY 1""")
        self.assertGreaterEqual(len(rows), 6)
        for name, owner, settings in rows:
            with self.subTest(function=name):
                self.assertIn(owner, ("lensclerk_append", "lensclerk_auth"))
                self.assertRegex(settings or "",
                                 r"search_path=(\"\"|pg_catalog, public)")

    def test_nobody_else_may_run_what_runs_as_its_owner(self):
        rows = svc.psql("""
SELECT p.proname, coalesce(array_to_string(p.proacl, ' '), 'default')
FROM pg_proc AS p WHERE p.pronamespace = 'public'::regnamespace
    AND (p.prosecdef OR p.prokind = 'p')""")
        for name, acl in rows:
            with self.subTest(function=name):
                self.assertNotEqual(acl, "default")
                self.assertFalse(re.search(r"(^| )=X", acl), acl)
        self.refused("42501", daemon, "SELECT append_readings_repeats("
                                      "NULL, NULL, NULL, NULL, NULL)")
        self.refused("42501", daemon, "CALL tenant_table('patient')")

    def test_nobody_may_make_things_in_the_schema(self):
        rows = svc.psql("""
SELECT rolname FROM pg_roles
WHERE rolname IN ('lensclerkd', 'lensclerk_append', 'lensclerk_auth')
    AND has_schema_privilege(oid, 'public', 'CREATE')""")
        self.assertEqual(rows, [])

    def test_before_a_network_is_set_only_a_whole_secret_tells_anything(self):
        self.assertEqual(daemon(
            "SELECT * FROM token_by_hash(sha256('nobody'))"), [])
        self.assertEqual(daemon(
            "SELECT * FROM user_for_sign_in('%', '%')"), [])

    def test_an_audit_row_goes_where_its_token_says(self):
        token = svc.psql("SELECT encode(token_hash, 'hex'), user_id "
                         f"FROM token WHERE network_id = '{two.id}' "
                         "AND role = 'desk'")[0]
        made = uuid7()
        daemon(f"""
BEGIN; SET LOCAL app.network_id = '{one.id}';
SELECT append_audit(ARRAY[decode('{token[0]}', 'hex')], ARRAY['{made}'::uuid],
    ARRAY[now()], ARRAY['viewed'], ARRAY['patient'],
    ARRAY['{two.ids["patient"]}'::uuid], ARRAY['{two.ids["patient"]}'::uuid],
    ARRAY['r'], ARRAY[NULL]::text[]); COMMIT""")
        rows = svc.psql("SELECT network_id, user_id FROM audit "
                        f"WHERE audit_id = '{made}'")
        self.assertEqual(rows, [[two.id, token[1]]])


class Figures(Case):
    """P-35: a CHECK passes NULL, NaN sorts above every number."""

    def add(self, **columns):
        """A further eye of network one's reading, rolled back again."""
        row = {"reading_id": f"'{one.ids['reading']}'", "eye": "2"}
        row.update({name: str(value) for name, value in columns.items()})
        return within(one, f"INSERT INTO reading_eye ({', '.join(row)}) "
                           f"VALUES ({', '.join(row.values())}); ROLLBACK;"
                           " BEGIN")

    def power(self, **columns):
        whole = {"sph_cd": -225, "cyl_cd": -75, "axis_cdeg": 17200,
                 "m": -2.6, "j0": 0.36, "j45": -0.1}
        return dict(whole, **columns)

    def bad(self, constraint, **columns):
        text = self.refused("23514", lambda: self.add(**columns))
        self.assertIn(f'"{constraint}"', text)

    def test_whole_powers_and_none_are_taken(self):
        self.add(**self.power())
        self.add(**self.power(cyl_cd=0, axis_cdeg="NULL"))
        self.add(**self.power(sph_cd=-4000, cyl_cd=0, axis_cdeg="NULL"))
        self.add(logmar=0.1)
        self.add(flat_um=7800, flat_axis_cdeg=2130)

    def test_a_cylinder_has_an_axis_and_an_axis_a_cylinder(self):
        rule = "reading_eye_axis_iff_cylinder"
        self.bad(rule, **self.power(axis_cdeg="NULL"))
        self.bad(rule, **self.power(cyl_cd=0))
        self.bad("reading_eye_axis", **self.power(axis_cdeg=0))
        self.bad("reading_eye_axis", **self.power(axis_cdeg=18001))

    def test_a_power_is_whole_or_not_there(self):
        rule = "reading_eye_power_whole"
        self.bad(rule, **self.power(sph_cd="NULL"))
        self.bad(rule, **self.power(m="NULL", j0="NULL", j45="NULL"))
        for part in ("m", "j0", "j45"):
            self.bad(rule, **self.power(**{part: "NULL"}))
        self.bad(rule, sph_cd=-225)

    def test_what_is_no_number_is_refused(self):
        for value in ("'NaN'", "'Infinity'", "'-Infinity'"):
            for part in ("m", "j0", "j45", "spread"):
                with self.subTest(part=part, value=value):
                    self.bad("reading_eye_finite",
                             **self.power(**{part: value}))
            self.bad("reading_eye_logmar", logmar=value)
            # A power is whole hundredths: there is no such integer.
            self.refused("22P02" if value[0] == "'" else "22003",
                         lambda: self.add(**self.power(sph_cd=value)))

    def test_a_power_has_no_third_decimal(self):
        # numeric(5,2) would round -2.504999 silently; an integer of
        # hundredths takes the text -250.4999 not at all.
        self.refused("22P02",
                     lambda: self.add(**self.power(sph_cd="'-250.4999'")))

    def test_powers_are_in_range_and_in_minus_cylinder_form(self):
        self.bad("reading_eye_sphere", **self.power(sph_cd=4001))
        self.bad("reading_eye_sphere", **self.power(
            sph_cd=-4001, cyl_cd=0, axis_cdeg="NULL"))
        self.bad("reading_eye_cylinder", **self.power(cyl_cd=25))
        self.bad("reading_eye_cylinder", **self.power(cyl_cd=-2001))
        self.bad("reading_eye_meridian", **self.power(sph_cd=-3950))

    def test_adds_prisms_corneas_and_acuities_are_in_range(self):
        self.bad("reading_eye_add", add_cd=24)
        self.bad("reading_eye_add", add_cd=2001)
        self.bad("reading_eye_prism", prism_in_cd=6001)
        self.bad("reading_eye_prism", prism_up_cd=-6001)
        self.bad("reading_eye_cornea", flat_um=3499)
        self.bad("reading_eye_cornea", steep_cd=9701)
        self.bad("reading_eye_logmar", logmar=4.1)
        self.bad("reading_eye_side", eye=0)

    def test_a_patient_has_a_name_and_a_birth_date_a_form(self):
        def add(**columns):
            row = dict({"patient_id": f"'{uuid7()}'", "created_at": "now()"},
                       **columns)
            within(one, f"INSERT INTO patient ({', '.join(row)}) VALUES "
                        f"({', '.join(row.values())}); ROLLBACK; BEGIN")

        add(given="'Ann'", born="'1984-05'")
        for columns in ({}, {"family": "'x'", "born": "'1984-5'"},
                        {"family": "'x'", "born": "'84'"},
                        {"family": "'x'", "sex": "'f'"}):
            self.refused("23514", lambda: add(**columns))


class Pooling(Case):
    def test_the_network_of_one_request_is_not_there_for_the_next(self):
        # P-29 through the daemon: its few connections serve both networks.
        for _ in range(20):
            for net, other in ((one, two), (two, one)):
                listed = net.api("desk", "GET", "/v1/patients").body["items"]
                ids = [p["id"] for p in listed]
                self.assertIn(net.ids["patient"], ids)
                self.assertNotIn(other.ids["patient"], ids)
                answer = net.api("desk", "GET",
                                 f"/v1/patients/{other.ids['patient']}")
                self.assertEqual(answer.status, 404)
