-- 0010: duplicate patients become one and two again; the side of a lens.
-- Why:   one person is registered twice, and found out later; a lens comes
--        without its side, and a person knows it.
-- Locks: ACCESS EXCLUSIVE on patient and entry for milliseconds (columns
--        without default, constraints not yet looked at); SHARE on patient
--        while its index reads it once, about a second for a million.
-- Back:  roll forward; the daemon one version back ignores the columns: to it
--        a merged patient is one of their own.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

ALTER TABLE patient
ADD COLUMN merged_into uuid,
ADD COLUMN survivor_id uuid;
ALTER TABLE patient
ADD CONSTRAINT patient_merged_whole
CHECK ((merged_into IS NULL) = (survivor_id IS NULL)) NOT VALID;
ALTER TABLE patient
ADD CONSTRAINT patient_merged_other
CHECK (merged_into <> patient_id AND survivor_id <> patient_id) NOT VALID;
COMMENT ON COLUMN patient.merged_into
IS 'The patient that it was found to be; null: its own. patient_merge has the'
' history.';
COMMENT ON COLUMN patient.survivor_id
IS 'Where merged_into leads in the end. Rows keep the patient that they were'
' given; whose they are now is coalesce(survivor_id, patient_id).';
CREATE INDEX patient_by_survivor ON patient (network_id, survivor_id)
WHERE survivor_id IS NOT NULL;

CREATE TABLE patient_merge (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    merge_id uuid NOT NULL,
    patient_id uuid NOT NULL,
    into_id uuid,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    reason text,
    PRIMARY KEY (network_id, merge_id),
    CONSTRAINT patient_merge_patient FOREIGN KEY (network_id, patient_id)
    REFERENCES patient (network_id, patient_id),
    CONSTRAINT patient_merge_into FOREIGN KEY (network_id, into_id)
    REFERENCES patient (network_id, patient_id),
    CONSTRAINT patient_merge_other CHECK (into_id <> patient_id)
);
COMMENT ON TABLE patient_merge
IS 'A patient merged into another, or (null) taken apart again; the latest'
' decides.';
CREATE INDEX patient_merge_by_patient
ON patient_merge (network_id, patient_id, merge_id);
CALL tenant_table('patient_merge');
GRANT SELECT, INSERT ON patient_merge TO lensclerkd; -- append-only

-- All ids of the person that an id is of: the survivor and who was merged
-- into it.  None for an id that is nobody's.
CREATE FUNCTION patient_family(of_patient uuid) RETURNS SETOF uuid
LANGUAGE sql STABLE AS $$
    SELECT coalesce(p.survivor_id, p.patient_id)
    FROM patient AS p
    WHERE p.patient_id = of_patient
    UNION ALL
    SELECT m.patient_id
    FROM patient AS p
    JOIN patient AS m ON m.survivor_id = coalesce(p.survivor_id, p.patient_id)
    WHERE p.patient_id = of_patient
$$;
REVOKE ALL ON FUNCTION patient_family FROM PUBLIC;
GRANT EXECUTE ON FUNCTION patient_family TO lensclerkd;

