-- Exams, their steps, and what signing does.

-- What a new exam needs of its visit: whose, where, and the clinic's zone at
-- an instant (2).
-- name: exam_visit
SELECT
    coalesce(p.survivor_id, p.patient_id) AS patient_id, v.clinic_id,
    v.status,
    (extract(epoch FROM
        ($2::timestamptz AT TIME ZONE c.time_zone)
        - ($2::timestamptz AT TIME ZONE 'UTC')) / 60)::integer AS offset_min,
    habitual_of(v.patient_id, 'distance') AS habitual,
    n.vertex_needed_cd
FROM visit AS v
JOIN patient AS p ON p.patient_id = v.patient_id
JOIN clinic AS c ON c.clinic_id = v.clinic_id
CROSS JOIN network AS n
WHERE v.visit_id = $1::uuid

-- name: exam_add
WITH done AS (
    INSERT INTO exam (
        exam_id, visit_id, patient_id, clinic_id, performed_at, catch_up,
        habitual_entry_id, body
    )
    VALUES (
        $1::uuid, $2::uuid, $3::uuid, $4::uuid, $5::timestamptz, $6::boolean,
        $7::uuid, $8
    )
    RETURNING exam_id, patient_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id)
    SELECT 'exam', exam_id, patient_id FROM done
),

kept AS (
    SELECT remember_answer(201, $9::text, $1::uuid, '1') AS kept FROM done
)

SELECT done.exam_id FROM done LEFT JOIN kept ON true

-- An exam as it stands, with what its clinic and network decide, the newest
-- signed edition, and the habitual glasses: those it names, or while it names
-- none the patient's.
-- name: exam_get
SELECT
    e.exam_id, e.version, e.visit_id,
    coalesce(w.survivor_id, w.patient_id) AS patient_id, e.clinic_id,
    (extract(epoch FROM e.performed_at) * 1000000)::bigint AS performed_us,
    (extract(epoch FROM
        (e.performed_at AT TIME ZONE c.time_zone)
        - (e.performed_at AT TIME ZONE 'UTC')) / 60)::integer AS offset_min,
    e.catch_up, e.status, e.edition, e.amending, e.amend_reason,
    e.habitual_entry_id,
    coalesce(e.habitual_entry_id, habitual_of(e.patient_id, 'distance'))
        AS habitual,
    e.body, e.created_by,
    (extract(epoch FROM e.created_at) * 1000000)::bigint AS created_us,
    c.step_sphere_cd, c.step_axis_deg, c.step_prism_cd, n.vertex_needed_cd,
    (SELECT count(*) FROM exam_step AS s WHERE s.exam_id = e.exam_id) AS steps,
    p.prescription_id, p.edition AS signed_edition, p.exam_body AS signed_body,
    (extract(epoch FROM p.signed_at) * 1000000)::bigint AS signed_us,
    p.signed_by, u.display AS signer, p.expires_on
FROM exam AS e
JOIN patient AS w ON w.patient_id = e.patient_id
JOIN clinic AS c ON c.clinic_id = e.clinic_id
CROSS JOIN network AS n
LEFT JOIN LATERAL (
    SELECT * FROM prescription AS x
    WHERE x.exam_id = e.exam_id
    ORDER BY x.edition DESC
    LIMIT 1
) AS p ON true
LEFT JOIN app_user AS u ON u.user_id = p.signed_by
WHERE e.exam_id = $1::uuid

-- Newest first; one patient's (1), or a clinic's (2); drafts only of the
-- asker's own clinic (3); of one status (4), before another exam (5).
-- name: exam_list
SELECT
    e.exam_id, e.version, e.visit_id,
    coalesce(w.survivor_id, w.patient_id) AS patient_id, e.clinic_id,
    (extract(epoch FROM e.performed_at) * 1000000)::bigint AS performed_us,
    (extract(epoch FROM
        (e.performed_at AT TIME ZONE c.time_zone)
        - (e.performed_at AT TIME ZONE 'UTC')) / 60)::integer AS offset_min,
    e.catch_up, e.status, e.edition, e.amending,
    (extract(epoch FROM p.signed_at) * 1000000)::bigint AS signed_us,
    p.signed_by, u.display AS signer, p.expires_on
