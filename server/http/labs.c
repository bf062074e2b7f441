/* http/labs.c - the workshops that make a network's glasses. */
#include "http/handlers.h"
#include "http/shape.h"

#define NAME_MAX_LEN 120
#define ADDRESS_MAX 400
#define TELEPHONE_MAX 40

static const char *const FIXED[] = {"id", NULL};

struct lab {
    const char *id, *name, *address, *telephone;
    bool closed;
};

static void write_lab(struct json_out *o, const struct lab *l)
{
    json_out_text(o, "id", l->id);
    json_out_text(o, "name", l->name);
    shape_text(o, "address", l->address);
    shape_text(o, "telephone", l->telephone);
    json_out_bool(o, "closed", l->closed);
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    const struct lab lab = {
        .id = db_rows_text(rows, row, 0),
        .name = db_rows_text(rows, row, 2),
        .address = db_rows_text(rows, row, 3),
        .telephone = db_rows_text(rows, row, 4),
        .closed = db_rows_bool(rows, row, 5),
    };

    (void)rq;
    write_lab(o, &lab);
}

static enum rc read_lab(struct json_in in, struct arena *arena, struct lab *l)
{
    static const char *const names[] = {
        "name", "address", "telephone", "closed", NULL};
    struct json_in name = json_in_get(in, "name");
    const char *address = "";

    *l = (struct lab){.telephone = ""};
    json_in_object(in, names);
    if (json_in_need(name))
        json_in_line(name, NAME_MAX_LEN, &l->name);
    json_in_text(json_in_get(in, "address"), ADDRESS_MAX, &address);
    l->address = arena_strdup(arena, address);
    json_in_line(json_in_get(in, "telephone"), TELEPHONE_MAX, &l->telephone);
    json_in_bool(json_in_get(in, "closed"), &l->closed);
    return in.err->rc;
}

/* ---- writing ---------------------------------------------------------- */

struct writing {
    struct lab lab;
    struct shape_write write;
};

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct writing *w = rq->state;

    return shape_written(rq, reply, &w->write, err);
}

static enum rc store(struct http_req *rq, struct writing *w, const char *before)
{
    const struct lab *l = &w->lab;
    struct db_call *call =
        db_call_new(rq->arena, w->write.version ? &DB_LAB_CHANGE : &DB_LAB_ADD);
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    write_lab(&o, l);
    json_out_object_end(&o);
    w->write.path = "/v1/labs";
    w->write.id = w->lab.id;
    w->write.answer = arena_strdup(rq->arena, t.data);
    rq->state = w;
    db_put_text(call, l->id);
    if (w->write.version)
        db_put_int(call, w->write.version);
    db_put_text(call, l->name);
    db_put_text(call, l->address);
    db_put_text(call, l->telephone);
    db_put_bool(call, l->closed);
    db_put_text(call, w->write.version ? before : w->write.answer);
    return http_write(rq, &call, 1, written);
}

/* POST /v1/labs */
enum rc http_lab_post(struct http_req *rq, struct err *err)
{
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));

    TRY(read_lab(json_in_root(rq->json, err), rq->arena, &w->lab));
    w->lab.id = http_new_id(rq);
    return store(rq, w, NULL);
}

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));
    json_auto_t *doc = NULL;
    const char *now;

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "lab", rq->ids[0]);
    w->write.version = db_rows_int(rows, 0, 1);
    TRY(http_match(rq, w->write.version, err));
    now = shape_json(rq, rows, 0, write_item);
    doc = shape_merge(rq, now, FIXED);
    TRY(read_lab(json_in_root(doc, err), rq->arena, &w->lab));
    w->lab.id = rq->ids[0];
    return store(rq, w, shape_before(rq, now, doc, FIXED));
}

/* A lab's user sees that lab and no other. */
static const char *own_lab(const struct http_req *rq)
{
    return rq->who.role == HTTP_LAB ? rq->who.lab_id : NULL;
}

static enum rc ask_one(struct http_req *rq, http_next *next)
{
    struct db_call *call = db_call_new(rq->arena, &DB_LAB_GET);

    db_put_text(call, rq->ids[0]);
    db_put_text(call, own_lab(rq));
    return http_read(rq, &call, 1, next);
}

/* PATCH /v1/labs/{id} */
enum rc http_lab_patch(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, change);
}

/* ---- reading ---------------------------------------------------------- */

static enum rc got(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_one(rq, reply->rows[0], "lab", write_item, err);
}

/* GET /v1/labs/{id} */
enum rc http_lab_get(struct http_req *rq, struct err *err)
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

/* GET /v1/labs */
enum rc http_lab_list(struct http_req *rq, struct err *err)
{
    int *limit = arena_alloc(rq->arena, sizeof(*limit));
    const char *below;
    struct db_call *call = db_call_new(rq->arena, &DB_LAB_LIST);

    TRY(shape_page(rq, limit, &below, err));
    rq->state = limit;
    db_put_text(call, below);
    db_put_text(call, own_lab(rq));
    db_put_int(call, *limit + 1);
    return http_read(rq, &call, 1, listed);
}
