#include "optics/frame.h"

#include <math.h>

#include "optics/angle.h"
#include "optics/solve.h"

static const double MM_PER_M = 1000;
static const double FOCAL = 1e-3; /* of 1 - (t/n) F1 */
static const double FLAT = 1e-6;  /* D */
static const double NEAR_M = 1e-3;
static const double CENTRE_MAX_MM = 100;

double optics_sag_of(double curvature, double y_mm)
{
    double cy = curvature * y_mm;

    return cy * y_mm / (1 + sqrt(fmax(1 - cy * cy, 0))) + 0.0; /* no -0 */
}

enum optics_fault optics_blank_size(
    struct optics_boxing frame, struct optics_blank *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_A_MM, frame.a_mm},
        {OPTICS_BAD_DBL_MM, frame.dbl_mm},
        {OPTICS_BAD_PD_MM, frame.pd_mm},
        {OPTICS_BAD_ED_MM, frame.ed_mm},
        {OPTICS_BAD_ALLOWANCE_MM, frame.allowance_mm},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    if (frame.ed_mm < frame.a_mm)
        return OPTICS_BAD_ED_SMALL;
    ret->frame_pd_mm = frame.a_mm + frame.dbl_mm;
    ret->decentration_each_mm =
        optics_clean((ret->frame_pd_mm - frame.pd_mm) / 2);
    ret->minimum_blank_mm =
        frame.ed_mm + 2 * fabs(ret->decentration_each_mm) + frame.allowance_mm;
    return OPTICS_OK;
}

/* 1/mm, of a surface whose power is positive when it is convex in front. */
static double curvature_of(double power, double index)
{
    return power / ((index - 1) * MM_PER_M);
}

enum optics_fault optics_sag(double surface_power, double index,
    double diameter_mm, struct optics_sag *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_SURFACE_POWER, surface_power},
        {OPTICS_BAD_INDEX, index},
        {OPTICS_BAD_DIAMETER_MM, diameter_mm},
        {OPTICS_OK, 0},
    });
    double c = curvature_of(surface_power, index), y = diameter_mm / 2;

    if (fault != OPTICS_OK)
        return fault;
    if (fabs(c * y) > 1)
        return OPTICS_BAD_WIDE;
    ret->radius_mm = fabs(surface_power) < FLAT ? 0 : 1 / c;
    ret->sag_mm = optics_clean(optics_sag_of(c, y));
    ret->sag_approx_mm = optics_clean(c * y * y / 2);
    return OPTICS_OK;
}

static enum optics_fault check_lens(struct optics_blank_lens lens)
{
    return optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_BACK_VERTEX_POWER, lens.back_vertex_power},
        {OPTICS_BAD_FRONT_POWER, lens.front_power},
        {OPTICS_BAD_INDEX, lens.index},
        {OPTICS_BAD_DIAMETER_MM, lens.diameter_mm},
        {OPTICS_OK, 0},
    });
}

/* The edge of a checked lens; centre 0 and up. */
static enum optics_fault edge_of(struct optics_blank_lens lens,
    double centre_mm, double *ret_edge_mm, double *ret_back_power)
{
    double rest = 1 - centre_mm / MM_PER_M / lens.index * lens.front_power;
    double y = lens.diameter_mm / 2, back, front_c, back_c;

    if (rest < FOCAL)
        return OPTICS_BAD_FRONT_FOCAL;
    back = lens.back_vertex_power - lens.front_power / rest;
    front_c = curvature_of(lens.front_power, lens.index);
    back_c = curvature_of(-back, lens.index);
    if (fabs(front_c * y) > 1 || fabs(back_c * y) > 1)
        return OPTICS_BAD_WIDE;
    *ret_edge_mm = optics_clean(
        centre_mm - optics_sag_of(front_c, y) + optics_sag_of(back_c, y));
    *ret_back_power = optics_clean(back);
    return OPTICS_OK;
}

