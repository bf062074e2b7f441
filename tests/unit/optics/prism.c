#include <math.h>

#include "suites.h"

#include "optics/prism.h"

static const struct {
    const char *why;
    enum optics_eye eye;
    struct optics_prism prism;
    struct optics_base base;
} BASES[] = {
    {"right base in points to the examiner's right", OPTICS_RIGHT, {2, 0},
        {2, 0}},
    {"left base in is mirrored", OPTICS_LEFT, {2, 0}, {2, 180}},
    {"right base out", OPTICS_RIGHT, {-2, 0}, {2, 180}},
    {"left base out is 0, not 360", OPTICS_LEFT, {-2, 0}, {2, 0}},
    {"up is up for both", OPTICS_LEFT, {0, 3}, {3, 90}},
    {"down is 270 for both", OPTICS_RIGHT, {0, -3}, {3, 270}},
    /* 3-4-5 by hand: atan(4 / 3) = 53.1301 */
    {"oblique, left", OPTICS_LEFT, {3, 4}, {5, 180 - 53.130102354}},
    {"none has no direction", OPTICS_LEFT, {0, 0}, {0, 0}},
};

START_TEST(parts_and_base_angle_are_one_prism)
{
    struct optics_base got =
        optics_prism_compose(BASES[_i].eye, BASES[_i].prism);
    struct optics_prism back;

    ck_assert_msg(fabs(got.amount - BASES[_i].base.amount) < 1e-12 &&
                      fabs(got.angle - BASES[_i].base.angle) < 1e-6,
        "%s: got %f at %f", BASES[_i].why, got.amount, got.angle);
    ck_assert_int_eq(
        optics_prism_resolve(BASES[_i].eye, got, &back), OPTICS_OK);
    ck_assert_double_eq_tol(back.base_in, BASES[_i].prism.base_in, 1e-12);
    ck_assert_double_eq_tol(back.base_up, BASES[_i].prism.base_up, 1e-12);
}
END_TEST

/*
 * A study page answers +3.00 -4.00 x 90, centre moved 4 mm in and 2 mm up,
 * with 1.20 base out and 0.20 base down.  Prentice on the principal meridians
 * (the axis is vertical, so they don't mix): horizontal power 3 - 4 = -1 makes
 * 0.4 * -1 = 0.40 base out, vertical +3 makes 0.2 * 3 = 0.60 base up.
 */
START_TEST(the_study_page_is_wrong)
{
    struct optics_power lens = {3.00, -4.00, 90};
    struct optics_prism got;

    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++) {
        ck_assert_int_eq(optics_prism_of_shift((enum optics_eye)eye, lens,
                             (struct optics_shift){4, 2}, &got),
            OPTICS_OK);
        ck_assert_double_eq_tol(got.base_in, -0.40, 1e-12);
        ck_assert_double_eq_tol(got.base_up, 0.60, 1e-12);
    }
}
END_TEST

/* f12 of -4.00 x 45 is 2: 5 mm inwards make 0.5 * 2 = 1 vertically, up for
 * the right eye, and down for the left, whose inwards is the other way. */
START_TEST(an_oblique_cylinder_makes_vertical_prism_of_a_horizontal_shift)
{
    struct optics_power lens = {0, -4, 45};
    struct optics_prism right, left;

    ck_assert_int_eq(optics_prism_of_shift(OPTICS_RIGHT, lens,
                         (struct optics_shift){5, 0}, &right),
        OPTICS_OK);
    ck_assert_int_eq(optics_prism_of_shift(
                         OPTICS_LEFT, lens, (struct optics_shift){5, 0}, &left),
        OPTICS_OK);
    ck_assert_double_eq_tol(right.base_in, -1, 1e-12);
    ck_assert_double_eq_tol(right.base_up, 1, 1e-12);
    ck_assert_double_eq_tol(left.base_in, -1, 1e-12);
    ck_assert_double_eq_tol(left.base_up, -1, 1e-12);
}
END_TEST

START_TEST(a_shift_for_a_prism_makes_that_prism)
{
    struct optics_power lens = {-4.25 + _i * 0.5, -1.25, 10 + _i * 17};
    struct optics_prism want = {1.5, -0.75}, got;
    struct optics_shift shift;

    ck_assert_int_eq(
        optics_shift_of_prism(OPTICS_LEFT, lens, want, &shift), OPTICS_OK);
    ck_assert_int_eq(
        optics_prism_of_shift(OPTICS_LEFT, lens, shift, &got), OPTICS_OK);
    ck_assert_double_eq_tol(got.base_in, want.base_in, 1e-9);
    ck_assert_double_eq_tol(got.base_up, want.base_up, 1e-9);
}
END_TEST

