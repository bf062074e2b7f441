/* http/habitual.c - the glasses that a patient wears, and where that comes
 * from. */
#include <string.h>

#include "http/exam_row.h"
#include "http/handlers.h"
#include "optics/vector.h"

static bool known_purpose(const char *word)
{
    for (int i = 0; RECORD_PURPOSES[i]; i++)
        if (strcmp(RECORD_PURPOSES[i], word) == 0)
            return true;
    return false;
}

/* ---- GET /v1/patients/{id}/habitual ------------------------------------ */

/* One pair of habitual_pairs. */
static void write_pair(struct http_req *rq, struct json_out *o, const char *key,
    const struct db_rows *rows, size_t i)
{
    struct err scratch = ERR_INIT(rq->arena);
    const char *text =
        arena_printf(rq->arena, "{%s}", db_rows_text(rows, i, 8));
    json_auto_t *body = json_loads(text, JSON_ALLOW_NUL, NULL);
    json_t *pair = json_object_get(body, "pair");
    struct record_entry entry = {.id = db_rows_text(rows, i, 0),
        .origin = db_rows_text(rows, i, 1),
        .kind = db_rows_text(rows, i, 2)};
    json_t *worn = json_object_get(pair, "worn");

    record_entry_read(json_in_root(body, &scratch), &entry);
    json_out_object(o, key);
    json_out_text(o, "id", entry.id);
    json_out_text(o, "origin", entry.origin);
    json_out_text(o, "kind", entry.kind);
    json_out_text(o, "at", http_time(rq, db_rows_int(rows, i, 3)));
    json_out_text(o, "pair", json_string_value(json_object_get(pair, "label")));
    json_out_text(o, "purpose", db_rows_text(rows, i, 5));
    json_out_text(
        o, "made_on", json_string_value(json_object_get(pair, "made_on")));
    if (worn)
        json_out_bool(o, "worn", json_is_true(worn));
    record_refraction_write(o, &entry.figures);
    json_out_object_end(o);
}

static void write_reason(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, const char *entry_id, const char *purpose)
{
    const char *chosen = db_rows_text(rows, 0, 2);

    if (!entry_id) {
        json_out_text(o, "because",
            arena_printf(rq->arena,
                "no lensometry and no named pair for the purpose %s is on "
                "record",
                purpose));
        return;
    }
    if (!chosen || strcmp(chosen, entry_id) != 0) {
        json_out_text(o, "because",
            chosen ? "the newest lensometry for this purpose, measured after "
                     "another pair was named"
                   : "the newest lensometry for this purpose");
        return;
    }
    json_out_text(o, "because", "somebody named this pair");
    json_out_object(o, "chosen");
    json_out_text(o, "at", http_time(rq, db_rows_int(rows, 0, 4)));
    json_out_object(o, "by");
    json_out_text(o, "id", db_rows_text(rows, 0, 5));
    json_out_text(o, "name", db_rows_text(rows, 0, 6));
    json_out_object_end(o);
    json_out_object_end(o);
}

static void write_pairs(struct http_req *rq, struct json_out *o,
    const struct db_rows *pairs, const char *entry_id)
{
    size_t n = db_rows_count(pairs), at = n;

    for (size_t i = 0; i < n && entry_id; i++)
        if (strcmp(db_rows_text(pairs, i, 0), entry_id) == 0)
            at = i;
    if (at < n)
        write_pair(rq, o, "entry", pairs, at);
    else
        json_out_null(o, "entry");
    json_out_array(o, "pairs");
    for (size_t i = 0; i < n; i++)
        write_pair(rq, o, NULL, pairs, i);
    json_out_array_end(o);
}

static enum rc habitual_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0], *pairs = reply->rows[1];
    const char *purpose = rq->state, *entry_id, *choice, *newest = "0";
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    if (db_rows_count(rows) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "no such patient");
    entry_id = db_rows_text(rows, 0, 1);
    choice = db_rows_text(rows, 0, 3);
    if (db_rows_count(pairs))
        newest = db_rows_text(pairs, 0, 0);
    json_out_object(&o, NULL);
    json_out_text(&o, "patient", db_rows_text(rows, 0, 0));
    json_out_text(&o, "purpose", purpose);
    write_reason(rq, &o, rows, entry_id, purpose);
    write_pairs(rq, &o, pairs, entry_id);
    json_out_object_end(&o);
    http_viewed(rq, "patient", rq->ids[0], rq->ids[0]);
    http_etag_text(rq,
        arena_printf(rq->arena, "%zu.%s.%s", db_rows_count(pairs), newest,
            choice ? choice : "0"),
        NULL);
    return http_reply_json(rq, 200, &t);
}

