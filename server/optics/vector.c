#include "optics/vector.h"

#include <math.h>

#include "optics/angle.h"
#include "optics/batch.h"

#define MOST_READINGS 1000 /* the range in fault.def */

static const double NO_CYL = 1e-9; /* D */

struct optics_vector optics_vector_of(struct optics_power power)
{
    double s, c;

    optics_sincos_deg(2 * power.axis, &s, &c);
    return (struct optics_vector){
        optics_clean(power.sph + power.cyl / 2),
        optics_clean(-power.cyl / 2 * c),
        optics_clean(-power.cyl / 2 * s),
    };
}

struct optics_power optics_vector_power(
    struct optics_vector v, enum optics_form form)
{
    double half = hypot(v.j0, v.j45);
    double axis;

    if (2 * half < NO_CYL)
        return (struct optics_power){optics_clean(v.m), 0, 0};
    axis = atan2(v.j45, v.j0) * (90 / M_PI);
    if (form == OPTICS_PLUS_CYL)
        return (struct optics_power){
            optics_clean(v.m - half), 2 * half, optics_axis_normal(axis + 90)};
    return (struct optics_power){
        optics_clean(v.m + half), -2 * half, optics_axis_normal(axis)};
}

enum optics_fault optics_vector_check(struct optics_vector v)
{
    return optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_M, v.m},
        {OPTICS_BAD_J0, v.j0},
        {OPTICS_BAD_J45, v.j45},
        {OPTICS_OK, 0},
    });
}

double optics_vector_blur(struct optics_vector v)
{
    return sqrt(v.m * v.m + v.j0 * v.j0 + v.j45 * v.j45);
}

double optics_vector_astigmatism(struct optics_vector v)
{
    return hypot(v.j0, v.j45);
}

struct optics_vector optics_vector_sum(
    struct optics_vector a, struct optics_vector b)
{
    return (struct optics_vector){
        optics_clean(a.m + b.m),
        optics_clean(a.j0 + b.j0),
        optics_clean(a.j45 + b.j45),
    };
}

struct optics_vector optics_vector_difference(
    struct optics_vector a, struct optics_vector minus_b)
{
    struct optics_vector turned = {-minus_b.m, -minus_b.j0, -minus_b.j45};

    return optics_vector_sum(a, turned);
}

struct optics_vector optics_vector_rounded(struct optics_vector v)
{
    return (struct optics_vector){
        optics_round_to(v.m, 1e-4),
        optics_round_to(v.j0, 1e-4),
        optics_round_to(v.j45, 1e-4),
    };
}

struct optics_power optics_power_sum(
    struct optics_power first, struct optics_power second)
{
    return optics_vector_power(
        optics_vector_sum(optics_vector_of(first), optics_vector_of(second)),
        OPTICS_MINUS_CYL);
}

static struct optics_vector change(struct optics_power a, struct optics_power b)
{
    return optics_vector_difference(optics_vector_of(b), optics_vector_of(a));
}

struct optics_power optics_power_change(
    struct optics_power old_power, struct optics_power new_power)
{
    return optics_vector_power(change(old_power, new_power), OPTICS_MINUS_CYL);
}

double optics_power_distance(struct optics_power a, struct optics_power b)
{
    return optics_vector_blur(change(a, b));
}

enum optics_fault optics_mean(
    const struct optics_power *readings, size_t n, struct optics_mean *ret)
{
    double column[3][MOST_READINGS];
    struct optics_powers powers = {column[0], column[1], column[2]};
    struct optics_vectors vectors = {column[0], column[1], column[2]};
    enum optics_fault fault;

    fault = optics_fault_check(OPTICS_BAD_READINGS, (double)n);
    for (size_t i = 0; i < n && fault == OPTICS_OK; i++) {
        fault = optics_power_check(readings[i]);
        powers.sph[i] = readings[i].sph;
        powers.cyl[i] = readings[i].cyl;
        powers.axis[i] = readings[i].axis;
    }
    if (fault != OPTICS_OK)
        return fault;
    optics_batch_vectors(n, powers, vectors);
    return optics_batch_mean(n, vectors, ret);
}

struct optics_matrix optics_matrix_of(struct optics_power power)
{
    double s, c;

    optics_sincos_deg(power.axis, &s, &c);
    return (struct optics_matrix){
        optics_clean(power.sph + power.cyl * s * s),
        optics_clean(-power.cyl * s * c),
        optics_clean(power.sph + power.cyl * c * c),
    };
}

struct optics_vector optics_matrix_vector(struct optics_matrix f)
{
    return (struct optics_vector){
        (f.f11 + f.f22) / 2, (f.f11 - f.f22) / 2, f.f12};
}
