-- 0001: networks and who works in them.
-- Why:   every other row belongs to a network; nobody is known before this.
-- Locks: creates new objects only.
-- Back:  nothing stands before it.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

REVOKE ALL ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO lensclerkd, lensclerk_append, lensclerk_auth;

-- What every tenant table gets: row security that binds its owner too, one
-- policy for the daemon that fails closed (with no network set the cast
-- raises), one for migrations.
CREATE PROCEDURE tenant_table(of_table regclass)
LANGUAGE plpgsql AS $$
DECLARE
    word text := (SELECT relname FROM pg_class WHERE oid = of_table);
BEGIN
    EXECUTE format('ALTER TABLE %s ENABLE ROW LEVEL SECURITY', of_table);
    EXECUTE format('ALTER TABLE %s FORCE ROW LEVEL SECURITY', of_table);
    EXECUTE format(
        'CREATE POLICY %I ON %s TO lensclerkd'
        ' USING (network_id = current_setting(''app.network_id'')::uuid)'
        ' WITH CHECK (network_id = current_setting(''app.network_id'')::uuid)',
        word || '_tenant', of_table);
    EXECUTE format(
        'CREATE POLICY %I ON %s TO lensclerk_owner'
        ' USING (true) WITH CHECK (true)', word || '_owner', of_table);
END
$$;
REVOKE ALL ON PROCEDURE tenant_table FROM PUBLIC;

CREATE TABLE network (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    version integer NOT NULL DEFAULT 1,
    name text NOT NULL,
    display text NOT NULL,
    vertex_needed_cd integer NOT NULL DEFAULT 500,
    expiry_months integer,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (network_id),
    CONSTRAINT network_name_form CHECK (name ~ '^[a-z0-9][a-z0-9-]{0,62}$'),
    CONSTRAINT network_vertex_range
    CHECK (vertex_needed_cd BETWEEN 0 AND 4000),
    CONSTRAINT network_expiry_range CHECK (expiry_months BETWEEN 1 AND 120)
);
COMMENT ON TABLE network IS 'The tenant: clinics and labs that share records.';
COMMENT ON COLUMN network.vertex_needed_cd
IS 'From this power of a meridian on (0.01 D) signing needs a vertex.';
COMMENT ON COLUMN network.expiry_months
IS 'Validity of a prescription by the rule of the place; null: none set.';
-- Sign-in finds a network by name; a name can be taken once.
CREATE UNIQUE INDEX network_by_name ON network (name);
CALL tenant_table('network');

CREATE TABLE clinic (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    clinic_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    name text NOT NULL,
    address text NOT NULL DEFAULT '',
    telephone text NOT NULL DEFAULT '',
    time_zone text NOT NULL,
    step_sphere_cd integer NOT NULL DEFAULT 25,
    step_axis_deg integer NOT NULL DEFAULT 5,
    step_prism_cd integer NOT NULL DEFAULT 50,
    cylinder_form text NOT NULL DEFAULT 'minus',
    closed boolean NOT NULL DEFAULT false,
    PRIMARY KEY (network_id, clinic_id),
    CONSTRAINT clinic_network FOREIGN KEY (network_id)
    REFERENCES network (network_id),
    CONSTRAINT clinic_name_taken UNIQUE (network_id, name),
    CONSTRAINT clinic_step_sphere CHECK (step_sphere_cd IN (12, 25, 50)),
    CONSTRAINT clinic_step_axis CHECK (step_axis_deg IN (1, 2, 5, 10)),
    CONSTRAINT clinic_step_prism CHECK (step_prism_cd IN (10, 20, 50)),
    CONSTRAINT clinic_cylinder_form CHECK (cylinder_form IN ('minus', 'plus'))
);
COMMENT ON TABLE clinic IS 'A site of a network, with the steps it works in.';
CALL tenant_table('clinic');

CREATE TABLE lab (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    lab_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    name text NOT NULL,
    address text NOT NULL DEFAULT '',
    telephone text NOT NULL DEFAULT '',
    closed boolean NOT NULL DEFAULT false,
    PRIMARY KEY (network_id, lab_id),
    CONSTRAINT lab_network FOREIGN KEY (network_id)
    REFERENCES network (network_id),
    CONSTRAINT lab_name_taken UNIQUE (network_id, name)
);
COMMENT ON TABLE lab IS 'A workshop that makes a network''s glasses.';
CALL tenant_table('lab');

