/* What a step does to the working refraction, and how it is undone. */
#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "base/text.h"
#include "optics/round.h"
#include "record/power.h"
#include "record/step.h"

/* ---- a step ----------------------------------------------------------- */

/* Eighths count as the true eighth that their two decimals stand for. */
static double true_power(int32_t cd)
{
    int32_t count;

    if (optics_step_count(OPTICS_STEP_EIGHTH, cd, &count))
        return count * 0.125;
    return cd / 100.0;
}

static int32_t written_power(double power)
{
    double eighths = power / 0.125;
    int32_t nearest = (int32_t)num_round(eighths, 0);

    if (eighths - nearest < 1e-9 && nearest - eighths < 1e-9)
        return optics_step_written(OPTICS_STEP_EIGHTH, nearest);
    return (int32_t)num_round(power, 2);
}

/* The sphere that keeps S + C/2 when the cylinder becomes to_cd. */
static int32_t held_sphere(struct optics_rx rx, int32_t to_cd)
{
    double half = (true_power(rx.cyl_cd) - true_power(to_cd)) / 2;

    return written_power(true_power(rx.sph_cd) + half);
}

static enum rc refuse(
    const struct record_step *step, int side, int32_t standing, struct err *err)
{
    return err_set(err, RC_CONFLICT, "/from",
        "%s of the %s eye stands at %s, not at %s",
        RECORD_FIELD_WORDS[step->field],
        record_side_word((enum record_side)side),
        record_field_text(step->field, standing, err->arena),
        record_field_text(step->field, step->from[side], err->arena));
}

/* True when the field can hold a figure as the eye stands. */
static enum rc check_place(const struct record_step *step,
    const struct record_refraction *r, int side, struct err *err)
{
    const char *word = record_side_word((enum record_side)side);
    bool power = record_refraction_power(r, side);

    if (step->field == RECORD_FIELD_LENS ||
        step->field == RECORD_FIELD_VERTEX_MM)
        return RC_OK;
    if (!r->here[side] && step->field != RECORD_FIELD_SPHERE)
        return err_set(err, RC_CONFLICT, "/field",
            "the %s eye has no power yet; start with its sphere", word);
    if (r->here[side] && !power)
        return err_set(err, RC_CONFLICT, "/field",
            "the lens of the %s eye is \"%s\" and has no power", word,
            RECORD_LENS_WORDS[r->eyes[side].lens]);
    if (step->field == RECORD_FIELD_AXIS &&
        (!power || r->eyes[side].power.cyl_cd == 0))
        return err_set(err, RC_CONFLICT, "/field",
            "the %s eye has no cylinder that an axis could belong to", word);
    return RC_OK;
}

static bool takes_axis(
    const struct record_step *step, const struct record_refraction *r, int side)
{
    return step->field == RECORD_FIELD_CYLINDER &&
           step->axis_cdeg == NUM_ABSENT && step->to[side] != 0 &&
           record_step_concerns(step->eye, side) &&
           r->eyes[side].power.cyl_cd == 0;
}

const char *record_step_axis_taken(const struct record_step *step,
    const struct record_refraction *r, struct arena *arena)
{
    bool right = takes_axis(step, r, RECORD_RIGHT);
    bool left = takes_axis(step, r, RECORD_LEFT);

    if (!right && !left)
        return NULL;
    return arena_printf(arena,
        "the cylinder came without an axis and none stood, so 180 was taken "
        "for the %s; set the axis",
        right && left ? "right and the left eye"
        : right       ? "right eye"
                      : "left eye");
}

static void set_cylinder(
    const struct record_step *step, int side, struct record_refraction *r)
{
    struct optics_rx rx = optics_rx_as(r->eyes[side].power, step->form);
    int32_t to = step->to[side];
    int32_t sphere = held_sphere(rx, to);
    int32_t axis = step->axis_cdeg;

    if (axis == NUM_ABSENT)
        axis = rx.axis_cdeg;
    if (to && !axis)
        axis = OPTICS_AXIS_MAX_CDEG; /* told: record_step_axis_taken */
    record_field_set(r, RECORD_FIELD_CYLINDER, step->form, side, to);
    if (to)
        record_field_set(r, RECORD_FIELD_AXIS, step->form, side, axis);
    if (step->hold_equivalent)
        record_field_set(r, RECORD_FIELD_SPHERE, step->form, side, sphere);
}

static void check_lens(
    const struct record_refraction *r, int side, struct err *err)
{
    struct optics_rx rx = r->eyes[side].power;
    char buf[NUM_TEXT_MAX];

    if (!record_refraction_power(r, side) || optics_rx_check(rx) == OPTICS_OK)
        return;
    err_fault(err, "/to",
        "gives a lens with a meridian of %s D, which is beyond what can be "
        "recorded",
        num_text(record_power_strength(rx), 2, buf));
}

enum rc record_step_apply(const struct record_step *step,
    struct record_refraction *r, struct err *err)
{
    struct record_refraction made = *r;

    for (int side = 0; side < 2; side++) {
        int32_t standing;

        if (!record_step_concerns(step->eye, side))
            continue;
        TRY(check_place(step, r, side, err));
        standing = record_field_standing(r, step->field, step->form, side);
        if (standing != step->from[side])
            return refuse(step, side, standing, err);
        if (step->field == RECORD_FIELD_CYLINDER)
            set_cylinder(step, side, &made);
        else
            record_field_set(
                &made, step->field, step->form, side, step->to[side]);
        check_lens(&made, side, err);
    }
    if (err->rc != RC_OK)
        return err->rc;
    *r = made;
    return RC_OK;
}

/* ---- the log ---------------------------------------------------------- */

