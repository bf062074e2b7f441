-- Entries as an exam starts from them and a delta compares them.

-- name: entry_named
SELECT
    e.entry_id, coalesce(p.survivor_id, e.patient_id) AS patient_id, e.origin,
    e.kind, (extract(epoch FROM e.at) * 1000000)::bigint AS at_us,
    e.superseded, sided(e.body, e.side) AS body
FROM entry AS e
LEFT JOIN patient AS p ON p.patient_id = e.patient_id
WHERE e.entry_id = ANY ($1::text []::uuid [])
