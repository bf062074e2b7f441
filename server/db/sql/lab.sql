-- Labs.

-- All of the network, or (2) one's own.
-- name: lab_list
SELECT lab_id, version, name, address, telephone, closed
FROM lab
WHERE lab_id < $1::uuid AND ($2::uuid IS NULL OR lab_id = $2::uuid)
ORDER BY lab_id DESC
LIMIT $3::integer

-- name: lab_get
SELECT lab_id, version, name, address, telephone, closed
FROM lab
WHERE lab_id = $1::uuid AND ($2::uuid IS NULL OR lab_id = $2::uuid)

-- name: lab_add
WITH done AS (
    INSERT INTO lab (lab_id, name, address, telephone, closed)
    VALUES ($1::uuid, $2, $3, $4, $5::boolean)
    RETURNING lab_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id)
    SELECT 'lab', lab_id FROM done
),

kept AS (
    SELECT remember_answer(201, $6::text, $1::uuid, '1') AS kept FROM done
)

SELECT done.lab_id FROM done LEFT JOIN kept ON true

-- name: lab_change
WITH done AS (
    UPDATE lab
    SET
        name = $3, address = $4, telephone = $5, closed = $6::boolean,
        version = version + 1
    WHERE lab_id = $1::uuid AND version = $2::integer
    RETURNING lab_id, version
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, detail)
    SELECT 'lab', lab_id, $7::text FROM done
)

SELECT version FROM done
