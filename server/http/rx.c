/* http/rx.c - the final Rx, the delta, and what was signed before. */
#include <string.h>

#include "base/instant.h"
#include "http/exam_delta.h"
#include "http/handlers.h"
#include "record/exam.h"

static enum rc not_signed(const struct exam_row *x, struct err *err)
{
    if (strcmp(x->status, "entered-in-error") == 0)
        return err_set(err, RC_CONFLICT, "/status",
            "the exam was marked as entered in error: \"%s\"",
            x->amend_reason ? x->amend_reason : "");
    return err_set(
        err, RC_CONFLICT, "/status", "the exam has not been signed yet");
}

/* ---- GET /v1/exams/{id}/rx --------------------------------------------- */

static enum rc rx_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[EXAM_CALLS];
    struct exam_row x;
    struct text t = {0};

    TRY(exam_load(rq, reply, &x, err));
    if (db_rows_count(rows) == 0 || strcmp(x.status, "entered-in-error") == 0) {
        TRY(exam_may_read(rq, &x, err));
        return not_signed(&x, err);
    }
    text_puts(&t, db_rows_text(rows, 0, 2));
    http_viewed(rq, "prescription", x.id, x.patient_id);
    return exam_reply(rq, db_rows_int(rows, 0, 1), &t, err);
}

enum rc http_exam_rx_get(struct http_req *rq, struct err *err)
{
    struct db_call *calls[EXAM_CALLS + 1];
    enum optics_form form;
    const char *view;

    TRY(exam_form(rq, &form, &view, err));
    exam_calls(rq, rq->ids[0], calls);
    calls[EXAM_CALLS] = db_call_new(rq->arena, &DB_PRESCRIPTION_LATEST);
    db_put_text(calls[EXAM_CALLS], rq->ids[0]);
    return http_read(rq, calls, EXAM_CALLS + 1, rx_found);
}

/* ---- GET /v1/exams/{id}/versions --------------------------------------- */

static void write_version(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t i, bool void_all)
{
    int edition = (int)db_rows_int(rows, i, 1);
    const char *rx = db_rows_text(rows, i, 8),
               *delta = db_rows_text(rows, i, 9);

    json_out_object(o, NULL);
    json_out_text(o, "prescription", db_rows_text(rows, i, 0));
    json_out_int(o, "edition", edition);
    json_out_text(
        o, "status", void_all ? "entered-in-error" : record_rx_status(edition));
    json_out_bool(o, "superseded", i > 0);
    json_out_text(o, "signed_at",
        instant_text(db_rows_int(rows, i, 2), (int)db_rows_int(rows, i, 3),
            arena_alloc(rq->arena, INSTANT_TEXT_MAX)));
    json_out_object(o, "signed_by");
    json_out_text(o, "id", db_rows_text(rows, i, 4));
    json_out_text(o, "name", db_rows_text(rows, i, 5));
    json_out_object_end(o);
    json_out_text(o, "reason", db_rows_text(rows, i, 6));
    json_out_text(o, "expires_on", db_rows_text(rows, i, 7));
    json_out_raw(o, "rx", rx, strlen(rx));
    if (delta)
        json_out_raw(o, "delta", delta, strlen(delta));
    json_out_object_end(o);
}

static enum rc versions_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[EXAM_CALLS];
    struct exam_row x;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    bool void_all;

    TRY(exam_load(rq, reply, &x, err));
    TRY(exam_may_read(rq, &x, err));
    void_all = strcmp(x.status, "entered-in-error") == 0;
    json_out_object(&o, NULL);
    json_out_array(&o, "items");
    for (size_t i = 0; i < db_rows_count(rows); i++)
        write_version(rq, &o, rows, i, void_all);
    http_list_end(rq, &o, NULL);
    http_viewed(rq, "exam", x.id, x.patient_id);
    return exam_reply(rq, x.version, &t, err);
}

enum rc http_exam_version_list(struct http_req *rq, struct err *err)
{
    struct db_call *calls[EXAM_CALLS + 1];
    enum optics_form form;
    const char *view;

    TRY(exam_form(rq, &form, &view, err));
    exam_calls(rq, rq->ids[0], calls);
    calls[EXAM_CALLS] = db_call_new(rq->arena, &DB_PRESCRIPTION_LIST);
    db_put_text(calls[EXAM_CALLS], rq->ids[0]);
    return http_read(rq, calls, EXAM_CALLS + 1, versions_found);
}

/* ---- GET /v1/exams/{id}/delta ------------------------------------------ */

struct delta {
    struct exam_row x;
    const char *against; /* ?against=, or NULL */
    const char *old_id;  /* of the entry that is looked up */
};

