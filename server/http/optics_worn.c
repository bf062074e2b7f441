/* http/optics_worn.c - POST /v1/optics: tilt, and the reading level. */
#include "http/optics_functions.h"

#include "optics/slab.h"
#include "optics/worn.h"

/* Said beside the slab-off. */
#define CAUTION                                                                \
    "An estimate by thin lenses, to be checked on the patient and with the "   \
    "lab"

void http_optics_tilt_sphere(struct json_in in, struct json_out *o)
{
    static const char *const forms[] = {"martin", "exact", NULL};
    bool exact = http_optics_word(in, "form", forms) == 1;
    double sphere = http_optics_arg(in, OPTICS_BAD_SPHERE);
    double index = http_optics_arg(in, OPTICS_BAD_INDEX);
    double tilt = http_optics_arg(in, OPTICS_BAD_TILT_DEG);
    double one, other;

    if (!http_optics_right(
            in, exact ? optics_tilt_sphere(sphere, index, tilt, &one, &other)
                      : optics_tilt_martin(sphere, index, tilt, &one, &other)))
        return;
    json_out_exact(o, exact ? "along_tilt_axis" : "sphere", one);
    json_out_exact(o, exact ? "across" : "cylinder", other);
}

static struct optics_tilt read_tilt(struct json_in in)
{
    static const char *const kinds[] = {"pantoscopic", "wrap", NULL};

    return (struct optics_tilt){
        .index = http_optics_arg(in, OPTICS_BAD_INDEX),
        .tilt_deg = http_optics_arg(in, OPTICS_BAD_TILT_DEG),
        .turn = http_optics_word(in, "kind", kinds) == 0 ? OPTICS_PANTOSCOPIC
                                                         : OPTICS_WRAP,
    };
}

void http_optics_tilt(struct json_in in, struct json_out *o)
{
    struct optics_power lens = http_optics_power(in), got;
    struct optics_tilt tilt = read_tilt(in);

    if (http_optics_right(in, optics_tilt_power(lens, tilt, &got)))
        http_optics_put_power(o, got);
}

void http_optics_tilt_compensation(struct json_in in, struct json_out *o)
{
    struct optics_power wanted = http_optics_power(in), got;
    struct optics_tilt tilt = read_tilt(in);

    if (http_optics_right(in, optics_tilt_compensate(wanted, tilt, &got)))
        http_optics_put_power(o, got);
}

static struct optics_stand read_stand(struct json_in in)
{
    return (struct optics_stand){
        .eye = http_optics_eye(in),
        .index = http_optics_arg(in, OPTICS_BAD_INDEX),
        .pantoscopic_deg = http_optics_arg(in, OPTICS_BAD_PANTOSCOPIC_DEG),
        .wrap_deg = http_optics_arg(in, OPTICS_BAD_WRAP_DEG),
    };
}

void http_optics_as_worn(struct json_in in, struct json_out *o)
{
    struct optics_power lens = http_optics_power(in), got;
    struct optics_stand stand = read_stand(in);

    if (http_optics_right(in, optics_stand_power(lens, stand, &got)))
        http_optics_put_power(o, got);
}

void http_optics_as_worn_compensation(struct json_in in, struct json_out *o)
{
    struct optics_power wanted = http_optics_power(in), got;
    struct optics_stand stand = read_stand(in);

    if (http_optics_right(in, optics_stand_compensate(wanted, stand, &got)))
        http_optics_put_power(o, got);
}

/* A member that may be missing, then 0. */
static double optional(struct json_in in, enum optics_fault which)
{
    return http_optics_has(in, optics_fault_arg(which))
               ? http_optics_arg(in, which)
               : 0;
}

static struct optics_reading_lens read_lens(struct json_in at)
{
    static const char *const names[] = {"down_mm", "in_mm", NULL};
    struct optics_reading_lens lens = {
        .power = http_optics_power(at),
        .add = optional(at, OPTICS_BAD_ADD_POWER),
        .read = {http_optics_arg(at, OPTICS_BAD_POINT_DOWN_MM),
            optional(at, OPTICS_BAD_POINT_IN_MM)},
        .segment_known = http_optics_has(at, "segment"),
    };

    if (lens.segment_known) {
        struct json_in c = http_optics_object(at, "segment", names);

        lens.segment.down_mm = http_optics_arg(c, OPTICS_BAD_POINT_DOWN_MM);
        lens.segment.in_mm = optional(c, OPTICS_BAD_POINT_IN_MM);
    }
    return lens;
}

/* Two prisms and what they make together, or null. */
static void put_together(
    struct json_out *o, const char *key, const struct optics_prism_pair *p)
{
    if (!p) {
        json_out_null(o, key);
        return;
    }
    json_out_object(o, key);
    http_optics_put_side(o, "right", p->right);
    http_optics_put_side(o, "left", p->left);
    json_out_object_end(o);
}

static void put_known(
    struct json_out *o, const char *key, double value, bool known)
{
    if (known)
        json_out_exact(o, key, value);
    else
        json_out_null(o, key);
}

static void put_slab(struct json_out *o, const struct optics_slab *slab)
{
    if (slab->amount == 0) {
        json_out_null(o, "slab_off");
        return;
    }
    json_out_object(o, "slab_off");
    json_out_text(o, "eye", slab->eye == OPTICS_RIGHT ? "right" : "left");
    json_out_exact(o, "amount", slab->amount);
    json_out_exact(o, "rounded", slab->rounded);
    json_out_object_end(o);
}

void http_optics_reading_level(struct json_in in, struct json_out *o)
{
    static const char *const names[] = {"sphere", "cylinder", "axis", "add",
        "down_mm", "in_mm", "segment", NULL};
    struct json_in right_at = http_optics_object(in, "right", names);
    struct json_in left_at = http_optics_object(in, "left", names);
    struct optics_reading_lens right = read_lens(right_at);
    struct optics_reading_lens left = read_lens(left_at);
    struct optics_reading_level level;

    /* What is left to find wrong is that one segment lacks its centre. */
    if (!http_optics_right(right.segment_known ? left_at : right_at,
            optics_reading_level(right, left, &level)))
        return;
    put_together(o, "distance", &level.distance);
    put_together(o, "met", level.met_known ? &level.met : NULL);
    put_known(o, "vertical", level.vertical, level.vertical_known);
    put_known(o, "horizontal", level.horizontal, level.met_known);
    put_slab(o, &level.slab);
    json_out_text(o, "caution", CAUTION);
}