-- As in 0009, and: identifiers of a merged patient name the survivor; who was
-- merged is one person, not several; and nothing contradicts that fits any
-- record of the person.
CREATE OR REPLACE FUNCTION find_patients(
    networks uuid [], ref_id uuid [], ref_number text [], ref_family text [],
    ref_given text [], ref_born text []
)
RETURNS TABLE (ord integer, named uuid, matched text)
LANGUAGE sql STABLE AS $$
    WITH x AS (
        SELECT
            r.ord::integer AS ord, r.network_id, ref_id[r.ord] AS id,
            ref_number[r.ord] AS number, ref_family[r.ord] AS family,
            ref_given[r.ord] AS given, ref_born[r.ord] AS born
        FROM unnest(networks) WITH ORDINALITY AS r (network_id, ord)
    )

    SELECT
        x.ord,
        coalesce(
            i.survivor_id, i.patient_id, p.survivor_id, p.patient_id,
            s.patient_id
        ),
        CASE
            WHEN coalesce(x.id::text, x.number, x.family, x.given) IS NULL
                THEN 'none'
            WHEN x.id IS NOT NULL AND i.patient_id IS NULL THEN 'unknown'
            WHEN x.id IS NULL AND x.number IS NOT NULL
                AND p.patient_id IS NULL THEN 'unknown'
            WHEN x.id IS NOT NULL AND coalesce(p.survivor_id, p.patient_id)
                <> coalesce(i.survivor_id, i.patient_id) THEN 'mismatch'
            WHEN x.id IS NOT NULL AND p.patient_id IS NULL
                AND i.record_number <> x.number THEN 'mismatch'
            WHEN coalesce(i.patient_id, p.patient_id) IS NOT NULL AND (
                coalesce(i.family_fold, p.family_fold) <> x.family
                OR NOT (starts_with(coalesce(i.born, p.born), x.born)
                    OR starts_with(x.born, coalesce(i.born, p.born)))
            ) AND NOT EXISTS (
                SELECT 1 FROM patient AS q
                WHERE q.network_id = x.network_id
                    AND (
                        q.patient_id = coalesce(i.survivor_id, p.survivor_id)
                        OR q.survivor_id = coalesce(
                            i.survivor_id, i.patient_id,
                            p.survivor_id, p.patient_id)
                    )
                    AND (q.family_fold <> x.family) IS NOT TRUE
                    AND (starts_with(q.born, x.born)
                        OR starts_with(x.born, q.born)) IS NOT FALSE
            ) THEN 'mismatch'
            WHEN i.patient_id IS NOT NULL THEN 'id'
            WHEN p.patient_id IS NOT NULL THEN 'number'
            WHEN s.patient_id IS NOT NULL THEN 'names'
            ELSE 'unknown'
        END
    FROM x
    LEFT JOIN patient AS i
        ON i.network_id = x.network_id AND i.patient_id = x.id
    LEFT JOIN patient AS p
        ON p.network_id = x.network_id AND p.record_number = x.number
    LEFT JOIN LATERAL (
        SELECT
            (array_agg(coalesce(q.survivor_id, q.patient_id)))[1] AS patient_id
        FROM patient AS q
        WHERE x.id IS NULL AND x.number IS NULL AND x.born IS NOT NULL
            AND coalesce(x.family, x.given) IS NOT NULL
            AND q.network_id = x.network_id
            AND q.family_fold = coalesce(x.family, '')
            AND q.given_fold = coalesce(x.given, '') AND q.born = x.born
        HAVING count(DISTINCT coalesce(q.survivor_id, q.patient_id)) = 1
    ) AS s ON true
$$;
GRANT EXECUTE ON FUNCTION find_patients TO lensclerkd; -- for previews

-- As in 0004, over all records of the person.
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
                SELECT 1 FROM named AS n
                WHERE e.entry_id < n.choice_id OR e.at <= n.at
            )
        ORDER BY e.at DESC, e.entry_id DESC
        LIMIT 1
    )

    SELECT coalesce(
        (SELECT entry_id FROM measured), (SELECT entry_id FROM named))
$$;

-- ---- the side of a lens -------------------------------------------------

CREATE TABLE reading_side (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    side_id uuid NOT NULL,
    reading_id uuid NOT NULL,
    eye smallint,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    reason text,
    PRIMARY KEY (network_id, side_id),
    CONSTRAINT reading_side_reading FOREIGN KEY (network_id, reading_id)
    REFERENCES reading (network_id, reading_id),
    CONSTRAINT reading_side_eye CHECK (eye IN (1, 2))
);
COMMENT ON TABLE reading_side
IS 'A lens of unknown side assigned to an eye, or (null) to none again; the'
' latest decides.';
COMMENT ON COLUMN reading_side.eye IS '1 right, 2 left.';
CREATE INDEX reading_side_by_reading
ON reading_side (network_id, reading_id, side_id);
CALL tenant_table('reading_side');
GRANT SELECT, INSERT ON reading_side TO lensclerkd; -- append-only

ALTER TABLE entry ADD COLUMN side smallint;
COMMENT ON COLUMN entry.side
IS 'The eye that the lens of unknown side was assigned to: 1 right, 2 left.';
GRANT UPDATE (
    side, right_m, right_j0, right_j45, left_m, left_j0, left_j45
) ON entry TO lensclerkd;

-- A body with its lens of unknown side at the eye that it was assigned to.
-- The quotes can't be of a text's inside, where they are escaped.
CREATE FUNCTION sided(body text, side smallint) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT CASE side
        WHEN 1 THEN replace(
            replace(body, '"unspecified":', '"right":'),
            '"eye":"unspecified"', '"eye":"right"')
        WHEN 2 THEN replace(
            replace(body, '"unspecified":', '"left":'),
            '"eye":"unspecified"', '"eye":"left"')
        ELSE body
    END
$$;
REVOKE ALL ON FUNCTION sided FROM PUBLIC;
GRANT EXECUTE ON FUNCTION sided TO lensclerkd;
