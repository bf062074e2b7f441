#include <math.h>

#include "suites.h"

#include "optics/cornea.h"

START_TEST(a_radius_of_7_50_is_45_dioptres)
{
    double power, radius;

    ck_assert_int_eq(
        optics_cornea_power(7.50, OPTICS_CORNEA_INDEX, &power), OPTICS_OK);
    ck_assert_double_eq_tol(power, 45.00, 1e-9);
    ck_assert_int_eq(
        optics_cornea_radius(45.00, OPTICS_CORNEA_INDEX, &radius), OPTICS_OK);
    ck_assert_double_eq_tol(radius, 7.50, 1e-9);
}
END_TEST

/* Two means go by one name.  By hand for 9.00 and 7.00 mm: powers 37.5 and
 * 48.214 have the mean 42.857; the mean radius 8.00 has 42.1875. */
START_TEST(the_two_means_of_k_differ)
{
    struct optics_cornea_mean m;

    ck_assert_int_eq(
        optics_cornea_average(9.00, 7.00, OPTICS_CORNEA_INDEX, &m), OPTICS_OK);
    ck_assert_double_eq_tol(m.mean_power_of_powers, 42.857, 5e-4);
    ck_assert_double_eq_tol(m.mean_radius_mm, 8.00, 1e-12);
    ck_assert_double_eq_tol(m.power_of_mean_radius, 42.1875, 1e-9);
}
END_TEST

static const struct {
    const char *why;
    double flat, axis, steep;
    struct optics_power out;
    enum optics_rule rule;
} CORNEAS[] = {
    {"the minus axis lies on the flat meridian", 43, 180, 45, {0, -2, 180},
        OPTICS_RULE_WITH},
    {"30 degrees off is still with the rule", 43, 30, 44, {0, -1, 30},
        OPTICS_RULE_WITH},
    {"so it is on the other side", 43, 150, 44, {0, -1, 150}, OPTICS_RULE_WITH},
    {"31 is oblique", 43, 31, 44, {0, -1, 31}, OPTICS_RULE_OBLIQUE},
    {"59 is oblique", 43, 59, 44, {0, -1, 59}, OPTICS_RULE_OBLIQUE},
    {"60 is against the rule", 43, 60, 44, {0, -1, 60}, OPTICS_RULE_AGAINST},
    {"axis 0 is 180", 43, 0, 44, {0, -1, 180}, OPTICS_RULE_WITH},
    {"round corneas have no axis", 43, 77, 43, {0, 0, 0}, OPTICS_RULE_NONE},
    /* P-07: simulated K 52.8 / 54.0 @ 21.3 and 47.3 / 51.0 @ 147.8
     * (gpli.info/er-case-28), taken as flat meridians: which they are the
     * source doesn't say. */
    {"P-07 right: 1.2 D of corneal cylinder, 21.3 kept", 52.8, 21.3, 54.0,
        {0, -1.2, 21.3}, OPTICS_RULE_WITH},
    {"P-07 left: 3.7 D", 47.3, 147.8, 51.0, {0, -3.7, 147.8},
        OPTICS_RULE_OBLIQUE},
};

START_TEST(corneal_power_is_corrected_on_the_flat_meridian)
{
    struct optics_power got;

    ck_assert_int_eq(optics_cornea_astigmatism(CORNEAS[_i].flat,
                         CORNEAS[_i].axis, CORNEAS[_i].steep, &got),
        OPTICS_OK);
    expect_power(CORNEAS[_i].why, got, CORNEAS[_i].out, 1e-9, 1e-6);
    ck_assert_msg(
        optics_rule_of(got) == CORNEAS[_i].rule, "%s", CORNEAS[_i].why);
}
END_TEST

