"""Networks, patients and readings for a benchmark, made inside the database.

Ids are counted, so that a load generator can name any of them:
network n, patient p, reading r of it.  Bodies are what the daemon made of one
real reading, so that a chart has its true size.
"""

import hashlib

NETWORKS = 10
USERS = 20      # of each network; each has a token
READINGS = 12   # of each patient


def network_id(n):
    return f"00000000-0000-7000-8000-{n:012x}"


def patient_id(p):
    return f"00000000-0000-7000-8001-{p:012x}"


def token(n, user):
    return f"bench-{n:03d}-{user:03d}-0123456789abcdef"


def people():
    """Statements for networks, clinics, users and their tokens."""
    sql = ""
    for n in range(NETWORKS):
        net = network_id(n)
        sql += (f"INSERT INTO network (network_id, name, display) VALUES"
                f" ('{net}', 'bench-{n}', 'Bench {n}');\n"
                f"INSERT INTO clinic (network_id, clinic_id, name, time_zone)"
                f" VALUES ('{net}', '{net}', 'Clinic', 'UTC');\n")
        for user in range(USERS):
            ident = f"00000000-0000-7000-8002-{n * 1000 + user:012x}"
            digest = hashlib.sha256(token(n, user).encode()).hexdigest()
            sql += (
                "INSERT INTO app_user (network_id, user_id, name, display,"
                f" role, clinic_id) VALUES ('{net}', '{ident}', 'u{user}',"
                f" 'User', 'desk', '{net}');\n"
                "INSERT INTO token (network_id, token_id, token_hash, kind,"
                " user_id, role, clinic_id, expires_at) VALUES"
                f" ('{net}', '{ident}', '\\x{digest}', 'bearer', '{ident}',"
                f" 'desk', '{net}', '2099-01-01Z');\n")
    return sql


def patients(count):
    """Patient p belongs to network p mod NETWORKS."""
    return f"""
INSERT INTO patient (network_id, patient_id, record_number, family, given,
    born, family_fold, given_fold, created_at)
SELECT ('00000000-0000-7000-8000-' || lpad(to_hex(p % {NETWORKS}), 12, '0'))
        ::uuid,
    ('00000000-0000-7000-8001-' || lpad(to_hex(p), 12, '0'))::uuid,
    'Q-' || p, 'Family' || p, 'Given', '1980-01-01', 'family' || p, 'given',
    now()
FROM generate_series(0, {count - 1}) AS p;
"""


def readings(count, sample):
    """READINGS copies of the sample reading for each patient."""
    return f"""
CREATE TEMP TABLE mould AS
SELECT r.*, e.body AS brief, e.right_m, e.right_j0, e.right_j45, e.left_m, e.left_j0,
    e.left_j45, o.bytes, o.media_type
FROM reading AS r JOIN entry AS e ON e.entry_id = r.reading_id
JOIN reading_original AS o ON o.original_id = r.original_id
WHERE r.reading_id = '{sample}';
CREATE TEMP TABLE copy AS
SELECT p, k, p * {READINGS} + k AS i,
    ('00000000-0000-7000-8000-' || lpad(to_hex(p % {NETWORKS}), 12, '0'))
        ::uuid AS net,
    ('00000000-0000-7000-8001-' || lpad(to_hex(p), 12, '0'))::uuid AS pat,
    ('00000000-0000-7000-8003-' || lpad(to_hex(p * {READINGS} + k), 12, '0'))
        ::uuid AS id,
    timestamptz '2020-01-01Z' + k * interval '90 days' AS at
FROM generate_series(0, {READINGS - 1}) AS k,
    generate_series(0, {count - 1}) AS p;
INSERT INTO reading_original SELECT net, id, media_type, bytes
FROM copy, mould;
INSERT INTO reading (network_id, reading_id, kind, condition_key, taken_at,
    taken_offset_min, received_at, token_id, clinic_id, device_serial,
    device_model, device_manufacturer, patient_id, matched, vertex_um, format,
    content_hash, original_id, original_part, body)
SELECT net, id, kind, condition_key, at, 0, at, token_id, net, device_serial,
    device_model, device_manufacturer, pat, 'number', vertex_um, format,
    sha256(id::text::bytea), id, 0, body
FROM copy, mould;
INSERT INTO reading_eye
SELECT net, id, eye, sph_cd, cyl_cd, axis_cdeg, m, j0, j45, repeats, spread,
    add_cd, second_add_cd, prism_in_cd, prism_up_cd, flat_um, flat_cd,
    flat_axis_cdeg, steep_um, steep_cd, steep_axis_cdeg, logmar
FROM copy, reading_eye AS e WHERE e.reading_id = '{sample}';
INSERT INTO entry (network_id, entry_id, patient_id, at, origin, kind,
    condition_key, clinic_id, right_m, right_j0, right_j45, left_m, left_j0,
    left_j45, body)
SELECT net, id, pat, at, 'reading', kind, condition_key, net, right_m,
    right_j0, right_j45, left_m, left_j0, left_j45, brief
FROM copy, mould;
INSERT INTO audit (network_id, audit_id, at, action, subject_kind,
    subject_id, patient_id, request_id)
SELECT net, id, at, 'reading-stored', 'reading', id, pat, 'bench' FROM copy;
"""
