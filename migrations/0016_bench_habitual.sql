-- 0016: glasses on the bench are not what a patient wears.
-- Why:   a lensometry by which finished glasses were checked would count as
--        the habitual ones before the patient has them.
-- Locks: SHARE on bench_check for the index, milliseconds.
-- Back:  roll forward; the function's form stays.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

CREATE INDEX bench_check_by_reading ON bench_check (network_id, reading_id)
WHERE reading_id IS NOT NULL;

CREATE OR REPLACE FUNCTION habitual_of(of_patient uuid, for_purpose text)
RETURNS uuid
LANGUAGE sql STABLE AS $$
    WITH family AS MATERIALIZED (
        SELECT f.id FROM patient_family(of_patient) AS f (id)
    ),

    named AS (
        SELECT c.choice_id, e.entry_id, e.at
        FROM habitual_choice AS c
        JOIN entry AS e ON e.entry_id = c.entry_id
        WHERE c.patient_id IN (SELECT f.id FROM family AS f)
            AND e.patient_id IN (SELECT f.id FROM family AS f)
            AND coalesce(c.purpose, e.purpose, 'distance') = for_purpose
        ORDER BY c.choice_id DESC
        LIMIT 1
    ),

    measured AS (
        SELECT e.entry_id, e.at
        FROM entry AS e
        WHERE e.patient_id IN (SELECT f.id FROM family AS f)
            AND e.kind = 'lensometry'
            AND coalesce(e.purpose, 'distance') = for_purpose
            AND (e.right_m IS NOT NULL OR e.left_m IS NOT NULL)
            AND NOT EXISTS (
                SELECT 1 FROM bench_check AS b WHERE b.reading_id = e.entry_id
            )
            AND NOT EXISTS (
                SELECT 1 FROM named AS n
                WHERE e.entry_id < n.choice_id OR e.at <= n.at
            )
        ORDER BY e.at DESC, e.entry_id DESC
        LIMIT 1
    )

    SELECT coalesce(
        (SELECT entry_id FROM measured), (SELECT entry_id FROM named))
$$;
