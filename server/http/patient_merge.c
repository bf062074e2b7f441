/*
 * http/patient_merge.c - two records found to be one person, and the undo.
 *
 * Rows keep the patient that they were given; merges are rows of their own,
 * of which the latest decides.
 */
#include <string.h>

#include "http/handlers.h"
#include "http/patient_row.h"
#include "http/shape.h"

#define REASON_MAX 500

struct merging {
    struct err body; /* what is wrong with the request */
    const char *other_id, *reason;
    struct patient_row row; /* the survivor */
    int64_t other_version;
    const char *answer;
};

static void read_body(struct http_req *rq, struct merging *m, bool needed)
{
    static const char *const names[] = {"other", "reason", NULL};
    struct json_in in = json_in_root(rq->json, &m->body);
    struct json_in other = json_in_get(in, "other");

    if (!rq->json)
        return;
    json_in_object(in, names);
    if (!needed || json_in_need(other))
        json_in_uuid(other, &m->other_id);
    if (json_in_text(json_in_get(in, "reason"), REASON_MAX, &m->reason))
        m->reason = arena_strdup(rq->arena, m->reason);
}

static struct merging *begin(struct http_req *rq, bool needed)
{
    struct merging *m = arena_calloc(rq->arena, 1, sizeof(*m));

    m->body.arena = rq->arena;
    rq->state = m;
    read_body(rq, m, needed);
    return m;
}

static enum rc body_fault(const struct merging *m, struct err *err)
{
    if (m->body.rc != RC_OK)
        *err = m->body;
    return err->rc;
}

static const char *detail(struct http_req *rq, const struct merging *m)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "other", m->other_id);
    if (m->reason)
        json_out_text(&o, "reason", m->reason);
    json_out_object_end(&o);
    return arena_strdup(rq->arena, t.data);
}

static enum rc done(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct merging *m = rq->state;

    if (!db_reply_did(reply, 0))
        return shape_lost(err);
    http_etag(rq, m->row.version + 1, NULL);
    return http_reply_ready(rq, 200, m->answer);
}

/* The parameters that both statements begin with. */
static void put_both(
    struct http_req *rq, struct db_call *call, const struct merging *m)
{
    db_put_text(call, m->row.patient.id);
    db_put_int(call, m->row.version);
    db_put_text(call, m->other_id);
    db_put_int(call, m->other_version);
    db_put_text(call, http_new_id(rq));
    db_put_text(call, m->reason);
    db_put_text(call, detail(rq, m));
}

/* ---- merge ------------------------------------------------------------ */

/* What patient_own says of the other one. */
enum { O_ID, O_VERSION, O_NUMBER, O_FAMILY, O_GIVEN, O_BORN, O_SURVIVOR };

static bool births_differ(const char *a, const char *b)
{
    size_t shorter;

    if (!a || !b)
        return false;
    shorter = strlen(a) < strlen(b) ? strlen(a) : strlen(b);
    return strncmp(a, b, shorter) != 0;
}

static const char *merged_answer(struct http_req *rq, struct merging *m,
    const struct db_rows *other, const struct patient_row *its)
{
    struct patient_row shown = m->row;
    struct patient_doubt doubt = {"births-differ",
        "the birth dates of the two differ; make sure that they are one "
        "person",
        m->other_id};
    struct patient_merged *list = arena_calloc(
        rq->arena, m->row.n_merged + its->n_merged + 1, sizeof(*list));

    memcpy(list, m->row.merged, m->row.n_merged * sizeof(*list));
    memcpy(list + m->row.n_merged, its->merged, its->n_merged * sizeof(*list));
    shown.merged = list;
    shown.n_merged = m->row.n_merged + its->n_merged + 1;
    list[shown.n_merged - 1] = (struct patient_merged){.id = m->other_id,
        .into = m->row.patient.id,
        .record_number = http_kept(rq, other, 0, O_NUMBER),
        .family = http_kept(rq, other, 0, O_FAMILY),
        .given = http_kept(rq, other, 0, O_GIVEN),
        .born = http_kept(rq, other, 0, O_BORN),
        .at_us = rq->now_us};
    return patient_json(rq, &shown, &doubt,
        births_differ(m->row.patient.born, list[shown.n_merged - 1].born));
}

static enum rc check_other(
    const struct merging *m, const struct db_rows *other, struct err *err)
{
    const char *into;

    if (db_rows_count(other) == 0)
        return err_set(err, RC_INVALID, "/other", "there is no such patient");
    if (strcmp(m->other_id, m->row.patient.id) == 0)
        return err_set(err, RC_INVALID, "/other", "is the same patient");
    into = db_rows_text(other, 0, O_SURVIVOR);
    if (into)
        return err_set(err, RC_CONFLICT, "/other",
            "it is merged into the patient \"%s\" already", into);
    return RC_OK;
}

static enum rc merge_looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct merging *m = rq->state;
    const struct db_rows *other = reply->rows[PATIENT_CALLS];
    struct patient_row its;
    struct db_call *call;

    if (!patient_load(rq, reply->rows, &m->row))
        return shape_missing(err, "patient", rq->ids[0]);
    TRY(http_match(rq, m->row.version, err));
    TRY(body_fault(m, err));
    TRY(check_other(m, other, err));
    patient_load(rq, reply->rows + PATIENT_CALLS + 1, &its);
    m->other_version = db_rows_int(other, 0, O_VERSION);
    m->answer = merged_answer(rq, m, other, &its);
    call = db_call_new(rq->arena, &DB_PATIENT_MERGE);
    put_both(rq, call, m);
    return http_write(rq, &call, 1, done);
}

