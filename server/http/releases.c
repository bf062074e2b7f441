/* http/releases.c - /v1/exams/{id}/releases: that a patient got the Rx,
 * confirmed it or refused to. */
#include <string.h>

#include "base/instant.h"
#include "http/exam_row.h"
#include "http/handlers.h"
#include "http/shape.h"

#define TEXT_MAX 400 /* characters */

/* What is recorded: a copy handed over or sent, the patient's confirmation, the
 * consent to get it electronically, and the refusal to confirm. */
static const char *const KINDS[] = {
    "copy-given", "receipt", "consent", "refusal", NULL};
enum kind { COPY_GIVEN, RECEIPT, CONSENT, REFUSAL };
static const char *const WAYS[] = {"paper", "electronic", NULL};

struct release {
    int kind, way; /* way -1: not said */
    int64_t at_us;
    const char *person, *note;
    struct err body; /* what is wrong with the request */
    struct exam_row x;
    const char *id, *answer;
};

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct release *in = rq->state;

    if (!db_reply_did(reply, 0))
        return shape_lost(err);
    http_etag(rq, 1, NULL);
    return http_reply_ready(rq, 201, in->answer);
}

static bool consented(const struct db_rows *rows)
{
    for (size_t i = 0; i < db_rows_count(rows); i++)
        if (strcmp(db_rows_text(rows, i, 1), KINDS[CONSENT]) == 0)
            return true;
    return false;
}

static const char *release_text(
    struct http_req *rq, const struct release *in, bool consent)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "id", in->id);
    json_out_text(&o, "exam", in->x.id);
    json_out_text(&o, "prescription", in->x.prescription_id);
    json_out_int(&o, "edition", in->x.signed_edition);
    json_out_text(&o, "kind", KINDS[in->kind]);
    if (in->way >= 0)
        json_out_text(&o, "way", WAYS[in->way]);
    json_out_text(&o, "at", http_time(rq, in->at_us));
    if (in->person)
        json_out_text(&o, "person", in->person);
    if (in->note)
        json_out_text(&o, "note", in->note);
    json_out_text(&o, "recorded_at", http_time(rq, rq->now_us));
    json_out_text(&o, "recorded_by", rq->who.db.user_id);
    json_out_array(&o, "cautions");
    if (in->kind == COPY_GIVEN && in->way == 1 && !consent) {
        json_out_object(&o, NULL);
        json_out_text(&o, "code", "consent-missing");
        json_out_text(&o, "text",
            "no consent to electronic delivery is on record for this exam; "
            "some places ask for it beforehand");
        json_out_object_end(&o);
    }
    json_out_array_end(&o);
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

static enum rc exam_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct release *in = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_RELEASE_ADD);

    TRY(exam_load(rq, reply, &in->x, err));
    TRY(exam_may_write(rq, &in->x, err));
    if (in->kind == REFUSAL && rq->who.role != HTTP_PRESCRIBER)
        return err_set(
            err, RC_FORBIDDEN, "/kind", "a refusal is noted by a prescriber");
    *err = in->body;
    if (err->rc != RC_OK)
        return err->rc;
    if (!in->x.prescription_id || strcmp(in->x.status, "entered-in-error") == 0)
        return err_set(err, RC_CONFLICT, "/status",
            "the exam has no signed Rx that could be given out");
    in->id = http_new_id(rq);
    in->answer = release_text(rq, in, consented(reply->rows[EXAM_CALLS]));
    db_put_text(call, in->x.id);
    db_put_text(call, in->x.prescription_id);
    db_put_text(call, in->id);
    db_put_text(call, KINDS[in->kind]);
    db_put_text(call, in->answer);
    return http_write(rq, &call, 1, written);
}

static const char *read_text(struct json_in in)
{
    const char *text = NULL;

    if (!json_in_text(in, TEXT_MAX, &text))
        return NULL;
    return arena_strdup(in.err->arena, text);
}

static void read_release(struct http_req *rq, struct release *in)
{
    static const char *const names[] = {
        "kind", "way", "at", "person", "note", NULL};
    struct json_in doc = json_in_root(rq->json, &in->body);
    struct json_in kind = json_in_get(doc, "kind");
    struct json_in note = json_in_get(doc, "note");
    struct json_in at = json_in_get(doc, "at");

    json_in_object(doc, names);
    if (json_in_need(kind))
        json_in_choice(kind, KINDS, &in->kind);
    json_in_choice(json_in_get(doc, "way"), WAYS, &in->way);
    json_in_time(at, &in->at_us, NULL);
    if (in->at_us > rq->now_us + INT64_C(60000000))
        err_fault(&in->body, at.pointer, "must not lie in the future");
    in->person = read_text(json_in_get(doc, "person"));
    if (in->kind == REFUSAL)
        json_in_need(note);
    in->note = read_text(note);
}

static void release_calls(struct http_req *rq, struct db_call *calls[])
{
    exam_calls(rq, rq->ids[0], calls);
    calls[EXAM_CALLS] = db_call_new(rq->arena, &DB_RELEASE_LIST);
    db_put_text(calls[EXAM_CALLS], rq->ids[0]);
}

enum rc http_release_post(struct http_req *rq, struct err *err)
{
    struct release *in = arena_calloc(rq->arena, 1, sizeof(*in));
    struct db_call *calls[EXAM_CALLS + 1];

    (void)err;
    in->body = (struct err)ERR_INIT(rq->arena);
    in->way = -1;
    in->at_us = rq->now_us;
    read_release(rq, in);
    rq->state = in;
    release_calls(rq, calls);
    return http_read(rq, calls, EXAM_CALLS + 1, exam_found);
}

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct exam_row x;

    TRY(exam_load(rq, reply, &x, err));
    TRY(exam_may_read(rq, &x, err));
    http_viewed(rq, "exam", x.id, x.patient_id);
    return shape_list_whole(rq, reply->rows[EXAM_CALLS]);
}

enum rc http_release_list(struct http_req *rq, struct err *err)
{
    struct db_call *calls[EXAM_CALLS + 1];

    (void)err;
    release_calls(rq, calls);
    return http_read(rq, calls, EXAM_CALLS + 1, listed);
}
