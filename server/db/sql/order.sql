-- Orders: begun, placed, moved, seen by the clinic's network and their lab.

-- What an order of an exam (1) would stand on: the edition that was signed
-- last, the lab (2) and the order before it (3).  Columns as in order_get.
-- name: order_begin
SELECT
    NULL::uuid AS order_id, NULL::text AS number, 0 AS version, 1 AS edition,
    e.exam_id, p.prescription_id, t.patient_id, e.clinic_id,
    'draft' AS status, NULL::text AS stage, '{}' AS body,
    0 AS created_us, 0 AS placed_us,
    p.prescription_id AS newest_id, e.status AS exam_status, e.amending,
    p.edition AS rx_edition, p.expires_on::text, p.rx,
    (
        SELECT max(n.signed_at AT TIME ZONE c.time_zone)::date::text
        FROM prescription AS n
        WHERE n.patient_id IN (
            SELECT f.id FROM patient_family(e.patient_id) AS f (id)
        ) AND n.exam_id <> e.exam_id
            AND n.signed_at > p.signed_at
    ) AS newer_on,
    (now() AT TIME ZONE c.time_zone)::date::text AS today,
    c.name AS clinic, c.cylinder_form, w.display AS network,
    t.record_number, t.family, t.given,
    l.lab_id, l.name AS lab, l.closed,
    b.order_id AS previous_id, b.number AS previous_number,
    (
        SELECT coalesce(q.survivor_id, q.patient_id)
        FROM patient AS q WHERE q.patient_id = b.patient_id
    ) AS previous_patient,
    (SELECT u.display FROM app_user AS u WHERE u.user_id = $4::uuid) AS asker
FROM exam AS e
JOIN clinic AS c ON c.clinic_id = e.clinic_id
JOIN patient AS own ON own.patient_id = e.patient_id
JOIN patient AS t ON t.patient_id = coalesce(own.survivor_id, own.patient_id)
CROSS JOIN network AS w
LEFT JOIN LATERAL (
    SELECT * FROM prescription AS x
    WHERE x.exam_id = e.exam_id
    ORDER BY x.edition DESC
    LIMIT 1
) AS p ON true
LEFT JOIN lab AS l ON l.lab_id = $2::uuid
LEFT JOIN orders AS b ON b.order_id = $3::uuid
WHERE e.exam_id = $1::uuid

-- What an id is that is no exam's.
-- name: order_not_exam
SELECT kind FROM reading WHERE reading_id = $1::uuid

-- A lab (2) sees what it was told, and nothing of the others.  A draft can be
-- given another lab (3) or order before it (4), and the newest Rx (6).
-- name: order_get
SELECT
    o.order_id, o.number, o.version, o.edition, o.exam_id, p.prescription_id,
    t.patient_id, o.clinic_id, o.status, o.stage, o.body,
    (extract(epoch FROM o.created_at) * 1000000)::bigint AS created_us,
    (extract(epoch FROM o.placed_at) * 1000000)::bigint AS placed_us,
    s.prescription_id AS newest_id,
    e.status AS exam_status, e.amending,
    p.edition AS rx_edition, p.expires_on::text, p.rx,
    (
        SELECT max(n.signed_at AT TIME ZONE c.time_zone)::date::text
        FROM prescription AS n
        WHERE n.patient_id IN (
            SELECT f.id FROM patient_family(o.patient_id) AS f (id)
        ) AND n.exam_id <> o.exam_id
            AND n.signed_at > p.signed_at
    ) AS newer_on,
    (now() AT TIME ZONE c.time_zone)::date::text AS today,
    c.name AS clinic, c.cylinder_form, w.display AS network,
    t.record_number, t.family, t.given,
    l.lab_id, l.name AS lab, l.closed,
    b.order_id AS previous_id, b.number AS previous_number,
    (
        SELECT coalesce(q.survivor_id, q.patient_id)
        FROM patient AS q WHERE q.patient_id = b.patient_id
    ) AS previous_patient,
    (SELECT u.display FROM app_user AS u WHERE u.user_id = $5::uuid) AS asker
