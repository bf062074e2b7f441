/* http/visits.c - what happens to one patient at one clinic on one day. */
#include <string.h>

#include "base/instant.h"
#include "base/num.h"
#include "http/handlers.h"
#include "http/shape.h"

#define REASON_MAX 500

static const char *const FIXED[] = {
    "id", "patient", "person", "clinic", "created_at", NULL};

enum status { PLANNED, ARRIVED, IN_PROGRESS, FINISHED, CANCELLED };
static const char *const STATUSES[] = {
    "planned", "arrived", "in-progress", "finished", "cancelled", NULL};

/* What may follow what, a bit each; staying is always allowed. */
static const unsigned MOVES[] = {
    [PLANNED] =
        1 << ARRIVED | 1 << IN_PROGRESS | 1 << FINISHED | 1 << CANCELLED,
    [ARRIVED] =
        1 << PLANNED | 1 << IN_PROGRESS | 1 << FINISHED | 1 << CANCELLED,
    [IN_PROGRESS] = 1 << ARRIVED | 1 << FINISHED | 1 << CANCELLED,
    [FINISHED] = 1 << IN_PROGRESS,
    [CANCELLED] = 1 << PLANNED,
};

struct visit {
    const char *id, *patient, *clinic;
    const char *record_number, *family, *given, *born; /* of the patient */
    int64_t at_us;
    int offset_min; /* of the clinic's zone at at_us */
    const char *reason, *status;
    int64_t created_us;
};

static void write_visit(struct json_out *o, const struct visit *v)
{
    char at[INSTANT_TEXT_MAX], created[INSTANT_TEXT_MAX];

    json_out_text(o, "id", v->id);
    json_out_text(o, "patient", v->patient);
    json_out_object(o, "person");
    shape_text(o, "record_number", v->record_number);
    shape_text(o, "family", v->family);
    shape_text(o, "given", v->given);
    shape_text(o, "born", v->born);
    json_out_object_end(o);
    json_out_text(o, "clinic", v->clinic);
    json_out_text(o, "at", instant_text(v->at_us, v->offset_min, at));
    shape_text(o, "reason", v->reason);
    json_out_text(o, "status", v->status);
    json_out_text(o, "created_at", instant_text(v->created_us, 0, created));
}

static const char *visit_json(struct http_req *rq, const struct visit *v)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    write_visit(&o, v);
    json_out_object_end(&o);
    return arena_strdup(rq->arena, t.data);
}

/* Columns of visit_get and the lists. */
static void take_row(struct visit *v, const struct db_rows *rows, size_t row)
{
    *v = (struct visit){
        .id = db_rows_text(rows, row, 1),
        .patient = db_rows_text(rows, row, 3),
        .record_number = db_rows_text(rows, row, 4),
        .family = db_rows_text(rows, row, 5),
        .given = db_rows_text(rows, row, 6),
        .born = db_rows_text(rows, row, 7),
        .clinic = db_rows_text(rows, row, 8),
        .at_us = db_rows_int(rows, row, 9),
        .offset_min = (int)db_rows_int(rows, row, 10),
        .reason = db_rows_text(rows, row, 11),
        .status = db_rows_text(rows, row, 12),
        .created_us = db_rows_int(rows, row, 13),
    };
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    struct visit v;

    (void)rq;
    take_row(&v, rows, row);
    write_visit(o, &v);
}

/* A user of a clinic works for that clinic, one without for all. */
static enum rc own_clinic(
    struct http_req *rq, const char *clinic, struct err *err)
{
    if (!*rq->who.clinic_id || strcmp(rq->who.clinic_id, clinic) == 0)
        return RC_OK;
    return err_set(err, RC_FORBIDDEN, NULL,
        "this visit belongs to another clinic, whose users may write it");
}

/* ---- POST ------------------------------------------------------------- */

struct adding {
    struct visit visit;
    struct shape_write write;
};

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_written(rq, reply, rq->state, err);
}

