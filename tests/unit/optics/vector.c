#include <math.h>

#include "suites.h"

#include "optics/angle.h"
#include "optics/vector.h"

/* P-01: -19.00 -4.50 x 165, the left eye of a published case
 * (reviewofmm.com, pediatric unilateral pathologic myopia).  By hand:
 * M = -19 - 2.25; J0 = 2.25 cos 330 = 2.25 * 0.866025; J45 = 2.25 sin 330. */
START_TEST(p01_power_vector_of_a_very_short_sighted_eye)
{
    struct optics_vector left =
        optics_vector_of((struct optics_power){-19.00, -4.50, 165});
    struct optics_vector right =
        optics_vector_of((struct optics_power){0.75, -1.25, 180});

    ck_assert_double_eq_tol(left.m, -21.25, 1e-12);
    ck_assert_double_eq_tol(left.j0, 1.949, 5e-4);
    ck_assert_double_eq_tol(left.j45, -1.125, 1e-12);
    ck_assert_double_eq_tol(right.m, 0.125, 1e-12);
    ck_assert_double_eq_tol(right.m - left.m, 21.375, 1e-12);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power old_power, new_power, change;
    double equivalent;
} CHANGES[] = {
    /* doaj.org/article/0b8504d87eaf4f21afbba14032a38e34 */
    {"P-02: four years of one eye", {-2.25, 0, 0}, {-6.75, -0.50, 170},
        {-4.50, -0.50, 170}, -4.75},
    {"P-02: the year after, nothing", {-6.75, -0.50, 170}, {-6.75, -0.50, 170},
        {0, 0, 0}, 0},
    /* mdpi.com/2411-5150/6/1/17, Rutstein and Marsh-Tootle 2001; the review
     * quotes the sphere's part, 5.75. */
    {"P-03 left: manifest to cycloplegic", {-5.00, 0, 0}, {0.75, -0.50, 180},
        {5.75, -0.50, 180}, 5.50},
    {"P-03 right", {0, 0, 0}, {0.75, -0.25, 180}, {0.75, -0.25, 180}, 0.625},
    {"two notations of one lens: no change", {3, -1, 120}, {2, 1, 30},
        {0, 0, 0}, 0},
};

START_TEST(a_change_is_the_lens_between_old_and_new)
{
    struct optics_power got =
        optics_power_change(CHANGES[_i].old_power, CHANGES[_i].new_power);

    expect_power(CHANGES[_i].why, got, CHANGES[_i].change, 1e-9, 1e-6);
    ck_assert_double_eq_tol(
        optics_power_equivalent(got), CHANGES[_i].equivalent, 1e-9);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power first, second, sum;
    double tolerance, axis_tolerance;
} SUMS[] = {
    /* Exercise: scribd.com 577910818, obliquely crossed cylinders.  By hand:
     * J = (1, 0) + (0, 1), so C = -2 sqrt 2, axis 45 / 2, M = -2. */
    {"P-12 (a): the axis is half a degree", {0, -2, 180}, {0, -2, 45},
        {-0.59, -2.83, 22.5}, 5e-3, 1e-6},
    /* tionet.in, The Indian Optician May-June 2022 p105 */
    {"P-12 (b): plus and minus in one sum", {1.75, 0.50, 45},
        {-2.25, -1.00, 135}, {0, -1.50, 135}, 1e-9, 1e-6},
    /* The failure that optiboard.com thread 62100 reports: a one-argument
     * arctangent answers 166.7 here.  Figures of ours: J0 = .5 cos 160 +
     * .25 cos 140 = -.66136, J45 = .5 sin 160 + .25 sin 140 = .33171. */
    {"P-13: J0 below zero", {0, -1, 80}, {0, -0.5, 70},
        {-0.0101, -1.4798, 76.68}, 5e-5, 5e-3},
};

START_TEST(crossed_cylinders_add_as_vectors)
{
    struct optics_power got = optics_power_sum(SUMS[_i].first, SUMS[_i].second);
    struct optics_power other =
        optics_power_sum(SUMS[_i].second, SUMS[_i].first);

    expect_power(SUMS[_i].why, got, SUMS[_i].sum, SUMS[_i].tolerance,
        SUMS[_i].axis_tolerance);
    expect_power(SUMS[_i].why, other, got, 1e-12, 1e-9);
}
END_TEST

