#include "optics/cornea.h"

#include <math.h>

#include "optics/angle.h"
#include "optics/vector.h"

static const double MM_PER_M = 1000;
static const double HALF_BAND_DEG = 30 + 1e-9; /* a tie of doubles is inside */

static double power_of(double radius_mm, double index)
{
    return (index - 1) * MM_PER_M / radius_mm;
}

enum optics_fault optics_cornea_power(
    double radius_mm, double index, double *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_RADIUS_MM, radius_mm},
        {OPTICS_BAD_INDEX, index},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret = power_of(radius_mm, index);
    return fault;
}

enum optics_fault optics_cornea_radius(
    double power, double index, double *ret_mm)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_POWER, power},
        {OPTICS_BAD_INDEX, index},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret_mm = (index - 1) * MM_PER_M / power;
    return fault;
}

enum optics_fault optics_cornea_average(double flat_mm, double steep_mm,
    double index, struct optics_cornea_mean *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_FLAT_MM, flat_mm},
        {OPTICS_BAD_STEEP_MM, steep_mm},
        {OPTICS_BAD_INDEX, index},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    ret->mean_power_of_powers =
        (power_of(flat_mm, index) + power_of(steep_mm, index)) / 2;
    ret->mean_radius_mm = (flat_mm + steep_mm) / 2;
    ret->power_of_mean_radius = power_of(ret->mean_radius_mm, index);
    return OPTICS_OK;
}

const char *optics_rule_word(enum optics_rule rule)
{
    static const char *const words[] = {
        "none", "with-the-rule", "against-the-rule", "oblique"};

    return words[rule];
}

enum optics_rule optics_rule_of(struct optics_power power)
{
    struct optics_power p = optics_power_as(power, OPTICS_MINUS_CYL);

    if (p.cyl == 0)
        return OPTICS_RULE_NONE;
    if (optics_axis_difference(p.axis, 180) <= HALF_BAND_DEG)
        return OPTICS_RULE_WITH;
    if (optics_axis_difference(p.axis, 90) <= HALF_BAND_DEG)
        return OPTICS_RULE_AGAINST;
    return OPTICS_RULE_OBLIQUE;
}

enum optics_fault optics_cornea_astigmatism(double flat_power, double flat_axis,
    double steep_power, struct optics_power *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_FLAT_POWER, flat_power},
        {OPTICS_BAD_FLAT_AXIS, flat_axis},
        {OPTICS_BAD_STEEP_POWER, steep_power},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK && steep_power < flat_power)
        fault = OPTICS_BAD_STEEP_ORDER;
    if (fault == OPTICS_OK)
        *ret = optics_power_normal(
            (struct optics_power){0, flat_power - steep_power, flat_axis});
    return fault;
}

enum optics_fault optics_cornea_expected(struct optics_power corneal,
    double factor, double constant, struct optics_power *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_CORNEAL_CYLINDER, corneal.cyl},
        {OPTICS_BAD_CORNEAL_AXIS, corneal.axis},
        {OPTICS_BAD_FACTOR, factor},
        {OPTICS_BAD_CONSTANT, constant},
        {OPTICS_OK, 0},
    });
    struct optics_power scaled, lens;

    if (fault == OPTICS_OK && corneal.cyl != 0 && corneal.axis == 0)
        fault = OPTICS_BAD_NO_CORNEAL_AXIS;
    if (fault != OPTICS_OK)
        return fault;
    scaled = optics_power_normal(
        (struct optics_power){0, factor * corneal.cyl, corneal.axis});
    lens = optics_power_sum(scaled, (struct optics_power){0, constant, 90});
    *ret = (struct optics_power){0, lens.cyl, lens.axis};
    return OPTICS_OK;
}
