"""What the baselines run, one pipeline a transaction."""

from . import fill

# The network and the patient of a random number p.
PICK = rf"""\set p random(0, :patients - 1)
\set net mod(:p, {fill.NETWORKS})
"""

SET_NETWORK = """SELECT set_config('app.network_id',
    '00000000-0000-7000-8000-' || lpad(to_hex(:net::bigint), 12, '0'), true);
"""

# Columns of the timeline's entries, from the normalized tables.
CHART = r"""\startpipeline
""" + SET_NETWORK + """SELECT r.reading_id, r.taken_at, r.taken_offset_min,
    r.kind, r.condition_key, r.series_uid, r.device_serial, r.device_model,
    r.device_manufacturer, r.vertex_um, e.eye, e.sph_cd, e.cyl_cd,
    e.axis_cdeg, e.m, e.j0, e.j45, e.repeats, e.spread, e.add_cd,
    e.second_add_cd, e.prism_in_cd, e.prism_up_cd
FROM reading AS r
JOIN entry AS n ON n.entry_id = r.reading_id
JOIN reading_eye AS e ON e.reading_id = r.reading_id
WHERE n.patient_id = ('00000000-0000-7000-8001-'
    || lpad(to_hex(:p::bigint), 12, '0'))::uuid
ORDER BY n.at DESC, n.entry_id DESC;
"""
END = "\\endpipeline\n"

CHART_REPEAT = PICK + CHART + END
CHART_FIRST = PICK + "\\set n :n + 1\n" + CHART + """INSERT INTO audit (audit_id, at, user_id, token_id, action, subject_kind,
    subject_id, patient_id, request_id)
VALUES (('01a2' || lpad(to_hex(:n::bigint), 12, '0')
    || lpad(to_hex(:run::bigint * 1000 + :client_id), 16, '0'))::uuid, now(),
    '00000000-0000-7000-8002-000000000000',
    '00000000-0000-7000-8002-000000000000', 'viewed', 'timeline',
    ('00000000-0000-7000-8001-' || lpad(to_hex(:p::bigint), 12, '0'))::uuid,
    ('00000000-0000-7000-8001-' || lpad(to_hex(:p::bigint), 12, '0'))::uuid,
    '01a21081-7858-781c-8ed2-c12e0b78caa5');
""" + END

ID = ("('01a2' || lpad(to_hex(:n::bigint), 12, '0')"
      " || lpad(to_hex(:run::bigint * 1000 + :client_id), 16, '0'))::uuid")


def ingest(service, sample):
    """The rows that one reading becomes, with the sample's own texts."""
    body, brief, original = service.psql(
        "SELECT r.body, e.body, convert_from(o.bytes, 'UTF8') FROM entry AS e"
        " JOIN reading AS r ON r.reading_id = e.entry_id"
        " JOIN reading_original AS o ON o.original_id = r.original_id"
        f" WHERE e.entry_id = '{sample}'")[0]

    def text(value):
        # pgbench takes :word for a variable, in quotes too.
        for plain, escaped in (("\\", "\\\\"), ("'", "''"), (":", "\\x3a")):
            value = value.replace(plain, escaped)
        return "E'" + value + "'"

    patient = ("(SELECT patient_id FROM patient WHERE record_number ="
               " 'Q-' || :p::bigint)")
    eye = ("INSERT INTO reading_eye (reading_id, eye, sph_cd, cyl_cd,"
           " axis_cdeg, m, j0, j45, repeats, spread)\nVALUES (" + ID
           + ", {}, -225, -75, 17200, -2.625, 0.3605, -0.1034, 3, 0.17);\n")
    return (
        PICK + "\\set n :n + 1\n\\startpipeline\n" + SET_NETWORK
        + "INSERT INTO reading_original (original_id, media_type, bytes)\n"
        f"VALUES ({ID}, 'application/json', convert_to({text(original)},"
        " 'UTF8'));\n"
        "INSERT INTO reading (reading_id, kind, condition_key, taken_at,"
        " taken_offset_min, received_at, token_id, clinic_id, device_serial,"
        " device_model, device_manufacturer, patient_id, matched, vertex_um,"
        " format, content_hash, original_id, original_part,"
        " body)\n"
        f"VALUES ({ID}, 'autorefraction', 'autorefraction/dry', now(), 60,"
        " now(), '00000000-0000-7000-8002-000000000000',"
        " '00000000-0000-7000-8000-000000000000', 'AR-1', 'bench', 'none',\n"
        f"    {patient}, 'number', 12000, 'native',"
        f" sha256(({ID})::text::bytea), {ID}, 0, {text(body)});\n"
        + eye.format(1) + eye.format(2)
        + "INSERT INTO entry (entry_id, patient_id, at, origin, kind,"
        " condition_key, clinic_id, right_m, right_j0, right_j45, left_m,"
        " left_j0, left_j45, body)\n"
        f"VALUES ({ID}, {patient}, now(), 'reading', 'autorefraction',"
        " 'autorefraction/dry', '00000000-0000-7000-8000-000000000000',"
        f" -2.625, 0.3605, -0.1034, -2.875, 0.1, 0.05, {text(brief)});\n"
        "INSERT INTO audit (audit_id, at, user_id, token_id, action,"
        " subject_kind, subject_id, patient_id, request_id)\n"
        f"VALUES ({ID}, now(), '00000000-0000-7000-8002-000000000000',"
        " '00000000-0000-7000-8002-000000000000', 'reading-stored',"
        f" 'reading', {ID}, {patient},"
        " '01a21081-7858-781c-8ed2-c12e0b78caa5');\n" + END)
