-- 0004: readings, their originals, and the entries of the timeline.
-- Why:   what an instrument said is kept for ever as it arrived, beside what
--        it was normalized to.
-- Locks: creates new objects only.
-- Back:  roll forward; the daemon one version back ignores the tables.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

CREATE TABLE reading_original (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    original_id uuid NOT NULL,
    media_type text NOT NULL,
    bytes bytea NOT NULL,
    PRIMARY KEY (network_id, original_id)
);
COMMENT ON TABLE reading_original
IS 'The bytes as they arrived; one body may hold several readings.';
CALL tenant_table('reading_original');
GRANT SELECT, INSERT ON reading_original TO lensclerkd; -- rows are evidence

CREATE TABLE reading (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    reading_id uuid NOT NULL,
    kind text NOT NULL,
    condition_key text NOT NULL,
    taken_at timestamptz NOT NULL,
    taken_offset_min integer NOT NULL,
    received_at timestamptz NOT NULL,
    token_id uuid NOT NULL,
    clinic_id uuid,
    device_id uuid,
    device_serial text,
    device_model text,
    device_manufacturer text,
    patient_id uuid,
    matched text NOT NULL,
    vertex_um integer,
    format text NOT NULL,
    series_uid text,
    content_hash bytea NOT NULL,
    original_id uuid NOT NULL,
    original_part integer NOT NULL,
    body text NOT NULL,
    PRIMARY KEY (network_id, reading_id),
    CONSTRAINT reading_there_already UNIQUE (network_id, content_hash),
    CONSTRAINT reading_network FOREIGN KEY (network_id)
    REFERENCES network (network_id),
    CONSTRAINT reading_patient FOREIGN KEY (network_id, patient_id)
    REFERENCES patient (network_id, patient_id),
    CONSTRAINT reading_original_bytes FOREIGN KEY (network_id, original_id)
    REFERENCES reading_original (network_id, original_id),
    CONSTRAINT reading_kind CHECK (kind IN (
        'autorefraction', 'lensometry', 'keratometry', 'subjective',
        'acuity', 'retinoscopy', 'over-refraction'
    )),
    CONSTRAINT reading_matched CHECK (
        matched IN ('id', 'number', 'names', 'none', 'unknown', 'mismatch')
    ),
    CONSTRAINT reading_claimed CHECK (
        (patient_id IS NOT NULL) = (matched IN ('id', 'number', 'names'))
    ),
    CONSTRAINT reading_vertex CHECK (vertex_um BETWEEN 0 AND 30000),
    CONSTRAINT reading_hash_size CHECK (octet_length(content_hash) = 32)
);
COMMENT ON TABLE reading
IS 'What an instrument said of somebody at a moment, normalized.';
COMMENT ON COLUMN reading.patient_id
IS 'The patient it claimed itself for on arrival; later claims are rows of'
' reading_claim, and entry tells where it stands now.';
COMMENT ON COLUMN reading.matched
IS 'By what it found its patient; none: it named nobody, unknown: nobody or'
' several fit, mismatch: what it said contradicts itself.';
COMMENT ON COLUMN reading.body
IS 'Members of the answer that never change, without the outer braces.';
CREATE INDEX reading_by_device
ON reading (network_id, device_serial, taken_at)
WHERE device_serial IS NOT NULL;
CALL tenant_table('reading');
GRANT SELECT, INSERT ON reading TO lensclerkd; -- no UPDATE: evidence

