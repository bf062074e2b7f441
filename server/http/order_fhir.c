/* http/order_fhir.c - an order as an HL7 FHIR R4 VisionPrescription. */
#include <string.h>

#include "base/num.h"
#include "http/handlers.h"
#include "http/order_row.h"
#include "record/order_make.h"

/*
 * What R4 has no place for is not made up: pupil distances, vertex, a second
 * add, prism for near, and lenses without a power are told in notes, as the
 * element list of R4 4.0.1 knows no other place.
 */

static void put_text(struct json_out *o, const char *key, const char *text)
{
    if (text && *text)
        json_out_text(o, key, text);
}

static void write_patient(struct json_out *o, const struct order_row *x)
{
    json_out_object(o, NULL);
    json_out_text(o, "resourceType", "Patient");
    json_out_text(o, "id", "patient");
    if (x->record_number) {
        json_out_array(o, "identifier");
        json_out_object(o, NULL);
        json_out_object(o, "type");
        json_out_text(o, "text", "record number");
        json_out_object_end(o);
        json_out_text(o, "value", x->record_number);
        json_out_object_end(o);
        json_out_array_end(o);
    }
    if (x->family || x->given) {
        json_out_array(o, "name");
        json_out_object(o, NULL);
        put_text(o, "family", x->family);
        if (x->given) {
            json_out_array(o, "given");
            json_out_text(o, NULL, x->given);
            json_out_array_end(o);
        }
        json_out_object_end(o);
        json_out_array_end(o);
    }
    json_out_object_end(o);
}

static void write_prescriber(struct json_out *o, const struct order_row *x)
{
    json_out_object(o, NULL);
    json_out_text(o, "resourceType", "Practitioner");
    json_out_text(o, "id", "prescriber");
    if (x->licence) {
        json_out_array(o, "identifier");
        json_out_object(o, NULL);
        json_out_object(o, "type");
        json_out_text(o, "text", "licence number");
        json_out_object_end(o);
        json_out_text(o, "value", x->licence);
        json_out_object_end(o);
        json_out_array_end(o);
    }
    json_out_array(o, "name");
    json_out_object(o, NULL);
    json_out_text(o, "text", x->signer);
    json_out_object_end(o);
    json_out_array_end(o);
    json_out_object_end(o);
}

static void write_identifiers(struct json_out *o, const struct order_row *x)
{
    char urn[sizeof("urn:uuid:") + UUID_TEXT_SIZE];

    snprintf(urn, sizeof(urn), "urn:uuid:%s", x->id);
    json_out_array(o, "identifier");
    json_out_object(o, NULL);
    json_out_text(o, "system", "urn:ietf:rfc:3986");
    json_out_text(o, "value", urn);
    json_out_object_end(o);
    json_out_object(o, NULL);
    json_out_object(o, "type");
    json_out_text(o, "text", "order number");
    json_out_object_end(o);
    json_out_text(o, "value", x->number);
    json_out_object_end(o);
    json_out_array_end(o);
}

static const char *status_of(const struct order_row *x)
{
    if (strcmp(x->exam_status, "entered-in-error") == 0)
        return "entered-in-error";
    switch (x->state.status) {
    case RECORD_ORDER_DRAFT:
        return "draft";
    case RECORD_ORDER_REJECTED:
    case RECORD_ORDER_CANCELLED:
    case RECORD_ORDER_FAILED:
        return "cancelled";
    default:
        return "active";
    }
}

static void write_product(struct json_out *o)
{
    json_out_object(o, "product");
    json_out_array(o, "coding");
    json_out_object(o, NULL);
    json_out_text(o, "system",
        "http://terminology.hl7.org/CodeSystem/ex-visionprescriptionproduct");
    json_out_text(o, "code", "lens");
    json_out_object_end(o);
    json_out_array_end(o);
    json_out_object_end(o);
}