FROM exam AS e
JOIN patient AS w ON w.patient_id = e.patient_id
JOIN clinic AS c ON c.clinic_id = e.clinic_id
LEFT JOIN LATERAL (
    SELECT * FROM prescription AS x
    WHERE x.exam_id = e.exam_id
    ORDER BY x.edition DESC
    LIMIT 1
) AS p ON true
LEFT JOIN app_user AS u ON u.user_id = p.signed_by
WHERE (
        $1::uuid IS NULL OR e.patient_id IN (
            SELECT f.id FROM patient_family($1::uuid) AS f (id)
        )
    )
    AND ($2::uuid IS NULL OR e.clinic_id = $2::uuid)
    AND (
        p.prescription_id IS NOT NULL
        OR ($3::uuid IS NOT NULL AND e.clinic_id = $3::uuid)
    )
    AND ($4::text IS NULL OR e.status = $4::text)
    AND (
        $5::uuid IS NULL
        OR (e.performed_at, e.exam_id) < (
            SELECT b.performed_at, b.exam_id FROM exam AS b
            WHERE b.exam_id = $5::uuid
        )
    )
ORDER BY e.performed_at DESC, e.exam_id DESC
LIMIT $6::integer

-- name: exam_change
WITH done AS (
    UPDATE exam
    SET body = $3, habitual_entry_id = $4::uuid, version = version + 1
    WHERE exam_id = $1::uuid AND version = $2::integer
        AND (status = 'preliminary' OR amending)
    RETURNING exam_id, patient_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'exam', exam_id, patient_id, $5::text FROM done
)

SELECT exam_id FROM done

-- A change of the working refraction together with its line in the log.
-- name: exam_step_add
WITH done AS (
    UPDATE exam
    SET body = $3, version = version + 1
    WHERE exam_id = $1::uuid AND version = $2::integer
        AND (status = 'preliminary' OR amending)
    RETURNING exam_id, patient_id
),

step AS (
    INSERT INTO exam_step (step_id, exam_id, ordinal, undoes, body)
    SELECT $4::uuid, exam_id, $5::integer, $6::uuid, $7 FROM done
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'exam', exam_id, patient_id, $7::text FROM done
),

kept AS (
    SELECT
        remember_answer($8::integer, $9::text, $1::uuid, $10::text) AS kept
    FROM done
)

SELECT done.exam_id FROM done LEFT JOIN kept ON true

-- name: exam_step_get
SELECT
    s.step_id, s.body,
    EXISTS (SELECT 1 FROM exam_step AS u WHERE u.undoes = s.step_id) AS undone
FROM exam_step AS s
WHERE s.step_id = $2::uuid AND s.exam_id = $1::uuid

-- Newest first.
-- name: exam_step_list
SELECT
    s.step_id, s.ordinal,
    (extract(epoch FROM s.at) * 1000000)::bigint AS at_us,
    s.user_id, u.display, s.undoes, s.body,
    EXISTS (SELECT 1 FROM exam_step AS x WHERE x.undoes = s.step_id) AS undone
FROM exam_step AS s
LEFT JOIN app_user AS u ON u.user_id = s.user_id
WHERE s.exam_id = $1::uuid AND ($2::integer IS NULL OR s.ordinal < $2::integer)
ORDER BY s.ordinal DESC
LIMIT $3::integer

-- Who signs, for whom and where.  The rule of the place counts its months from
-- the day of the examination at the clinic; a day that the last month lacks is
-- that month's last (29 February and 12 months: 28 February).
-- name: exam_sign_facts
SELECT
    u.user_id, u.display, u.licence_number, u.practice_address,
    p.record_number, p.family, p.given, p.born,
    c.name, c.address, c.telephone,
    (extract(epoch FROM
        ($3::timestamptz AT TIME ZONE c.time_zone)
        - ($3::timestamptz AT TIME ZONE 'UTC')) / 60)::integer AS offset_min,
    ($3::timestamptz AT TIME ZONE c.time_zone)::date::text AS today,
    (
        (e.performed_at AT TIME ZONE c.time_zone)::date
        + make_interval(months => n.expiry_months)
        + make_interval(days => (
            n.expiry_leap_day = 'march-1'
            AND to_char(e.performed_at AT TIME ZONE c.time_zone, 'MMDD')
            = '0229'
            AND to_char(
                (e.performed_at AT TIME ZONE c.time_zone)::date
                + make_interval(months => n.expiry_months), 'MMDD'
            ) = '0228'
        )::integer)
    )::date::text AS expires_on
