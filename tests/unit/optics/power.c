#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "suites.h"

#include "optics/vector.h"

static const struct {
    const char *why;
    struct optics_rx in;
    enum optics_form form;
    struct optics_rx out;
} FORMS[] = {
    {"axis below 90 goes up", {100, 50, 1000}, OPTICS_MINUS_CYL,
        {150, -50, 10000}},
    {"90 becomes 180, never 0", {0, 125, 9000}, OPTICS_MINUS_CYL,
        {125, -125, 18000}},
    {"180 becomes 90", {-100, -100, 18000}, OPTICS_PLUS_CYL, {-200, 100, 9000}},
    {"a fraction of a degree turns with it", {0, -100, 2130}, OPTICS_PLUS_CYL,
        {-100, 100, 11130}},
    {"the form asked for stays as it is", {-225, -75, 17200}, OPTICS_MINUS_CYL,
        {-225, -75, 17200}},
    {"a sphere has one form", {-450, 0, 0}, OPTICS_PLUS_CYL, {-450, 0, 0}},
    {"sphere against cylinder leaves plano, not -0", {-125, 125, 100},
        OPTICS_MINUS_CYL, {0, -125, 9100}},
    /* P-07: a published keratoconus pair with cylinders above 8 D,
     * gpli.info/er-case-28; the plus form by hand: S + C, -C, A -+ 90. */
    {"P-07 right", {-825, -925, 16300}, OPTICS_PLUS_CYL, {-1750, 925, 7300}},
    {"P-07 left", {-725, -875, 1100}, OPTICS_PLUS_CYL, {-1600, 875, 10100}},
};

START_TEST(a_lens_is_rewritten_with_the_other_cylinder_sign)
{
    struct optics_rx got = optics_rx_as(FORMS[_i].in, FORMS[_i].form);
    struct optics_rx want = FORMS[_i].out;

    ck_assert_msg(memcmp(&got, &want, sizeof(got)) == 0, "%s: got %d / %d x %d",
        FORMS[_i].why, got.sph_cd, got.cyl_cd, got.axis_cdeg);
    ck_assert(optics_rx_same(FORMS[_i].in, got));
    expect_power(FORMS[_i].why,
        optics_power_as(optics_power_of_rx(FORMS[_i].in), FORMS[_i].form),
        optics_power_of_rx(want), 1e-12, 1e-9);
}
END_TEST

START_TEST(lenses_that_differ_in_one_part_are_not_the_same)
{
    struct optics_rx rx = {-225, -75, 17200};

    ck_assert(optics_rx_same(rx, (struct optics_rx){-300, 75, 8200}));
    ck_assert(!optics_rx_same(rx, (struct optics_rx){-224, -75, 17200}));
    ck_assert(!optics_rx_same(rx, (struct optics_rx){-225, -76, 17200}));
    ck_assert(!optics_rx_same(rx, (struct optics_rx){-225, -75, 17201}));
}
END_TEST

START_TEST(twice_rewritten_is_the_same_lens)
{
    for (int32_t axis = 1; axis <= 18000; axis++) {
        struct optics_rx rx = {-325, -150, axis};

        rx = optics_rx_as(optics_rx_as(rx, OPTICS_PLUS_CYL), OPTICS_MINUS_CYL);
        ck_assert(rx.sph_cd == -325 && rx.cyl_cd == -150);
        ck_assert_int_eq(rx.axis_cdeg, axis);
    }
}
END_TEST

static const struct {
    const char *why;
    struct optics_rx rx;
    enum optics_fault fault;
} RECORDS[] = {
    {"plano", {0, 0, 0}, OPTICS_OK},
    {"an ordinary lens", {-225, -75, 17200}, OPTICS_OK},
    /* P-01: reviewofmm.com, pediatric unilateral pathologic myopia. */
    {"P-01: -19.00 -4.50 x 165", {-1900, -450, 16500}, OPTICS_OK},
    {"P-07: -8.25 -9.25 x 163", {-825, -925, 16300}, OPTICS_OK},
    {"sphere beyond 40", {-4001, 0, 0}, OPTICS_BAD_SPHERE},
    {"cylinder beyond 20", {0, -2001, 100}, OPTICS_BAD_CYLINDER},
    {"a meridian beyond 40", {-3900, -101, 100}, OPTICS_BAD_CYLINDER},
    {"axis 181", {0, -100, 18100}, OPTICS_BAD_AXIS},
    {"axis -10", {0, -100, -1000}, OPTICS_BAD_AXIS},
    {"cylinder without axis", {0, -100, 0}, OPTICS_BAD_NO_AXIS},
    {"axis without cylinder", {0, 0, 9000}, OPTICS_BAD_AXIS},
    {"the mark of an absent figure", {INT32_MIN, 0, 0}, OPTICS_BAD_SPHERE},
    {"the same in the cylinder", {0, INT32_MIN, 100}, OPTICS_BAD_CYLINDER},
};

