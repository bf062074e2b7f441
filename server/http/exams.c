/* http/exams.c - exams: begun, seen, listed, and their sections changed. */
#include <string.h>

#include "base/instant.h"
#include "base/json_merge.h"
#include "http/exam_row.h"
#include "http/handlers.h"
#include "record/exam.h"
#include "record/near_total.h"

#define US_PER_HOUR INT64_C(3600000000)
/* Entered this long after it was performed, it is a catch-up entry. */
#define CATCH_UP_US (24 * US_PER_HOUR)
/* What a clock may be ahead. */
#define AHEAD_US (5 * 60 * INT64_C(1000000))

/* ---- POST /v1/exams ---------------------------------------------------- */

struct begin {
    const char *visit_id;
    int64_t performed_us;
    struct exam_row x;
};

static enum rc exam_added(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct begin *in = rq->state;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_INTERNAL, NULL, "the exam could not be begun");
    json_out_object(&o, NULL);
    exam_write(rq, &o, &in->x);
    json_out_object_end(&o);
    http_location(rq, "/v1/exams/%s", in->x.id);
    http_etag(rq, 1, NULL);
    return http_reply_json(rq, 201, &t);
}

static const char *rendered(struct http_req *rq, const struct exam_row *x)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    exam_write(rq, &o, x);
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

static enum rc add(struct http_req *rq, struct begin *in)
{
    struct db_call *call = db_call_new(rq->arena, &DB_EXAM_ADD);
    const struct exam_row *x = &in->x;

    db_put_text(call, x->id);
    db_put_text(call, x->visit_id);
    db_put_text(call, x->patient_id);
    db_put_text(call, x->clinic_id);
    db_put_time(call, x->performed_us);
    db_put_bool(call, x->catch_up);
    db_put_text(call, x->habitual_own);
    db_put_text(call, x->body);
    db_put_text(call, rendered(rq, x));
    return http_write(rq, &call, 1, exam_added);
}

static enum rc visit_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct begin *in = rq->state;
    const struct db_rows *rows = reply->rows[0];
    struct exam_row *x = &in->x;

    if (db_rows_count(rows) == 0)
        return err_set(err, RC_INVALID, "/visit", "no such visit");
    *x = (struct exam_row){.id = http_new_id(rq),
        .visit_id = in->visit_id,
        .patient_id = http_kept(rq, rows, 0, 0),
        .clinic_id = http_kept(rq, rows, 0, 1),
        .version = 1,
        .performed_us = in->performed_us,
        .created_us = rq->now_us,
        .offset_min = (int)db_rows_int(rows, 0, 3),
        .catch_up = in->performed_us < rq->now_us - CATCH_UP_US,
        .status = "preliminary",
        .edition = 1,
        .habitual_own = http_kept(rq, rows, 0, 4),
        .body = "{}",
        .created_by = rq->who.db.user_id,
        .vertex_needed_cd = db_rows_cd(rows, 0, 5),
        .last_steps = "[]"};
    TRY(exam_may_write(rq, x, err));
    if (strcmp(db_rows_text(rows, 0, 2), "cancelled") == 0)
        return err_set(
            err, RC_CONFLICT, "/visit", "the visit has been cancelled");
    return add(rq, in);
}

enum rc http_exam_post(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {"visit", "performed_at", NULL};
    struct json_in in = json_in_root(rq->json, err);
    struct json_in performed = json_in_get(in, "performed_at");
    struct begin *state = arena_calloc(rq->arena, 1, sizeof(*state));
    struct db_call *call;

    state->performed_us = rq->now_us;
    json_in_object(in, names);
    if (json_in_need(json_in_get(in, "visit")))
        json_in_uuid(json_in_get(in, "visit"), &state->visit_id);
    if (json_in_time(performed, &state->performed_us, NULL) &&
        state->performed_us > rq->now_us + AHEAD_US)
        err_fault(err, performed.pointer, "lies in the future");
    if (err->rc != RC_OK)
        return err->rc;
    rq->state = state;
    call = db_call_new(rq->arena, &DB_EXAM_VISIT);
    db_put_text(call, state->visit_id);
    db_put_time(call, state->performed_us);
    return http_read(rq, &call, 1, visit_found);
}