FROM orders AS o
JOIN exam AS e ON e.exam_id = o.exam_id
JOIN LATERAL (
    SELECT x.prescription_id FROM prescription AS x
    WHERE x.exam_id = o.exam_id
    ORDER BY x.edition DESC
    LIMIT 1
) AS s ON true
JOIN prescription AS p ON p.prescription_id
    = CASE WHEN $6::boolean THEN s.prescription_id ELSE o.prescription_id END
JOIN clinic AS c ON c.clinic_id = o.clinic_id
JOIN patient AS own ON own.patient_id = o.patient_id
JOIN patient AS t ON t.patient_id = coalesce(own.survivor_id, own.patient_id)
CROSS JOIN network AS w
LEFT JOIN lab AS l ON l.lab_id = coalesce($3::uuid, o.lab_id)
LEFT JOIN orders AS b ON b.order_id = coalesce($4::uuid, o.previous_id)
WHERE o.order_id = $1::uuid
    AND (
        $2::uuid IS NULL
        OR (o.lab_id = $2::uuid AND o.placed_at IS NOT NULL)
    )

-- Oldest first.
-- name: order_event_list
SELECT
    (extract(epoch FROM v.at) * 1000000)::bigint AS at_us, v.status, v.stage,
    v.note, v.user_id, u.display, v.kind
FROM order_event AS v
LEFT JOIN app_user AS u ON u.user_id = v.user_id
WHERE v.order_id = $1::uuid
ORDER BY v.event_id

-- Newest first, before an order (1); a lab (2) sees its own; of one status
-- (3), lab (4), patient (5), number (6); what was never placed only to its
-- clinic (7).
-- name: order_list
SELECT
    o.order_id, o.number, o.version, o.edition, o.status, o.stage,
    o.exam_id, t.patient_id, o.clinic_id, c.name AS clinic, o.lab_id,
    l.name AS lab, t.record_number, t.family, t.given,
    o.body::json #>> '{lens,design}' AS design,
    o.body::json ->> 'priority' AS priority,
    o.body::json ->> 'purpose' AS purpose,
    (extract(epoch FROM o.created_at) * 1000000)::bigint AS created_us,
    (extract(epoch FROM o.placed_at) * 1000000)::bigint AS placed_us
FROM orders AS o
JOIN clinic AS c ON c.clinic_id = o.clinic_id
JOIN patient AS own ON own.patient_id = o.patient_id
JOIN patient AS t ON t.patient_id = coalesce(own.survivor_id, own.patient_id)
LEFT JOIN lab AS l ON l.lab_id = o.lab_id
WHERE o.order_id < $1::uuid
    AND (
        $2::uuid IS NULL
        OR (o.lab_id = $2::uuid AND o.placed_at IS NOT NULL)
    )
    AND ($3::text IS NULL OR o.status = $3::text)
    AND ($4::uuid IS NULL OR o.lab_id = $4::uuid)
    AND (
        $5::uuid IS NULL OR o.patient_id IN (
            SELECT f.id FROM patient_family($5::uuid) AS f (id)
        )
    )
    AND ($6::text IS NULL OR o.number = $6::text)
    AND (
        $2::uuid IS NOT NULL OR o.placed_at IS NOT NULL
        OR o.clinic_id = $7::uuid
    )
ORDER BY o.order_id DESC
LIMIT $8::integer

-- No row when the number is taken: then its maker takes another id.
-- name: order_add
WITH done AS (
    INSERT INTO orders (
        order_id, number, exam_id, prescription_id, patient_id, clinic_id,
        lab_id, status, previous_id, body, placed_at
    )
    VALUES (
        $1::uuid, $2, $3::uuid, $4::uuid, $5::uuid, $6::uuid, $7::uuid, $8,
        $9::uuid, $10, CASE WHEN $8 = 'requested' THEN app_at() END
    )
    ON CONFLICT ON CONSTRAINT orders_number_taken DO NOTHING
    RETURNING order_id, patient_id, edition, status
),

