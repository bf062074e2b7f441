#include "optics/prism.h"

#include <math.h>

#include "optics/angle.h"
#include "optics/vector.h"

static const double NO_PRISM = 1e-9; /* cm/m */
static const double NO_POWER = 1e-6; /* D */
static const double MM_PER_CM = 10;

/* Base-in points to the examiner's right (+x) for the right eye. */
static double in_sign(enum optics_eye eye)
{
    return eye == OPTICS_RIGHT ? 1 : -1;
}

enum optics_fault optics_prism_check(struct optics_prism prism)
{
    return optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_BASE_IN, prism.base_in},
        {OPTICS_BAD_BASE_UP, prism.base_up},
        {OPTICS_OK, 0},
    });
}

struct optics_base optics_prism_compose(
    enum optics_eye eye, struct optics_prism prism)
{
    double x = in_sign(eye) * prism.base_in;
    struct optics_base base = {hypot(x, prism.base_up), 0};

    if (base.amount < NO_PRISM)
        return (struct optics_base){0, 0};
    base.angle = optics_base_normal(atan2(prism.base_up, x) * (180 / M_PI));
    return base;
}

enum optics_fault optics_prism_resolve(
    enum optics_eye eye, struct optics_base base, struct optics_prism *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_AMOUNT, base.amount},
        {OPTICS_BAD_ANGLE, base.angle},
        {OPTICS_OK, 0},
    });
    double s, c;

    if (fault != OPTICS_OK)
        return fault;
    optics_sincos_deg(base.angle, &s, &c);
    ret->base_in = optics_clean(base.amount * c * in_sign(eye));
    ret->base_up = optics_clean(base.amount * s);
    return OPTICS_OK;
}

enum optics_fault optics_prism_split(struct optics_prism_pair total,
    double share_right, struct optics_prism_pair *ret)
{
    enum optics_fault fault = optics_prism_check(total.right);
    double in, up;

    if (fault == OPTICS_OK)
        fault = optics_prism_check(total.left);
    if (fault == OPTICS_OK)
        fault = optics_fault_check(OPTICS_BAD_SHARE_RIGHT, share_right);
    if (fault != OPTICS_OK)
        return fault;
    in = total.right.base_in + total.left.base_in;
    up = total.right.base_up - total.left.base_up;
    ret->right.base_in = optics_clean(share_right * in);
    ret->right.base_up = optics_clean(share_right * up);
    ret->left.base_in = optics_clean((1 - share_right) * in);
    ret->left.base_up = optics_clean((share_right - 1) * up);
    return OPTICS_OK;
}

/* p = F r, r in cm with x to the examiner's right. */
static struct optics_prism prism_at(
    enum optics_eye eye, struct optics_power power, struct optics_shift shift)
{
    struct optics_matrix f = optics_matrix_of(optics_power_normal(power));
    double x = in_sign(eye) * shift.in_mm / MM_PER_CM;
    double y = shift.up_mm / MM_PER_CM;

    return (struct optics_prism){
        optics_clean((f.f11 * x + f.f12 * y) * in_sign(eye)),
        optics_clean(f.f12 * x + f.f22 * y),
    };
}

enum optics_fault optics_prism_of_shift(enum optics_eye eye,
    struct optics_power power, struct optics_shift shift,
    struct optics_prism *ret)
{
    enum optics_fault fault = optics_power_check(power);

    if (fault == OPTICS_OK)
        fault = optics_fault_first((struct optics_arg[]){
            {OPTICS_BAD_IN_MM, shift.in_mm},
            {OPTICS_BAD_UP_MM, shift.up_mm},
            {OPTICS_OK, 0},
        });
    if (fault != OPTICS_OK)
        return fault;
    *ret = prism_at(eye, power, shift);
    return OPTICS_OK;
}

/* The way along a principal meridian that makes prism there; false without
 * power.  A meridian without power needs none where no prism is asked for. */
static bool way_along(double power, double prism, double *ret_cm)
{
    *ret_cm = 0;
    if (fabs(power) < NO_POWER)
        return fabs(prism) < NO_PRISM;
    *ret_cm = prism / power;
    return true;
}

enum optics_fault optics_shift_of_prism(enum optics_eye eye,
    struct optics_power power, struct optics_prism prism,
    struct optics_shift *ret)
{
    enum optics_fault fault = optics_power_check(power);
    double x = in_sign(eye) * prism.base_in, y = prism.base_up;
    double s, c, along, across;

    if (fault == OPTICS_OK)
        fault = optics_prism_check(prism);
    if (fault != OPTICS_OK)
        return fault;
    optics_sincos_deg(power.axis, &s, &c);
    if (!way_along(power.sph, x * c + y * s, &along))
        return OPTICS_BAD_NO_SPHERE;
    if (!way_along(power.sph + power.cyl, y * c - x * s, &across))
        return OPTICS_BAD_NO_MERIDIAN;
    x = along * c - across * s;
    y = along * s + across * c;
    ret->in_mm = optics_clean(x * MM_PER_CM * in_sign(eye));
    ret->up_mm = optics_clean(y * MM_PER_CM);
    return OPTICS_OK;
}

enum optics_fault optics_prism_imbalance(struct optics_power right,
    struct optics_power left, double down_mm, struct optics_imbalance *ret)
{
    /* An eye that looks down meets what a centre raised as much would give. */
    struct optics_shift shift = {0, down_mm};
    enum optics_fault fault = optics_power_check(right);

    if (fault == OPTICS_OK)
        fault = optics_power_check(left);
    if (fault == OPTICS_OK)
        fault = optics_fault_check(OPTICS_BAD_DOWN_MM, down_mm);
    if (fault != OPTICS_OK)
        return fault;
    ret->right = prism_at(OPTICS_RIGHT, right, shift);
    ret->left = prism_at(OPTICS_LEFT, left, shift);
    ret->vertical = optics_clean(ret->right.base_up - ret->left.base_up);
    return OPTICS_OK;
}

enum optics_fault optics_prism_of_pd(enum optics_eye eye,
    struct optics_power power, double centre_mm, double pd_mm,
    struct optics_prism *ret)
{
    /* A centre too wide stands outwards of the eye. */
    struct optics_shift shift = {pd_mm - centre_mm, 0};
    enum optics_fault fault = optics_power_check(power);

    if (fault == OPTICS_OK)
        fault = optics_fault_first((struct optics_arg[]){
            {OPTICS_BAD_CENTRE_MM, centre_mm},
            {OPTICS_BAD_PD_MM, pd_mm},
            {OPTICS_OK, 0},
        });
    if (fault != OPTICS_OK)
        return fault;
    *ret = prism_at(eye, power, shift);
    return OPTICS_OK;
}