static enum rc answer(
    struct http_req *rq, const struct record_entry *old_entry, struct err *err)
{
    struct delta *in = rq->state;
    json_auto_t *body = exam_body(&in->x);
    struct err scratch = ERR_INIT(rq->arena);
    struct record_delta *delta = arena_alloc(rq->arena, sizeof(*delta));
    struct record_final final;
    struct exam_delta d = {
        .x = &in->x, .final = &final, .old_entry = old_entry};
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    d.from = record_final_settle(json_in_root(body, &scratch), &final);
    d.habitual = in->x.habitual && strcmp(in->old_id, in->x.habitual) == 0;
    if (!record_refraction_here(&final.figures))
        return err_set(err, RC_CONFLICT, "/final",
            "the exam has no final and no working refraction yet");
    json_out_object(&o, NULL);
    exam_delta_write(rq, &o, &d, delta);
    json_out_object_end(&o);
    http_viewed(rq, "exam", in->x.id, in->x.patient_id);
    return exam_reply(rq, in->x.version, &t, err);
}

/* found is NULL when the entry is gone. */
static enum rc check_habitual(
    const struct exam_entry *found, const struct exam_row *x, struct err *err)
{
    const char *why;

    if (!found || !found->patient_id ||
        strcmp(found->patient_id, x->patient_id) != 0)
        return err_set(err, RC_CONFLICT, "/habitual",
            "the habitual glasses that the exam names are no longer this "
            "patient's");
    why = record_entry_refusal(&found->entry);
    if (why)
        return err_set(err, RC_CONFLICT, "/habitual",
            "the habitual glasses that the exam names can't be compared: %s",
            why);
    return RC_OK;
}

static enum rc old_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct delta *in = rq->state;
    struct exam_entry found;

    bool there = exam_entry_find(rq, reply->rows[0], in->old_id, &found);

    if (!in->against)
        TRY(check_habitual(there ? &found : NULL, &in->x, err));
    if (!there)
        return err_set(err, RC_INVALID, "/against",
            "no reading or entry has the id \"%s\"", in->old_id);
    if (in->against)
        TRY(exam_entry_check(&found, &in->x, "/against", err));
    return answer(rq, &found.entry, err);
}

static enum rc read_old(struct http_req *rq)
{
    struct delta *in = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_ENTRY_NAMED);

    db_put_texts(call, &in->old_id, 1);
    return http_read(rq, &call, 1, old_found);
}

/* The one that was frozen, for a signed exam that isn't open again. */
static enum rc frozen(struct http_req *rq, const struct db_rows *rows,
    const struct exam_row *x, struct err *err)
{
    struct text t = {0};

    if (!db_rows_text(rows, 0, 3))
        return err_set(err, RC_CONFLICT, "/habitual",
            "no habitual glasses were on record when the exam was signed");
    text_puts(&t, db_rows_text(rows, 0, 3));
    http_viewed(rq, "exam", x->id, x->patient_id);
    return exam_reply(rq, x->version, &t, err);
}

static enum rc delta_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct delta *in = rq->state;
    const struct db_rows *rows = reply->rows[EXAM_CALLS];
    struct exam_row *x = &in->x;

    TRY(exam_load(rq, reply, x, err));
    TRY(exam_may_read(rq, x, err));
    if (strcmp(x->status, "entered-in-error") == 0)
        return not_signed(x, err);
    in->old_id = in->against ? in->against : x->habitual;
    /* exam_may_read closes an open amendment for those who may not see it. */
    if (!in->against && db_rows_count(rows) && !x->amending)
        return frozen(rq, rows, x, err);
    if (!in->old_id)
        return err_set(err, RC_CONFLICT, "/habitual",
            "the patient has no habitual glasses on record");
    return read_old(rq);
}

enum rc http_exam_delta_get(struct http_req *rq, struct err *err)
{
    struct delta *state = arena_calloc(rq->arena, 1, sizeof(*state));
    const char *against = http_query(rq, "against");
    struct db_call *calls[EXAM_CALLS + 1];
    enum optics_form form;
    const char *view;

    TRY(exam_form(rq, &form, &view, err));
    if (against) {
        char *lower = arena_alloc(rq->arena, UUID_TEXT_SIZE);

        if (!uuid_parse(against, strlen(against), lower))
            return err_set(err, RC_INVALID, "/against",
                "against must be the id of a reading or entry, not \"%s\"",
                against);
        state->against = lower;
    }
    rq->state = state;
    exam_calls(rq, rq->ids[0], calls);
    calls[EXAM_CALLS] = db_call_new(rq->arena, &DB_PRESCRIPTION_LATEST);
    db_put_text(calls[EXAM_CALLS], rq->ids[0]);
    return http_read(rq, calls, EXAM_CALLS + 1, delta_found);
}
