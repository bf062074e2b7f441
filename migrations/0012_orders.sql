-- 0012: what happens to orders after they are placed.
-- Why:   amendments, questions, remakes and bench checks are kept; what is
--        signed carries a signature; whoever listens is told of every move.
-- Locks: ACCESS EXCLUSIVE on order_edition, order_event, outbox and network
--        for columns without a rewrite, milliseconds; else new objects only.
-- Back:  roll forward; the daemon one version back leaves the columns empty.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

ALTER TABLE order_edition
ADD COLUMN changes text,
ADD COLUMN code text;
COMMENT ON COLUMN order_edition.changes
IS 'What differs from the edition before, a JSON list; null for the first.';
COMMENT ON COLUMN order_edition.code
IS 'What the square code on paper holds, with its signature.';

ALTER TABLE order_event
ADD COLUMN kind text NOT NULL DEFAULT 'moved',
ADD CONSTRAINT order_event_kind CHECK (kind IN (
    'begun', 'placed', 'moved', 'amended', 'asked', 'answered', 'checked',
    'remade'
));

CREATE TABLE order_question (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    question_id uuid NOT NULL,
    order_id uuid NOT NULL,
    edition integer NOT NULL,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    pointer text NOT NULL,
    question text NOT NULL,
    PRIMARY KEY (network_id, question_id),
    CONSTRAINT order_question_edition
    FOREIGN KEY (network_id, order_id, edition)
    REFERENCES order_edition (network_id, order_id, edition)
);
COMMENT ON TABLE order_question
IS 'What a lab asks back at a field of an order; append-only.';
CREATE INDEX order_question_by_order
ON order_question (network_id, order_id, question_id);
CALL tenant_table('order_question');
GRANT SELECT, INSERT ON order_question TO lensclerkd; -- append-only

CREATE TABLE order_answer (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    question_id uuid NOT NULL,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    answer text NOT NULL,
    CONSTRAINT order_answer_once PRIMARY KEY (network_id, question_id),
    CONSTRAINT order_answer_question FOREIGN KEY (network_id, question_id)
    REFERENCES order_question (network_id, question_id)
);
COMMENT ON TABLE order_answer
IS 'The clinic''s answer to a question, one each; append-only.';
CALL tenant_table('order_answer');
GRANT SELECT, INSERT ON order_answer TO lensclerkd; -- append-only

CREATE TABLE order_remake (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    order_id uuid NOT NULL,
    of_order_id uuid NOT NULL,
    of_edition integer NOT NULL,
    cause text NOT NULL,
    note text,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    PRIMARY KEY (network_id, order_id),
    CONSTRAINT order_remake_order FOREIGN KEY (network_id, order_id)
    REFERENCES orders (network_id, order_id),
    CONSTRAINT order_remake_of FOREIGN KEY (network_id, of_order_id, of_edition)
    REFERENCES order_edition (network_id, order_id, edition)
);
COMMENT ON TABLE order_remake
IS 'Orders that replace finished glasses, and why; append-only.';
CREATE INDEX order_remake_by_of ON order_remake (network_id, of_order_id);
CALL tenant_table('order_remake');
GRANT SELECT, INSERT ON order_remake TO lensclerkd; -- append-only

CREATE TABLE bench_check (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    bench_check_id uuid NOT NULL,
    order_id uuid NOT NULL,
    edition integer NOT NULL,
    again_id uuid,
    reading_id uuid,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    profile text NOT NULL,
    verdict text NOT NULL,
    measured text NOT NULL,
    body text NOT NULL,
    PRIMARY KEY (network_id, bench_check_id),
    CONSTRAINT bench_check_edition FOREIGN KEY (network_id, order_id, edition)
    REFERENCES order_edition (network_id, order_id, edition),
    CONSTRAINT bench_check_again FOREIGN KEY (network_id, again_id)
    REFERENCES bench_check (network_id, bench_check_id),
    CONSTRAINT bench_check_reading FOREIGN KEY (network_id, reading_id)
    REFERENCES reading (network_id, reading_id),
    CONSTRAINT bench_check_verdict
    CHECK (verdict IN ('not-judged', 'pass', 'at-limit', 'fail'))
);
COMMENT ON TABLE bench_check
IS 'Finished glasses held to their order under a named profile; append-only.';
COMMENT ON COLUMN bench_check.again_id
IS 'The check whose measurement this one judges under another profile.';
CREATE INDEX bench_check_by_order
ON bench_check (network_id, order_id, bench_check_id);
CALL tenant_table('bench_check');
GRANT SELECT, INSERT ON bench_check TO lensclerkd; -- no UPDATE: evidence

