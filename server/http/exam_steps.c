/* http/exam_steps.c - the refinement: one nudge after another, and undo. */
#include <stdlib.h>
#include <string.h>

#include "base/instant.h"
#include "http/exam_row.h"
#include "http/handlers.h"

/* Two tablets at one exam meet now and then; more than this is a fault. */
#define ATTEMPTS 8

struct step_in {
    struct record_step step; /* unless undo */
    const char *undo;        /* id of the step to take back, or NULL */
    struct err body;         /* what is wrong with the request */
    const char *id;          /* of the new step */
    int attempts;
    bool source_moved; /* an undo also changes where the power came from */
    const char *source_before, *source_after; /* JSON, or NULL */
    struct exam_row x;                        /* as it will stand */
    const char *axis_taken;                   /* a caution, or NULL */
    const char *answer;
};

static enum rc look(struct http_req *rq);

/* ---- the answer -------------------------------------------------------- */

static enum rc step_stored(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct step_in *in = rq->state;

    if (!db_reply_did(reply, 0)) {
        /* Somebody was faster; the step still holds if what it found does. */
        if (++in->attempts < ATTEMPTS)
            return look(rq);
        return err_set(err, RC_BUSY, NULL, "the exam changes too fast");
    }
    http_location(rq, "/v1/exams/%s/steps", in->x.id);
    http_etag(rq, in->x.version, NULL);
    return http_reply_ready(rq, 201, in->answer);
}

/* "from" isn't what stands: a problem that says what does. */
static enum rc refuse(struct http_req *rq, const struct exam_row *x,
    const struct record_refraction *standing, struct err *err)
{
    struct step_in *in = rq->state;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "type", "/docs/api#problem-conflict");
    json_out_text(&o, "title", "It does not fit what stands");
    json_out_int(&o, "status", 409);
    json_out_text(&o, "detail", err->detail);
    json_out_text(&o, "request", rq->id);
    json_out_array(&o, "errors");
    for (const struct err_fault *f = err->faults; f; f = f->next) {
        json_out_object(&o, NULL);
        json_out_text(&o, "pointer", f->pointer);
        json_out_text(&o, "detail", f->detail);
        json_out_object_end(&o);
    }
    json_out_array_end(&o);
    if (!in->undo)
        record_step_write_standing(&o, "standing", &in->step, standing);
    json_out_object(&o, "working");
    record_refraction_write(&o, standing);
    json_out_object_end(&o);
    json_out_int(&o, "version", x->version);
    json_out_object_end(&o);
    http_etag(rq, x->version, NULL);
    err->rc = RC_OK;
    return http_reply_bytes(rq, 409, "application/problem+json", &t);
}

static void write_cautions(
    struct http_req *rq, struct json_out *o, const struct exam_row *x)
{
    struct step_in *in = rq->state;
    struct record_cautions list = {.arena = rq->arena};
    const char *off =
        in->undo ? NULL : record_step_off_grid(&in->step, &x->grid, rq->arena);

    if (off)
        record_cautions_add(&list, "off-step", (int)in->step.eye, "%s", off);
    if (in->axis_taken)
        record_cautions_add(
            &list, "axis-assumed", (int)in->step.eye, "%s", in->axis_taken);
    record_cautions_write(o, "cautions", &list);
}

static void put_source(struct json_out *o, const char *key, const char *source)
{
    if (source)
        json_out_raw(o, key, source, strlen(source));
    else
        json_out_null(o, key);
}

/* What the log keeps. */
static const char *log_text(
    struct http_req *rq, const struct record_logged *logged)
{
    struct step_in *in = rq->state;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "kind", in->undo ? "undo" : "change");
    record_logged_write(&o, logged);
    if (!in->undo)
        record_step_write(&o, &in->step);
    if (in->source_moved) {
        put_source(&o, "source", in->source_after);
        put_source(&o, "source_before", in->source_before);
    }
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

