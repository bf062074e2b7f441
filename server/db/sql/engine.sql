-- Statements of the engine itself: who asks, and what a transaction is for.

-- name: for_network
SELECT set_config('app.network_id', $1, true)

-- name: for_write
SELECT
    set_config('app.network_id', $1, true),
    set_config('app.token_id', $2, true),
    set_config('app.user_id', $3, true),
    set_config('app.device_id', $4, true),
    set_config('app.owner_id', $5, true),
    set_config('app.action', $6, true),
    set_config('app.audit_id', $7, true),
    set_config('app.at', $8, true),
    set_config('app.request_id', $9, true),
    set_config('app.idempotency_key', $10, true),
    set_config('app.body_hash', $11, true)

-- name: replan
DISCARD PLANS

-- name: write_was_committed
SELECT pg_logical_emit_message(true, 'repeat', '')
FROM audit WHERE audit_id = $1::uuid

-- name: token_by_hash
SELECT
    network_id, token_id, kind, role, user_id, device_id, clinic_id, lab_id,
    expires_us, user_name, network_name, time_zone, device_serial,
    device_model, device_manufacturer
FROM token_by_hash($1::bytea)

-- name: tokens_revoked_since
SELECT encode(token_hash, 'hex')
FROM tokens_revoked_since(now() - make_interval(secs => $1::integer))

-- name: forget_old_answers
SELECT forget_old_answers()

-- name: user_for_sign_in
SELECT
    network_id, user_id, role, clinic_id, lab_id, password_hash, display
FROM user_for_sign_in($1::text, $2::text)

-- name: answer_kept
SELECT
    encode(body_hash, 'hex'), status, body, resource_id, etag,
    pg_logical_emit_message(true, 'repeat', '')
FROM idempotency
WHERE owner_id = $1::uuid AND key = $2::text

-- name: daemon_may_serve
SELECT
    r.rolsuper OR r.rolbypassrls AS bypasses,
    EXISTS (
        SELECT 1 FROM pg_class AS c
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r'
            AND pg_has_role(r.oid, c.relowner, 'USAGE')
    ) AS owns,
    EXISTS (
        SELECT 1 FROM pg_class AS c
        JOIN pg_attribute AS a ON a.attrelid = c.oid
            AND a.attname = 'network_id' AND NOT a.attisdropped
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r'
            AND NOT (c.relrowsecurity AND c.relforcerowsecurity)
    ) AS unguarded
FROM pg_roles AS r
WHERE r.rolname = current_user
