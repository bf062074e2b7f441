#include <math.h>

#include "suites.h"

#include "optics/binocular.h"

#define RIGHT(call) ck_assert_int_eq((call), OPTICS_OK)

/* A published answer has 3.25 for exo 10 with a reserve of 10; the formula it
 * stands beside gives (20 - 10) / 3 = 3.33. */
START_TEST(sheard_gives_what_its_formula_gives)
{
    double got;

    RIGHT(optics_sheard(10, 10, &got));
    ck_assert_double_eq_tol(got, 10.0 / 3, 1e-12);
    RIGHT(optics_sheard(5, 10, &got));
    ck_assert_msg(got == 0 && !signbit(got), "got %g", got);
    RIGHT(optics_sheard(1, 10, &got));
    ck_assert_double_eq(got, 0);
}
END_TEST

/* With the prism the criterion is just met: no less would do. */
START_TEST(the_prism_of_a_criterion_just_meets_it)
{
    double phoria = 4 + _i, reserve = 2.5, greater = 12 + _i, lesser = 3;
    double p;

    RIGHT(optics_sheard(phoria, reserve, &p));
    ck_assert_double_eq_tol(reserve + p, 2 * (phoria - p), 1e-12);
    RIGHT(optics_percival(greater, lesser, &p));
    ck_assert_double_eq_tol(2 * (lesser + p), greater - p, 1e-12);
    RIGHT(optics_one_to_one(phoria, reserve, &p));
    ck_assert_double_eq_tol(reserve + p, phoria - p, 1e-12);
}
END_TEST

START_TEST(a_recovery_may_be_negative)
{
    double got;

    RIGHT(optics_one_to_one(6, -2, &got));
    ck_assert_double_eq_tol(got, 4, 1e-12);
    RIGHT(optics_one_to_one(2, 6, &got));
    ck_assert_double_eq(got, 0);
}
END_TEST

/* By hand: 6 + 0.4 * (-4 - 1) = 4; +1.00 lowers the stimulus by 1 and takes
 * exo from -2 to -6: (-6 - -2) / -1 = 4. */
START_TEST(aca_by_hand)
{
    double got;

    RIGHT(optics_aca_calculated(6, 0.4, 1, -4, &got));
    ck_assert_double_eq_tol(got, 4, 1e-12);
    RIGHT(optics_aca_gradient(-1, -2, -6, &got));
    ck_assert_double_eq_tol(got, 4, 1e-12);
    RIGHT(optics_aca_gradient(-1, 3, 3, &got));
    ck_assert_msg(got == 0 && !signbit(got), "got %g", got);
    RIGHT(optics_aca_gradient(0.01, 3, 4, &got));
    ck_assert_double_eq_tol(got, 100, 1e-9);
}
END_TEST

/* Scheiman & Wick, Table 2.2; Borish, Table 22-4.  All rows are read in the
 * HTTP test. */
START_TEST(a_finding_stands_against_what_is_expected)
{
    struct optics_expected e;
    int last = 0;

    while (OPTICS_FINDINGS[last + 1])
        last++;
    ck_assert_int_eq(last, 16);
    ck_assert_str_eq(OPTICS_FINDINGS[1], "near-phoria");
    RIGHT(optics_finding_expected(1, -8, &e));
    ck_assert_double_eq(e.mean, -3);
    ck_assert_double_eq(e.sd, 3);
    ck_assert_double_eq(e.difference, -5);
    RIGHT(optics_finding_expected(last, -2.37, &e));
    ck_assert_double_eq(e.sd, 1);
    ck_assert_double_eq(e.narrow_sd, 0.62);
    ck_assert_double_eq(e.difference, 0);
}
END_TEST