CREATE TABLE app_user (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    user_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    name text NOT NULL,
    display text NOT NULL,
    role text NOT NULL,
    clinic_id uuid,
    lab_id uuid,
    licence_number text NOT NULL DEFAULT '',
    practice_address text NOT NULL DEFAULT '',
    password_hash text,
    disabled boolean NOT NULL DEFAULT false,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (network_id, user_id),
    CONSTRAINT app_user_network FOREIGN KEY (network_id)
    REFERENCES network (network_id),
    CONSTRAINT app_user_clinic FOREIGN KEY (network_id, clinic_id)
    REFERENCES clinic (network_id, clinic_id),
    CONSTRAINT app_user_lab FOREIGN KEY (network_id, lab_id)
    REFERENCES lab (network_id, lab_id),
    CONSTRAINT app_user_name_taken UNIQUE (network_id, name),
    CONSTRAINT app_user_name_form CHECK (name ~ '^[a-z0-9][a-z0-9._-]{0,62}$'),
    CONSTRAINT app_user_role
    CHECK (role IN ('desk', 'prescriber', 'lab', 'admin', 'auditor')),
    CONSTRAINT app_user_lab_role CHECK ((role = 'lab') = (lab_id IS NOT NULL))
);
COMMENT ON TABLE app_user IS 'A person who signs in.';
COMMENT ON COLUMN app_user.password_hash IS 'Argon2id, libsodium''s string.';
CALL tenant_table('app_user');

CREATE TABLE device (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    device_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    name text NOT NULL,
    clinic_id uuid NOT NULL,
    serial text,
    model text,
    manufacturer text,
    retired boolean NOT NULL DEFAULT false,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (network_id, device_id),
    CONSTRAINT device_clinic FOREIGN KEY (network_id, clinic_id)
    REFERENCES clinic (network_id, clinic_id),
    CONSTRAINT device_name_taken UNIQUE (network_id, name)
);
COMMENT ON TABLE device IS 'An instrument, or the PC that speaks for some.';
CALL tenant_table('device');

CREATE TABLE token (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    token_id uuid NOT NULL,
    token_hash bytea NOT NULL,
    kind text NOT NULL,
    user_id uuid,
    device_id uuid,
    role text NOT NULL,
    clinic_id uuid,
    lab_id uuid,
    label text NOT NULL DEFAULT '',
    created_at timestamptz NOT NULL DEFAULT now(),
    expires_at timestamptz NOT NULL,
    revoked_at timestamptz,
    PRIMARY KEY (network_id, token_id),
    CONSTRAINT token_user FOREIGN KEY (network_id, user_id)
    REFERENCES app_user (network_id, user_id),
    CONSTRAINT token_device FOREIGN KEY (network_id, device_id)
    REFERENCES device (network_id, device_id),
    CONSTRAINT token_hash_taken UNIQUE (network_id, token_hash),
    CONSTRAINT token_hash_size CHECK (octet_length(token_hash) = 32),
    CONSTRAINT token_kind CHECK (kind IN ('session', 'bearer')),
    CONSTRAINT token_one_owner
    CHECK ((user_id IS NULL) <> (device_id IS NULL)),
    CONSTRAINT token_role CHECK (
        role IN ('desk', 'prescriber', 'lab', 'device', 'admin', 'auditor')
    )
);
COMMENT ON TABLE token
IS 'What a request proves itself with: a browser''s session or a bearer token.';
COMMENT ON COLUMN token.token_hash IS 'SHA-256 of the token itself.';
COMMENT ON COLUMN token.role
IS 'Role, clinic and lab as they were when the token was made; a change of'
' the user revokes the token.';
-- A token names its network, so it is looked up before a network is known.
CREATE INDEX token_by_hash ON token (token_hash);
CREATE INDEX token_by_revocation ON token (revoked_at)
WHERE revoked_at IS NOT NULL;
CREATE INDEX token_by_user ON token (network_id, user_id);
CREATE INDEX token_by_device ON token (network_id, device_id);
CALL tenant_table('token');

