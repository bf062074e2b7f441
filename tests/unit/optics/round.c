#include <math.h>

#include "suites.h"

#include "optics/round.h"

static const struct {
    const char *why;
    double value, away, even;
    bool tie;
} QUARTERS[] = {
    {"a tie goes away from zero, or to even", -0.125, -0.25, 0, true},
    {"an eighth as printed is no tie", 1.12, 1.00, 1.00, false},
    {"nor is a hair above", 1.1251, 1.25, 1.25, false},
    /* 0.1 + 0.275 is 0.37500000000000006 as a double */
    {"a tie that doubles hide", 0.1 + 0.275, 0.50, 0.50, true},
    {"and one below", 0.875 - 1e-12, 1.00, 1.00, true},
    {"small values give 0, not -0", -0.1, 0, 0, false},
    {"a quarter stays", -3.75, -3.75, -3.75, false},
};

START_TEST(eighths_are_ties_of_the_quarter)
{
    struct optics_quarter got;

    ck_assert_int_eq(optics_round_quarter(QUARTERS[_i].value, &got), OPTICS_OK);
    ck_assert_msg(got.half_away == QUARTERS[_i].away &&
                      got.half_even == QUARTERS[_i].even &&
                      got.tie == QUARTERS[_i].tie,
        "%s: got %g, %g, %d", QUARTERS[_i].why, got.half_away, got.half_even,
        got.tie);
    ck_assert(!(got.half_away == 0 && signbit(got.half_away)));
    ck_assert(!(got.half_even == 0 && signbit(got.half_even)));
}
END_TEST

START_TEST(a_senseless_value_or_step_is_named)
{
    struct optics_quarter q;
    enum optics_step step;

    ck_assert_int_eq(optics_round_quarter(NAN, &q), OPTICS_BAD_VALUE);
    ck_assert_int_eq(optics_round_quarter(1e6, &q), OPTICS_BAD_VALUE);
    ck_assert_int_eq(optics_step_find(0.2, &step), OPTICS_BAD_STEP);
    ck_assert_int_eq(optics_step_find(NAN, &step), OPTICS_BAD_STEP);
    ck_assert_int_eq(optics_step_find(0.25, &step), OPTICS_OK);
    ck_assert_int_eq(step, OPTICS_STEP_QUARTER);
    ck_assert_int_eq(optics_step_find(0.12, &step), OPTICS_OK);
    ck_assert_int_eq(step, OPTICS_STEP_EIGHTH);
    ck_assert_int_eq(optics_step_find(0.125, &step), OPTICS_OK);
    ck_assert_int_eq(step, OPTICS_STEP_EIGHTH);
}
END_TEST

static const struct {
    enum optics_step step;
    int32_t count, written;
} STEPS[] = {
    {OPTICS_STEP_EIGHTH, 1, 12},
    {OPTICS_STEP_EIGHTH, 3, 37},
    {OPTICS_STEP_EIGHTH, 5, 62},
    {OPTICS_STEP_EIGHTH, 7, 87},
    {OPTICS_STEP_EIGHTH, 8, 100},
    {OPTICS_STEP_EIGHTH, 9, 112},
    {OPTICS_STEP_EIGHTH, -1, -12},
    {OPTICS_STEP_EIGHTH, -9, -112},
    {OPTICS_STEP_EIGHTH, 0, 0},
    {OPTICS_STEP_QUARTER, 3, 75},
    {OPTICS_STEP_QUARTER, -9, -225},
};

START_TEST(eighths_are_written_cut)
{
    int32_t count = 0;

    ck_assert_int_eq(optics_step_written(STEPS[_i].step, STEPS[_i].count),
        STEPS[_i].written);
    ck_assert(optics_step_count(STEPS[_i].step, STEPS[_i].written, &count));
    ck_assert_int_eq(count, STEPS[_i].count);
}
END_TEST

START_TEST(what_is_off_the_grid_has_no_count)
{
    int32_t count = 7;

    ck_assert(!optics_step_count(OPTICS_STEP_EIGHTH, 110, &count));
    ck_assert(!optics_step_count(OPTICS_STEP_EIGHTH, 13, &count));
    ck_assert(!optics_step_count(OPTICS_STEP_QUARTER, 112, &count));
    ck_assert_int_eq(count, 7);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power wanted;
    enum optics_step step;
    struct optics_rx rx;
} NEAREST[] = {
    {"on the grid already", {-2.25, -0.75, 172}, OPTICS_STEP_QUARTER,
        {-225, -75, 17200}},
    {"plus form comes out as minus", {-3.00, 0.75, 82}, OPTICS_STEP_QUARTER,
        {-225, -75, 17200}},
    {"half a degree goes up", {0, -2, 22.5}, OPTICS_STEP_QUARTER,
        {0, -200, 2300}},
    {"under half a degree is 180", {0, -2, 0.4}, OPTICS_STEP_QUARTER,
        {0, -200, 18000}},
    {"over 179.5 is 180", {0, -2, 179.6}, OPTICS_STEP_QUARTER,
        {0, -200, 18000}},
    {"eighths are written cut", {-1.13, -0.62, 10}, OPTICS_STEP_EIGHTH,
        {-112, -62, 1000}},
    {"a tie: the weaker cylinder, the stronger sphere", {-0.125, 0, 0},
        OPTICS_STEP_QUARTER, {-25, 0, 0}},
    {"a trace of cylinder is none, without axis", {1.00, -0.05, 30},
        OPTICS_STEP_QUARTER, {100, 0, 0}},
    /* Part by part -1.87 / -0.37 would be -1.75 / -0.50 or -2.00 / -0.25; in
     * M = -2.055 the second is 0.070 off, the first 0.055, their J alike. */
    {"sphere and cylinder are rounded together", {-1.87, -0.37, 90},
        OPTICS_STEP_QUARTER, {-175, -50, 9000}},
    /* P-12 (a): the sum of two crossed cylinders, -0.59 -2.83 x 22.5: M -2,
     * |J| 1.414.  -0.50 -3.00 has M -2 and |J| 1.5; -0.50 -2.75 is 0.125 off
     * in M, -0.75 -2.50 is 0.164 off in J.  -0.625 -2.75 has M -2, |J| 1.375.
     */
    {"P-12 in quarters", {-0.5858, -2.8284, 22.5}, OPTICS_STEP_QUARTER,
        {-50, -300, 2300}},
    {"P-12 in eighths", {-0.5858, -2.8284, 22.5}, OPTICS_STEP_EIGHTH,
        {-62, -275, 2300}},
    /* P-08 after its move: clspectrum.com 2018, worked out */
    {"P-08 right in quarters", {-16.53, -2.68, 158}, OPTICS_STEP_QUARTER,
        {-1650, -275, 15800}},
};

