-- The network itself.

-- name: network_get
SELECT
    network_id, version, name, display, vertex_needed_cd, expiry_months,
    (extract(epoch FROM created_at) * 1000000)::bigint AS created_us,
    expiry_leap_day
FROM network

-- name: network_change
WITH done AS (
    UPDATE network
    SET
        display = $2, vertex_needed_cd = $3::integer,
        expiry_months = $4::integer, expiry_leap_day = $6,
        version = version + 1
    WHERE version = $1::integer
    RETURNING network_id, version
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, detail)
    SELECT 'network', network_id, $5::text FROM done
)

SELECT version FROM done
