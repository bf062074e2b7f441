/*
 * http/tokens.c - bearer tokens for machines.
 *
 * A token is told once, in the answer that makes it, and so the route takes
 * no Idempotency-Key: answers to those are kept.
 */
#include "base/instant.h"
#include "base/secret.h"
#include "http/handlers.h"
#include "http/shape.h"

#define LABEL_MAX 120
#define DAYS_PRESET 365
#define DAYS_MAX 3660
#define DAY_US INT64_C(86400000000)

struct making {
    const char *id, *user, *device, *label;
    int64_t expires_us;
    char token[SECRET_TOKEN_SIZE];
    uint8_t hash[HASH_SIZE];
};

static enum rc made(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct making *m = rq->state;
    struct text t = {0};
    struct json_out o = JSON_OUT(&t);

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_CONFLICT, m->user ? "/user" : "/device",
            "it was disabled meanwhile");
    json_out_object(&o, NULL);
    json_out_text(&o, "id", m->id);
    json_out_text(&o, "token", m->token);
    json_out_text(
        &o, m->user ? "user" : "device", m->user ? m->user : m->device);
    shape_text(&o, "label", m->label);
    json_out_text(&o, "created_at", http_time(rq, rq->now_us));
    json_out_text(&o, "expires_at", http_time(rq, m->expires_us));
    json_out_object_end(&o);
    http_header(rq, "Cache-Control", "no-store");
    return http_reply_json(rq, 201, &t);
}

static enum rc owner_known(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct making *m = rq->state;
    const struct db_rows *rows = reply->rows[0];
    const char *where = m->user ? "/user" : "/device";
    struct db_call *call = db_call_new(
        rq->arena, m->user ? &DB_TOKEN_ADD_USER : &DB_TOKEN_ADD_DEVICE);

    if (!db_rows_text(rows, 0, m->user ? 0 : 3)) {
        err_fault(err, where, "there is no %s \"%s\"", where + 1,
            m->user ? m->user : m->device);
        return err->rc;
    }
    if (db_rows_bool(rows, 0, m->user ? 2 : 4))
        return err_set(err, RC_CONFLICT, where, "this %s is %s", where + 1,
            m->user ? "disabled" : "retired");
    m->id = http_new_id(rq);
    secret_token_new(m->token, m->hash);
    db_put_text(call, m->user ? m->user : m->device);
    db_put_text(call, m->id);
    db_put_binary(call, m->hash, HASH_SIZE);
    db_put_text(call, m->label);
    db_put_time(call, m->expires_us);
    return http_write(rq, &call, 1, made);
}

static enum rc read_token(struct json_in in, int64_t now_us, struct making *m)
{
    static const char *const names[] = {
        "user", "device", "label", "days", NULL};
    struct json_in user = json_in_get(in, "user");
    struct json_in device = json_in_get(in, "device");
    int64_t days = DAYS_PRESET;

    json_in_object(in, names);
    json_in_uuid(user, &m->user);
    json_in_uuid(device, &m->device);
    if (!json_in_here(user) && !json_in_here(device))
        err_fault(in.err, user.pointer, "or device is required");
    if (json_in_here(user) && json_in_here(device))
        err_fault(in.err, device.pointer, "can't stand beside user");
    m->label = "";
    json_in_line(json_in_get(in, "label"), LABEL_MAX, &m->label);
    json_in_int(json_in_get(in, "days"), 1, DAYS_MAX, &days);
    m->expires_us = now_us + days * DAY_US;
    return in.err->rc;
}

/* POST /v1/tokens */
enum rc http_token_post(struct http_req *rq, struct err *err)
{
    struct making *m = arena_calloc(rq->arena, 1, sizeof(*m));
    struct db_call *call = db_call_new(rq->arena, &DB_TOKEN_OWNER);

    TRY(read_token(json_in_root(rq->json, err), rq->now_us, m));
    rq->state = m;
    db_put_text(call, m->user);
    db_put_text(call, m->device);
    return http_read(rq, &call, 1, owner_known);
}

/* ---- DELETE ----------------------------------------------------------- */

static enum rc revoked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    (void)reply; /* one that was revoked before stays so */
    (void)err;
    return http_reply_empty(rq, 204);
}

static enum rc token_known(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_TOKEN_REVOKE);

    if (db_rows_count(reply->rows[0]) == 0)
        return shape_missing(err, "token", rq->ids[0]);
    db_put_text(call, rq->ids[0]);
    return http_write(rq, &call, 1, revoked);
}

/* DELETE /v1/tokens/{id}: no If-Match, so that nothing stands in the way. */
enum rc http_token_delete(struct http_req *rq, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_TOKEN_GET);

    (void)err;
    db_put_text(call, rq->ids[0]);
    return http_read(rq, &call, 1, token_known);
}

/* ---- the list --------------------------------------------------------- */

static void write_time(struct json_out *o, const char *key,
    const struct db_rows *rows, size_t row, int col)
{
    char at[INSTANT_TEXT_MAX];

    if (db_rows_text(rows, row, col))
        json_out_text(o, key, instant_text(db_rows_int(rows, row, col), 0, at));
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    (void)rq;
    json_out_text(o, "id", db_rows_text(rows, row, 0));
    json_out_text(o, "kind", db_rows_text(rows, row, 1));
    json_out_text(o, "role", db_rows_text(rows, row, 2));
    shape_text(o, "user", db_rows_text(rows, row, 3));
    shape_text(o, "user_name", db_rows_text(rows, row, 4));
    shape_text(o, "device", db_rows_text(rows, row, 5));
    shape_text(o, "device_name", db_rows_text(rows, row, 6));
    shape_text(o, "label", db_rows_text(rows, row, 7));
    write_time(o, "created_at", rows, row, 8);
    write_time(o, "expires_at", rows, row, 9);
    write_time(o, "revoked_at", rows, row, 10);
}

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const int *limit = rq->state;

    (void)err;
    return shape_list(rq, reply->rows[0], *limit, false, write_item);
}

/* GET /v1/tokens */
enum rc http_token_list(struct http_req *rq, struct err *err)
{
    int *limit = arena_alloc(rq->arena, sizeof(*limit));
    const char *below;
    struct db_call *call = db_call_new(rq->arena, &DB_TOKEN_LIST);

    TRY(shape_page(rq, limit, &below, err));
    rq->state = limit;
    db_put_text(call, below);
    db_put_int(call, *limit + 1);
    return http_read(rq, &call, 1, listed);
}