/* The matrix is another road to the same sum (Long 1976), and the sine
 * squared law a third: F(t) = f11 cos^2 + 2 f12 sin cos + f22 sin^2. */
static void three_roads(struct optics_power p)
{
    struct optics_matrix f = optics_matrix_of(p);
    struct optics_vector v = optics_vector_of(p), w = optics_matrix_vector(f);

    ck_assert_double_eq_tol(v.m, w.m, 1e-12);
    ck_assert_double_eq_tol(v.j0, w.j0, 1e-12);
    ck_assert_double_eq_tol(v.j45, w.j45, 1e-12);
    for (int t = 0; t <= 180; t += 9) {
        double c = cos(t * M_PI / 180), s = sin(t * M_PI / 180);

        ck_assert_double_eq_tol(optics_power_meridian(p, t),
            f.f11 * c * c + 2 * f.f12 * s * c + f.f22 * s * s, 1e-9);
    }
    expect_power("there and back", optics_vector_power(v, OPTICS_MINUS_CYL), p,
        1e-9, 1e-6);
}

START_TEST(vector_matrix_and_meridian_agree)
{
    for (int i = 0; i < 180; i++)
        three_roads(
            (struct optics_power){-3.25 + i * 0.11, -0.25 - i * 0.07, 1 + i});
}
END_TEST

static const struct {
    const char *why;
    struct optics_power a, b, mean;
} MEANS[] = {
    {"179 and 1 make 180, not 90", {-2, -1, 179}, {-2, -1, 1},
        {-2.00030, -0.99939, 180}},
    {"equal cylinders crossed at right angles make a sphere", {0, -1, 45},
        {0, -1, 135}, {-0.5, 0, 0}},
    /* One lens twice: +1 / -0.5 x 90 is +0.5 / +0.5 x 180. */
    {"readings of mixed sign are one lens first", {1, -0.5, 90},
        {0.5, 0.5, 180}, {1, -0.5, 90}},
};

START_TEST(a_mean_is_taken_of_vectors)
{
    struct optics_power list[2] = {MEANS[_i].a, MEANS[_i].b};
    struct optics_mean m;

    ck_assert_int_eq(optics_mean(list, 2, &m), OPTICS_OK);
    expect_power(MEANS[_i].why, optics_vector_power(m.mean, OPTICS_MINUS_CYL),
        MEANS[_i].mean, 1e-5, 1e-6);
}
END_TEST

/* Why component medians (of which some surveys publish) are nobody's lens:
 * three readings whose S, C and A medians make -1 / -1 x 60, while the mean
 * lens has hardly a cylinder: J of -1 x 0, 60, 120 cancel. */
START_TEST(a_mean_is_not_the_median_of_the_parts)
{
    struct optics_power list[3] = {{-1, -1, 180}, {-1, -1, 60}, {-1, -1, 120}};
    struct optics_mean m;

    ck_assert_int_eq(optics_mean(list, 3, &m), OPTICS_OK);
    expect_power("three at 120 degrees",
        optics_vector_power(m.mean, OPTICS_MINUS_CYL),
        (struct optics_power){-1.5, 0, 0}, 1e-9, 0);
    /* J parts lie on a circle of 0.5: the sum of squares is 3 * 0.25. */
    ck_assert_double_eq_tol(m.sd_total, sqrt(0.75 / 2), 1e-12);
}
END_TEST

START_TEST(a_mean_of_nothing_or_of_nonsense_is_refused)
{
    struct optics_power list[3] = {{-1, 0, 0}, {NAN, 0, 0}, {-1, 0, 0}};
    struct optics_mean m = {.sd_total = 7};

    ck_assert_int_eq(optics_mean(list, 0, &m), OPTICS_BAD_READINGS);
    ck_assert_int_eq(optics_mean(list, 2, &m), OPTICS_BAD_SPHERE);
    ck_assert_int_eq(optics_mean(&list[1], 2, &m), OPTICS_BAD_SPHERE);
    ck_assert_msg(m.sd_total == 7, "a refusal wrote its result");
    ck_assert_int_eq(optics_mean(list, 1, &m), OPTICS_OK);
    ck_assert(m.sd_total == 0 && m.mean.m == -1);
}
END_TEST

