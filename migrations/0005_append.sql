-- 0005: appends of all networks in one statement.
-- Why:   requests that wait at the same time share a commit; the token that
--        comes with each row decides its network, and nothing else does.
-- Locks: creates new objects only.
-- Back:  roll forward; the functions are replaced, never edited.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

GRANT SELECT ON token, patient, device, reading, idempotency
TO lensclerk_append;
GRANT INSERT ON reading_original, reading, reading_eye, entry, audit,
idempotency TO lensclerk_append;
GRANT DELETE ON idempotency TO lensclerk_append;

CREATE POLICY token_append ON token
FOR SELECT TO lensclerk_append USING (true);
CREATE POLICY patient_append ON patient
FOR SELECT TO lensclerk_append USING (true);
CREATE POLICY device_append ON device
FOR SELECT TO lensclerk_append USING (true);
CREATE POLICY reading_append_look ON reading
FOR SELECT TO lensclerk_append USING (true);
CREATE POLICY idempotency_append_look ON idempotency
FOR SELECT TO lensclerk_append USING (true);
CREATE POLICY reading_original_append ON reading_original
FOR INSERT TO lensclerk_append WITH CHECK (true);
CREATE POLICY reading_append ON reading
FOR INSERT TO lensclerk_append WITH CHECK (true);
CREATE POLICY reading_eye_append ON reading_eye
FOR INSERT TO lensclerk_append WITH CHECK (true);
CREATE POLICY entry_append ON entry
FOR INSERT TO lensclerk_append WITH CHECK (true);
CREATE POLICY audit_append ON audit
FOR INSERT TO lensclerk_append WITH CHECK (true);
CREATE POLICY idempotency_append ON idempotency
FOR INSERT TO lensclerk_append WITH CHECK (true);
CREATE POLICY idempotency_append_forget ON idempotency
FOR DELETE TO lensclerk_append USING (true);

-- Readings of any networks.  Arrays run in parallel, one place a reading;
-- e_* one place an eye, o_* one place a body.  For each reading at most one
-- row comes back; none means that its token is dead.
--   created    it is stored now
--   present    the same reading stood there already
--   replayed   its idempotency key was used with the same body
--   key-reused its idempotency key was used with another body
-- All readings of a body share its key and stand or fall by it.  The same key
-- with two bodies in one call breaks the key's uniqueness and so the call;
-- sent again one by one, the first keeps the key.
-- After anything but created a message goes into the log of changes, so that
-- the commit waits for the replica as a new row's would.
CREATE FUNCTION append_readings(
    in_token bytea [], in_reading uuid [], in_audit uuid [],
    in_original uuid [], in_part integer [], in_kind text [],
    in_condition text [], in_taken timestamptz [], in_offset integer [],
    in_received timestamptz [], in_serial text [], in_model text [],
    in_manufacturer text [], in_ref_id uuid [], in_ref_number text [],
    in_ref_family text [], in_ref_given text [], in_ref_born text [],
    in_vertex integer [], in_format text [], in_series text [],
    in_hash bytea [], in_body text [], in_brief text [], in_rm double precision [],
    in_rj0 double precision [], in_rj45 double precision [],
    in_lm double precision [], in_lj0 double precision [],
    in_lj45 double precision [], in_purpose text [], in_key text [],
    in_key_hash bytea [], in_request text [],
    e_reading uuid [], e_eye integer [], e_sph integer [], e_cyl integer [],
    e_axis integer [], e_m double precision [], e_j0 double precision [],
    e_j45 double precision [], e_repeats integer [],
    e_spread double precision [], e_add integer [], e_second integer [],
    e_prism_in integer [], e_prism_up integer [], e_flat_um integer [],
    e_flat integer [], e_flat_axis integer [], e_steep_um integer [],
    e_steep integer [], e_steep_axis integer [], e_logmar double precision [],
    o_id uuid [], o_media text [], o_bytes bytea []
)
RETURNS TABLE (
    ord integer, outcome text, reading_id uuid, patient_id uuid, matched text,
    first_status integer
)
LANGUAGE plpgsql SECURITY DEFINER
SET search_path = pg_catalog, public AS $$
#variable_conflict use_column
DECLARE
    n integer := cardinality(in_token);
    done_ord integer[];
    done_reading uuid[];
    done_patient uuid[];
    done_matched text[];