event AS (
    INSERT INTO order_event (order_id, event_id, kind, status)
    SELECT
        order_id, $11::uuid,
        CASE WHEN status = 'draft' THEN 'begun' ELSE 'placed' END, status
    FROM done
),

told AS (
    INSERT INTO order_edition (order_id, edition, body, code)
    SELECT order_id, edition, $12, $16
    FROM done WHERE $12::text IS NOT NULL
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'order', order_id, patient_id, $13::text FROM done
),

kept AS (
    SELECT
        remember_answer(201, $14::text, $1::uuid, $15::text) AS kept
    FROM done
)

SELECT done.order_id FROM done LEFT JOIN kept ON true

-- A draft's own parts.
-- name: order_change
WITH done AS (
    UPDATE orders
    SET
        prescription_id = $3::uuid, lab_id = $4::uuid, previous_id = $5::uuid,
        body = $6, version = version + 1
    WHERE order_id = $1::uuid AND version = $2::integer AND status = 'draft'
    RETURNING order_id, patient_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'order', order_id, patient_id, $7::text FROM done
)

SELECT order_id FROM done

-- A move; with a content (8) it is placed by it.
-- name: order_move
WITH done AS (
    UPDATE orders
    SET
        status = $3, stage = $4, body = coalesce($7::text, body),
        placed_at = CASE
            WHEN $8::text IS NULL THEN placed_at ELSE app_at()
        END,
        version = version + 1
    WHERE order_id = $1::uuid AND version = $2::integer
    RETURNING order_id, patient_id, edition, status, stage
),

event AS (
    INSERT INTO order_event (order_id, event_id, kind, status, stage, note)
    SELECT
        order_id, $5::uuid,
        CASE WHEN $8::text IS NULL THEN 'moved' ELSE 'placed' END, status,
        stage, $6::text
    FROM done
),

told AS (
    INSERT INTO order_edition (order_id, edition, body, code)
    SELECT order_id, edition, $8, $12
    FROM done WHERE $8::text IS NOT NULL
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'order', order_id, patient_id, $9::text FROM done
),

kept AS (
    SELECT
        remember_answer(200, $10::text, $1::uuid, $11::text) AS kept
    FROM done
)

SELECT done.order_id FROM done LEFT JOIN kept ON true

-- ---- amendments, questions, remakes --------------------------------------

-- What the lab was told last.
-- name: order_edition_now
SELECT
    d.edition, (extract(epoch FROM d.at) * 1000000)::bigint AS at_us,
    d.user_id, u.display, d.reason, d.changes, d.code, d.body
FROM order_edition AS d
LEFT JOIN app_user AS u ON u.user_id = d.user_id
WHERE d.order_id = $1::uuid
ORDER BY d.edition DESC
LIMIT 1

-- Everything that a lab was told, newest first.
-- name: order_edition_list
SELECT
    d.edition, (extract(epoch FROM d.at) * 1000000)::bigint AS at_us,
    d.user_id, u.display, d.reason, d.changes, d.body
FROM order_edition AS d
LEFT JOIN app_user AS u ON u.user_id = d.user_id
WHERE d.order_id = $1::uuid
ORDER BY d.edition DESC

-- A placed order becomes another edition, which the lab has to accept anew.
-- name: order_amend
WITH done AS (
    UPDATE orders
    SET
        status = 'requested', prescription_id = $3::uuid,
        previous_id = $4::uuid, body = $5, edition = edition + 1,
        version = version + 1
    WHERE order_id = $1::uuid AND version = $2::integer AND stage IS NULL
    RETURNING order_id, patient_id, edition, status
),

event AS (
    INSERT INTO order_event (order_id, event_id, kind, status, note)
    SELECT order_id, $6::uuid, 'amended', status, $7 FROM done
),

told AS (
    INSERT INTO order_edition (order_id, edition, reason, body, changes, code)
    SELECT order_id, edition, $7, $8, $9, $10::text FROM done
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'order', order_id, patient_id, $11::text FROM done
),

