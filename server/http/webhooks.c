/*
 * http/webhooks.c - addresses that are told of events.
 *
 * A secret is told once, in the answer that makes the webhook, and so that
 * route takes no Idempotency-Key: answers to those are kept.
 */
#include <string.h>

#include "http/handlers.h"
#include "http/inside.h"
#include "http/post.h"
#include "http/shape.h"

#define URL_MAX 400
#define KINDS_MAX 8

static const char *const KINDS[] = {"order-begun", "order-placed",
    "order-moved", "order-amended", "order-asked", "order-answered",
    "order-checked", "order-remade", NULL};
static const char *const STATES[] = {"waiting", "delivered", "dead", NULL};
static const char *const FIXED[] = {"id", "created_at", NULL};

struct webhook {
    const char *id, *url, *lab;
    size_t n_kinds;
    const char *kinds[KINDS_MAX];
    bool closed;
    int64_t created_us;
};

static void split_kinds(
    struct http_req *rq, const char *text, struct webhook *w)
{
    while (*text && w->n_kinds < KINDS_MAX) {
        size_t len = strcspn(text, " ");

        w->kinds[w->n_kinds++] = arena_memdup(rq->arena, text, len);
        text += len + (text[len] == ' ');
    }
}

static void write_webhook(
    struct http_req *rq, struct json_out *o, const struct webhook *w)
{
    json_out_text(o, "id", w->id);
    json_out_text(o, "url", w->url);
    json_out_array(o, "kinds");
    for (size_t i = 0; i < w->n_kinds; i++)
        json_out_text(o, NULL, w->kinds[i]);
    json_out_array_end(o);
    shape_text(o, "lab", w->lab);
    json_out_bool(o, "closed", w->closed);
    json_out_text(o, "created_at", http_time(rq, w->created_us));
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    struct webhook w = {.id = db_rows_text(rows, row, 0),
        .url = db_rows_text(rows, row, 2),
        .lab = db_rows_text(rows, row, 3),
        .closed = db_rows_bool(rows, row, 5),
        .created_us = db_rows_int(rows, row, 6)};

    split_kinds(rq, db_rows_text(rows, row, 4), &w);
    write_webhook(rq, o, &w);
}

static void read_kinds(struct json_in in, struct webhook *w)
{
    size_t n = 0;

    if (!json_in_array(in, 0, KINDS_MAX, &n))
        return;
    for (size_t i = 0; i < n; i++) {
        struct json_in item = json_in_item(in, i);
        int word;

        if (json_in_need(item) && json_in_choice(item, KINDS, &word))
            w->kinds[w->n_kinds++] = KINDS[word];
    }
}

static enum rc read_webhook(struct json_in in, struct webhook *w)
{
    static const char *const names[] = {"url", "kinds", "lab", "closed", NULL};
    struct json_in url = json_in_get(in, "url");

    json_in_object(in, names);
    if (json_in_need(url) && json_in_line(url, URL_MAX, &w->url) &&
        !post_url_good(w->url))
        err_fault(in.err, url.pointer,
            "must be an https address without a user's name (http only to "
            "this machine)");
    read_kinds(json_in_get(in, "kinds"), w);
    json_in_uuid(json_in_get(in, "lab"), &w->lab);
    json_in_bool(json_in_get(in, "closed"), &w->closed);
    return in.err->rc;
}

static const char *webhook_text(
    struct http_req *rq, const struct webhook *w, const char *secret)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    write_webhook(rq, &o, w);
    if (secret)
        json_out_text(&o, "secret", secret);
    json_out_object_end(&o);
    return arena_strdup(rq->arena, t.data);
}

/* ---- POST, PATCH ------------------------------------------------------------
 */

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_written(rq, reply, rq->state, err);
}

static void put_webhook(struct db_call *call, const struct webhook *w)
{
    db_put_text(call, w->url);
    db_put_text(call, w->lab);
    db_put_texts(call, w->kinds, w->n_kinds);
}

