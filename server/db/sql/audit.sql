-- Who saw or changed what, newest first.  Parameters of all four: newest and
-- oldest id that can be of the time asked for (1, 2), the time itself (3, 4),
-- limit (5), patient, subject and user or null (6, 7, 8).  One statement a
-- filter that has an index.

-- name: audit_list
SELECT
    a.audit_id, (extract(epoch FROM a.at) * 1000000)::bigint AS at_us,
    a.user_id, u.display, a.device_id, d.name AS device_name, a.token_id,
    a.action, a.subject_kind, a.subject_id, a.patient_id, a.request_id,
    a.detail
FROM audit AS a
LEFT JOIN app_user AS u ON u.user_id = a.user_id
LEFT JOIN device AS d ON d.device_id = a.device_id
WHERE a.audit_id < $1::uuid AND a.audit_id >= $2::uuid
    AND a.at <= $3::timestamptz AND a.at >= $4::timestamptz
    AND $6::uuid IS NULL AND $7::uuid IS NULL AND $8::uuid IS NULL
ORDER BY a.audit_id DESC
LIMIT $5::integer

-- name: audit_list_patient
SELECT
    a.audit_id, (extract(epoch FROM a.at) * 1000000)::bigint AS at_us,
    a.user_id, u.display, a.device_id, d.name AS device_name, a.token_id,
    a.action, a.subject_kind, a.subject_id, a.patient_id, a.request_id,
    a.detail
FROM audit AS a
LEFT JOIN app_user AS u ON u.user_id = a.user_id
LEFT JOIN device AS d ON d.device_id = a.device_id
WHERE a.audit_id < $1::uuid AND a.audit_id >= $2::uuid
    AND a.at <= $3::timestamptz AND a.at >= $4::timestamptz
    AND a.patient_id IN (
        SELECT f.id FROM patient_family($6::uuid) AS f (id)
    )
    AND ($7::uuid IS NULL OR a.subject_id = $7::uuid)
    AND ($8::uuid IS NULL OR a.user_id = $8::uuid)
ORDER BY a.audit_id DESC
LIMIT $5::integer

-- name: audit_list_subject
SELECT
    a.audit_id, (extract(epoch FROM a.at) * 1000000)::bigint AS at_us,
    a.user_id, u.display, a.device_id, d.name AS device_name, a.token_id,
    a.action, a.subject_kind, a.subject_id, a.patient_id, a.request_id,
    a.detail
FROM audit AS a
LEFT JOIN app_user AS u ON u.user_id = a.user_id
LEFT JOIN device AS d ON d.device_id = a.device_id
WHERE a.audit_id < $1::uuid AND a.audit_id >= $2::uuid
    AND a.at <= $3::timestamptz AND a.at >= $4::timestamptz
    AND a.subject_id = $7::uuid AND $6::uuid IS NULL
    AND ($8::uuid IS NULL OR a.user_id = $8::uuid)
ORDER BY a.audit_id DESC
LIMIT $5::integer

-- name: audit_list_user
SELECT
    a.audit_id, (extract(epoch FROM a.at) * 1000000)::bigint AS at_us,
    a.user_id, u.display, a.device_id, d.name AS device_name, a.token_id,
    a.action, a.subject_kind, a.subject_id, a.patient_id, a.request_id,
    a.detail
FROM audit AS a
LEFT JOIN app_user AS u ON u.user_id = a.user_id
LEFT JOIN device AS d ON d.device_id = a.device_id
WHERE a.audit_id < $1::uuid AND a.audit_id >= $2::uuid
    AND a.at <= $3::timestamptz AND a.at >= $4::timestamptz
    AND a.user_id = $8::uuid AND $6::uuid IS NULL AND $7::uuid IS NULL
ORDER BY a.audit_id DESC
LIMIT $5::integer
