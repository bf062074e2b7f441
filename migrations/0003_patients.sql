-- 0003: patients and their visits.
-- Why:   a reading and an exam belong to somebody, on a day, at a clinic.
-- Locks: creates new objects only.
-- Back:  roll forward; the daemon one version back ignores the tables.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

CREATE TABLE patient (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    patient_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    record_number text,
    family text,
    given text,
    born text COLLATE "C",
    sex text,
    telephone text,
    family_fold text NOT NULL DEFAULT '',
    given_fold text NOT NULL DEFAULT '',
    created_at timestamptz NOT NULL DEFAULT app_at(),
    PRIMARY KEY (network_id, patient_id),
    CONSTRAINT patient_network FOREIGN KEY (network_id)
    REFERENCES network (network_id),
    CONSTRAINT patient_record_number_taken UNIQUE (network_id, record_number),
    CONSTRAINT patient_some_name
    CHECK (family IS NOT NULL OR given IS NOT NULL),
    CONSTRAINT patient_born_form
    CHECK (born ~ '^[0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?$'),
    CONSTRAINT patient_sex
    CHECK (sex IN ('male', 'female', 'other', 'unknown'))
);
COMMENT ON TABLE patient IS 'A person whose eyes are measured.';
COMMENT ON COLUMN patient.born IS 'A FHIR date: year, year-month or full.';
COMMENT ON COLUMN patient.family_fold
IS 'Folded for comparison (case, accents, composed letters); '''' for none.';
CREATE INDEX patient_by_name
ON patient (network_id, family_fold, given_fold, born);
CREATE INDEX patient_by_born ON patient (network_id, born);
CALL tenant_table('patient');
GRANT SELECT, INSERT, UPDATE ON patient TO lensclerkd;

-- LIKE and lower() lose their index under row security; a prefix of a folded
-- word in the C collation keeps it.
CREATE TABLE patient_word (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    word text COLLATE "C" NOT NULL,
    patient_id uuid NOT NULL,
    PRIMARY KEY (network_id, word, patient_id),
    CONSTRAINT patient_word_patient FOREIGN KEY (network_id, patient_id)
    REFERENCES patient (network_id, patient_id)
);
COMMENT ON TABLE patient_word
IS 'Every folded word of a name and the record number, for search.';
COMMENT ON COLUMN patient_word.word
IS 'Marked: # a number run together, @ a year of birth, ~ inside a name.';
CREATE INDEX patient_word_by_patient ON patient_word (network_id, patient_id);
CALL tenant_table('patient_word');
GRANT SELECT, INSERT, DELETE ON patient_word TO lensclerkd;

CREATE TABLE visit (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    visit_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    patient_id uuid NOT NULL,
    clinic_id uuid NOT NULL,
    at timestamptz NOT NULL,
    reason text,
    status text NOT NULL DEFAULT 'planned',
    created_at timestamptz NOT NULL DEFAULT app_at(),
    PRIMARY KEY (network_id, visit_id),
    CONSTRAINT visit_patient FOREIGN KEY (network_id, patient_id)
    REFERENCES patient (network_id, patient_id),
    CONSTRAINT visit_clinic FOREIGN KEY (network_id, clinic_id)
    REFERENCES clinic (network_id, clinic_id),
    CONSTRAINT visit_status CHECK (
        status IN ('planned', 'arrived', 'in-progress', 'finished', 'cancelled')
    )
);
COMMENT ON TABLE visit IS 'A patient''s day at a clinic; exams belong to it.';
COMMENT ON COLUMN visit.status IS 'FHIR Encounter.status, the part we use.';
CREATE INDEX visit_by_clinic ON visit (network_id, clinic_id, at);
CREATE INDEX visit_by_patient ON visit (network_id, patient_id, at);
CALL tenant_table('visit');
GRANT SELECT, INSERT, UPDATE ON visit TO lensclerkd;
