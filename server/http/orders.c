/* http/orders.c - orders: begun, seen, listed, and drafts changed. */
#include <string.h>

#include "base/json_merge.h"
#include "http/handlers.h"
#include "http/order_row.h"
#include "http/shape.h"

/* ---- POST /v1/orders --------------------------------------------------- */

struct begin {
    const char *exam_id, *lab, *previous;
    bool draft;
    struct record_order order;
    struct order_row x;
    const char *answer;
    int tries;
};

/* How often a number may be taken before something else is wrong. */
#define TRIES 8

static enum rc order_added(
    struct http_req *rq, const struct db_reply *reply, struct err *err);

static enum rc add(struct http_req *rq, struct begin *in)
{
    struct db_call *call = db_call_new(rq->arena, &DB_ORDER_ADD);
    struct order_row *x = &in->x;
    char *number = arena_alloc(rq->arena, RECORD_ORDER_NUMBER_SIZE);

    x->id = http_new_id(rq);
    record_order_number(uuid_from_text(x->id).bytes, number);
    x->number = number;
    in->answer = order_json(rq, x);
    db_put_text(call, x->id);
    db_put_text(call, x->number);
    db_put_text(call, x->exam_id);
    db_put_text(call, x->prescription_id);
    db_put_text(call, x->patient_id);
    db_put_text(call, x->clinic_id);
    db_put_text(call, x->order.lab);
    db_put_text(call, RECORD_ORDER_STATUS_WORDS[x->state.status]);
    db_put_text(call, x->order.previous);
    db_put_text(call, order_body(rq, x));
    db_put_text(call, http_new_id(rq));
    db_put_text(call, in->draft ? NULL : order_told(rq, x));
    db_put_text(call,
        in->draft ? "{\"status\":\"draft\"}" : "{\"status\":\"requested\"}");
    db_put_text(call, in->answer);
    db_put_text(call, order_tag(rq, 1, in->answer, strlen(in->answer)));
    return http_write(rq, &call, 1, order_added);
}

static enum rc order_added(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct begin *in = rq->state;

    if (!db_reply_did(reply, 0)) {
        if (++in->tries < TRIES)
            return add(rq, in);
        return err_set(
            err, RC_BUSY, NULL, "no free order number was found; try again");
    }
    http_location(rq, "/v1/orders/%s", in->x.id);
    return order_reply(rq, 201, 1, in->answer);
}

/* An id that is no exam's may be a reading's: an over-refraction lies over a
 * lens, so glasses of it would be wrong. */
static enum rc no_exam(const struct db_rows *kind, struct err *err)
{
    if (db_rows_count(kind) == 0)
        return err_set(err, RC_INVALID, "/exam", "no such exam");
    if (strcmp(db_rows_text(kind, 0, 0), "over-refraction") == 0)
        return err_set(err, RC_INVALID, "/exam",
            "an over-refraction can't be ordered: it was taken over a lens "
            "that was worn");
    return err_set(err, RC_INVALID, "/exam",
        "that is a reading; glasses are ordered from a signed exam");
}

static enum rc exam_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct begin *in = rq->state;
    struct order_row *x = &in->x;
    struct record_order_state state = {
        in->draft ? RECORD_ORDER_DRAFT : RECORD_ORDER_REQUESTED,
        RECORD_STAGE_NONE};

    if (!order_begun(rq, reply->rows[0], x))
        return no_exam(reply->rows[1], err);
    TRY(order_may_write(rq, x, err));
    x->order = in->order;
    x->version = 1;
    order_check_named(x, err);
    if (!in->draft && x->rx_text)
        order_refuse_gaps(rq, x, err);
    if (err->rc != RC_OK)
        return err->rc;
    TRY(order_check_rx(x, err));
    if (!in->draft)
        order_place(rq, x);
    order_add_event(rq, x, state, NULL);
    return add(rq, in);
}

/* Names of RECORD_ORDER_FIELDS and others, NULL-ended. */
static const char *const *order_fields(
    struct http_req *rq, const char *const others[])
{
    const char **names = arena_calloc(rq->arena, 32, sizeof(*names));
    size_t n = 0;

    for (size_t i = 0; RECORD_ORDER_FIELDS[i]; i++)
        names[n++] = RECORD_ORDER_FIELDS[i];
    for (size_t i = 0; others[i]; i++)
        names[n++] = others[i];
    return names;
}

