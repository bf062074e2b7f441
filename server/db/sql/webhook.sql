-- Addresses that are told of events, and what they were told.

-- name: webhook_list
SELECT
    webhook_id, version, url, lab_id, array_to_string(kinds, ' '), closed,
    (extract(epoch FROM created_at) * 1000000)::bigint AS created_us
FROM webhook
WHERE webhook_id < $1::uuid
ORDER BY webhook_id DESC
LIMIT $2::integer

-- name: webhook_get
SELECT
    webhook_id, version, url, lab_id, array_to_string(kinds, ' '), closed,
    (extract(epoch FROM created_at) * 1000000)::bigint AS created_us
FROM webhook
WHERE webhook_id = $1::uuid

-- name: webhook_add
WITH done AS (
    INSERT INTO webhook (webhook_id, url, lab_id, kinds)
    VALUES ($1::uuid, $2, $3::uuid, $4::text [])
    RETURNING webhook_id
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id)
    SELECT 'webhook', webhook_id FROM done
)

SELECT webhook_id FROM done

-- Closed, it is told nothing more, also not what waits.
-- name: webhook_change
WITH done AS (
    UPDATE webhook
    SET
        url = $3, lab_id = $4::uuid, kinds = $5::text [],
        closed = $6::boolean, version = version + 1
    WHERE webhook_id = $1::uuid AND version = $2::integer
    RETURNING webhook_id, version, closed
),

ended AS (
    UPDATE webhook_delivery AS d
    SET state = 'dead', trouble = 'the webhook was closed', ended_at = now()
    FROM done
    WHERE d.webhook_id = done.webhook_id AND done.closed
        AND d.state = 'waiting'
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, detail)
    SELECT 'webhook', webhook_id, $7::text FROM done
)

SELECT version FROM done

-- Newest first, below an event (2), of one state (3).
-- name: webhook_delivery_list
SELECT
    d.event_id, b.kind, d.subject_id, d.ordinal, d.state, d.attempts,
    d.answered, d.trouble,
    (extract(epoch FROM d.next_at) * 1000000)::bigint AS next_us,
    (extract(epoch FROM d.ended_at) * 1000000)::bigint AS ended_us
FROM webhook_delivery AS d
JOIN outbox AS b ON b.event_id = d.event_id
WHERE d.webhook_id = $1::uuid AND d.event_id < $2::uuid
    AND ($3::text IS NULL OR d.state = $3)
ORDER BY d.event_id DESC
LIMIT $4::integer

-- What is dead (2 true) or all that was told since an event's id (3) is told
-- again.
-- name: webhook_replay
WITH again AS (
    UPDATE webhook_delivery AS d
    SET state = 'waiting', attempts = 0, next_at = now(), ended_at = NULL
    FROM webhook AS w
    WHERE w.webhook_id = $1::uuid AND NOT w.closed
        AND d.webhook_id = w.webhook_id
        AND (
            ($2::boolean AND d.state = 'dead')
            OR ($3::uuid IS NOT NULL AND d.event_id >= $3::uuid
                AND d.state <> 'waiting')
        )
    RETURNING d.event_id
),

counted AS (
    SELECT count(*) AS n FROM again
),

logged AS (
    INSERT INTO audit (subject_kind, subject_id, detail)
    SELECT 'webhook', w.webhook_id, $4::text
    FROM webhook AS w WHERE w.webhook_id = $1::uuid AND NOT w.closed
    RETURNING subject_id
)

SELECT counted.n FROM counted CROSS JOIN logged

-- ---- the daemon's own work -------------------------------------------------

-- name: networks_with_deliveries
SELECT network_id FROM networks_with_deliveries()

-- The first that waits of each subject and address, when its time has come,
-- is this daemon's for some seconds (1), the longest due (2) of them; a daemon
-- that dies leaves them to others.
-- name: webhook_claim
UPDATE webhook_delivery AS d
SET
    attempts = d.attempts + 1,
    next_at = now() + make_interval(secs => $1::integer)
FROM (
    SELECT f.webhook_id, f.event_id, w.url
    FROM (
        SELECT DISTINCT ON (x.webhook_id, x.subject_id)
            x.webhook_id, x.subject_id, x.event_id, x.next_at
        FROM webhook_delivery AS x
        WHERE x.state = 'waiting'
        ORDER BY x.webhook_id, x.subject_id, x.ordinal, x.event_id
    ) AS f
    JOIN webhook AS w ON w.webhook_id = f.webhook_id
    WHERE f.next_at <= now() AND NOT w.closed
    ORDER BY f.next_at
    LIMIT $2::integer
) AS first
JOIN outbox AS b ON b.event_id = first.event_id
WHERE d.webhook_id = first.webhook_id AND d.event_id = first.event_id
    AND d.next_at <= now() AND d.state = 'waiting'
RETURNING
    d.webhook_id, d.event_id, d.attempts, first.url, b.kind, b.body,
    (extract(epoch FROM b.at) * 1000000)::bigint AS at_us

-- How each of some (webhooks 1, events 2) ended: its state, the HTTP status or
-- none, what went wrong or nothing, and the seconds until the next attempt.
-- name: webhook_ended
UPDATE webhook_delivery AS d
SET
    state = e.state, answered = e.answered::integer, trouble = e.trouble,
    next_at = now() + make_interval(secs => e.pause::integer),
    ended_at = CASE WHEN e.state <> 'waiting' THEN now() END
FROM unnest(
    $1::text [], $2::text [], $3::text [], $4::text [], $5::text [],
    $6::text []
) AS e (webhook_id, event_id, state, answered, trouble, pause)
WHERE d.webhook_id = e.webhook_id::uuid AND d.event_id = e.event_id::uuid
    AND d.state = 'waiting'
RETURNING d.event_id
