/* http/order_ask.c - a lab asks back at a field of an order, the clinic
 * answers. */
#include <string.h>

#include "http/handlers.h"
#include "http/order_row.h"
#include "http/shape.h"
#include "record/order_field.h"

#define TEXT_MAX 400 /* characters */

struct ask {
    struct order_row x;
    struct order_question q;
    int version;        /* of the question: 2 once it is answered */
    const char *answer; /* to the request */
};

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct ask *in = rq->state;

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_CONFLICT, "/status",
            "the order was changed meanwhile; look at it and try again");
    http_etag(rq, in->version, NULL);
    return http_reply_ready(rq, 201, in->answer);
}

static const char *question_text(
    struct http_req *rq, const struct order_question *q)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    order_question_write(rq, &o, NULL, q);
    return order_take(rq, &t);
}

/* {"question","pointer"} for the audit log, whose reader finds the rest. */
static const char *detail(struct http_req *rq, const struct order_question *q)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "question", q->id);
    json_out_text(&o, "pointer", q->pointer);
    json_out_object_end(&o);
    return order_take(rq, &t);
}

static const char *read_line(struct json_in in, size_t max)
{
    const char *text = NULL;

    if (!json_in_need(in) || !json_in_text(in, max, &text))
        return NULL;
    return arena_strdup(in.err->arena, text);
}

/* Puts what both statements end with. */
static enum rc store(struct http_req *rq, struct ask *in, struct db_call *call)
{
    db_put_text(call, http_new_id(rq));
    db_put_text(call, detail(rq, &in->q));
    in->answer = question_text(rq, &in->q);
    in->version = in->q.answer ? 2 : 1;
    db_put_text(call, in->answer);
    db_put_text(call, in->q.answer ? "2" : "1");
    return http_write(rq, &call, 1, written);
}

/* ---- POST /v1/orders/{id}/questions -------------------------------------- */

static enum rc ask_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    static const char *const names[] = {"pointer", "text", NULL};
    struct ask *in = arena_calloc(rq->arena, 1, sizeof(*in));
    struct json_in doc = json_in_root(rq->json, err);
    struct json_in at = json_in_get(doc, "pointer");
    struct db_call *call;

    rq->state = in;
    TRY(order_load(rq, reply, &in->x, err));
    json_in_object(doc, names);
    in->q = (struct order_question){.id = http_new_id(rq),
        .edition = in->x.edition,
        .at_us = rq->now_us,
        .by = {rq->who.db.user_id, in->x.asker},
        .pointer = read_line(at, TEXT_MAX),
        .text = read_line(json_in_get(doc, "text"), TEXT_MAX)};
    if (in->q.pointer && !record_order_field_at(in->q.pointer))
        err_fault(err, at.pointer, "names no field of an order: \"%s\"",
            in->q.pointer);
    if (err->rc != RC_OK)
        return err->rc;
    TRY(record_order_may_ask(in->x.state, err));
    call = db_call_new(rq->arena, &DB_ORDER_ASK);
    db_put_text(call, in->x.id);
    db_put_int(call, in->x.edition);
    db_put_text(call, in->q.id);
    db_put_text(call, in->q.pointer);
    db_put_text(call, in->q.text);
    return store(rq, in, call);
}

enum rc http_order_ask_post(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, ask_found);
}

/* ---- POST /v1/orders/{id}/questions/{id}/answer ---------------------------
 */

static enum rc find_question(
    struct http_req *rq, struct ask *in, struct err *err)
{
    for (size_t i = 0; i < in->x.more.n_questions; i++) {
        if (strcmp(in->x.more.questions[i].id, rq->ids[1]) != 0)
            continue;
        in->q = in->x.more.questions[i];
        return RC_OK;
    }
    return shape_missing(err, "question", rq->ids[1]);
}

static enum rc answer_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    static const char *const names[] = {"text", NULL};
    struct ask *in = arena_calloc(rq->arena, 1, sizeof(*in));
    struct json_in doc = json_in_root(rq->json, err);
    const char *text;
    struct db_call *call;

    rq->state = in;
    TRY(order_load(rq, reply, &in->x, err));
    TRY(find_question(rq, in, err));
    TRY(order_may_write(rq, &in->x, err));
    json_in_object(doc, names);
    text = read_line(json_in_get(doc, "text"), TEXT_MAX);
    if (err->rc != RC_OK)
        return err->rc;
    if (in->q.answer)
        return err_set(err, RC_CONFLICT, NULL,
            "the question was answered already: \"%s\"", in->q.answer);
    in->q.answer = text;
    in->q.answered_us = rq->now_us;
    in->q.answered_by = (struct order_by){rq->who.db.user_id, in->x.asker};
    call = db_call_new(rq->arena, &DB_ORDER_ANSWER);
    db_put_text(call, in->x.id);
    db_put_text(call, in->q.id);
    db_put_text(call, text);
    return store(rq, in, call);
}

enum rc http_order_answer_post(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, answer_found);
}