/* The gaps that are there whatever the exam says. */
static void refuse_own_gaps(
    struct http_req *rq, const struct record_order *order, struct err *err)
{
    static const char *const own[] = {"/lens/", "/frame/", "/lab"};
    struct record_order_rx none = {.figures = record_refraction_none()};
    struct record_gap gaps[RECORD_GAPS_MAX];
    size_t n = record_order_gaps(order, &none, rq->arena, gaps);

    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < ARRAY_LEN(own); k++)
            if (strncmp(gaps[i].pointer, own[k], strlen(own[k])) == 0)
                order_refuse_gap(&gaps[i], err);
}

/* POST /v1/orders */
enum rc http_order_post(struct http_req *rq, struct err *err)
{
    static const char *const others[] = {"exam", "draft", NULL};
    struct json_in in = json_in_root(rq->json, err);
    struct json_in exam = json_in_get(in, "exam");
    struct begin *state = arena_calloc(rq->arena, 1, sizeof(*state));
    struct db_call *calls[2];

    rq->state = state;
    TRY(order_check_view(rq, err));
    json_in_object(in, order_fields(rq, others));
    record_order_read(in, &state->order);
    json_in_bool(json_in_get(in, "draft"), &state->draft);
    if (json_in_need(exam))
        json_in_uuid(exam, &state->exam_id);
    if (!state->exam_id) {
        if (!state->draft)
            refuse_own_gaps(rq, &state->order, err);
        return err->rc;
    }
    calls[0] = db_call_new(rq->arena, &DB_ORDER_BEGIN);
    db_put_text(calls[0], state->exam_id);
    db_put_text(calls[0], state->order.lab);
    db_put_text(calls[0], state->order.previous);
    db_put_text(calls[0], rq->who.db.user_id);
    calls[1] = db_call_new(rq->arena, &DB_ORDER_NOT_EXAM);
    db_put_text(calls[1], state->exam_id);
    return http_read(rq, calls, 2, exam_found);
}

/* ---- GET /v1/orders/{id} ------------------------------------------------ */

static enum rc order_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct order_row x;

    TRY(order_load(rq, reply, &x, err));
    TRY(order_may_read(rq, &x, err));
    http_viewed(rq, "order", x.id, x.patient_id);
    return order_reply(rq, 200, x.version, order_json(rq, &x));
}

enum rc http_order_get(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    TRY(order_check_view(rq, err));
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, order_found);
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

/* "exam" takes the Rx that stands now; another exam is another order. */
static void read_exam(
    struct json_in in, const struct order_row *x, struct err *err)
{
    const char *id;

    if (json_in_uuid(in, &id) && strcmp(id, x->exam_id) != 0)
        err_fault(err, in.pointer, "an order stays with its exam");
}

static void read_changed(struct http_req *rq, const json_t *doc,
    struct order_row *x, struct err *err)
{
    static const char *const others[] = {"exam", NULL};
    struct json_in in = json_in_root(doc, err);

    /* What is stored holds more than a client may send. */
    json_in_object(json_in_root(rq->json, err), order_fields(rq, others));
    read_exam(json_in_get(in, "exam"), x, err);
    record_order_read(in, &x->order);
    if (!x->order.lab)
        x->lab = NULL;
    if (!x->order.previous)
        x->previous_number = NULL;
    order_check_named(x, err);
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

/* A "pair" that names its lenses replaces the "only" that stood. */
static void settle_pair(const json_t *patch, json_t *doc)
{
    if (json_is_string(json_object_get(patch, "pair")) &&
        !json_object_get(patch, "only"))
        json_object_del(doc, "only");
}

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct change *c = arena_calloc(rq->arena, 1, sizeof(*c));
    struct order_row *x = &c->x;
    json_auto_t *stored = NULL, *doc = NULL;

    rq->state = c;
    TRY(order_load(rq, reply, x, err));
    TRY(order_may_write(rq, x, err));
    TRY(http_match(rq, x->version, err));
    stored = json_loads(x->body, 0, NULL);
    doc = json_merge(stored, rq->json);
    settle_pair(rq->json, doc);
    read_changed(rq, doc, x, err);
    if (err->rc != RC_OK)
        return err->rc;
    if (x->state.status != RECORD_ORDER_DRAFT)
        return err_set(err, RC_CONFLICT, "/status",
            "the order is \"%s\"; only a draft can be changed",
            RECORD_ORDER_STATUS_WORDS[x->state.status]);
    return write_change(rq, c, doc);
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

/* PATCH /v1/orders/{id} */
enum rc http_order_patch(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];
    struct order_look look = {.lab = named(rq, "lab"),
        .previous = named(rq, "previous"),
        .newest_rx = json_object_get(rq->json, "exam") != NULL};

    TRY(order_check_view(rq, err));
    order_calls(rq, look, calls);
    return http_read(rq, calls, ORDER_CALLS, change);
}
