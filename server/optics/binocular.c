#include "optics/binocular.h"

#include <math.h>
#include <stddef.h>

#include "optics/angle.h"

static const double NO_CHANGE = 0.01; /* D */

static double not_below_0(double x)
{
    return fmax(optics_clean(x), 0);
}

enum optics_fault optics_sheard(double phoria, double reserve, double *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_PHORIA, phoria},
        {OPTICS_BAD_RESERVE, reserve},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret = not_below_0((2 * phoria - reserve) / 3);
    return fault;
}

enum optics_fault optics_percival(double greater, double lesser, double *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_GREATER, greater},
        {OPTICS_BAD_LESSER, lesser},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    if (lesser > greater)
        return OPTICS_BAD_LESSER_MORE;
    *ret = not_below_0((greater - 2 * lesser) / 3);
    return OPTICS_OK;
}

enum optics_fault optics_one_to_one(
    double eso, double base_in_recovery, double *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_ESO, eso},
        {OPTICS_BAD_BASE_IN_RECOVERY, base_in_recovery},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret = not_below_0((eso - base_in_recovery) / 2);
    return fault;
}

enum optics_fault optics_aca_calculated(double pd_cm, double near_m,
    double far_phoria, double near_phoria, double *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_PD_CM, pd_cm},
        {OPTICS_BAD_NEAR_M, near_m},
        {OPTICS_BAD_FAR_PHORIA, far_phoria},
        {OPTICS_BAD_NEAR_PHORIA, near_phoria},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret = optics_clean(pd_cm + near_m * (near_phoria - far_phoria));
    return fault;
}

enum optics_fault optics_aca_gradient(double lens_change,
    double phoria_without_lens, double phoria_with_lens, double *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_LENS_CHANGE, lens_change},
        {OPTICS_BAD_PHORIA_WITHOUT_LENS, phoria_without_lens},
        {OPTICS_BAD_PHORIA_WITH_LENS, phoria_with_lens},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    if (fabs(lens_change) < NO_CHANGE)
        return OPTICS_BAD_NO_LENS_CHANGE;
    *ret = optics_clean((phoria_with_lens - phoria_without_lens) / lens_change);
    return OPTICS_OK;
}

enum optics_fault optics_sphere_for_prism(
    double base_in, double ac_a, double *ret_sphere)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_BASE_IN, base_in},
        {OPTICS_BAD_AC_A, ac_a},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret_sphere = optics_clean(-base_in / ac_a);
    return fault;
}

const char *const OPTICS_FINDINGS[] = {
#define FINDING(word, mean, sd, narrow) word,
#include "optics/findings.def"
#undef FINDING
    NULL,
};

enum optics_fault optics_finding_expected(
    int finding, double value, struct optics_expected *ret)
{
    static const struct optics_expected table[] = {
#define FINDING(word, mean, sd, narrow) {mean, sd, narrow, 0},
#include "optics/findings.def"
#undef FINDING
    };
    enum optics_fault fault =
        optics_fault_check(OPTICS_BAD_FINDING_VALUE, value);

    if (fault != OPTICS_OK)
        return fault;
    *ret = table[finding];
    ret->difference = optics_clean(value - ret->mean);
    return OPTICS_OK;
}
