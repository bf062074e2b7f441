/* Many lenses at once: the same as one by one, and the same as libm. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "draw.h"
#include "properties.h"

#include "optics/angle.h"
#include "optics/batch.h"

#define N 1003      /* not a multiple of anything that the loops count by */
#define ROUNDS 1000 /* a million lenses */
#define NEAR 1e-9

static const enum optics_form FORMS[] = {OPTICS_MINUS_CYL, OPTICS_PLUS_CYL};

static double column[9][N];
static const struct optics_powers P = {column[0], column[1], column[2]};
static const struct optics_powers Q = {column[3], column[4], column[5]};
static const struct optics_powers OUT = {column[6], column[7], column[8]};
static const struct optics_vectors VECTORS = {column[6], column[7], column[8]};

static struct optics_power power_at(struct optics_powers p, size_t i)
{
    return (struct optics_power){p.sph[i], p.cyl[i], p.axis[i]};
}

static struct optics_vector vector_at(size_t i)
{
    return (struct optics_vector){VECTORS.m[i], VECTORS.j0[i], VECTORS.j45[i]};
}

static void set(struct optics_powers p, size_t i, struct optics_power from)
{
    p.sph[i] = from.sph;
    p.cyl[i] = from.cyl;
    p.axis[i] = from.axis;
}

static void expect_near(double got, double want, double within)
{
    expect_sound("a batch", got);
    if (!(fabs(got - want) <= within))
        ck_abort_msg("%.17g, not %.17g", got, want);
}

static void expect_vector(struct optics_vector got, struct optics_vector want)
{
    expect_near(got.m, want.m, NEAR);
    expect_near(got.j0, want.j0, NEAR);
    expect_near(got.j45, want.j45, NEAR);
}

static void expect_mean(
    const struct optics_mean *got, const struct optics_mean *want)
{
    expect_vector(got->mean, want->mean);
    expect_vector(got->sd, want->sd);
    expect_near(got->sd_total, want->sd_total, NEAR);
}

/* Axes are compared where the cylinder is axis_from at least; below only the
 * lens is, and whether it has one. */
static void expect_same(
    struct optics_power got, struct optics_power want, double axis_from)
{
    expect_near(got.sph, want.sph, NEAR);
    expect_near(got.cyl, want.cyl, NEAR);
    expect_sound("a batch", got.axis);
    if ((got.axis == 0) != (got.cyl == 0) || got.axis < 0 || got.axis > 180)
        ck_abort_msg("cylinder %g at axis %g", got.cyl, got.axis);
    if (fabs(want.cyl) >= axis_from && want.cyl != 0 &&
        optics_axis_difference(got.axis, want.axis) > NEAR)
        ck_abort_msg("axis %.17g, not %.17g, of cylinder %g", got.axis,
            want.axis, want.cyl);
    if (optics_power_distance(got, want) > 3 * NEAR)
        ck_abort_msg("%.17g / %.17g x %.17g is another lens", got.sph, got.cyl,
            got.axis);
}

/* Over the whole circle in thousandths of a degree, against libm's long
 * double sine and cosine: cylinder 2 shows them as they are. */
START_TEST(sine_and_cosine_are_those_of_libm)
{
    for (int at = 0; at <= 180000; at += N) {
        for (int i = 0; i < N; i++) {
            int axis = at + i <= 180000 ? at + i : 180000;

            set(P, (size_t)i, (struct optics_power){0, -2, axis / 1000.0});
        }
        optics_batch_vectors(N, P, VECTORS);
        for (size_t i = 0; i < N; i++) {
            long double angle = P.axis[i] * (acosl(-1) / 90);

            expect_near(VECTORS.j0[i], (double)cosl(angle), 1e-13);
            expect_near(VECTORS.j45[i], (double)sinl(angle), 1e-13);
        }
    }
}
END_TEST

START_TEST(multiples_of_45_degrees_are_exact)
{
    struct optics_power p = {-2.25, -0.75, 45 * _i};
    struct optics_vector got, want = optics_vector_of(p);

    optics_batch_vectors(1, (struct optics_powers){&p.sph, &p.cyl, &p.axis},
        (struct optics_vectors){&got.m, &got.j0, &got.j45});
    ck_assert(got.m == want.m && got.j0 == want.j0 && got.j45 == want.j45);
}
END_TEST

/* The same for the arctangent; radii from as weak as a lens can be ordered to
 * beyond what one can be. */
START_TEST(axis_is_that_of_libm)
{
    static const double RADIUS[] = {0.005, 1, 20, 1000};

    for (int at = 0; at < 360000; at += N) {
        for (int i = 0; i < N; i++) {
            double angle = (at + i) * (M_PI / 180000);

            VECTORS.m[i] = 0;
            VECTORS.j0[i] = RADIUS[i % 4] * cos(angle);
            VECTORS.j45[i] = RADIUS[i % 4] * sin(angle);
        }
        /* In place: vectors become powers. */
        memcpy(P.sph, VECTORS.j0, sizeof(column[0]));
        memcpy(P.cyl, VECTORS.j45, sizeof(column[0]));
        optics_batch_powers(N, VECTORS, OPTICS_MINUS_CYL, OUT);
        for (size_t i = 0; i < N; i++) {
            long double axis = atan2l(P.cyl[i], P.sph[i]) * (90 / acosl(-1));

            expect_sound("a batch", OUT.axis[i]);
            if (OUT.axis[i] <= 0 || OUT.axis[i] > 180 ||
                optics_axis_difference(OUT.axis[i], (double)axis) > 2e-11)
                ck_abort_msg("%.17g, not %.17g", OUT.axis[i], (double)axis);
        }
    }
}
END_TEST