CREATE TABLE signing_key (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    key_id uuid NOT NULL,
    number integer NOT NULL,
    public_key bytea NOT NULL,
    made_at timestamptz NOT NULL DEFAULT app_at(),
    made_by uuid DEFAULT app_uuid('app.user_id'),
    PRIMARY KEY (network_id, key_id),
    CONSTRAINT signing_key_network FOREIGN KEY (network_id)
    REFERENCES network (network_id),
    CONSTRAINT signing_key_number_taken UNIQUE (network_id, number),
    CONSTRAINT signing_key_size CHECK (octet_length(public_key) = 32)
);
COMMENT ON TABLE signing_key
IS 'Public keys of a network (Ed25519); the highest number signs. Private ones'
' are derived from the daemon''s key file and stand nowhere.';
CALL tenant_table('signing_key');
GRANT SELECT, INSERT ON signing_key TO lensclerkd; -- append-only

-- Who checks a signature has no token: a public key is public by its id.
GRANT SELECT ON signing_key TO lensclerk_auth;
CREATE POLICY signing_key_auth ON signing_key
FOR SELECT TO lensclerk_auth USING (true);
CREATE FUNCTION signing_key_by_id(in_key_id uuid)
RETURNS TABLE (key_id uuid, public_key bytea, made_us bigint)
LANGUAGE plpgsql STABLE SECURITY DEFINER
SET search_path = pg_catalog, public AS $$
BEGIN
    RETURN QUERY
    SELECT k.key_id, k.public_key,
        (extract(epoch FROM k.made_at) * 1000000)::bigint
    FROM signing_key AS k WHERE k.key_id = in_key_id;
END
$$;

CREATE TABLE rx_release (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    release_id uuid NOT NULL,
    exam_id uuid NOT NULL,
    prescription_id uuid NOT NULL,
    patient_id uuid NOT NULL,
    kind text NOT NULL,
    body text NOT NULL,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    PRIMARY KEY (network_id, release_id),
    CONSTRAINT rx_release_exam FOREIGN KEY (network_id, exam_id)
    REFERENCES exam (network_id, exam_id),
    CONSTRAINT rx_release_prescription FOREIGN KEY (network_id, prescription_id)
    REFERENCES prescription (network_id, prescription_id),
    CONSTRAINT rx_release_kind
    CHECK (kind IN ('copy-given', 'receipt', 'consent', 'refusal'))
);
COMMENT ON TABLE rx_release
IS 'That a patient got the Rx, confirmed or refused it; append-only.';
CREATE INDEX rx_release_by_exam ON rx_release (network_id, exam_id, release_id);
CALL tenant_table('rx_release');
GRANT SELECT, INSERT ON rx_release TO lensclerkd; -- append-only

ALTER TABLE network
ADD COLUMN expiry_leap_day text NOT NULL DEFAULT 'february-28',
ADD CONSTRAINT network_expiry_leap_day
CHECK (expiry_leap_day IN ('february-28', 'march-1'));
COMMENT ON COLUMN network.expiry_leap_day
IS 'What 29 February becomes in a year without one.';
GRANT UPDATE (expiry_leap_day) ON network TO lensclerkd;

ALTER TABLE outbox
ADD COLUMN clinic_id uuid,
ADD COLUMN lab_id uuid,
ADD COLUMN ordinal integer NOT NULL DEFAULT 0;
COMMENT ON COLUMN outbox.lab_id IS 'Whose lab may know; null: no lab.';
COMMENT ON COLUMN outbox.ordinal
IS 'The subject''s version, by which its events are told in order.';

-- No event of an order is without its message, whatever statement wrote it.
CREATE FUNCTION order_event_tell() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO outbox (
        network_id, event_id, kind, subject_id, patient_id, clinic_id, lab_id, ordinal,
        body
    )
    SELECT
        NEW.network_id, NEW.event_id, 'order-' || NEW.kind, o.order_id, o.patient_id,
        o.clinic_id, CASE WHEN o.placed_at IS NOT NULL THEN o.lab_id END,
        o.version,
        json_build_object(
            'order', o.order_id, 'number', o.number, 'edition', o.edition,
            'version', o.version, 'status', o.status, 'stage', o.stage
        )::text
    FROM orders AS o
    WHERE o.network_id = NEW.network_id AND o.order_id = NEW.order_id;
    RETURN NULL;
END
$$;
CREATE TRIGGER order_event_told AFTER INSERT ON order_event
FOR EACH ROW EXECUTE FUNCTION order_event_tell();

