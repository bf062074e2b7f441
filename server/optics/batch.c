#include "optics/batch.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

/* Results go to arrays of this many that nobody else knows, and from there to
 * the caller's, which may be the ones that are read: a compiler that had to
 * fear this would work on one lens at a time. */
#define LANES 512

static const double NO_CYL = 1e-9;   /* D, as in vector.c */
static const double NEAR_DEG = 1e-6; /* as in angle.c */
static const double NOISE = 1e-12;   /* as in angle.c */

/* Powers (sph, cyl, axis) or vectors (m, j0, j45). */
struct lanes {
    double a[LANES], b[LANES], c[LANES];
};

/* What a caller's three arrays are to the loops below. */
struct columns {
    double *a, *b, *c;
};

static struct columns columns_p(struct optics_powers p)
{
    return (struct columns){p.sph, p.cyl, p.axis};
}

static struct columns columns_v(struct optics_vectors v)
{
    return (struct columns){v.m, v.j0, v.j45};
}

static struct columns from_at(struct columns from, size_t at)
{
    return (struct columns){from.a + at, from.b + at, from.c + at};
}

static void keep(
    struct columns to, const struct lanes *from, size_t at, size_t n)
{
    memcpy(to.a + at, from->a, n * sizeof(double));
    memcpy(to.b + at, from->b, n * sizeof(double));
    memcpy(to.c + at, from->c, n * sizeof(double));
}

/* How many of n there are from at, in one round of the loops. */
static size_t lanes_at(size_t at, size_t n)
{
    return n - at < LANES ? n - at : LANES;
}

/*
 * Sine and cosine of the doubled axis by t = (A - 90) / 45 in [-2, 2], z = t^2:
 * sin 2A = -sin(t pi/2) and cos 2A = -cos(t pi/2), each the factor with its
 * zeros times a polynomial in z through 9 points of the rest, Chebyshev's for
 * the sine, for the cosine those with both ends, computed with 60 digits; then
 * the sine's last coefficient moved by some 1e-16, so that both are exact at
 * multiples of 45 degrees.  One polynomial for the whole circle: no quadrant
 * is looked for.  Errors: 2e-15 and 2.2e-14.
 */
static inline double minus_sine(double t, double z)
{
    double p = 3.8447683650395e-14;

    p = p * z - 5.864080234852116e-12;
    p = p * z + 6.450923822896257e-10;
    p = p * z - 5.4340550125516696e-08;
    p = p * z + 3.3814794245266385e-06;
    p = p * z - 0.00014691526511606505;
    p = p * z + 0.00409409307344683;
    p = p * z - 0.06331625395186181;
    p = p * z + 0.3926990816987232;
    return p * (t * (4 - z));
}

static inline double minus_cosine(double z)
{
    double p = 4.678204391031578e-13;

    p = p * z - 6.470840636032906e-11;
    p = p * z + 6.319796810569477e-09;
    p = p * z - 4.647622241352715e-07;
    p = p * z + 2.4737271464332195e-05;
    p = p * z - 0.0008945229950777427;
    p = p * z + 0.019968957763809348;
    p = p * z - 0.23370055013607044;
    p = p * z + 1;
    return p * (1 - z);
}

/* Arctangent of x in degrees for 0 <= x <= tan 22.5, through 8
 * Chebyshev points.  Error: 1.8e-11 degree. */
static inline double arctangent(double x)
{
    double z = x * x, p = -2.1574786516576623;

    p = p * z + 3.9959209293181113;
    p = p * z - 5.1523532857055026;
    p = p * z + 6.361812188880644;
    p = p * z - 8.1849235824293345;
    p = p * z + 11.459151922597119;
    p = p * z - 19.098593138706409;
    p = p * z + 57.295779513039051;
    return x * p;
}

static void vectors_of(size_t n, struct columns p, struct lanes *restrict v)
{
    for (size_t i = 0; i < n; i++) {
        double t = (p.c[i] - 90) * (1 / 45.0);
        double z = t * t, half = p.b[i] * 0.5;

        v->a[i] = p.a[i] + half + 0.0; /* -0 + 0 is 0 */
        v->b[i] = half * minus_cosine(z) + 0.0;
        v->c[i] = half * minus_sine(t, z) + 0.0;
    }
}

/* 180 for what is as near to 0 or 180 as nobody can measure. */
static inline double snapped(double axis)
{
    return fabs(axis - 90) > 90 - NEAR_DEG ? 180 : axis;
}

/* Degrees in (0, 180], from 0 to 270. */
static inline double normal(double axis)
{
    double over = axis > 180 ? 1 : 0;

    return snapped(axis - 180 * over);
}

/*
 * Half the angle of (j0, j45), 0 to 180 degrees.  Half of an angle under 45
 * with the sides low <= high is that of low and high + length; then come the
 * mirrors of the eighths, quarters and halves.
 */
static inline double axis_of(double j0, double j45, double length)
{
    double u = fabs(j0), w = fabs(j45);
    double low = u < w ? u : w, high = u < w ? w : u;
    /* DBL_MIN: 0 / 0 is no angle. */
    double a = arctangent(low / (high + length + DBL_MIN));
    double eighth = 45 - a;
    double b = u < w ? eighth : a;
    double quarter = 90 - b;
    double c = j0 < 0 ? quarter : b;
    double mirror = 180 - c;

    return j45 < 0 ? mirror : c;
}