CREATE TABLE reading_eye (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    reading_id uuid NOT NULL,
    eye smallint NOT NULL,
    sph_cd integer,
    cyl_cd integer,
    axis_cdeg integer,
    m double precision,
    j0 double precision,
    j45 double precision,
    repeats integer,
    spread double precision,
    add_cd integer,
    second_add_cd integer,
    prism_in_cd integer,
    prism_up_cd integer,
    flat_um integer,
    flat_cd integer,
    flat_axis_cdeg integer,
    steep_um integer,
    steep_cd integer,
    steep_axis_cdeg integer,
    logmar double precision,
    PRIMARY KEY (network_id, reading_id, eye),
    CONSTRAINT reading_eye_reading FOREIGN KEY (network_id, reading_id)
    REFERENCES reading (network_id, reading_id),
    CONSTRAINT reading_eye_side CHECK (eye IN (1, 2, 3, 4)),
    CONSTRAINT reading_eye_sphere CHECK (sph_cd BETWEEN -4000 AND 4000),
    CONSTRAINT reading_eye_cylinder CHECK (cyl_cd BETWEEN -2000 AND 0),
    CONSTRAINT reading_eye_meridian
    CHECK (sph_cd + cyl_cd BETWEEN -4000 AND 4000),
    -- CHECK passes NULL, so each pairing is written out.
    CONSTRAINT reading_eye_power_whole CHECK (
        (sph_cd IS NULL) = (cyl_cd IS NULL)
        AND (sph_cd IS NULL) = (m IS NULL)
        AND (m IS NULL) = (j0 IS NULL) AND (m IS NULL) = (j45 IS NULL)
    ),
    CONSTRAINT reading_eye_axis_iff_cylinder CHECK (
        (coalesce(cyl_cd, 0) = 0) = (axis_cdeg IS NULL)
    ),
    CONSTRAINT reading_eye_axis CHECK (axis_cdeg BETWEEN 1 AND 18000),
    CONSTRAINT reading_eye_finite CHECK (
        m BETWEEN -50 AND 50 AND j0 BETWEEN -20 AND 20
        AND j45 BETWEEN -20 AND 20 AND spread BETWEEN 0 AND 100
    ),
    CONSTRAINT reading_eye_add CHECK (
        add_cd BETWEEN 25 AND 2000 AND second_add_cd BETWEEN 25 AND 2000
    ),
    CONSTRAINT reading_eye_prism CHECK (
        prism_in_cd BETWEEN -6000 AND 6000
        AND prism_up_cd BETWEEN -6000 AND 6000
    ),
    CONSTRAINT reading_eye_cornea CHECK (
        flat_um BETWEEN 3500 AND 14000 AND steep_um BETWEEN 3500 AND 14000
        AND flat_cd BETWEEN 2400 AND 9700 AND steep_cd BETWEEN 2400 AND 9700
        AND flat_axis_cdeg BETWEEN 1 AND 18000
        AND steep_axis_cdeg BETWEEN 1 AND 18000
    ),
    CONSTRAINT reading_eye_logmar CHECK (logmar BETWEEN -1 AND 4)
);
COMMENT ON TABLE reading_eye IS 'What a reading says of one eye or lens.';
COMMENT ON COLUMN reading_eye.eye IS '1 right, 2 left, 3 both together, 4 side not told.';
COMMENT ON COLUMN reading_eye.sph_cd IS 'Minus-cylinder form, 0.01 D.';
COMMENT ON COLUMN reading_eye.prism_in_cd IS 'Base in positive, 0.01 prism D.';
COMMENT ON COLUMN reading_eye.spread
IS 'Of the repeats: square root of the summed variances of M, J0, J45 (D).';
CALL tenant_table('reading_eye');
GRANT SELECT, INSERT ON reading_eye TO lensclerkd; -- no UPDATE: evidence

CREATE TABLE reading_claim (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    claim_id uuid NOT NULL,
    reading_id uuid NOT NULL,
    patient_id uuid,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    reason text,
    PRIMARY KEY (network_id, claim_id),
    CONSTRAINT reading_claim_reading FOREIGN KEY (network_id, reading_id)
    REFERENCES reading (network_id, reading_id),
    CONSTRAINT reading_claim_patient FOREIGN KEY (network_id, patient_id)
    REFERENCES patient (network_id, patient_id)
);
COMMENT ON TABLE reading_claim
IS 'A reading given to a patient, or (null) put back; the latest decides.';
CREATE INDEX reading_claim_by_reading
ON reading_claim (network_id, reading_id, claim_id);
CALL tenant_table('reading_claim');
GRANT SELECT, INSERT ON reading_claim TO lensclerkd; -- append-only

