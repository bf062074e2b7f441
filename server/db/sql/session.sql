-- Sessions: tokens of people who signed in with a password.

-- name: session_add
WITH made AS (
    INSERT INTO token (
        token_id, token_hash, kind, user_id, role, clinic_id, lab_id,
        expires_at
    )
    VALUES (
        $1::uuid, $2::bytea, 'session', $3::uuid, $4::text, $5::uuid,
        $6::uuid, $7::timestamptz
    )
    RETURNING token_id, user_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id)
    SELECT 'user', made.user_id
    FROM made
)

SELECT made.token_id FROM made

-- name: token_revoke
WITH done AS (
    UPDATE token SET revoked_at = now()
    WHERE token_id = $1::uuid AND revoked_at IS NULL
    RETURNING token_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id)
    SELECT 'token', done.token_id
    FROM done
)

SELECT done.token_id FROM done
