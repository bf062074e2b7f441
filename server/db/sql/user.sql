-- Users.  The password's hash goes in and is read by sign-in alone.

-- name: user_list
SELECT
    user_id, version, name, display, role, clinic_id, lab_id, licence_number,
    practice_address, disabled, password_hash IS NOT NULL AS may_sign_in,
    (extract(epoch FROM created_at) * 1000000)::bigint AS created_us
FROM app_user
WHERE user_id < $1::uuid
ORDER BY user_id DESC
LIMIT $2::integer

-- name: user_get
SELECT
    user_id, version, name, display, role, clinic_id, lab_id, licence_number,
    practice_address, disabled, password_hash IS NOT NULL AS may_sign_in,
    (extract(epoch FROM created_at) * 1000000)::bigint AS created_us
FROM app_user
WHERE user_id = $1::uuid

-- name: user_add
WITH done AS (
    INSERT INTO app_user (
        user_id, name, display, role, clinic_id, lab_id, licence_number,
        practice_address, disabled, password_hash, created_at
    )
    VALUES (
        $1::uuid, $2, $3, $4, $5::uuid, $6::uuid, $7, $8, $9::boolean, $10,
        app_at()
    )
    RETURNING user_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id)
    SELECT 'user', user_id FROM done
)

SELECT user_id FROM done

-- A null password (11) leaves the one that stands.
-- name: user_change
WITH done AS (
    UPDATE app_user
    SET
        name = $3, display = $4, role = $5, clinic_id = $6::uuid,
        lab_id = $7::uuid, licence_number = $8, practice_address = $9,
        disabled = $10::boolean,
        password_hash = coalesce($11, password_hash), version = version + 1
    WHERE user_id = $1::uuid AND version = $2::integer
    RETURNING user_id, version
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, detail)
    SELECT 'user', user_id, $12::text FROM done
)

SELECT version FROM done

-- As device_tokens_revoke.
-- name: user_tokens_revoke
UPDATE token SET revoked_at = now()
WHERE user_id = $1::uuid AND revoked_at IS NULL
    AND EXISTS (
        SELECT 1 FROM audit
        WHERE audit_id = current_setting('app.audit_id')::uuid
    )