/* ---- GET /v1/exams/{id} ------------------------------------------------ */

static enum rc exam_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct exam_row x;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    TRY(exam_load(rq, reply, &x, err));
    TRY(exam_may_read(rq, &x, err));
    json_out_object(&o, NULL);
    exam_write(rq, &o, &x);
    json_out_object_end(&o);
    http_viewed(rq, "exam", x.id, x.patient_id);
    return exam_reply(rq, x.version, &t, err);
}

enum rc http_exam_get(struct http_req *rq, struct err *err)
{
    struct db_call *calls[EXAM_CALLS];
    enum optics_form form;
    const char *view;

    TRY(exam_form(rq, &form, &view, err));
    exam_calls(rq, rq->ids[0], calls);
    return http_read(rq, calls, EXAM_CALLS, exam_found);
}

/* ---- GET /v1/exams ----------------------------------------------------- */

struct list {
    const char *patient_id;
    int limit;
};

static const char *zoned(struct http_req *rq, int64_t us, int offset_min)
{
    return instant_text(
        us, offset_min, arena_alloc(rq->arena, INSTANT_TEXT_MAX));
}

static void write_listed(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t i)
{
    int offset = (int)db_rows_int(rows, i, 6);

    json_out_object(o, NULL);
    json_out_text(o, "id", db_rows_text(rows, i, 0));
    json_out_int(o, "version", db_rows_int(rows, i, 1));
    json_out_text(o, "visit", db_rows_text(rows, i, 2));
    json_out_text(o, "patient", db_rows_text(rows, i, 3));
    json_out_text(o, "clinic", db_rows_text(rows, i, 4));
    json_out_text(
        o, "performed_at", zoned(rq, db_rows_int(rows, i, 5), offset));
    json_out_bool(o, "catch_up", db_rows_bool(rows, i, 7));
    json_out_text(o, "status", db_rows_text(rows, i, 8));
    json_out_int(o, "edition", db_rows_int(rows, i, 9));
    json_out_bool(o, "amending", db_rows_bool(rows, i, 10));
    if (db_rows_text(rows, i, 11)) {
        json_out_object(o, "signed");
        json_out_text(
            o, "signed_at", zoned(rq, db_rows_int(rows, i, 11), offset));
        json_out_object(o, "signed_by");
        json_out_text(o, "id", db_rows_text(rows, i, 12));
        json_out_text(o, "name", db_rows_text(rows, i, 13));
        json_out_object_end(o);
        json_out_text(o, "expires_on", db_rows_text(rows, i, 14));
        json_out_object_end(o);
    }
    json_out_object_end(o);
}

static enum rc exams_listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct list *list = rq->state;
    const struct db_rows *rows = reply->rows[0];
    size_t n = db_rows_count(rows), most = (size_t)list->limit;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    (void)err;
    json_out_object(&o, NULL);
    json_out_array(&o, "items");
    for (size_t i = 0; i < n && i < most; i++)
        write_listed(rq, &o, rows, i);
    http_list_end(rq, &o, n > most ? db_rows_text(rows, most - 1, 0) : NULL);
    if (list->patient_id && n > 0)
        http_viewed(rq, "patient", list->patient_id, list->patient_id);
    return http_reply_json(rq, 200, &t);
}

static enum rc read_id(struct http_req *rq, const char *name, const char *text,
    const char **ret, struct err *err)
{
    char *lower = arena_alloc(rq->arena, UUID_TEXT_SIZE);

    *ret = NULL;
    if (!text)
        return RC_OK;
    if (!uuid_parse(text, strlen(text), lower))
        return err_set(
            err, RC_INVALID, NULL, "%s must be an id, not \"%s\"", name, text);
    *ret = lower;
    return RC_OK;
}

