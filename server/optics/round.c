#include "optics/round.h"

#include <math.h>
#include <stdlib.h>

#include "optics/angle.h"

static const double TIE = 1e-9; /* D */

enum optics_fault optics_round_quarter(double value, struct optics_quarter *ret)
{
    enum optics_fault fault = optics_fault_check(OPTICS_BAD_VALUE, value);
    double quarters = fabs(value) * 4;
    double down = floor(quarters + 4 * TIE);

    if (fault != OPTICS_OK)
        return fault;
    ret->tie = fabs(quarters - down - 0.5) <= 4 * TIE;
    ret->half_away = copysign(round(quarters), value) / 4 + 0.0;
    ret->half_even = ret->half_away;
    if (ret->tie) {
        ret->half_away = copysign(down + 1, value) / 4;
        ret->half_even =
            copysign(fmod(down, 2) == 0 ? down : down + 1, value) / 4 + 0.0;
    }
    return OPTICS_OK;
}

enum optics_fault optics_step_find(double step, enum optics_step *ret)
{
    if (step == 0.25)
        *ret = OPTICS_STEP_QUARTER;
    else if (step == 0.125 || step == 0.12)
        *ret = OPTICS_STEP_EIGHTH;
    else
        return OPTICS_BAD_STEP;
    return OPTICS_OK;
}

static double step_size(enum optics_step step)
{
    return step == OPTICS_STEP_QUARTER ? 0.25 : 0.125;
}

int32_t optics_step_written(enum optics_step step, int32_t count)
{
    int32_t eighths = step == OPTICS_STEP_QUARTER ? 2 * count : count;

    return eighths * 25 / 2; /* cut towards zero, as printed */
}

bool optics_step_count(
    enum optics_step step, int32_t written_cd, int32_t *ret_count)
{
    double count = round(written_cd / 100.0 / step_size(step));

    if (optics_step_written(step, (int32_t)count) != written_cd)
        return false;
    *ret_count = (int32_t)count;
    return true;
}

/* The true eighth that x stands for as written, or x. */
static double true_eighth(double x)
{
    double eighths = round(x * 8);
    double cut = trunc(eighths * 12.5) / 100;

    return fabs(x - cut) < TIE ? eighths / 8 : x;
}

/* One candidate: cylinder count steps, axis and sphere the best for it. */
static struct optics_orderable candidate(struct optics_power wanted,
    struct optics_vector v, enum optics_step step, int32_t count)
{
    double size = step_size(step);
    struct optics_orderable c = {.exact.cyl = count * size};
    double sphere = v.m - c.exact.cyl / 2;

    c.exact.sph = optics_round_to(sphere, size);
    if (count != 0)
        c.exact.axis = optics_axis_normal(floor(wanted.axis + 0.5));
    c.residual = optics_vector_difference(v, optics_vector_of(c.exact));
    c.distance = optics_vector_blur(c.residual);
    return c;
}

/* A minus cylinder has no count above 0. */
static int32_t weakest(int32_t count)
{
    return count > 0 ? 0 : count;
}

struct optics_orderable optics_round_orderable(
    struct optics_power wanted, enum optics_step step)
{
    double size = step_size(step);
    struct optics_power w = optics_power_normal(wanted);
    struct optics_orderable best;
    struct optics_vector v;
    int32_t nearest;

    if (step == OPTICS_STEP_EIGHTH) {
        w.sph = true_eighth(w.sph);
        w.cyl = true_eighth(w.cyl);
    }
    w = optics_power_as(w, OPTICS_MINUS_CYL);
    v = optics_vector_of(w);
    nearest = (int32_t)round(w.cyl / size);
    /* The sphere can make up for one step of the cylinder, not for three. */
    best = candidate(w, v, step, weakest(nearest + 2));
    for (int32_t n = weakest(nearest + 2) - 1; n >= nearest - 2; n--) {
        struct optics_orderable next = candidate(w, v, step, n);

        if (next.distance < best.distance - TIE)
            best = next;
    }
    best.rx = (struct optics_rx){
        .sph_cd =
            optics_step_written(step, (int32_t)round(best.exact.sph / size)),
        .cyl_cd =
            optics_step_written(step, (int32_t)round(best.exact.cyl / size)),
        .axis_cdeg = (int32_t)round(best.exact.axis * 100),
    };
    return best;
}
