-- What was written, for those who listen.

-- Everything above an id (1): messages about orders from the outbox, and of
-- the rest that something was changed, from the audit log, whose row stands in
-- the transaction of the change.
-- name: event_list
SELECT
    x.event_id, x.kind, x.subject_kind, x.subject_id, x.patient_id,
    x.clinic_id, x.lab_id, x.body, x.at_us
FROM (
    SELECT
        b.event_id, b.kind, 'order' AS subject_kind, b.subject_id,
        b.patient_id, b.clinic_id, b.lab_id, b.body,
        (extract(epoch FROM b.at) * 1000000)::bigint AS at_us
    FROM outbox AS b
    WHERE b.event_id > $1::uuid
    UNION ALL
    SELECT
        a.audit_id, a.action, a.subject_kind, a.subject_id, a.patient_id,
        NULL, NULL, NULL,
        (extract(epoch FROM a.at) * 1000000)::bigint
    FROM audit AS a
    WHERE a.audit_id > $1::uuid
        AND a.subject_kind IN ('patient', 'visit', 'reading', 'exam', 'entry')
        AND a.action NOT IN ('viewed', 'viewed-again')
) AS x
ORDER BY x.event_id
LIMIT $2::integer
