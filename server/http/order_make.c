/* http/order_make.c - GET /v1/orders/{id}/make: can the lab make this, and
 * which power where the glasses sit; before placing as well as after. */
#include "record/order_make.h"
#include "http/handlers.h"
#include "http/order_row.h"
#include "optics/round.h"
#include "optics/slab.h"
#include "record/power.h"

#define READING_MM 10 /* below the centres (common practice) */

struct making {
    struct order_row x;
    struct record_make of[2];
};

static const struct {
    const char *code, *text, *proposal;
} FINDINGS[RECORD_MAKE_FINDINGS] = {
    [RECORD_MAKE_BLANK] = {"blank-too-small",
        "the lens needs a larger blank than is common",
        "a frame with a smaller A or ED, or whose A and DBL add up to nearer "
        "the PD: each millimetre of decentration takes two off the blank"},
    [RECORD_MAKE_THICK] = {"thick", "the edge or the centre gets thick",
        "a material with a higher index, or a smaller frame nearer the PD"},
    [RECORD_MAKE_HEIGHT] = {"height-too-small",
        "the fitting height leaves no room for the near zone",
        "a design with a shorter corridor, or a deeper frame"},
    [RECORD_MAKE_IMPOSSIBLE] = {"figures-impossible",
        "no lens has these figures",
        "a smaller frame nearer the PD, or the figure that is named"},
};

/* ---- the answer ------------------------------------------------------------
 */

static void put_mm(struct json_out *o, const char *key, double value)
{
    json_out_number(o, key, value, 2);
}

static void write_assumed(
    struct json_out *o, const struct record_make_assumed *a)
{
    json_out_object(o, "assumed");
    put_mm(o, "front_power", a->front_power);
    put_mm(o, "min_centre_mm", a->min_centre_mm);
    put_mm(o, "min_edge_mm", a->min_edge_mm);
    put_mm(o, "allowance_mm", a->allowance_mm);
    put_mm(o, "blank_mm", a->blank_mm);
    put_mm(o, "edge_mm", a->edge_mm);
    json_out_object_end(o);
}

static void write_estimate(struct json_out *o, const struct record_make *m)
{
    const struct optics_made *made = &m->made;

    json_out_object(o, "estimate");
    put_mm(o, "least_blank_mm", made->least_blank_mm);
    put_mm(o, "shape_blank_mm", made->shape_blank_mm);
    put_mm(o, "centre_mm", made->centre_mm);
    put_mm(o, "thickest_edge_mm", made->thickest.mm);
    put_mm(o, "thinnest_edge_mm", made->thinnest.mm);
    put_mm(o, "weight_g", made->weight_g);
    json_out_object(o, "decentration");
    put_mm(o, "in_mm", made->decentration.in_mm);
    put_mm(o, "up_mm", made->decentration.up_mm);
    json_out_object_end(o);
    if (made->by_decentration) {
        json_out_object(o, "prism_by_decentration");
        put_mm(o, "in_mm", made->optical_centre.in_mm);
        put_mm(o, "up_mm", made->optical_centre.up_mm);
        put_mm(o, "blank_mm", made->by_decentration_blank_mm);
        json_out_object_end(o);
    }
    json_out_object_end(o);
}

static void write_finding(
    struct http_req *rq, struct json_out *o, const struct record_make *m, int i)
{
    const char *text = FINDINGS[i].text;

    if (i == RECORD_MAKE_IMPOSSIBLE)
        text = arena_printf(rq->arena, "%s: %s %s", text,
            optics_fault_arg(m->fault), optics_fault_why(m->fault));
    json_out_object(o, NULL);
    json_out_text(o, "code", FINDINGS[i].code);
    json_out_text(o, "text", text);
    json_out_text(o, "proposal", FINDINGS[i].proposal);
    if (i == RECORD_MAKE_BLANK)
        put_mm(o, "mm", m->made.shape_blank_mm - m->assumed.blank_mm);
    if (i == RECORD_MAKE_HEIGHT)
        put_mm(o, "mm", m->least_height_mm);
    json_out_object_end(o);
}

/* The signed power, the one that acts so where it is worn, and what of that
 * can be ordered in quarters. */
