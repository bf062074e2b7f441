/* http/order_json.c - an order as JSON: for who asks, and for keeps. */
#include <string.h>

#include "base/hash.h"
#include "http/order_row.h"
#include "http/signer.h"
#include "http/view_form.h"
#include "record/acuity.h"
#include "record/order_make.h"
#include "record/power.h"

#define TAG_BYTES 6

const char *order_take(struct http_req *rq, struct text *t)
{
    const char *copy = arena_memdup(rq->arena, t->data ? t->data : "", t->len);

    text_free(t);
    return copy;
}

static void put_text(struct json_out *o, const char *key, const char *text)
{
    if (text && *text)
        json_out_text(o, key, text);
}

/* A lab needs the two identifiers on the envelope, and nothing else. */
static void write_patient(
    struct http_req *rq, struct json_out *o, const struct order_row *x)
{
    json_out_object(o, "patient");
    if (rq->who.role != HTTP_LAB)
        json_out_text(o, "id", x->patient_id);
    put_text(o, "record_number", x->record_number);
    put_text(o, "family", x->family);
    put_text(o, "given", x->given);
    json_out_object_end(o);
}

static void write_rx(struct json_out *o, const struct order_row *x)
{
    json_out_object(o, "rx");
    json_out_text(o, "id", x->prescription_id);
    json_out_int(o, "edition", x->rx_edition);
    json_out_text(o, "signed_at", x->signed_at);
    json_out_object(o, "signed_by");
    put_text(o, "id", x->signer_id);
    put_text(o, "name", x->signer);
    put_text(o, "licence_number", x->licence);
    put_text(o, "address", x->address);
    json_out_object_end(o);
    json_out_text(o, "expires_on", x->expires_on);
    put_text(o, "purpose", x->rx.purpose);
    json_out_object_end(o);
}

/* The figures of the lenses that are made; acuities are the clinic's. */
static void write_figures(struct json_out *o, const struct order_row *x)
{
    struct record_refraction r = x->rx.figures;

    r.pd = record_order_pd(&x->order, &x->rx);
    for (int side = 0; side < 2; side++) {
        r.here[side] = r.here[side] && (x->order.only == RECORD_BOTH ||
                                           (int)x->order.only == side);
        r.eyes[side].acuity = (struct record_acuity){0};
        r.eyes[side].near_acuity = (struct record_acuity){0};
    }
    record_refraction_write(o, &r);
}

/* Where what is made isn't what was signed. */
static void write_made(struct json_out *o, const struct order_row *x)
{
    bool any = false;

    for (int side = 0; side < 2; side++) {
        struct optics_rx rx;

        if (!record_order_compensated(&x->order, &x->rx, side, &rx))
            continue;
        if (!any)
            json_out_object(o, "made");
        any = true;
        json_out_object(o, record_side_word((enum record_side)side));
        record_power_write(o, rx);
        json_out_object_end(o);
    }
    if (any)
        json_out_object_end(o);
}

/* Everything that the lab makes glasses from. */
static void write_told(struct json_out *o, const struct order_row *x)
{
    json_out_text(o, "lab", x->order.lab);
    put_text(o, "lab_name", x->lab);
    write_rx(o, x);
    write_figures(o, x);
    write_made(o, x);
    json_out_bool(o, "pair", x->order.only == RECORD_BOTH);
    record_order_write(o, &x->order);
    put_text(o, "previous", x->order.previous);
    put_text(o, "previous_number", x->previous_number);
    if (x->order.check_word) {
        json_out_text(o, "cylinder_form",
            x->order.form == OPTICS_PLUS_CYL ? "plus" : "minus");
        json_out_text(o, "check_word", x->order.check_word);
    }
}

static const char *side_word(enum record_side side)
{
    return side == RECORD_BOTH ? NULL : record_side_word(side);
}

static void write_gaps(
    struct http_req *rq, struct json_out *o, const struct order_row *x)
{
    struct record_gap gaps[RECORD_GAPS_MAX];
    size_t n = record_order_gaps(&x->order, &x->rx, rq->arena, gaps);