static enum rc place_known(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct adding *a = rq->state;
    struct visit *v = &a->visit;
    const struct db_rows *rows = reply->rows[0];
    struct db_call *call = db_call_new(rq->arena, &DB_VISIT_ADD);

    if (!db_rows_text(rows, 0, 0))
        err_fault(err, "/patient", "there is no patient \"%s\"", v->patient);
    if (!db_rows_text(rows, 0, 5))
        err_fault(err, "/clinic", "there is no clinic \"%s\"", v->clinic);
    else if (db_rows_bool(rows, 0, 6))
        err_fault(err, "/clinic", "this clinic is closed");
    if (err->rc != RC_OK)
        return err->rc;
    v->patient = http_kept(rq, rows, 0, 0);
    v->record_number = http_kept(rq, rows, 0, 1);
    v->family = http_kept(rq, rows, 0, 2);
    v->given = http_kept(rq, rows, 0, 3);
    v->born = http_kept(rq, rows, 0, 4);
    v->offset_min = (int)db_rows_int(rows, 0, 7);
    a->write.path = "/v1/visits";
    a->write.id = a->visit.id;
    a->write.answer = visit_json(rq, v);
    db_put_text(call, v->id);
    db_put_text(call, v->patient);
    db_put_text(call, v->clinic);
    db_put_time(call, v->at_us);
    db_put_text(call, v->reason);
    db_put_text(call, v->status);
    db_put_text(call, a->write.answer);
    rq->state = &a->write;
    return http_write(rq, &call, 1, written);
}

static void read_visit(struct http_req *rq, struct visit *v, struct err *err)
{
    static const char *const names[] = {
        "patient", "clinic", "reason", "at", NULL};
    struct json_in in = json_in_root(rq->json, err);
    struct json_in patient = json_in_get(in, "patient");
    struct json_in clinic = json_in_get(in, "clinic");

    json_in_object(in, names);
    if (json_in_need(patient))
        json_in_uuid(patient, &v->patient);
    if (!json_in_here(clinic) && *rq->who.clinic_id)
        v->clinic = rq->who.clinic_id;
    else if (!json_in_here(clinic))
        err_fault(err, clinic.pointer,
            "is required: this user has no clinic of their own");
    else
        json_in_uuid(clinic, &v->clinic);
    json_in_text(json_in_get(in, "reason"), REASON_MAX, &v->reason);
    v->at_us = rq->now_us;
    json_in_time(json_in_get(in, "at"), &v->at_us, NULL);
    v->status = STATUSES[v->at_us > rq->now_us ? PLANNED : ARRIVED];
}

/* POST /v1/visits */
enum rc http_visit_post(struct http_req *rq, struct err *err)
{
    struct adding *a = arena_calloc(rq->arena, 1, sizeof(*a));
    struct db_call *call = db_call_new(rq->arena, &DB_VISIT_PLACE);
    struct visit *v = &a->visit;

    read_visit(rq, v, err);
    if (v->clinic)
        TRY(own_clinic(rq, v->clinic, err));
    if (err->rc != RC_OK)
        return err->rc;
    v->id = http_new_id(rq);
    v->created_us = rq->now_us;
    rq->state = a;
    db_put_text(call, v->patient);
    db_put_text(call, v->clinic);
    db_put_time(call, v->at_us);
    return http_read(rq, &call, 1, place_known);
}

/* ---- GET one ---------------------------------------------------------- */

static enum rc got(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "visit", rq->ids[0]);
    http_viewed(rq, "visit", rq->ids[0], db_rows_text(rows, 0, 3));
    http_etag(rq, db_rows_int(rows, 0, 2), NULL);
    return http_reply_ready(rq, 200, shape_json(rq, rows, 0, write_item));
}

/* new_at_us: the clinic's offset then is asked for, too. */
static enum rc ask_one(struct http_req *rq, int64_t new_at_us, http_next *next)
{
    struct db_call *call = db_call_new(rq->arena, &DB_VISIT_GET);

    db_put_text(call, rq->ids[0]);
    db_put_time(call, new_at_us);
    return http_read(rq, &call, 1, next);
}

/* GET /v1/visits/{id} */
enum rc http_visit_get(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, rq->now_us, got);
}

/* ---- PATCH ------------------------------------------------------------ */

static int status_of(const char *word)
{
    int i = 0;

    while (STATUSES[i] && strcmp(STATUSES[i], word) != 0)
        i++;
    return i;
}

/* Takes what the patched document says into v. */
static enum rc read_patched(struct json_in in, struct visit *v, int new_offset)
{
    static const char *const names[] = {"reason", "at", "status", NULL};
    struct json_in at = json_in_get(in, "at");
    struct json_in status = json_in_get(in, "status");
    int was = status_of(v->status), is = was;
    int64_t at_us = v->at_us;

