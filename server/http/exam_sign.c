/* http/exam_sign.c - signing: the exam becomes final and its Rx and delta are
 * frozen. */
#include <string.h>

#include "base/instant.h"
#include "http/exam_delta.h"
#include "http/handlers.h"
#include "http/signer.h"
#include "optics/vector.h"
#include "record/exam.h"

struct sign {
    const char *reason; /* sent, or NULL */
    struct err body;    /* what is wrong with the request */
    struct exam_row x;
    struct record_final final;
    enum record_final_from from;
    struct record_rx_head head;
    struct record_cautions cautions;
    const char *rx, *delta; /* JSON; delta may be NULL */
    const char *entry_id;
    const char *keratometry_id; /* that the exam names, or NULL */
    const char *answer;
};

static enum rc signed_now(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct sign *in = rq->state;
    struct text t = {0};

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_STALE, NULL, "it was changed meanwhile");
    text_puts(&t, in->answer);
    return exam_reply(rq, in->x.version, &t, err);
}

/* ---- what is stored ----------------------------------------------------- */

static void put_vector(
    struct db_call *call, const struct record_refraction *r, int side)
{
    struct optics_vector v;

    if (!record_refraction_power(r, side)) {
        db_put_null(call);
        db_put_null(call);
        db_put_null(call);
        return;
    }
    v = optics_vector_of(optics_power_of_rx(r->eyes[side].power));
    db_put_real(call, v.m);
    db_put_real(call, v.j0);
    db_put_real(call, v.j45);
}

/* The members of the timeline's entry, without braces. */
static const char *entry_text(struct http_req *rq, const struct sign *in)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_text(&o, "kind", "final");
    json_out_text(&o, "condition_key", "final");
    json_out_text(&o, "exam", in->x.id);
    json_out_text(&o, "prescription", in->head.prescription_id);
    json_out_int(&o, "edition", in->x.edition);
    json_out_object(&o, "signed_by");
    json_out_text(&o, "id", in->head.signer_id);
    json_out_text(&o, "name", in->head.signer);
    json_out_object_end(&o);
    json_out_text(&o, "signed_at", in->head.signed_at);
    json_out_text(&o, "expires_on", record_rx_expires(&in->final, &in->head));
    if (in->final.purpose)
        json_out_text(&o, "purpose", in->final.purpose);
    if (in->final.outcome != RECORD_OUTCOME_UNSAID)
        json_out_text(&o, "outcome", record_outcome_word(in->final.outcome));
    record_refraction_write(&o, &in->final.figures);
    record_cautions_write(&o, "cautions", &in->cautions);
    return exam_take(rq, &t);
}

static const char *rx_text(struct http_req *rq, const struct sign *in)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    record_rx_write(&o, &in->final, &in->head);
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

static const char *answer_text(struct http_req *rq, const struct sign *in)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    exam_write(rq, &o, &in->x);
    json_out_text(&o, "final_from", record_final_from_word(in->from));
    json_out_raw(&o, "rx", in->rx, strlen(in->rx));
    if (in->delta)
        json_out_raw(&o, "delta", in->delta, strlen(in->delta));
    record_cautions_write(&o, "cautions", &in->cautions);
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

static const char *detail_text(struct http_req *rq, const struct sign *in)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_int(&o, "edition", in->x.edition);
    json_out_text(&o, "prescription", in->head.prescription_id);
    json_out_text(&o, "reason", in->head.reason);
    json_out_text(&o, "expires_on", record_rx_expires(&in->final, &in->head));
    if (in->head.expires_on)
        json_out_text(&o, "expires_by_rule", in->head.expires_on);
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

static enum rc store(struct http_req *rq)
{
    struct sign *in = rq->state;
    struct exam_row *x = &in->x;
    const struct record_refraction *r = &in->final.figures;
    struct db_call *call = db_call_new(rq->arena, &DB_EXAM_SIGN);

