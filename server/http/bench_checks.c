/* http/bench_checks.c - /v1/orders/{id}/bench-checks: finished glasses held to
 * their order. */
#include <string.h>

#include "http/exam_row.h"
#include "http/handlers.h"
#include "http/optics_ruling.h"
#include "http/order_row.h"
#include "http/shape.h"
#include "record/bench.h"

#define NOTE_MAX 400 /* characters */

struct checking {
    struct order_row x;
    struct record_measured measured;
    int profile;
    const char *reading; /* whose figures are held to the order, or NULL */
    const char *again;   /* the check whose measurement it judges, or NULL */
    const char *note;
    const char *id, *answer;
    struct optics_pair pair;
    struct optics_pair_verdict verdict;
};

/* ---- the answer ------------------------------------------------------------
 */

/* Computed figures leave the record rounded (powers and lengths to 0.0001, an
 * axis to 0.01); what is there already is finer. */
static void round_into(struct json_out *o, const char *key, const json_t *value)
{
    const char *name;
    json_t *member;
    size_t i;

    switch (json_typeof(value)) {
    case JSON_OBJECT:
        json_out_object(o, key);
        json_object_foreach ((json_t *)(uintptr_t)value, name, member) {
            round_into(o, name, member);
        }
        json_out_object_end(o);
        break;
    case JSON_ARRAY:
        json_out_array(o, key);
        json_array_foreach (value, i, member) {
            round_into(o, NULL, member);
        }
        json_out_array_end(o);
        break;
    case JSON_REAL:
        json_out_number(o, key, json_real_value(value),
            key && strcmp(key, "axis") == 0 ? 2 : 4);
        break;
    case JSON_INTEGER:
        json_out_int(o, key, json_integer_value(value));
        break;
    case JSON_STRING:
        json_out_text(o, key, json_string_value(value));
        break;
    case JSON_NULL:
        json_out_null(o, key);
        break;
    default:
        json_out_bool(o, key, json_is_true(value));
    }
}

static void write_judged(struct json_out *o, const struct checking *in)
{
    TEXT_AUTO t = {0};
    struct json_out exact = JSON_OUT(&t);
    json_auto_t *json = NULL;

    json_out_object(&exact, NULL);
    http_optics_put_pair(&exact, &in->pair, &in->verdict);
    json_out_object_end(&exact);
    json = json_loadb(t.data, t.len, 0, NULL);
    round_into(o, "judged", json);
}

static void write_glass(
    struct json_out *o, const char *key, const struct optics_glass *g)
{
    json_out_object(o, key);
    record_power_write(o, optics_rx_of_power(g->power));
    if (g->says & OPTICS_SAYS_ADD)
        json_out_scaled(o, "add", num_round(g->add, 2), 2);
    json_out_object(o, "prism");
    json_out_scaled(o, "base_in", num_round(g->prism.base_in, 2), 2);
    json_out_scaled(o, "base_up", num_round(g->prism.base_up, 2), 2);
    json_out_object_end(o);
    if (g->says & OPTICS_SAYS_PD)
        json_out_number(o, "pd_mm", g->pd_mm, 2);
    if (g->says & OPTICS_SAYS_HEIGHT)
        json_out_number(o, "height_mm", g->height_mm, 2);
    if (g->says & OPTICS_SAYS_SEGMENT)
        json_out_number(o, "segment_height_mm", g->segment_height_mm, 2);
    json_out_object_end(o);
}

static void write_ordered(struct json_out *o, const struct optics_pair *pair)
{
    json_out_object(o, "ordered");
    for (int side = 0; side < 2; side++)
        if (pair->eyes[side].there)
            write_glass(o, record_side_word((enum record_side)side),
                &pair->eyes[side].ordered);
    json_out_object_end(o);
}

static const char *measured_text(
    struct http_req *rq, const struct record_measured *m)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    record_measured_write(&o, m);
    json_out_object_end(&o);
    return order_take(rq, &t);
}

static const char *check_text(
    struct http_req *rq, const struct checking *in, const char *measured)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "id", in->id);
    json_out_text(&o, "order", in->x.id);
    json_out_int(&o, "edition", in->x.edition);
    json_out_text(&o, "at", http_time(rq, rq->now_us));
    order_by_write(
        &o, "by", (struct order_by){rq->who.db.user_id, in->x.asker});
    json_out_text(&o, "profile", OPTICS_PROFILES[in->profile]);
    json_out_text(&o, "verdict", optics_verdict_word(in->verdict.verdict));
    if (in->again)
        json_out_text(&o, "again", in->again);
    if (in->reading)
        json_out_text(&o, "reading", in->reading);
    if (in->note)
        json_out_text(&o, "note", in->note);
    json_out_raw(&o, "measured", measured, strlen(measured));
    write_ordered(&o, &in->pair);
    write_judged(&o, in);
    json_out_object_end(&o);
    return order_take(rq, &t);
}