enum rc http_exam_list(struct http_req *rq, struct err *err)
{
    static const char *const known[] = {
        "preliminary", "final", "amended", "entered-in-error", NULL};
    struct list *list = arena_calloc(rq->arena, 1, sizeof(*list));
    const char *status = http_query(rq, "status"), *after, *after_id;
    const char *own = *rq->who.clinic_id ? rq->who.clinic_id : NULL;
    struct db_call *call;
    bool good = !status;

    TRY(http_page(rq, &list->limit, &after, err));
    TRY(read_id(
        rq, "patient", http_query(rq, "patient"), &list->patient_id, err));
    TRY(read_id(rq, "after", after, &after_id, err));
    for (int i = 0; status && known[i]; i++)
        good = good || strcmp(status, known[i]) == 0;
    if (!good)
        return err_set(err, RC_INVALID, NULL,
            "status must be preliminary, final, amended or entered-in-error, "
            "not \"%s\"",
            status);
    rq->state = list;
    call = db_call_new(rq->arena, &DB_EXAM_LIST);
    db_put_text(call, list->patient_id);
    db_put_text(call, list->patient_id ? NULL : own);
    db_put_text(call, own);
    db_put_text(call, status);
    db_put_text(call, after_id);
    db_put_int(call, list->limit + 1);
    return http_read(rq, &call, 1, exams_listed);
}

/* ---- PATCH /v1/exams/{id} ---------------------------------------------- */

struct patch {
    struct exam_row x; /* as it will stand */
};

static enum rc exam_changed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct patch *in = rq->state;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_STALE, NULL, "it was changed meanwhile");
    json_out_object(&o, NULL);
    exam_write(rq, &o, &in->x);
    json_out_object_end(&o);
    return exam_reply(rq, in->x.version, &t, err);
}

/* An assistant notes what was found; the refraction is the prescriber's. */
static enum rc may_patch(struct http_req *rq, struct err *err)
{
    static const char *const prescribers[] = {
        "subjective", "binocular", "near", "final"};

    if (rq->who.role == HTTP_PRESCRIBER)
        return RC_OK;
    for (size_t i = 0; i < ARRAY_LEN(prescribers); i++)
        if (json_object_get(rq->json, prescribers[i]))
            return err_set(err, RC_FORBIDDEN, NULL,
                "the role %s may not write the section %s",
                http_role_word(rq->who.role), prescribers[i]);
    return RC_OK;
}

static void check_names(struct json_in in)
{
    const char *names[16] = {"habitual"};

    for (size_t i = 0; RECORD_SECTIONS[i]; i++)
        names[i + 1] = RECORD_SECTIONS[i];
    json_in_object(in, names);
}

static void check_named(struct http_req *rq, const struct db_rows *rows,
    const struct exam_row *x, const struct record_named *named, struct err *err)
{
    struct exam_entry found;

    if (!exam_entry_find(rq, rows, named->id, &found))
        err_fault(err, named->pointer, "no reading has this id");
    else if (!found.patient_id)
        err_fault(err, named->pointer,
            "the reading lies in the unclaimed tray; claim it for the patient "
            "first");
    else if (strcmp(found.patient_id, x->patient_id) != 0)
        err_fault(err, named->pointer, "it is of another patient");
    else if (*named->kind && strcmp(found.entry.kind, named->kind) != 0)
        err_fault(err, named->pointer, "it is %s, not %s", found.entry.kind,
            named->kind);
}

static void check_habitual(struct http_req *rq, const struct db_rows *rows,
    struct json_in at, struct exam_row *x)
{
    struct exam_entry found;
    const char *id;