static void calls_for(
    struct http_req *rq, const char *purpose, struct db_call *ret[2])
{
    ret[0] = db_call_new(rq->arena, &DB_HABITUAL_GET);
    db_put_text(ret[0], rq->ids[0]);
    db_put_text(ret[0], purpose);
    ret[1] = db_call_new(rq->arena, &DB_HABITUAL_PAIRS);
    db_put_text(ret[1], rq->ids[0]);
}

enum rc http_habitual_get(struct http_req *rq, struct err *err)
{
    const char *purpose = http_query(rq, "purpose");
    struct db_call *calls[2];

    if (!purpose)
        purpose = "distance";
    if (!known_purpose(purpose))
        return err_set(err, RC_INVALID, "/purpose",
            "purpose is none of the known ones: \"%s\"", purpose);
    rq->state = arena_strdup(rq->arena, purpose);
    calls_for(rq, rq->state, calls);
    return http_read(rq, calls, 2, habitual_found);
}

/* ---- POST /v1/patients/{id}/habitual ----------------------------------- */

struct choice {
    struct err body;        /* what is wrong with the request */
    const char *patient_id; /* whom the path's id means */
    const char *entry_id;
    const char *purpose;
    bool typed;
    struct record_refraction figures;
    const char *label, *made_on;
    const char *origin; /* typed, prescription */
    enum record_yes worn;
    const char *id;
    const char *answer;
};

static enum rc choice_stored(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct choice *in = rq->state;

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_CONFLICT, "/entry",
            "the entry is no longer this patient's");
    http_location(rq, "/v1/patients/%s/habitual", rq->ids[0]);
    http_etag_text(rq, in->id, NULL);
    return http_reply_ready(rq, 201, in->answer);
}

static void write_words(struct json_out *o, const struct choice *in)
{
    json_out_object(o, "pair");
    if (in->label)
        json_out_text(o, "label", in->label);
    if (in->purpose)
        json_out_text(o, "purpose", in->purpose);
    if (in->made_on)
        json_out_text(o, "made_on", in->made_on);
    if (in->worn != RECORD_UNSAID)
        json_out_bool(o, "worn", in->worn == RECORD_YES);
    json_out_object_end(o);
}

static const char *entry_text(struct http_req *rq, const struct choice *in)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_text(&o, "kind", in->origin);
    json_out_text(&o, "condition_key", in->origin);
    write_words(&o, in);
    record_refraction_write(&o, &in->figures);
    json_out_array(&o, "cautions");
    json_out_array_end(&o);
    return exam_take(rq, &t);
}

static const char *answer_text(struct http_req *rq, const struct choice *in)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "id", in->id);
    json_out_text(&o, "patient", in->patient_id);
    json_out_text(&o, "entry", in->entry_id);
    json_out_text(&o, "purpose", in->purpose);
    json_out_text(&o, "at", http_time(rq, rq->now_us));
    json_out_text(&o, "by", rq->who.db.user_id);
    if (in->typed) {
        json_out_text(&o, "origin", in->origin);
        write_words(&o, in);
        record_refraction_write(&o, &in->figures);
    }
    json_out_object_end(&o);
    return exam_take(rq, &t);
}

static void put_vector(
    struct db_call *call, const struct record_refraction *r, int side)
{
    struct optics_vector v = {0, 0, 0};
    bool power = record_refraction_power(r, side);

    if (power)
        v = optics_vector_of(optics_power_of_rx(r->eyes[side].power));
    if (power) {
        db_put_real(call, v.m);
        db_put_real(call, v.j0);
        db_put_real(call, v.j45);
    } else {
        db_put_null(call);
        db_put_null(call);
        db_put_null(call);
    }
}

static enum rc store(struct http_req *rq)
{
    struct choice *in = rq->state;
    struct db_call *call = db_call_new(
        rq->arena, in->typed ? &DB_HABITUAL_TYPE : &DB_HABITUAL_CHOOSE);

