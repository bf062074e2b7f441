#include "http/exam_row.h"

#include <stdlib.h>
#include <string.h>

#include "base/instant.h"
#include "record/exam.h"
#include "record/power.h"

#define LAST_STEPS 5

/* Columns of DB_EXAM_GET. */
enum {
    C_ID,
    C_VERSION,
    C_VISIT,
    C_PATIENT,
    C_CLINIC,
    C_PERFORMED,
    C_OFFSET,
    C_CATCH_UP,
    C_STATUS,
    C_EDITION,
    C_AMENDING,
    C_REASON,
    C_HABITUAL_OWN,
    C_HABITUAL,
    C_BODY,
    C_CREATED_BY,
    C_CREATED,
    C_STEP_SPHERE,
    C_STEP_AXIS,
    C_STEP_PRISM,
    C_VERTEX_NEEDED,
    C_STEPS,
    C_RX,
    C_SIGNED_EDITION,
    C_SIGNED_BODY,
    C_SIGNED,
    C_SIGNED_BY,
    C_SIGNER,
    C_EXPIRES,
};

/* ---- reading ---------------------------------------------------------- */

void exam_calls(
    struct http_req *rq, const char *exam_id, struct db_call *ret[EXAM_CALLS])
{
    ret[0] = db_call_new(rq->arena, &DB_EXAM_GET);
    db_put_text(ret[0], exam_id);
    ret[1] = db_call_new(rq->arena, &DB_EXAM_STEP_LIST);
    db_put_text(ret[1], exam_id);
    db_put_null(ret[1]);
    db_put_int(ret[1], LAST_STEPS);
}

static void load_signed(
    struct http_req *rq, const struct db_rows *rows, struct exam_row *x)
{
    x->prescription_id = http_kept(rq, rows, 0, C_RX);
    if (!x->prescription_id)
        return;
    x->signed_edition = (int)db_rows_int(rows, 0, C_SIGNED_EDITION);
    x->signed_body = http_kept(rq, rows, 0, C_SIGNED_BODY);
    x->signed_us = db_rows_int(rows, 0, C_SIGNED);
    x->signed_by = http_kept(rq, rows, 0, C_SIGNED_BY);
    x->signer = http_kept(rq, rows, 0, C_SIGNER);
    x->expires_on = http_kept(rq, rows, 0, C_EXPIRES);
}

static void load_exam(
    struct http_req *rq, const struct db_rows *rows, struct exam_row *x)
{
    x->id = http_kept(rq, rows, 0, C_ID);
    x->version = db_rows_int(rows, 0, C_VERSION);
    x->visit_id = http_kept(rq, rows, 0, C_VISIT);
    x->patient_id = http_kept(rq, rows, 0, C_PATIENT);
    x->clinic_id = http_kept(rq, rows, 0, C_CLINIC);
    x->performed_us = db_rows_int(rows, 0, C_PERFORMED);
    x->offset_min = (int)db_rows_int(rows, 0, C_OFFSET);
    x->catch_up = db_rows_bool(rows, 0, C_CATCH_UP);
    x->status = http_kept(rq, rows, 0, C_STATUS);
    x->edition = (int)db_rows_int(rows, 0, C_EDITION);
    x->amending = db_rows_bool(rows, 0, C_AMENDING);
    x->amend_reason = http_kept(rq, rows, 0, C_REASON);
    x->habitual_own = http_kept(rq, rows, 0, C_HABITUAL_OWN);
    x->habitual = http_kept(rq, rows, 0, C_HABITUAL);
    x->body = http_kept(rq, rows, 0, C_BODY);
    x->created_by = http_kept(rq, rows, 0, C_CREATED_BY);
    x->created_us = db_rows_int(rows, 0, C_CREATED);
    x->grid.sphere_cd = db_rows_cd(rows, 0, C_STEP_SPHERE);
    x->grid.axis_deg = db_rows_cd(rows, 0, C_STEP_AXIS);
    x->grid.prism_cd = db_rows_cd(rows, 0, C_STEP_PRISM);
    x->vertex_needed_cd = db_rows_cd(rows, 0, C_VERTEX_NEEDED);
    load_signed(rq, rows, x);
    x->steps = db_rows_int(rows, 0, C_STEPS);
}