START_TEST(a_record_holds_only_lenses_in_range)
{
    ck_assert_msg(optics_rx_check(RECORDS[_i].rx) == RECORDS[_i].fault, "%s",
        RECORDS[_i].why);
}
END_TEST

START_TEST(a_source_may_write_0_for_180_or_an_axis_beside_plano)
{
    struct optics_rx zero = optics_rx_normal((struct optics_rx){0, -50, 0});
    struct optics_rx plano = optics_rx_normal((struct optics_rx){0, 0, 9000});

    ck_assert_int_eq(zero.axis_cdeg, 18000);
    ck_assert_int_eq(plano.axis_cdeg, 0);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power in, out;
} ROUNDED[] = {
    {"to four decimals and two of a degree", {-1.23456, -0.65434, 12.3456},
        {-1.2346, -0.6543, 12.35}},
    {"axis 0.004 goes to 0, which is written 180", {0, -1, 0.004},
        {0, -1, 180}},
    {"a cylinder that rounds to 0 has no axis", {-1, -0.00004, 30}, {-1, 0, 0}},
    {"half a step goes away from zero", {-0.00005, -0.50005, 45.005},
        {-0.0001, -0.5001, 45.01}},
    {"no -0", {-0.00001, 0, 0}, {0, 0, 0}},
};

START_TEST(a_computed_figure_leaves_the_record_rounded)
{
    struct optics_power got = optics_power_rounded(ROUNDED[_i].in);

    expect_power(ROUNDED[_i].why, got, ROUNDED[_i].out, 1e-12, 1e-9);
    ck_assert_msg(!signbit(got.sph) || got.sph < 0, "-0 left");
}
END_TEST

START_TEST(hundredths_survive_the_way_through_doubles)
{
    for (int32_t sph = -4000; sph <= 4000; sph++) {
        struct optics_rx rx = {
            sph, -(abs(sph) % 2000) - 1, 1 + (sph + 4000) * 17999 / 8000};
        struct optics_rx back = optics_rx_of_power(optics_power_of_rx(rx));

        ck_assert_msg(memcmp(&rx, &back, sizeof(rx)) == 0,
            "%d / %d x %d came back as %d / %d x %d", rx.sph_cd, rx.cyl_cd,
            rx.axis_cdeg, back.sph_cd, back.cyl_cd, back.axis_cdeg);
    }
}
END_TEST

static const struct {
    const char *why;
    struct optics_power in;
    struct optics_rx out;
} NEAREST[] = {
    /* -2.675 is stored as -2.67499999...: people still round it outwards. */
    {"a binary double just under a tie", {-2.675, 0, 0}, {-268, 0, 0}},
    {"a cylinder of 0.004 is none", {1, -0.004, 20}, {100, 0, 0}},
    {"an axis of 0.004 is 180", {0, -0.5, 0.004}, {0, -50, 18000}},
    {"single precision of a DICOM double", {-2.25f, -0.75f, 172.0f},
        {-225, -75, 17200}},
};

START_TEST(doubles_go_to_the_nearest_hundredth)
{
    struct optics_rx got = optics_rx_of_power(NEAREST[_i].in);

    ck_assert_msg(memcmp(&got, &NEAREST[_i].out, sizeof(got)) == 0, "%s: %d",
        NEAREST[_i].why, got.sph_cd);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power power;
    enum optics_fault fault;
} SENSE[] = {
    {"plano", {0, 0, 0}, OPTICS_OK},
    {"an axis beside plano is ignored", {1, 0, 90}, OPTICS_OK},
    {"sphere not a number", {NAN, 0, 0}, OPTICS_BAD_SPHERE},
    {"sphere without end", {INFINITY, 0, 0}, OPTICS_BAD_SPHERE},
    {"sphere beyond sense", {1001, 0, 0}, OPTICS_BAD_SPHERE},
    {"cylinder not a number", {0, NAN, 10}, OPTICS_BAD_CYLINDER},
    {"axis 400", {0, -1, 400}, OPTICS_BAD_AXIS},
    {"axis below 0", {0, -1, -1}, OPTICS_BAD_AXIS},
    {"axis not a number", {0, -1, NAN}, OPTICS_BAD_AXIS},
    {"axis 400 beside plano is as senseless", {0, 0, 400}, OPTICS_BAD_AXIS},
    {"a cylinder without axis", {0, -1, 0}, OPTICS_BAD_NO_AXIS},
};