START_TEST(each_lens_of_a_batch_is_as_alone)
{
    struct random r = {.state = 11};
    double most = _i == 0 ? 20 : 1000;

    for (int round = 0; round < ROUNDS; round++) {
        for (size_t i = 0; i < N; i++) {
            set(P, i, draw_power(&r, most));
            set(Q, i, draw_power(&r, most));
        }
        optics_batch_vectors(N, P, VECTORS);
        for (size_t i = 0; i < N; i++)
            expect_vector(vector_at(i), optics_vector_of(power_at(P, i)));
        optics_batch_as(N, P, FORMS[round % 2], OUT);
        for (size_t i = 0; i < N; i++)
            expect_same(power_at(OUT, i),
                optics_power_as(power_at(P, i), FORMS[round % 2]), 0);
        optics_batch_change(N, P, Q, OUT);
        for (size_t i = 0; i < N; i++)
            expect_same(power_at(OUT, i),
                optics_power_change(power_at(P, i), power_at(Q, i)),
                most / 200);
    }
}
END_TEST

START_TEST(vectors_become_the_same_lenses)
{
    struct random r = {.state = 12};

    for (int round = 0; round < ROUNDS; round++) {
        static struct optics_vector was[N];

        for (size_t i = 0; i < N; i++) {
            was[i] = optics_vector_of(draw_power(&r, 1000));
            VECTORS.m[i] = was[i].m;
            VECTORS.j0[i] = was[i].j0;
            VECTORS.j45[i] = was[i].j45;
        }
        optics_batch_powers(N, VECTORS, FORMS[round % 2], OUT);
        for (size_t i = 0; i < N; i++)
            expect_same(power_at(OUT, i),
                optics_vector_power(was[i], FORMS[round % 2]), 1e-3);
    }
}
END_TEST

static const struct {
    const char *why;
    struct optics_power in, minus;
} EDGES[] = {
    {"a cylinder that is none loses its axis", {1, 1e-10, 40}, {1, 0, 0}},
    {"a plano lens stays plano", {0, 0, 0}, {0, 0, 0}},
    {"minus nothing is nothing", {-0.0, -0.0, 0}, {0, 0, 0}},
    {"axis 0 beside a cylinder is 180", {1, -2, 1e-9}, {1, -2, 180}},
    {"90 becomes 180", {1, 2, 90}, {3, -2, 180}},
    {"180 becomes 90", {1, 2, 180}, {3, -2, 90}},
    {"nearly 180 is 180 before it is turned", {1, 2, 1e-7}, {3, -2, 90}},
    {"meridians that cancel leave no -0", {-2, 2, 45}, {0, -2, 135}},
};

START_TEST(edges_of_a_form_are_kept)
{
    struct optics_power got, p = EDGES[_i].in, want = EDGES[_i].minus;

    optics_batch_as(1, (struct optics_powers){&p.sph, &p.cyl, &p.axis},
        OPTICS_MINUS_CYL,
        (struct optics_powers){&got.sph, &got.cyl, &got.axis});
    expect_same(got, want, 0);
    expect_same(got, optics_power_as(p, OPTICS_MINUS_CYL), 0);
    ck_assert_msg(got.axis == want.axis, "%s: %.17g", EDGES[_i].why, got.axis);
}
END_TEST

/* Equal lenses differ by nothing: no axis, and no -0. */
START_TEST(difference_of_equals_is_none)
{
    struct random r = {.state = 13};

    for (size_t i = 0; i < N; i++)
        set(P, i, draw_power(&r, 20));
    optics_batch_change(N, P, P, OUT);
    for (size_t i = 0; i < N; i++)
        expect_same(power_at(OUT, i), (struct optics_power){0}, 0);
}
END_TEST

/* Lengths around those of the loops; what stands behind the end stays. */
START_TEST(every_length_fills_its_own_and_no_more)
{
    struct random r = {.state = 14};

    for (size_t i = 0; i < N; i++)
        set(P, i, draw_power(&r, 20));
    for (size_t n = 0; n < N; n += n < 20 || (n > 250 && n < 260) ? 1 : 7) {
        for (size_t i = 0; i < N; i++)
            set(OUT, i, (struct optics_power){77, 77, 77});
        optics_batch_vectors(n, P, VECTORS);
        for (size_t i = 0; i < N; i++)
            expect_vector(
                vector_at(i), i < n ? optics_vector_of(power_at(P, i))
                                    : (struct optics_vector){77, 77, 77});
        optics_batch_powers(n, VECTORS, OPTICS_PLUS_CYL, OUT); /* in place */
        optics_batch_change(n, P, OUT, OUT);
        for (size_t i = 0; i < n; i++)
            ck_assert(
                power_at(OUT, i).cyl == 0 && fabs(power_at(OUT, i).sph) < NEAR);
    }
}
END_TEST

