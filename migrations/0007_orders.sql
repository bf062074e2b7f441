-- 0007: orders and what happened to them.
-- Why:   a lab makes what was signed, and everybody sees how far it is.
-- Locks: creates new objects only.
-- Back:  roll forward; the daemon one version back ignores the tables.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

CREATE TABLE orders (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    order_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    number text NOT NULL,
    edition integer NOT NULL DEFAULT 1,
    exam_id uuid NOT NULL,
    prescription_id uuid NOT NULL,
    patient_id uuid NOT NULL,
    clinic_id uuid NOT NULL,
    lab_id uuid,
    status text NOT NULL,
    stage text,
    previous_id uuid,
    body text NOT NULL,
    created_by uuid DEFAULT app_uuid('app.user_id'),
    created_at timestamptz NOT NULL DEFAULT app_at(),
    placed_at timestamptz,
    PRIMARY KEY (network_id, order_id),
    CONSTRAINT orders_number_taken UNIQUE (network_id, number),
    CONSTRAINT orders_exam FOREIGN KEY (network_id, exam_id)
    REFERENCES exam (network_id, exam_id),
    CONSTRAINT orders_prescription FOREIGN KEY (network_id, prescription_id)
    REFERENCES prescription (network_id, prescription_id),
    CONSTRAINT orders_patient FOREIGN KEY (network_id, patient_id)
    REFERENCES patient (network_id, patient_id),
    CONSTRAINT orders_clinic FOREIGN KEY (network_id, clinic_id)
    REFERENCES clinic (network_id, clinic_id),
    CONSTRAINT orders_lab FOREIGN KEY (network_id, lab_id)
    REFERENCES lab (network_id, lab_id),
    CONSTRAINT orders_previous FOREIGN KEY (network_id, previous_id)
    REFERENCES orders (network_id, order_id),
    CONSTRAINT orders_status CHECK (status IN (
        'draft', 'requested', 'received', 'accepted', 'rejected',
        'in-progress', 'on-hold', 'completed', 'cancelled', 'failed'
    )),
    CONSTRAINT orders_stage CHECK (
        stage IN ('cut', 'checked', 'sent', 'arrived', 'handed over')
    ),
    CONSTRAINT orders_placed_has_lab
    CHECK (status IN ('draft', 'cancelled') OR lab_id IS NOT NULL)
);
COMMENT ON TABLE orders IS 'Glasses ordered from a lab, as they stand now.';
COMMENT ON COLUMN orders.number
IS 'For people: short, without look-alikes, printed on the order.';
COMMENT ON COLUMN orders.edition
IS 'Counts what the lab was told; version counts every change.';
CREATE INDEX orders_by_status ON orders (network_id, status, order_id DESC);
CREATE INDEX orders_by_lab ON orders (network_id, lab_id, status, order_id DESC);
CREATE INDEX orders_by_patient ON orders (network_id, patient_id, order_id DESC);
CREATE INDEX orders_by_exam ON orders (network_id, exam_id);
CALL tenant_table('orders');
GRANT SELECT, INSERT, UPDATE ON orders TO lensclerkd;

CREATE TABLE order_edition (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    order_id uuid NOT NULL,
    edition integer NOT NULL,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    reason text,
    body text NOT NULL,
    PRIMARY KEY (network_id, order_id, edition),
    CONSTRAINT order_edition_order FOREIGN KEY (network_id, order_id)
    REFERENCES orders (network_id, order_id)
);
COMMENT ON TABLE order_edition
IS 'What the lab was told, each time; never changed.';
CALL tenant_table('order_edition');
GRANT SELECT, INSERT ON order_edition TO lensclerkd; -- no UPDATE: evidence

CREATE TABLE order_event (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    order_id uuid NOT NULL,
    event_id uuid NOT NULL,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    status text NOT NULL,
    stage text,
    note text,
    PRIMARY KEY (network_id, order_id, event_id),
    CONSTRAINT order_event_order FOREIGN KEY (network_id, order_id)
    REFERENCES orders (network_id, order_id)
);
COMMENT ON TABLE order_event IS 'Every move of an order; append-only.';
CALL tenant_table('order_event');
GRANT SELECT, INSERT ON order_event TO lensclerkd; -- append-only