    if (!json_object_get(rq->json, "habitual"))
        return;
    if (!json_in_here(at)) {
        x->habitual_own = NULL;
        return;
    }
    if (!json_in_uuid(at, &id))
        return;
    if (!exam_entry_find(rq, rows, id, &found) || !found.patient_id ||
        strcmp(found.patient_id, x->patient_id) != 0)
        err_fault(at.err, at.pointer, "no entry of this patient has this id");
    else if (!found.entry.glasses)
        err_fault(at.err, at.pointer,
            "habitual glasses are a lensometry, a prescription by somebody "
            "else, or typed; this is %s",
            found.entry.kind);
    else if (record_entry_refusal(&found.entry))
        err_fault(at.err, at.pointer, "it can't be used here: %s",
            record_entry_refusal(&found.entry));
    x->habitual_own = id;
}

/* Checks the patch against what stands and makes x what it will be. */
static enum rc merge(struct http_req *rq, const struct db_rows *entries,
    struct exam_row *x, struct err *err)
{
    struct json_in patch = json_in_root(rq->json, err);
    struct record_named named[RECORD_NAMED_MAX];
    size_t n = record_objective_named(
        json_in_get(patch, "objective"), named, RECORD_NAMED_MAX);
    json_auto_t *body = exam_body(x);
    json_auto_t *merged = json_merge(body, rq->json);
    struct record_refraction working;
    const char *source;
    TEXT_AUTO scrap = {0};
    struct json_out o = JSON_OUT(&scrap);

    check_names(patch);
    record_sections_check_patch(patch);
    record_near_totals(patch, merged);
    record_sections_copy(json_in_root(merged, err), &o);
    for (size_t i = 0; i < n; i++)
        check_named(rq, entries, x, &named[i], err);
    check_habitual(rq, entries, json_in_get(patch, "habitual"), x);
    if (err->rc != RC_OK)
        return err->rc;
    exam_working(rq, body, &working, &source);
    x->body = exam_body_text(rq, &working, source, merged);
    return RC_OK;
}

static enum rc patch_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct patch *in = rq->state;
    struct exam_row *x = &in->x;
    struct db_call *call = db_call_new(rq->arena, &DB_EXAM_CHANGE);
    int64_t version;

    TRY(exam_load(rq, reply, x, err));
    TRY(exam_may_write(rq, x, err));
    TRY(may_patch(rq, err));
    TRY(http_match(rq, x->version, err));
    TRY(merge(rq, reply->rows[EXAM_CALLS], x, err));
    TRY(exam_need_draft(x, err));
    version = x->version++;
    db_put_text(call, x->id);
    db_put_int(call, version);
    db_put_text(call, x->body);
    db_put_text(call, x->habitual_own);
    db_put_text(call, arena_memdup(rq->arena, rq->body, rq->body_len));
    return http_write(rq, &call, 1, exam_changed);
}

enum rc http_exam_patch(struct http_req *rq, struct err *err)
{
    struct err scratch = ERR_INIT(rq->arena);
    struct json_in in = json_in_root(rq->json, &scratch);
    struct record_named named[RECORD_NAMED_MAX];
    const char *ids[RECORD_NAMED_MAX + 1];
    struct db_call *calls[EXAM_CALLS + 1];
    size_t n, of = 0;

    (void)err;
    rq->state = arena_calloc(rq->arena, 1, sizeof(struct patch));
    n = record_objective_named(
        json_in_get(in, "objective"), named, RECORD_NAMED_MAX);
    for (; of < n; of++)
        ids[of] = named[of].id;
    if (json_in_uuid(json_in_get(in, "habitual"), &ids[of]))
        of++;
    exam_calls(rq, rq->ids[0], calls);
    calls[EXAM_CALLS] = db_call_new(rq->arena, &DB_ENTRY_NAMED);
    db_put_texts(calls[EXAM_CALLS], ids, of);
    return http_read(rq, calls, EXAM_CALLS + 1, patch_found);
}