BEGIN
    WITH i AS MATERIALIZED (
        SELECT
            r.*, t.network_id, t.token_id, t.user_id, t.device_id,
            t.clinic_id, coalesce(t.user_id, t.device_id) AS owner_id,
            CASE WHEN r.key IS NOT NULL THEN EXISTS (
                SELECT 1 FROM idempotency AS k
                WHERE k.network_id = t.network_id AND k.key = r.key
                    AND k.owner_id = coalesce(t.user_id, t.device_id)
            ) ELSE false END AS key_seen,
            CASE
                WHEN r.ref_id IS NOT NULL THEN (
                    SELECT p.patient_id FROM patient AS p
                    WHERE p.network_id = t.network_id
                        AND p.patient_id = r.ref_id)
                WHEN r.ref_number IS NOT NULL THEN (
                    SELECT p.patient_id FROM patient AS p
                    WHERE p.network_id = t.network_id
                        AND p.record_number = r.ref_number)
                WHEN r.ref_born IS NOT NULL AND (
                    r.ref_family IS NOT NULL OR r.ref_given IS NOT NULL)
                THEN (
                    SELECT CASE WHEN count(*) = 1
                        THEN (array_agg(p.patient_id))[1] END
                    FROM patient AS p
                    WHERE p.network_id = t.network_id
                        AND p.family_fold = coalesce(r.ref_family, '')
                        AND p.given_fold = coalesce(r.ref_given, '')
                        AND p.born = r.ref_born)
            END AS named
        FROM unnest(
            in_token, in_reading, in_audit, in_original, in_part, in_kind,
            in_condition, in_taken, in_offset, in_received, in_serial,
            in_model, in_manufacturer, in_ref_id, in_ref_number,
            in_ref_family, in_ref_given, in_ref_born, in_vertex, in_format,
            in_series, in_hash, in_body, in_brief, in_rm, in_rj0, in_rj45, in_lm,
            in_lj0, in_lj45, in_purpose, in_key, in_key_hash, in_request
        ) WITH ORDINALITY AS r (
            token, reading_id, audit_id, original_id, part, kind, condition,
            taken, utc_offset, received, serial, model, manufacturer, ref_id,
            ref_number, ref_family, ref_given, ref_born, vertex, format,
            series, hash, body, brief, rm, rj0, rj45, lm, lj0, lj45, purpose, key,
            key_hash, request, ord
        )
        JOIN token AS t ON t.token_hash = r.token
            AND t.revoked_at IS NULL AND t.expires_at > now()
    ),

    who AS MATERIALIZED (
        SELECT
            i.*,
            CASE
                WHEN i.ref_id IS NULL AND i.ref_number IS NULL
                    AND i.ref_family IS NULL AND i.ref_given IS NULL
                THEN 'none'
                WHEN i.named IS NULL THEN 'unknown'
                WHEN (
                    i.ref_id IS NOT NULL OR i.ref_number IS NOT NULL
                ) AND coalesce(i.ref_number, i.ref_family, i.ref_given,
                    i.ref_born) IS NOT NULL AND EXISTS (
                    SELECT 1 FROM patient AS p
                    WHERE p.network_id = i.network_id
                        AND p.patient_id = i.named
                        AND (
                            p.record_number <> i.ref_number
                            OR p.family_fold <> i.ref_family
                            OR NOT (
                                starts_with(p.born, i.ref_born)
                                OR starts_with(i.ref_born, p.born)
                            )
                        )
                ) THEN 'mismatch'
                WHEN i.ref_id IS NOT NULL AND i.ref_number IS NOT NULL
                    AND EXISTS (
                    SELECT 1 FROM patient AS p
                    WHERE p.network_id = i.network_id
                        AND p.record_number = i.ref_number
                        AND p.patient_id <> i.named
                ) THEN 'mismatch'
                WHEN i.ref_id IS NOT NULL THEN 'id'
                WHEN i.ref_number IS NOT NULL THEN 'number'
                ELSE 'names'
            END AS matched
        FROM i
        WHERE NOT i.key_seen
    ),

    fresh AS (
        INSERT INTO reading (
            network_id, reading_id, kind, condition_key, taken_at,
            taken_offset_min, received_at, token_id, clinic_id, device_id,
            device_serial, device_model, device_manufacturer, patient_id,
            matched, vertex_um, format, series_uid, content_hash,
            original_id, original_part, body
        )
        SELECT
            w.network_id, w.reading_id, w.kind, w.condition, w.taken,
            w.utc_offset, w.received, w.token_id, w.clinic_id, w.device_id,
            w.serial, w.model, w.manufacturer,
            CASE WHEN w.matched IN ('id', 'number', 'names')
                THEN w.named END,
            w.matched, w.vertex, w.format, w.series, w.hash,
            w.original_id, w.part, w.body
        FROM who AS w
        ON CONFLICT (network_id, content_hash) DO NOTHING
        RETURNING
            reading.network_id, reading.reading_id, reading.patient_id,
            reading.original_id
    ),

    eyes AS (
        INSERT INTO reading_eye (
            network_id, reading_id, eye, sph_cd, cyl_cd, axis_cdeg, m, j0,
            j45, repeats, spread, add_cd, second_add_cd, prism_in_cd,
            prism_up_cd, flat_um, flat_cd, flat_axis_cdeg, steep_um,
            steep_cd, steep_axis_cdeg, logmar
        )
        SELECT
            f.network_id, e.reading_id, e.eye, e.sph, e.cyl, e.axis, e.m,
            e.j0, e.j45, e.repeats, e.spread, e.add_cd, e.second, e.prism_in,
            e.prism_up, e.flat_um, e.flat, e.flat_axis, e.steep_um, e.steep,
            e.steep_axis, e.logmar
        FROM unnest(
            e_reading, e_eye, e_sph, e_cyl, e_axis, e_m, e_j0, e_j45,
            e_repeats, e_spread, e_add, e_second, e_prism_in, e_prism_up,
            e_flat_um, e_flat, e_flat_axis, e_steep_um, e_steep,
            e_steep_axis, e_logmar
        ) AS e (
            reading_id, eye, sph, cyl, axis, m, j0, j45, repeats, spread,
            add_cd, second, prism_in, prism_up, flat_um, flat, flat_axis,
            steep_um, steep, steep_axis, logmar
        )
        JOIN fresh AS f ON f.reading_id = e.reading_id
    ),

    originals AS (
        INSERT INTO reading_original (network_id, original_id, media_type,
            bytes)
        SELECT DISTINCT ON (f.original_id)
            f.network_id, f.original_id, o.media, o.bytes
        FROM unnest(o_id, o_media, o_bytes) AS o (original_id, media, bytes)
        JOIN fresh AS f ON f.original_id = o.original_id
    ),

    entries AS (
        INSERT INTO entry (
            network_id, entry_id, patient_id, at, origin, kind,
            condition_key, series_uid, clinic_id, right_m, right_j0,
            right_j45, left_m, left_j0, left_j45, purpose, body
        )
        SELECT
            f.network_id, f.reading_id, f.patient_id, w.taken, 'reading',
            w.kind, w.condition, w.series, w.clinic_id, w.rm, w.rj0, w.rj45,
            w.lm, w.lj0, w.lj45, w.purpose, w.brief
        FROM fresh AS f JOIN who AS w ON w.reading_id = f.reading_id
    ),

    logged AS (
        INSERT INTO audit (
            network_id, audit_id, at, user_id, device_id, token_id, action,
            subject_kind, subject_id, patient_id, request_id
        )
        SELECT
            f.network_id, w.audit_id, w.received, w.user_id, w.device_id,
            w.token_id, 'reading-stored', 'reading', f.reading_id,
            f.patient_id, w.request
        FROM fresh AS f JOIN who AS w ON w.reading_id = f.reading_id
    ),

    keys AS (
        INSERT INTO idempotency (
            network_id, owner_id, key, body_hash, status, resource_id
        )
        SELECT DISTINCT ON (f.network_id, w.owner_id, w.key, w.key_hash)
            f.network_id, w.owner_id, w.key, w.key_hash, 201, f.reading_id
        FROM fresh AS f JOIN who AS w ON w.reading_id = f.reading_id
        WHERE w.key IS NOT NULL
    )

    SELECT
        array_agg(w.ord::integer), array_agg(f.reading_id),
        array_agg(f.patient_id), array_agg(w.matched)
    INTO done_ord, done_reading, done_patient, done_matched
    FROM fresh AS f JOIN who AS w ON w.reading_id = f.reading_id;

    RETURN QUERY
    SELECT d.ord, 'created', d.reading_id, d.patient_id, d.matched, 201
    FROM unnest(done_ord, done_reading, done_patient, done_matched)
        AS d (ord, reading_id, patient_id, matched);

    IF coalesce(cardinality(done_ord), 0) < n THEN
        PERFORM pg_logical_emit_message(true, 'repeat', '');
        RETURN QUERY SELECT * FROM append_readings_repeats(
            in_token, in_hash, in_key, in_key_hash, done_ord);
    END IF;