/* ---- POST -------------------------------------------------------------------
 */

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct checking *in = rq->state;

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_CONFLICT, "/status",
            "the order was changed meanwhile; look at it and try again");
    http_location(rq, "/v1/orders/%s/bench-checks/%s", in->x.id, in->id);
    http_etag(rq, 1, NULL);
    return http_reply_ready(rq, 201, in->answer);
}

static const char *detail(struct http_req *rq, const struct checking *in)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "bench_check", in->id);
    json_out_text(&o, "profile", OPTICS_PROFILES[in->profile]);
    json_out_text(&o, "verdict", optics_verdict_word(in->verdict.verdict));
    json_out_object_end(&o);
    return order_take(rq, &t);
}

static enum rc write_check(struct http_req *rq)
{
    struct checking *in = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_BENCH_CHECK_ADD);
    const char *measured = measured_text(rq, &in->measured);

    in->id = http_new_id(rq);
    in->answer = check_text(rq, in, measured);
    db_put_text(call, in->x.id);
    db_put_int(call, in->x.edition);
    db_put_text(call, in->id);
    db_put_text(call, in->again);
    db_put_text(call, in->reading);
    db_put_text(call, OPTICS_PROFILES[in->profile]);
    db_put_text(call, optics_verdict_word(in->verdict.verdict));
    db_put_text(call, measured);
    db_put_text(call, in->answer);
    db_put_text(call, http_new_id(rq));
    db_put_text(call, arena_printf(rq->arena, "%s, %s",
                          optics_verdict_word(in->verdict.verdict),
                          OPTICS_PROFILES[in->profile]));
    db_put_text(call, detail(rq, in));
    return http_write(rq, &call, 1, written);
}

/* For what would explain a pair that doesn't pass. */
static void estimate(struct http_req *rq)
{
    struct checking *in = rq->state;

    record_bench_bodies(&in->x.order, &in->x.rx, &in->pair);
}

static enum rc estimated(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    (void)reply;
    (void)err;
    return write_check(rq);
}

static enum rc judge(struct http_req *rq, struct err *err)
{
    struct checking *in = rq->state;
    enum optics_fault fault;

    in->pair.profile = (enum optics_profile)in->profile;
    record_bench_pair(&in->measured, &in->x.order, &in->x.rx, &in->pair);
    fault = optics_pair_check(&in->pair, &in->verdict);
    if (fault != OPTICS_OK)
        return err_set(err, RC_INVALID, "", "the pair can't be judged: %s %s",
            optics_fault_arg(fault), optics_fault_why(fault));
    if (in->verdict.verdict == OPTICS_PASS)
        return write_check(rq);
    return http_work(rq, estimate, estimated);
}

/* A lensometry of this patient, or one that nobody has claimed. */
static enum rc take_reading(struct http_req *rq, const struct db_rows *rows,
    const char *pointer, struct err *err)
{
    struct checking *in = rq->state;
    struct exam_entry found;

    if (!exam_entry_find(rq, rows, in->reading, &found) ||
        (found.patient_id && strcmp(found.patient_id, in->x.patient_id) != 0))
        return err_set(err, RC_INVALID, pointer,
            "no such reading of this patient or in the tray");
    if (strcmp(found.entry.kind, "lensometry") != 0)
        return err_set(err, RC_INVALID, pointer,
            "glasses are checked by a lensometry, not by a reading of the kind "
            "\"%s\"",
            found.entry.kind);
    if (found.entry.unsided)
        return err_set(err, RC_INVALID, pointer,
            "the reading holds a lens whose side nobody has told");
    in->measured = (struct record_measured){.figures = found.entry.figures,
        .height_mm100 = {NUM_ABSENT, NUM_ABSENT},
        .segment_mm100 = {NUM_ABSENT, NUM_ABSENT},
        .mounted = true};
    in->measured.figures.vertex_mm100 = NUM_ABSENT;
    return RC_OK;
}

static enum rc hold_to_order(struct http_req *rq, struct err *err)
{
    struct checking *in = rq->state;

    record_measured_check(&in->measured, &in->x.order, &in->x.rx, err);
    if (err->rc != RC_OK)
        return err->rc;
    return judge(rq, err);
}

static enum rc entry_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct checking *in = rq->state;

    TRY(take_reading(
        rq, reply->rows[0], in->again ? "/again" : "/reading", err));
    return hold_to_order(rq, err);
}

static enum rc find_entry(struct http_req *rq)
{
    struct checking *in = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_ENTRY_NAMED);

    db_put_texts(call, &in->reading, 1);
    return http_read(rq, &call, 1, entry_found);
}