    json_out_array(o, "gaps");
    for (size_t i = 0; i < n; i++) {
        json_out_object(o, NULL);
        json_out_text(o, "pointer", gaps[i].pointer);
        put_text(o, "eye", side_word(gaps[i].side));
        json_out_text(o, "field", gaps[i].field);
        json_out_text(o, "detail", gaps[i].detail);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

static void write_cautions(
    struct http_req *rq, struct json_out *o, const struct order_row *x)
{
    struct record_order_caution cautions[RECORD_ORDER_CAUTIONS_MAX];
    size_t n = order_cautions(rq, x, cautions);

    json_out_array(o, "cautions");
    for (size_t i = 0; i < n; i++) {
        json_out_object(o, NULL);
        json_out_text(o, "code", cautions[i].code);
        put_text(o, "eye", side_word(cautions[i].side));
        json_out_text(o, "text", cautions[i].text);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

static void write_history(
    struct http_req *rq, struct json_out *o, const struct order_row *x)
{
    json_out_array(o, "history");
    for (size_t i = 0; i < x->n_events; i++) {
        const struct order_event *e = &x->events[i];

        json_out_object(o, NULL);
        json_out_text(o, "at", http_time(rq, e->at_us));
        json_out_text(o, "event", e->kind);
        json_out_text(o, "status", e->status);
        put_text(o, "stage", e->stage);
        put_text(o, "note", e->note);
        json_out_object(o, "by");
        put_text(o, "id", e->user_id);
        put_text(o, "name", e->user);
        json_out_object_end(o);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

static void write_state(
    struct http_req *rq, struct json_out *o, const struct order_row *x)
{
    json_out_text(o, "id", x->id);
    json_out_text(o, "number", x->number);
    json_out_int(o, "version", x->version);
    json_out_int(o, "edition", x->edition);
    json_out_text(o, "status", RECORD_ORDER_STATUS_WORDS[x->state.status]);
    json_out_text(o, "stage",
        x->state.stage == RECORD_STAGE_NONE
            ? NULL
            : RECORD_ORDER_STAGE_WORDS[x->state.stage]);
    if (rq->who.role != HTTP_LAB)
        json_out_text(o, "exam", x->exam_id);
    write_patient(rq, o, x);
    json_out_text(o, "clinic", x->clinic_id);
    put_text(o, "clinic_name", x->clinic);
}

const char *order_json(struct http_req *rq, const struct order_row *x)
{
    struct err scratch = ERR_INIT(rq->arena); /* it was checked before */
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    bool plus = false;

    json_out_object(&o, NULL);
    write_state(rq, &o, x);
    write_told(&o, x);
    if (x->state.status == RECORD_ORDER_DRAFT)
        write_gaps(rq, &o, x);
    order_more_write(rq, &o, &x->more);
    write_cautions(rq, &o, x);
    write_history(rq, &o, x);
    json_out_text(&o, "created_at", http_time(rq, x->created_us));
    json_out_text(
        &o, "placed_at", x->placed_us ? http_time(rq, x->placed_us) : NULL);
    json_out_object_end(&o);
    http_cylinder_view(rq, &plus, &scratch);
    return http_in_form(rq, order_take(rq, &t), plus);
}

/* What makes it an order of its own, before the glasses. */
static void write_whose(struct json_out *o, const struct order_row *x)
{
    json_out_text(o, "order", x->id);
    json_out_text(o, "number", x->number);
    json_out_int(o, "edition", x->edition);
    json_out_text(o, "clinic", x->clinic_id);
    put_text(o, "clinic_name", x->clinic);
    json_out_object(o, "patient");
    put_text(o, "record_number", x->record_number);
    put_text(o, "family", x->family);
    put_text(o, "given", x->given);
    json_out_object_end(o);
}

const char *order_told(struct http_req *rq, const struct order_row *x)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    write_whose(&o, x);
    write_told(&o, x);
    json_out_object_end(&o);
    return http_signed(rq, order_take(rq, &t));
}

const char *order_body(struct http_req *rq, const struct order_row *x)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    record_order_write(&o, &x->order);
    put_text(&o, "lab", x->order.lab);
    put_text(&o, "previous", x->order.previous);
    record_pd_write(&o, "pd_mm", &x->order.pd);
    if (x->order.check_word) {
        json_out_text(&o, "cylinder_form",
            x->order.form == OPTICS_PLUS_CYL ? "plus" : "minus");
        json_out_text(&o, "check_word", x->order.check_word);
    }
    json_out_object_end(&o);
    return order_take(rq, &t);
}

/* ---- the answer -------------------------------------------------------- */

enum rc order_check_view(struct http_req *rq, struct err *err)
{
    bool plus;

    return http_cylinder_view(rq, &plus, err);
}

const char *order_tag(
    struct http_req *rq, int64_t version, const char *bytes, size_t len)
{
    uint8_t hash[HASH_SIZE];
    char hex[2 * TAG_BYTES + 1];

    hash_bytes(bytes, len, hash);
    return arena_printf(rq->arena, "%lld-%s", (long long)version,
        hash_hex(hash, TAG_BYTES, hex));
}

enum rc order_reply(
    struct http_req *rq, int status, int64_t version, const char *json)
{
    http_etag_text(rq, order_tag(rq, version, json, strlen(json)), NULL);
    return http_reply_ready(rq, status, json);
}
