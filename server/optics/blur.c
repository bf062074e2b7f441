#include "optics/blur.h"

#include <math.h>

#include "optics/angle.h"

static const double ARCMIN_PER_RAD = 180 * 60 / M_PI;
static const double MM_PER_M = 1000;
static const double TIE = 1e-9; /* D */

static double disc_arcmin(double pupil_mm, double power)
{
    return pupil_mm / MM_PER_M * fabs(power) * ARCMIN_PER_RAD;
}

enum optics_fault optics_blur_angle(
    double pupil_mm, double defocus, double *ret_arcmin)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_PUPIL_MM, pupil_mm},
        {OPTICS_BAD_DEFOCUS, defocus},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret_arcmin = disc_arcmin(pupil_mm, defocus);
    return fault;
}

enum optics_fault optics_blur_ellipse(
    struct optics_power power, double pupil_mm, struct optics_ellipse *ret)
{
    struct optics_power p = optics_power_normal(power);
    double on_axis = fabs(p.sph), across = fabs(p.sph + p.cyl);

    if (optics_fault_check(OPTICS_BAD_PUPIL_MM, pupil_mm) != OPTICS_OK)
        return OPTICS_BAD_PUPIL_MM;
    ret->major_arcmin = disc_arcmin(pupil_mm, fmax(on_axis, across));
    ret->minor_arcmin = disc_arcmin(pupil_mm, fmin(on_axis, across));
    if (fabs(on_axis - across) < TIE)
        ret->major_axis = 0;
    else
        ret->major_axis =
            optics_axis_normal(p.axis + (on_axis > across ? 0 : 90));
    return OPTICS_OK;
}

double optics_relative_mar(struct optics_vector residual)
{
    double b = optics_vector_blur(residual);

    return 1 + b * b;
}

double optics_predicted_logmar(
    double best_logmar, struct optics_vector residual)
{
    return best_logmar + log10(optics_relative_mar(residual));
}

enum optics_fault optics_retinal_image(
    double angle_arcmin, double eye_power, double *ret_mm)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_ANGLE_ARCMIN, angle_arcmin},
        {OPTICS_BAD_EYE_POWER, eye_power},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret_mm =
            tan(angle_arcmin / ARCMIN_PER_RAD) * MM_PER_M / eye_power + 0.0;
    return fault;
}

enum optics_fault optics_change_noise(struct optics_power old_power,
    struct optics_power new_power, double limit_m, double limit_j,
    struct optics_noise *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_LIMIT_M, limit_m},
        {OPTICS_BAD_LIMIT_J, limit_j},
        {OPTICS_OK, 0},
    });
    struct optics_vector d = optics_vector_difference(
        optics_vector_of(new_power), optics_vector_of(old_power));

    if (fault != OPTICS_OK)
        return fault;
    ret->delta_m = d.m;
    ret->delta_j = optics_vector_astigmatism(d);
    ret->change =
        fabs(ret->delta_m) >= limit_m - TIE || ret->delta_j >= limit_j - TIE;
    return OPTICS_OK;
}
