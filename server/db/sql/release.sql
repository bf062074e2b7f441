-- What a patient got of an Rx, confirmed or refused; rows only grow.

-- name: release_list
SELECT body, kind FROM rx_release
WHERE exam_id = $1::uuid
ORDER BY release_id

-- Of the edition (2) that stands.
-- name: release_add
WITH done AS (
    INSERT INTO rx_release (
        release_id, exam_id, prescription_id, patient_id, kind, body
    )
    SELECT $3::uuid, p.exam_id, p.prescription_id, p.patient_id, $4, $5::text
    FROM prescription AS p
    WHERE p.exam_id = $1::uuid AND p.prescription_id = $2::uuid
    RETURNING release_id, exam_id, patient_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'exam', exam_id, patient_id, $5::text FROM done
),

kept AS (
    SELECT remember_answer(201, $5::text, $3::uuid, '1') AS kept FROM done
)

SELECT done.release_id FROM done LEFT JOIN kept ON true