static void write_prism(
    struct json_out *o, int32_t value_cd, const char *above, const char *below)
{
    if (value_cd == 0)
        return;
    json_out_object(o, NULL);
    json_out_cd(o, "amount", value_cd < 0 ? -value_cd : value_cd);
    json_out_text(o, "base", value_cd < 0 ? below : above);
    json_out_object_end(o);
}

static void write_power(struct json_out *o, const struct record_eye_figures *f)
{
    json_out_cd(o, "sphere", f->sph_cd);
    if (f->cyl_cd != 0) {
        json_out_cd(o, "cylinder", f->cyl_cd);
        json_out_int(o, "axis", f->axis_deg);
    }
    if (f->prism_in_cd != 0 || f->prism_up_cd != 0) {
        json_out_array(o, "prism");
        write_prism(o, f->prism_in_cd, "in", "out");
        write_prism(o, f->prism_up_cd, "up", "down");
        json_out_array_end(o);
    }
    if (f->add_cd != NUM_ABSENT)
        json_out_cd(o, "add", f->add_cd);
}

static void note_figure(
    struct text *t, const char *what, int32_t value, const char *unit)
{
    char text[NUM_TEXT_MAX];

    if (value != NUM_ABSENT)
        text_printf(t, "%s%s %s %s", t->len ? "; " : "", what,
            num_text(value, 2, text), unit);
}

static void note_prism(
    struct text *t, int32_t value_cd, const char *above, const char *below)
{
    char text[NUM_TEXT_MAX];

    if (value_cd != 0)
        text_printf(t, "%sprism for near %s base %s", t->len ? "; " : "",
            num_text(value_cd < 0 ? -value_cd : value_cd, 2, text),
            value_cd < 0 ? below : above);
}

/* A lens that isn't one of glasses: it gets no specification of its own. */
static bool no_lens(const struct record_eye_figures *f)
{
    return f->lens != RECORD_LENS_POWER && f->lens != RECORD_LENS_BALANCE;
}

static void note_no_lens(struct text *t, int side, enum record_lens lens)
{
    static const char *const words[] = {
        [RECORD_LENS_OCCLUDER] = "occluder: no lens is ordered",
        [RECORD_LENS_PROSTHESIS] = "prosthesis: no lens is ordered",
        [RECORD_LENS_NONE] = "no lens"};

    text_printf(t, "%sthe %s eye: %s", t->len ? "; " : "",
        record_side_word((enum record_side)side), words[lens]);
}

/* The power to make, where that isn't the one that was signed. */
static void note_made(struct text *t, const struct order_row *x, int side)
{
    struct optics_rx rx;
    char text[NUM_TEXT_MAX];

    if (!record_order_compensated(&x->order, &x->rx, side, &rx))
        return;
    text_printf(t, "%smake this one: sphere %s%s", t->len ? "; " : "",
        rx.sph_cd > 0 ? "+" : "", num_text(rx.sph_cd, 2, text));
    if (rx.cyl_cd != 0)
        text_printf(t, " cylinder %s axis %d", num_text(rx.cyl_cd, 2, text),
            (int)(rx.axis_cdeg / 100));
    text_puts(t, ", which acts as the signed power where the glasses sit");
}

/* What the standard's element list has no place for. */
static void write_note(struct json_out *o, const struct order_row *x,
    const struct record_figures *all, int side, bool alone)
{
    const struct record_eye_figures *f = &all->eye[side];
    const struct record_eye_figures *other = &all->eye[1 - side];
    TEXT_AUTO t = {0};

    if (f->lens == RECORD_LENS_BALANCE)
        text_puts(&t, "balance lens: no power is ordered");
    note_made(&t, x, side);
    if (no_lens(f))
        note_no_lens(&t, side, (enum record_lens)f->lens);
    if (no_lens(other) && !alone)
        note_no_lens(&t, 1 - side, (enum record_lens)other->lens);
    if (f->lens == RECORD_LENS_POWER)
        note_figure(&t, "powers refer to a vertex of", all->vertex_mm100, "mm");
    note_figure(&t, "intermediate add", f->intermediate_add_cd, "D");
    note_prism(&t, f->near_prism_in_cd, "in", "out");
    note_prism(&t, f->near_prism_up_cd, "up", "down");
    note_figure(&t, "monocular PD far", f->pd_far_mm100, "mm");
    note_figure(&t, "monocular PD near", f->pd_near_mm100, "mm");
    note_figure(&t, "PD far of both eyes", all->pd_far_mm100, "mm");
    note_figure(&t, "PD near of both eyes", all->pd_near_mm100, "mm");
    note_figure(&t, "fitting height", f->fitting_height_mm100, "mm");
    if (t.len == 0)
        return;
    json_out_array(o, "note");
    json_out_object(o, NULL);
    json_out_text(o, "text", t.data);
    json_out_object_end(o);
    json_out_array_end(o);
}

