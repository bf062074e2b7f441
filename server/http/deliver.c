/* http/deliver.c - what waits for webhooks is posted. */
#include "http/deliver.h"

#include <stdlib.h>
#include <string.h>

#include "base/instant.h"
#include "base/num.h"
#include "http/inside.h"
#include "http/post.h"

#define LOOK_MS 250
#define LEASE_S 60    /* longer than posting takes */
#define CLAIM_MOST 64 /* messages posted at once: memory, and the receiver */
#define PAUSE_MOST_S 3600
#define QUIET_US INT64_C(1000000) /* where the first of each has to wait */

struct claimed {
    const char *event_id;
    int64_t attempts;
};

struct deliver {
    struct http_server *srv;
    struct arena *arena; /* of one network's turn */
    bool busy, any;
    bool full;        /* more waits than was claimed */
    int64_t quiet_us; /* nothing of what waits has its turn before */
    size_t n_networks, at;
    char (*networks)[UUID_TEXT_SIZE];
    size_t n;
    struct claimed *claimed;
    struct post_message *messages;
};

static void next_network(struct deliver *d);
static void look(void *arg);

static void rest(struct deliver *d)
{
    bool full = d->full;

    if (d->n_networks > 0 && !d->any)
        d->quiet_us = instant_now_us() + QUIET_US;
    arena_reset(d->arena);
    d->n_networks = 0;
    d->any = d->full = false;
    d->busy = false;
    if (full)
        look(d);
}

static struct db_who of_network(const struct deliver *d)
{
    struct db_who who = {0};

    memcpy(who.network_id, d->networks[d->at], UUID_TEXT_SIZE);
    return who;
}

/* A write that leaves no audit row: what it did can be done again. */
static void write_for_network(
    struct deliver *d, struct db_call *call, db_done *done)
{
    struct db_write write = {.who = of_network(d),
        .act = {.action = "delivered",
            .at_us = instant_now_us(),
            .request_id = ""},
        .calls = &call,
        .n = 1};

    db_write(d->srv->parts.db, &write, done, d);
}

/* ---- how it ended
 * ------------------------------------------------------------ */

static bool was_told(const struct post_message *m)
{
    return m->status >= 200 && m->status < 300;
}

static bool is_dead(const struct deliver *d, size_t i)
{
    return !was_told(&d->messages[i]) &&
           d->claimed[i].attempts >= d->srv->parts.config->webhook_attempts;
}

/* Doubled at each attempt, up to an hour. */
static int64_t pause_s(const struct deliver *d, size_t i)
{
    int64_t s = d->srv->parts.config->webhook_retry_s;

    for (int64_t k = 1; k < d->claimed[i].attempts && s < PAUSE_MOST_S; k++)
        s *= 2;
    return s < PAUSE_MOST_S ? s : PAUSE_MOST_S;
}

static void ended_kept(void *arg, const struct db_reply *reply)
{
    struct deliver *d = arg;

    (void)reply; /* not kept: the claim runs out, and it is told again */
    d->at++;
    next_network(d);
}

static void posted(void *arg)
{
    struct deliver *d = arg;
    struct db_call *call = db_call_new(d->arena, &DB_WEBHOOK_ENDED);
    const char **of[6];

    for (size_t c = 0; c < ARRAY_LEN(of); c++)
        of[c] = arena_calloc(d->arena, d->n, sizeof(**of));
    for (size_t i = 0; i < d->n; i++) {
        const struct post_message *m = &d->messages[i];

        of[0][i] = m->webhook_id;
        of[1][i] = d->claimed[i].event_id;
        of[2][i] = was_told(m)     ? "delivered"
                   : is_dead(d, i) ? "dead"
                                   : "waiting";
        of[3][i] = m->status ? arena_printf(d->arena, "%d", m->status) : NULL;
        of[4][i] = m->status ? NULL : m->why;
        of[5][i] = arena_printf(d->arena, "%lld", (long long)pause_s(d, i));
    }
    for (size_t c = 0; c < ARRAY_LEN(of); c++)
        db_put_texts(call, of[c], d->n);
    write_for_network(d, call, ended_kept);
}

