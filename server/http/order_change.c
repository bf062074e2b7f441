/* http/order_change.c - drafts changed. */
#include "http/order_change.h"

#include <string.h>

#include "base/json_merge.h"
#include "http/handlers.h"
#include "http/shape.h"

/* Names of RECORD_ORDER_FIELDS and others, NULL-ended. */
const char *const *order_fields(struct http_req *rq, const char *const others[])
{
    const char **names = arena_calloc(rq->arena, 32, sizeof(*names));
    size_t n = 0;

    for (size_t i = 0; RECORD_ORDER_FIELDS[i]; i++)
        names[n++] = RECORD_ORDER_FIELDS[i];
    for (size_t i = 0; others[i]; i++)
        names[n++] = others[i];
    return names;
}

/* "exam" takes the Rx that stands now; another exam is another order. */
static void read_exam(
    struct json_in in, const struct order_row *x, struct err *err)
{
    const char *id;

    if (json_in_uuid(in, &id) && strcmp(id, x->exam_id) != 0)
        err_fault(err, in.pointer, "an order stays with its exam");
}

/* An id to look up; what is wrong with it is said later. */
static const char *named(struct http_req *rq, const char *name)
{
    const json_t *value = json_object_get(rq->json, name);
    char *lower = arena_alloc(rq->arena, UUID_TEXT_SIZE);

    return json_is_string(value) && uuid_parse(json_string_value(value),
                                        json_string_length(value), lower)
               ? lower
               : NULL;
}

struct order_look order_change_look(struct http_req *rq)
{
    return (struct order_look){.lab = named(rq, "lab"),
        .previous = named(rq, "previous"),
        .newest_rx = json_object_get(rq->json, "exam") != NULL};
}

/* A "pair" that names its lenses replaces the "only" that stood. */
static void settle_pair(const json_t *patch, json_t *doc)
{
    if (json_is_string(json_object_get(patch, "pair")) &&
        !json_object_get(patch, "only"))
        json_object_del(doc, "only");
}

json_t *order_change_read(struct http_req *rq, const char *const others[],
    struct order_row *x, struct err *err)
{
    json_auto_t *stored = json_loads(x->body, 0, NULL);
    json_t *doc = json_merge(stored, rq->json);
    struct json_in in = json_in_root(doc, err);

    settle_pair(rq->json, doc);
    /* What is stored holds more than a client may send. */
    json_in_object(json_in_root(rq->json, err), order_fields(rq, others));
    read_exam(json_in_get(in, "exam"), x, err);
    record_order_read(in, &x->order);
    if (!x->order.lab)
        x->lab = NULL;
    if (!x->order.previous)
        x->previous_number = NULL;
    order_check_named(x, err);
    return doc;
}

/* ---- PATCH /v1/orders/{id} ---------------------------------------------- */

struct change {
    struct order_row x;
    const char *answer;
};

static enum rc order_changed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct change *c = rq->state;

    if (!db_reply_did(reply, 0))
        return shape_lost(err);
    return order_reply(rq, 200, c->x.version, c->answer);
}

static enum rc write_change(
    struct http_req *rq, struct change *c, const json_t *doc)
{
    static const char *const none[] = {NULL};
    struct db_call *call = db_call_new(rq->arena, &DB_ORDER_CHANGE);
    const char *before = c->x.body;
    struct order_row *x = &c->x;

    db_put_text(call, x->id);
    db_put_int(call, x->version++);
    db_put_text(call, x->prescription_id);
    db_put_text(call, x->order.lab);
    db_put_text(call, x->order.previous);
    db_put_text(call, order_body(rq, x));
    db_put_text(call, shape_before(rq, before, doc, none));
    c->answer = order_json(rq, x);
    return http_write(rq, &call, 1, order_changed);
}

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    static const char *const others[] = {"exam", NULL};
    struct change *c = arena_calloc(rq->arena, 1, sizeof(*c));
    struct order_row *x = &c->x;
    json_auto_t *doc = NULL;

    rq->state = c;
    TRY(order_load(rq, reply, x, err));
    TRY(order_may_write(rq, x, err));
    TRY(http_match(rq, x->version, err));
    doc = order_change_read(rq, others, x, err);
    if (err->rc != RC_OK)
        return err->rc;
    if (x->state.status != RECORD_ORDER_DRAFT)
        return err_set(err, RC_CONFLICT, "/status",
            "the order is \"%s\"; only a draft can be changed",
            RECORD_ORDER_STATUS_WORDS[x->state.status]);
    return write_change(rq, c, doc);
}

/* PATCH /v1/orders/{id} */
enum rc http_order_patch(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    TRY(order_check_view(rq, err));
    order_calls(rq, order_change_look(rq), calls);
    return http_read(rq, calls, ORDER_CALLS, change);
}