    json_in_object(in, names);
    if (json_in_need(at))
        json_in_time(at, &at_us, NULL);
    if (json_in_need(status))
        json_in_choice(status, STATUSES, &is);
    v->reason = NULL;
    json_in_text(json_in_get(in, "reason"), REASON_MAX, &v->reason);
    if (in.err->rc != RC_OK)
        return in.err->rc;
    if (is != was && !(MOVES[was] & 1u << is))
        return err_set(in.err, RC_CONFLICT, "/status",
            "a visit that is %s can't become %s", STATUSES[was], STATUSES[is]);
    if (at_us != v->at_us) {
        v->at_us = at_us;
        v->offset_min = new_offset;
    }
    v->status = STATUSES[is];
    return RC_OK;
}

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct shape_write *c = arena_calloc(rq->arena, 1, sizeof(*c));
    struct db_call *call = db_call_new(rq->arena, &DB_VISIT_CHANGE);
    json_auto_t *doc = NULL;
    const char *now;
    struct visit v;

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "visit", rq->ids[0]);
    take_row(&v, rows, 0);
    TRY(own_clinic(rq, v.clinic, err));
    c->version = db_rows_int(rows, 0, 2);
    TRY(http_match(rq, c->version, err));
    now = shape_json(rq, rows, 0, write_item);
    doc = shape_merge(rq, now, FIXED);
    TRY(read_patched(
        json_in_root(doc, err), &v, (int)db_rows_int(rows, 0, 14)));
    c->answer = visit_json(rq, &v);
    rq->state = c;
    db_put_text(call, rq->ids[0]);
    db_put_int(call, c->version);
    db_put_time(call, v.at_us);
    db_put_text(call, v.reason ? arena_strdup(rq->arena, v.reason) : NULL);
    db_put_text(call, v.status);
    db_put_text(call, shape_before(rq, now, doc, FIXED));
    return http_write(rq, &call, 1, written);
}

/* PATCH /v1/visits/{id} */
enum rc http_visit_patch(struct http_req *rq, struct err *err)
{
    json_t *at = json_object_get(rq->json, "at");
    int64_t at_us;
    int offset;

    (void)err;
    if (!json_is_string(at) ||
        !instant_parse(json_string_value(at), &at_us, &offset))
        at_us = rq->now_us; /* none, or a fault that is told later */
    return ask_one(rq, at_us, change);
}

/* ---- the list --------------------------------------------------------- */

struct asking {
    const char *clinic, *patient, *date;
    int limit;
    int64_t before_us;
    const char *before;
};

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct asking *a = rq->state;
    const struct db_rows *rows = reply->rows[0];

    (void)err;
    if (a->patient && db_rows_count(rows) > 0)
        http_viewed(rq, "patient", a->patient, a->patient);
    return shape_list(rq, rows, a->limit, false, write_item);
}

/* ?after: microseconds since 1970 and an id. */
static enum rc read_after(
    struct http_req *rq, const char *after, struct asking *a, struct err *err)
{
    const char *id = after ? strchr(after, '.') : NULL;
    char *lower = arena_alloc(rq->arena, UUID_TEXT_SIZE);

    a->before_us = INT64_C(7258118400000000); /* 2200-01-01 */
    a->before = SHAPE_LAST_ID;
    if (!after)
        return RC_OK;
    if (!id ||
        !num_parse(
            after, (size_t)(id - after), 0, a->before_us, &a->before_us) ||
        !uuid_parse(id + 1, strlen(id + 1), lower))
        return err_set(err, RC_INVALID, "/after",
            "after must be a cursor that this list gave, not \"%s\"", after);
    a->before = lower;
    return RC_OK;
}

static enum rc read_asking(
    struct http_req *rq, struct asking *a, struct err *err)
{
    const char *after;

    TRY(http_page(rq, &a->limit, &after, err));
    TRY(read_after(rq, after, a, err));
    TRY(shape_query_id(rq, "clinic", &a->clinic, err));
    TRY(shape_query_id(rq, "patient", &a->patient, err));
    a->date = http_query(rq, "date");
    if (a->date && (strlen(a->date) != 10 || !instant_date_valid(a->date)))
        return err_set(err, RC_INVALID, "/date",
            "date must be a day, as 2026-03-02, not \"%s\"", a->date);
    return RC_OK;
}

/* GET /v1/visits: of a day (today, where none is named) or of a patient. */
enum rc http_visit_list(struct http_req *rq, struct err *err)
{
    struct asking *a = arena_calloc(rq->arena, 1, sizeof(*a));
    struct db_call *call;

    TRY(read_asking(rq, a, err));
    rq->state = a;
    call = db_call_new(
        rq->arena, a->patient ? &DB_VISIT_LIST_PATIENT : &DB_VISIT_LIST_DAY);
    if (a->patient)
        db_put_text(call, a->patient);
    db_put_text(call, a->clinic);
    db_put_text(call, a->date);
    if (!a->patient)
        db_put_time(call, rq->now_us);
    db_put_time(call, a->before_us);
    db_put_text(call, a->before);
    db_put_int(call, a->limit + 1);
    return http_read(rq, &call, 1, listed);
}
