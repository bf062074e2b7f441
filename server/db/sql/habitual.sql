-- The glasses that a patient wears.

-- One row when the patient is there: the pair for a purpose (2), and what a
-- person named last.
-- name: habitual_get
SELECT
    coalesce(p.survivor_id, p.patient_id) AS patient_id,
    habitual_of(p.patient_id, $2::text) AS entry_id,
    c.entry_id AS chosen, c.choice_id,
    (extract(epoch FROM c.at) * 1000000)::bigint AS chosen_us, c.user_id,
    c.display
FROM patient AS p
LEFT JOIN LATERAL (
    SELECT h.entry_id, h.choice_id, h.at, h.user_id, u.display
    FROM habitual_choice AS h
    JOIN entry AS e ON e.entry_id = h.entry_id
    JOIN patient_family($1::uuid) AS f (id) ON f.id = h.patient_id
    JOIN patient_family($1::uuid) AS g (id) ON g.id = e.patient_id
    LEFT JOIN app_user AS u ON u.user_id = h.user_id
    WHERE coalesce(h.purpose, e.purpose, 'distance') = $2::text
    ORDER BY h.choice_id DESC
    LIMIT 1
) AS c ON true
WHERE p.patient_id = $1::uuid

-- All pairs on record, newest first.
-- name: habitual_pairs
SELECT
    entry_id, origin, kind,
    (extract(epoch FROM at) * 1000000)::bigint AS at_us, pair, purpose,
    made_on, worn, sided(body, side) AS body
FROM entry
WHERE patient_id IN (SELECT f.id FROM patient_family($1::uuid) AS f (id))
    AND (
        kind = 'lensometry' OR condition_key = 'subjective/prescription'
        OR origin IN ('typed', 'prescription')
    )
ORDER BY at DESC, entry_id DESC
LIMIT 100

-- name: habitual_choose
WITH done AS (
    INSERT INTO habitual_choice (choice_id, patient_id, entry_id, purpose)
    SELECT $1::uuid, e.patient_id, e.entry_id, $4
    FROM entry AS e
    JOIN patient_family($2::uuid) AS f (id) ON f.id = e.patient_id
    WHERE e.entry_id = $3::uuid
    RETURNING choice_id, patient_id, entry_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id)
    SELECT 'entry', entry_id, patient_id FROM done
),

kept AS (
    SELECT remember_answer(201, $5::text, $2::uuid, $6::text) AS kept
    FROM done
)

SELECT done.choice_id FROM done LEFT JOIN kept ON true

-- A pair typed from glasses without an instrument, or from a prescription by
-- somebody else, and named at once.
-- name: habitual_type
WITH typed AS (
    INSERT INTO entry (
        entry_id, patient_id, at, origin, kind, condition_key, clinic_id,
        right_m, right_j0, right_j45, left_m, left_j0, left_j45, pair,
        purpose, made_on, worn, body
    )
    SELECT
        $3::uuid, coalesce(p.survivor_id, p.patient_id), $7::timestamptz, $8::text,
        $8::text, $8::text, $9::uuid,
        $10::double precision, $11::double precision, $12::double precision,
        $13::double precision, $14::double precision, $15::double precision,
        $16, $4, $17, $18, $19
    FROM patient AS p
    WHERE p.patient_id = $2::uuid
    RETURNING entry_id, patient_id
),

done AS (
    INSERT INTO habitual_choice (choice_id, patient_id, entry_id, purpose)
    SELECT $1::uuid, patient_id, entry_id, $4 FROM typed
    RETURNING choice_id, patient_id, entry_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id)
    SELECT 'entry', entry_id, patient_id FROM done
),

kept AS (
    SELECT remember_answer(201, $5::text, $2::uuid, $6::text) AS kept
    FROM done
)

SELECT done.choice_id FROM done LEFT JOIN kept ON true
