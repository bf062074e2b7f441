#include "optics/worn.h"

#include <math.h>

#include "optics/angle.h"
#include "optics/vector.h"

static enum optics_fault check_tilt(double index, double tilt_deg)
{
    return optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_INDEX, index},
        {OPTICS_BAD_TILT_DEG, tilt_deg},
        {OPTICS_OK, 0},
    });
}

/* k of the header; ret_cos is cos t. */
static double along_factor(double index, double tilt_deg, double *ret_cos)
{
    double s, inside;

    optics_sincos_deg(tilt_deg, &s, ret_cos);
    inside = s / index;
    return (index * sqrt(1 - inside * inside) - *ret_cos) / (index - 1);
}

enum optics_fault optics_tilt_martin(double sphere, double index,
    double tilt_deg, double *ret_sph, double *ret_cyl)
{
    enum optics_fault fault = optics_fault_check(OPTICS_BAD_SPHERE, sphere);
    double s, c;

    if (fault == OPTICS_OK)
        fault = check_tilt(index, tilt_deg);
    if (fault != OPTICS_OK)
        return fault;
    optics_sincos_deg(tilt_deg, &s, &c);
    *ret_sph = optics_clean(sphere * (1 + s * s / (2 * index)));
    *ret_cyl = optics_clean(*ret_sph * (s / c) * (s / c));
    return OPTICS_OK;
}

enum optics_fault optics_tilt_sphere(double sphere, double index,
    double tilt_deg, double *ret_along, double *ret_across)
{
    enum optics_fault fault = optics_fault_check(OPTICS_BAD_SPHERE, sphere);
    double k, c;

    if (fault == OPTICS_OK)
        fault = check_tilt(index, tilt_deg);
    if (fault != OPTICS_OK)
        return fault;
    k = along_factor(index, tilt_deg, &c);
    *ret_along = optics_clean(k * sphere);
    *ret_across = optics_clean(k * sphere / (c * c));
    return OPTICS_OK;
}

/* k D F D, D = diag(1, across) or diag(across, 1). */
static struct optics_power scaled(
    struct optics_power power, double k, double across, enum optics_turn turn)
{
    struct optics_matrix f = optics_matrix_of(optics_power_normal(power));
    double wide = k * across * across;

    f.f11 *= turn == OPTICS_PANTOSCOPIC ? k : wide;
    f.f12 *= k * across;
    f.f22 *= turn == OPTICS_PANTOSCOPIC ? wide : k;
    return optics_vector_power(optics_matrix_vector(f), OPTICS_MINUS_CYL);
}

enum optics_fault optics_tilt_power(
    struct optics_power lens, struct optics_tilt tilt, struct optics_power *ret)
{
    enum optics_fault fault = optics_power_check(lens);
    double k, c;

    if (fault == OPTICS_OK)
        fault = check_tilt(tilt.index, tilt.tilt_deg);
    if (fault != OPTICS_OK)
        return fault;
    k = along_factor(tilt.index, tilt.tilt_deg, &c);
    *ret = scaled(lens, k, 1 / c, tilt.turn);
    return OPTICS_OK;
}

enum optics_fault optics_tilt_compensate(struct optics_power wanted,
    struct optics_tilt tilt, struct optics_power *ret)
{
    enum optics_fault fault = optics_power_check(wanted);
    double k, c;

    if (fault == OPTICS_OK)
        fault = check_tilt(tilt.index, tilt.tilt_deg);
    if (fault != OPTICS_OK)
        return fault;
    k = along_factor(tilt.index, tilt.tilt_deg, &c);
    *ret = scaled(wanted, 1 / k, c, tilt.turn);
    return OPTICS_OK;
}
