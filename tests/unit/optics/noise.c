#include <math.h>

#include "suites.h"

#include "optics/noise.h"

/* Upper points of chi-square with 3 degrees of freedom, as any table prints
 * them (from memory). */
static const struct {
    double x, tail;
} CHI3[] = {{0.352, 0.95}, {2.366, 0.50}, {6.251, 0.10}, {7.815, 0.05},
    {11.345, 0.01}, {16.266, 0.001}};

START_TEST(the_tail_is_the_table_s)
{
    ck_assert_double_eq_tol(optics_chi3_tail(CHI3[_i].x), CHI3[_i].tail,
        1e-4 * CHI3[_i].tail + 5e-5);
    ck_assert(optics_chi3_tail(0) == 1);
    ck_assert(optics_chi3_tail(1e9) == 0);
}
END_TEST

/* One reading's SD by hand from the printed limits, see noise.def. */
static const struct {
    const char *why;
    struct optics_how how;
    double m, j;
    bool published;
} REPEATS[] = {
    /* sqrt((12 (0.27/1.96)^2 + 60 (0.48/(1.96 sqrt 2))^2) / 72) = 0.1678 */
    {"two studies pooled", {OPTICS_BY_AUTOREFRACTION, false, 40}, 0.1678,
        0.0944, true},
    {"no adults with drops: the children's",
        {OPTICS_BY_AUTOREFRACTION, true, 40}, 0.17, 0.11, true},
    {"a child", {OPTICS_BY_AUTOREFRACTION, false, 12}, 0.57, 0.11, true},
    {"half way to an adult: (0.57 + 0.1678) / 2",
        {OPTICS_BY_AUTOREFRACTION, false, 15}, 0.3689, 0.1022, true},
    {"a child with drops", {OPTICS_BY_AUTOREFRACTION, true, 5}, 0.17, 0.11,
        true},
    /* sqrt((12 (0.29/1.96)^2 + 60 (0.475/(1.96 sqrt 2))^2) / 72), and 0.29 /
     * (1.96 sqrt 2) */
    {"no child's subjective: the adults'", {OPTICS_BY_SUBJECTIVE, true, 9},
        0.1677, 0.1046, true},
    {"1.41 / 2 / (1.96 sqrt 2)", {OPTICS_BY_AUTOMATED_SUBJECTIVE, false, 30},
        0.2543, 0.1046, true},
    /* 0.76 / (1.96 sqrt 2), and half of 0.47 / (1.96 sqrt 2) */
    {"no adults hand-held: the children's", {OPTICS_BY_HANDHELD, true, 50},
        0.2742, 0.0848, true},
    {"none published", {OPTICS_BY_RETINOSCOPY, true, 3}, 0.25, 0.12, false},
    {"a lens", {OPTICS_BY_LENSOMETRY, false, 40}, 0.06, 0.04, false},
};

START_TEST(limits_become_standard_deviations)
{
    struct optics_repeat got;

    ck_assert_int_eq(optics_repeat_of(REPEATS[_i].how, &got), OPTICS_OK);
    ck_assert_msg(fabs(got.m - REPEATS[_i].m) < 6e-5 &&
                      fabs(got.j - REPEATS[_i].j) < 6e-5 &&
                      got.published == REPEATS[_i].published,
        "%s: got %.4f and %.4f", REPEATS[_i].why, got.m, got.j);
}
END_TEST

