-- Entries as an exam starts from them and a delta compares them.

-- name: entry_named
SELECT
    entry_id, patient_id, origin, kind,
    (extract(epoch FROM at) * 1000000)::bigint AS at_us, superseded, body
FROM entry
WHERE entry_id = ANY ($1::text []::uuid [])
