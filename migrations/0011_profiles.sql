-- 0011: field profiles.
-- Why:   a clinic maps the text, XML or JSON that its instrument writes; all
--        clinics of a network share the mapping, and a reading says which
--        version of it was used.
-- Locks: creates new objects only.
-- Back:  roll forward; the daemon one version back ignores the table.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

CREATE TABLE field_profile (
    network_id uuid NOT NULL DEFAULT current_setting('app.network_id')::uuid,
    name text NOT NULL,
    version integer NOT NULL,
    profile_id uuid NOT NULL,
    title text NOT NULL,
    form text NOT NULL,
    document text NOT NULL,
    created_at timestamptz NOT NULL DEFAULT app_at(),
    user_id uuid DEFAULT app_uuid('app.user_id'),
    CONSTRAINT field_profile_version PRIMARY KEY (network_id, name, version),
    CONSTRAINT field_profile_once UNIQUE (network_id, profile_id, version),
    CONSTRAINT field_profile_network FOREIGN KEY (network_id)
    REFERENCES network (network_id),
    CONSTRAINT field_profile_counted CHECK (version >= 1),
    CONSTRAINT field_profile_name
    CHECK (name ~ '^[a-z0-9][a-z0-9.-]{0,62}$' AND name <> 'preview'),
    CONSTRAINT field_profile_form CHECK (
        form IN ('delimited', 'fixed', 'lines', 'xml', 'json')
    ),
    CONSTRAINT field_profile_size CHECK (octet_length(document) <= 65536)
);
COMMENT ON TABLE field_profile
IS 'Each version of each field profile; the greatest version of a name is the'
' one in use.';
COMMENT ON COLUMN field_profile.profile_id IS 'The same for all versions.';
COMMENT ON COLUMN field_profile.document IS 'JSON, as schema/profile.json.';
CALL tenant_table('field_profile');
-- No UPDATE: readings name the version that they were read with.
GRANT SELECT, INSERT ON field_profile TO lensclerkd;