/* ---- what is posted
 * ------------------------------------------------------------ */

static void post(void *arg)
{
    struct deliver *d = arg;

    post_all(d->messages, d->n, instant_now_us());
}

static const char *body_of(
    struct arena *arena, const struct db_rows *rows, size_t i)
{
    const char *order = db_rows_text(rows, i, 5);
    char at[INSTANT_TEXT_MAX];
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "id", db_rows_text(rows, i, 1));
    json_out_text(&o, "at", instant_text(db_rows_int(rows, i, 6), 0, at));
    json_out_text(&o, "kind", db_rows_text(rows, i, 4));
    json_out_raw(&o, "order", order, strlen(order));
    json_out_object_end(&o);
    return arena_memdup(arena, t.data, t.len);
}

static void claimed(void *arg, const struct db_reply *reply)
{
    struct deliver *d = arg;
    const struct db_rows *rows;

    d->n = reply->rc == RC_OK && reply->n ? db_rows_count(reply->rows[0]) : 0;
    if (d->n == 0) {
        d->at++;
        next_network(d);
        return;
    }
    rows = reply->rows[0];
    d->any = true;
    d->full = d->full || d->n == CLAIM_MOST;
    d->claimed = arena_calloc(d->arena, d->n, sizeof(*d->claimed));
    d->messages = arena_calloc(d->arena, d->n, sizeof(*d->messages));
    for (size_t i = 0; i < d->n; i++) {
        struct post_message *m = &d->messages[i];

        d->claimed[i] =
            (struct claimed){arena_strdup(d->arena, db_rows_text(rows, i, 1)),
                db_rows_int(rows, i, 2)};
        m->webhook_id = arena_strdup(d->arena, db_rows_text(rows, i, 0));
        m->url = arena_strdup(d->arena, db_rows_text(rows, i, 3));
        m->body = body_of(d->arena, rows, i);
        sign_derive(d->srv->root, "webhook", m->webhook_id, m->secret);
    }
    if (!worker_start(d->srv->parts.deliveries, post, posted, d)) {
        d->full = false;
        rest(d); /* the claims run out */
    }
}

static void next_network(struct deliver *d)
{
    struct db_call *call;

    if (d->at >= d->n_networks || d->srv->draining) {
        rest(d);
        return;
    }
    call = db_call_new(d->arena, &DB_WEBHOOK_CLAIM);
    db_put_int(call, LEASE_S);
    db_put_int(call, CLAIM_MOST);
    write_for_network(d, call, claimed);
}

static void networks_found(void *arg, const struct db_reply *reply)
{
    struct deliver *d = arg;

    d->at = 0;
    d->n_networks = reply->rc == RC_OK ? db_rows_count(reply->rows[0]) : 0;
    d->networks = arena_calloc(d->arena, d->n_networks, sizeof(*d->networks));
    for (size_t i = 0; i < d->n_networks; i++)
        memcpy(
            d->networks[i], db_rows_text(reply->rows[0], i, 0), UUID_TEXT_SIZE);
    next_network(d);
}

static void look(void *arg)
{
    struct deliver *d = arg;
    struct db_call *call;

    if (d->busy || d->srv->draining || !d->srv->has_root ||
        !db_ready(d->srv->parts.db) || instant_now_us() < d->quiet_us)
        return;
    d->busy = true;
    call = db_call_new(d->arena, &DB_NETWORKS_WITH_DELIVERIES);
    db_read_open(d->srv->parts.db, call, networks_found, d);
}

struct deliver *deliver_new(struct http_server *srv)
{
    struct deliver *d = xcalloc(1, sizeof(*d));

    d->srv = srv;
    d->arena = arena_new();
    loop_every(srv->parts.loop, LOOK_MS, look, d);
    return d;
}

void deliver_free(struct deliver *d)
{
    if (!d)
        return;
    arena_free(d->arena);
    free(d);
}
