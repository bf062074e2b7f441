-- Public keys of signatures; rows only grow, the highest number signs.

-- name: signing_key_now
SELECT key_id, encode(public_key, 'hex') FROM signing_key
ORDER BY number DESC LIMIT 1

-- name: signing_key_list
SELECT
    key_id, encode(public_key, 'hex'), number,
    (extract(epoch FROM made_at) * 1000000)::bigint AS made_us
FROM signing_key
ORDER BY number DESC

-- No row when another daemon was first.  With an answer (3) it was asked for.
-- name: signing_key_add
WITH done AS (
    INSERT INTO signing_key (key_id, number, public_key)
    SELECT $1::uuid, coalesce(max(number), 0) + 1, decode($2::text, 'hex')
    FROM signing_key
    ON CONFLICT ON CONSTRAINT signing_key_number_taken DO NOTHING
    RETURNING key_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, detail)
    SELECT 'key', key_id, $4::text FROM done
),

kept AS (
    SELECT remember_answer(201, $3::text, $1::uuid, '1') AS kept
    FROM done WHERE $3::text IS NOT NULL
)

SELECT done.key_id FROM done LEFT JOIN kept ON true

-- By anybody, before a network is known.
-- name: signing_key_by_id
SELECT key_id, encode(public_key, 'hex'), made_us
FROM signing_key_by_id($1::uuid)