/* A plus-cylinder refraction read as minus would turn the rule round. */
START_TEST(the_rule_goes_by_the_lens_not_by_its_notation)
{
    struct optics_power minus = {1, -1, 180}, plus = {0, 1, 90};

    ck_assert_int_eq(optics_rule_of(minus), OPTICS_RULE_WITH);
    ck_assert_int_eq(optics_rule_of(plus), OPTICS_RULE_WITH);
    ck_assert_str_eq(optics_rule_word(OPTICS_RULE_WITH), "with-the-rule");
}
END_TEST

/* Javal with the rule, by hand: 1.25 * -2.00 + 0.50 = -2.00 x 180; below the
 * constant it turns against the rule. */
START_TEST(a_small_corneal_cylinder_turns_against_the_rule)
{
    struct optics_power got;

    ck_assert_int_eq(optics_cornea_expected(
                         (struct optics_power){0, -2, 180}, 1.25, -0.5, &got),
        OPTICS_OK);
    expect_power("2.00 with the rule", got, (struct optics_power){0, -2, 180},
        1e-9, 1e-6);
    ck_assert_int_eq(optics_cornea_expected(
                         (struct optics_power){0, 0, 0}, 1.25, -0.5, &got),
        OPTICS_OK);
    expect_power("none", got, (struct optics_power){0, -0.5, 90}, 1e-9, 1e-6);
}
END_TEST

START_TEST(senseless_corneas_are_named)
{
    struct optics_cornea_mean mean;
    struct optics_power out = {7, 7, 7};
    double x = 7;

    ck_assert_int_eq(optics_cornea_power(0, 1.3375, &x), OPTICS_BAD_RADIUS_MM);
    ck_assert_int_eq(
        optics_cornea_power(-7.5, 1.3375, &x), OPTICS_BAD_RADIUS_MM);
    ck_assert_int_eq(optics_cornea_power(7.5, 0.9, &x), OPTICS_BAD_INDEX);
    ck_assert_int_eq(optics_cornea_power(7.5, 1, &x), OPTICS_BAD_INDEX);
    ck_assert_int_eq(
        optics_cornea_power(NAN, 1.3375, &x), OPTICS_BAD_RADIUS_MM);
    ck_assert_int_eq(optics_cornea_radius(0, 1.3375, &x), OPTICS_BAD_POWER);
    ck_assert_int_eq(
        optics_cornea_average(0, 7, 1.3375, &mean), OPTICS_BAD_FLAT_MM);
    ck_assert_int_eq(
        optics_cornea_average(7, 0, 1.3375, &mean), OPTICS_BAD_STEEP_MM);
    ck_assert_int_eq(
        optics_cornea_astigmatism(45, 90, 43, &out), OPTICS_BAD_STEEP_ORDER);
    ck_assert_int_eq(
        optics_cornea_astigmatism(43, 181, 45, &out), OPTICS_BAD_FLAT_AXIS);
    ck_assert_int_eq(optics_cornea_expected(
                         (struct optics_power){0, 1, 90}, 1.25, -0.5, &out),
        OPTICS_BAD_CORNEAL_CYLINDER);
    ck_assert_int_eq(optics_cornea_expected(
                         (struct optics_power){0, -1, 0}, 1.25, -0.5, &out),
        OPTICS_BAD_NO_CORNEAL_AXIS);
    ck_assert_msg(x == 7 && out.cyl == 7, "a refusal wrote its result");
}
END_TEST

Suite *suite_cornea(void)
{
    TCase *tc;
    Suite *s = suite_new("cornea", &tc);

    tcase_add_test(tc, a_radius_of_7_50_is_45_dioptres);
    tcase_add_test(tc, the_two_means_of_k_differ);
    tcase_add_loop_test(
        tc, corneal_power_is_corrected_on_the_flat_meridian, 0, ROWS(CORNEAS));
    tcase_add_test(tc, the_rule_goes_by_the_lens_not_by_its_notation);
    tcase_add_test(tc, a_small_corneal_cylinder_turns_against_the_rule);
    tcase_add_test(tc, senseless_corneas_are_named);
    return s;
}
