/* http/exam_start.c - one call that sets the working refraction. */
#include <string.h>

#include "http/exam_row.h"
#include "http/handlers.h"

struct start {
    const char *source_id;
    enum record_side eye; /* right, left, both */
    struct err body;      /* what is wrong with the request */
    const char *step_id;
    struct exam_row x; /* as it will stand */
    const char *answer;
};

static enum rc started(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct start *in = rq->state;
    struct text t = {0};

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_STALE, NULL, "it was changed meanwhile");
    text_puts(&t, in->answer);
    return exam_reply(rq, in->x.version, &t, err);
}

/* ---- from the source to the working refraction ------------------------- */

/* The eyes asked for; what the source lacks stays as it stood. */
static void take(const struct start *in, const struct record_refraction *from,
    struct record_refraction *working, struct record_cautions *cautions)
{
    bool whole = true;

    for (int side = 0; side < 2; side++) {
        if (record_step_concerns(in->eye, side) && from->here[side]) {
            working->here[side] = true;
            working->eyes[side] = from->eyes[side];
        } else if (working->here[side]) {
            whole = false;
        }
    }
    if (whole || working->vertex_mm100 == NUM_ABSENT) {
        working->vertex_mm100 = from->vertex_mm100;
        working->vertex_assumed = from->vertex_assumed;
    } else if (working->vertex_mm100 != from->vertex_mm100) {
        record_cautions_add(cautions, "vertex-differs", -1,
            "the other eye stands at another vertex distance, which is kept");
    }
    if (record_pd_here(&from->pd))
        working->pd = from->pd;
}

static void write_rounded(struct json_out *o, const struct start *in,
    const struct record_rounded rounded[2])
{
    json_out_array(o, "rounded");
    for (int side = 0; side < 2; side++) {
        if (rounded[side].from_cdeg == rounded[side].to_cdeg ||
            !record_step_concerns(in->eye, side))
            continue;
        json_out_object(o, NULL);
        json_out_text(o, "eye", record_side_word((enum record_side)side));
        json_out_text(o, "field", "axis");
        json_out_number(o, "from", rounded[side].from_cdeg / 100.0, 2);
        json_out_number(o, "to", rounded[side].to_cdeg / 100.0, 2);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

static void doubt(const struct record_entry *entry, const struct start *in,
    struct record_cautions *list)
{
    for (int side = 0; side < 2; side++)
        if (record_step_concerns(in->eye, side) && !entry->figures.here[side])
            record_cautions_add(list, "eye-missing", side,
                "the source says nothing of the %s eye, which stays as it was",
                record_side_word((enum record_side)side));
    if (entry->figures.vertex_assumed)
        record_cautions_add(list, "vertex-assumed", -1,
            "the vertex distance was assumed by the instrument, not measured");
    if (entry->unsided)
        record_cautions_add(list, "side-unknown", -1,
            "a lens of unknown side in the source is left out");
}

/* ---- storing ------------------------------------------------------------ */

static const char *source_text(
    struct http_req *rq, const struct record_entry *entry)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    exam_entry_write(rq, &o, NULL, entry);
    return exam_take(rq, &t);
}

struct made {
    struct record_logged logged;
    struct record_rounded rounded[2];
    struct record_cautions cautions;
    const char *source, *source_before; /* JSON */
};

static const char *log_text(
    struct http_req *rq, const struct start *in, const struct made *made)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "kind", "start-from");
    record_logged_write(&o, &made->logged);
    json_out_raw(&o, "source", made->source, strlen(made->source));
    if (made->source_before)
        json_out_raw(&o, "source_before", made->source_before,
            strlen(made->source_before));
    write_rounded(&o, in, made->rounded);
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

static const char *answer_text(
    struct http_req *rq, const struct start *in, const struct made *made)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    exam_write(rq, &o, &in->x);
    json_out_text(&o, "step", in->step_id);
    write_rounded(&o, in, made->rounded);
    record_cautions_write(&o, "cautions", &made->cautions);
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

static enum rc store(
    struct http_req *rq, const struct made *made, const json_t *body)
{
    struct start *in = rq->state;
    struct exam_row *x = &in->x;
    struct db_call *call = db_call_new(rq->arena, &DB_EXAM_STEP_ADD);
    int64_t version = x->version++;

    x->steps++;
    x->last_steps = NULL; /* the one that is made now would be missing */
    x->body = exam_body_text(rq, &made->logged.after, made->source, body);
    in->step_id = http_new_id(rq);
    in->answer = answer_text(rq, in, made);
    db_put_text(call, x->id);
    db_put_int(call, version);
    db_put_text(call, x->body);
    db_put_text(call, in->step_id);
    db_put_int(call, x->steps);
    db_put_null(call);
    db_put_text(call, log_text(rq, in, made));
    db_put_int(call, 200);
    db_put_text(call, in->answer);
    db_put_text(call, arena_printf(rq->arena, "%lld", (long long)x->version));
    return http_write(rq, &call, 1, started);
}

static enum rc source_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct start *in = rq->state;
    struct exam_row *x = &in->x;
    struct exam_entry found;
    struct made made = {.cautions = {.arena = rq->arena}};
    json_auto_t *body = NULL;

    TRY(exam_load(rq, reply, x, err));
    TRY(exam_may_write(rq, x, err));
    TRY(http_match(rq, x->version, err));
    if (in->body.rc != RC_OK) {
        *err = in->body;
        return err->rc;
    }
    if (!exam_entry_find(rq, reply->rows[EXAM_CALLS], in->source_id, &found))
        return err_set(err, RC_INVALID, "/source",
            "no reading or entry has the id \"%s\"", in->source_id);
    TRY(exam_entry_check(&found, x, "/source", err));
    if (in->eye != RECORD_BOTH && !found.entry.figures.here[in->eye])
        return err_set(err, RC_INVALID, "/eye",
            "the source says nothing of the %s eye", record_side_word(in->eye));
    TRY(exam_need_draft(x, err));
    body = exam_body(x);
    made.logged = (struct record_logged){
        .eye = RECORD_BOTH, .field = RECORD_FIELD_WORKING};
    exam_working(rq, body, &made.logged.before, &made.source_before);
    made.logged.after = made.logged.before;
    made.source = source_text(rq, &found.entry);
    doubt(&found.entry, in, &made.cautions);
    record_refraction_start(&found.entry.figures, made.rounded);
    take(in, &found.entry.figures, &made.logged.after, &made.cautions);
    return store(rq, &made, body);
}

enum rc http_exam_start_post(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {"source", "eye", NULL};
    struct start *state = arena_calloc(rq->arena, 1, sizeof(*state));
    struct json_in in = json_in_root(rq->json, &state->body);
    struct db_call *calls[EXAM_CALLS + 1];
    const char *ids[1];

    (void)err;
    state->body.arena = rq->arena;
    json_in_object(in, names);
    if (json_in_need(json_in_get(in, "source")))
        json_in_uuid(json_in_get(in, "source"), &state->source_id);
    state->eye = RECORD_BOTH;
    record_eyes_read(json_in_get(in, "eye"), &state->eye);
    rq->state = state;
    ids[0] = state->source_id;
    exam_calls(rq, rq->ids[0], calls);
    calls[EXAM_CALLS] = db_call_new(rq->arena, &DB_ENTRY_NAMED);
    db_put_texts(calls[EXAM_CALLS], ids, state->source_id ? 1 : 0);
    return http_read(rq, calls, EXAM_CALLS + 1, source_found);
}
