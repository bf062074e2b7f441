/* http/network.c - the network itself. */
#include "base/instant.h"
#include "base/num.h"
#include "http/handlers.h"
#include "http/shape.h"

#define DISPLAY_MAX 120

static const char *const FIXED[] = {"id", "name", "created_at", NULL};

struct network {
    const char *id, *name, *display;
    int32_t vertex_needed_cd;
    int32_t expiry_months; /* NUM_ABSENT: none */
    const char *leap_day;  /* what 29 February becomes in other years */
    int64_t created_us;
};

static const char *const LEAP_DAYS[] = {"february-28", "march-1", NULL};

static void take_row(struct network *n, const struct db_rows *rows)
{
    *n = (struct network){
        .id = db_rows_text(rows, 0, 0),
        .name = db_rows_text(rows, 0, 2),
        .display = db_rows_text(rows, 0, 3),
        .vertex_needed_cd = db_rows_cd(rows, 0, 4),
        .expiry_months = db_rows_cd(rows, 0, 5),
        .created_us = db_rows_int(rows, 0, 6),
        .leap_day = db_rows_text(rows, 0, 7),
    };
}

static void write_network(struct json_out *o, const struct network *n)
{
    char created[INSTANT_TEXT_MAX];

    json_out_text(o, "id", n->id);
    json_out_text(o, "name", n->name);
    json_out_text(o, "display", n->display);
    json_out_cd(o, "vertex_needed", n->vertex_needed_cd);
    if (n->expiry_months != NUM_ABSENT)
        json_out_int(o, "expiry_months", n->expiry_months);
    json_out_text(o, "expiry_leap_day", n->leap_day);
    json_out_text(o, "created_at", instant_text(n->created_us, 0, created));
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    struct network n;

    (void)rq;
    (void)row;
    take_row(&n, rows);
    write_network(o, &n);
}

static enum rc got(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_one(rq, reply->rows[0], "network", write_item, err);
}

static enum rc ask(struct http_req *rq, http_next *next)
{
    struct db_call *call = db_call_new(rq->arena, &DB_NETWORK_GET);

    return http_read(rq, &call, 1, next);
}

/* GET /v1/network */
enum rc http_network_get(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask(rq, got);
}

/* ---- PATCH ------------------------------------------------------------ */

static enum rc read_network(struct json_in in, struct network *n)
{
    static const char *const names[] = {
        "display", "vertex_needed", "expiry_months", "expiry_leap_day", NULL};
    static const double range[] = {0, 40};
    struct json_in display = json_in_get(in, "display");
    struct json_in vertex = json_in_get(in, "vertex_needed");
    struct json_in leap = json_in_get(in, "expiry_leap_day");
    int64_t months;
    int word;

    json_in_object(in, names);
    if (json_in_need(display))
        json_in_line(display, DISPLAY_MAX, &n->display);
    if (json_in_need(vertex))
        json_in_scaled(vertex, 2, range, &n->vertex_needed_cd);
    n->expiry_months = NUM_ABSENT;
    if (json_in_int(json_in_get(in, "expiry_months"), 1, 120, &months))
        n->expiry_months = (int32_t)months;
    if (json_in_need(leap) && json_in_choice(leap, LEAP_DAYS, &word))
        n->leap_day = LEAP_DAYS[word];
    return in.err->rc;
}

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_written(rq, reply, rq->state, err);
}

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct shape_write *w = arena_calloc(rq->arena, 1, sizeof(*w));
    struct db_call *call = db_call_new(rq->arena, &DB_NETWORK_CHANGE);
    json_auto_t *doc = NULL;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    struct network n;
    const char *now;

    w->version = db_rows_int(rows, 0, 1);
    TRY(http_match(rq, w->version, err));
    take_row(&n, rows);
    now = shape_json(rq, rows, 0, write_item);
    doc = shape_merge(rq, now, FIXED);
    TRY(read_network(json_in_root(doc, err), &n));
    json_out_object(&o, NULL);
    write_network(&o, &n);
    json_out_object_end(&o);
    w->answer = arena_strdup(rq->arena, t.data);
    rq->state = w;
    db_put_int(call, w->version);
    db_put_text(call, n.display);
    db_put_cd(call, n.vertex_needed_cd);
    db_put_cd(call, n.expiry_months);
    db_put_text(call, shape_before(rq, now, doc, FIXED));
    db_put_text(call, n.leap_day);
    return http_write(rq, &call, 1, written);
}

/* PATCH /v1/network */
enum rc http_network_patch(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask(rq, change);
}
