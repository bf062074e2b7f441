#include <math.h>

#include "suites.h"

#include "optics/magnify.h"

/* Thin lens 15 mm before the pupil: 1 / (1 - 0.015 F), by hand for -4: 1 /
 * 1.06 = 0.943396. */
START_TEST(a_thin_lens_magnifies_by_its_power_alone)
{
    struct optics_magnification m;

    ck_assert_int_eq(
        optics_magnify((struct optics_worn){0, -4, 1.5, 0, 15}, &m), OPTICS_OK);
    ck_assert_double_eq_tol(m.shape_factor, 1, 1e-12);
    ck_assert_double_eq_tol(m.magnification, 0.943396, 5e-7);
    ck_assert_double_eq_tol(m.percent, -5.6604, 5e-5);
}
END_TEST

/* Rule of thumb, 1 to 1.5 percent a dioptre of difference (study pages). */
START_TEST(the_estimate_follows_the_rule_of_thumb)
{
    double percent;

    for (int d = -3; d <= 3; d++) {
        struct optics_power right = {d, 0, 0}, left = {0, 0, 0};

        ck_assert_int_eq(
            optics_image_ratio_estimate(right, left, 12, &percent), OPTICS_OK);
        ck_assert_msg(fabs(percent - 1.5 * d) < 0.25, "%d D: %f", d, percent);
        ck_assert(d != 0 || percent == 0);
    }
}
END_TEST

/* The estimate leaves out base curve and thickness, and says the same as the
 * whole formula for a lens that has neither; at the spherical equivalent. */
START_TEST(the_estimate_is_the_power_factor)
{
    struct optics_power right = {-3, -2, 90}, left = {1, 0, 0};
    double estimate, whole;

    ck_assert_int_eq(
        optics_image_ratio_estimate(right, left, 13.5, &estimate), OPTICS_OK);
    ck_assert_int_eq(
        optics_image_ratio((struct optics_worn){0, -4, 1.5, 0, 16.5},
            (struct optics_worn){0, 1, 1.5, 0, 16.5}, &whole),
        OPTICS_OK);
    ck_assert_double_eq_tol(estimate, whole, 1e-9);
}
END_TEST

START_TEST(senseless_lenses_are_named)
{
    struct optics_worn lens = {5, -2, 1.5, 3, 15}, bad = lens;
    struct optics_magnification m = {.percent = 7};
    struct optics_thick t;
    double percent = 7;

    bad.index = 0.9;
    ck_assert_int_eq(optics_magnify(bad, &m), OPTICS_BAD_INDEX);
    bad = lens;
    bad.thickness_mm = -1;
    ck_assert_int_eq(optics_magnify(bad, &m), OPTICS_BAD_THICKNESS_MM);
    bad = lens;
    bad.back_vertex_power = 1000.0 / 15;
    ck_assert_int_eq(optics_magnify(bad, &m), OPTICS_BAD_PUPIL_FOCAL);
    ck_assert_int_eq(
        optics_image_ratio(lens, bad, &percent), OPTICS_BAD_PUPIL_FOCAL);
    bad = lens;
    bad.front_power = 50;
    bad.thickness_mm = 30; /* t/n = 20 mm, 1 / 50 D */
    ck_assert_int_eq(optics_magnify(bad, &m), OPTICS_BAD_FRONT_FOCAL);
    ck_assert_int_eq(
        optics_thick_lens((struct optics_surfaces){50, 0, 1.5, 30}, &t),
        OPTICS_BAD_FRONT_FOCAL);
    ck_assert_int_eq(
        optics_thick_lens((struct optics_surfaces){0, 50, 1.5, 30}, &t),
        OPTICS_BAD_BACK_FOCAL);
    ck_assert_int_eq(
        optics_thick_lens((struct optics_surfaces){NAN, 0, 1.5, 3}, &t),
        OPTICS_BAD_FRONT_POWER);
    ck_assert_int_eq(optics_image_ratio_estimate((struct optics_power){0, 0, 0},
                         (struct optics_power){0, 0, 0}, -1, &percent),
        OPTICS_BAD_VERTEX_MM);
    ck_assert_int_eq(
        optics_image_ratio_estimate((struct optics_power){1000.0 / 15, 0, 0},
            (struct optics_power){0, 0, 0}, 12, &percent),
        OPTICS_BAD_PUPIL_FOCAL);
    ck_assert_msg(m.percent == 7 && percent == 7, "a refusal wrote its result");
}
END_TEST

Suite *suite_magnify(void)
{
    TCase *tc;
    Suite *s = suite_new("magnify", &tc);

    tcase_add_test(tc, a_thin_lens_magnifies_by_its_power_alone);
    tcase_add_test(tc, the_estimate_follows_the_rule_of_thumb);
    tcase_add_test(tc, the_estimate_is_the_power_factor);
    tcase_add_test(tc, senseless_lenses_are_named);
    return s;
}
