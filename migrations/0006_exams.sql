-- 0006: exams, their steps and versions, and the prescriptions signed.
-- Why:   the prescriber's work is kept step by step, and what was signed
--        never changes.
-- Locks: creates new objects only.
-- Back:  roll forward; the daemon one version back ignores the tables.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

CREATE TABLE exam (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    exam_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    visit_id uuid NOT NULL,
    patient_id uuid NOT NULL,
    clinic_id uuid NOT NULL,
    performed_at timestamptz NOT NULL,
    catch_up boolean NOT NULL DEFAULT false,
    status text NOT NULL DEFAULT 'preliminary',
    edition integer NOT NULL DEFAULT 1,
    amending boolean NOT NULL DEFAULT false,
    amend_reason text,
    habitual_entry_id uuid,
    body text NOT NULL,
    created_by uuid DEFAULT app_uuid('app.user_id'),
    created_at timestamptz NOT NULL DEFAULT app_at(),
    PRIMARY KEY (network_id, exam_id),
    CONSTRAINT exam_visit FOREIGN KEY (network_id, visit_id)
    REFERENCES visit (network_id, visit_id),
    CONSTRAINT exam_patient FOREIGN KEY (network_id, patient_id)
    REFERENCES patient (network_id, patient_id),
    CONSTRAINT exam_clinic FOREIGN KEY (network_id, clinic_id)
    REFERENCES clinic (network_id, clinic_id),
    CONSTRAINT exam_habitual FOREIGN KEY (network_id, habitual_entry_id)
    REFERENCES entry (network_id, entry_id),
    CONSTRAINT exam_status CHECK (
        status IN ('preliminary', 'final', 'amended', 'entered-in-error')
    ),
    CONSTRAINT exam_edition CHECK (edition >= 1)
);
COMMENT ON TABLE exam IS 'One examination at a visit, as it stands now.';
COMMENT ON COLUMN exam.version IS 'Counts every change; the ETag.';
COMMENT ON COLUMN exam.edition IS 'Counts signed versions: 1, then amendments.';
COMMENT ON COLUMN exam.amending
IS 'Signed before and opened again with a reason; the signed edition stands'
' until the new one is signed.';
COMMENT ON COLUMN exam.body IS 'The sections and the working refraction, JSON.';
CREATE INDEX exam_by_patient ON exam (network_id, patient_id, performed_at);
CREATE INDEX exam_by_clinic ON exam (network_id, clinic_id, performed_at);
CREATE INDEX exam_by_visit ON exam (network_id, visit_id);
CALL tenant_table('exam');
GRANT SELECT, INSERT, UPDATE ON exam TO lensclerkd;

CREATE TABLE exam_step (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    step_id uuid NOT NULL,
    exam_id uuid NOT NULL,
    ordinal integer NOT NULL,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    undoes uuid,
    body text NOT NULL,
    PRIMARY KEY (network_id, step_id),
    CONSTRAINT exam_step_exam FOREIGN KEY (network_id, exam_id)
    REFERENCES exam (network_id, exam_id),
    CONSTRAINT exam_step_ordinal_taken UNIQUE (network_id, exam_id, ordinal),
    CONSTRAINT exam_step_undone_once UNIQUE (network_id, undoes),
    CONSTRAINT exam_step_undoes FOREIGN KEY (network_id, undoes)
    REFERENCES exam_step (network_id, step_id)
);
COMMENT ON TABLE exam_step
IS 'Every change of the working refraction and the test that led to it.';
CALL tenant_table('exam_step');
GRANT SELECT, INSERT ON exam_step TO lensclerkd; -- append-only

CREATE TABLE prescription (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    prescription_id uuid NOT NULL,
    exam_id uuid NOT NULL,
    edition integer NOT NULL,
    patient_id uuid NOT NULL,
    signed_by uuid NOT NULL,
    signed_at timestamptz NOT NULL,
    reason text,
    expires_on date,
    exam_body text NOT NULL,
    rx text NOT NULL,
    delta text,
    PRIMARY KEY (network_id, prescription_id),
    CONSTRAINT prescription_edition_taken
    UNIQUE (network_id, exam_id, edition),
    CONSTRAINT prescription_exam FOREIGN KEY (network_id, exam_id)
    REFERENCES exam (network_id, exam_id),
    CONSTRAINT prescription_signer FOREIGN KEY (network_id, signed_by)
    REFERENCES app_user (network_id, user_id),
    CONSTRAINT prescription_reason
    CHECK (edition = 1 OR (reason IS NOT NULL AND reason <> ''))
);
COMMENT ON TABLE prescription
IS 'A signed edition of an exam: the exam, the Rx and its delta, frozen.';
CREATE INDEX prescription_by_patient
ON prescription (network_id, patient_id, signed_at);
CALL tenant_table('prescription');
GRANT SELECT, INSERT ON prescription TO lensclerkd; -- no UPDATE: signed