static const char *answer_text(struct http_req *rq, const struct exam_row *x,
    const char *log, const struct record_refraction *working)
{
    struct step_in *in = rq->state;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "id", in->id);
    json_out_int(&o, "ordinal", x->steps);
    json_out_text(&o, "at",
        instant_text(rq->now_us, x->offset_min,
            arena_alloc(rq->arena, INSTANT_TEXT_MAX)));
    json_out_object(&o, "by");
    json_out_text(&o, "id", rq->who.db.user_id);
    json_out_object_end(&o);
    if (in->undo)
        json_out_text(&o, "undoes", in->undo);
    text_putc(&t, ',');
    text_put(&t, log + 1, strlen(log) - 2);
    json_out_text(&o, "exam", x->id);
    json_out_int(&o, "exam_version", x->version);
    json_out_object(&o, "working");
    record_refraction_write(&o, working);
    json_out_object_end(&o);
    write_cautions(rq, &o, x);
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

/* ---- a change and an undo ---------------------------------------------- */

/* What stands afterwards is logged->after. */
static enum rc store(struct http_req *rq, struct exam_row *x,
    const char *source, const struct record_logged *logged, const json_t *body)
{
    struct step_in *in = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_EXAM_STEP_ADD);
    const char *log = log_text(rq, logged);
    int64_t version = x->version++;

    x->steps++;
    x->body = exam_body_text(rq, &logged->after, source, body);
    in->id = http_new_id(rq);
    in->x = *x;
    in->answer = answer_text(rq, x, log, &logged->after);
    db_put_text(call, x->id);
    db_put_int(call, version);
    db_put_text(call, x->body);
    db_put_text(call, in->id);
    db_put_int(call, x->steps);
    db_put_text(call, in->undo);
    db_put_text(call, log);
    db_put_int(call, 201);
    db_put_text(call, in->answer);
    db_put_text(call, arena_printf(rq->arena, "%lld", (long long)x->version));
    return http_write(rq, &call, 1, step_stored);
}

static enum rc change(
    struct http_req *rq, struct exam_row *x, json_t *body, struct err *err)
{
    struct step_in *in = rq->state;
    struct record_logged logged = {.eye = in->step.eye,
        .field = in->step.field,
        .form = in->step.form,
        .hold_equivalent = in->step.hold_equivalent};
    struct record_refraction working;
    const char *source;
    enum rc rc;

    exam_working(rq, body, &working, &source);
    logged.before = working;
    in->axis_taken = record_step_axis_taken(&in->step, &working, rq->arena);
    rc = record_step_apply(&in->step, &working, err);
    if (rc == RC_CONFLICT)
        return refuse(rq, x, &working, err);
    if (rc != RC_OK)
        return rc;
    logged.after = working;
    return store(rq, x, source, &logged, body);
}

/* A start brought a source; taking it back brings the one before. */
static void read_source(struct http_req *rq, const json_t *logged)
{
    struct step_in *in = rq->state;
    json_t *before = json_object_get(logged, "source_before");
    char *text;

    in->source_moved = json_object_get(logged, "source") || before;
    in->source_after = in->source_before;
    if (!in->source_moved)
        return;
    in->source_after = NULL;
    if (!json_is_object(before))
        return;
    text = json_dumps(before, JSON_COMPACT);
    in->source_after = arena_strdup(rq->arena, text);
    free(text);
}

static enum rc read_logged(struct http_req *rq, const struct db_rows *rows,
    struct record_logged *ret, struct err *err)
{
    struct step_in *in = rq->state;
    struct err scratch = ERR_INIT(rq->arena);
    json_auto_t *body = NULL;

    if (db_rows_count(rows) == 0)
        return err_set(
            err, RC_INVALID, "/undo", "no step of this exam has this id");
    if (db_rows_bool(rows, 0, 2))
        return err_set(err, RC_CONFLICT, "/undo",
            "step \"%s\" has been undone already", in->undo);
    body = json_loads(db_rows_text(rows, 0, 1), JSON_ALLOW_NUL, NULL);
    if (!record_logged_read(json_in_root(body, &scratch), ret))
        return err_set(err, RC_INTERNAL, NULL, "the step can't be read back");
    read_source(rq, body);
    return RC_OK;
}

