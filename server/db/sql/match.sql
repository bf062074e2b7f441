-- Who could be whom: candidates for readings of the tray and for duplicates.

-- For each thing asked about (its place in 1 and 4 and 6): records with a word
-- in a range (2, 3), born on a day (5), or with a visit at a clinic (7) on the
-- day of an instant (8).  A record that was merged stands with its survivor.
-- name: match_candidates
WITH hit AS MATERIALIZED (
    SELECT a.ord, w.patient_id, false AS visited
    FROM unnest($1::text []::integer [], $2::text [], $3::text [])
        AS a (ord, lowest, above)
    CROSS JOIN LATERAL (
        SELECT w.patient_id FROM patient_word AS w
        WHERE w.word >= a.lowest AND w.word < a.above
        ORDER BY w.word, w.patient_id
        LIMIT 60
    ) AS w
    UNION ALL
    SELECT b.ord, p.patient_id, false
    FROM unnest($4::text []::integer [], $5::text []) AS b (ord, born)
    CROSS JOIN LATERAL (
        SELECT p.patient_id FROM patient AS p
        WHERE p.born = b.born
        LIMIT 100
    ) AS p
    UNION ALL
    SELECT v.ord, x.patient_id, true
    FROM unnest(
        $6::text []::integer [], $7::text []::uuid [],
        $8::text []::timestamptz []
    ) AS v (ord, clinic_id, at)
    JOIN clinic AS c ON c.clinic_id = v.clinic_id
    CROSS JOIN LATERAL (
        SELECT (v.at AT TIME ZONE c.time_zone)::date AS day
    ) AS d
    CROSS JOIN LATERAL (
        SELECT x.patient_id FROM visit AS x
        WHERE x.clinic_id = v.clinic_id AND x.status <> 'cancelled'
            AND x.at >= d.day::timestamp AT TIME ZONE c.time_zone
            AND x.at < (d.day + 1)::timestamp AT TIME ZONE c.time_zone
        ORDER BY x.at
        LIMIT 200
    ) AS x
),

found AS (
    SELECT hit.ord, hit.patient_id, bool_or(hit.visited) AS visited
    FROM hit
    GROUP BY hit.ord, hit.patient_id
)

SELECT
    f.ord, s.patient_id, s.record_number, s.family, s.given, s.born,
    p.patient_id AS own_id, p.record_number AS own_number,
    p.family AS own_family, p.given AS own_given, p.born AS own_born,
    f.visited
FROM found AS f
JOIN patient AS p ON p.patient_id = f.patient_id
JOIN patient AS s ON s.patient_id = coalesce(p.survivor_id, p.patient_id)
ORDER BY f.ord, s.patient_id

-- How many patients there are; a hundred thousand are as good as more.
-- name: match_people
SELECT count(*) FROM (SELECT 1 FROM patient LIMIT 100000) AS p

-- The newest refractions of persons (1), over all of each one's records,
-- without one reading or entry (2).
-- name: match_refractions
SELECT
    coalesce(p.survivor_id, p.patient_id) AS patient_id,
    (extract(epoch FROM e.at) * 1000000)::bigint AS at_us, e.kind,
    e.condition_key, e.right_m, e.right_j0, e.right_j45, e.left_m, e.left_j0,
    e.left_j45, e.entry_id, e.series_uid
FROM unnest($1::text []::uuid []) AS a (patient_id)
CROSS JOIN LATERAL patient_family(a.patient_id) AS f (id)
JOIN patient AS p ON p.patient_id = f.id
CROSS JOIN LATERAL (
    SELECT * FROM entry AS x
    WHERE x.patient_id = f.id AND NOT x.superseded
        AND (x.right_m IS NOT NULL OR x.left_m IS NOT NULL)
        AND x.kind <> 'over-refraction'
        AND ($2::uuid IS NULL OR x.entry_id <> $2::uuid)
    ORDER BY x.at DESC, x.entry_id DESC
    LIMIT 20
) AS e
ORDER BY 1, e.at DESC
