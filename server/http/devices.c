/* http/devices.c - instruments, and the PCs that speak for some. */
#include <string.h>

#include "base/instant.h"
#include "http/handlers.h"
#include "http/shape.h"

#define NAME_MAX_LEN 120
#define TEXT_MAX 120

static const char *const FIXED[] = {"id", "created_at", NULL};

struct device {
    const char *id, *name, *clinic, *serial, *model, *manufacturer;
    bool retired;
    int64_t created_us;
};

static void take_row(struct device *d, const struct db_rows *rows, size_t row)
{
    *d = (struct device){
        .id = db_rows_text(rows, row, 0),
        .name = db_rows_text(rows, row, 2),
        .clinic = db_rows_text(rows, row, 3),
        .serial = db_rows_text(rows, row, 4),
        .model = db_rows_text(rows, row, 5),
        .manufacturer = db_rows_text(rows, row, 6),
        .retired = db_rows_bool(rows, row, 7),
        .created_us = db_rows_int(rows, row, 8),
    };
}

static void write_device(struct json_out *o, const struct device *d)
{
    char created[INSTANT_TEXT_MAX];

    json_out_text(o, "id", d->id);
    json_out_text(o, "name", d->name);
    json_out_text(o, "clinic", d->clinic);
    shape_text(o, "serial", d->serial);
    shape_text(o, "model", d->model);
    shape_text(o, "manufacturer", d->manufacturer);
    json_out_bool(o, "retired", d->retired);
    json_out_text(o, "created_at", instant_text(d->created_us, 0, created));
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    struct device d;

    (void)rq;
    take_row(&d, rows, row);
    write_device(o, &d);
}

static enum rc read_device(struct json_in in, struct device *d)
{
    static const char *const names[] = {
        "name", "clinic", "serial", "model", "manufacturer", "retired", NULL};
    struct json_in name = json_in_get(in, "name");
    struct json_in clinic = json_in_get(in, "clinic");

    *d = (struct device){0};
    json_in_object(in, names);
    if (json_in_need(name))
        json_in_line(name, NAME_MAX_LEN, &d->name);
    if (json_in_need(clinic))
        json_in_uuid(clinic, &d->clinic);
    json_in_line(json_in_get(in, "serial"), TEXT_MAX, &d->serial);
    json_in_line(json_in_get(in, "model"), TEXT_MAX, &d->model);
    json_in_line(json_in_get(in, "manufacturer"), TEXT_MAX, &d->manufacturer);
    json_in_bool(json_in_get(in, "retired"), &d->retired);
    return in.err->rc;
}

/* ---- writing ---------------------------------------------------------- */

struct writing {
    struct device device;
    struct shape_write write;
    bool revokes; /* its tokens, which carry what it was */
};

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct writing *w = rq->state;

    return shape_written(rq, reply, &w->write, err);
}

static enum rc store(struct http_req *rq, struct writing *w, const char *before)
{
    const struct device *d = &w->device;
    struct db_call *calls[] = {
        db_call_new(
            rq->arena, w->write.version ? &DB_DEVICE_CHANGE : &DB_DEVICE_ADD),
        db_call_new(rq->arena, &DB_DEVICE_TOKENS_REVOKE)};
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    write_device(&o, d);
    json_out_object_end(&o);
    w->write.path = "/v1/devices";
    w->write.id = w->device.id;
    w->write.answer = arena_strdup(rq->arena, t.data);
    rq->state = w;
    db_put_text(calls[0], d->id);
    if (w->write.version)
        db_put_int(calls[0], w->write.version);
    db_put_text(calls[0], d->name);
    db_put_text(calls[0], d->clinic);
    db_put_text(calls[0], d->serial);
    db_put_text(calls[0], d->model);
    db_put_text(calls[0], d->manufacturer);
    db_put_bool(calls[0], d->retired);
    db_put_text(calls[0], w->write.version ? before : w->write.answer);
    db_put_text(calls[1], d->id);
    return http_write(rq, calls, w->revokes ? 2 : 1, written);
}

/* POST /v1/devices */
enum rc http_device_post(struct http_req *rq, struct err *err)
{
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));

    TRY(read_device(json_in_root(rq->json, err), &w->device));
    w->device.id = http_new_id(rq);
    w->device.created_us = rq->now_us;
    return store(rq, w, NULL);
}

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));
    json_auto_t *doc = NULL;
    struct device was;
    const char *now;

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "device", rq->ids[0]);
    w->write.version = db_rows_int(rows, 0, 1);
    TRY(http_match(rq, w->write.version, err));
    take_row(&was, rows, 0);
    now = shape_json(rq, rows, 0, write_item);
    doc = shape_merge(rq, now, FIXED);
    TRY(read_device(json_in_root(doc, err), &w->device));
    w->device.id = rq->ids[0];
    w->device.created_us = was.created_us;
    w->revokes = strcmp(was.clinic, w->device.clinic) != 0 ||
                 was.retired != w->device.retired;
    return store(rq, w, shape_before(rq, now, doc, FIXED));
}

static enum rc ask_one(struct http_req *rq, http_next *next)
{
    struct db_call *call = db_call_new(rq->arena, &DB_DEVICE_GET);

    db_put_text(call, rq->ids[0]);
    return http_read(rq, &call, 1, next);
}

/* PATCH /v1/devices/{id}: another clinic, or retired, ends its tokens. */
enum rc http_device_patch(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, change);
}

/* ---- reading ---------------------------------------------------------- */

static enum rc got(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_one(rq, reply->rows[0], "device", write_item, err);
}

/* GET /v1/devices/{id} */
enum rc http_device_get(struct http_req *rq, struct err *err)
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

/* GET /v1/devices */
enum rc http_device_list(struct http_req *rq, struct err *err)
{
    int *limit = arena_alloc(rq->arena, sizeof(*limit));
    const char *below;
    struct db_call *call = db_call_new(rq->arena, &DB_DEVICE_LIST);

    TRY(shape_page(rq, limit, &below, err));
    rq->state = limit;
    db_put_text(call, below);
    db_put_int(call, *limit + 1);
    return http_read(rq, &call, 1, listed);
}