    db_put_text(call, x->id);
    db_put_int(call, x->version - 1);
    db_put_text(call, x->status);
    db_put_text(call, x->body);
    db_put_text(call, x->habitual_own);
    db_put_text(call, in->head.prescription_id);
    db_put_time(call, rq->now_us);
    db_put_text(call, in->head.reason);
    db_put_text(call, record_rx_expires(&in->final, &in->head));
    db_put_text(call, in->rx);
    db_put_text(call, in->delta);
    db_put_text(call, in->entry_id);
    put_vector(call, r, 0);
    put_vector(call, r, 1);
    db_put_text(call, in->final.purpose);
    db_put_text(call, entry_text(rq, in));
    db_put_text(call, detail_text(rq, in));
    db_put_text(call, in->answer);
    db_put_text(call, arena_printf(rq->arena, "%lld", (long long)x->version));
    return http_write(rq, &call, 1, signed_now);
}

/* ---- what is signed ----------------------------------------------------- */

static const char *zoned(struct http_req *rq, int64_t us, int offset_min)
{
    return instant_text(
        us, offset_min, arena_alloc(rq->arena, INSTANT_TEXT_MAX));
}

static void read_head(
    struct http_req *rq, const struct db_rows *rows, struct sign *in)
{
    const struct exam_row *x = &in->x;

    in->head = (struct record_rx_head){.prescription_id = http_new_id(rq),
        .exam_id = x->id,
        .edition = x->edition,
        .reason = in->reason ? in->reason : x->amend_reason,
        .patient_id = x->patient_id,
        .signer_id = http_kept(rq, rows, 0, 0),
        .signer = http_kept(rq, rows, 0, 1),
        .licence_number = http_kept(rq, rows, 0, 2),
        .address = http_kept(rq, rows, 0, 3),
        .record_number = http_kept(rq, rows, 0, 4),
        .family = http_kept(rq, rows, 0, 5),
        .given = http_kept(rq, rows, 0, 6),
        .born = http_kept(rq, rows, 0, 7),
        .clinic_id = x->clinic_id,
        .clinic = http_kept(rq, rows, 0, 8),
        .clinic_address = http_kept(rq, rows, 0, 9),
        .clinic_telephone = http_kept(rq, rows, 0, 10),
        .signed_at = zoned(rq, rq->now_us, (int)db_rows_int(rows, 0, 11)),
        .performed_at = zoned(rq, x->performed_us, x->offset_min),
        .today = http_kept(rq, rows, 0, 12),
        .expires_on = http_kept(rq, rows, 0, 13)};
}

static void make_delta(struct http_req *rq, const struct db_rows *entries)
{
    struct sign *in = rq->state;
    struct exam_entry *found = arena_alloc(rq->arena, sizeof(*found));
    struct record_delta *delta = arena_alloc(rq->arena, sizeof(*delta));
    struct err scratch = ERR_INIT(rq->arena);
    struct exam_delta d = {.x = &in->x,
        .final = &in->final,
        .from = in->from,
        .habitual = true,
        .frozen = true};
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    if (!exam_entry_find(rq, entries, in->x.habitual, found) ||
        exam_entry_check(found, &in->x, NULL, &scratch) != RC_OK) {
        record_cautions_add(&in->cautions, "habitual-missing", -1,
            "no habitual glasses are on record, so there is no delta");
        return;
    }
    d.old_entry = &found->entry;
    json_out_object(&o, NULL);
    exam_delta_write(rq, &o, &d, delta);
    json_out_object_end(&o);
    in->delta = exam_take(rq, &t);
    for (const struct record_caution *c = delta->cautions.first; c; c = c->next)
        if (!record_cautions_have(&in->cautions, c->code, c->side))
            record_cautions_add(&in->cautions, c->code, c->side, "%s", c->text);
}

/* The body that is frozen holds the final that was signed, wherever it came
 * from. */
static const char *signed_body(
    struct http_req *rq, const struct sign *in, json_t *body)
{
    struct record_refraction working;
    const char *source;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    exam_working(rq, body, &working, &source);
    if (in->from != RECORD_FINAL_OWN) {
        record_final_write(&o, NULL, &in->final);
        json_object_set_new(body, "final", json_loadb(t.data, t.len, 0, NULL));
    }
    return exam_body_text(rq, &working, source, body);
}

