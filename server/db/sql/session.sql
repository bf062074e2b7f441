-- Sessions: tokens of people who signed in with a password.

-- Checking the password took a while: whoever was disabled or got another
-- password meanwhile stays out, and a change that comes now waits for this
-- row and then ends the session with the others.
-- name: session_add
WITH who AS MATERIALIZED (
    SELECT user_id, role, clinic_id, lab_id
    FROM app_user
    WHERE user_id = $3::uuid AND password_hash = $4::text AND NOT disabled
    FOR SHARE
),

made AS (
    INSERT INTO token (
        token_id, token_hash, kind, user_id, role, clinic_id, lab_id,
        expires_at
    )
    SELECT
        $1::uuid, $2::bytea, 'session', who.user_id, who.role,
        who.clinic_id, who.lab_id, $5::timestamptz
    FROM who
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
