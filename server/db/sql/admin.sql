-- What the operator makes from the command line, as lensclerk_owner: the
-- network is named in each row, and nobody's token stands in the audit log.

-- name: admin_network_add
WITH done AS (
    INSERT INTO network (network_id, name, display)
    VALUES ($1::uuid, $2, $3)
    RETURNING network_id
),

logged AS (
    INSERT INTO audit (
        network_id, audit_id, at, action, subject_kind, subject_id,
        request_id
    )
    SELECT
        network_id, $4::uuid, now(), 'network-added', 'network', network_id,
        'command-line'
    FROM done
)

SELECT network_id FROM done

-- A network and what is named in it; null where there is no such thing.
-- name: admin_place
SELECT n.network_id, c.clinic_id, l.lab_id
FROM network AS n
LEFT JOIN clinic AS c ON c.network_id = n.network_id AND c.name = $2::text
LEFT JOIN lab AS l ON l.network_id = n.network_id AND l.name = $3::text
WHERE n.name = $1::text

-- name: admin_user_add
WITH done AS (
    INSERT INTO app_user (
        network_id, user_id, name, display, role, clinic_id, lab_id,
        password_hash
    )
    VALUES ($1::uuid, $2::uuid, $3, $4, $5, $6::uuid, $7::uuid, $8)
    RETURNING network_id, user_id, role, clinic_id, lab_id
),

made AS (
    INSERT INTO token (
        network_id, token_id, token_hash, kind, user_id, role, clinic_id,
        lab_id, label, expires_at
    )
    SELECT
        network_id, $9::uuid, decode($10::text, 'hex'), 'bearer', user_id,
        role, clinic_id, lab_id, 'command line',
        now() + make_interval(days => $11::integer)
    FROM done WHERE $10::text IS NOT NULL
),

logged AS (
    INSERT INTO audit (
        network_id, audit_id, at, action, subject_kind, subject_id,
        request_id
    )
    SELECT
        network_id, $12::uuid, now(), 'user-added', 'user', user_id,
        'command-line'
    FROM done
)

SELECT user_id FROM done

-- name: admin_user_password
WITH done AS (
    UPDATE app_user AS u
    SET password_hash = $3, version = u.version + 1
    FROM network AS n
    WHERE n.name = $1 AND u.network_id = n.network_id AND u.name = $2
    RETURNING u.network_id, u.user_id
),

revoked AS (
    UPDATE token AS t SET revoked_at = now()
    FROM done
    WHERE t.network_id = done.network_id AND t.user_id = done.user_id
        AND t.revoked_at IS NULL
),

logged AS (
    INSERT INTO audit (
        network_id, audit_id, at, action, subject_kind, subject_id,
        request_id
    )
    SELECT
        network_id, $4::uuid, now(), 'user-changed', 'user', user_id,
        'command-line'
    FROM done
)

SELECT user_id FROM done

-- name: admin_device_add
WITH done AS (
    INSERT INTO device (network_id, device_id, name, clinic_id, serial)
    VALUES ($1::uuid, $2::uuid, $3, $4::uuid, $5)
    RETURNING network_id, device_id, clinic_id
),

made AS (
    INSERT INTO token (
        network_id, token_id, token_hash, kind, device_id, role, clinic_id,
        label, expires_at
    )
    SELECT
        network_id, $6::uuid, decode($7::text, 'hex'), 'bearer', device_id,
        'device', clinic_id, 'command line',
        now() + make_interval(days => $8::integer)
    FROM done WHERE $7::text IS NOT NULL
),

logged AS (
    INSERT INTO audit (
        network_id, audit_id, at, action, subject_kind, subject_id,
        request_id
    )
    SELECT
        network_id, $9::uuid, now(), 'device-added', 'device', device_id,
        'command-line'
    FROM done
)

SELECT device_id FROM done
