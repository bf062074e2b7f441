-- Patients, and the search for them.

-- name: patient_add
WITH done AS (
    INSERT INTO patient (
        patient_id, record_number, family, given, born, sex, telephone,
        family_fold, given_fold
    )
    VALUES ($1::uuid, $2, $3, $4, $5, $6, $7, $8, $9)
    RETURNING patient_id
),

indexed AS (
    INSERT INTO patient_word (word, patient_id)
    SELECT w.word, done.patient_id
    FROM done CROSS JOIN unnest($10::text []) AS w (word)
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id)
    SELECT 'patient', patient_id, patient_id FROM done
),

kept AS (
    SELECT remember_answer(201, $11::text, $1::uuid, '1') AS kept FROM done
)

SELECT done.patient_id FROM done LEFT JOIN kept ON true

-- Of a patient that was merged the survivor.
-- name: patient_get
SELECT
    p.patient_id, p.version, p.record_number, p.family, p.given, p.born, p.sex,
    p.telephone, (extract(epoch FROM p.created_at) * 1000000)::bigint
        AS created_us
FROM patient AS asked
JOIN patient AS p
    ON p.patient_id = coalesce(asked.survivor_id, asked.patient_id)
WHERE asked.patient_id = $1::uuid

-- Who could be the same person: both names alike, exchanged or not, and births
-- that can be one.
-- name: patient_twins
SELECT DISTINCT coalesce(survivor_id, patient_id) AS patient_id
FROM patient
WHERE (
    (family_fold = $1 AND given_fold = $2)
    OR (family_fold = $2 AND given_fold = $1)
)
AND (
    $3::text IS NULL OR born IS NULL
    OR starts_with(born, $3) OR starts_with($3, born)
)
ORDER BY patient_id
LIMIT 5

-- Words that stay are left alone: a row deleted and inserted by one statement
-- would meet itself.
-- name: patient_change
WITH done AS (
    UPDATE patient
    SET
        record_number = $3, family = $4, given = $5, born = $6, sex = $7,
        telephone = $8, family_fold = $9, given_fold = $10,
        version = version + 1
    WHERE patient_id = $1::uuid AND version = $2::integer
    RETURNING patient_id, version
),

unindexed AS (
    DELETE FROM patient_word AS w
    USING done
    WHERE w.patient_id = done.patient_id AND w.word <> ALL ($11::text [])
),

indexed AS (
    INSERT INTO patient_word (word, patient_id)
    SELECT n.word, done.patient_id
    FROM done CROSS JOIN unnest($11::text []) AS n (word)
    WHERE NOT EXISTS (
        SELECT 1 FROM patient_word AS w
        WHERE w.patient_id = done.patient_id AND w.word = n.word
    )
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, patient_id, detail)
    SELECT 'patient', patient_id, patient_id, $12::text FROM done
)

SELECT version FROM done

-- name: patient_list
SELECT
    patient_id::text AS after, patient_id, version, record_number, family,
    given, born, sex, telephone,
    (extract(epoch FROM created_at) * 1000000)::bigint AS created_us,
    0 AS found
FROM patient
WHERE patient_id < $1::uuid AND survivor_id IS NULL
ORDER BY patient_id DESC
LIMIT $2::integer

-- Who was merged is found by any record's words and shown as the survivor.
-- One range of words, and perhaps a second of what is inside words.  In byte
-- order the word itself comes first, so the nearest thousand are the first
-- thousand.  Parameters of the three searches: ranges (1, 2), their bits and
-- all bits (3, 4), birth (5), what was typed (6), place and patient to go on
-- after (7, 8), limit (9).  Near: 2 a whole word, 1 its start, 0 inside.
-- name: patient_search_word
WITH hit AS MATERIALIZED (
    (
        SELECT
            w.patient_id,
            CASE WHEN w.word = ($1::text [])[1] THEN 2 ELSE 1 END AS near
        FROM patient_word AS w
        WHERE w.word >= ($1::text [])[1] AND w.word < ($2::text [])[1]
            AND ($3::text [])[1] IS NOT NULL AND $4::integer > 0
            AND $5::text IS NULL
        ORDER BY w.word, w.patient_id
        LIMIT 1000
    )
    UNION ALL
    (
        SELECT w.patient_id, 0 AS near
        FROM patient_word AS w
        WHERE w.word >= ($1::text [])[2] AND w.word < ($2::text [])[2]
        ORDER BY w.word, w.patient_id
        LIMIT 1000
    )
),

merged AS MATERIALIZED (
    SELECT patient_id, survivor_id
    FROM patient WHERE survivor_id IS NOT NULL
),

best AS MATERIALIZED (
    SELECT
        coalesce(m.survivor_id, hit.patient_id) AS patient_id,
        max(hit.near) AS near
    FROM hit LEFT JOIN merged AS m ON m.patient_id = hit.patient_id
    GROUP BY 1
    ORDER BY near DESC, patient_id
    LIMIT 1000
),

ranked AS MATERIALIZED (
    SELECT
        p.patient_id, p.version, p.record_number, p.family, p.given, p.born,
        p.sex, p.telephone, p.created_at,
        row_number() OVER (
            ORDER BY
                coalesce(p.record_number = btrim($6), false) DESC,
                best.near DESC, p.family_fold, p.given_fold, p.patient_id
        ) AS place
    FROM best JOIN patient AS p ON p.patient_id = best.patient_id
)

