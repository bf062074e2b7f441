/* http/order_status.c - POST /v1/orders/{id}/status: one move of an order. */
#include <string.h>

#include "http/handlers.h"
#include "http/order_row.h"
#include "http/shape.h"
#include "http/signer.h"

#define NOTE_MAX 400 /* characters */

struct move {
    struct order_row x;
    struct record_order_move move;
    struct record_order_state then;
    bool places; /* a draft goes to the lab */
    const char *note;
    const char *answer;
};

static enum rc moved(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct move *m = rq->state;

    if (!db_reply_did(reply, 0))
        return shape_lost(err);
    return order_reply(rq, 200, m->x.version, m->answer);
}

static void read_move(struct http_req *rq, struct move *m, struct err *err)
{
    static const char *const names[] = {"status", "stage", "note", NULL};
    struct json_in in = json_in_root(rq->json, err);
    struct json_in status = json_in_get(in, "status");
    int word = RECORD_ORDER_DRAFT, stage = RECORD_STAGE_NONE;

    json_in_object(in, names);
    if (json_in_need(status))
        json_in_choice(status, RECORD_ORDER_STATUS_WORDS, &word);
    json_in_choice(json_in_get(in, "stage"), RECORD_ORDER_STAGE_WORDS, &stage);
    json_in_text(json_in_get(in, "note"), NOTE_MAX, &m->note);
    m->move = (struct record_order_move){
        .to = {(enum record_order_status)word, (enum record_order_stage)stage},
        .party = order_party(rq)};
}

/* {"status","stage"?,"note"?} for the audit log. */
static const char *detail(struct http_req *rq, const struct move *m)
{
    struct record_order_state state = m->x.state;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "status", RECORD_ORDER_STATUS_WORDS[state.status]);
    if (state.stage != RECORD_STAGE_NONE)
        json_out_text(&o, "stage", RECORD_ORDER_STAGE_WORDS[state.stage]);
    if (m->note)
        json_out_text(&o, "note", m->note);
    json_out_object_end(&o);
    return order_take(rq, &t);
}

static enum rc write_move(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct move *m = rq->state;
    struct record_order_state state = m->then;
    struct db_call *call = db_call_new(rq->arena, &DB_ORDER_MOVE);
    struct order_row *x = &m->x;
    bool places = m->places;

    (void)reply;
    (void)err;
    if (places) {
        order_place(rq, x);
        x->more.edition.code = order_code_signed(rq, x);
    }
    x->state = state;
    order_add_event(rq, x, places ? "placed" : "moved", m->note);
    db_put_text(call, x->id);
    db_put_int(call, x->version++);
    db_put_text(call, RECORD_ORDER_STATUS_WORDS[state.status]);
    db_put_text(call, state.stage == RECORD_STAGE_NONE
                          ? NULL
                          : RECORD_ORDER_STAGE_WORDS[state.stage]);
    db_put_text(call, http_new_id(rq));
    db_put_text(call, m->note);
    db_put_text(call, places ? order_body(rq, x) : NULL);
    db_put_text(call, places ? order_told(rq, x) : NULL);
    db_put_text(call, detail(rq, m));
    m->answer = order_json(rq, x);
    db_put_text(call, m->answer);
    db_put_text(call, order_tag(rq, x->version, m->answer, strlen(m->answer)));
    db_put_text(call, x->more.edition.code);
    return http_write(rq, &call, 1, moved);
}

/* Placing a draft checks what placing at once would have. */
static void check_place(
    struct http_req *rq, const struct move *m, struct err *err)
{
    if (!m->places)
        return;
    order_check_named(&m->x, err);
    order_refuse_gaps(rq, &m->x, err);
}

static enum rc order_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct move *m = arena_calloc(rq->arena, 1, sizeof(*m));
    struct err body = ERR_INIT(rq->arena);

    rq->state = m;
    TRY(order_load(rq, reply, &m->x, err));
    TRY(order_may_write(rq, &m->x, err));
    read_move(rq, m, &body);
    if (body.rc == RC_OK)
        TRY(record_order_may(&m->move, err));
    TRY(http_match(rq, m->x.version, err));
    *err = body;
    m->places = m->x.state.status == RECORD_ORDER_DRAFT &&
                m->move.to.status == RECORD_ORDER_REQUESTED;
    if (err->rc == RC_OK)
        check_place(rq, m, err);
    if (err->rc != RC_OK)
        return err->rc;
    TRY(record_order_move(m->x.state, &m->move, &m->then, err));
    if (m->places || record_order_goes_on(m->x.state, m->then))
        TRY(order_check_rx(&m->x, err));
    return m->places ? http_signer_find(rq, write_move)
                     : write_move(rq, NULL, err);
}

enum rc http_order_status_post(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    TRY(order_check_view(rq, err));
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, order_found);
}
