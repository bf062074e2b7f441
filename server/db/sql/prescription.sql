-- Signed editions of exams; never changed.

-- The one that stands.
-- name: prescription_latest
SELECT prescription_id, edition, rx, delta
FROM prescription
WHERE exam_id = $1::uuid
ORDER BY edition DESC
LIMIT 1

-- name: prescription_list
SELECT
    p.prescription_id, p.edition,
    (extract(epoch FROM p.signed_at) * 1000000)::bigint AS signed_us,
    (extract(epoch FROM
        (p.signed_at AT TIME ZONE c.time_zone)
        - (p.signed_at AT TIME ZONE 'UTC')) / 60)::integer AS offset_min,
    p.signed_by, u.display, p.reason, p.expires_on, p.rx, p.delta
FROM prescription AS p
JOIN exam AS e ON e.exam_id = p.exam_id
JOIN clinic AS c ON c.clinic_id = e.clinic_id
LEFT JOIN app_user AS u ON u.user_id = p.signed_by
WHERE p.exam_id = $1::uuid
ORDER BY p.edition DESC