/* sign: -1 for minus cylinders, 1 for plus. */
static void powers_of(
    size_t n, struct columns v, double sign, struct lanes *restrict p)
{
    double turn = sign < 0 ? 0 : 90;

    for (size_t i = 0; i < n; i++) {
        double half = sqrt(v.b[i] * v.b[i] + v.c[i] * v.c[i]);
        double axis = normal(axis_of(v.b[i], v.c[i], half) + turn);
        double have = 2 * half < NO_CYL ? 0 : 1;
        double part = sign * have * half;

        p->a[i] = v.a[i] - part + 0.0; /* -0 + 0 is 0 */
        p->b[i] = 2 * part + 0.0;
        p->c[i] = have * axis;
    }
}

static void as_form(
    size_t n, struct columns in, double sign, struct lanes *restrict ret)
{
    for (size_t i = 0; i < n; i++) {
        double have = fabs(in.b[i]) < NO_CYL ? 0 : 1;
        double cyl = have * in.b[i];
        double turn = cyl * sign < 0 ? 1 : 0;

        ret->a[i] = in.a[i] + turn * cyl + 0.0; /* -0 + 0 is 0 */
        ret->b[i] = cyl - 2 * turn * cyl + 0.0;
        ret->c[i] = have * normal(snapped(in.c[i]) + 90 * turn);
    }
}

static void subtract(
    size_t n, struct lanes *restrict a, const struct lanes *restrict b)
{
    for (size_t i = 0; i < n; i++) {
        a->a[i] -= b->a[i];
        a->b[i] -= b->b[i];
        a->c[i] -= b->c[i];
    }
}

static double sign_of(enum optics_form form)
{
    return form == OPTICS_MINUS_CYL ? -1 : 1;
}

void optics_batch_vectors(
    size_t n, struct optics_powers powers, struct optics_vectors ret)
{
    struct lanes v;

    for (size_t at = 0; at < n; at += LANES) {
        size_t k = lanes_at(at, n);

        vectors_of(k, from_at(columns_p(powers), at), &v);
        keep(columns_v(ret), &v, at, k);
    }
}

void optics_batch_powers(size_t n, struct optics_vectors vectors,
    enum optics_form form, struct optics_powers ret)
{
    struct lanes p;

    for (size_t at = 0; at < n; at += LANES) {
        size_t k = lanes_at(at, n);
        struct columns v = from_at(columns_v(vectors), at);

        powers_of(k, v, sign_of(form), &p);
        keep(columns_p(ret), &p, at, k);
    }
}

void optics_batch_as(size_t n, struct optics_powers powers,
    enum optics_form form, struct optics_powers ret)
{
    struct lanes out;

    for (size_t at = 0; at < n; at += LANES) {
        size_t k = lanes_at(at, n);
        struct columns in = from_at(columns_p(powers), at);

        as_form(k, in, sign_of(form), &out);
        keep(columns_p(ret), &out, at, k);
    }
}

void optics_batch_change(size_t n, struct optics_powers old_powers,
    struct optics_powers new_powers, struct optics_powers ret)
{
    struct lanes was, is;

    for (size_t at = 0; at < n; at += LANES) {
        size_t k = lanes_at(at, n);

        vectors_of(k, from_at(columns_p(old_powers), at), &was);
        vectors_of(k, from_at(columns_p(new_powers), at), &is);
        subtract(k, &is, &was);
        powers_of(k, (struct columns){is.a, is.b, is.c}, -1, &was);
        keep(columns_p(ret), &was, at, k);
    }
}

/* As optics_clean, which is in a library that may need this one. */
static double clean(double x)
{
    return fabs(x) < NOISE ? 0 : x;
}

/* Sums of eight at once: another order than one after the other, which a
 * compiler may not choose by itself. */
static double sum(size_t n, const double *x, double less, bool squared)
{
    double part[8] = {0}, all = 0;
    size_t i = 0;

    for (; i + 8 <= n; i += 8)
        for (int k = 0; k < 8; k++) {
            double d = x[i + (size_t)k] - less;

            part[k] += squared ? d * d : d;
        }
    for (; i < n; i++)
        part[i % 8] += squared ? (x[i] - less) * (x[i] - less) : x[i] - less;
    for (int k = 0; k < 8; k++)
        all += part[k];
    return all;
}

enum optics_fault optics_batch_mean(
    size_t n, struct optics_vectors vectors, struct optics_mean *ret)
{
    double count = (double)n, free_count = n > 1 ? count - 1 : 1;
    struct optics_vector mean, squares;

    if (n == 0)
        return OPTICS_BAD_READINGS;
    mean.m = clean(sum(n, vectors.m, 0, false) / count);
    mean.j0 = clean(sum(n, vectors.j0, 0, false) / count);
    mean.j45 = clean(sum(n, vectors.j45, 0, false) / count);
    squares.m = sum(n, vectors.m, mean.m, true);
    squares.j0 = sum(n, vectors.j0, mean.j0, true);
    squares.j45 = sum(n, vectors.j45, mean.j45, true);
    ret->mean = mean;
    ret->sd = (struct optics_vector){sqrt(squares.m / free_count),
        sqrt(squares.j0 / free_count), sqrt(squares.j45 / free_count)};
    ret->sd_total = sqrt((squares.m + squares.j0 + squares.j45) / free_count);
    return OPTICS_OK;
}
