-- Devices: instruments, and the PCs that speak for some.

-- name: device_list
SELECT
    device_id, version, name, clinic_id, serial, model, manufacturer, retired,
    (extract(epoch FROM created_at) * 1000000)::bigint AS created_us
FROM device
WHERE device_id < $1::uuid
ORDER BY device_id DESC
LIMIT $2::integer

-- name: device_get
SELECT
    device_id, version, name, clinic_id, serial, model, manufacturer, retired,
    (extract(epoch FROM created_at) * 1000000)::bigint AS created_us
FROM device
WHERE device_id = $1::uuid

-- name: device_add
WITH done AS (
    INSERT INTO device (
        device_id, name, clinic_id, serial, model, manufacturer, retired,
        created_at
    )
    VALUES (
        $1::uuid, $2, $3::uuid, $4, $5, $6, $7::boolean, app_at()
    )
    RETURNING device_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id)
    SELECT 'device', device_id FROM done
),

kept AS (
    SELECT remember_answer(201, $8::text, $1::uuid, '1') AS kept FROM done
)

SELECT done.device_id FROM done LEFT JOIN kept ON true

-- name: device_change
WITH done AS (
    UPDATE device
    SET
        name = $3, clinic_id = $4::uuid, serial = $5, model = $6,
        manufacturer = $7, retired = $8::boolean, version = version + 1
    WHERE device_id = $1::uuid AND version = $2::integer
    RETURNING device_id, version
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, detail)
    SELECT 'device', device_id, $9::text FROM done
)

SELECT version FROM done

-- After device_change, when that did its work: a snapshot of its own sees a
-- token made meanwhile.
-- name: device_tokens_revoke
UPDATE token SET revoked_at = now()
WHERE device_id = $1::uuid AND revoked_at IS NULL
    AND EXISTS (
        SELECT 1 FROM audit
        WHERE audit_id = current_setting('app.audit_id')::uuid
    )
