-- Visits.

-- What a visit's answer needs of its patient and clinic, at an instant.
-- name: visit_place
SELECT
    p.patient_id, p.record_number, p.family, p.given, p.born, c.clinic_id,
    c.closed,
    (extract(epoch FROM
        ($3::timestamptz AT TIME ZONE c.time_zone)
        - ($3::timestamptz AT TIME ZONE 'UTC')) / 60)::integer AS offset_min
FROM (SELECT 1) AS one
LEFT JOIN patient AS asked ON asked.patient_id = $1::uuid
LEFT JOIN patient AS p
    ON p.patient_id = coalesce(asked.survivor_id, asked.patient_id)
LEFT JOIN clinic AS c ON c.clinic_id = $2::uuid

-- name: visit_add
WITH done AS (
    INSERT INTO visit (visit_id, patient_id, clinic_id, at, reason, status)
    VALUES ($1::uuid, $2::uuid, $3::uuid, $4::timestamptz, $5, $6)
    RETURNING visit_id, patient_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id)
    SELECT 'visit', visit_id, patient_id FROM done
),

kept AS (
    SELECT remember_answer(201, $7::text, $1::uuid, '1') AS kept FROM done
)

SELECT done.visit_id FROM done LEFT JOIN kept ON true

-- name: visit_get
SELECT
    ''::text AS after, v.visit_id, v.version, p.patient_id, p.record_number,
    p.family, p.given, p.born, v.clinic_id,
    (extract(epoch FROM v.at) * 1000000)::bigint AS at_us,
    (extract(epoch FROM
        (v.at AT TIME ZONE c.time_zone) - (v.at AT TIME ZONE 'UTC')) / 60
    )::integer AS offset_min,
    v.reason, v.status,
    (extract(epoch FROM v.created_at) * 1000000)::bigint AS created_us,
    (extract(epoch FROM
        ($2::timestamptz AT TIME ZONE c.time_zone)
        - ($2::timestamptz AT TIME ZONE 'UTC')) / 60)::integer AS new_offset
FROM visit AS v
JOIN patient AS own ON own.patient_id = v.patient_id
JOIN patient AS p ON p.patient_id = coalesce(own.survivor_id, own.patient_id)
JOIN clinic AS c ON c.clinic_id = v.clinic_id
WHERE v.visit_id = $1::uuid

-- name: visit_change
WITH done AS (
    UPDATE visit
    SET
        at = $3::timestamptz, reason = $4, status = $5,
        version = version + 1
    WHERE visit_id = $1::uuid AND version = $2::integer
    RETURNING visit_id, patient_id, version
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'visit', visit_id, patient_id, $6::text FROM done
)

SELECT version FROM done

-- A day is the clinic's own: its bounds are instants that differ from zone to
-- zone.  They are made first, because a time zone's function would cost the
-- index under row security.  Clinic (1; null: all), day (2; null: the clinic's
-- today at $3), what to go on before (4, 5), limit (6).
-- name: visit_list_day
WITH day AS MATERIALIZED (
    SELECT
        c.clinic_id, c.time_zone,
        d.day::timestamp AT TIME ZONE c.time_zone AS starts,
        (d.day + 1)::timestamp AT TIME ZONE c.time_zone AS ends
    FROM clinic AS c
    CROSS JOIN LATERAL (
        SELECT coalesce(
            $2::date, ($3::timestamptz AT TIME ZONE c.time_zone)::date
        ) AS day
    ) AS d
    WHERE $1::uuid IS NULL OR c.clinic_id = $1::uuid
)

SELECT
    (extract(epoch FROM v.at) * 1000000)::bigint || '.' || v.visit_id AS after,
    v.visit_id, v.version, p.patient_id, p.record_number, p.family, p.given,
    p.born, v.clinic_id,
    (extract(epoch FROM v.at) * 1000000)::bigint AS at_us,
    (extract(epoch FROM
        (v.at AT TIME ZONE day.time_zone) - (v.at AT TIME ZONE 'UTC')) / 60
    )::integer AS offset_min,
    v.reason, v.status,
    (extract(epoch FROM v.created_at) * 1000000)::bigint AS created_us
FROM day
JOIN visit AS v ON v.clinic_id = day.clinic_id
    AND v.at >= day.starts AND v.at < day.ends
JOIN patient AS own ON own.patient_id = v.patient_id
JOIN patient AS p ON p.patient_id = coalesce(own.survivor_id, own.patient_id)
WHERE (v.at, v.visit_id) < ($4::timestamptz, $5::uuid)
ORDER BY v.at DESC, v.visit_id DESC
LIMIT $6::integer

-- One patient's: clinic and day may be null.
-- name: visit_list_patient
SELECT
    (extract(epoch FROM v.at) * 1000000)::bigint || '.' || v.visit_id AS after,
    v.visit_id, v.version, p.patient_id, p.record_number, p.family, p.given,
    p.born, v.clinic_id,
    (extract(epoch FROM v.at) * 1000000)::bigint AS at_us,
    (extract(epoch FROM
        (v.at AT TIME ZONE c.time_zone) - (v.at AT TIME ZONE 'UTC')) / 60
    )::integer AS offset_min,
    v.reason, v.status,
    (extract(epoch FROM v.created_at) * 1000000)::bigint AS created_us
FROM visit AS v
JOIN clinic AS c ON c.clinic_id = v.clinic_id
JOIN patient AS own ON own.patient_id = v.patient_id
JOIN patient AS p ON p.patient_id = coalesce(own.survivor_id, own.patient_id)
WHERE v.patient_id IN (SELECT f.id FROM patient_family($1::uuid) AS f (id))
    AND ($2::uuid IS NULL OR v.clinic_id = $2::uuid)
    AND (
        $3::date IS NULL OR (v.at AT TIME ZONE c.time_zone)::date = $3::date
    )
    AND (v.at, v.visit_id) < ($4::timestamptz, $5::uuid)
ORDER BY v.at DESC, v.visit_id DESC
LIMIT $6::integer