START_TEST(senseless_findings_are_named)
{
    struct optics_expected e = {7, 7, 7, 7};
    double x = 7;

    ck_assert_int_eq(optics_sheard(-1, 5, &x), OPTICS_BAD_PHORIA);
    ck_assert_int_eq(optics_sheard(1, NAN, &x), OPTICS_BAD_RESERVE);
    ck_assert_int_eq(optics_percival(101, 5, &x), OPTICS_BAD_GREATER);
    ck_assert_int_eq(optics_percival(1, -5, &x), OPTICS_BAD_LESSER);
    ck_assert_int_eq(optics_percival(4, 5, &x), OPTICS_BAD_LESSER_MORE);
    ck_assert_int_eq(optics_one_to_one(-1, 5, &x), OPTICS_BAD_ESO);
    ck_assert_int_eq(
        optics_one_to_one(1, INFINITY, &x), OPTICS_BAD_BASE_IN_RECOVERY);
    ck_assert_int_eq(
        optics_aca_calculated(62, 0.4, 0, 0, &x), OPTICS_BAD_PD_CM);
    ck_assert_int_eq(optics_aca_calculated(6, 40, 0, 0, &x), OPTICS_BAD_NEAR_M);
    ck_assert_int_eq(
        optics_aca_calculated(6, 0.4, 101, 0, &x), OPTICS_BAD_FAR_PHORIA);
    ck_assert_int_eq(
        optics_aca_calculated(6, 0.4, 0, 101, &x), OPTICS_BAD_NEAR_PHORIA);
    ck_assert_int_eq(optics_aca_gradient(21, 0, 0, &x), OPTICS_BAD_LENS_CHANGE);
    ck_assert_int_eq(
        optics_aca_gradient(1, 101, 0, &x), OPTICS_BAD_PHORIA_WITHOUT_LENS);
    ck_assert_int_eq(
        optics_aca_gradient(1, 0, 101, &x), OPTICS_BAD_PHORIA_WITH_LENS);
    ck_assert_int_eq(
        optics_aca_gradient(0, 0, 5, &x), OPTICS_BAD_NO_LENS_CHANGE);
    ck_assert_int_eq(
        optics_aca_gradient(-0.0099, 0, 5, &x), OPTICS_BAD_NO_LENS_CHANGE);
    ck_assert_int_eq(
        optics_finding_expected(0, 101, &e), OPTICS_BAD_FINDING_VALUE);
    ck_assert_msg(x == 7 && e.mean == 7, "a refusal wrote its result");
}
END_TEST

/* 2 base out for eso with AC/A 4 is +0.50; 3 base in for exo, 5: -0.60. */
START_TEST(a_sphere_for_a_prism)
{
    double got = 7;

    ck_assert_int_eq(optics_sphere_for_prism(-2, 0.05, &got), OPTICS_BAD_AC_A);
    ck_assert_int_eq(optics_sphere_for_prism(NAN, 4, &got), OPTICS_BAD_BASE_IN);
    ck_assert_double_eq(got, 7);
    RIGHT(optics_sphere_for_prism(-2, 4, &got));
    ck_assert_double_eq_tol(got, 0.5, 1e-12);
    RIGHT(optics_sphere_for_prism(3, 5, &got));
    ck_assert_double_eq_tol(got, -0.6, 1e-12);
    RIGHT(optics_sphere_for_prism(0, 5, &got));
    ck_assert(got == 0 && !signbit(got));
}
END_TEST

Suite *suite_binocular(void)
{
    TCase *tc;
    Suite *s = suite_new("binocular", &tc);

    tcase_add_test(tc, sheard_gives_what_its_formula_gives);
    tcase_add_loop_test(tc, the_prism_of_a_criterion_just_meets_it, 0, 8);
    tcase_add_test(tc, a_recovery_may_be_negative);
    tcase_add_test(tc, aca_by_hand);
    tcase_add_test(tc, a_finding_stands_against_what_is_expected);
    tcase_add_test(tc, senseless_findings_are_named);
    tcase_add_test(tc, a_sphere_for_a_prism);
    return s;
}
