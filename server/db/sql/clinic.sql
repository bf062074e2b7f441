-- Clinics.

-- name: clinic_list
SELECT
    clinic_id, version, name, address, telephone, time_zone, step_sphere_cd,
    step_axis_deg, step_prism_cd, cylinder_form, closed
FROM clinic
WHERE clinic_id < $1::uuid
ORDER BY clinic_id DESC
LIMIT $2::integer

-- name: clinic_get
SELECT
    clinic_id, version, name, address, telephone, time_zone, step_sphere_cd,
    step_axis_deg, step_prism_cd, cylinder_form, closed
FROM clinic
WHERE clinic_id = $1::uuid

-- name: time_zone_known
SELECT 1 FROM pg_timezone_names
WHERE name = $1 AND name !~ '^(posix|right)/|^(posixrules|localtime|Factory)$'

-- name: clinic_add
WITH done AS (
    INSERT INTO clinic (
        clinic_id, name, address, telephone, time_zone, step_sphere_cd,
        step_axis_deg, step_prism_cd, cylinder_form, closed
    )
    VALUES (
        $1::uuid, $2, $3, $4, $5, $6::integer, $7::integer, $8::integer, $9,
        $10::boolean
    )
    RETURNING clinic_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id)
    SELECT 'clinic', clinic_id FROM done
),

kept AS (
    SELECT remember_answer(201, $11::text, $1::uuid, '1') AS kept FROM done
)

SELECT done.clinic_id FROM done LEFT JOIN kept ON true

-- name: clinic_change
WITH done AS (
    UPDATE clinic
    SET
        name = $3, address = $4, telephone = $5, time_zone = $6,
        step_sphere_cd = $7::integer, step_axis_deg = $8::integer,
        step_prism_cd = $9::integer, cylinder_form = $10,
        closed = $11::boolean, version = version + 1
    WHERE clinic_id = $1::uuid AND version = $2::integer
    RETURNING clinic_id, version
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, detail)
    SELECT 'clinic', clinic_id, $12::text FROM done
)

SELECT version FROM done