static enum rc undo(struct http_req *rq, struct exam_row *x, json_t *body,
    const struct db_rows *rows, struct err *err)
{
    struct step_in *in = rq->state;
    struct record_logged was, logged;
    struct record_refraction working;
    enum rc rc;

    exam_working(rq, body, &working, &in->source_before);
    TRY(read_logged(rq, rows, &was, err));
    logged = was;
    logged.before = working;
    rc = record_logged_undo(&was, &working, err);
    if (rc == RC_CONFLICT)
        return refuse(rq, x, &working, err);
    if (rc != RC_OK)
        return rc;
    logged.after = working;
    return store(rq, x, in->source_after, &logged, body);
}

static enum rc looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct step_in *in = rq->state;
    struct exam_row x;
    json_auto_t *body = NULL;

    TRY(exam_load(rq, reply, &x, err));
    TRY(exam_may_write(rq, &x, err));
    TRY(http_match(rq, x.version, err));
    if (in->body.rc != RC_OK) {
        *err = in->body;
        return err->rc;
    }
    TRY(exam_need_draft(&x, err));
    body = exam_body(&x);
    if (in->undo)
        return undo(rq, &x, body, reply->rows[EXAM_CALLS], err);
    return change(rq, &x, body, err);
}

static enum rc look(struct http_req *rq)
{
    struct step_in *in = rq->state;
    struct db_call *calls[EXAM_CALLS + 1];

    exam_calls(rq, rq->ids[0], calls);
    if (!in->undo)
        return http_read(rq, calls, EXAM_CALLS, looked);
    calls[EXAM_CALLS] = db_call_new(rq->arena, &DB_EXAM_STEP_GET);
    db_put_text(calls[EXAM_CALLS], rq->ids[0]);
    db_put_text(calls[EXAM_CALLS], in->undo);
    return http_read(rq, calls, EXAM_CALLS + 1, looked);
}

enum rc http_exam_step_post(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {"undo", NULL};
    struct step_in *state = arena_calloc(rq->arena, 1, sizeof(*state));
    struct json_in in = json_in_root(rq->json, &state->body);

    (void)err;
    state->body.arena = rq->arena;
    rq->state = state;
    if (json_in_here(json_in_get(in, "undo"))) {
        json_in_object(in, names);
        json_in_uuid(json_in_get(in, "undo"), &state->undo);
    } else {
        record_step_read(in, &state->step);
    }
    if (state->body.rc != RC_OK)
        state->undo = NULL;
    return look(rq);
}

/* ---- GET /v1/exams/{id}/steps ------------------------------------------ */

static enum rc steps_listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[EXAM_CALLS];
    size_t most = *(size_t *)rq->state, n = db_rows_count(rows);
    struct exam_row x;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    TRY(exam_load(rq, reply, &x, err));
    if (exam_is_draft(&x) && !exam_own(rq, &x))
        return err_set(err, RC_FORBIDDEN, NULL,
            "a draft is read by its own clinic's users");
    json_out_object(&o, NULL);
    json_out_array(&o, "items");
    for (size_t i = 0; i < n && i < most; i++)
        exam_step_write(rq, &o, rows, i, x.offset_min);
    http_list_end(rq, &o, n > most ? db_rows_text(rows, most - 1, 1) : NULL);
    http_viewed(rq, "exam", x.id, x.patient_id);
    return exam_reply(rq, x.version, &t, err);
}

enum rc http_exam_step_list(struct http_req *rq, struct err *err)
{
    struct db_call *calls[EXAM_CALLS + 1];
    size_t *most = arena_alloc(rq->arena, sizeof(*most));
    enum optics_form form;
    const char *after, *view;
    int limit;

    TRY(exam_form(rq, &form, &view, err));
    TRY(http_page(rq, &limit, &after, err));
    if (after && (strlen(after) > 9 || strspn(after, "0123456789") == 0 ||
                     after[strspn(after, "0123456789")]))
        return err_set(
            err, RC_INVALID, NULL, "after must be a cursor, not \"%s\"", after);
    *most = (size_t)limit;
    rq->state = most;
    exam_calls(rq, rq->ids[0], calls);
    calls[EXAM_CALLS] = db_call_new(rq->arena, &DB_EXAM_STEP_LIST);
    db_put_text(calls[EXAM_CALLS], rq->ids[0]);
    db_put_text(calls[EXAM_CALLS], after);
    db_put_int(calls[EXAM_CALLS], limit + 1);
    return http_read(rq, calls, EXAM_CALLS + 1, steps_listed);
}