/* P-14 (b) and (c): brainscape.com deck 14574219 ((b) published, (c) input
 * published).  (c) by hand: f22 of -1.00 -1.00 x 30 is -1 - cos^2 30 = -1.75,
 * f12 = sin 30 cos 30 = 0.433. */
START_TEST(p14_imbalance_at_the_reading_level)
{
    struct optics_imbalance got;

    ck_assert_int_eq(
        optics_prism_imbalance((struct optics_power){4.50, 0.50, 180},
            (struct optics_power){2.00, 0.25, 90}, 10, &got),
        OPTICS_OK);
    ck_assert_double_eq_tol(got.vertical, 3.00, 1e-12);
    ck_assert_int_eq(
        optics_prism_imbalance((struct optics_power){-4.50, -1.50, 180},
            (struct optics_power){-1.00, -1.00, 30}, 10, &got),
        OPTICS_OK);
    ck_assert_double_eq_tol(got.right.base_up, -6.00, 1e-12);
    ck_assert_double_eq_tol(got.left.base_up, -1.75, 1e-12);
    ck_assert_double_eq_tol(got.vertical, -4.25, 1e-12);
    ck_assert_double_eq_tol(fabs(got.left.base_in), 0.433, 5e-4);
    ck_assert_double_eq_tol(got.right.base_in, 0, 1e-12);
}
END_TEST

/* P-15: distance lenses +5.00 and +2.00, 10 mm below (a study page of Durham
 * Technical Community College, OPH 142, module 9d): 3.00. */
START_TEST(p15_distance_lenses_alone)
{
    struct optics_imbalance got;

    ck_assert_int_eq(optics_prism_imbalance((struct optics_power){5, 0, 0},
                         (struct optics_power){2, 0, 0}, 10, &got),
        OPTICS_OK);
    ck_assert_double_eq_tol(got.vertical, 3.00, 1e-12);
}
END_TEST

/* P-19: centres 5.7 mm wider than the eyes, -3.00 (pubmed 23952133, means of
 * 1002 people): 0.57 * 3 = 1.71 in all, base in; base out for +3.00. */
START_TEST(p19_centres_too_wide)
{
    struct optics_prism right, left;

    for (int sign = -1; sign <= 1; sign += 2) {
        struct optics_power lens = {3.0 * sign, 0, 0};

        ck_assert_int_eq(
            optics_prism_of_pd(OPTICS_RIGHT, lens, 65.6 / 2, 59.9 / 2, &right),
            OPTICS_OK);
        ck_assert_int_eq(
            optics_prism_of_pd(OPTICS_LEFT, lens, 65.6 / 2, 59.9 / 2, &left),
            OPTICS_OK);
        ck_assert_double_eq_tol(
            right.base_in + left.base_in, -1.71 * sign, 1e-9);
    }
}
END_TEST

START_TEST(vertical_prism_is_reversed_between_the_eyes)
{
    struct optics_prism_pair total = {{1, 0}, {1, 2}}, got;

    /* 2 base-up left is 2 base-down right; half to each eye. */
    ck_assert_int_eq(optics_prism_split(total, 0.5, &got), OPTICS_OK);
    ck_assert_double_eq_tol(got.right.base_in, 1, 1e-12);
    ck_assert_double_eq_tol(got.left.base_in, 1, 1e-12);
    ck_assert_double_eq_tol(got.right.base_up, -1, 1e-12);
    ck_assert_double_eq_tol(got.left.base_up, 1, 1e-12);
}
END_TEST

