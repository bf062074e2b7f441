#pragma once
/*
 * optics/batch.h - the arithmetic of power.h and vector.h over many lenses at
 * once.
 *
 * Structures of arrays, n elements an array, so that compilers work on several
 * lenses with one instruction.  Sine, cosine and arctangent are polynomials
 * that choose nothing instead of libm's.  Their errors, before rounding:
 *
 *   sine of the doubled axis      2.0e-15, none at multiples of 45 degrees
 *   cosine of the doubled axis    2.2e-14, none there
 *   axis by arctangent            1.8e-11 degree
 *
 * so that within optics_power_check's +-1000 D every result is within 1e-9 D,
 * and an axis within 1e-9 degree, of the function for one lens that each
 * comment names; the tests hold them to it over the whole range.  But the axis
 * of a difference is as doubtful as its cylinder is small beside the powers
 * (of +-20 D: from 0.1 D on it is that close), with any arithmetic.  What that
 * function takes for rounding (an axis within 1e-6 of 0, a cylinder under
 * 1e-9) is taken so here: within 1e-9 of such an edge either answer may come.
 *
 * Every power must pass optics_power_check, every vector must be finite and
 * within +-1e6 D; nothing is checked here.  An array that a
 * function fills may be one that it reads, and must not overlap one otherwise.
 * n may be 0, but for the mean.  No result is NaN, infinite or -0.
 */
#include <stddef.h>

#include "optics/vector.h"

/* Borrowed arrays of n each; D, D and degrees, 0 where there is no cylinder. */
struct optics_powers {
    double *sph, *cyl, *axis;
};

struct optics_vectors {
    double *m, *j0, *j45;
};

/* optics_vector_of each. */
void optics_batch_vectors(
    size_t n, struct optics_powers powers, struct optics_vectors ret);

/* optics_vector_power each. */
void optics_batch_powers(size_t n, struct optics_vectors vectors,
    enum optics_form form, struct optics_powers ret);

/* optics_power_as each: normal form, in the cylinder sign of form. */
void optics_batch_as(size_t n, struct optics_powers powers,
    enum optics_form form, struct optics_powers ret);

/* optics_power_change each: what must be added to old to get new. */
void optics_batch_change(size_t n, struct optics_powers old_powers,
    struct optics_powers new_powers, struct optics_powers ret);

/* Mean and spread as optics_mean makes them (with this), of 1 vector or more
 * and with no upper limit; OPTICS_BAD_READINGS for none.  Not in the order of
 * the array. */
enum optics_fault optics_batch_mean(
    size_t n, struct optics_vectors vectors, struct optics_mean *ret);