/* POST /v1/webhooks */
enum rc http_webhook_post(struct http_req *rq, struct err *err)
{
    struct shape_write *write = arena_calloc(rq->arena, 1, sizeof(*write));
    struct webhook w = {.created_us = rq->now_us};
    struct db_call *call = db_call_new(rq->arena, &DB_WEBHOOK_ADD);
    char secret[SIGN_PUBLIC_TEXT_SIZE];
    uint8_t bytes[32];

    TRY(read_webhook(json_in_root(rq->json, err), &w));
    if (w.closed)
        return err_set(err, RC_INVALID, "/closed", "a new one is open");
    if (!rq->srv->has_root)
        return err_set(err, RC_CONFLICT, NULL,
            "the operator has named no key file, so no message can be signed");
    w.id = http_new_id(rq);
    sign_derive(rq->srv->root, "webhook", w.id, bytes);
    sign_public_text(bytes, secret);
    *write = (struct shape_write){.path = "/v1/webhooks",
        .id = w.id,
        .answer = webhook_text(rq, &w, secret)};
    rq->state = write;
    db_put_text(call, w.id);
    put_webhook(call, &w);
    return http_write(rq, &call, 1, written);
}

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct shape_write *write = arena_calloc(rq->arena, 1, sizeof(*write));
    struct webhook w = {.id = rq->ids[0]};
    struct db_call *call = db_call_new(rq->arena, &DB_WEBHOOK_CHANGE);
    json_auto_t *doc = NULL;
    const char *now;

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "webhook", rq->ids[0]);
    write->version = db_rows_int(rows, 0, 1);
    w.created_us = db_rows_int(rows, 0, 6);
    TRY(http_match(rq, write->version, err));
    now = shape_json(rq, rows, 0, write_item);
    doc = shape_merge(rq, now, FIXED);
    TRY(read_webhook(json_in_root(doc, err), &w));
    write->id = w.id;
    write->answer = webhook_text(rq, &w, NULL);
    rq->state = write;
    db_put_text(call, w.id);
    db_put_int(call, write->version);
    put_webhook(call, &w);
    db_put_bool(call, w.closed);
    db_put_text(call, shape_before(rq, now, doc, FIXED));
    return http_write(rq, &call, 1, written);
}

static enum rc ask_one(struct http_req *rq, http_next *next)
{
    struct db_call *call = db_call_new(rq->arena, &DB_WEBHOOK_GET);

    db_put_text(call, rq->ids[0]);
    return http_read(rq, &call, 1, next);
}

/* PATCH /v1/webhooks/{id} */
enum rc http_webhook_patch(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, change);
}

/* ---- GET
 * ---------------------------------------------------------------------- */

static enum rc got(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_one(rq, reply->rows[0], "webhook", write_item, err);
}

/* GET /v1/webhooks/{id} */
enum rc http_webhook_get(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, got);
}

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const int *limit = rq->state;

    (void)err;
    return shape_list(rq, reply->rows[0], *limit, false, write_item);
}

/* GET /v1/webhooks */
enum rc http_webhook_list(struct http_req *rq, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_WEBHOOK_LIST);
    int *limit = arena_alloc(rq->arena, sizeof(*limit));
    const char *below;

    TRY(shape_page(rq, limit, &below, err));
    rq->state = limit;
    db_put_text(call, below);
    db_put_int(call, *limit + 1);
    return http_read(rq, &call, 1, listed);
}

/* ---- what was told
 * -------------------------------------------------------------- */

/* NULL where the column is null. */
static const char *time_at(
    struct http_req *rq, const struct db_rows *rows, size_t row, int col)
{
    return db_rows_text(rows, row, col)
               ? http_time(rq, db_rows_int(rows, row, col))
               : NULL;
}