START_TEST(power_adds_spread_along_vertex_and_across_axis)
{
    struct optics_how how = {OPTICS_BY_SUBJECTIVE, false, 40};
    struct optics_how glasses = {OPTICS_BY_LENSOMETRY, false, 40};
    struct optics_covariance s;

    /* -20 D: 400 * 0.001 is 0.4 D of M. */
    optics_covariance_of((struct optics_power){-20, 0, 0}, how, &s);
    ck_assert_double_eq_tol(s.mm, 0.1677 * 0.1677 + 0.16, 1e-4);
    ck_assert(s.m0 == 0 && s.j045 == 0);
    /* Plano -4.00 x 180: J0 2, and 2 * 2 * 2 degrees is 0.1396 of J45; the
     * vertex moves M by 8e-3 and J0 by -8e-3, the other way. */
    optics_covariance_of((struct optics_power){0, -4, 180}, how, &s);
    ck_assert_double_eq_tol(s.j4545 - 0.1046 * 0.1046, 0.01949, 5e-5);
    ck_assert_double_eq_tol(s.m0, -6.4e-5, 1e-9);
    /* No eye behind a lens. */
    optics_covariance_of((struct optics_power){-20, 0, 0}, glasses, &s);
    ck_assert_double_eq_tol(s.mm, 0.0036, 1e-12);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power old_power, new_power;
    enum optics_change_verdict verdict;
} CHANGES[] = {
    {"none", {-1, -1, 90}, {-1, -1, 90}, OPTICS_CHANGE_INSIDE},
    {"another notation is none", {-1, -1, 90}, {-2, 1, 180},
        OPTICS_CHANGE_INSIDE},
    {"a quarter of sphere", {-1, 0, 0}, {-1.25, 0, 0}, OPTICS_CHANGE_INSIDE},
    /* Limit 0.465 * sqrt(1 + ...): 0.47; three degrees allow 0.66. */
    {"a half of sphere: M alone is beyond", {-1, 0, 0}, {-1.5, 0, 0},
        OPTICS_CHANGE_EDGE},
    /* J0 0.375 at an SD of 0.148: 2.53, exp(-3.2) = 0.041; of three 0.09. */
    {"cylinder alone is beyond", {-1, 0, 0}, {-0.625, -0.75, 180},
        OPTICS_CHANGE_EDGE},
    {"a whole dioptre", {-1, 0, 0}, {-2, 0, 0}, OPTICS_CHANGE_BEYOND},
    {"a cylinder of 0.50 turned: 0.50 D of J0", {0, -0.5, 90}, {0, -0.5, 180},
        OPTICS_CHANGE_BEYOND},
    {"5 degrees of a weak cylinder", {0, -0.75, 90}, {0, -0.75, 95},
        OPTICS_CHANGE_INSIDE},
    {"a dioptre at -20 D: 2 mm of vertex explain it", {-20, 0, 0}, {-21, 0, 0},
        OPTICS_CHANGE_INSIDE},
};

START_TEST(a_change_is_held_against_repeating)
{
    static const char *const words[] = {"inside repeat error",
        "at the edge of repeat error", "more than repeat error explains"};
    struct optics_how how = {OPTICS_BY_SUBJECTIVE, false, 40};
    struct optics_change got;

    ck_assert_int_eq(optics_change_probability(CHANGES[_i].old_power, how,
                         CHANGES[_i].new_power, how, &got),
        OPTICS_OK);
    ck_assert_msg(got.verdict == CHANGES[_i].verdict, "%s: p %.4f, %.4f, %.4f",
        CHANGES[_i].why, got.probability, got.probability_m, got.probability_j);
    ck_assert_str_eq(
        optics_change_word(got.verdict), words[CHANGES[_i].verdict]);
    ck_assert(got.published && !got.methods_differ && !got.conditions_differ);
    ck_assert_double_eq_tol(got.limit_m, 1.96 * got.sd.m, 1e-12);
    ck_assert_double_eq_tol(
        got.probability, optics_chi3_tail(got.distance * got.distance), 1e-12);
}
END_TEST

/* Two methods: plus (0.70 / 1.96)^2 of M, (0.29 / 1.96)^2 of J.  With drops
 * against without: plus 0.55^2 + 0.55^2 in a child, none from 60. */