START_TEST(senseless_prism_is_named)
{
    struct optics_power plano = {0, -1, 180}, half = {-1, 1, 90};
    struct optics_power lens = {-1, 0, 0};
    struct optics_prism one = {1, 0}, bad = {1, NAN}, out = {7, 7};
    struct optics_prism_pair pair = {one, bad};
    struct optics_shift shift;
    struct optics_imbalance imbalance;

    ck_assert_int_eq(optics_prism_check(bad), OPTICS_BAD_BASE_UP);
    ck_assert_int_eq(
        optics_prism_resolve(OPTICS_RIGHT, (struct optics_base){-1, 0}, &out),
        OPTICS_BAD_AMOUNT);
    ck_assert_int_eq(
        optics_prism_resolve(OPTICS_RIGHT, (struct optics_base){1, 361}, &out),
        OPTICS_BAD_ANGLE);
    ck_assert_int_eq(optics_prism_split(pair, 0.5, &pair), OPTICS_BAD_BASE_UP);
    pair.left = one;
    ck_assert_int_eq(
        optics_prism_split(pair, 1.1, &pair), OPTICS_BAD_SHARE_RIGHT);
    ck_assert_int_eq(optics_shift_of_prism(OPTICS_RIGHT, plano, one, &shift),
        OPTICS_BAD_NO_SPHERE);
    ck_assert_int_eq(optics_shift_of_prism(OPTICS_RIGHT, half, one, &shift),
        OPTICS_BAD_NO_MERIDIAN);
    ck_assert_int_eq(optics_shift_of_prism(
                         OPTICS_RIGHT, plano, (struct optics_prism){0}, &shift),
        OPTICS_OK);
    ck_assert(shift.in_mm == 0 && shift.up_mm == 0);
    ck_assert_int_eq(optics_prism_of_shift(OPTICS_RIGHT, lens,
                         (struct optics_shift){101, 0}, &out),
        OPTICS_BAD_IN_MM);
    ck_assert_int_eq(optics_prism_imbalance(lens, lens, INFINITY, &imbalance),
        OPTICS_BAD_DOWN_MM);
    ck_assert_int_eq(
        optics_prism_of_pd(OPTICS_LEFT, lens, 30, -1, &out), OPTICS_BAD_PD_MM);
    ck_assert_msg(
        out.base_in == 7 && out.base_up == 7, "a refusal wrote its result");
}
END_TEST

/* Each lens and each prism that a function is given. */
START_TEST(senseless_lenses_and_prisms_are_named)
{
    struct optics_power lens = {2, -1, 90}, bad = {2, -1, 0};
    struct optics_prism_pair pair = {{NAN, 0}, {1, 1}};
    struct optics_prism out;
    struct optics_shift shift = {1, 1};
    struct optics_imbalance imbalance;

    ck_assert_int_eq(optics_prism_split(pair, 0.5, &pair), OPTICS_BAD_BASE_IN);
    ck_assert_int_eq(optics_prism_of_shift(OPTICS_RIGHT, bad, shift, &out),
        OPTICS_BAD_NO_AXIS);
    ck_assert_int_eq(
        optics_shift_of_prism(OPTICS_RIGHT, bad, pair.left, &shift),
        OPTICS_BAD_NO_AXIS);
    ck_assert_int_eq(
        optics_shift_of_prism(OPTICS_LEFT, lens, pair.right, &shift),
        OPTICS_BAD_BASE_IN);
    ck_assert_int_eq(
        optics_prism_imbalance(bad, lens, 5, &imbalance), OPTICS_BAD_NO_AXIS);
    ck_assert_int_eq(
        optics_prism_imbalance(lens, bad, 5, &imbalance), OPTICS_BAD_NO_AXIS);
    ck_assert_int_eq(
        optics_prism_of_pd(OPTICS_LEFT, bad, 30, 31, &out), OPTICS_BAD_NO_AXIS);
}
END_TEST

Suite *suite_prism(void)
{
    TCase *tc;
    Suite *s = suite_new("prism", &tc);

    tcase_add_loop_test(tc, parts_and_base_angle_are_one_prism, 0, ROWS(BASES));
    tcase_add_test(tc, the_study_page_is_wrong);
    tcase_add_test(
        tc, an_oblique_cylinder_makes_vertical_prism_of_a_horizontal_shift);
    tcase_add_loop_test(tc, a_shift_for_a_prism_makes_that_prism, 0, 6);
    tcase_add_test(tc, p14_imbalance_at_the_reading_level);
    tcase_add_test(tc, p15_distance_lenses_alone);
    tcase_add_test(tc, p19_centres_too_wide);
    tcase_add_test(tc, vertical_prism_is_reversed_between_the_eyes);
    tcase_add_test(tc, senseless_prism_is_named);
    tcase_add_test(tc, senseless_lenses_and_prisms_are_named);
    return s;
}