/* One after the other, in long doubles. */
static struct optics_mean mean_of(size_t n)
{
    long double sum[3] = {0}, squares[3] = {0};
    struct optics_mean m;

    for (size_t i = 0; i < n; i++) {
        struct optics_vector v = optics_vector_of(power_at(P, i));

        sum[0] += v.m;
        sum[1] += v.j0;
        sum[2] += v.j45;
    }
    for (size_t i = 0; i < n; i++) {
        struct optics_vector v = optics_vector_of(power_at(P, i));

        squares[0] += (v.m - sum[0] / n) * (v.m - sum[0] / n);
        squares[1] += (v.j0 - sum[1] / n) * (v.j0 - sum[1] / n);
        squares[2] += (v.j45 - sum[2] / n) * (v.j45 - sum[2] / n);
    }
    m.mean = (struct optics_vector){
        (double)(sum[0] / n), (double)(sum[1] / n), (double)(sum[2] / n)};
    n = n > 1 ? n - 1 : 1;
    m.sd = (struct optics_vector){(double)sqrtl(squares[0] / n),
        (double)sqrtl(squares[1] / n), (double)sqrtl(squares[2] / n)};
    m.sd_total = (double)sqrtl((squares[0] + squares[1] + squares[2]) / n);
    return m;
}

START_TEST(mean_is_that_of_one_after_the_other)
{
    struct random r = {.state = 15};

    for (size_t n = 1; n <= N; n += n < 20 ? 1 : 37) {
        static struct optics_power readings[N];
        struct optics_mean got, want;

        for (size_t i = 0; i < n; i++) {
            readings[i] = draw_power(&r, 20);
            set(P, i, readings[i]);
        }
        want = mean_of(n);
        optics_batch_vectors(n, P, VECTORS);
        ck_assert(optics_batch_mean(n, VECTORS, &got) == OPTICS_OK);
        expect_mean(&got, &want);
        ck_assert(optics_mean(readings, n, &got) ==
                  (n > 1000 ? OPTICS_BAD_READINGS : OPTICS_OK));
        expect_mean(&got, &want);
    }
}
END_TEST

START_TEST(mean_of_many_is_exact)
{
    static double m[100000], j0[100000], j45[100000];
    struct random r = {.state = 16};
    struct optics_mean got;
    long double sum = 0, squares = 0;

    for (size_t i = 0; i < 100000; i++) {
        m[i] = 1000 + random_in(&r, -0.5, 0.5); /* far from 0, close together */
        j0[i] = -0.25;
        j45[i] = -0.0;
        sum += m[i];
    }
    for (size_t i = 0; i < 100000; i++)
        squares += (m[i] - sum / 100000) * (m[i] - sum / 100000);
    ck_assert(optics_batch_mean(100000, (struct optics_vectors){m, j0, j45},
                  &got) == OPTICS_OK);
    expect_near(got.mean.m, (double)(sum / 100000), NEAR);
    expect_near(got.sd.m, (double)sqrtl(squares / 99999), NEAR);
    expect_vector(got.mean, (struct optics_vector){got.mean.m, -0.25, 0});
    expect_near(got.sd.j0, 0, 1e-12);
    expect_near(got.sd.j45, 0, 0);
    expect_near(got.sd_total, got.sd.m, NEAR);
}
END_TEST

START_TEST(no_mean_of_nothing)
{
    struct optics_mean mean = {.sd_total = 77};

    ck_assert(optics_batch_mean(0, VECTORS, &mean) == OPTICS_BAD_READINGS);
    ck_assert(mean.sd_total == 77);
}
END_TEST

Suite *suite_batch(void)
{
    TCase *tc = tcase_create("batch");
    Suite *s = suite_create("batch");

    suite_add_tcase(s, tc);
    tcase_set_timeout(tc, 120);
    tcase_add_test(tc, sine_and_cosine_are_those_of_libm);
    tcase_add_loop_test(tc, multiples_of_45_degrees_are_exact, 0, 5);
    tcase_add_test(tc, axis_is_that_of_libm);
    tcase_add_loop_test(tc, each_lens_of_a_batch_is_as_alone, 0, 2);
    tcase_add_test(tc, vectors_become_the_same_lenses);
    tcase_add_loop_test(tc, edges_of_a_form_are_kept, 0, ROWS(EDGES));
    tcase_add_test(tc, difference_of_equals_is_none);
    tcase_add_test(tc, every_length_fills_its_own_and_no_more);
    tcase_add_test(tc, mean_is_that_of_one_after_the_other);
    tcase_add_test(tc, mean_of_many_is_exact);
    tcase_add_test(tc, no_mean_of_nothing);
    return s;
}