END
$$;

-- What became of the readings that were not created, with a new snapshot.
CREATE FUNCTION append_readings_repeats(
    in_token bytea [], in_hash bytea [], in_key text [], in_key_hash bytea [],
    done_ord integer []
)
RETURNS TABLE (
    ord integer, outcome text, reading_id uuid, patient_id uuid, matched text,
    first_status integer
)
LANGUAGE plpgsql SECURITY DEFINER
SET search_path = pg_catalog, public AS $$
#variable_conflict use_column
BEGIN
    RETURN QUERY
    WITH r AS MATERIALIZED (
        SELECT x.*, t.network_id, coalesce(t.user_id, t.device_id) AS owner_id
        FROM unnest(in_token, in_hash, in_key, in_key_hash)
            WITH ORDINALITY AS x (token, hash, key, key_hash, ord)
        JOIN token AS t ON t.token_hash = x.token
            AND t.revoked_at IS NULL AND t.expires_at > now()
        WHERE x.ord <> ALL (coalesce(done_ord, '{}'))
    ),

    seen AS MATERIALIZED (
        SELECT
            r.*, k.body_hash, k.status AS key_status,
            (SELECT s.reading_id FROM reading AS s
                WHERE s.network_id = r.network_id
                    AND s.content_hash = r.hash) AS same_reading
        FROM r
        LEFT JOIN idempotency AS k ON k.network_id = r.network_id
            AND k.owner_id = r.owner_id AND k.key = r.key
    ),

    keys AS (
        INSERT INTO idempotency (
            network_id, owner_id, key, body_hash, status, resource_id
        )
        SELECT DISTINCT ON (s.network_id, s.owner_id, s.key, s.key_hash)
            s.network_id, s.owner_id, s.key, s.key_hash, 200, s.same_reading
        FROM seen AS s
        WHERE s.key IS NOT NULL AND s.body_hash IS NULL
            AND s.same_reading IS NOT NULL
    )

    SELECT
        s.ord::integer,
        CASE
            WHEN s.body_hash = s.key_hash THEN 'replayed'
            WHEN s.body_hash IS NOT NULL THEN 'key-reused'
            ELSE 'present'
        END,
        g.reading_id, g.patient_id, g.matched,
        CASE WHEN s.body_hash = s.key_hash THEN s.key_status::integer
            ELSE 200 END
    FROM seen AS s
    LEFT JOIN reading AS g ON g.network_id = s.network_id
        AND g.reading_id = s.same_reading;
