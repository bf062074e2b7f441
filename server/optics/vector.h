#pragma once
/*
 * optics/vector.h - powers that can be added: the power vector and the power
 * matrix.
 *
 * M = S + C/2, J0 = -(C/2) cos 2A, J45 = -(C/2) sin 2A, in dioptres (Thibos,
 * Wheeler & Horner 1997; J0's formula from memory, tried against the matrix in
 * the tests).  Sphere, cylinder and axis are never added or averaged one by
 * one: the sum of two lenses is the sum of their vectors.
 *
 * Vectors must be finite and within +-1e6 D; powers must pass
 * optics_power_check.  Results in power form have minus cylinder unless a form
 * is asked for; a cylinder under 1e-9 D is none.
 */
#include <stddef.h>

#include "optics/power.h"

struct optics_vector {
    double m, j0, j45;
};

struct optics_vector optics_vector_of(struct optics_power power);

/* C = -+2 sqrt(J0^2 + J45^2), S = M - C/2, A = atan2(J45, J0) / 2; the
 * two-argument arctangent, or the axis is 90 degrees out where J0 < 0. */
struct optics_power optics_vector_power(
    struct optics_vector v, enum optics_form form);

/* OPTICS_OK, or OPTICS_BAD_M, _J0, _J45: not finite or beyond +-1000 D. */
enum optics_fault optics_vector_check(struct optics_vector v);

/* Blur strength: the length of the vector, D (Thibos & Horner 2001). */
double optics_vector_blur(struct optics_vector v);

/* Length of the astigmatic part (J0, J45), D: half the cylinder. */
double optics_vector_astigmatism(struct optics_vector v);

struct optics_vector optics_vector_sum(
    struct optics_vector a, struct optics_vector b);
struct optics_vector optics_vector_difference(
    struct optics_vector a, struct optics_vector minus_b);

/* Each part to 0.0001 D, as a computed figure leaves the record. */
struct optics_vector optics_vector_rounded(struct optics_vector v);

/* The lens that first and second make together, thin and in contact. */
struct optics_power optics_power_sum(
    struct optics_power first, struct optics_power second);

/* What must be added to old to get new. */
struct optics_power optics_power_change(
    struct optics_power old_power, struct optics_power new_power);

/* How far apart two lenses are, D; 0 for two notations of one lens. */
double optics_power_distance(struct optics_power a, struct optics_power b);

struct optics_mean {
    struct optics_vector mean;
    struct optics_vector sd; /* with n - 1; 0 for one reading */
    double sd_total;         /* root of the sum of the three variances */
};

/* Mean and spread of 1 to 1000 readings; OPTICS_BAD_READINGS for another
 * number, the fault of the first senseless reading otherwise. */
enum optics_fault optics_mean(
    const struct optics_power *readings, size_t n, struct optics_mean *ret);

/* The power matrix (Long 1976): x to the examiner's right, y up, D. */
struct optics_matrix {
    double f11, f12, f22; /* f21 = f12 */
};

struct optics_matrix optics_matrix_of(struct optics_power power);
struct optics_vector optics_matrix_vector(struct optics_matrix f);
