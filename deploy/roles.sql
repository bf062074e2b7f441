-- The database roles, made once by the cluster's superuser; safe to repeat.
--   lensclerk_owner   owns the schema, runs migrations and administration
--   lensclerkd        the daemon: owns nothing, bound by row security
--   lensclerk_append  no login; owns the functions that append for all networks
--   lensclerk_auth    no login; owns the functions that find who somebody is
DO $$
DECLARE
    word text;
BEGIN
    FOREACH word IN ARRAY ARRAY[
        'lensclerk_owner', 'lensclerkd', 'lensclerk_append', 'lensclerk_auth'
    ] LOOP
        IF NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = word) THEN
            EXECUTE format('CREATE ROLE %I', word);
        END IF;
        EXECUTE format(
            'ALTER ROLE %I NOSUPERUSER NOBYPASSRLS NOCREATEDB NOCREATEROLE'
            ' NOREPLICATION', word);
    END LOOP;
END
$$;
ALTER ROLE lensclerk_owner LOGIN;
ALTER ROLE lensclerkd LOGIN;
ALTER ROLE lensclerk_append NOLOGIN;
ALTER ROLE lensclerk_auth NOLOGIN;
-- The owner hands its functions to these two when it makes them.
GRANT lensclerk_append, lensclerk_auth TO lensclerk_owner;
REVOKE ALL ON DATABASE lensclerk FROM PUBLIC;
GRANT CONNECT ON DATABASE lensclerk TO lensclerkd, lensclerk_owner;
GRANT CREATE ON DATABASE lensclerk TO lensclerk_owner;
ALTER SCHEMA public OWNER TO lensclerk_owner;