/* R4 lets an axis be anything and a cylinder stand alone; we don't. */
static enum rc check_eye(const struct record_eye_figures *f, struct err *err)
{
    bool axis = f->axis_deg != NUM_ABSENT;

    if (f->lens != RECORD_LENS_POWER)
        return RC_OK;
    if (f->sph_cd == NUM_ABSENT || axis != (f->cyl_cd != 0) ||
        (axis && (f->axis_deg < 1 || f->axis_deg > 180)))
        return err_set(err, RC_INTERNAL, NULL,
            "the Rx can't be written as FHIR: sphere, cylinder and axis don't "
            "fit together");
    return RC_OK;
}

static enum rc write_lenses(
    struct json_out *o, const struct order_row *x, struct err *err)
{
    struct record_figures all =
        record_order_figures(&x->order, &x->rx, OPTICS_MINUS_CYL);

    bool alone = x->order.only != RECORD_BOTH;
    /* R4 wants one specification at least: of two eyes without a lens, both
     * are told. */
    bool none = no_lens(&all.eye[0]) && no_lens(&all.eye[1]);

    json_out_array(o, "lensSpecification");
    for (int side = 0; side < 2; side++) {
        const struct record_eye_figures *f = &all.eye[side];

        if (alone ? (int)x->order.only != side : no_lens(f) && !none)
            continue;
        TRY(check_eye(f, err));
        json_out_object(o, NULL);
        write_product(o);
        json_out_text(o, "eye", record_side_word((enum record_side)side));
        if (f->lens == RECORD_LENS_POWER)
            write_power(o, f);
        write_note(o, x, &all, side, alone || none);
        json_out_object_end(o);
    }
    json_out_array_end(o);
    return RC_OK;
}

static void write_reference(
    struct json_out *o, const char *key, const char *reference)
{
    json_out_object(o, key);
    json_out_text(o, "reference", reference);
    json_out_object_end(o);
}

static enum rc write_prescription(struct http_req *rq, struct json_out *o,
    const struct order_row *x, struct err *err)
{
    json_out_object(o, NULL);
    json_out_text(o, "resourceType", "VisionPrescription");
    json_out_text(o, "id", x->id);
    json_out_array(o, "contained");
    write_patient(o, x);
    write_prescriber(o, x);
    json_out_array_end(o);
    write_identifiers(o, x);
    json_out_text(o, "status", status_of(x));
    json_out_text(o, "created", http_time(rq, x->created_us));
    write_reference(o, "patient", "#patient");
    json_out_text(o, "dateWritten", x->signed_at);
    write_reference(o, "prescriber", "#prescriber");
    TRY(write_lenses(o, x, err));
    json_out_object_end(o);
    return RC_OK;
}

static enum rc order_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    struct order_row x;

    TRY(order_load(rq, reply, &x, err));
    TRY(order_may_read(rq, &x, err));
    TRY(write_prescription(rq, &o, &x, err));
    http_etag_text(rq, order_tag(rq, x.version, t.data, t.len), NULL);
    http_viewed(rq, "order", x.id, x.patient_id);
    return http_reply_bytes(rq, 200, "application/fhir+json", &t);
}

/* GET /v1/orders/{id}/fhir */
enum rc http_order_fhir(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, order_found);
}
