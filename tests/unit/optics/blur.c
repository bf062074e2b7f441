#include <math.h>

#include "suites.h"

#include "optics/blur.h"

/* Blendowske 2015 (abstract): MAR grows as 1 + b^2.  By hand: 1 D of blur
 * doubles it, log10 2 = 0.30103; from 0.1 the loss adds up in logMAR. */
START_TEST(one_dioptre_of_blur_doubles_the_angle)
{
    struct optics_vector one = {-1, 0, 0}, none = {0, 0, 0};

    ck_assert_double_eq_tol(optics_relative_mar(one), 2, 1e-12);
    ck_assert_double_eq_tol(optics_predicted_logmar(0.1, one), 0.40103, 5e-6);
    ck_assert(optics_predicted_logmar(0.1, none) == 0.1);
}
END_TEST

/* About one line (0.1 logMAR) for 0.25 to 0.5 D is the usual rule (rough). */
START_TEST(half_a_dioptre_costs_about_a_line)
{
    struct optics_vector half = {0.5, 0, 0};

    ck_assert_double_eq_tol(optics_predicted_logmar(0, half), 0.1, 0.05);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power power;
    double axis;
} ELLIPSES[] = {
    {"the stronger meridian lies on the axis", {3, -1, 20}, 20},
    {"or across", {-3, -1, 20}, 110},
    {"whichever way it is written", {-4, 1, 110}, 110},
    {"mixed astigmatism with equal ends: a disc", {1, -2, 20}, 0},
    {"a sphere: a disc", {-2, 0, 0}, 0},
};

START_TEST(a_blurred_point_is_long_where_the_error_is_greater)
{
    struct optics_ellipse got;

    ck_assert_int_eq(
        optics_blur_ellipse(ELLIPSES[_i].power, 4, &got), OPTICS_OK);
    ck_assert_msg(got.major_axis == ELLIPSES[_i].axis, "%s: got %f",
        ELLIPSES[_i].why, got.major_axis);
    ck_assert(got.major_arcmin >= got.minor_arcmin);
    /* pupil (m) * D radians: 4 mm and 3 or 4 D are 41.25 and 55.00 arcmin;
     * the disc's rows are looked at in the case files. */
    ck_assert(_i != 0 || fabs(got.major_arcmin - 41.253) < 1e-3);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power old_power, new_power;
    bool change;
} NOISE[] = {
    {"a quarter of sphere is noise", {-1, 0, 0}, {-1.25, 0, 0}, false},
    {"half a dioptre reaches the limit", {-1, 0, 0}, {-1.50, 0, 0}, true},
    {"so it does when doubles fall short of it", {-0.1, 0, 0}, {-0.6, 0, 0},
        true},
    {"a cylinder of 0.50 turned by 90 is a change", {0, -0.5, 90},
        {0, -0.5, 180}, true},
    {"other notation is none", {1, -1, 180}, {0, 1, 90}, false},
};

START_TEST(a_change_inside_the_noise_is_none)
{
    struct optics_noise got;

    ck_assert_int_eq(
        optics_change_noise(NOISE[_i].old_power, NOISE[_i].new_power,
            OPTICS_NOISE_M, OPTICS_NOISE_J, &got),
        OPTICS_OK);
    ck_assert_msg(got.change == NOISE[_i].change, "%s", NOISE[_i].why);
}
END_TEST

START_TEST(senseless_pupils_eyes_and_limits_are_named)
{
    struct optics_power p = {-1, 0, 0};
    struct optics_ellipse ellipse;
    struct optics_noise noise;
    double x = 7;

    ck_assert_int_eq(optics_blur_angle(0, 1, &x), OPTICS_BAD_PUPIL_MM);
    ck_assert_int_eq(optics_blur_angle(4, NAN, &x), OPTICS_BAD_DEFOCUS);
    ck_assert_int_eq(optics_blur_ellipse(p, -4, &ellipse), OPTICS_BAD_PUPIL_MM);
    ck_assert_int_eq(optics_retinal_image(5, 0, &x), OPTICS_BAD_EYE_POWER);
    ck_assert_int_eq(
        optics_retinal_image(5400, 60, &x), OPTICS_BAD_ANGLE_ARCMIN);
    ck_assert_int_eq(
        optics_change_noise(p, p, -1, 0, &noise), OPTICS_BAD_LIMIT_M);
    ck_assert_int_eq(
        optics_change_noise(p, p, 1, NAN, &noise), OPTICS_BAD_LIMIT_J);
    ck_assert(x == 7);
}
END_TEST

Suite *suite_blur(void)
{
    TCase *tc;
    Suite *s = suite_new("blur", &tc);

    tcase_add_test(tc, one_dioptre_of_blur_doubles_the_angle);
    tcase_add_test(tc, half_a_dioptre_costs_about_a_line);
    tcase_add_loop_test(tc, a_blurred_point_is_long_where_the_error_is_greater,
        0, ROWS(ELLIPSES));
    tcase_add_loop_test(tc, a_change_inside_the_noise_is_none, 0, ROWS(NOISE));
    tcase_add_test(tc, senseless_pupils_eyes_and_limits_are_named);
    return s;
}
