-- 0002: what happened, told once, and the keys that make a repeat harmless.
-- Why:   every later write leaves a row here in its own transaction.
-- Locks: creates new objects only.
-- Back:  roll forward; the daemon one version back ignores the tables.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

-- A request sets app.* once at the head of its transaction (network, audit
-- id, instant, user or device, token, action, request id, idempotency key);
-- rows take what they need from there, so that no statement can forget it.
CREATE FUNCTION app_uuid(setting text) RETURNS uuid
LANGUAGE sql STABLE PARALLEL SAFE
AS $$ SELECT nullif(current_setting(setting, true), '')::uuid $$;

CREATE FUNCTION app_at() RETURNS timestamptz
LANGUAGE sql STABLE PARALLEL SAFE
AS $$ SELECT nullif(current_setting('app.at', true), '')::timestamptz $$;

CREATE TABLE audit (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    audit_id uuid NOT NULL DEFAULT current_setting('app.audit_id')::uuid,
    at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    device_id uuid DEFAULT app_uuid('app.device_id'),
    token_id uuid DEFAULT app_uuid('app.token_id'),
    action text NOT NULL DEFAULT current_setting('app.action'),
    subject_kind text NOT NULL,
    subject_id uuid NOT NULL,
    patient_id uuid,
    request_id text NOT NULL DEFAULT current_setting('app.request_id'),
    detail text,
    PRIMARY KEY (network_id, audit_id),
    CONSTRAINT audit_network FOREIGN KEY (network_id)
    REFERENCES network (network_id)
);
COMMENT ON TABLE audit IS 'Who saw or changed what; append-only.';
COMMENT ON COLUMN audit.audit_id
IS 'Made by the daemon; its presence proves that the write it belongs to'
' was committed.';
COMMENT ON COLUMN audit.detail IS 'JSON, or null.';
CREATE INDEX audit_by_patient ON audit (network_id, patient_id, audit_id)
WHERE patient_id IS NOT NULL;
CREATE INDEX audit_by_subject ON audit (network_id, subject_id, audit_id);
CREATE INDEX audit_by_user ON audit (network_id, user_id, audit_id)
WHERE user_id IS NOT NULL;
CALL tenant_table('audit');
GRANT SELECT, INSERT ON audit TO lensclerkd; -- no UPDATE: rows are evidence

CREATE TABLE idempotency (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    owner_id uuid NOT NULL DEFAULT current_setting('app.owner_id')::uuid,
    key text NOT NULL DEFAULT current_setting('app.idempotency_key'),
    body_hash bytea NOT NULL
    DEFAULT decode(current_setting('app.body_hash'), 'hex'),
    status smallint NOT NULL,
    body text,
    resource_id uuid,
    etag text,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (network_id, owner_id, key)
);
COMMENT ON TABLE idempotency
IS 'The first answer to a request with an Idempotency-Key; kept 7 days.';
COMMENT ON COLUMN idempotency.owner_id IS 'The user or device of the token.';
COMMENT ON COLUMN idempotency.body
IS 'The answer, or null where it is made again from resource_id.';
-- For forgetting, which is one sweep over all networks.
CREATE INDEX idempotency_by_age ON idempotency (created_at);
CALL tenant_table('idempotency');
GRANT SELECT, INSERT, DELETE ON idempotency TO lensclerkd;

CREATE TABLE outbox (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    event_id uuid NOT NULL,
    at timestamptz NOT NULL DEFAULT now(),
    kind text NOT NULL,
    subject_id uuid NOT NULL,
    patient_id uuid,
    body text NOT NULL,
    PRIMARY KEY (network_id, event_id)
);
COMMENT ON TABLE outbox
IS 'Events written with the change they tell of, for whoever listens.';
CALL tenant_table('outbox');
GRANT SELECT, INSERT, DELETE ON outbox TO lensclerkd;

-- Keeps the first answer when the request carried a key; a statement calls it
-- with the answer it is about to give.
CREATE FUNCTION remember_answer(
    status integer, body text, resource uuid, etag text
) RETURNS boolean
LANGUAGE plpgsql AS $$
BEGIN
    IF coalesce(current_setting('app.idempotency_key', true), '') = '' THEN
        RETURN false;
    END IF;
    INSERT INTO idempotency (status, body, resource_id, etag)
    VALUES (status, body, resource, etag);
    RETURN true;
END
$$;
REVOKE ALL ON FUNCTION remember_answer FROM PUBLIC;
GRANT EXECUTE ON FUNCTION remember_answer TO lensclerkd;
