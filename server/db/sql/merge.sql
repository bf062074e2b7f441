-- Patients found to be one person, and taken apart again.

-- Whom the survivor of an id has in it, oldest merge first.
-- name: patient_merged
SELECT
    m.patient_id, m.merged_into, m.record_number, m.family, m.given, m.born,
    (extract(epoch FROM h.at) * 1000000)::bigint AS at_us
FROM patient AS p
JOIN patient AS m ON m.survivor_id = coalesce(p.survivor_id, p.patient_id)
CROSS JOIN LATERAL (
    SELECT g.merge_id, g.at FROM patient_merge AS g
    WHERE g.patient_id = m.patient_id
    ORDER BY g.merge_id DESC
    LIMIT 1
) AS h
WHERE p.patient_id = $1::uuid
ORDER BY h.merge_id

-- A patient by its own row, merged or not.
-- name: patient_own
SELECT
    patient_id, version, record_number, family, given, born, survivor_id,
    merged_into
FROM patient
WHERE patient_id = $1::uuid

-- Both must stand at the versions that were seen and be merged into nobody.
-- Rows keep their patient; what shows another one now counts as changed.
-- name: patient_merge
WITH held AS MATERIALIZED (
    SELECT patient_id
    FROM patient
    WHERE survivor_id IS NULL AND (
        (patient_id = $1::uuid AND version = $2::integer)
        OR (patient_id = $3::uuid AND version = $4::integer)
    )
    ORDER BY patient_id
    FOR UPDATE
),

both_held AS (SELECT count(*) AS n FROM held HAVING count(*) = 2),

gone AS (
    UPDATE patient
    SET
        merged_into = CASE
            WHEN patient_id = $3::uuid THEN $1::uuid ELSE merged_into
        END,
        survivor_id = $1::uuid, version = version + 1
    FROM both_held
    WHERE patient_id = $3::uuid OR survivor_id = $3::uuid
    RETURNING patient_id
),

stays AS (
    UPDATE patient SET version = version + 1
    FROM both_held
    WHERE patient_id = $1::uuid
    RETURNING patient_id
),

entries AS (
    UPDATE entry SET version = version + 1
    FROM gone WHERE entry.patient_id = gone.patient_id
),

visits AS (
    UPDATE visit SET version = version + 1
    FROM gone WHERE visit.patient_id = gone.patient_id
),

exams AS (
    UPDATE exam SET version = version + 1
    FROM gone WHERE exam.patient_id = gone.patient_id
),

placed AS (
    UPDATE orders SET version = version + 1
    FROM gone WHERE orders.patient_id = gone.patient_id
),

noted AS (
    INSERT INTO patient_merge (merge_id, patient_id, into_id, reason)
    SELECT $5::uuid, $3::uuid, stays.patient_id, $6::text FROM stays
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'patient', $3::uuid, stays.patient_id, $7::text FROM stays
)

SELECT stays.patient_id FROM stays

-- Readings that claimed themselves for the survivor (1) since a patient (2)
-- was merged into it, by an identifier of that one or of who came with it.
-- name: patient_unmerge_back
WITH RECURSIVE tree AS (
    SELECT p.patient_id, p.record_number
    FROM patient AS p
    WHERE p.patient_id = $2::uuid
    UNION ALL
    SELECT m.patient_id, m.record_number
    FROM tree JOIN patient AS m ON m.merged_into = tree.patient_id
    WHERE m.survivor_id = $1::uuid
),

since AS (
    SELECT g.at FROM patient_merge AS g
    WHERE g.patient_id = $2::uuid
    ORDER BY g.merge_id DESC
    LIMIT 1
)

SELECT s.reading_id, t.patient_id
FROM (
    SELECT
        r.reading_id,
        ('{' || r.body || '}')::json #>> '{patient_as_sent,id}' AS id,
        ('{' || r.body || '}')::json #>> '{patient_as_sent,record_number}'
            AS number
    FROM since
    CROSS JOIN entry AS e
    JOIN reading AS r ON r.reading_id = e.entry_id
    WHERE e.patient_id = $1::uuid AND r.patient_id = $1::uuid
        AND r.matched IN ('id', 'number') AND r.received_at >= since.at
        AND NOT EXISTS (
            SELECT 1 FROM reading_claim AS c
            WHERE c.reading_id = r.reading_id
        )
) AS s
JOIN tree AS t ON t.patient_id::text = s.id
    OR (s.id IS NULL AND t.record_number = s.number)
ORDER BY s.reading_id

-- Readings (8) and whose they are again (9), with the ids of those claims
-- (10).
-- name: patient_unmerge
WITH RECURSIVE held AS MATERIALIZED (
    SELECT patient_id
    FROM patient
    WHERE (
        patient_id = $1::uuid AND version = $2::integer
        AND survivor_id IS NULL
    ) OR (
        patient_id = $3::uuid AND version = $4::integer
        AND survivor_id = $1::uuid
    )
    ORDER BY patient_id
    FOR UPDATE
),

both_held AS (SELECT count(*) AS n FROM held HAVING count(*) = 2),

tree AS (
    SELECT $3::uuid AS patient_id FROM both_held
    UNION ALL
    SELECT m.patient_id
    FROM tree JOIN patient AS m ON m.merged_into = tree.patient_id
    WHERE m.survivor_id = $1::uuid
),

freed AS (
    UPDATE patient
    SET
        merged_into = CASE
            WHEN patient.patient_id <> $3::uuid THEN merged_into
        END,
        survivor_id = CASE
            WHEN patient.patient_id <> $3::uuid THEN $3::uuid
        END,
        version = version + 1
    FROM tree
    WHERE patient.patient_id = tree.patient_id
    RETURNING patient.patient_id
),

stays AS (
    UPDATE patient SET version = version + 1
    FROM both_held
    WHERE patient_id = $1::uuid
    RETURNING patient_id
),

entries AS (
    UPDATE entry SET version = version + 1
    FROM freed WHERE entry.patient_id = freed.patient_id
),

visits AS (
    UPDATE visit SET version = version + 1
    FROM freed WHERE visit.patient_id = freed.patient_id
),

exams AS (
    UPDATE exam SET version = version + 1
    FROM freed WHERE exam.patient_id = freed.patient_id
),

placed AS (
    UPDATE orders SET version = version + 1
    FROM freed WHERE orders.patient_id = freed.patient_id
),

back AS (
    UPDATE entry SET patient_id = b.patient_id, version = version + 1
    FROM both_held CROSS JOIN unnest(
        $8::text []::uuid [], $9::text []::uuid [], $10::text []::uuid []
    ) AS b (reading_id, patient_id, claim_id)
    WHERE entry.entry_id = b.reading_id AND entry.patient_id = $1::uuid
    RETURNING b.claim_id, b.reading_id, b.patient_id
),

claims AS (
    INSERT INTO reading_claim (claim_id, reading_id, patient_id, reason)
    SELECT back.claim_id, back.reading_id, back.patient_id, 'unmerged'
    FROM back
),

noted AS (
    INSERT INTO patient_merge (merge_id, patient_id, reason)
    SELECT $5::uuid, $3::uuid, $6::text FROM stays
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'patient', $3::uuid, stays.patient_id, $7::text FROM stays
)

SELECT stays.patient_id FROM stays
