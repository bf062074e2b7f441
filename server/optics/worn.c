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

/* k of the header, of sin^2 t and cos t. */
static double oblique_factor(double index, double sin2, double cos)
{
    return (index * sqrt(1 - sin2 / (index * index)) - cos) / (index - 1);
}

/* The same of t; ret_cos is cos t. */
static double along_factor(double index, double tilt_deg, double *ret_cos)
{
    double s;

    optics_sincos_deg(tilt_deg, &s, ret_cos);
    return oblique_factor(index, s * s, *ret_cos);
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

static enum optics_fault check_stand(
    struct optics_power power, struct optics_stand stand)
{
    enum optics_fault fault = optics_power_check(power);

    if (fault != OPTICS_OK)
        return fault;
    return optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_INDEX, stand.index},
        {OPTICS_BAD_PANTOSCOPIC_DEG, stand.pantoscopic_deg},
        {OPTICS_BAD_WRAP_DEG, stand.wrap_deg},
        {OPTICS_OK, 0},
    });
}

/* J of the header: rows (a, 0) and (b, d). */
struct way {
    double a, b, d;
};

/* k J' F J. */
static struct optics_power carried(
    struct optics_power power, double k, struct way j)
{
    struct optics_matrix f = optics_matrix_of(optics_power_normal(power)), g;

    g.f11 = k * (j.a * j.a * f.f11 + 2 * j.a * j.b * f.f12 + j.b * j.b * f.f22);
    g.f12 = k * j.d * (j.a * f.f12 + j.b * f.f22);
    g.f22 = k * j.d * j.d * f.f22;
    return optics_vector_power(optics_matrix_vector(g), OPTICS_MINUS_CYL);
}

/* The sines and cosines of a stand, and k. */
struct angles {
    double sp, cp, sw, cw, k;
};

static struct angles angles_of(struct optics_stand stand)
{
    struct angles a;
    double wrap = stand.eye == OPTICS_RIGHT ? -stand.wrap_deg : stand.wrap_deg;
    double cos;

    optics_sincos_deg(stand.pantoscopic_deg, &a.sp, &a.cp);
    optics_sincos_deg(wrap, &a.sw, &a.cw);
    cos = a.cp * a.cw;
    a.k = oblique_factor(
        stand.index, a.sw * a.sw + a.cw * a.cw * a.sp * a.sp, cos);
    return a;
}

enum optics_fault optics_stand_power(struct optics_power lens,
    struct optics_stand stand, struct optics_power *ret)
{
    enum optics_fault fault = check_stand(lens, stand);
    struct angles a;

    if (fault != OPTICS_OK)
        return fault;
    a = angles_of(stand);
    *ret = carried(lens, a.k,
        (struct way){1 / a.cw, -a.sw * a.sp / (a.cw * a.cp), 1 / a.cp});
    return OPTICS_OK;
}

enum optics_fault optics_stand_compensate(struct optics_power wanted,
    struct optics_stand stand, struct optics_power *ret)
{
    enum optics_fault fault = check_stand(wanted, stand);
    struct angles a;

    if (fault != OPTICS_OK)
        return fault;
    a = angles_of(stand);
    *ret = carried(wanted, 1 / a.k, (struct way){a.cw, a.sw * a.sp, a.cp});
    return OPTICS_OK;
}
