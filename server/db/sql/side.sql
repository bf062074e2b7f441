-- The side of a lens that came without one, and whose a reading was.

-- A reading as it came and as it would stand at an eye (2; null: at none).
-- name: reading_side_look
SELECT
    e.entry_id, coalesce(p.survivor_id, e.patient_id) AS patient_id,
    e.version, r.matched, sided(r.body, $2::smallint) AS body, e.side,
    r.body AS as_it_came
FROM entry AS e
JOIN reading AS r ON r.reading_id = e.entry_id
LEFT JOIN patient AS p ON p.patient_id = e.patient_id
WHERE e.entry_id = $1::uuid

-- The figures of the lens count for that eye from now on.
-- name: reading_side_set
WITH done AS (
    UPDATE entry
    SET
        side = $3::smallint, version = version + 1,
        right_m = CASE
            WHEN $3::smallint = 1 THEN k.m
            WHEN entry.side = 1 THEN NULL ELSE right_m
        END,
        right_j0 = CASE
            WHEN $3::smallint = 1 THEN k.j0
            WHEN entry.side = 1 THEN NULL ELSE right_j0
        END,
        right_j45 = CASE
            WHEN $3::smallint = 1 THEN k.j45
            WHEN entry.side = 1 THEN NULL ELSE right_j45
        END,
        left_m = CASE
            WHEN $3::smallint = 2 THEN k.m
            WHEN entry.side = 2 THEN NULL ELSE left_m
        END,
        left_j0 = CASE
            WHEN $3::smallint = 2 THEN k.j0
            WHEN entry.side = 2 THEN NULL ELSE left_j0
        END,
        left_j45 = CASE
            WHEN $3::smallint = 2 THEN k.j45
            WHEN entry.side = 2 THEN NULL ELSE left_j45
        END
    FROM reading_eye AS k
    WHERE entry.entry_id = $1::uuid AND entry.version = $2::integer
        AND k.reading_id = $1::uuid AND k.eye = 4
    RETURNING entry.entry_id, entry.patient_id
),

noted AS (
    INSERT INTO reading_side (side_id, reading_id, eye, reason)
    SELECT $4::uuid, done.entry_id, $3::smallint, $5::text FROM done
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id)
    SELECT 'reading', done.entry_id, done.patient_id FROM done
)

SELECT done.entry_id FROM done

-- Newest first; what it did by itself on arrival is the last one.
-- name: reading_claims
SELECT
    (extract(epoch FROM h.at) * 1000000)::bigint AS at_us, h.patient_id,
    h.matched, h.user_id, u.display, h.reason
FROM (
    SELECT
        c.claim_id AS id, c.at, c.patient_id, NULL::text AS matched,
        c.user_id, c.reason
    FROM reading_claim AS c
    WHERE c.reading_id = $1::uuid
    UNION ALL
    SELECT
        NULL::uuid, r.received_at, r.patient_id, r.matched, NULL::uuid,
        NULL::text
    FROM reading AS r
    WHERE r.reading_id = $1::uuid
) AS h
LEFT JOIN app_user AS u ON u.user_id = h.user_id
ORDER BY h.id DESC NULLS LAST
LIMIT 500
