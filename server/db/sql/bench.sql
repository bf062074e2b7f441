-- Finished glasses held to their order; rows only grow.

-- Oldest first.
-- name: bench_check_list
SELECT
    b.bench_check_id, (extract(epoch FROM b.at) * 1000000)::bigint AS at_us,
    b.edition, b.profile, b.verdict, b.again_id
FROM bench_check AS b
WHERE b.order_id = $1::uuid
ORDER BY b.bench_check_id

-- Oldest first, whole.
-- name: bench_check_all
SELECT body FROM bench_check
WHERE order_id = $1::uuid
ORDER BY bench_check_id

-- One of an order (1).
-- name: bench_check_get
SELECT bench_check_id, edition, reading_id, measured, body
FROM bench_check
WHERE order_id = $1::uuid AND bench_check_id = $2::uuid

-- Against the edition (2) that was looked at, while there are glasses.
-- name: bench_check_add
WITH done AS (
    UPDATE orders
    SET version = version + 1
    WHERE order_id = $1::uuid AND edition = $2::integer
        AND status IN ('in-progress', 'completed', 'failed')
    RETURNING order_id, patient_id, edition, status, stage
),

checked AS (
    INSERT INTO bench_check (
        bench_check_id, order_id, edition, again_id, reading_id, profile,
        verdict, measured, body
    )
    SELECT
        $3::uuid, order_id, edition, $4::uuid, $5::uuid, $6, $7, $8, $9::text
    FROM done
),

event AS (
    INSERT INTO order_event (order_id, event_id, kind, status, stage, note)
    SELECT order_id, $10::uuid, 'checked', status, stage, $11 FROM done
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'order', order_id, patient_id, $12::text FROM done
),

kept AS (
    SELECT remember_answer(201, $9::text, $1::uuid, '1') AS kept FROM done
)

SELECT done.order_id FROM done LEFT JOIN kept ON true
