/* http/order_amend.c - POST /v1/orders/{id}/amend: a placed order becomes
 * another edition, as long as no lens is cut; GET .../editions. */
#include <string.h>

#include "http/handlers.h"
#include "http/order_change.h"
#include "http/shape.h"
#include "http/signer.h"
#include "record/order_field.h"

#define REASON_MAX 400 /* characters */

struct amend {
    struct order_row x;
    const char *reason, *changes, *answer;
};

static enum rc amended(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct amend *in = rq->state;

    if (!db_reply_did(reply, 0))
        return shape_lost(err);
    return order_reply(rq, 200, in->x.version, in->answer);
}

/* The list of what the lab is told otherwise; NULL when nothing differs. */
static const char *changes_of(
    struct http_req *rq, const char *before, const char *after)
{
    json_auto_t *old = json_loads(before, 0, NULL);
    json_auto_t *now = json_loads(after, 0, NULL);
    struct record_order_change changes[RECORD_ORDER_CHANGES_MAX];
    size_t n = record_order_changes(old, now, changes);
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    if (n == 0)
        return NULL;
    json_out_array(&o, NULL);
    for (size_t i = 0; i < n; i++)
        record_order_change_write(&o, &changes[i], rq->arena);
    json_out_array_end(&o);
    return order_take(rq, &t);
}

static const char *detail(struct http_req *rq, const struct order_edition *e)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_int(&o, "edition", e->edition);
    json_out_text(&o, "reason", e->reason);
    json_out_raw(&o, "changes", e->changes, strlen(e->changes));
    json_out_object_end(&o);
    return order_take(rq, &t);
}

static enum rc write_amend(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct amend *in = rq->state;
    const char *changes = in->changes;
    struct order_row *x = &in->x;
    struct db_call *call = db_call_new(rq->arena, &DB_ORDER_AMEND);

    (void)reply;
    (void)err;
    x->more.edition = (struct order_edition){.edition = x->edition,
        .at_us = rq->now_us,
        .by = {rq->who.db.user_id, x->asker},
        .reason = in->reason,
        .changes = changes,
        .code = order_code_signed(rq, x)};
    order_add_event(rq, x, "amended", in->reason);
    db_put_text(call, x->id);
    db_put_int(call, x->version++);
    db_put_text(call, x->prescription_id);
    db_put_text(call, x->order.previous);
    db_put_text(call, order_body(rq, x));
    db_put_text(call, http_new_id(rq));
    db_put_text(call, in->reason);
    db_put_text(call, order_told(rq, x));
    db_put_text(call, changes);
    db_put_text(call, x->more.edition.code);
    db_put_text(call, detail(rq, &x->more.edition));
    in->answer = order_json(rq, x);
    db_put_text(call, in->answer);
    db_put_text(
        call, order_tag(rq, x->version, in->answer, strlen(in->answer)));
    return http_write(rq, &call, 1, amended);
}

/* What a lab is at work on doesn't go to another one in silence. */
static void keep_lab(
    const struct order_row *x, const char *was, struct err *err)
{
    if (!x->order.lab || strcmp(x->order.lab, was) != 0)
        err_fault(err, "/lab",
            "an order stays with its lab; cancel it and place another");
}

static void read_reason(struct http_req *rq, struct amend *in, struct err *err)
{
    struct json_in at = json_in_get(json_in_root(rq->json, err), "reason");
    const char *text;

    if (json_in_need(at) && json_in_text(at, REASON_MAX, &text))
        in->reason = arena_strdup(rq->arena, text);
}

static enum rc order_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    static const char *const others[] = {"exam", "reason", NULL};
    struct amend *in = arena_calloc(rq->arena, 1, sizeof(*in));
    struct order_row *x = &in->x;
    struct order_row old;

    rq->state = in;
    TRY(order_load(rq, reply, x, err));
    TRY(order_may_write(rq, x, err));
    TRY(http_match(rq, x->version, err));
    read_reason(rq, in, err);
    old = *x;
    json_decref(order_change_read(rq, others, x, err));
    if (old.order.lab)
        keep_lab(x, old.order.lab, err);
    if (x->state.status != RECORD_ORDER_DRAFT)
        order_refuse_gaps(rq, x, err);
    if (err->rc != RC_OK)
        return err->rc;
    TRY(record_order_may_amend(x->state, err));
    TRY(order_check_rx(x, err));
    x->state.status = RECORD_ORDER_REQUESTED;
    x->edition++;
    order_fix(rq, x);
    in->changes = changes_of(rq, x->more.edition.told, order_told(rq, x));
    if (!in->changes)
        return err_set(
            err, RC_INVALID, "", "nothing that the lab was told would change");
    return http_signer_find(rq, write_amend);
}

/* POST /v1/orders/{id}/amend */
enum rc http_order_amend_post(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    TRY(order_check_view(rq, err));
    order_calls(rq, order_change_look(rq), calls);
    return http_read(rq, calls, ORDER_CALLS, order_found);
}

/* ---- GET /v1/orders/{id}/editions ---------------------------------------- */

static void write_edition(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t i)
{
    const char *changes = db_rows_text(rows, i, 5);
    const char *told = db_rows_text(rows, i, 6);

    json_out_int(o, "edition", db_rows_int(rows, i, 0));
    json_out_text(o, "at", http_time(rq, db_rows_int(rows, i, 1)));
    order_by_write(o, "by",
        (struct order_by){db_rows_text(rows, i, 2), db_rows_text(rows, i, 3)});
    if (changes) {
        json_out_text(o, "reason", db_rows_text(rows, i, 4));
        json_out_raw(o, "changes", changes, strlen(changes));
    }
    json_out_raw(o, "told", told, strlen(told));
}

static enum rc editions_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[ORDER_CALLS];
    struct order_row x;

    TRY(order_load(rq, reply, &x, err));
    TRY(order_may_read(rq, &x, err));
    http_viewed(rq, "order", x.id, x.patient_id);
    return shape_list(rq, rows, (int)db_rows_count(rows), false, write_edition);
}

enum rc http_order_edition_list(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS + 1];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    calls[ORDER_CALLS] = db_call_new(rq->arena, &DB_ORDER_EDITION_LIST);
    db_put_text(calls[ORDER_CALLS], rq->ids[0]);
    return http_read(rq, calls, ORDER_CALLS + 1, editions_found);
}

/* ---- GET /v1/orders/{id}/lab-data ---------------------------------------- */

/* What the lab was told last, with its signature, as it was told. */
static enum rc lab_data_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct order_row x;

    TRY(order_load(rq, reply, &x, err));
    TRY(order_may_read(rq, &x, err));
    if (!x.more.edition.told)
        return err_set(err, RC_CONFLICT, "/status",
            "the order is a draft: the lab was told nothing yet");
    http_etag(rq, x.more.edition.edition, NULL);
    http_viewed(rq, "order", x.id, x.patient_id);
    return http_reply_ready(rq, 200, x.more.edition.told);
}

enum rc http_order_lab_data(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, lab_data_found);
}