END
$$;

-- Views of records, of any networks: who saw what, by each row's own token.
-- A view sent again after a lost answer may stand there already; the message
-- makes its commit wait for the replica as a new row's would.
CREATE FUNCTION append_audit(
    in_token bytea [], in_audit uuid [], in_at timestamptz [],
    in_action text [], in_kind text [], in_subject uuid [],
    in_patient uuid [], in_request text [], in_detail text []
)
RETURNS TABLE (ord integer)
LANGUAGE plpgsql SECURITY DEFINER
SET search_path = pg_catalog, public AS $$
#variable_conflict use_column
BEGIN
    PERFORM pg_logical_emit_message(true, 'repeat', '');
    RETURN QUERY
    WITH w AS MATERIALIZED (
        SELECT r.*, t.network_id, t.token_id, t.user_id, t.device_id
        FROM unnest(
            in_token, in_audit, in_at, in_action, in_kind, in_subject,
            in_patient, in_request, in_detail
        ) WITH ORDINALITY AS r (
            token, audit_id, at, action, kind, subject, patient, request,
            detail, ord
        )
        JOIN token AS t ON t.token_hash = r.token
            AND t.revoked_at IS NULL AND t.expires_at > now()
    ),

    logged AS (
        INSERT INTO audit (
            network_id, audit_id, at, user_id, device_id, token_id, action,
            subject_kind, subject_id, patient_id, request_id, detail
        )
        SELECT
            w.network_id, w.audit_id, w.at, w.user_id, w.device_id,
            w.token_id, w.action, w.kind, w.subject, w.patient, w.request,
            w.detail
        FROM w
        ON CONFLICT DO NOTHING
    )

    SELECT w.ord::integer FROM w;
END
$$;

-- Answers kept for repeats are kept for seven days.
CREATE FUNCTION forget_old_answers() RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER
SET search_path = pg_catalog, public AS $$
DECLARE
    n bigint;
BEGIN
    DELETE FROM idempotency WHERE created_at < now() - interval '7 days';
    GET DIAGNOSTICS n = ROW_COUNT;
    RETURN n;
END
$$;

REVOKE ALL ON FUNCTION append_readings, append_readings_repeats, append_audit,
forget_old_answers FROM PUBLIC;
GRANT CREATE ON SCHEMA public TO lensclerk_append;
ALTER FUNCTION append_readings OWNER TO lensclerk_append;
ALTER FUNCTION append_readings_repeats OWNER TO lensclerk_append;
ALTER FUNCTION append_audit OWNER TO lensclerk_append;
ALTER FUNCTION forget_old_answers OWNER TO lensclerk_append;
REVOKE CREATE ON SCHEMA public FROM lensclerk_append;
GRANT EXECUTE ON FUNCTION append_readings, append_audit, forget_old_answers
TO lensclerkd;
