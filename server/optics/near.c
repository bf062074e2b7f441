#include "optics/near.h"

#include <math.h>
#include <stddef.h>

#include "optics/angle.h"

static const double CM_PER_M = 100;
static const double NO_POWER = 1e-6; /* D */

enum optics_fault optics_amplitude_hofstetter(
    double age_years, struct optics_amplitude *ret)
{
    enum optics_fault fault =
        optics_fault_check(OPTICS_BAD_AGE_YEARS, age_years);

    if (fault != OPTICS_OK)
        return fault;
    ret->minimum = fmax(15 - 0.25 * age_years, 0);
    ret->average = fmax(18.5 - 0.30 * age_years, 0);
    ret->maximum = fmax(25 - 0.40 * age_years, 0);
    return OPTICS_OK;
}

#define DONDERS_FIRST 10
#define DONDERS_STEP 5

enum optics_fault optics_amplitude_donders(double age_years, double *ret)
{
    /* At 10, 15 ... 75 years, D. */
    static const double table[] = {
        14, 12, 10, 8.5, 7, 5.5, 4.5, 3.5, 2.5, 1.75, 1, 0.5, 0.25, 0};
    static const int last = sizeof(table) / sizeof(table[0]) - 1;
    enum optics_fault fault =
        optics_fault_check(OPTICS_BAD_DONDERS_AGE, age_years);
    double place = (age_years - DONDERS_FIRST) / DONDERS_STEP;
    int i;

    if (fault != OPTICS_OK)
        return fault;
    i = place < last ? (int)place : last - 1;
    *ret = table[i] + (place - i) * (table[i + 1] - table[i]);
    return OPTICS_OK;
}

static const struct {
    double from, to; /* years, both inclusive */
    struct optics_band add;
} ADDS[] = {
    {45, 50, {1.00, 1.25}},
    {50, 55, {1.50, 1.75}},
    {55, 60, {2.00, 2.25}},
    {60, INFINITY, {2.50, 3.00}},
};

enum optics_fault optics_add_by_age(double age_years, struct optics_band *ret)
{
    enum optics_fault fault = optics_fault_check(OPTICS_BAD_ADD_AGE, age_years);
    struct optics_band add = {0, 0};

    if (fault != OPTICS_OK)
        return fault;
    for (size_t i = 0; i < sizeof(ADDS) / sizeof(ADDS[0]); i++)
        if (age_years >= ADDS[i].from && age_years <= ADDS[i].to) {
            add.low = add.low == 0 ? ADDS[i].add.low : add.low;
            add.high = ADDS[i].add.high;
        }
    *ret = add;
    return OPTICS_OK;
}

enum optics_fault optics_add_from_amplitude(
    double distance_cm, double amplitude, double fraction, double *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_DISTANCE_CM, distance_cm},
        {OPTICS_BAD_AMPLITUDE, amplitude},
        {OPTICS_BAD_FRACTION, fraction},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret = fmax(
            optics_clean(CM_PER_M / distance_cm - fraction * amplitude), 0);
    return fault;
}

enum optics_fault optics_add_at_distance(double add, double distance_cm,
    double new_distance_cm, struct optics_add_moved *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_ADD_POWER, add},
        {OPTICS_BAD_DISTANCE_CM, distance_cm},
        {OPTICS_BAD_NEW_DISTANCE_CM, new_distance_cm},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    ret->shift =
        optics_clean(CM_PER_M / new_distance_cm - CM_PER_M / distance_cm);
    ret->add = fmax(optics_clean(add + ret->shift), 0);
    return OPTICS_OK;
}

static double focus_cm(double power)
{
    return power < NO_POWER ? 0 : CM_PER_M / power;
}

enum optics_fault optics_clear_range(
    double add, double amplitude, struct optics_clear_range *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_ADD_POWER, add},
        {OPTICS_BAD_AMPLITUDE, amplitude},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    ret->far_cm = focus_cm(add);
    ret->near_cm = focus_cm(add + amplitude);
    return OPTICS_OK;
}