GRANT SELECT ON network, clinic, lab, app_user, device, token TO lensclerkd;
GRANT INSERT ON clinic, lab, app_user, device, token TO lensclerkd;
GRANT UPDATE ON clinic, lab, app_user, device TO lensclerkd;
GRANT UPDATE (version, vertex_needed_cd, expiry_months, display)
ON network TO lensclerkd;
GRANT UPDATE (revoked_at) ON token TO lensclerkd;

-- The only ways to find out who somebody is before a network is set.
GRANT SELECT ON network, app_user, token, device, clinic TO lensclerk_auth;
CREATE POLICY network_auth ON network FOR SELECT TO lensclerk_auth USING (true);
CREATE POLICY app_user_auth ON app_user
FOR SELECT TO lensclerk_auth USING (true);
CREATE POLICY token_auth ON token FOR SELECT TO lensclerk_auth USING (true);
CREATE POLICY device_auth ON device FOR SELECT TO lensclerk_auth USING (true);
CREATE POLICY clinic_auth ON clinic FOR SELECT TO lensclerk_auth USING (true);

CREATE FUNCTION token_by_hash(hash bytea)
RETURNS TABLE (
    network_id uuid, token_id uuid, kind text, role text, user_id uuid,
    device_id uuid, clinic_id uuid, lab_id uuid, expires_us bigint,
    user_name text, network_name text, time_zone text, device_serial text,
    device_model text, device_manufacturer text
)
LANGUAGE plpgsql STABLE SECURITY DEFINER
SET search_path = pg_catalog, public AS $$
BEGIN
    RETURN QUERY
    SELECT t.network_id, t.token_id, t.kind, t.role, t.user_id,
        t.device_id, t.clinic_id, t.lab_id,
        (extract(epoch FROM t.expires_at) * 1000000)::bigint,
        coalesce(u.name, d.name), n.name, c.time_zone, d.serial, d.model,
        d.manufacturer
    FROM token AS t
    JOIN network AS n ON n.network_id = t.network_id
    LEFT JOIN app_user AS u
        ON u.network_id = t.network_id AND u.user_id = t.user_id
    LEFT JOIN device AS d
        ON d.network_id = t.network_id AND d.device_id = t.device_id
    LEFT JOIN clinic AS c
        ON c.network_id = t.network_id AND c.clinic_id = t.clinic_id
    WHERE t.token_hash = hash AND t.revoked_at IS NULL
        AND t.expires_at > now();
END
$$;

CREATE FUNCTION tokens_revoked_since(since timestamptz)
RETURNS TABLE (token_hash bytea)
LANGUAGE plpgsql STABLE SECURITY DEFINER
SET search_path = pg_catalog, public AS $$
BEGIN
    RETURN QUERY
    SELECT t.token_hash FROM token AS t WHERE t.revoked_at >= since;
END
$$;

CREATE FUNCTION user_for_sign_in(in_network text, in_name text)
RETURNS TABLE (
    network_id uuid, user_id uuid, role text, clinic_id uuid, lab_id uuid,
    password_hash text, display text
)
LANGUAGE plpgsql STABLE SECURITY DEFINER
SET search_path = pg_catalog, public AS $$
BEGIN
    RETURN QUERY
    SELECT u.network_id, u.user_id, u.role, u.clinic_id, u.lab_id,
        u.password_hash, u.display
    FROM network AS n
    JOIN app_user AS u ON u.network_id = n.network_id AND u.name = in_name
    WHERE n.name = in_network AND NOT u.disabled
        AND u.password_hash IS NOT NULL;
END
$$;

REVOKE ALL ON FUNCTION token_by_hash, tokens_revoked_since, user_for_sign_in
FROM PUBLIC;
GRANT EXECUTE ON FUNCTION token_by_hash, tokens_revoked_since, user_for_sign_in
TO lensclerkd;
GRANT CREATE ON SCHEMA public TO lensclerk_auth;
ALTER FUNCTION token_by_hash OWNER TO lensclerk_auth;
ALTER FUNCTION tokens_revoked_since OWNER TO lensclerk_auth;
ALTER FUNCTION user_for_sign_in OWNER TO lensclerk_auth;
REVOKE CREATE ON SCHEMA public FROM lensclerk_auth;