static const char *load_steps(
    struct http_req *rq, const struct db_rows *rows, int offset_min)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_array(&o, NULL);
    for (size_t i = 0; i < db_rows_count(rows); i++)
        exam_step_write(rq, &o, rows, i, offset_min);
    json_out_array_end(&o);
    return exam_take(rq, &t);
}

enum rc exam_load(struct http_req *rq, const struct db_reply *reply,
    struct exam_row *ret, struct err *err)
{
    if (db_rows_count(reply->rows[0]) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "no such exam");
    *ret = (struct exam_row){0};
    load_exam(rq, reply->rows[0], ret);
    ret->last_steps = load_steps(rq, reply->rows[1], ret->offset_min);
    return RC_OK;
}

/* ---- who may ----------------------------------------------------------- */

bool exam_own(const struct http_req *rq, const struct exam_row *x)
{
    return strcmp(rq->who.clinic_id, x->clinic_id) == 0;
}

bool exam_is_draft(const struct exam_row *x)
{
    return x->amending || strcmp(x->status, "preliminary") == 0;
}

enum rc exam_may_write(
    struct http_req *rq, const struct exam_row *x, struct err *err)
{
    if (exam_own(rq, x))
        return RC_OK;
    return err_set(err, RC_FORBIDDEN, NULL,
        "an exam is written by its own clinic's users");
}

enum rc exam_may_read(struct http_req *rq, struct exam_row *x, struct err *err)
{
    if (!exam_is_draft(x) || exam_own(rq, x))
        return RC_OK;
    if (!x->prescription_id)
        return err_set(err, RC_FORBIDDEN, NULL,
            "a draft is read by its own clinic's users; others see the exam "
            "once it is signed");
    x->body = x->signed_body;
    x->edition = x->signed_edition;
    x->amending = false;
    return RC_OK;
}

enum rc exam_need_draft(const struct exam_row *x, struct err *err)
{
    if (exam_is_draft(x))
        return RC_OK;
    if (strcmp(x->status, "entered-in-error") == 0)
        return err_set(err, RC_CONFLICT, "/status",
            "the exam was marked as entered in error and changes no more");
    return err_set(err, RC_CONFLICT, "/status",
        "the exam is signed and changes no more; amend it with a reason");
}

/* ---- bodies ------------------------------------------------------------ */

const char *exam_take(struct http_req *rq, struct text *t)
{
    const char *copy = arena_memdup(rq->arena, t->data ? t->data : "", t->len);

    text_free(t);
    return copy;
}

json_t *exam_body(const struct exam_row *x)
{
    json_t *body = json_loads(x->body, JSON_ALLOW_NUL, NULL);

    return body ? body : json_object();
}

void exam_working(struct http_req *rq, const json_t *body,
    struct record_refraction *ret, const char **ret_source)
{
    struct err scratch = ERR_INIT(rq->arena);
    struct json_in working =
        json_in_get(json_in_root(body, &scratch), "working");
    json_t *source = json_object_get(working.value, "source");
    char *text = source ? json_dumps(source, JSON_COMPACT) : NULL;

    record_refraction_read(working, ret);
    *ret_source = text ? arena_strdup(rq->arena, text) : NULL;
    free(text);
}

