/* http/patients.c - who is examined. */
#include "record/patient.h"

#include <string.h>

#include "base/fold.h"
#include "base/instant.h"
#include "base/num.h"
#include "http/handlers.h"
#include "http/patient_row.h"
#include "http/shape.h"
#include "record/search.h"

static const char *const FIXED[] = {
    "id", "created_at", "cautions", "merged", NULL};

static void put_fields(struct db_call *call, const struct record_patient *p)
{
    struct arena *arena = call->arena;

    db_put_text(call, p->record_number);
    db_put_text(call, p->family);
    db_put_text(call, p->given);
    db_put_text(call, p->born);
    db_put_text(call, p->sex);
    db_put_text(call, p->telephone);
    db_put_text(call, fold_text(arena, shape_or_empty(p->family)));
    db_put_text(call, fold_text(arena, shape_or_empty(p->given)));
}

static void put_words(struct db_call *call, const struct record_patient *p)
{
    size_t n;
    const char *const *words = record_patient_words(call->arena, p, &n);

    db_put_texts(call, words, n);
}

/* ---- POST ------------------------------------------------------------- */

struct adding {
    struct record_patient patient;
    struct shape_write write;
};

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_written(rq, reply, rq->state, err);
}

static enum rc twins_known(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct adding *a = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_PATIENT_ADD);
    const struct db_rows *twins = reply->rows[0];
    size_t n = db_rows_count(twins);
    struct patient_doubt *doubts = arena_calloc(rq->arena, n, sizeof(*doubts));
    struct patient_row row = {.patient = a->patient};

    (void)err;
    for (size_t i = 0; i < n; i++)
        doubts[i] = (struct patient_doubt){"likely-duplicate",
            "a patient with this name and a birth date that can be the same "
            "is on record; make sure that they are two people",
            db_rows_text(twins, i, 0)};
    a->write.path = "/v1/patients";
    a->write.id = a->patient.id;
    a->write.answer = patient_json(rq, &row, doubts, n);
    db_put_text(call, a->patient.id);
    put_fields(call, &a->patient);
    put_words(call, &a->patient);
    db_put_text(call, a->write.answer);
    rq->state = &a->write;
    return http_write(rq, &call, 1, written);
}

/* POST /v1/patients */
enum rc http_patient_post(struct http_req *rq, struct err *err)
{
    struct adding *a = arena_calloc(rq->arena, 1, sizeof(*a));
    struct db_call *call = db_call_new(rq->arena, &DB_PATIENT_TWINS);
    struct record_patient *p = &a->patient;

    if (!record_patient_read(json_in_root(rq->json, err), rq->now_us, p))
        return err->rc;
    p->id = http_new_id(rq);
    p->created_us = rq->now_us;
    rq->state = a;
    db_put_text(call, fold_text(rq->arena, shape_or_empty(p->family)));
    db_put_text(call, fold_text(rq->arena, shape_or_empty(p->given)));
    db_put_text(call, p->born);
    return http_read(rq, &call, 1, twins_known);
}

/* ---- GET one ---------------------------------------------------------- */

static enum rc got(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct patient_row p;

    if (!patient_load(rq, reply->rows, &p))
        return shape_missing(err, "patient", rq->ids[0]);
    http_viewed(rq, "patient", rq->ids[0], p.patient.id);
    http_etag(rq, p.version, NULL);
    return http_reply_ready(rq, 200, patient_json(rq, &p, NULL, 0));
}

static enum rc ask_one(struct http_req *rq, http_next *next)
{
    struct db_call *calls[PATIENT_CALLS];

    patient_calls(rq, rq->ids[0], calls);
    return http_read(rq, calls, PATIENT_CALLS, next);
}

/* GET /v1/patients/{id} */
enum rc http_patient_get(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, got);
}

/* ---- PATCH ------------------------------------------------------------ */

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct shape_write *c = arena_calloc(rq->arena, 1, sizeof(*c));
    struct db_call *call = db_call_new(rq->arena, &DB_PATIENT_CHANGE);
    struct patient_row row;
    struct record_patient *p = &row.patient, was;
    json_auto_t *doc = NULL;
    const char *now;

    if (!patient_load(rq, reply->rows, &row))
        return shape_missing(err, "patient", rq->ids[0]);
    c->version = row.version;
    TRY(http_match(rq, c->version, err));
    now = patient_json(rq, &row, NULL, 0);
    doc = shape_merge(rq, now, FIXED);
    was = *p;
    if (!record_patient_read(json_in_root(doc, err), rq->now_us, p))
        return err->rc;
    p->id = was.id;
    p->created_us = was.created_us;
    c->answer = patient_json(rq, &row, NULL, 0);
    rq->state = c;
    db_put_text(call, p->id);
    db_put_int(call, c->version);
    put_fields(call, p);
    put_words(call, p);
    db_put_text(call, shape_before(rq, now, doc, FIXED));
    return http_write(rq, &call, 1, written);
}