static void write_part(struct json_out *o, const char *key,
    const struct record_logged *l, const struct record_refraction *r)
{
    struct record_refraction part = *r;

    for (int side = 0; side < 2; side++)
        if (!record_step_concerns(l->eye, side))
            part.here[side] = false;
    json_out_object(o, key);
    record_refraction_write(o, &part);
    json_out_object_end(o);
}

void record_logged_write(struct json_out *o, const struct record_logged *l)
{
    json_out_text(o, "eye", record_side_word(l->eye));
    json_out_text(o, "field",
        l->field == RECORD_FIELD_WORKING ? "working"
                                         : RECORD_FIELD_WORDS[l->field]);
    if (l->form == OPTICS_PLUS_CYL)
        json_out_text(o, "form", "plus");
    if (l->hold_equivalent)
        json_out_bool(o, "hold_equivalent", true);
    write_part(o, "before", l, &l->before);
    write_part(o, "after", l, &l->after);
}

bool record_logged_read(struct json_in in, struct record_logged *ret)
{
    size_t faults = in.err->n_faults;
    const char *field;

    *ret = (struct record_logged){.field = RECORD_FIELD_WORKING};
    if (!record_eyes_read(json_in_get(in, "eye"), &ret->eye) ||
        !json_in_text(json_in_get(in, "field"), 40, &field))
        return false;
    for (int i = 0; RECORD_FIELD_WORDS[i]; i++)
        if (strcmp(RECORD_FIELD_WORDS[i], field) == 0)
            ret->field = (enum record_field)i;
    if (json_in_here(json_in_get(in, "form")))
        ret->form = OPTICS_PLUS_CYL;
    json_in_bool(json_in_get(in, "hold_equivalent"), &ret->hold_equivalent);
    record_refraction_read(json_in_get(in, "before"), &ret->before);
    record_refraction_read(json_in_get(in, "after"), &ret->after);
    return in.err->n_faults == faults;
}

/* ---- undo ------------------------------------------------------------- */

static bool same(
    const struct record_refraction *a, const struct record_refraction *b)
{
    TEXT_AUTO x = {0};
    TEXT_AUTO y = {0};
    struct json_out ox = JSON_OUT(&x), oy = JSON_OUT(&y);

    record_refraction_write(&ox, a);
    record_refraction_write(&oy, b);
    return x.len == y.len && (x.len == 0 || memcmp(x.data, y.data, x.len) == 0);
}

static bool same_eye(const struct record_refraction *a,
    const struct record_refraction *b, int side)
{
    struct record_refraction x = record_refraction_none(),
                             y = record_refraction_none();

    x.here[side] = a->here[side];
    x.eyes[side] = a->eyes[side];
    y.here[side] = b->here[side];
    y.eyes[side] = b->eyes[side];
    return same(&x, &y);
}

static enum rc moved_on(
    const struct record_logged *l, const char *what, struct err *err)
{
    return err_set(err, RC_CONFLICT, "/undo",
        "can't be undone: %s of the %s has been changed since", what,
        l->eye == RECORD_BOTH ? "eyes" : record_side_word(l->eye));
}

/* An eye that the step made, or whose lens it changed, goes back whole. */
static enum rc undo_eye(const struct record_logged *l, int side,
    struct record_refraction *r, struct err *err)
{
    if (!same_eye(r, &l->after, side))
        return moved_on(l, "a figure", err);
    r->here[side] = l->before.here[side];
    r->eyes[side] = l->before.eyes[side];
    return RC_OK;
}

/* Which figures of an eye the step set. */
static size_t figures_set(
    const struct record_logged *l, int side, enum record_field ret[3])
{
    size_t n = 0;
    bool none_before = l->before.eyes[side].power.cyl_cd == 0;
    bool axis_moved = l->before.eyes[side].power.axis_cdeg !=
                      l->after.eyes[side].power.axis_cdeg;

    ret[n++] = l->field;
    if (l->field == RECORD_FIELD_CYLINDER && (none_before || axis_moved))
        ret[n++] = RECORD_FIELD_AXIS;
    if (l->hold_equivalent)
        ret[n++] = RECORD_FIELD_SPHERE;
    return n;
}

static enum rc undo_figures(const struct record_logged *l, int side,
    struct record_refraction *r, struct err *err)
{
    enum record_field fields[3];
    size_t n = figures_set(l, side, fields);

    for (size_t i = 0; i < n; i++)
        if (record_field_standing(r, fields[i], l->form, side) !=
            record_field_standing(&l->after, fields[i], l->form, side))
            return moved_on(l, RECORD_FIELD_WORDS[fields[i]], err);
    for (size_t i = 0; i < n; i++)
        record_field_set(r, fields[i], l->form, side,
            record_field_standing(&l->before, fields[i], l->form, side));
    return RC_OK;
}

enum rc record_logged_undo(
    const struct record_logged *l, struct record_refraction *r, struct err *err)
{
    struct record_refraction made = *r;

    if (l->field == RECORD_FIELD_WORKING) {
        if (!same(r, &l->after))
            return moved_on(l, "a figure", err);
        *r = l->before;
        return RC_OK;
    }
    for (int side = 0; side < 2; side++) {
        bool whole = l->field == RECORD_FIELD_LENS || !l->before.here[side] ||
                     !l->after.here[side];

        if (!record_step_concerns(l->eye, side))
            continue;
        if (l->field == RECORD_FIELD_VERTEX_MM)
            whole = false;
        TRY(whole ? undo_eye(l, side, &made, err)
                  : undo_figures(l, side, &made, err));
        if (l->field == RECORD_FIELD_VERTEX_MM) {
            made.vertex_assumed = l->before.vertex_assumed;
            break; /* it is one figure for both eyes */
        }
    }
    *r = made;
    return RC_OK;
}