    in->id = http_new_id(rq);
    if (in->typed)
        in->entry_id = http_new_id(rq);
    in->answer = answer_text(rq, in);
    db_put_text(call, in->id);
    db_put_text(call, rq->ids[0]);
    db_put_text(call, in->entry_id);
    db_put_text(call, in->purpose);
    db_put_text(call, in->answer);
    db_put_text(call, in->id);
    if (in->typed) {
        db_put_time(call, rq->now_us);
        db_put_text(call, in->origin);
        db_put_text(call, *rq->who.clinic_id ? rq->who.clinic_id : NULL);
        put_vector(call, &in->figures, 0);
        put_vector(call, &in->figures, 1);
        db_put_text(call, in->label);
        db_put_text(call, in->made_on);
        db_put_text(call, in->worn == RECORD_UNSAID ? NULL
                          : in->worn == RECORD_YES  ? "yes"
                                                    : "no");
        db_put_text(call, entry_text(rq, in));
    }
    return http_write(rq, &call, 1, choice_stored);
}

static enum rc check_entry(
    struct http_req *rq, const struct db_rows *rows, struct err *err)
{
    struct choice *in = rq->state;
    struct exam_row x = {.patient_id = in->patient_id};
    struct exam_entry found;

    if (!exam_entry_find(rq, rows, in->entry_id, &found))
        return err_set(err, RC_INVALID, "/entry",
            "no reading or entry has the id \"%s\"", in->entry_id);
    TRY(exam_entry_check(&found, &x, "/entry", err));
    if (!found.entry.glasses)
        return err_set(err, RC_INVALID, "/entry",
            "habitual glasses are a lensometry, a prescription by somebody "
            "else, or typed; this is %s",
            found.entry.kind);
    return RC_OK;
}

static enum rc patient_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct choice *in = rq->state;

    if (db_rows_count(reply->rows[0]) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "no such patient");
    if (in->body.rc != RC_OK) {
        *err = in->body;
        return err->rc;
    }
    in->patient_id =
        arena_strdup(rq->arena, db_rows_text(reply->rows[0], 0, 0));
    if (!in->typed)
        TRY(check_entry(rq, reply->rows[2], err));
    return store(rq);
}

static void read_typed(
    struct http_req *rq, struct json_in in, struct choice *ret)
{
    static const char *const names[] = {"right", "left", "vertex_mm", "pd_mm",
        "pair", "made_on", "worn", "purpose", "origin", NULL};
    static const char *const origins[] = {"typed", "prescription", NULL};
    const char *text;
    bool worn;
    int word = 0;

    ret->typed = true;
    if (!json_in_object(in, names) && !json_is_object(in.value))
        return;
    record_refraction_read(in, &ret->figures);
    if (!json_in_here(json_in_get(in, "right")) &&
        !json_in_here(json_in_get(in, "left")))
        err_fault(in.err, in.pointer, "must have right, left or both");
    if (json_in_text(json_in_get(in, "pair"), 200, &text))
        ret->label = arena_strdup(rq->arena, text);
    if (json_in_date(json_in_get(in, "made_on"), &text))
        ret->made_on = arena_strdup(rq->arena, text);
    if (json_in_bool(json_in_get(in, "worn"), &worn))
        ret->worn = worn ? RECORD_YES : RECORD_NO;
    json_in_choice(json_in_get(in, "origin"), origins, &word);
    ret->origin = origins[word];
    if (json_in_choice(json_in_get(in, "purpose"), RECORD_PURPOSES, &word))
        ret->purpose = RECORD_PURPOSES[word];
}

static void read_choice(struct http_req *rq, struct choice *ret)
{
    static const char *const names[] = {"entry", "typed", "purpose", NULL};
    struct json_in in = json_in_root(rq->json, &ret->body);
    struct json_in entry = json_in_get(in, "entry");
    struct json_in typed = json_in_get(in, "typed");
    int word;

    json_in_object(in, names);
    if (json_in_here(entry) == json_in_here(typed))
        err_fault(in.err, "", "must have one of entry and typed");
    json_in_uuid(entry, &ret->entry_id);
    if (json_in_here(typed))
        read_typed(rq, typed, ret);
    if (json_in_choice(json_in_get(in, "purpose"), RECORD_PURPOSES, &word))
        ret->purpose = RECORD_PURPOSES[word];
}

enum rc http_habitual_post(struct http_req *rq, struct err *err)
{
    struct choice *state = arena_calloc(rq->arena, 1, sizeof(*state));
    struct db_call *calls[3];

    (void)err;
    state->body.arena = rq->arena;
    read_choice(rq, state);
    rq->state = state;
    calls_for(rq, "distance", calls);
    calls[2] = db_call_new(rq->arena, &DB_ENTRY_NAMED);
    db_put_texts(calls[2], &state->entry_id, state->entry_id ? 1 : 0);
    return http_read(rq, calls, 3, patient_found);
}