FROM exam AS e
JOIN patient AS w ON w.patient_id = e.patient_id
JOIN patient AS p ON p.patient_id = coalesce(w.survivor_id, w.patient_id)
JOIN clinic AS c ON c.clinic_id = e.clinic_id
JOIN app_user AS u ON u.user_id = $2::uuid
CROSS JOIN network AS n
WHERE e.exam_id = $1::uuid

-- The exam becomes final, its Rx and delta are frozen, and it stands in the
-- timeline in the place of its older editions.
-- name: exam_sign
WITH done AS (
    UPDATE exam
    SET
        status = $3, body = $4, habitual_entry_id = $5::uuid,
        amending = false, version = version + 1
    WHERE exam_id = $1::uuid AND version = $2::integer
        AND (status = 'preliminary' OR amending)
    RETURNING
        exam_id, patient_id, clinic_id, edition, performed_at, amend_reason
),

frozen AS (
    INSERT INTO prescription (
        prescription_id, exam_id, edition, patient_id, signed_by, signed_at,
        reason, expires_on, exam_body, rx, delta
    )
    SELECT
        $6::uuid, exam_id, edition, patient_id, app_uuid('app.user_id'),
        $7::timestamptz, coalesce($8::text, amend_reason), $9::date, $4, $10,
        $11
    FROM done
),

older AS (
    UPDATE entry
    SET superseded = true, version = entry.version + 1
    FROM done
    WHERE entry.patient_id = done.patient_id AND entry.exam_id = done.exam_id
        AND NOT entry.superseded
),

shown AS (
    INSERT INTO entry (
        entry_id, patient_id, at, origin, kind, condition_key, exam_id,
        clinic_id, right_m, right_j0, right_j45, left_m, left_j0, left_j45,
        purpose, body
    )
    SELECT
        $12::uuid, patient_id, performed_at, 'exam', 'final', 'final', exam_id,
        clinic_id, $13::double precision, $14::double precision,
        $15::double precision, $16::double precision, $17::double precision,
        $18::double precision, $19, $20
    FROM done
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'exam', exam_id, patient_id, $21::text FROM done
),

kept AS (
    SELECT remember_answer(200, $22::text, $1::uuid, $23::text) AS kept
    FROM done
)

SELECT done.exam_id FROM done LEFT JOIN kept ON true

-- Opened again with a reason; what was signed stands until it is signed anew.
-- name: exam_amend
WITH done AS (
    UPDATE exam
    SET
        amending = true, amend_reason = $3, edition = edition + 1,
        version = version + 1
    WHERE exam_id = $1::uuid AND version = $2::integer AND NOT amending
        AND status IN ('final', 'amended')
    RETURNING exam_id, patient_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'exam', exam_id, patient_id, $4::text FROM done
),

kept AS (
    SELECT remember_answer(200, $5::text, $1::uuid, $6::text) AS kept
    FROM done
)

SELECT done.exam_id FROM done LEFT JOIN kept ON true

-- The amendment is given up: the exam is again what was signed.
-- name: exam_amend_drop
WITH done AS (
    UPDATE exam
    SET
        amending = false, amend_reason = NULL, edition = edition - 1, body = $3,
        version = version + 1
    WHERE exam_id = $1::uuid AND version = $2::integer AND amending
    RETURNING exam_id, patient_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id)
    SELECT 'exam', exam_id, patient_id FROM done
)

SELECT exam_id FROM done

-- Of the wrong person, or wrong altogether: it stays readable and counts no
-- more.  An amendment that was open ends with it.
-- name: exam_void
WITH done AS (
    UPDATE exam
    SET
        status = 'entered-in-error', amend_reason = $3, amending = false,
        version = version + 1
    WHERE exam_id = $1::uuid AND version = $2::integer
        AND status <> 'entered-in-error'
    RETURNING exam_id, patient_id
),

older AS (
    UPDATE entry
    SET superseded = true, version = entry.version + 1
    FROM done
    WHERE entry.patient_id = done.patient_id AND entry.exam_id = done.exam_id
        AND NOT entry.superseded
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'exam', exam_id, patient_id, $4::text FROM done
),

kept AS (
    SELECT remember_answer(200, $5::text, $1::uuid, $6::text) AS kept
    FROM done
)

SELECT done.exam_id FROM done LEFT JOIN kept ON true
