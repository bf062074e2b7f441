/* http/optics_pair.c - POST /v1/optics: prism and magnification. */
#include "http/optics_functions.h"

#include <math.h>

#include "optics/magnify.h"

void http_optics_decentration_prism(struct json_in in, struct json_out *o)
{
    enum optics_eye eye = http_optics_eye(in);
    struct optics_power p = http_optics_power(in);
    struct optics_shift shift = {
        http_optics_arg(in, OPTICS_BAD_IN_MM),
        http_optics_arg(in, OPTICS_BAD_UP_MM),
    };
    struct optics_prism prism;

    if (!http_optics_right(in, optics_prism_of_shift(eye, p, shift, &prism)))
        return;
    http_optics_put_prism(o, prism);
    http_optics_put_base(o, optics_prism_compose(eye, prism));
}

void http_optics_prism_decentration(struct json_in in, struct json_out *o)
{
    enum optics_eye eye = http_optics_eye(in);
    struct optics_power p = http_optics_power(in);
    struct optics_prism prism = http_optics_prism(in);
    struct optics_shift shift;

    if (!http_optics_right(in, optics_shift_of_prism(eye, p, prism, &shift)))
        return;
    json_out_exact(o, "in_mm", shift.in_mm);
    json_out_exact(o, "up_mm", shift.up_mm);
}

void http_optics_prism_compose(struct json_in in, struct json_out *o)
{
    enum optics_eye eye = http_optics_eye(in);

    http_optics_put_base(o, optics_prism_compose(eye, http_optics_prism(in)));
}

void http_optics_prism_resolve(struct json_in in, struct json_out *o)
{
    enum optics_eye eye = http_optics_eye(in);
    struct optics_base base = {
        http_optics_arg(in, OPTICS_BAD_AMOUNT),
        http_optics_arg(in, OPTICS_BAD_ANGLE),
    };
    struct optics_prism prism;

    if (http_optics_right(in, optics_prism_resolve(eye, base, &prism)))
        http_optics_put_prism(o, prism);
}

void http_optics_prism_split(struct json_in in, struct json_out *o)
{
    static const char *const names[] = {"base_in", "base_up", NULL};
    struct optics_prism_pair total = {
        http_optics_prism(http_optics_object(in, "right", names)),
        http_optics_prism(http_optics_object(in, "left", names)),
    };
    double share = http_optics_arg(in, OPTICS_BAD_SHARE_RIGHT);
    struct optics_prism_pair split;

    if (!http_optics_right(in, optics_prism_split(total, share, &split)))
        return;
    http_optics_put_side(o, "right", split.right);
    http_optics_put_side(o, "left", split.left);
}

void http_optics_vertical_imbalance(struct json_in in, struct json_out *o)
{
    struct optics_power right = http_optics_lens(json_in_get(in, "right"));
    struct optics_power left = http_optics_lens(json_in_get(in, "left"));
    double down_mm = http_optics_arg(in, OPTICS_BAD_DOWN_MM);
    struct optics_imbalance met;

    if (!http_optics_right(
            in, optics_prism_imbalance(right, left, down_mm, &met)))
        return;
    http_optics_put_side(o, "right", met.right);
    http_optics_put_side(o, "left", met.left);
    json_out_exact(o, "imbalance", fabs(met.vertical));
}

/* One lens of pd-error, and the prism it makes. */
static struct optics_prism centre_prism(struct json_in in, enum optics_eye eye)
{
    static const char *const names[] = {
        "sphere", "cylinder", "axis", "centre_mm", "pd_mm", NULL};
    struct json_in at =
        http_optics_object(in, eye == OPTICS_RIGHT ? "right" : "left", names);
    struct optics_power p = http_optics_power(at);
    double centre_mm = http_optics_arg(at, OPTICS_BAD_CENTRE_MM);
    double pd_mm = http_optics_arg(at, OPTICS_BAD_PD_MM);
    struct optics_prism prism = {0, 0};

    http_optics_right(at, optics_prism_of_pd(eye, p, centre_mm, pd_mm, &prism));
    return prism;
}

void http_optics_pd_error(struct json_in in, struct json_out *o)
{
    struct optics_prism right = centre_prism(in, OPTICS_RIGHT);
    struct optics_prism left = centre_prism(in, OPTICS_LEFT);

    http_optics_put_side(o, "right", right);
    http_optics_put_side(o, "left", left);
    json_out_exact(o, "total_base_in", right.base_in + left.base_in);
}

/* own holds what differs between two lenses, common what they share. */
static struct optics_worn read_worn(struct json_in own, struct json_in common)
{
    return (struct optics_worn){
        .front_power = http_optics_arg(own, OPTICS_BAD_FRONT_POWER),
        .back_vertex_power = http_optics_arg(own, OPTICS_BAD_BACK_VERTEX_POWER),
        .thickness_mm = http_optics_arg(own, OPTICS_BAD_THICKNESS_MM),
        .index = http_optics_arg(common, OPTICS_BAD_INDEX),
        .vertex_to_pupil_mm =
            http_optics_arg(common, OPTICS_BAD_VERTEX_TO_PUPIL_MM),
    };
}

void http_optics_spectacle_magnification(struct json_in in, struct json_out *o)
{
    struct optics_magnification m;

    if (!http_optics_right(in, optics_magnify(read_worn(in, in), &m)))
        return;
    json_out_exact(o, "shape_factor", m.shape_factor);
    json_out_exact(o, "power_factor", m.power_factor);
    json_out_exact(o, "magnification", m.magnification);
    json_out_exact(o, "percent", m.percent);
}

void http_optics_thick_lens(struct json_in in, struct json_out *o)
{
    struct optics_surfaces s = {
        http_optics_arg(in, OPTICS_BAD_FRONT_POWER),
        http_optics_arg(in, OPTICS_BAD_BACK_POWER),
        http_optics_arg(in, OPTICS_BAD_INDEX),
        http_optics_arg(in, OPTICS_BAD_THICKNESS_MM),
    };
    struct optics_thick lens;

    if (!http_optics_right(in, optics_thick_lens(s, &lens)))
        return;
    json_out_exact(o, "back_vertex_power", lens.back_vertex_power);
    json_out_exact(o, "front_vertex_power", lens.front_vertex_power);
    json_out_exact(o, "equivalent_power", lens.equivalent_power);
}

void http_optics_aniseikonia(struct json_in in, struct json_out *o)
{
    static const char *const names[] = {
        "front_power", "back_vertex_power", "thickness_mm", NULL};
    struct json_in right_at = http_optics_object(in, "right", names);
    struct json_in left_at = http_optics_object(in, "left", names);
    struct optics_worn right = read_worn(right_at, in), left = right;
    struct optics_magnification m;
    double percent;

    left.front_power = http_optics_arg(left_at, OPTICS_BAD_FRONT_POWER);
    left.back_vertex_power =
        http_optics_arg(left_at, OPTICS_BAD_BACK_VERTEX_POWER);
    left.thickness_mm = http_optics_arg(left_at, OPTICS_BAD_THICKNESS_MM);
    if (!http_optics_right(in, OPTICS_OK))
        return;
    /* One by one first, so that a fault names its eye. */
    http_optics_blame(right_at, optics_magnify(right, &m));
    http_optics_blame(left_at, optics_magnify(left, &m));
    if (http_optics_right(in, optics_image_ratio(right, left, &percent)))
        json_out_exact(o, "right_over_left_percent", percent);
}