const char *exam_body_text(struct http_req *rq,
    const struct record_refraction *working, const char *source,
    const json_t *sections)
{
    struct err scratch = ERR_INIT(rq->arena);
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    if (record_refraction_here(working) ||
        working->vertex_mm100 != NUM_ABSENT) {
        json_out_object(&o, "working");
        record_refraction_write(&o, working);
        if (source)
            json_out_raw(&o, "source", source, strlen(source));
        json_out_object_end(&o);
    }
    record_sections_copy(json_in_root(sections, &scratch), &o);
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

/* ---- the answer -------------------------------------------------------- */

static const char *local(struct http_req *rq, int64_t us, int offset_min)
{
    return instant_text(
        us, offset_min, arena_alloc(rq->arena, INSTANT_TEXT_MAX));
}

static void write_missing(
    struct http_req *rq, struct json_out *o, const struct exam_row *x)
{
    struct err scratch = ERR_INIT(rq->arena);
    json_auto_t *body = exam_body(x);
    struct record_final final;

    record_final_settle(json_in_root(body, &scratch), &final);
    record_sign_check(&final, x->vertex_needed_cd, &scratch);
    json_out_array(o, "missing_to_sign");
    for (const struct err_fault *f = scratch.faults; f; f = f->next) {
        json_out_object(o, NULL);
        json_out_text(o, "pointer", f->pointer);
        json_out_text(o, "detail", f->detail);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

static void write_signed(
    struct http_req *rq, struct json_out *o, const struct exam_row *x)
{
    if (!x->prescription_id)
        return;
    json_out_object(o, "signed");
    json_out_text(o, "prescription", x->prescription_id);
    json_out_int(o, "edition", x->signed_edition);
    json_out_text(o, "signed_at", local(rq, x->signed_us, x->offset_min));
    json_out_object(o, "signed_by");
    json_out_text(o, "id", x->signed_by);
    json_out_text(o, "name", x->signer);
    json_out_object_end(o);
    json_out_text(o, "expires_on", x->expires_on);
    json_out_object_end(o);
}

/* The members of the body, without its braces. */
static void write_body(struct json_out *o, const char *body)
{
    size_t len = strlen(body);

    if (len <= 2)
        return;
    if (o->comma)
        text_putc(o->to, ',');
    text_put(o->to, body + 1, len - 2);
    o->comma = true;
}

void exam_write(
    struct http_req *rq, struct json_out *o, const struct exam_row *x)
{
    json_out_text(o, "id", x->id);
    json_out_text(o, "visit", x->visit_id);
    json_out_text(o, "patient", x->patient_id);
    json_out_text(o, "clinic", x->clinic_id);
    json_out_text(o, "performed_at", local(rq, x->performed_us, x->offset_min));
    json_out_bool(o, "catch_up", x->catch_up);
    json_out_text(o, "status", x->status);
    json_out_int(o, "version", x->version);
    json_out_int(o, "edition", x->edition);
    json_out_bool(o, "amending", x->amending);
    if (x->amend_reason)
        json_out_text(o, "reason", x->amend_reason);
    json_out_text(o, "habitual", x->habitual_own);
    write_body(o, x->body);
    json_out_object(o, "steps");
    json_out_int(o, "count", x->steps);
    if (x->last_steps)
        json_out_raw(o, "last", x->last_steps, strlen(x->last_steps));
    json_out_object_end(o);
    write_signed(rq, o, x);
    if (exam_is_draft(x))
        write_missing(rq, o, x);
    json_out_text(o, "created_at", http_time(rq, x->created_us));
    json_out_text(o, "created_by", x->created_by);
}

enum rc exam_form(struct http_req *rq, enum optics_form *ret_form,
    const char **ret_view, struct err *err)
{
    const char *form = http_query(rq, "cylinder");

    *ret_form = OPTICS_MINUS_CYL;
    *ret_view = NULL;
    if (!form || strcmp(form, "minus") == 0)
        return RC_OK;
    if (strcmp(form, "plus") != 0)
        return err_set(err, RC_INVALID, "/cylinder",
            "cylinder must be minus or plus, not \"%s\"", form);
    *ret_form = OPTICS_PLUS_CYL;
    *ret_view = "plus";
    return RC_OK;
}

enum rc exam_reply(
    struct http_req *rq, int64_t version, struct text *json, struct err *err)
{
    struct text turned = {0};
    enum optics_form form;
    const char *view;

    TRY(exam_form(rq, &form, &view, err));
    http_etag(rq, version, view);
    if (form == OPTICS_MINUS_CYL)
        return http_reply_json(rq, 200, json);
    record_power_view(json->data, json->len, form, &turned);
    text_free(json);
    return http_reply_json(rq, 200, &turned);
}

void exam_step_write(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t i, int offset_min)
{
    const char *body = db_rows_text(rows, i, 6);

    json_out_object(o, NULL);
    json_out_text(o, "id", db_rows_text(rows, i, 0));
    json_out_int(o, "ordinal", db_rows_int(rows, i, 1));
    json_out_text(o, "at", local(rq, db_rows_int(rows, i, 2), offset_min));
    json_out_object(o, "by");
    json_out_text(o, "id", db_rows_text(rows, i, 3));
    json_out_text(o, "name", db_rows_text(rows, i, 4));
    json_out_object_end(o);
    if (db_rows_text(rows, i, 5))
        json_out_text(o, "undoes", db_rows_text(rows, i, 5));
    write_body(o, body);
    json_out_bool(o, "undone", db_rows_bool(rows, i, 7));
    json_out_object_end(o);
}