kept AS (
    SELECT
        remember_answer(200, $12::text, $1::uuid, $13::text) AS kept
    FROM done
)

SELECT done.order_id FROM done LEFT JOIN kept ON true

-- Oldest first, each with its answer.
-- name: order_question_list
SELECT
    q.question_id, q.edition,
    (extract(epoch FROM q.at) * 1000000)::bigint AS at_us, q.user_id,
    u.display, q.pointer, q.question, a.answer,
    (extract(epoch FROM a.at) * 1000000)::bigint AS answered_us,
    a.user_id AS answered_by, w.display AS answerer
FROM order_question AS q
LEFT JOIN app_user AS u ON u.user_id = q.user_id
LEFT JOIN order_answer AS a ON a.question_id = q.question_id
LEFT JOIN app_user AS w ON w.user_id = a.user_id
WHERE q.order_id = $1::uuid
ORDER BY q.question_id

-- About the edition (2) that the lab looks at.
-- name: order_ask
WITH done AS (
    UPDATE orders
    SET version = version + 1
    WHERE order_id = $1::uuid AND edition = $2::integer
        AND status IN (
            'requested', 'received', 'accepted', 'in-progress', 'on-hold'
        )
    RETURNING order_id, patient_id, edition, status, stage
),

asked AS (
    INSERT INTO order_question (
        question_id, order_id, edition, pointer, question
    )
    SELECT $3::uuid, order_id, edition, $4, $5 FROM done
),

event AS (
    INSERT INTO order_event (order_id, event_id, kind, status, stage, note)
    SELECT order_id, $6::uuid, 'asked', status, stage, $5 FROM done
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'order', order_id, patient_id, $7::text FROM done
),

kept AS (
    SELECT
        remember_answer(201, $8::text, $1::uuid, $9::text) AS kept
    FROM done
)

SELECT done.order_id FROM done LEFT JOIN kept ON true

-- name: order_answer
WITH done AS (
    UPDATE orders
    SET version = version + 1
    WHERE order_id = $1::uuid
    RETURNING order_id, patient_id, status, stage
),

answered AS (
    INSERT INTO order_answer (question_id, answer)
    SELECT $2::uuid, $3 FROM done
),

event AS (
    INSERT INTO order_event (order_id, event_id, kind, status, stage, note)
    SELECT order_id, $4::uuid, 'answered', status, stage, $3 FROM done
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'order', order_id, patient_id, $5::text FROM done
),

kept AS (
    SELECT
        remember_answer(201, $6::text, $1::uuid, $7::text) AS kept
    FROM done
)

SELECT done.order_id FROM done LEFT JOIN kept ON true

-- What an order (1) replaces and what replaces it; a lab (2) learns of its own.
-- name: order_remake_list
SELECT
    r.order_id, n.number, r.of_order_id, o.number AS of_number, r.of_edition,
    r.cause, r.note, r.order_id = $1::uuid AS is_new
FROM order_remake AS r
JOIN orders AS n ON n.order_id = r.order_id
JOIN orders AS o ON o.order_id = r.of_order_id
WHERE (r.order_id = $1::uuid OR r.of_order_id = $1::uuid)
    AND ($2::uuid IS NULL OR (n.lab_id = $2::uuid AND o.lab_id = $2::uuid))
ORDER BY r.order_id

-- Beside the statement that adds the new order (1), when that did its work.
-- name: order_remake_add
WITH done AS (
    INSERT INTO order_remake (order_id, of_order_id, of_edition, cause, note)
    SELECT o.order_id, $2::uuid, $3::integer, $4, $5::text
    FROM orders AS o WHERE o.order_id = $1::uuid
    RETURNING of_order_id
),

old AS (
    UPDATE orders AS o
    SET version = o.version + 1
    FROM done WHERE o.order_id = done.of_order_id
    RETURNING o.order_id, o.status, o.stage
)

INSERT INTO order_event (order_id, event_id, kind, status, stage, note)
SELECT order_id, $6::uuid, 'remade', status, stage, $4 FROM old
RETURNING order_id