static void write_delivery(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    const char *state = db_rows_text(rows, row, 4);

    json_out_text(o, "event", db_rows_text(rows, row, 0));
    json_out_text(o, "kind", db_rows_text(rows, row, 1));
    json_out_text(o, "order", db_rows_text(rows, row, 2));
    json_out_int(o, "version", db_rows_int(rows, row, 3));
    json_out_text(o, "state", state);
    json_out_int(o, "attempts", db_rows_int(rows, row, 5));
    if (db_rows_text(rows, row, 6))
        json_out_int(o, "answered", db_rows_int(rows, row, 6));
    shape_text(o, "trouble", db_rows_text(rows, row, 7));
    if (strcmp(state, "waiting") == 0)
        shape_text(o, "next_at", time_at(rq, rows, row, 8));
    shape_text(o, "ended_at", time_at(rq, rows, row, 9));
}

static enum rc deliveries_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const int *limit = rq->state;

    if (db_rows_count(reply->rows[0]) == 0)
        return shape_missing(err, "webhook", rq->ids[0]);
    return shape_list(rq, reply->rows[1], *limit, false, write_delivery);
}

/* GET /v1/webhooks/{id}/deliveries */
enum rc http_webhook_delivery_list(struct http_req *rq, struct err *err)
{
    struct db_call *calls[2] = {db_call_new(rq->arena, &DB_WEBHOOK_GET),
        db_call_new(rq->arena, &DB_WEBHOOK_DELIVERY_LIST)};
    const char *state = http_query(rq, "state"), *below;
    int *limit = arena_alloc(rq->arena, sizeof(*limit));
    bool known = !state;

    TRY(shape_page(rq, limit, &below, err));
    for (size_t i = 0; state && STATES[i]; i++)
        known = known || strcmp(STATES[i], state) == 0;
    if (!known)
        return err_set(
            err, RC_INVALID, "/state", "no state is called \"%s\"", state);
    rq->state = limit;
    db_put_text(calls[0], rq->ids[0]);
    db_put_text(calls[1], rq->ids[0]);
    db_put_text(calls[1], below);
    db_put_text(calls[1], state);
    db_put_int(calls[1], *limit + 1);
    return http_read(rq, calls, 2, deliveries_found);
}

/* ---- told again
 * ------------------------------------------------------------------ */

struct replay {
    bool dead;
    const char *since;
    struct err body; /* what is wrong with the request */
};

static enum rc replayed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_CONFLICT, "/closed", "the webhook is closed");
    json_out_object(&o, NULL);
    /* After a lost connection it is done, and nobody counted. */
    if (reply->n)
        json_out_int(&o, "deliveries", db_rows_int(reply->rows[0], 0, 0));
    json_out_object_end(&o);
    return http_reply_json(rq, 200, &t);
}

static enum rc replay(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct replay *in = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_WEBHOOK_REPLAY);
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    if (db_rows_count(reply->rows[0]) == 0)
        return shape_missing(err, "webhook", rq->ids[0]);
    *err = in->body;
    if (err->rc != RC_OK)
        return err->rc;
    json_out_object(&o, NULL);
    json_out_bool(&o, "dead", in->dead);
    if (in->since)
        json_out_text(&o, "since", in->since);
    json_out_object_end(&o);
    db_put_text(call, rq->ids[0]);
    db_put_bool(call, in->dead);
    db_put_text(call, in->since);
    db_put_text(call, arena_strdup(rq->arena, t.data));
    return http_write(rq, &call, 1, replayed);
}

/* POST /v1/webhooks/{id}/replay */
enum rc http_webhook_replay_post(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {"dead", "since", NULL};
    struct replay *in = arena_calloc(rq->arena, 1, sizeof(*in));
    struct json_in doc = json_in_root(rq->json, &in->body);

    (void)err;
    in->body.arena = rq->arena;
    json_in_object(doc, names);
    json_in_bool(json_in_get(doc, "dead"), &in->dead);
    json_in_uuid(json_in_get(doc, "since"), &in->since);
    if (in->body.rc == RC_OK && !in->dead && !in->since)
        err_fault(&in->body, "", "needs dead, or since with an event's id");
    rq->state = in;
    return ask_one(rq, replay);
}
