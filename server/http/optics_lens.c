/* http/optics_lens.c - POST /v1/optics: powers, vertex, rounding, blur. */
#include "http/optics_functions.h"

#include "base/arena.h"
#include "optics/angle.h"
#include "optics/blur.h"
#include "optics/round.h"
#include "optics/vertex.h"

void http_optics_transpose(struct json_in in, struct json_out *o)
{
    struct optics_power p = http_optics_power(in);

    http_optics_put_power(
        o, optics_power_as(p, p.cyl < 0 ? OPTICS_PLUS_CYL : OPTICS_MINUS_CYL));
}

void http_optics_power_vector(struct json_in in, struct json_out *o)
{
    struct optics_vector v = optics_vector_of(http_optics_power(in));

    http_optics_put_vector(o, v);
    json_out_exact(o, "blur", optics_vector_blur(v));
}

void http_optics_from_power_vector(struct json_in in, struct json_out *o)
{
    struct optics_vector v = {
        http_optics_arg(in, OPTICS_BAD_M),
        http_optics_arg(in, OPTICS_BAD_J0),
        http_optics_arg(in, OPTICS_BAD_J45),
    };

    json_out_object(o, "minus");
    http_optics_put_power(o, optics_vector_power(v, OPTICS_MINUS_CYL));
    json_out_object_end(o);
    json_out_object(o, "plus");
    http_optics_put_power(o, optics_vector_power(v, OPTICS_PLUS_CYL));
    json_out_object_end(o);
}

void http_optics_power_matrix(struct json_in in, struct json_out *o)
{
    struct optics_matrix f = optics_matrix_of(http_optics_power(in));

    json_out_exact(o, "f11", f.f11);
    json_out_exact(o, "f12", f.f12);
    json_out_exact(o, "f22", f.f22);
}

void http_optics_crossed_sum(struct json_in in, struct json_out *o)
{
    struct optics_power first = http_optics_lens(json_in_get(in, "first"));
    struct optics_power second = http_optics_lens(json_in_get(in, "second"));

    http_optics_put_power(o, optics_power_sum(first, second));
}

void http_optics_difference(struct json_in in, struct json_out *o)
{
    struct optics_power now = http_optics_lens(json_in_get(in, "new"));
    struct optics_power old = http_optics_lens(json_in_get(in, "old"));

    http_optics_put_power(o, optics_power_change(old, now));
}

void http_optics_average(struct json_in in, struct json_out *o)
{
    struct json_in at = json_in_get(in, "readings");
    struct optics_power *list;
    struct optics_mean m;
    size_t n;

    if (!json_in_need(at) || !json_in_array(at, 1, 1000, &n))
        return;
    list = arena_calloc(in.err->arena, n, sizeof(*list));
    for (size_t i = 0; i < n; i++)
        list[i] = http_optics_lens(json_in_item(at, i));
    if (!http_optics_right(in, optics_mean(list, n, &m)))
        return;
    http_optics_put_power(o, optics_vector_power(m.mean, OPTICS_MINUS_CYL));
    http_optics_put_vector(o, m.mean);
    json_out_object(o, "sd");
    http_optics_put_vector(o, m.sd);
    json_out_exact(o, "total", m.sd_total);
    json_out_object_end(o);
}

void http_optics_axis_difference(struct json_in in, struct json_out *o)
{
    double a = http_optics_arg(in, OPTICS_BAD_A);
    double b = http_optics_arg(in, OPTICS_BAD_B);

    json_out_exact(o, "difference", optics_axis_difference(a, b));
}

void http_optics_round_quarter(struct json_in in, struct json_out *o)
{
    double value = http_optics_arg(in, OPTICS_BAD_VALUE);
    struct optics_quarter q;

    if (!http_optics_right(in, optics_round_quarter(value, &q)))
        return;
    json_out_exact(o, "half_away", q.half_away);
    json_out_exact(o, "half_even", q.half_even);
    json_out_bool(o, "tie", q.tie);
}

