-- 0009: appends of readings in small statements.
-- Why:   one statement for all of it cost PostgreSQL a plan of sixty nodes a
--        batch: starting and joining took as long as writing the rows.
-- Locks: writes reading, reading_eye and entry anew and holds them meanwhile.
-- Back:  roll forward; append_readings stays for a daemon one version back.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30min';

-- A reading is written before its original, which only a reading that is new
-- brings with it.
ALTER TABLE reading ALTER CONSTRAINT reading_original_bytes
DEFERRABLE INITIALLY DEFERRED;

-- Rules of one column are its type's: PostgreSQL reads a table's CHECKs anew
-- for every statement, which was a quarter of what a reading cost.
CREATE DOMAIN reading_kind AS text CONSTRAINT reading_kind CHECK (
    VALUE IN (
        'autorefraction', 'lensometry', 'keratometry', 'subjective',
        'acuity', 'retinoscopy', 'over-refraction'
    )
);
CREATE DOMAIN entry_origin AS text CONSTRAINT entry_origin CHECK (
    VALUE IN ('reading', 'exam', 'prescription', 'typed')
);
CREATE DOMAIN content_hash AS bytea
CONSTRAINT reading_hash_size CHECK (octet_length(VALUE) = 32);
CREATE DOMAIN vertex_um AS integer
CONSTRAINT reading_vertex CHECK (VALUE BETWEEN 0 AND 30000);
CREATE DOMAIN eye_side AS smallint
CONSTRAINT reading_eye_side CHECK (VALUE IN (1, 2, 3, 4));
CREATE DOMAIN sphere_cd AS integer
CONSTRAINT reading_eye_sphere CHECK (VALUE BETWEEN -4000 AND 4000);
CREATE DOMAIN cylinder_cd AS integer
CONSTRAINT reading_eye_cylinder CHECK (VALUE BETWEEN -2000 AND 0);
CREATE DOMAIN axis_cdeg AS integer
CONSTRAINT reading_eye_axis CHECK (VALUE BETWEEN 1 AND 18000);
-- NaN is greater than any number to PostgreSQL, and so is outside.
CREATE DOMAIN vector_m AS double precision
CONSTRAINT reading_eye_finite CHECK (VALUE BETWEEN -50 AND 50);
CREATE DOMAIN vector_j AS double precision
CONSTRAINT reading_eye_finite CHECK (VALUE BETWEEN -20 AND 20);
CREATE DOMAIN spread_d AS double precision
CONSTRAINT reading_eye_finite CHECK (VALUE BETWEEN 0 AND 100);
CREATE DOMAIN add_cd AS integer
CONSTRAINT reading_eye_add CHECK (VALUE BETWEEN 25 AND 2000);
CREATE DOMAIN prism_cd AS integer
CONSTRAINT reading_eye_prism CHECK (VALUE BETWEEN -6000 AND 6000);
CREATE DOMAIN radius_um AS integer
CONSTRAINT reading_eye_cornea CHECK (VALUE BETWEEN 3500 AND 14000);
CREATE DOMAIN corneal_cd AS integer
CONSTRAINT reading_eye_cornea CHECK (VALUE BETWEEN 2400 AND 9700);
CREATE DOMAIN logmar AS double precision
CONSTRAINT reading_eye_logmar CHECK (VALUE BETWEEN -1 AND 4);

ALTER TABLE reading
DROP CONSTRAINT reading_kind, ALTER COLUMN kind TYPE reading_kind,
DROP CONSTRAINT reading_vertex, ALTER COLUMN vertex_um TYPE vertex_um,
DROP CONSTRAINT reading_hash_size,
ALTER COLUMN content_hash TYPE content_hash;