/* B = sqrt(S^2 + S C + C^2 / 2), the form without vectors (Raasch, from
 * memory): (-3, -2) gives sqrt(9 + 6 + 2). */
START_TEST(blur_strength_has_a_second_formula)
{
    struct optics_power p = {-3, -2, 77};

    ck_assert_double_eq_tol(
        optics_vector_blur(optics_vector_of(p)), sqrt(17), 1e-12);
}
END_TEST

/* P-22: a published keratoconus pair (eyetubeod.com, scleral lenses) brought
 * in with right and left exchanged: equivalents differ by under 1 D, but each
 * lens is 7.07 D from its own eye's history. */
START_TEST(p22_exchanged_eyes_lie_far_apart)
{
    struct optics_power right = {-6.75, -6.50, 30}, left = {-7.00, -7.75, 130};

    ck_assert_double_eq_tol(optics_power_distance(right, left), 7.07, 5e-3);
    ck_assert(optics_power_distance(right, right) == 0);
    ck_assert(fabs(optics_power_equivalent(right) -
                   optics_power_equivalent(left)) < 1);
}
END_TEST

START_TEST(no_part_of_a_vector_is_minus_zero)
{
    static const double axes[] = {45, 90, 135, 180};
    struct optics_power p = {0.5, -1, axes[_i]};
    struct optics_vector v = optics_vector_of(p);
    struct optics_vector none = optics_vector_difference(v, v);

    ck_assert(!(v.m == 0 && signbit(v.m)) && !(v.j0 == 0 && signbit(v.j0)) &&
              !(v.j45 == 0 && signbit(v.j45)));
    ck_assert((v.j0 == 0) == (_i % 2 == 0) && (v.j45 == 0) == (_i % 2 == 1));
    ck_assert(!signbit(none.m) && !signbit(none.j0) && !signbit(none.j45));
    ck_assert(!signbit(
        optics_vector_rounded((struct optics_vector){-0.00001, 0, 0}).m));
}
END_TEST

START_TEST(a_senseless_vector_is_named)
{
    struct optics_vector v = {0, 0, 0};

    ck_assert_int_eq(optics_vector_check(v), OPTICS_OK);
    v.j45 = NAN;
    ck_assert_int_eq(optics_vector_check(v), OPTICS_BAD_J45);
    v.j0 = 1e9;
    ck_assert_int_eq(optics_vector_check(v), OPTICS_BAD_J0);
    v.m = -INFINITY;
    ck_assert_int_eq(optics_vector_check(v), OPTICS_BAD_M);
}
END_TEST

START_TEST(astigmatism_is_half_the_cylinder)
{
    struct optics_vector v =
        optics_vector_of((struct optics_power){5, -1.5, 20});

    ck_assert_double_eq_tol(optics_vector_astigmatism(v), 0.75, 1e-12);
}
END_TEST

Suite *suite_vector(void)
{
    TCase *tc;
    Suite *s = suite_new("vector", &tc);

    tcase_add_test(tc, p01_power_vector_of_a_very_short_sighted_eye);
    tcase_add_loop_test(
        tc, a_change_is_the_lens_between_old_and_new, 0, ROWS(CHANGES));
    tcase_add_loop_test(tc, crossed_cylinders_add_as_vectors, 0, ROWS(SUMS));
    tcase_add_test(tc, vector_matrix_and_meridian_agree);
    tcase_add_loop_test(tc, a_mean_is_taken_of_vectors, 0, ROWS(MEANS));
    tcase_add_test(tc, a_mean_is_not_the_median_of_the_parts);
    tcase_add_test(tc, a_mean_of_nothing_or_of_nonsense_is_refused);
    tcase_add_test(tc, blur_strength_has_a_second_formula);
    tcase_add_test(tc, p22_exchanged_eyes_lie_far_apart);
    tcase_add_loop_test(tc, no_part_of_a_vector_is_minus_zero, 0, 4);
    tcase_add_test(tc, a_senseless_vector_is_named);
    tcase_add_test(tc, astigmatism_is_half_the_cylinder);
    return s;
}
