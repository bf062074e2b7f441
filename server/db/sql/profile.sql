-- Field profiles: versions that never change.

-- name: profile_list
SELECT
    p.profile_id, p.version, p.name, p.title, p.form,
    (extract(epoch FROM p.created_at) * 1000000)::bigint AS created_us
FROM field_profile AS p
WHERE p.profile_id < $1::uuid
    AND NOT EXISTS (
        SELECT 1 FROM field_profile AS newer
        WHERE newer.name = p.name AND newer.version = p.version + 1
    )
ORDER BY p.profile_id DESC
LIMIT $2::integer

-- The version asked for, or the newest.
-- name: profile_get
SELECT
    profile_id, version, name, title, form,
    (extract(epoch FROM created_at) * 1000000)::bigint AS created_us,
    document
FROM field_profile
WHERE name = $1 AND version = coalesce($2::integer, version)
ORDER BY version DESC
LIMIT 1

-- name: profile_versions
SELECT
    p.profile_id, p.version, p.name, p.title, p.form,
    (extract(epoch FROM p.created_at) * 1000000)::bigint AS created_us,
    u.display
FROM field_profile AS p
LEFT JOIN app_user AS u ON u.user_id = p.user_id
WHERE p.name = $1
ORDER BY p.version DESC
LIMIT 500

-- $6: the version that it follows, 0 for the first.  No row when another was
-- first, also at the same time.
-- name: profile_add
WITH done AS (
    INSERT INTO field_profile (
        profile_id, name, version, title, form, document
    )
    SELECT $1::uuid, $2, $6::integer + 1, $3, $4, $5
    WHERE $6::integer = coalesce(
        (SELECT max(version) FROM field_profile WHERE name = $2), 0)
    ON CONFLICT ON CONSTRAINT field_profile_version DO NOTHING
    RETURNING profile_id, version
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, detail)
    SELECT 'profile', profile_id, '{"version":' || version || '}' FROM done
),

kept AS (
    SELECT
        remember_answer(
            201, $7::text, $1::uuid, ($6::integer + 1)::text) AS kept
    FROM done
)

SELECT done.version FROM done LEFT JOIN kept ON true
