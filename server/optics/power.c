#include "optics/power.h"

#include <math.h>

#include "optics/angle.h"

#define QUARTER_TURN_CDEG 9000

static const double WHOLE = 4503599627370496; /* 2^52: no places from there */
static const double NO_CYL = 1e-9; /* D; less is what rounding leaves */

/* Not by abs(): the mark of an absent figure is INT32_MIN. */
static bool beyond(int32_t value, int32_t limit)
{
    return value < -limit || value > limit;
}

enum optics_fault optics_rx_check(struct optics_rx rx)
{
    if (beyond(rx.sph_cd, OPTICS_RX_MERIDIAN_MAX_CD))
        return OPTICS_BAD_SPHERE;
    if (beyond(rx.cyl_cd, OPTICS_RX_CYL_MAX_CD) ||
        beyond(rx.sph_cd + rx.cyl_cd, OPTICS_RX_MERIDIAN_MAX_CD))
        return OPTICS_BAD_CYLINDER;
    if (rx.axis_cdeg < 0 || rx.axis_cdeg > OPTICS_AXIS_MAX_CDEG)
        return OPTICS_BAD_AXIS;
    if (rx.cyl_cd != 0 && rx.axis_cdeg == 0)
        return OPTICS_BAD_NO_AXIS;
    if (rx.cyl_cd == 0 && rx.axis_cdeg != 0)
        return OPTICS_BAD_AXIS;
    return OPTICS_OK;
}

struct optics_rx optics_rx_normal(struct optics_rx rx)
{
    if (rx.cyl_cd == 0)
        rx.axis_cdeg = 0;
    else if (rx.axis_cdeg == 0)
        rx.axis_cdeg = OPTICS_AXIS_MAX_CDEG;
    return rx;
}

struct optics_rx optics_rx_as(struct optics_rx rx, enum optics_form form)
{
    if (rx.cyl_cd == 0 || (rx.cyl_cd < 0) == (form == OPTICS_MINUS_CYL))
        return rx;
    rx.sph_cd += rx.cyl_cd;
    rx.cyl_cd = -rx.cyl_cd;
    rx.axis_cdeg += rx.axis_cdeg > QUARTER_TURN_CDEG ? -QUARTER_TURN_CDEG
                                                     : QUARTER_TURN_CDEG;
    return rx;
}

bool optics_rx_same(struct optics_rx a, struct optics_rx b)
{
    a = optics_rx_as(a, OPTICS_MINUS_CYL);
    b = optics_rx_as(b, OPTICS_MINUS_CYL);
    return a.sph_cd == b.sph_cd && a.cyl_cd == b.cyl_cd &&
           a.axis_cdeg == b.axis_cdeg;
}

struct optics_power optics_power_of_rx(struct optics_rx rx)
{
    return (struct optics_power){
        rx.sph_cd / 100.0, rx.cyl_cd / 100.0, rx.axis_cdeg / 100.0};
}

struct optics_rx optics_rx_of_power(struct optics_power power)
{
    struct optics_power p = optics_power_normal(power);

    return optics_rx_normal((struct optics_rx){
        .sph_cd = (int32_t)optics_round_to(p.sph * 100, 1),
        .cyl_cd = (int32_t)optics_round_to(p.cyl * 100, 1),
        .axis_cdeg = (int32_t)optics_round_to(p.axis * 100, 1),
    });
}

enum optics_fault optics_power_check(struct optics_power power)
{
    enum optics_fault f = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_SPHERE, power.sph},
        {OPTICS_BAD_CYLINDER, power.cyl},
        {OPTICS_BAD_AXIS, power.axis},
        {OPTICS_OK, 0},
    });

    if (f == OPTICS_OK && fabs(power.cyl) >= NO_CYL && power.axis == 0)
        return OPTICS_BAD_NO_AXIS;
    return f;
}

struct optics_power optics_power_normal(struct optics_power power)
{
    struct optics_power none = {optics_clean(power.sph), 0, 0};

    if (fabs(power.cyl) < NO_CYL)
        return none;
    return (struct optics_power){
        none.sph, power.cyl, optics_axis_normal(power.axis)};
}

struct optics_power optics_power_as(
    struct optics_power power, enum optics_form form)
{
    struct optics_power p = optics_power_normal(power);

    if (p.cyl == 0 || (p.cyl < 0) == (form == OPTICS_MINUS_CYL))
        return p;
    return (struct optics_power){
        optics_clean(p.sph + p.cyl), -p.cyl, optics_axis_normal(p.axis + 90)};
}

struct optics_power optics_power_rounded(struct optics_power power)
{
    struct optics_power p = optics_power_normal(power);

    p.sph = optics_round_to(p.sph, 1e-4);
    p.cyl = optics_round_to(p.cyl, 1e-4);
    if (p.cyl == 0)
        p.axis = 0;
    else
        p.axis = optics_axis_normal(optics_round_to(p.axis, 1e-2));
    return p;
}

double optics_power_meridian(struct optics_power power, double meridian_deg)
{
    double s, c;

    optics_sincos_deg(meridian_deg - power.axis, &s, &c);
    return optics_clean(power.sph + power.cyl * s * s);
}

double optics_power_equivalent(struct optics_power power)
{
    return optics_clean(power.sph + power.cyl / 2);
}

double optics_round_to(double x, double unit)
{
    double n = x / unit;

    if (fabs(n) >= WHOLE)
        return x;
    n = round(n + copysign(1e-7, n));
    /* By the whole number of units in one, 100 for 0.01: 57 * 0.01 is not the
     * double nearest to 0.57, 57 / 100 is. */
    return (unit < 1 ? n / round(1 / unit) : n * unit) + 0.0;
}