/* The exam as it will stand; what was still open is closed. */
static void close_exam(struct http_req *rq, struct sign *in, json_t *body)
{
    struct exam_row *x = &in->x;

    x->body = signed_body(rq, in, body);
    x->status = record_rx_status(x->edition);
    x->habitual_own = x->habitual;
    x->amending = false;
    x->version++;
    x->prescription_id = in->head.prescription_id;
    x->signed_edition = x->edition;
    x->signed_us = rq->now_us;
    x->signed_by = in->head.signer_id;
    x->signer = in->head.signer;
    x->expires_on = record_rx_expires(&in->final, &in->head);
}

static enum rc facts_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct sign *in = rq->state;
    struct err scratch = ERR_INIT(rq->arena);
    struct exam_entry k;
    json_auto_t *body = exam_body(&in->x);
    bool named;

    if (db_rows_count(reply->rows[0]) == 0)
        return err_set(err, RC_FORBIDDEN, NULL,
            "only a person on record can sign an exam");
    read_head(rq, reply->rows[0], in);
    in->cautions.arena = rq->arena;
    named = exam_entry_find(rq, reply->rows[1], in->keratometry_id, &k);
    record_sign_doubt(json_in_root(body, &scratch), &in->final, &in->head,
        named ? &k.entry : NULL, &in->cautions);
    make_delta(rq, reply->rows[1]);
    in->rx = http_signed(rq, rx_text(rq, in));
    in->entry_id = http_new_id(rq);
    close_exam(rq, in, body);
    in->answer = answer_text(rq, in);
    return store(rq);
}

static void name_keratometry(
    struct http_req *rq, struct sign *in, const json_t *body)
{
    const char *id = json_string_value(
        json_object_get(json_object_get(body, "objective"), "keratometry"));

    in->keratometry_id = id ? arena_strdup(rq->arena, id) : NULL;
}

static enum rc read_facts(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct sign *in = rq->state;
    struct db_call *calls[2] = {db_call_new(rq->arena, &DB_EXAM_SIGN_FACTS),
        db_call_new(rq->arena, &DB_ENTRY_NAMED)};
    const char *ids[2];
    size_t n = 0;

    (void)reply;
    (void)err;
    db_put_text(calls[0], in->x.id);
    db_put_text(calls[0], rq->who.db.user_id);
    db_put_time(calls[0], rq->now_us);
    if (in->x.habitual)
        ids[n++] = in->x.habitual;
    if (in->keratometry_id)
        ids[n++] = in->keratometry_id;
    db_put_texts(calls[1], ids, n);
    return http_read(rq, calls, 2, facts_found);
}

static enum rc exam_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct sign *in = rq->state;
    struct err scratch = ERR_INIT(rq->arena);
    json_auto_t *body = NULL;

    TRY(exam_load(rq, reply, &in->x, err));
    TRY(exam_may_write(rq, &in->x, err));
    TRY(http_match(rq, in->x.version, err));
    body = exam_body(&in->x);
    in->from = record_final_settle(json_in_root(body, &scratch), &in->final);
    name_keratometry(rq, in, body);
    if (in->body.rc != RC_OK)
        *err = in->body;
    else if (exam_is_draft(&in->x))
        record_sign_check(&in->final, in->x.vertex_needed_cd, err);
    if (err->rc != RC_OK)
        return err->rc;
    TRY(exam_need_draft(&in->x, err));
    return http_signer_find(rq, read_facts);
}

enum rc http_exam_sign_post(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {"reason", NULL};
    struct sign *state = arena_calloc(rq->arena, 1, sizeof(*state));
    struct json_in in = json_in_root(rq->json, &state->body);
    struct db_call *calls[EXAM_CALLS];

    (void)err;
    state->body.arena = rq->arena;
    if (rq->json) {
        json_in_object(in, names);
        json_in_text(json_in_get(in, "reason"), 2000, &state->reason);
    }
    rq->state = state;
    exam_calls(rq, rq->ids[0], calls);
    return http_read(rq, calls, EXAM_CALLS, exam_found);
}
