#include "optics/magnify.h"

#include <math.h>

#include "optics/angle.h"

static const double MM_PER_M = 1000;
static const double FOCAL = 1e-3; /* of 1 - d F; less magnifies 1000 times */

/* 1 / (1 - d F); false at the focal point. */
static bool factor(double d_m, double power, double *ret)
{
    double rest = 1 - d_m * power;

    *ret = 1 / rest;
    return fabs(rest) >= FOCAL;
}

enum optics_fault optics_thick_lens(
    struct optics_surfaces lens, struct optics_thick *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_FRONT_POWER, lens.front_power},
        {OPTICS_BAD_BACK_POWER, lens.back_power},
        {OPTICS_BAD_INDEX, lens.index},
        {OPTICS_BAD_THICKNESS_MM, lens.thickness_mm},
        {OPTICS_OK, 0},
    });
    double reduced_m = lens.thickness_mm / MM_PER_M / lens.index;
    double front, back;

    if (fault != OPTICS_OK)
        return fault;
    if (!factor(reduced_m, lens.front_power, &front))
        return OPTICS_BAD_FRONT_FOCAL;
    if (!factor(reduced_m, lens.back_power, &back))
        return OPTICS_BAD_BACK_FOCAL;
    ret->back_vertex_power =
        optics_clean(lens.front_power * front + lens.back_power);
    ret->front_vertex_power =
        optics_clean(lens.back_power * back + lens.front_power);
    ret->equivalent_power =
        optics_clean(lens.front_power + lens.back_power -
                     reduced_m * lens.front_power * lens.back_power);
    return OPTICS_OK;
}

enum optics_fault optics_magnify(
    struct optics_worn lens, struct optics_magnification *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_FRONT_POWER, lens.front_power},
        {OPTICS_BAD_BACK_VERTEX_POWER, lens.back_vertex_power},
        {OPTICS_BAD_INDEX, lens.index},
        {OPTICS_BAD_THICKNESS_MM, lens.thickness_mm},
        {OPTICS_BAD_VERTEX_TO_PUPIL_MM, lens.vertex_to_pupil_mm},
        {OPTICS_OK, 0},
    });
    struct optics_magnification m;

    if (fault != OPTICS_OK)
        return fault;
    if (!factor(lens.thickness_mm / MM_PER_M / lens.index, lens.front_power,
            &m.shape_factor))
        return OPTICS_BAD_FRONT_FOCAL;
    if (!factor(lens.vertex_to_pupil_mm / MM_PER_M, lens.back_vertex_power,
            &m.power_factor))
        return OPTICS_BAD_PUPIL_FOCAL;
    m.magnification = m.shape_factor * m.power_factor;
    m.percent = (m.magnification - 1) * 100;
    *ret = m;
    return OPTICS_OK;
}

enum optics_fault optics_image_ratio(
    struct optics_worn right, struct optics_worn left, double *ret_percent)
{
    struct optics_magnification r, l;
    enum optics_fault fault = optics_magnify(right, &r);

    if (fault == OPTICS_OK)
        fault = optics_magnify(left, &l);
    if (fault == OPTICS_OK)
        *ret_percent = (r.magnification / l.magnification - 1) * 100;
    return fault;
}

enum optics_fault optics_image_ratio_estimate(struct optics_power right,
    struct optics_power left, double vertex_mm, double *ret_percent)
{
    double h_m = (vertex_mm + OPTICS_CORNEA_TO_PUPIL_MM) / MM_PER_M;
    double r, l;

    if (optics_fault_check(OPTICS_BAD_VERTEX_MM, vertex_mm) != OPTICS_OK)
        return OPTICS_BAD_VERTEX_MM;
    if (!factor(h_m, optics_power_equivalent(right), &r) ||
        !factor(h_m, optics_power_equivalent(left), &l))
        return OPTICS_BAD_PUPIL_FOCAL;
    *ret_percent = (r / l - 1) * 100;
    return OPTICS_OK;
}
