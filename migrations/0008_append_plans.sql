-- 0008: one plan for all batches of readings.
-- Why:   planning the appends anew for each batch took two fifths of their
--        time in PostgreSQL; the plan is by keys whatever the batch, and
--        connections discard their plans while tables are young.
-- Locks: the function's own row only.
-- Back:  ALTER FUNCTION … RESET plan_cache_mode.
SET LOCAL lock_timeout = '2s';
SET LOCAL statement_timeout = '30s';

ALTER FUNCTION append_readings SET plan_cache_mode = force_generic_plan;
ALTER FUNCTION append_audit SET plan_cache_mode = force_generic_plan;
