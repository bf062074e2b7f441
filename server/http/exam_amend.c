/* http/exam_amend.c - a signed exam opened again, that given up, and an exam
 * that should never have been. */
#include <string.h>

#include "http/exam_row.h"
#include "http/handlers.h"

struct amend {
    const char *reason;
    struct err body; /* what is wrong with the request */
    struct exam_row x;
};

static enum rc changed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct amend *in = rq->state;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_STALE, NULL, "it was changed meanwhile");
    json_out_object(&o, NULL);
    exam_write(rq, &o, &in->x);
    json_out_object_end(&o);
    return exam_reply(rq, in->x.version, &t, err);
}

/* Writes with a reason: $1 exam, $2 version, $3 reason, $4 detail, $5 answer,
 * $6 tag.  in->x is the exam as it will stand. */
static enum rc store(struct http_req *rq, const struct db_stmt *stmt)
{
    struct amend *in = rq->state;
    struct db_call *call = db_call_new(rq->arena, stmt);
    TEXT_AUTO detail = {0};
    TEXT_AUTO answer = {0};
    struct json_out d = JSON_OUT(&detail), a = JSON_OUT(&answer);

    json_out_object(&d, NULL);
    json_out_text(&d, "reason", in->reason);
    json_out_object_end(&d);
    json_out_object(&a, NULL);
    exam_write(rq, &a, &in->x);
    json_out_object_end(&a);
    db_put_text(call, in->x.id);
    db_put_int(call, in->x.version - 1);
    db_put_text(call, in->reason);
    db_put_text(call, exam_take(rq, &detail));
    db_put_text(call, exam_take(rq, &answer));
    db_put_text(
        call, arena_printf(rq->arena, "%lld", (long long)in->x.version));
    return http_write(rq, &call, 1, changed);
}

/* Loads the exam and makes the checks that come before its state. */
static enum rc load(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct amend *in = rq->state;

    TRY(exam_load(rq, reply, &in->x, err));
    TRY(exam_may_write(rq, &in->x, err));
    TRY(http_match(rq, in->x.version, err));
    if (in->body.rc != RC_OK)
        *err = in->body;
    return err->rc;
}

static enum rc amend_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct amend *in = rq->state;
    struct exam_row *x = &in->x;

    TRY(load(rq, reply, err));
    if (x->amending)
        return err_set(err, RC_CONFLICT, "/status",
            "the exam is being amended already: \"%s\"", x->amend_reason);
    if (strcmp(x->status, "entered-in-error") == 0)
        return exam_need_draft(x, err);
    if (exam_is_draft(x))
        return err_set(err, RC_CONFLICT, "/status",
            "the exam is a draft and can be changed as it is");
    x->amending = true;
    x->amend_reason = in->reason;
    x->edition++;
    x->version++;
    return store(rq, &DB_EXAM_AMEND);
}

static enum rc void_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct amend *in = rq->state;
    struct exam_row *x = &in->x;

    TRY(load(rq, reply, err));
    if (strcmp(x->status, "entered-in-error") == 0)
        return exam_need_draft(x, err);
    x->status = "entered-in-error";
    x->amending = false;
    x->amend_reason = in->reason;
    x->version++;
    return store(rq, &DB_EXAM_VOID);
}

static enum rc drop_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct amend *in = rq->state;
    struct exam_row *x = &in->x;
    struct db_call *call = db_call_new(rq->arena, &DB_EXAM_AMEND_DROP);

    TRY(load(rq, reply, err));
    if (!x->amending)
        return err_set(
            err, RC_CONFLICT, "/status", "the exam is not being amended");
    db_put_text(call, x->id);
    db_put_int(call, x->version);
    db_put_text(call, x->signed_body);
    x->body = x->signed_body;
    x->amending = false;
    x->amend_reason = NULL;
    x->edition--;
    x->version++;
    return http_write(rq, &call, 1, changed);
}

static enum rc start(struct http_req *rq, bool reason, http_next *next)
{
    static const char *const names[] = {"reason", NULL};
    struct amend *state = arena_calloc(rq->arena, 1, sizeof(*state));
    struct json_in in = json_in_root(rq->json, &state->body);
    struct db_call *calls[EXAM_CALLS];

    state->body.arena = rq->arena;
    if (reason) {
        json_in_object(in, names);
        if (json_in_need(json_in_get(in, "reason")))
            json_in_text(json_in_get(in, "reason"), 2000, &state->reason);
    }
    rq->state = state;
    exam_calls(rq, rq->ids[0], calls);
    return http_read(rq, calls, EXAM_CALLS, next);
}

enum rc http_exam_amend_post(struct http_req *rq, struct err *err)
{
    (void)err;
    return start(rq, true, amend_found);
}

enum rc http_exam_amend_delete(struct http_req *rq, struct err *err)
{
    (void)err;
    return start(rq, false, drop_found);
}

enum rc http_exam_void_post(struct http_req *rq, struct err *err)
{
    (void)err;
    return start(rq, true, void_found);
}