static enum rc before_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct checking *in = rq->state;
    struct err scratch = ERR_INIT(rq->arena);
    json_auto_t *json = NULL;

    if (db_rows_count(rows) == 0)
        return err_set(
            err, RC_INVALID, "/again", "no such check of this order");
    if (db_rows_int(rows, 0, 1) != in->x.edition)
        return err_set(err, RC_CONFLICT, "/again",
            "the order was amended since that check");
    if (db_rows_text(rows, 0, 2)) {
        in->reading = arena_strdup(rq->arena, db_rows_text(rows, 0, 2));
        return find_entry(rq);
    }
    json = json_loads(db_rows_text(rows, 0, 3), 0, NULL);
    record_measured_read(json_in_root(json, &scratch), &in->measured);
    return hold_to_order(rq, err);
}

static enum rc find_before(struct http_req *rq)
{
    struct checking *in = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_BENCH_CHECK_GET);

    db_put_text(call, in->x.id);
    db_put_text(call, in->again);
    return http_read(rq, &call, 1, before_found);
}

/* Figures, a reading that holds them, or a check that was made before. */
static void read_source(struct json_in doc, struct checking *in, bool typed)
{
    struct json_in reading = json_in_get(doc, "reading");
    struct json_in again = json_in_get(doc, "again");
    int sources = typed + json_in_here(reading) + json_in_here(again);

    json_in_uuid(reading, &in->reading);
    json_in_uuid(again, &in->again);
    if (sources == 0)
        err_fault(doc.err, "",
            "needs right and left as measured, a reading, or a check to judge "
            "again");
    else if (sources > 1)
        err_fault(doc.err, "",
            "takes one of figures, a reading, and a check to judge again");
}

static const char *const *body_names(struct http_req *rq)
{
    static const char *const others[] = {
        "profile", "reading", "again", "note", NULL};
    const char **names = arena_calloc(rq->arena, 16, sizeof(*names));
    size_t n = 0;

    for (size_t i = 0; RECORD_MEASURED_FIELDS[i]; i++)
        names[n++] = RECORD_MEASURED_FIELDS[i];
    for (size_t i = 0; others[i]; i++)
        names[n++] = others[i];
    return names;
}

static bool read_body(struct http_req *rq, struct checking *in, struct err *err)
{
    struct json_in doc = json_in_root(rq->json, err);
    struct json_in profile = json_in_get(doc, "profile");
    const char *note = NULL;
    bool typed = false;

    json_in_object(doc, body_names(rq));
    for (size_t i = 0; RECORD_MEASURED_FIELDS[i]; i++)
        if (json_in_here(json_in_get(doc, RECORD_MEASURED_FIELDS[i])))
            typed = true;
    if (json_in_need(profile))
        json_in_choice(profile, OPTICS_PROFILES, &in->profile);
    if (json_in_text(json_in_get(doc, "note"), NOTE_MAX, &note))
        in->note = arena_strdup(rq->arena, note);
    read_source(doc, in, typed);
    if (typed)
        record_measured_read(doc, &in->measured);
    return typed;
}

static enum rc order_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct checking *in = arena_calloc(rq->arena, 1, sizeof(*in));
    bool typed;

    rq->state = in;
    TRY(order_load(rq, reply, &in->x, err));
    TRY(order_may_write(rq, &in->x, err));
    typed = read_body(rq, in, err);
    if (typed)
        record_measured_check(&in->measured, &in->x.order, &in->x.rx, err);
    if (err->rc != RC_OK)
        return err->rc;
    TRY(record_order_may_check(in->x.state, err));
    if (in->again)
        return find_before(rq);
    return in->reading ? find_entry(rq) : judge(rq, err);
}

enum rc http_bench_check_post(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, order_found);
}

/* ---- GET --------------------------------------------------------------------
 */

static enum rc list_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct order_row x;

    TRY(order_load(rq, reply, &x, err));
    TRY(order_may_read(rq, &x, err));
    http_viewed(rq, "order", x.id, x.patient_id);
    return shape_list_whole(rq, reply->rows[ORDER_CALLS]);
}

enum rc http_bench_check_list(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS + 1];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    calls[ORDER_CALLS] = db_call_new(rq->arena, &DB_BENCH_CHECK_ALL);
    db_put_text(calls[ORDER_CALLS], rq->ids[0]);
    return http_read(rq, calls, ORDER_CALLS + 1, list_found);
}

static enum rc one_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[ORDER_CALLS];
    struct order_row x;

    TRY(order_load(rq, reply, &x, err));
    if (db_rows_count(rows) == 0)
        return shape_missing(err, "bench check", rq->ids[1]);
    TRY(order_may_read(rq, &x, err));
    http_viewed(rq, "order", x.id, x.patient_id);
    http_etag(rq, 1, NULL);
    return http_reply_ready(rq, 200, db_rows_text(rows, 0, 4));
}

enum rc http_bench_check_get(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS + 1];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    calls[ORDER_CALLS] = db_call_new(rq->arena, &DB_BENCH_CHECK_GET);
    db_put_text(calls[ORDER_CALLS], rq->ids[0]);
    db_put_text(calls[ORDER_CALLS], rq->ids[1]);
    return http_read(rq, calls, ORDER_CALLS + 1, one_found);
}