START_TEST(a_senseless_power_is_named)
{
    ck_assert_msg(optics_power_check(SENSE[_i].power) == SENSE[_i].fault, "%s",
        SENSE[_i].why);
}
END_TEST

START_TEST(an_axis_beside_no_cylinder_goes)
{
    expect_power("0.00 x 90",
        optics_power_normal((struct optics_power){-1, 0, 90}),
        (struct optics_power){-1, 0, 0}, 0, 0);
}
END_TEST

/* P-14 (a): brainscape.com deck 14574219, total power in any meridian. */
static const struct {
    struct optics_power power;
    double meridian, want;
} MERIDIANS[] = {
    {{-6.00, -3.00, 150}, 90, -8.25},
    {{-6.00, -3.00, 150}, 180, -6.75},
    {{0.50, -2.00, 30}, 90, -1.00},
    {{0.50, -2.00, 30}, 180, 0.00},
};

START_TEST(p14_power_in_a_meridian)
{
    double got =
        optics_power_meridian(MERIDIANS[_i].power, MERIDIANS[_i].meridian);

    ck_assert_double_eq_tol(got, MERIDIANS[_i].want, 1e-12);
    ck_assert(!(got == 0 && signbit(got)));
}
END_TEST

START_TEST(a_fault_names_its_argument)
{
    ck_assert_str_eq(optics_fault_arg(OPTICS_BAD_INDEX), "index");
    ck_assert_str_eq(optics_fault_arg(OPTICS_BAD_NO_AXIS), "axis");
    ck_assert_str_eq(optics_fault_arg(OPTICS_OK), "");
    ck_assert_str_eq(
        optics_fault_why(OPTICS_BAD_NO_AXIS), "is required with a cylinder");
    ck_assert_int_eq(
        optics_fault_check(OPTICS_BAD_INDEX, 0.9), OPTICS_BAD_INDEX);
    ck_assert_int_eq(
        optics_fault_check(OPTICS_BAD_INDEX, NAN), OPTICS_BAD_INDEX);
    ck_assert_int_eq(optics_fault_check(OPTICS_BAD_INDEX, 1.5), OPTICS_OK);
    ck_assert_int_eq(optics_fault_check(OPTICS_BAD_NO_AXIS, NAN), OPTICS_OK);
}
END_TEST

Suite *suite_power(void)
{
    TCase *tc;
    Suite *s = suite_new("power", &tc);

    tcase_add_loop_test(
        tc, a_lens_is_rewritten_with_the_other_cylinder_sign, 0, ROWS(FORMS));
    tcase_add_test(tc, lenses_that_differ_in_one_part_are_not_the_same);
    tcase_add_test(tc, twice_rewritten_is_the_same_lens);
    tcase_add_loop_test(
        tc, a_record_holds_only_lenses_in_range, 0, ROWS(RECORDS));
    tcase_add_test(tc, a_source_may_write_0_for_180_or_an_axis_beside_plano);
    tcase_add_loop_test(
        tc, a_computed_figure_leaves_the_record_rounded, 0, ROWS(ROUNDED));
    tcase_add_test(tc, hundredths_survive_the_way_through_doubles);
    tcase_add_loop_test(
        tc, doubles_go_to_the_nearest_hundredth, 0, ROWS(NEAREST));
    tcase_add_loop_test(tc, a_senseless_power_is_named, 0, ROWS(SENSE));
    tcase_add_test(tc, an_axis_beside_no_cylinder_goes);
    tcase_add_loop_test(tc, p14_power_in_a_meridian, 0, ROWS(MERIDIANS));
    tcase_add_test(tc, a_fault_names_its_argument);
    return s;
}