/* The one answer with rounded powers: as they are written on an order. */
void http_optics_nearest_orderable(struct json_in in, struct json_out *o)
{
    struct optics_power p = http_optics_power(in);
    double size = http_optics_arg(in, OPTICS_BAD_STEP);
    struct optics_orderable lens;
    enum optics_step step;

    if (!http_optics_right(in, optics_step_find(size, &step)))
        return;
    lens = optics_round_orderable(p, step);
    json_out_cd(o, "sphere", lens.rx.sph_cd);
    json_out_cd(o, "cylinder", lens.rx.cyl_cd);
    http_optics_put_angle(
        o, "axis", lens.rx.axis_cdeg / 100.0, lens.rx.axis_cdeg != 0);
    json_out_object(o, "residual");
    http_optics_put_vector(o, lens.residual);
    json_out_object_end(o);
    json_out_exact(o, "distance", lens.distance);
}

void http_optics_meridian_power(struct json_in in, struct json_out *o)
{
    struct optics_power p = http_optics_power(in);
    double meridian = http_optics_arg(in, OPTICS_BAD_MERIDIAN);

    json_out_exact(o, "power", optics_power_meridian(p, meridian));
}

void http_optics_spherical_equivalent(struct json_in in, struct json_out *o)
{
    json_out_exact(o, "spherical_equivalent",
        optics_power_equivalent(http_optics_power(in)));
}

void http_optics_vertex(struct json_in in, struct json_out *o)
{
    struct optics_power p = http_optics_power(in), moved;
    double from_mm = http_optics_arg(in, OPTICS_BAD_FROM_MM);
    double to_mm = http_optics_arg(in, OPTICS_BAD_TO_MM);

    if (http_optics_right(in, optics_vertex_move(p, from_mm, to_mm, &moved)))
        http_optics_put_power(o, moved);
}

void http_optics_change_against_noise(struct json_in in, struct json_out *o)
{
    struct optics_power old = http_optics_lens(json_in_get(in, "old"));
    struct optics_power now = http_optics_lens(json_in_get(in, "new"));
    double limit_m = http_optics_arg(in, OPTICS_BAD_LIMIT_M);
    double limit_j = http_optics_arg(in, OPTICS_BAD_LIMIT_J);
    struct optics_noise noise;

    if (!http_optics_right(
            in, optics_change_noise(old, now, limit_m, limit_j, &noise)))
        return;
    json_out_exact(o, "delta_m", noise.delta_m);
    json_out_exact(o, "delta_j", noise.delta_j);
    json_out_text(o, "flag", noise.change ? "change" : "within");
}

void http_optics_blur_angle(struct json_in in, struct json_out *o)
{
    double pupil_mm = http_optics_arg(in, OPTICS_BAD_PUPIL_MM);
    double defocus = http_optics_arg(in, OPTICS_BAD_DEFOCUS);
    double arcmin;

    if (!http_optics_right(in, optics_blur_angle(pupil_mm, defocus, &arcmin)))
        return;
    json_out_exact(o, "degrees", arcmin / 60);
    json_out_exact(o, "arcmin", arcmin);
}

void http_optics_blur_ellipse(struct json_in in, struct json_out *o)
{
    struct optics_power p = http_optics_power(in);
    double pupil_mm = http_optics_arg(in, OPTICS_BAD_PUPIL_MM);
    struct optics_ellipse e;

    if (!http_optics_right(in, optics_blur_ellipse(p, pupil_mm, &e)))
        return;
    json_out_exact(o, "major_arcmin", e.major_arcmin);
    json_out_exact(o, "minor_arcmin", e.minor_arcmin);
    http_optics_put_angle(o, "major_axis", e.major_axis, e.major_axis != 0);
}

void http_optics_acuity_loss(struct json_in in, struct json_out *o)
{
    struct optics_vector v = optics_vector_of(http_optics_power(in));

    json_out_exact(o, "blur", optics_vector_blur(v));
    json_out_exact(o, "relative_mar", optics_relative_mar(v));
    json_out_exact(o, "logmar_loss", optics_predicted_logmar(0, v));
}

void http_optics_retinal_image(struct json_in in, struct json_out *o)
{
    double angle = http_optics_arg(in, OPTICS_BAD_ANGLE_ARCMIN);
    double power = http_optics_arg(in, OPTICS_BAD_EYE_POWER);
    double mm;

    if (http_optics_right(in, optics_retinal_image(angle, power, &mm)))
        json_out_exact(o, "image_mm", mm);
}