static void write_worn(struct json_out *o, const struct order_row *x, int side)
{
    struct optics_power worn;
    struct optics_orderable orderable;

    if (!record_order_worn_power(&x->order, &x->rx, side, &worn))
        return;
    json_out_object(o, "compensated");
    record_computed_write(o, worn);
    json_out_object_end(o);
    orderable = optics_round_orderable(worn, OPTICS_STEP_QUARTER);
    json_out_object(o, "orderable");
    record_power_write(o, orderable.rx);
    json_out_object(o, "left_over");
    json_out_number(o, "m", orderable.residual.m, 4);
    json_out_number(o, "j0", orderable.residual.j0, 4);
    json_out_number(o, "j45", orderable.residual.j45, 4);
    json_out_object_end(o);
    json_out_number(o, "distance", orderable.distance, 4);
    json_out_object_end(o);
}

static void write_eye(
    struct http_req *rq, struct json_out *o, const struct making *in, int side)
{
    const struct record_make *m = &in->of[side];

    json_out_object(o, record_side_word((enum record_side)side));
    json_out_object(o, "signed");
    record_power_write(o, in->x.rx.figures.eyes[side].power);
    json_out_object_end(o);
    write_worn(o, &in->x, side);
    json_out_object(o, "make_this_one");
    record_power_write(
        o, record_order_make_power(&in->x.order, &in->x.rx, side));
    json_out_object_end(o);
    if (m->asked) {
        write_assumed(o, &m->assumed);
        if (m->fault == OPTICS_OK)
            write_estimate(o, m);
    }
    json_out_array(o, "findings");
    for (int i = 0; m->asked && i < RECORD_MAKE_FINDINGS; i++)
        if (m->found[i])
            write_finding(rq, o, m, i);
    json_out_array_end(o);
    json_out_object_end(o);
}

/* Vertical prism between the eyes when reading, and the slab-off that would
 * take it away; by the distance lenses where the segments aren't known. */
static void write_reading_level(struct json_out *o, const struct order_row *x)
{
    struct optics_reading_lens lens[2] = {0};
    struct optics_reading_level level;

    if (x->order.lens.design == RECORD_SINGLE_VISION)
        return;
    for (int side = 0; side < 2; side++) {
        const struct record_eye *eye = &x->rx.figures.eyes[side];

        if (!record_order_makes_power(&x->order, &x->rx, side) ||
            eye->add_cd == NUM_ABSENT)
            return;
        lens[side].power = optics_power_of_rx(
            record_order_make_power(&x->order, &x->rx, side));
        lens[side].add = eye->add_cd / 100.0;
        lens[side].read.down_mm = READING_MM;
    }
    if (optics_reading_level(lens[0], lens[1], &level) != OPTICS_OK)
        return;
    json_out_object(o, "reading_level");
    json_out_int(o, "down_mm", READING_MM);
    json_out_bool(o, "known", level.vertical_known);
    if (level.vertical_known) {
        json_out_number(o, "vertical", level.vertical, 2);
        if (level.slab.amount > 0) {
            json_out_object(o, "slab_off");
            json_out_text(
                o, "eye", level.slab.eye == OPTICS_RIGHT ? "right" : "left");
            json_out_number(o, "amount", level.slab.rounded, 2);
            json_out_object_end(o);
        }
    }
    json_out_object_end(o);
}

static void make(struct http_req *rq)
{
    struct making *in = rq->state;

    for (int side = 0; side < 2; side++)
        record_order_make(&in->x.order, &in->x.rx, side, &in->of[side]);
}

static enum rc made(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct making *in = rq->state;
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    (void)reply;
    (void)err;
    json_out_object(&o, NULL);
    json_out_text(&o, "order", in->x.id);
    json_out_int(&o, "edition", in->x.edition);
    json_out_text(&o, "make_power",
        RECORD_MAKE_CHOICES[in->x.order.make == RECORD_MAKE_COMPENSATED]);
    for (int side = 0; side < 2; side++)
        if (record_order_makes_power(&in->x.order, &in->x.rx, side))
            write_eye(rq, &o, in, side);
    write_reading_level(&o, &in->x);
    json_out_text(&o, "caution",
        "An estimate before ordering; the lab's own computation comes first");
    json_out_object_end(&o);
    http_viewed(rq, "order", in->x.id, in->x.patient_id);
    return http_reply_json(rq, 200, &t);
}

static enum rc order_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct making *in = arena_calloc(rq->arena, 1, sizeof(*in));

    rq->state = in;
    TRY(order_load(rq, reply, &in->x, err));
    TRY(order_may_read(rq, &in->x, err));
    return http_work(rq, make, made);
}

enum rc http_order_make_get(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, order_found);
}