ALTER TABLE reading_eye
DROP CONSTRAINT reading_eye_side, ALTER COLUMN eye TYPE eye_side,
DROP CONSTRAINT reading_eye_sphere, ALTER COLUMN sph_cd TYPE sphere_cd,
DROP CONSTRAINT reading_eye_cylinder, ALTER COLUMN cyl_cd TYPE cylinder_cd,
DROP CONSTRAINT reading_eye_axis, ALTER COLUMN axis_cdeg TYPE axis_cdeg,
DROP CONSTRAINT reading_eye_finite, ALTER COLUMN m TYPE vector_m,
ALTER COLUMN j0 TYPE vector_j, ALTER COLUMN j45 TYPE vector_j,
ALTER COLUMN spread TYPE spread_d,
DROP CONSTRAINT reading_eye_add, ALTER COLUMN add_cd TYPE add_cd,
ALTER COLUMN second_add_cd TYPE add_cd,
DROP CONSTRAINT reading_eye_prism, ALTER COLUMN prism_in_cd TYPE prism_cd,
ALTER COLUMN prism_up_cd TYPE prism_cd,
DROP CONSTRAINT reading_eye_cornea, ALTER COLUMN flat_um TYPE radius_um,
ALTER COLUMN flat_cd TYPE corneal_cd,
ALTER COLUMN flat_axis_cdeg TYPE axis_cdeg,
ALTER COLUMN steep_um TYPE radius_um, ALTER COLUMN steep_cd TYPE corneal_cd,
ALTER COLUMN steep_axis_cdeg TYPE axis_cdeg,
DROP CONSTRAINT reading_eye_logmar, ALTER COLUMN logmar TYPE logmar,
DROP CONSTRAINT reading_eye_power_whole,
ADD CONSTRAINT reading_eye_power_whole
CHECK (num_nulls(sph_cd, cyl_cd, m, j0, j45) IN (0, 5));

ALTER TABLE entry
DROP CONSTRAINT entry_origin, ALTER COLUMN origin TYPE entry_origin,
DROP CONSTRAINT entry_vectors_whole, ADD CONSTRAINT entry_vectors_whole CHECK (
    num_nulls(right_m, right_j0, right_j45) IN (0, 3)
    AND num_nulls(left_m, left_j0, left_j45) IN (0, 3)
);

-- A network stays for ever.  With that its rows need not look for it one by
-- one, each leaving a lock on the one row that all of them share.
CREATE FUNCTION network_stays() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'network % can''t be removed or renumbered',
        OLD.network_id USING ERRCODE = 'integrity_constraint_violation';
END
$$;
CREATE TRIGGER network_stays
BEFORE DELETE OR UPDATE OF network_id ON network
FOR EACH ROW EXECUTE FUNCTION network_stays();
ALTER TABLE reading DROP CONSTRAINT reading_network;
ALTER TABLE audit DROP CONSTRAINT audit_network;

-- Whom readings name, one row a place: the patient whom the identifiers
-- single out, and by what; see reading.matched.
CREATE FUNCTION find_patients(
    networks uuid [], ref_id uuid [], ref_number text [], ref_family text [],
    ref_given text [], ref_born text []
)
RETURNS TABLE (ord integer, named uuid, matched text)
LANGUAGE sql STABLE AS $$
    WITH x AS (
        SELECT
            r.ord::integer AS ord, r.network_id, ref_id[r.ord] AS id,
            ref_number[r.ord] AS number, ref_family[r.ord] AS family,
            ref_given[r.ord] AS given, ref_born[r.ord] AS born
        FROM unnest(networks) WITH ORDINALITY AS r (network_id, ord)
    )

    SELECT
        x.ord, coalesce(i.patient_id, p.patient_id, s.patient_id),
        CASE
            WHEN coalesce(x.id::text, x.number, x.family, x.given) IS NULL
                THEN 'none'
            WHEN x.id IS NOT NULL THEN
                CASE
                    WHEN i.patient_id IS NULL THEN 'unknown'
                    WHEN p.patient_id <> i.patient_id
                        OR i.record_number <> x.number
                        OR i.family_fold <> x.family
                        OR NOT (starts_with(i.born, x.born)
                            OR starts_with(x.born, i.born)) THEN 'mismatch'
                    ELSE 'id'
                END
            WHEN x.number IS NOT NULL THEN
                CASE
                    WHEN p.patient_id IS NULL THEN 'unknown'
                    WHEN p.family_fold <> x.family
                        OR NOT (starts_with(p.born, x.born)
                            OR starts_with(x.born, p.born)) THEN 'mismatch'
                    ELSE 'number'
                END
            WHEN s.patient_id IS NULL THEN 'unknown'
            ELSE 'names'
        END
    FROM x
    LEFT JOIN patient AS i
        ON i.network_id = x.network_id AND i.patient_id = x.id
    LEFT JOIN patient AS p
        ON p.network_id = x.network_id AND p.record_number = x.number
    LEFT JOIN LATERAL (
        SELECT (array_agg(q.patient_id))[1] AS patient_id
        FROM patient AS q
        WHERE x.id IS NULL AND x.number IS NULL AND x.born IS NOT NULL
            AND coalesce(x.family, x.given) IS NOT NULL
            AND q.network_id = x.network_id
            AND q.family_fold = coalesce(x.family, '')
            AND q.given_fold = coalesce(x.given, '') AND q.born = x.born
        HAVING count(*) = 1
    ) AS s ON true
$$;