START_TEST(other_methods_and_conditions_widen_it)
{
    struct optics_power p = {1, 0, 0};
    struct optics_how a = {OPTICS_BY_AUTOREFRACTION, true, 8};
    struct optics_how b = {OPTICS_BY_AUTOREFRACTION, false, 8};
    struct optics_change got;
    struct optics_covariance none;

    optics_change_probability(p, a, p, b, &got);
    ck_assert_double_eq_tol(got.sd.m,
        sqrt(0.57 * 0.57 + 0.17 * 0.17 + 2 * 0.55 * 0.55 + 2e-6), 1e-6);
    ck_assert(got.conditions_differ && !got.methods_differ);
    ck_assert(got.probability == 1);
    b = (struct optics_how){OPTICS_BY_SUBJECTIVE, true, 60};
    a.age_years = 60;
    optics_change_probability(p, a, p, b, &got);
    ck_assert(!got.conditions_differ && got.methods_differ);
    ck_assert_double_eq_tol(
        got.sd.m, sqrt(0.17 * 0.17 + 0.1677 * 0.1677 + 0.127551 + 2e-6), 1e-4);
    b = a;
    b.cycloplegic = false;
    none = optics_covariance_between(a, b);
    ck_assert(none.mm == 0 && none.j00 == 0);
}
END_TEST

START_TEST(an_age_that_is_none_is_named)
{
    struct optics_power p = {1, 0, 0};
    struct optics_how good = {OPTICS_BY_SUBJECTIVE, false, 130}, bad = good;
    struct optics_change got = {.distance = 7};

    bad.age_years = 131;
    ck_assert_int_eq(
        optics_change_probability(p, good, p, bad, &got), OPTICS_BAD_AGE_YEARS);
    bad.age_years = NAN;
    ck_assert_int_eq(
        optics_change_probability(p, bad, p, good, &got), OPTICS_BAD_AGE_YEARS);
    ck_assert(got.distance == 7);
    ck_assert_str_eq(optics_fault_arg(OPTICS_BAD_AGE_YEARS), "age_years");
}
END_TEST

START_TEST(methods_have_words)
{
    ck_assert_str_eq(
        optics_method_word(OPTICS_BY_AUTOREFRACTION), "autorefraction");
    ck_assert_str_eq(optics_method_word(OPTICS_METHODS - 1), "lensometry");
}
END_TEST

/* The extremes that a request may hold. */
START_TEST(the_greatest_powers_stay_finite)
{
    static const double x[] = {-1000, 0, 1000};

    for (int i = 0; i < 9; i++)
        for (int m = 0; m < OPTICS_METHODS; m++) {
            struct optics_power p = {x[i % 3], x[i / 3], 37}, q = {0, 0, 0};
            struct optics_how how = {(enum optics_method)m, i % 2, m * 26};
            struct optics_change got;

            optics_change_probability(p, how, q, how, &got);
            ck_assert(isfinite(got.distance) && got.distance >= 0);
            ck_assert(got.probability >= 0 && got.probability <= 1);
            ck_assert(got.probability_m >= 0 && got.probability_m <= 1);
            ck_assert(got.probability_j >= 0 && got.probability_j <= 1);
            optics_change_probability(p, how, p, how, &got);
            ck_assert(got.distance == 0 && got.probability_j == 1);
            ck_assert_int_eq(got.verdict, OPTICS_CHANGE_INSIDE);
        }
}
END_TEST

Suite *suite_noise(void)
{
    TCase *tc;
    Suite *s = suite_new("noise", &tc);

    tcase_add_loop_test(tc, the_tail_is_the_table_s, 0, ROWS(CHI3));
    tcase_add_loop_test(
        tc, limits_become_standard_deviations, 0, ROWS(REPEATS));
    tcase_add_test(tc, power_adds_spread_along_vertex_and_across_axis);
    tcase_add_loop_test(
        tc, a_change_is_held_against_repeating, 0, ROWS(CHANGES));
    tcase_add_test(tc, other_methods_and_conditions_widen_it);
    tcase_add_test(tc, an_age_that_is_none_is_named);
    tcase_add_test(tc, methods_have_words);
    tcase_add_test(tc, the_greatest_powers_stay_finite);
    return s;
}