/* POST /v1/patients/{id}/merge {"other", "reason"?}: other becomes id. */
enum rc http_patient_merge(struct http_req *rq, struct err *err)
{
    struct merging *m = begin(rq, true);
    struct db_call *calls[2 * PATIENT_CALLS + 1];

    (void)err;
    patient_calls(rq, rq->ids[0], calls);
    calls[PATIENT_CALLS] = db_call_new(rq->arena, &DB_PATIENT_OWN);
    db_put_text(calls[PATIENT_CALLS], m->other_id);
    patient_calls(rq, m->other_id, calls + PATIENT_CALLS + 1);
    return http_read(rq, calls, ARRAY_LEN(calls), merge_looked);
}

/* ---- unmerge ---------------------------------------------------------- */

/* True when id is gone, or stands below one that is. */
static bool goes_with(
    const struct patient_row *p, const char *id, const char *gone)
{
    for (size_t steps = 0; id && steps <= p->n_merged; steps++) {
        const char *into = NULL;

        if (strcmp(id, gone) == 0)
            return true;
        for (size_t i = 0; i < p->n_merged; i++)
            if (strcmp(p->merged[i].id, id) == 0)
                into = p->merged[i].into;
        id = into;
    }
    return false;
}

static const char *apart_answer(struct http_req *rq, const struct merging *m)
{
    struct patient_row left = m->row;

    left.merged =
        arena_calloc(rq->arena, m->row.n_merged + 1, sizeof(*left.merged));
    left.n_merged = 0;
    for (size_t i = 0; i < m->row.n_merged; i++)
        if (!goes_with(&m->row, m->row.merged[i].id, m->other_id))
            left.merged[left.n_merged++] = m->row.merged[i];
    return patient_json(rq, &left, NULL, 0);
}

/* Readings that came meanwhile and name it are its own again. */
static void put_back(
    struct http_req *rq, struct db_call *call, const struct db_rows *rows)
{
    size_t n = db_rows_count(rows);
    const char **readings = arena_calloc(rq->arena, n, sizeof(*readings));
    const char **patients = arena_calloc(rq->arena, n, sizeof(*patients));
    const char **claims = arena_calloc(rq->arena, n, sizeof(*claims));

    for (size_t i = 0; i < n; i++) {
        readings[i] = arena_strdup(rq->arena, db_rows_text(rows, i, 0));
        patients[i] = arena_strdup(rq->arena, db_rows_text(rows, i, 1));
        claims[i] = http_new_id(rq);
    }
    db_put_texts(call, readings, n);
    db_put_texts(call, patients, n);
    db_put_texts(call, claims, n);
}

static enum rc other_looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct merging *m = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_PATIENT_UNMERGE);

    (void)err;
    m->other_version = db_rows_int(reply->rows[0], 0, O_VERSION);
    m->answer = apart_answer(rq, m);
    put_both(rq, call, m);
    put_back(rq, call, reply->rows[1]);
    return http_write(rq, &call, 1, done);
}

/* Who is taken apart: whom the body names, else whom the path does, else the
 * last that was merged. */
static enum rc choose_other(
    struct http_req *rq, struct merging *m, struct err *err)
{
    const struct patient_row *p = &m->row;
    const char *named = m->other_id;

    if (p->n_merged == 0)
        return err_set(
            err, RC_CONFLICT, NULL, "nobody is merged into this patient");
    if (!named && strcmp(rq->ids[0], p->patient.id) != 0)
        named = rq->ids[0];
    if (!named)
        named = p->merged[p->n_merged - 1].id;
    m->other_id = named;
    for (size_t i = 0; i < p->n_merged; i++)
        if (strcmp(p->merged[i].id, named) == 0)
            return RC_OK;
    return err_set(
        err, RC_INVALID, "/other", "it isn't merged into this patient");
}

static enum rc unmerge_looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct merging *m = rq->state;
    struct db_call *calls[2];

    if (!patient_load(rq, reply->rows, &m->row))
        return shape_missing(err, "patient", rq->ids[0]);
    TRY(http_match(rq, m->row.version, err));
    TRY(body_fault(m, err));
    TRY(choose_other(rq, m, err));
    calls[0] = db_call_new(rq->arena, &DB_PATIENT_OWN);
    db_put_text(calls[0], m->other_id);
    calls[1] = db_call_new(rq->arena, &DB_PATIENT_UNMERGE_BACK);
    db_put_text(calls[1], m->row.patient.id);
    db_put_text(calls[1], m->other_id);
    return http_read(rq, calls, 2, other_looked);
}

/* POST /v1/patients/{id}/unmerge {"other"?, "reason"?} */
enum rc http_patient_unmerge(struct http_req *rq, struct err *err)
{
    struct db_call *calls[PATIENT_CALLS];

    (void)err;
    begin(rq, false);
    patient_calls(rq, rq->ids[0], calls);
    return http_read(rq, calls, PATIENT_CALLS, unmerge_looked);
}
