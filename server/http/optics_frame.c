/* http/optics_frame.c - POST /v1/optics: the lens in its frame. */
#include "http/optics_functions.h"

#include <math.h>

#include "optics/frame.h"

void http_optics_blank_size(struct json_in in, struct json_out *o)
{
    struct optics_boxing frame = {
        .a_mm = http_optics_arg(in, OPTICS_BAD_A_MM),
        .dbl_mm = http_optics_arg(in, OPTICS_BAD_DBL_MM),
        .ed_mm = http_optics_arg(in, OPTICS_BAD_ED_MM),
        .pd_mm = http_optics_arg(in, OPTICS_BAD_PD_MM),
        .allowance_mm = http_optics_arg(in, OPTICS_BAD_ALLOWANCE_MM),
    };
    struct optics_blank blank;

    if (!http_optics_right(in, optics_blank_size(frame, &blank)))
        return;
    json_out_exact(o, "frame_pd_mm", blank.frame_pd_mm);
    json_out_exact(o, "decentration_each_mm", blank.decentration_each_mm);
    json_out_exact(o, "minimum_blank_mm", blank.minimum_blank_mm);
}

void http_optics_sag(struct json_in in, struct json_out *o)
{
    double power = http_optics_arg(in, OPTICS_BAD_SURFACE_POWER);
    double index = http_optics_arg(in, OPTICS_BAD_INDEX);
    double diameter_mm = http_optics_arg(in, OPTICS_BAD_DIAMETER_MM);
    struct optics_sag sag;

    if (!http_optics_right(in, optics_sag(power, index, diameter_mm, &sag)))
        return;
    http_optics_put_angle(o, "radius_mm", sag.radius_mm, sag.radius_mm != 0);
    json_out_exact(o, "sag_mm", sag.sag_mm);
    json_out_exact(o, "sag_approx_mm", sag.sag_approx_mm);
}

static struct optics_blank_lens read_lens(struct json_in in)
{
    return (struct optics_blank_lens){
        .back_vertex_power = http_optics_arg(in, OPTICS_BAD_BACK_VERTEX_POWER),
        .front_power = http_optics_arg(in, OPTICS_BAD_FRONT_POWER),
        .index = http_optics_arg(in, OPTICS_BAD_INDEX),
        .diameter_mm = http_optics_arg(in, OPTICS_BAD_DIAMETER_MM),
    };
}

void http_optics_edge_thickness(struct json_in in, struct json_out *o)
{
    struct optics_blank_lens lens = read_lens(in);
    double centre_mm = http_optics_arg(in, OPTICS_BAD_CENTRE_MM);
    double edge_mm, back;

    if (!http_optics_right(
            in, optics_edge_thickness(lens, centre_mm, &edge_mm, &back)))
        return;
    json_out_exact(o, "edge_mm", edge_mm);
    json_out_exact(o, "back_power", back);
}

void http_optics_centre_thickness(struct json_in in, struct json_out *o)
{
    struct optics_blank_lens lens = read_lens(in);
    double min_edge_mm = http_optics_arg(in, OPTICS_BAD_MIN_EDGE_MM);
    double centre_mm;

    if (http_optics_right(
            in, optics_centre_thickness(lens, min_edge_mm, &centre_mm)))
        json_out_exact(o, "centre_mm", centre_mm);
}

/* A radius in metres; null or absent is flat. */
static double read_radius(struct json_in in, enum optics_fault which)
{
    return http_optics_has(in, optics_fault_arg(which))
               ? http_optics_arg(in, which)
               : INFINITY;
}

void http_optics_nominal_power(struct json_in in, struct json_out *o)
{
    double index = http_optics_arg(in, OPTICS_BAD_INDEX);
    double front_m = read_radius(in, OPTICS_BAD_FRONT_RADIUS_M);
    double back_m = read_radius(in, OPTICS_BAD_BACK_RADIUS_M);
    double power;

    if (http_optics_right(
            in, optics_nominal_power(index, front_m, back_m, &power)))
        json_out_exact(o, "power", power);
}

void http_optics_segment_drop(struct json_in in, struct json_out *o)
{
    double b_mm = http_optics_arg(in, OPTICS_BAD_B_MM);
    double height_mm = http_optics_arg(in, OPTICS_BAD_SEGMENT_HEIGHT_MM);
    double drop_mm;

    if (http_optics_right(in, optics_segment_drop(b_mm, height_mm, &drop_mm)))
        json_out_exact(o, "segment_drop_mm", drop_mm);
}

void http_optics_edge_from_curvatures(struct json_in in, struct json_out *o)
{
    double front = http_optics_arg(in, OPTICS_BAD_FRONT_CURVATURE);
    double back = http_optics_arg(in, OPTICS_BAD_BACK_CURVATURE);
    double centre_mm = http_optics_arg(in, OPTICS_BAD_CENTRE_MM);
    double y_mm = http_optics_arg(in, OPTICS_BAD_SEMI_DIAMETER_MM);
    double edge_mm;

    if (http_optics_right(in,
            optics_edge_of_curvatures(front, back, centre_mm, y_mm, &edge_mm)))
        json_out_exact(o, "edge_mm", edge_mm);
}
