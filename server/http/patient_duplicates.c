/* http/patient_duplicates.c - records that could be of the same person. */
#include "http/handlers.h"
#include "http/match_find.h"
#include "http/patient_row.h"
#include "http/shape.h"

static enum rc ranked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct match_wanted *w = rq->state;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    (void)reply;
    (void)err;
    json_out_object(&o, NULL);
    json_out_text(&o, "patient", w->not_id);
    match_write(&o, w);
    json_out_object_end(&o);
    http_viewed(rq, "patient", w->not_id, w->not_id);
    for (size_t i = 0; i < w->n; i++)
        http_viewed(
            rq, "patient", w->found[i]->person.id, w->found[i]->person.id);
    return http_reply_json(rq, 200, &body);
}

/* The newest refraction is held against the others' histories. */
static void take_newest(
    struct http_req *rq, const struct db_rows *rows, struct match_wanted *w)
{
    w->refracted = db_rows_count(rows) > 0;
    if (w->refracted)
        match_take_past(rq, rows, 0, &w->past);
    if (w->refracted)
        w->at_us = w->past.at_us;
}

static enum rc looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct match_wanted *w = arena_calloc(rq->arena, 1, sizeof(*w));
    struct patient_row row;

    if (!patient_load(rq, reply->rows, &row))
        return shape_missing(err, "patient", rq->ids[0]);
    w->said = (struct record_known){.record_number = row.patient.record_number,
        .family = row.patient.family,
        .given = row.patient.given,
        .born = row.patient.born};
    w->not_id = row.patient.id;
    w->at_us = rq->now_us;
    w->on_record = RECORD_DOUBLED;
    take_newest(rq, reply->rows[PATIENT_CALLS], w);
    rq->state = w;
    return match_find(rq, w, 1, ranked);
}

/* GET /v1/patients/{id}/duplicates */
enum rc http_patient_duplicates(struct http_req *rq, struct err *err)
{
    struct db_call *calls[PATIENT_CALLS + 1];
    const char *ids[] = {rq->ids[0]};

    (void)err;
    patient_calls(rq, rq->ids[0], calls);
    calls[PATIENT_CALLS] = db_call_new(rq->arena, &DB_MATCH_REFRACTIONS);
    db_put_texts(calls[PATIENT_CALLS], ids, 1);
    db_put_null(calls[PATIENT_CALLS]);
    return http_read_slow(rq, calls, PATIENT_CALLS + 1, looked);
}