CREATE TABLE webhook (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    webhook_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    url text NOT NULL,
    lab_id uuid,
    kinds text[] NOT NULL,
    closed boolean NOT NULL DEFAULT false,
    created_at timestamptz NOT NULL DEFAULT app_at(),
    created_by uuid DEFAULT app_uuid('app.user_id'),
    PRIMARY KEY (network_id, webhook_id),
    CONSTRAINT webhook_network FOREIGN KEY (network_id)
    REFERENCES network (network_id),
    CONSTRAINT webhook_lab FOREIGN KEY (network_id, lab_id)
    REFERENCES lab (network_id, lab_id)
);
COMMENT ON TABLE webhook
IS 'Addresses that are told of events. Their secrets are derived from the'
' daemon''s key file and stand nowhere.';
COMMENT ON COLUMN webhook.lab_id IS 'Only of this lab''s orders; null: of all.';
COMMENT ON COLUMN webhook.kinds IS 'Of which events; empty: of all.';
CALL tenant_table('webhook');
GRANT SELECT, INSERT, UPDATE ON webhook TO lensclerkd;

CREATE TABLE webhook_delivery (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    webhook_id uuid NOT NULL,
    event_id uuid NOT NULL,
    subject_id uuid NOT NULL,
    ordinal integer NOT NULL,
    state text NOT NULL DEFAULT 'waiting',
    attempts integer NOT NULL DEFAULT 0,
    next_at timestamptz NOT NULL DEFAULT now(),
    answered integer,
    trouble text,
    ended_at timestamptz,
    PRIMARY KEY (network_id, webhook_id, event_id),
    CONSTRAINT webhook_delivery_webhook FOREIGN KEY (network_id, webhook_id)
    REFERENCES webhook (network_id, webhook_id),
    CONSTRAINT webhook_delivery_event FOREIGN KEY (network_id, event_id)
    REFERENCES outbox (network_id, event_id) ON DELETE CASCADE,
    CONSTRAINT webhook_delivery_state
    CHECK (state IN ('waiting', 'delivered', 'dead'))
);
COMMENT ON TABLE webhook_delivery
IS 'What an address was told of an event, or is still to be told.';
COMMENT ON COLUMN webhook_delivery.answered IS 'The last HTTP status.';
CREATE INDEX webhook_delivery_waiting
ON webhook_delivery (network_id, webhook_id, subject_id, ordinal, event_id)
WHERE state = 'waiting';
CREATE INDEX webhook_delivery_due ON webhook_delivery (next_at)
WHERE state = 'waiting';
CALL tenant_table('webhook_delivery');
GRANT SELECT, INSERT, UPDATE ON webhook_delivery TO lensclerkd;

CREATE FUNCTION outbox_spread() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO webhook_delivery (
        network_id, webhook_id, event_id, subject_id, ordinal
    )
    SELECT NEW.network_id, w.webhook_id, NEW.event_id, NEW.subject_id, NEW.ordinal
    FROM webhook AS w
    WHERE w.network_id = NEW.network_id
        AND (w.kinds = '{}' OR NEW.kind = ANY (w.kinds))
        AND (w.lab_id IS NULL OR w.lab_id = NEW.lab_id)
        AND NOT w.closed;
    RETURN NULL;
END
$$;
CREATE TRIGGER outbox_told AFTER INSERT ON outbox
FOR EACH ROW EXECUTE FUNCTION outbox_spread();

-- A daemon works for all networks, and learns here which have work.
GRANT SELECT ON webhook_delivery TO lensclerk_auth;
CREATE POLICY webhook_delivery_auth ON webhook_delivery
FOR SELECT TO lensclerk_auth USING (true);
CREATE FUNCTION networks_with_deliveries()
RETURNS TABLE (network_id uuid)
LANGUAGE plpgsql STABLE SECURITY DEFINER
SET search_path = pg_catalog, public AS $$
BEGIN
    RETURN QUERY
    SELECT DISTINCT d.network_id FROM webhook_delivery AS d
    WHERE d.state = 'waiting' AND d.next_at <= now();
END
$$;

REVOKE ALL ON FUNCTION signing_key_by_id, networks_with_deliveries FROM PUBLIC;
GRANT EXECUTE ON FUNCTION signing_key_by_id, networks_with_deliveries
TO lensclerkd;
GRANT CREATE ON SCHEMA public TO lensclerk_auth;
ALTER FUNCTION signing_key_by_id OWNER TO lensclerk_auth;
ALTER FUNCTION networks_with_deliveries OWNER TO lensclerk_auth;
REVOKE CREATE ON SCHEMA public FROM lensclerk_auth;
