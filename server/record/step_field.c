/* One figure of a refraction: what stands, how it is set, said and written. */
#include <stdlib.h>

#include "base/arena.h"
#include "base/num.h"
#include "record/power.h"
#include "record/step.h"

const char *const RECORD_FIELD_WORDS[] = {"sphere", "cylinder", "axis", "add",
    "intermediate_add", "prism_horizontal", "prism_vertical",
    "near_prism_horizontal", "near_prism_vertical", "prism", "lens",
    "vertex_mm", NULL};

#define PACK_BASE (2 * RECORD_PRISM_MAX_CD + 1)

int32_t record_prism_pack(int32_t in_cd, int32_t up_cd)
{
    if (in_cd == 0 && up_cd == 0)
        return NUM_ABSENT;
    return (in_cd + RECORD_PRISM_MAX_CD) * PACK_BASE + up_cd +
           RECORD_PRISM_MAX_CD;
}

void record_prism_unpack(int32_t figure, int32_t *ret_in_cd, int32_t *ret_up_cd)
{
    bool none = figure == NUM_ABSENT;

    *ret_in_cd = none ? 0 : figure / PACK_BASE - RECORD_PRISM_MAX_CD;
    *ret_up_cd = none ? 0 : figure % PACK_BASE - RECORD_PRISM_MAX_CD;
}

/* Where a prism's component stands, and NULL for other fields. */
static int32_t *prism_part(
    struct record_eye *eye, enum record_field field, bool **ret_here)
{
    switch (field) {
    case RECORD_FIELD_PRISM_HORIZONTAL:
        *ret_here = &eye->prism.here;
        return &eye->prism.in_cd;
    case RECORD_FIELD_PRISM_VERTICAL:
        *ret_here = &eye->prism.here;
        return &eye->prism.up_cd;
    case RECORD_FIELD_NEAR_PRISM_HORIZONTAL:
        *ret_here = &eye->near_prism.here;
        return &eye->near_prism.in_cd;
    case RECORD_FIELD_NEAR_PRISM_VERTICAL:
        *ret_here = &eye->near_prism.here;
        return &eye->near_prism.up_cd;
    default:
        return NULL;
    }
}

static int32_t standing_power(const struct record_eye *eye,
    enum record_field field, enum optics_form form)
{
    struct optics_rx rx = optics_rx_as(eye->power, form);

    if (field == RECORD_FIELD_SPHERE)
        return rx.sph_cd;
    if (field == RECORD_FIELD_CYLINDER)
        return rx.cyl_cd;
    return rx.cyl_cd ? rx.axis_cdeg : NUM_ABSENT;
}

int32_t record_field_standing(const struct record_refraction *r,
    enum record_field field, enum optics_form form, int side)
{
    struct record_eye eye = r->eyes[side];
    bool *here;
    int32_t *part;

    if (field == RECORD_FIELD_VERTEX_MM)
        return r->vertex_mm100;
    if (!r->here[side])
        return NUM_ABSENT;
    if (field == RECORD_FIELD_LENS)
        return (int32_t)eye.lens;
    if (eye.lens != RECORD_LENS_POWER)
        return NUM_ABSENT;
    if (field <= RECORD_FIELD_AXIS)
        return standing_power(&eye, field, form);
    if (field == RECORD_FIELD_ADD)
        return eye.add_cd;
    if (field == RECORD_FIELD_INTERMEDIATE_ADD)
        return eye.intermediate_add_cd;
    if (field == RECORD_FIELD_PRISM)
        return eye.prism.here
                   ? record_prism_pack(eye.prism.in_cd, eye.prism.up_cd)
                   : NUM_ABSENT;
    part = prism_part(&eye, field, &here);
    return part && *here && *part ? *part : NUM_ABSENT;
}

static void set_power(struct record_eye *eye, enum record_field field,
    enum optics_form form, int32_t figure)
{
    struct optics_rx rx = optics_rx_as(eye->power, form);

    if (field == RECORD_FIELD_SPHERE)
        rx.sph_cd = figure;
    else if (field == RECORD_FIELD_CYLINDER)
        rx.cyl_cd = figure;
    else
        rx.axis_cdeg = figure == NUM_ABSENT ? 0 : figure;
    if (rx.cyl_cd && !rx.axis_cdeg)
        rx.axis_cdeg = OPTICS_AXIS_MAX_CDEG; /* until the axis is set too */
    eye->power = optics_rx_as(optics_rx_normal(rx), OPTICS_MINUS_CYL);
}

static void set_prism(
    struct record_eye *eye, enum record_field field, int32_t figure)
{
    bool *here;
    int32_t *part = prism_part(eye, field, &here);