-- Readings of any networks.  Arrays run in parallel, one place a reading;
-- e_* one place an eye, o_* one place a body; e_ord is the place of its
-- reading, from 1.  For each reading at most one row comes back; none means
-- that its token is dead.
--   created    it is stored now
--   present    the same reading stood there already
--   replayed   its idempotency key was used with the same body
--   key-reused its idempotency key was used with another body
-- All readings of a body share its key and stand or fall by it.  The same key
-- with two bodies in one call breaks the key's uniqueness and so the call;
-- sent again one by one, the first keeps the key.
-- After anything but created a message goes into the log of changes, so that
-- the commit waits for the replica as a new row's would.
CREATE FUNCTION store_readings(
    in_token bytea [], in_reading uuid [], in_audit uuid [],
    in_original uuid [], in_part integer [], in_kind text [],
    in_condition text [], in_taken timestamptz [], in_offset integer [],
    in_received timestamptz [], in_serial text [], in_model text [],
    in_manufacturer text [], in_ref_id uuid [], in_ref_number text [],
    in_ref_family text [], in_ref_given text [], in_ref_born text [],
    in_vertex integer [], in_format text [], in_series text [],
    in_hash bytea [], in_body text [], in_brief text [],
    in_rm double precision [], in_rj0 double precision [],
    in_rj45 double precision [], in_lm double precision [],
    in_lj0 double precision [], in_lj45 double precision [],
    in_purpose text [], in_key text [], in_key_hash bytea [],
    in_request text [],
    e_ord integer [], e_eye integer [], e_sph integer [], e_cyl integer [],
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
SET search_path = pg_catalog, public
SET plan_cache_mode = force_generic_plan
SET enable_hashjoin = off SET enable_mergejoin = off SET enable_seqscan = off
AS $$
#variable_conflict use_column
DECLARE
    n CONSTANT integer := cardinality(in_token);
    keyed CONSTANT boolean := cardinality(array_remove(in_key, NULL)) > 0;
    -- By the place of the reading:
    networks uuid[];
    tokens uuid[];
    users uuid[];
    devices uuid[];
    clinics uuid[];
    patients uuid[];
    matches text[];
    -- Places of those to write, and of those written.
    wanted integer[];
    made integer[];
    stored uuid[];
BEGIN
    SELECT
        array_agg(t.network_id), array_agg(t.token_id), array_agg(t.user_id),
        array_agg(t.device_id), array_agg(t.clinic_id),
        array_agg(t.ord) FILTER (WHERE t.network_id IS NOT NULL)
    INTO networks, tokens, users, devices, clinics, wanted
    FROM (
        SELECT
            r.ord::integer AS ord, t.network_id, t.token_id, t.user_id,
            t.device_id, t.clinic_id
        FROM unnest(in_token) WITH ORDINALITY AS r (hash, ord)
        LEFT JOIN token AS t ON t.token_hash = r.hash
            AND t.revoked_at IS NULL AND t.expires_at > now()
        ORDER BY r.ord
    ) AS t;

    IF keyed THEN
        SELECT array_agg(w.ord) INTO wanted
        FROM unnest(wanted) AS w (ord)
        WHERE NOT EXISTS (
            SELECT 1 FROM idempotency AS k
            WHERE k.network_id = networks[w.ord] AND k.key = in_key[w.ord]
                AND k.owner_id = coalesce(users[w.ord], devices[w.ord])
        );
    END IF;

    SELECT
        array_agg(
            CASE WHEN f.matched IN ('id', 'number', 'names')
                THEN f.named END
        ),
        array_agg(f.matched)
    INTO patients, matches
    FROM (
        SELECT * FROM find_patients(
            networks, in_ref_id, in_ref_number, in_ref_family, in_ref_given,
            in_ref_born
        )
        ORDER BY ord
    ) AS f;

    WITH fresh AS (
        INSERT INTO reading (
            network_id, reading_id, kind, condition_key, taken_at,
            taken_offset_min, received_at, token_id, clinic_id, device_id,
            device_serial, device_model, device_manufacturer, patient_id,
            matched, vertex_um, format, series_uid, content_hash,
            original_id, original_part, body
        )
        SELECT
            networks[w.i], in_reading[w.i], in_kind[w.i], in_condition[w.i],
            in_taken[w.i], in_offset[w.i], in_received[w.i], tokens[w.i],
            clinics[w.i], devices[w.i], in_serial[w.i], in_model[w.i],
            in_manufacturer[w.i], patients[w.i], matches[w.i],
            in_vertex[w.i], in_format[w.i], in_series[w.i], in_hash[w.i],
            in_original[w.i], in_part[w.i], in_body[w.i]
        FROM unnest(wanted) AS w (i)
        ON CONFLICT (network_id, content_hash) DO NOTHING
        RETURNING reading.reading_id
    )

    SELECT array_agg(f.reading_id) INTO stored FROM fresh AS f;

    IF cardinality(stored) = cardinality(wanted) THEN
        made := wanted;
    ELSE
        SELECT array_agg(w.i) INTO made
        FROM unnest(wanted) AS w (i) WHERE in_reading[w.i] = ANY (stored);
    END IF;

    IF made IS NOT NULL THEN
        INSERT INTO reading_original (network_id, original_id, media_type,
            bytes)
        SELECT x.network_id, x.original_id, o.media, o.bytes
        FROM (
            SELECT DISTINCT
                networks[w.i] AS network_id, in_original[w.i] AS original_id
            FROM unnest(made) AS w (i)
        ) AS x
        JOIN unnest(o_id, o_media, o_bytes) AS o (original_id, media, bytes)
            ON o.original_id = x.original_id;

        INSERT INTO reading_eye (
            network_id, reading_id, eye, sph_cd, cyl_cd, axis_cdeg, m, j0,
            j45, repeats, spread, add_cd, second_add_cd, prism_in_cd,
            prism_up_cd, flat_um, flat_cd, flat_axis_cdeg, steep_um,
            steep_cd, steep_axis_cdeg, logmar
        )
        SELECT
            networks[e.i], in_reading[e.i], e_eye[e.k], e_sph[e.k],
            e_cyl[e.k], e_axis[e.k], e_m[e.k], e_j0[e.k], e_j45[e.k],
            e_repeats[e.k], e_spread[e.k], e_add[e.k], e_second[e.k],
            e_prism_in[e.k], e_prism_up[e.k], e_flat_um[e.k], e_flat[e.k],
            e_flat_axis[e.k], e_steep_um[e.k], e_steep[e.k],
            e_steep_axis[e.k], e_logmar[e.k]
        FROM unnest(e_ord) WITH ORDINALITY AS e (i, k)
        WHERE cardinality(made) = n OR e.i = ANY (made);

        INSERT INTO entry (
            network_id, entry_id, patient_id, at, origin, kind,
            condition_key, series_uid, clinic_id, right_m, right_j0,
            right_j45, left_m, left_j0, left_j45, purpose, body
        )
        SELECT
            networks[w.i], in_reading[w.i], patients[w.i], in_taken[w.i],
            'reading', in_kind[w.i], in_condition[w.i], in_series[w.i],
            clinics[w.i], in_rm[w.i], in_rj0[w.i], in_rj45[w.i], in_lm[w.i],
            in_lj0[w.i], in_lj45[w.i], in_purpose[w.i], in_brief[w.i]
        FROM unnest(made) AS w (i);

        INSERT INTO audit (
            network_id, audit_id, at, user_id, device_id, token_id, action,
            subject_kind, subject_id, patient_id, request_id
        )
        SELECT
            networks[w.i], in_audit[w.i], in_received[w.i], users[w.i],
            devices[w.i], tokens[w.i], 'reading-stored', 'reading',
            in_reading[w.i], patients[w.i], in_request[w.i]
        FROM unnest(made) AS w (i);

        IF keyed THEN
            INSERT INTO idempotency (
                network_id, owner_id, key, body_hash, status, resource_id
            )
            SELECT DISTINCT ON (1, 2, 3, 4)
                networks[w.i], coalesce(users[w.i], devices[w.i]),
                in_key[w.i], in_key_hash[w.i], 201, in_reading[w.i]
            FROM unnest(made) AS w (i)
            WHERE in_key[w.i] IS NOT NULL;
        END IF;

        RETURN QUERY
        SELECT
            w.i, 'created', in_reading[w.i], patients[w.i], matches[w.i], 201
        FROM unnest(made) AS w (i);
    END IF;

    IF coalesce(cardinality(made), 0) < n THEN
        PERFORM pg_logical_emit_message(true, 'repeat', '');
        RETURN QUERY SELECT * FROM append_readings_repeats(
            in_token, in_hash, in_key, in_key_hash, made);
    END IF;
END
$$;

REVOKE ALL ON FUNCTION find_patients, store_readings FROM PUBLIC;
GRANT EXECUTE ON FUNCTION find_patients TO lensclerk_append;
GRANT CREATE ON SCHEMA public TO lensclerk_append;
ALTER FUNCTION store_readings OWNER TO lensclerk_append;
REVOKE CREATE ON SCHEMA public FROM lensclerk_append;
GRANT EXECUTE ON FUNCTION store_readings TO lensclerkd;