START_TEST(the_nearest_lens_is_ordered)
{
    struct optics_orderable got =
        optics_round_orderable(NEAREST[_i].wanted, NEAREST[_i].step);

    ck_assert_msg(got.rx.sph_cd == NEAREST[_i].rx.sph_cd &&
                      got.rx.cyl_cd == NEAREST[_i].rx.cyl_cd &&
                      got.rx.axis_cdeg == NEAREST[_i].rx.axis_cdeg,
        "%s: got %d / %d x %d", NEAREST[_i].why, got.rx.sph_cd, got.rx.cyl_cd,
        got.rx.axis_cdeg);
    ck_assert_double_eq_tol(got.distance,
        optics_power_distance(got.exact, NEAREST[_i].wanted), 0.01);
}
END_TEST

START_TEST(a_lens_written_in_eighths_leaves_nothing_over)
{
    struct optics_orderable got = optics_round_orderable(
        (struct optics_power){-1.12, -0.37, 10}, OPTICS_STEP_EIGHTH);

    ck_assert_int_eq(got.rx.sph_cd, -112);
    ck_assert_int_eq(got.rx.cyl_cd, -37);
    ck_assert_double_eq_tol(got.exact.sph, -1.125, 1e-12);
    ck_assert_double_eq_tol(got.distance, 0, 1e-12);
}
END_TEST

/* The residual is what a person would add to the ordered lens: +0.10 here. */
START_TEST(the_residual_says_what_is_left_over)
{
    struct optics_orderable got = optics_round_orderable(
        (struct optics_power){-2.15, -0.75, 172}, OPTICS_STEP_QUARTER);

    ck_assert_int_eq(got.rx.sph_cd, -225);
    ck_assert_double_eq_tol(got.residual.m, 0.10, 1e-9);
    ck_assert_double_eq_tol(got.residual.j0, 0, 1e-12);
    ck_assert_double_eq_tol(got.distance, 0.10, 1e-9);
}
END_TEST

/* Another method: every lens of the grid around the wanted one. */
static double nearest_by_search(struct optics_power wanted, double step)
{
    double best = INFINITY;
    double s0 = floor(wanted.sph / step) * step;
    double c0 = floor(wanted.cyl / step) * step;

    for (double s = s0 - 4 * step; s <= s0 + 5 * step; s += step)
        for (double c = c0 - 4 * step; c <= fmin(c0 + 5 * step, 0); c += step)
            for (int a = 1; a <= 180; a++) {
                struct optics_power p = {s, c, c == 0 ? 0 : a};

                best = fmin(best, optics_power_distance(p, wanted));
            }
    return best;
}

START_TEST(no_lens_of_the_grid_is_nearer)
{
    /* Thirty lenses that lie nowhere on the grid; golden-ratio steps. */
    double f = fmod(_i * 0.6180339887, 1), g = fmod(_i * 0.7548776662, 1);
    struct optics_power wanted = {-8 + 16 * f, -6 * g, 0.3 + 179.5 * f};
    struct optics_orderable quarter =
        optics_round_orderable(wanted, OPTICS_STEP_QUARTER);
    struct optics_orderable eighth =
        optics_round_orderable(wanted, OPTICS_STEP_EIGHTH);

    ck_assert_double_eq_tol(
        quarter.distance, nearest_by_search(wanted, 0.25), 1e-9);
    ck_assert_double_eq_tol(
        eighth.distance, nearest_by_search(wanted, 0.125), 1e-9);
}
END_TEST

Suite *suite_round(void)
{
    TCase *tc;
    Suite *s = suite_new("round", &tc);

    tcase_add_loop_test(tc, eighths_are_ties_of_the_quarter, 0, ROWS(QUARTERS));
    tcase_add_test(tc, a_senseless_value_or_step_is_named);
    tcase_add_loop_test(tc, eighths_are_written_cut, 0, ROWS(STEPS));
    tcase_add_test(tc, what_is_off_the_grid_has_no_count);
    tcase_add_loop_test(tc, the_nearest_lens_is_ordered, 0, ROWS(NEAREST));
    tcase_add_test(tc, a_lens_written_in_eighths_leaves_nothing_over);
    tcase_add_test(tc, the_residual_says_what_is_left_over);
    tcase_add_loop_test(tc, no_lens_of_the_grid_is_nearer, 1, 31);
    return s;
}