enum optics_fault optics_edge_thickness(struct optics_blank_lens lens,
    double centre_mm, double *ret_edge_mm, double *ret_back_power)
{
    enum optics_fault fault = check_lens(lens);

    if (fault == OPTICS_OK)
        fault = optics_fault_check(OPTICS_BAD_CENTRE_MM, centre_mm);
    if (fault != OPTICS_OK)
        return fault;
    return edge_of(lens, centre_mm, ret_edge_mm, ret_back_power);
}

struct wanted_edge {
    struct optics_blank_lens lens;
    double min_edge_mm;
};

/* A thicker centre leaves less convexity to the back, so the edge rises at
 * least as fast as the centre. */
static double edge_over(double centre_mm, const void *of)
{
    const struct wanted_edge *w = of;
    double edge_mm, back;

    if (edge_of(w->lens, centre_mm, &edge_mm, &back) != OPTICS_OK)
        return INFINITY;
    return edge_mm - w->min_edge_mm;
}

enum optics_fault optics_centre_thickness(
    struct optics_blank_lens lens, double min_edge_mm, double *ret_centre_mm)
{
    struct wanted_edge w = {lens, min_edge_mm};
    enum optics_fault fault = check_lens(lens);
    double range[2] = {0, CENTRE_MAX_MM}, at_zero;

    if (fault == OPTICS_OK)
        fault = optics_fault_check(OPTICS_BAD_MIN_EDGE_MM, min_edge_mm);
    if (fault != OPTICS_OK)
        return fault;
    at_zero = edge_over(0, &w);
    if (at_zero == INFINITY)
        return OPTICS_BAD_WIDE;
    if (at_zero > 0)
        return OPTICS_BAD_THIN;
    if (!optics_solve(edge_over, &w, range, ret_centre_mm))
        return OPTICS_BAD_WIDE;
    return OPTICS_OK;
}

/* A radius that a surface can have. */
static bool good_radius(enum optics_fault which, double radius_m)
{
    return isinf(radius_m) ||
           (optics_fault_check(which, radius_m) == OPTICS_OK &&
               fabs(radius_m) >= NEAR_M);
}

enum optics_fault optics_nominal_power(
    double index, double front_radius_m, double back_radius_m, double *ret)
{
    if (optics_fault_check(OPTICS_BAD_INDEX, index) != OPTICS_OK)
        return OPTICS_BAD_INDEX;
    if (!good_radius(OPTICS_BAD_FRONT_RADIUS_M, front_radius_m))
        return OPTICS_BAD_FRONT_RADIUS_M;
    if (!good_radius(OPTICS_BAD_BACK_RADIUS_M, back_radius_m))
        return OPTICS_BAD_BACK_RADIUS_M;
    *ret = optics_clean((index - 1) * (1 / front_radius_m + 1 / back_radius_m));
    return OPTICS_OK;
}

enum optics_fault optics_segment_drop(
    double b_mm, double segment_height_mm, double *ret_mm)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_B_MM, b_mm},
        {OPTICS_BAD_SEGMENT_HEIGHT_MM, segment_height_mm},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    if (segment_height_mm > b_mm)
        return OPTICS_BAD_SEGMENT_HIGH;
    *ret_mm = optics_clean(b_mm / 2 - segment_height_mm);
    return OPTICS_OK;
}

enum optics_fault optics_edge_of_curvatures(double front_curvature,
    double back_curvature, double centre_mm, double semi_diameter_mm,
    double *ret_mm)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_FRONT_CURVATURE, front_curvature},
        {OPTICS_BAD_BACK_CURVATURE, back_curvature},
        {OPTICS_BAD_CENTRE_MM, centre_mm},
        {OPTICS_BAD_SEMI_DIAMETER_MM, semi_diameter_mm},
        {OPTICS_OK, 0},
    });
    double y = semi_diameter_mm;

    if (fault != OPTICS_OK)
        return fault;
    if (fabs(front_curvature * y) > 1 || fabs(back_curvature * y) > 1)
        return OPTICS_BAD_SEMI_WIDE;
    *ret_mm = optics_clean(centre_mm - optics_sag_of(front_curvature, y) +
                           optics_sag_of(back_curvature, y));
    return OPTICS_OK;
}