/* PATCH /v1/patients/{id} */
enum rc http_patient_patch(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, change);
}

/* ---- the list --------------------------------------------------------- */

#define TYPED_MAX 400 /* bytes of ?q */
#define NEAREST 1000  /* a search ranks no more (patient.sql) */

struct asking {
    struct record_search search;
    int limit;
    int64_t after_place;
    const char *after;
};

static void write_found(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    struct record_patient p;

    (void)rq;
    patient_take(&p, rows, row, 1);
    record_patient_write(o, &p);
}

static enum rc found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct asking *a = rq->state;
    const struct db_rows *rows = reply->rows[0];
    bool limited =
        db_rows_count(rows) > 0 && db_rows_int(rows, 0, 10) >= NEAREST;

    (void)err;
    return shape_list(rq, rows, a->limit, limited, write_found);
}

/* ?after: an id, or in a search a place and an id. */
static enum rc read_after(
    struct http_req *rq, const char *after, struct asking *a, struct err *err)
{
    const char *id = strrchr(after, '.');
    char *lower = arena_alloc(rq->arena, UUID_TEXT_SIZE);

    if (id &&
        !num_parse(after, (size_t)(id - after), 0, NEAREST, &a->after_place))
        id = after; /* which is no UUID */
    id = id ? id + (*id == '.') : after;
    if (!uuid_parse(id, strlen(id), lower))
        return err_set(err, RC_INVALID, "/after",
            "after must be a cursor that this list gave, not \"%s\"", after);
    a->after = lower;
    return RC_OK;
}

static enum rc read_asking(
    struct http_req *rq, struct asking *a, struct err *err)
{
    const char *q = http_query(rq, "q"), *born = http_query(rq, "born");
    const char *after;

    TRY(http_page(rq, &a->limit, &after, err));
    if (after)
        TRY(read_after(rq, after, a, err));
    if (q && strlen(q) > TYPED_MAX)
        return err_set(
            err, RC_INVALID, "/q", "q may have at most %d bytes", TYPED_MAX);
    record_search_read(rq->arena, shape_or_empty(q), &a->search);
    if (!born)
        return RC_OK;
    if (!instant_date_valid(born))
        return err_set(err, RC_INVALID, "/born",
            "born must be a date, as 1984-05-30, 1984-05 or 1984, not \"%s\"",
            born);
    a->search.born = born;
    return RC_OK;
}

static enum rc list_newest(struct http_req *rq, const struct asking *a)
{
    struct db_call *call = db_call_new(rq->arena, &DB_PATIENT_LIST);

    db_put_text(call, a->after ? a->after : SHAPE_LAST_ID);
    db_put_int(call, a->limit + 1);
    return http_read(rq, &call, 1, found);
}

static const struct db_stmt *search_stmt(const struct record_search *s)
{
    if (s->born)
        return &DB_PATIENT_SEARCH_BORN;
    return s->plain ? &DB_PATIENT_SEARCH_WORD : &DB_PATIENT_SEARCH_WORDS;
}

/* GET /v1/patients */
enum rc http_patient_list(struct http_req *rq, struct err *err)
{
    struct asking *a = arena_calloc(rq->arena, 1, sizeof(*a));
    const struct record_search *s = &a->search;
    const char *bits[RECORD_SEARCH_RANGES];
    struct db_call *call;

    rq->state = a;
    TRY(read_asking(rq, a, err));
    if (!s->born && s->whole[strspn(s->whole, " ")] == '\0')
        return list_newest(rq, a);
    for (size_t i = 0; i < s->n; i++)
        bits[i] = arena_printf(rq->arena, "%d", s->bits[i]);
    call = db_call_new(rq->arena, search_stmt(s));
    db_put_texts(call, s->lowest, s->n);
    db_put_texts(call, s->above, s->n);
    db_put_texts(call, bits, s->n);
    db_put_int(call, s->all);
    db_put_text(call, s->born);
    db_put_text(call, s->whole);
    db_put_int(call, a->after_place);
    db_put_text(call, a->after);
    db_put_int(call, a->limit + 1);
    return http_read_slow(rq, &call, 1, found);
}
