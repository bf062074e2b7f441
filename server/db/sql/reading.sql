-- Readings and the entries of the timeline.

-- name: reading_get
SELECT
    e.entry_id, coalesce(p.survivor_id, e.patient_id) AS patient_id,
    e.version, r.matched, sided(r.body, e.side) AS body, e.kind, e.side
FROM entry AS e
JOIN reading AS r ON r.reading_id = e.entry_id
LEFT JOIN patient AS p ON p.patient_id = e.patient_id
WHERE e.entry_id = $1::uuid

-- name: reading_original
SELECT
    o.media_type, encode(o.bytes, 'base64'),
    coalesce(p.survivor_id, e.patient_id) AS patient_id
FROM reading AS r
JOIN reading_original AS o ON o.original_id = r.original_id
JOIN entry AS e ON e.entry_id = r.reading_id
LEFT JOIN patient AS p ON p.patient_id = e.patient_id
WHERE r.reading_id = $1::uuid

-- name: reading_tray
SELECT
    e.entry_id, e.patient_id, e.version, r.matched,
    sided(r.body, e.side) AS body, e.kind, e.side, r.clinic_id
FROM entry AS e
JOIN reading AS r ON r.reading_id = e.entry_id
WHERE e.patient_id IS NULL AND ($1::uuid IS NULL OR e.entry_id < $1::uuid)
ORDER BY e.entry_id DESC
LIMIT $2::integer

-- name: reading_list
SELECT
    e.entry_id, coalesce(p.survivor_id, e.patient_id) AS patient_id,
    e.version, r.matched, sided(r.body, e.side) AS body, e.kind, e.side
FROM reading AS r
JOIN entry AS e ON e.entry_id = r.reading_id
LEFT JOIN patient AS p ON p.patient_id = e.patient_id
WHERE ($1::uuid IS NULL OR r.reading_id < $1::uuid)
ORDER BY r.reading_id DESC
LIMIT $2::integer

-- The newest corneas of a person (1), without one reading (2).
-- name: reading_corneas
SELECT k.eye, k.flat_cd, k.flat_axis_cdeg, k.steep_cd
FROM patient_family($1::uuid) AS f (id)
JOIN entry AS e ON e.patient_id = f.id
JOIN reading_eye AS k ON k.reading_id = e.entry_id
WHERE e.kind IN ('keratometry', 'autorefraction') AND e.entry_id <> $2::uuid
    AND k.eye IN (1, 2) AND k.flat_cd IS NOT NULL AND k.steep_cd IS NOT NULL
    AND k.flat_axis_cdeg IS NOT NULL
ORDER BY e.at DESC, e.entry_id DESC
LIMIT 20

-- name: reading_claim
WITH claimed AS (
    UPDATE entry SET patient_id = $2::uuid, version = version + 1
    WHERE entry_id = $1::uuid AND origin = 'reading'
        AND version = $3::integer
        AND EXISTS (
            SELECT 1 FROM patient WHERE patient_id = $2::uuid
        )
    RETURNING entry_id, patient_id
),

noted AS (
    INSERT INTO reading_claim (claim_id, reading_id, patient_id, reason)
    SELECT $4::uuid, claimed.entry_id, claimed.patient_id, $5::text
    FROM claimed
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id)
    SELECT 'reading', claimed.entry_id, claimed.patient_id
    FROM claimed
)

SELECT claimed.entry_id FROM claimed

-- name: reading_unclaim
WITH freed AS (
    UPDATE entry SET patient_id = NULL, version = version + 1
    WHERE entry_id = $1::uuid AND origin = 'reading'
        AND version = $2::integer
    RETURNING entry_id
),

noted AS (
    INSERT INTO reading_claim (claim_id, reading_id, reason)
    SELECT $3::uuid, freed.entry_id, $5::text
    FROM freed
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id)
    SELECT 'reading', freed.entry_id, $4::uuid
    FROM freed
)

SELECT freed.entry_id FROM freed

-- The epoch as double precision is exact to the microsecond here and ten
-- times cheaper than extract's numeric.

-- The last column: others were merged with this one (timeline_family then).
-- name: timeline
SELECT
    entry_id, version, (date_part('epoch', at) * 1000000)::bigint, origin,
    kind, condition_key, series_uid, right_m, right_j0, right_j45, left_m,
    left_j0, left_j45, sided(body, side), (
        SELECT
            p.survivor_id IS NOT NULL OR EXISTS (
                SELECT 1 FROM patient AS m WHERE m.survivor_id = $1::uuid
            )
        FROM patient AS p
        WHERE p.patient_id = $1::uuid
    )
FROM entry
WHERE patient_id = $1::uuid AND NOT superseded
ORDER BY at DESC, entry_id DESC
LIMIT $2::integer

-- From a place on; a series whose newest instance stood before it was shown
-- whole there.

-- name: timeline_after
SELECT
    e.entry_id, e.version, (date_part('epoch', e.at) * 1000000)::bigint,
    e.origin, e.kind, e.condition_key, e.series_uid, e.right_m, e.right_j0,
    e.right_j45, e.left_m, e.left_j0, e.left_j45, sided(e.body, e.side), (
        SELECT
            p.survivor_id IS NOT NULL OR EXISTS (
                SELECT 1 FROM patient AS m WHERE m.survivor_id = $1::uuid
            )
        FROM patient AS p
        WHERE p.patient_id = $1::uuid
    )
FROM entry AS e
WHERE e.patient_id = $1::uuid AND NOT e.superseded
    AND (e.at, e.entry_id) < ($3::timestamptz, $4::uuid)
    AND NOT EXISTS (
        SELECT 1 FROM entry AS s
        WHERE s.patient_id = $1::uuid AND NOT s.superseded
            AND s.series_uid = e.series_uid AND s.kind = e.kind
            AND (s.at, s.entry_id) >= ($3::timestamptz, $4::uuid)
    )
ORDER BY e.at DESC, e.entry_id DESC
LIMIT $2::integer

-- The same over all records of a person, from a place on or (null) the start.
-- name: timeline_family
SELECT
    e.entry_id, e.version, (date_part('epoch', e.at) * 1000000)::bigint,
    e.origin, e.kind, e.condition_key, e.series_uid, e.right_m, e.right_j0,
    e.right_j45, e.left_m, e.left_j0, e.left_j45, sided(e.body, e.side), true
FROM patient_family($1::uuid) AS f (id)
JOIN entry AS e ON e.patient_id = f.id
WHERE NOT e.superseded
    AND (
        $3::timestamptz IS NULL
        OR (e.at, e.entry_id) < ($3::timestamptz, $4::uuid)
    )
    AND ($3::timestamptz IS NULL OR e.series_uid IS NULL OR NOT EXISTS (
        SELECT 1
        FROM patient_family($1::uuid) AS g (id)
        JOIN entry AS s ON s.patient_id = g.id
        WHERE NOT s.superseded
            AND s.series_uid = e.series_uid AND s.kind = e.kind
            AND (s.at, s.entry_id) >= ($3::timestamptz, $4::uuid)
    ))
ORDER BY e.at DESC, e.entry_id DESC
LIMIT $2::integer

-- Who is there, and whether others were merged with it.
-- name: patient_exists
SELECT
    coalesce(p.survivor_id, p.patient_id) AS patient_id,
    p.survivor_id IS NOT NULL OR EXISTS (
        SELECT 1 FROM patient AS m WHERE m.survivor_id = $1::uuid
    ) AS family
FROM patient AS p
WHERE p.patient_id = $1::uuid