CREATE TABLE entry (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    entry_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    patient_id uuid,
    at timestamptz NOT NULL,
    origin text NOT NULL,
    kind text NOT NULL,
    condition_key text NOT NULL,
    series_uid text,
    exam_id uuid,
    clinic_id uuid,
    right_m double precision,
    right_j0 double precision,
    right_j45 double precision,
    left_m double precision,
    left_j0 double precision,
    left_j45 double precision,
    pair text,
    purpose text,
    made_on text,
    worn text,
    superseded boolean NOT NULL DEFAULT false,
    body text NOT NULL,
    PRIMARY KEY (network_id, entry_id),
    CONSTRAINT entry_patient FOREIGN KEY (network_id, patient_id)
    REFERENCES patient (network_id, patient_id),
    CONSTRAINT entry_origin CHECK (
        origin IN ('reading', 'exam', 'prescription', 'typed')
    ),
    CONSTRAINT entry_tray CHECK (patient_id IS NOT NULL OR origin = 'reading'),
    CONSTRAINT entry_vectors_whole CHECK (
        (right_m IS NULL) = (right_j0 IS NULL)
        AND (right_m IS NULL) = (right_j45 IS NULL)
        AND (left_m IS NULL) = (left_j0 IS NULL)
        AND (left_m IS NULL) = (left_j45 IS NULL)
    )
);
COMMENT ON TABLE entry
IS 'One item of the timeline with its JSON made once; where a reading stands'
' now. The facts behind it are in reading, reading_claim and exam_version.';
COMMENT ON COLUMN entry.entry_id IS 'For a reading its reading_id.';
COMMENT ON COLUMN entry.body
IS 'Members of its item in the timeline that never change, without the outer'
' braces; of a reading the brief form.';
CREATE INDEX entry_by_patient
ON entry (network_id, patient_id, at DESC, entry_id DESC);
CREATE INDEX entry_tray_list ON entry (network_id, entry_id)
WHERE patient_id IS NULL;
CALL tenant_table('entry');
GRANT SELECT, INSERT ON entry TO lensclerkd;
GRANT UPDATE (patient_id, superseded, version, pair, purpose, made_on, worn)
ON entry TO lensclerkd;

CREATE TABLE habitual_choice (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    choice_id uuid NOT NULL,
    patient_id uuid NOT NULL,
    entry_id uuid NOT NULL,
    purpose text,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    PRIMARY KEY (network_id, choice_id),
    CONSTRAINT habitual_choice_patient FOREIGN KEY (network_id, patient_id)
    REFERENCES patient (network_id, patient_id),
    CONSTRAINT habitual_choice_entry FOREIGN KEY (network_id, entry_id)
    REFERENCES entry (network_id, entry_id)
);
COMMENT ON TABLE habitual_choice
IS 'Which glasses a person named as the habitual ones; the latest decides.';
CREATE INDEX habitual_choice_by_patient
ON habitual_choice (network_id, patient_id, choice_id);
CALL tenant_table('habitual_choice');
GRANT SELECT, INSERT ON habitual_choice TO lensclerkd; -- append-only

-- The glasses that a patient wears for a purpose (none said: distance): those
-- that a person named, unless newer ones were measured since, else the newest
-- lensometry.  A reading that came later but was taken before the named pair
-- (an old file brought in) does not count as newer.  A lens of unknown side is
-- nobody's glasses until a person says the side.
CREATE FUNCTION habitual_of(of_patient uuid, for_purpose text) RETURNS uuid
LANGUAGE sql STABLE AS $$
    WITH named AS (
        SELECT c.choice_id, e.entry_id, e.at
        FROM habitual_choice AS c
        JOIN entry AS e
            ON e.entry_id = c.entry_id AND e.patient_id = c.patient_id
        WHERE c.patient_id = of_patient
            AND coalesce(c.purpose, e.purpose, 'distance') = for_purpose
        ORDER BY c.choice_id DESC
        LIMIT 1
    ),

    measured AS (
        SELECT e.entry_id, e.at
        FROM entry AS e
        WHERE e.patient_id = of_patient AND e.kind = 'lensometry'
            AND coalesce(e.purpose, 'distance') = for_purpose
            AND (e.right_m IS NOT NULL OR e.left_m IS NOT NULL)
            AND NOT EXISTS (
                SELECT 1 FROM named AS n
                WHERE e.entry_id < n.choice_id OR e.at <= n.at
            )
        ORDER BY e.at DESC, e.entry_id DESC
        LIMIT 1
    )

    SELECT coalesce(
        (SELECT entry_id FROM measured), (SELECT entry_id FROM named))
$$;
REVOKE ALL ON FUNCTION habitual_of FROM PUBLIC;
GRANT EXECUTE ON FUNCTION habitual_of TO lensclerkd;
