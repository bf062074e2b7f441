/* http/orders.c - orders: begun and seen. */
#include <string.h>

#include "http/handlers.h"
#include "http/order_change.h"
#include "http/shape.h"
#include "http/signer.h"

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

static struct db_call *remake_call(
    struct http_req *rq, const struct order_row *x)
{
    const struct order_remake *r = &x->more.remakes[0];
    struct db_call *call = db_call_new(rq->arena, &DB_ORDER_REMAKE_ADD);

    db_put_text(call, x->id);
    db_put_text(call, r->of_id);
    db_put_int(call, r->of_edition);
    db_put_text(call, r->cause);
    db_put_text(call, r->note);
    db_put_text(call, http_new_id(rq));
    return call;
}

/* {"status","remake_of"?,"cause"?} for the audit log. */
static const char *detail(struct http_req *rq, const struct order_row *x)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "status", RECORD_ORDER_STATUS_WORDS[x->state.status]);
    for (size_t i = 0; i < x->more.n_remakes; i++) {
        json_out_text(&o, "remake_of", x->more.remakes[i].of_id);
        json_out_text(&o, "cause", x->more.remakes[i].cause);
    }
    json_out_object_end(&o);
    return order_take(rq, &t);
}

static enum rc add(struct http_req *rq, struct begin *in)
{
    struct db_call *call = db_call_new(rq->arena, &DB_ORDER_ADD), *calls[2];
    struct order_row *x = &in->x;
    char *number = arena_alloc(rq->arena, RECORD_ORDER_NUMBER_SIZE);

    x->id = http_new_id(rq);
    record_order_number(uuid_from_text(x->id).bytes, number);
    x->number = number;
    if (!in->draft)
        x->more.edition.code = order_code_signed(rq, x);
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
    db_put_text(call, detail(rq, x));
    db_put_text(call, in->answer);
    db_put_text(call, order_tag(rq, 1, in->answer, strlen(in->answer)));
    db_put_text(call, x->more.edition.code);
    calls[0] = call;
    if (x->more.n_remakes == 0)
        return http_write(rq, calls, 1, order_added);
    calls[1] = remake_call(rq, x);
    return http_write(rq, calls, 2, order_added);
}

static enum rc add_signed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    (void)reply;
    (void)err;
    return add(rq, rq->state);
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
    x->state = state;
    order_add_event(rq, x, in->draft ? "begun" : "placed", NULL);
    return in->draft ? add(rq, in) : http_signer_find(rq, add_signed);
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

/* ---- POST /v1/orders/{id}/remake ---------------------------------------- */

#define NOTE_MAX 400 /* characters */

static void read_remake(
    struct http_req *rq, struct order_remake *r, struct err *err)
{
    struct json_in in = json_in_root(rq->json, err);
    struct json_in cause = json_in_get(in, "cause");
    const char *note = NULL;
    int word;

    if (json_in_need(cause) &&
        json_in_choice(cause, RECORD_REMAKE_CAUSES, &word))
        r->cause = RECORD_REMAKE_CAUSES[word];
    if (json_in_text(json_in_get(in, "note"), NOTE_MAX, &note))
        r->note = arena_strdup(rq->arena, note);
    if (json_in_here(json_in_get(in, "previous")))
        err_fault(err, "/previous", "is the order that is remade");
}

/* The row of an order that replaces another one. */
static void renew(struct http_req *rq, struct order_row *x)
{
    x->order.previous = x->id;
    x->previous_number = x->number;
    x->order.check_word = NULL;
    x->version = x->edition = 1;
    x->created_us = rq->now_us;
    x->placed_us = 0;
    x->n_events = 0;
    x->events = arena_calloc(rq->arena, 1, sizeof(*x->events));
    x->state.stage = RECORD_STAGE_NONE;
}

static enum rc remake_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    static const char *const others[] = {"cause", "note", "draft", NULL};
    struct begin *in = arena_calloc(rq->arena, 1, sizeof(*in));
    struct order_remake *r = arena_calloc(rq->arena, 1, sizeof(*r));
    struct order_row *x = &in->x;

    rq->state = in;
    TRY(order_load(rq, reply, x, err));
    TRY(order_may_write(rq, x, err));
    *r = (struct order_remake){.of_id = x->id,
        .of_number = x->number,
        .of_edition = x->edition,
        .is_new = true};
    read_remake(rq, r, err);
    json_in_bool(json_in_get(json_in_root(rq->json, err), "draft"), &in->draft);
    json_decref(order_change_read(rq, others, x, err));
    if (!in->draft)
        order_refuse_gaps(rq, x, err);
    if (err->rc != RC_OK)
        return err->rc;
    TRY(record_order_may_remake(x->state, err));
    TRY(order_check_rx(x, err));
    renew(rq, x);
    x->more = (struct order_more){.n_remakes = 1, .remakes = r};
    x->state.status = in->draft ? RECORD_ORDER_DRAFT : RECORD_ORDER_REQUESTED;
    if (!in->draft)
        order_place(rq, x);
    order_add_event(rq, x, in->draft ? "begun" : "placed", NULL);
    return in->draft ? add(rq, in) : http_signer_find(rq, add_signed);
}

/* The glasses of an order again, by the Rx that stands now. */
enum rc http_order_remake_post(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];
    struct order_look look = order_change_look(rq);

    TRY(order_check_view(rq, err));
    look.newest_rx = true;
    look.previous = NULL;
    order_calls(rq, look, calls);
    return http_read(rq, calls, ORDER_CALLS, remake_found);
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