    if (!part)
        return;
    *part = figure == NUM_ABSENT ? 0 : figure;
    *here = true;
    eye->prism.amount_cd = eye->prism.angle_cdeg = NUM_ABSENT;
    eye->near_prism.amount_cd = eye->near_prism.angle_cdeg = NUM_ABSENT;
    eye->prism.here = eye->prism.in_cd || eye->prism.up_cd;
    eye->near_prism.here = eye->near_prism.in_cd || eye->near_prism.up_cd;
}

static void set_whole_prism(struct record_eye *eye, int32_t figure)
{
    eye->prism = (struct record_prism){.here = figure != NUM_ABSENT,
        .amount_cd = NUM_ABSENT,
        .angle_cdeg = NUM_ABSENT};
    record_prism_unpack(figure, &eye->prism.in_cd, &eye->prism.up_cd);
}

void record_field_set(struct record_refraction *r, enum record_field field,
    enum optics_form form, int side, int32_t figure)
{
    struct record_eye *eye = &r->eyes[side];

    if (field == RECORD_FIELD_VERTEX_MM) {
        r->vertex_mm100 = figure;
        r->vertex_assumed = false;
        return;
    }
    if (!r->here[side]) {
        *eye = record_eye_plano();
        r->here[side] = true;
    }
    if (field == RECORD_FIELD_LENS) {
        *eye = record_eye_plano();
        eye->lens = (enum record_lens)figure;
    } else if (field <= RECORD_FIELD_AXIS) {
        set_power(eye, field, form, figure);
    } else if (field == RECORD_FIELD_ADD) {
        eye->add_cd = figure;
        eye->add_from_total = false;
    } else if (field == RECORD_FIELD_INTERMEDIATE_ADD) {
        eye->intermediate_add_cd = figure;
    } else if (field == RECORD_FIELD_PRISM) {
        set_whole_prism(eye, figure);
    } else {
        set_prism(eye, field, figure);
    }
}

static bool is_prism(enum record_field field)
{
    return field >= RECORD_FIELD_PRISM_HORIZONTAL &&
           field <= RECORD_FIELD_NEAR_PRISM_VERTICAL;
}

static const char *base_word(enum record_field field, int32_t figure)
{
    bool vertical = field == RECORD_FIELD_PRISM_VERTICAL ||
                    field == RECORD_FIELD_NEAR_PRISM_VERTICAL;

    if (vertical)
        return figure > 0 ? "up" : "down";
    return figure > 0 ? "in" : "out";
}

void record_field_write(struct json_out *o, const char *key,
    enum record_field field, int32_t figure)
{
    if (figure == NUM_ABSENT) {
        json_out_null(o, key);
    } else if (field == RECORD_FIELD_LENS) {
        json_out_text(o, key, RECORD_LENS_WORDS[figure]);
    } else if (field == RECORD_FIELD_AXIS) {
        json_out_number(o, key, figure / 100.0, 2);
    } else if (field == RECORD_FIELD_PRISM) {
        struct record_prism prism = {.here = true};

        record_prism_unpack(figure, &prism.in_cd, &prism.up_cd);
        record_prism_write(o, key, &prism);
    } else if (is_prism(field)) {
        json_out_object(o, key);
        json_out_cd(o, "amount", abs(figure));
        json_out_text(o, "base", base_word(field, figure));
        json_out_object_end(o);
    } else {
        json_out_cd(o, key, figure);
    }
}

static const char *whole_prism_text(int32_t figure, struct arena *arena)
{
    int32_t in_cd, up_cd;
    const char *in, *up;

    record_prism_unpack(figure, &in_cd, &up_cd);
    in = record_field_text(RECORD_FIELD_PRISM_HORIZONTAL, in_cd, arena);
    up = record_field_text(RECORD_FIELD_PRISM_VERTICAL, up_cd, arena);
    if (in_cd && up_cd)
        return arena_printf(arena, "%s and %s", in, up);
    return in_cd ? in : up;
}

const char *record_field_text(
    enum record_field field, int32_t figure, struct arena *arena)
{
    char buf[NUM_TEXT_MAX];

    if (figure == NUM_ABSENT)
        return "nothing";
    if (field == RECORD_FIELD_LENS)
        return RECORD_LENS_WORDS[figure];
    if (field == RECORD_FIELD_AXIS)
        return arena_strdup(arena, num_trim(figure / 100.0, 2, buf));
    if (field == RECORD_FIELD_PRISM)
        return whole_prism_text(figure, arena);
    if (is_prism(field))
        return arena_printf(arena, "%s base %s", num_text(abs(figure), 2, buf),
            base_word(field, figure));
    return arena_strdup(arena, num_text(figure, 2, buf));
}