SELECT
    r.place || '.' || r.patient_id AS after, r.patient_id, r.version,
    r.record_number, r.family, r.given, r.born, r.sex, r.telephone,
    (extract(epoch FROM r.created_at) * 1000000)::bigint AS created_us,
    (
        SELECT greatest(
            count(*) FILTER (WHERE near > 0),
            count(*) FILTER (WHERE near = 0),
            (SELECT count(*) FROM best)
        )
        FROM hit
    ) AS found
FROM ranked AS r
WHERE r.place > coalesce(
    (SELECT a.place FROM ranked AS a WHERE a.patient_id = $8::uuid),
    $7::integer
)
ORDER BY r.place
LIMIT $9::integer

-- Several ranges: who has a word for every bit.  Each range is read from the
-- index once; looking up each candidate's words one by one was five times
-- slower.
-- name: patient_search_words
WITH asked AS MATERIALIZED (
    SELECT
        q.lowest, q.above, q.bits::integer AS bits,
        starts_with(q.lowest, '~') AS inside
    FROM unnest($1::text [], $2::text [], $3::text [])
        AS q (lowest, above, bits)
),

merged AS MATERIALIZED (
    SELECT patient_id, survivor_id
    FROM patient WHERE survivor_id IS NOT NULL
),

hit AS MATERIALIZED (
    SELECT
        coalesce(m.survivor_id, w.patient_id) AS patient_id,
        count(*) FILTER (WHERE w.word = q.lowest AND NOT q.inside) AS exact,
        coalesce(bit_or(q.bits) FILTER (WHERE NOT q.inside), 0)
        = $4::integer AS starts
    FROM asked AS q
    JOIN patient_word AS w ON w.word >= q.lowest AND w.word < q.above
    LEFT JOIN merged AS m ON m.patient_id = w.patient_id
    WHERE $5::text IS NULL
    GROUP BY 1
    HAVING bit_or(q.bits) = $4::integer
    ORDER BY starts DESC, exact DESC, patient_id
    LIMIT 1000
),

ranked AS MATERIALIZED (
    SELECT
        p.patient_id, p.version, p.record_number, p.family, p.given, p.born,
        p.sex, p.telephone, p.created_at,
        row_number() OVER (
            ORDER BY
                coalesce(p.record_number = btrim($6), false) DESC,
                h.starts DESC, h.exact DESC,
                p.family_fold, p.given_fold, p.patient_id
        ) AS place
    FROM hit AS h JOIN patient AS p ON p.patient_id = h.patient_id
)

SELECT
    r.place || '.' || r.patient_id AS after, r.patient_id, r.version,
    r.record_number, r.family, r.given, r.born, r.sex, r.telephone,
    (extract(epoch FROM r.created_at) * 1000000)::bigint AS created_us,
    (SELECT count(*) FROM hit) AS found
FROM ranked AS r
WHERE r.place > coalesce(
    (SELECT a.place FROM ranked AS a WHERE a.patient_id = $8::uuid),
    $7::integer
)
ORDER BY r.place
LIMIT $9::integer

-- By birth, and by words when there are any: few are born on a day.  A birth
-- on record that is less exact fits, after the exact ones.
-- name: patient_search_born
WITH asked AS MATERIALIZED (
    SELECT
        q.lowest, q.above, q.bits::integer AS bits,
        starts_with(q.lowest, '~') AS inside
    FROM unnest($1::text [], $2::text [], $3::text [])
        AS q (lowest, above, bits)
),

born AS MATERIALIZED (
    SELECT
        p.patient_id, coalesce(p.survivor_id, p.patient_id) AS survivor_id
    FROM patient AS p
    WHERE (p.born >= $5::text AND p.born < $5::text || ':')
        OR p.born IN (left($5::text, 4), left($5::text, 7))
),

hit AS MATERIALIZED (
    SELECT
        b.survivor_id AS patient_id, max(n.exact) AS exact,
        bool_or(n.starts) AS starts
    FROM born AS b
    CROSS JOIN LATERAL (
        SELECT
            coalesce(bit_or(q.bits), 0) AS bits,
            count(*) FILTER (WHERE w.word = q.lowest AND NOT q.inside)
                AS exact,
            coalesce(bit_or(q.bits) FILTER (WHERE NOT q.inside), 0)
            = $4::integer AS starts
        FROM patient_word AS w
        JOIN asked AS q ON w.word >= q.lowest AND w.word < q.above
        WHERE w.patient_id = b.patient_id
    ) AS n
    WHERE n.bits = $4::integer
    GROUP BY b.survivor_id
    LIMIT 1000
),

ranked AS MATERIALIZED (
    SELECT
        p.patient_id, p.version, p.record_number, p.family, p.given, p.born,
        p.sex, p.telephone, p.created_at,
        row_number() OVER (
            ORDER BY
                coalesce(p.record_number = btrim($6), false) DESC,
                h.starts DESC, h.exact DESC, p.born >= $5::text DESC,
                p.family_fold, p.given_fold, p.patient_id
        ) AS place
    FROM hit AS h JOIN patient AS p ON p.patient_id = h.patient_id
)

SELECT
    r.place || '.' || r.patient_id AS after, r.patient_id, r.version,
    r.record_number, r.family, r.given, r.born, r.sex, r.telephone,
    (extract(epoch FROM r.created_at) * 1000000)::bigint AS created_us,
    (SELECT count(*) FROM hit) AS found
FROM ranked AS r
WHERE r.place > coalesce(
    (SELECT a.place FROM ranked AS a WHERE a.patient_id = $8::uuid),
    $7::integer
)
ORDER BY r.place
LIMIT $9::integer
