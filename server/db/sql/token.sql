-- Bearer tokens.  Their secret is never here, only its hash.

-- name: token_list
SELECT
    t.token_id, t.kind, t.role, t.user_id, u.name AS user_name, t.device_id,
    d.name AS device_name, t.label,
    (extract(epoch FROM t.created_at) * 1000000)::bigint AS created_us,
    (extract(epoch FROM t.expires_at) * 1000000)::bigint AS expires_us,
    (extract(epoch FROM t.revoked_at) * 1000000)::bigint AS revoked_us
FROM token AS t
LEFT JOIN app_user AS u ON u.user_id = t.user_id
LEFT JOIN device AS d ON d.device_id = t.device_id
WHERE t.token_id < $1::uuid
ORDER BY t.token_id DESC
LIMIT $2::integer

-- name: token_get
SELECT token_id FROM token WHERE token_id = $1::uuid

-- name: token_owner
SELECT
    u.user_id, u.role, u.disabled, d.device_id, d.retired
FROM (SELECT 1) AS one
LEFT JOIN app_user AS u ON u.user_id = $1::uuid
LEFT JOIN device AS d ON d.device_id = $2::uuid

-- The owner's row is locked, so that a token is made either before a change of
-- the owner, which then revokes it, or after, with what stands then.
-- name: token_add_user
WITH who AS MATERIALIZED (
    SELECT user_id, role, clinic_id, lab_id
    FROM app_user
    WHERE user_id = $1::uuid AND NOT disabled
    FOR SHARE
),

done AS (
    INSERT INTO token (
        token_id, token_hash, kind, user_id, role, clinic_id, lab_id, label,
        created_at, expires_at
    )
    SELECT
        $2::uuid, $3::bytea, 'bearer', who.user_id, who.role, who.clinic_id,
        who.lab_id, $4, app_at(), $5::timestamptz
    FROM who
    RETURNING token_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id)
    SELECT 'token', token_id FROM done
)

SELECT token_id FROM done

-- name: token_add_device
WITH who AS MATERIALIZED (
    SELECT device_id, clinic_id
    FROM device
    WHERE device_id = $1::uuid AND NOT retired
    FOR SHARE
),

done AS (
    INSERT INTO token (
        token_id, token_hash, kind, device_id, role, clinic_id, label,
        created_at, expires_at
    )
    SELECT
        $2::uuid, $3::bytea, 'bearer', who.device_id, 'device',
        who.clinic_id, $4, app_at(), $5::timestamptz
    FROM who
    RETURNING token_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id)
    SELECT 'token', token_id FROM done
)

SELECT token_id FROM done
