#include <math.h>

#include "suites.h"

#include "optics/near.h"

#define RIGHT(call) ck_assert_int_eq((call), OPTICS_OK)

/* Hofstetter's lines cross 0 at 15 / 0.25, 18.5 / 0.3 and 25 / 0.4 years. */
START_TEST(an_amplitude_is_never_below_0)
{
    struct optics_amplitude a;

    RIGHT(optics_amplitude_hofstetter(60, &a));
    ck_assert_double_eq(a.minimum, 0);
    ck_assert_double_eq_tol(a.average, 0.5, 1e-12);
    ck_assert_double_eq_tol(a.maximum, 1, 1e-12);
    RIGHT(optics_amplitude_hofstetter(130, &a));
    ck_assert_double_eq(a.minimum, 0);
    ck_assert_double_eq(a.average, 0);
    ck_assert_double_eq(a.maximum, 0);
    ck_assert_msg(!signbit(a.maximum), "a minus zero");
}
END_TEST

static const struct {
    const char *why;
    double age, amplitude;
} DONDERS[] = {
    {"the first row", 10, 14},
    {"half way between rows, (14 + 12) / 2", 12.5, 13},
    {"a row", 40, 4.5},
    {"a fifth of the way from 0.25 to 0", 71, 0.2},
    {"the last row", 75, 0},
};

START_TEST(donders_is_straight_between_its_rows)
{
    double got;

    RIGHT(optics_amplitude_donders(DONDERS[_i].age, &got));
    ck_assert_msg(fabs(got - DONDERS[_i].amplitude) < 1e-12, "%s: got %f",
        DONDERS[_i].why, got);
}
END_TEST

static const struct {
    const char *why;
    double age;
    struct optics_band add;
} ADDS[] = {
    {"the youngest of the table", 45, {1.00, 1.25}},
    {"inside a band", 48.5, {1.00, 1.25}},
    {"50 ends one band and begins another", 50, {1.00, 1.75}},
    {"just over 50", 50.01, {1.50, 1.75}},
    {"55 is in two bands", 55, {1.50, 2.25}},
    {"60 is the end of a band, and older", 60, {2.00, 3.00}},
    {"the last band has no end", 90, {2.50, 3.00}},
};

START_TEST(an_age_has_a_band_of_adds)
{
    struct optics_band got;

    RIGHT(optics_add_by_age(ADDS[_i].age, &got));
    ck_assert_msg(got.low == ADDS[_i].add.low && got.high == ADDS[_i].add.high,
        "%s: got %f to %f", ADDS[_i].why, got.low, got.high);
}
END_TEST

/* 40 cm asks for 2.50 D; half of 2.00 D is 1.00, half of 6.00 more than asked.
 * 2.50 - 1/2 * 5.00 is 0 exactly. */
START_TEST(what_accommodation_leaves_is_added)
{
    double add;

    RIGHT(optics_add_from_amplitude(40, 2, 0.5, &add));
    ck_assert_double_eq_tol(add, 1.5, 1e-12);
    RIGHT(optics_add_from_amplitude(40, 6, 0.5, &add));
    ck_assert_double_eq(add, 0);
    RIGHT(optics_add_from_amplitude(40, 5, 0.5, &add));
    ck_assert_msg(add == 0 && !signbit(add), "got %g", add);
}
END_TEST

START_TEST(an_add_of_another_distance_has_no_minus)
{
    struct optics_add_moved m;

    /* 1 / 0.4 = 2.5, 1 / 0.8 = 1.25 */
    RIGHT(optics_add_at_distance(2, 40, 80, &m));
    ck_assert_double_eq_tol(m.shift, -1.25, 1e-12);
    ck_assert_double_eq_tol(m.add, 0.75, 1e-12);
    RIGHT(optics_add_at_distance(1, 40, 80, &m));
    ck_assert_double_eq_tol(m.shift, -1.25, 1e-12);
    ck_assert_double_eq(m.add, 0);
    RIGHT(optics_add_at_distance(1, 40, 40, &m));
    ck_assert_msg(m.shift == 0 && !signbit(m.shift), "got %g", m.shift);
}
END_TEST

START_TEST(without_power_there_is_no_limit)
{
    struct optics_clear_range r;

    RIGHT(optics_clear_range(2, 0.5, &r));
    ck_assert_double_eq_tol(r.far_cm, 50, 1e-12);
    ck_assert_double_eq_tol(r.near_cm, 40, 1e-12);
    RIGHT(optics_clear_range(0, 4, &r));
    ck_assert_double_eq(r.far_cm, 0);
    ck_assert_double_eq_tol(r.near_cm, 25, 1e-12);
    RIGHT(optics_clear_range(4.9e-324, 0, &r));
    ck_assert_double_eq(r.far_cm, 0);
    ck_assert_double_eq(r.near_cm, 0);
    RIGHT(optics_clear_range(1e-6, 0, &r));
    ck_assert_double_eq_tol(r.far_cm, 1e8, 1e-3);
}
END_TEST

START_TEST(senseless_near_figures_are_named)
{
    struct optics_amplitude a = {7, 7, 7};
    struct optics_add_moved moved = {7, 7};
    struct optics_clear_range range = {7, 7};
    struct optics_band band = {7, 7};
    double x = 7;

    ck_assert_int_eq(optics_amplitude_hofstetter(-1, &a), OPTICS_BAD_AGE_YEARS);
    ck_assert_int_eq(
        optics_amplitude_hofstetter(NAN, &a), OPTICS_BAD_AGE_YEARS);
    ck_assert_int_eq(
        optics_amplitude_donders(9.99, &x), OPTICS_BAD_DONDERS_AGE);
    ck_assert_int_eq(
        optics_amplitude_donders(75.01, &x), OPTICS_BAD_DONDERS_AGE);
    ck_assert_int_eq(optics_add_by_age(44.99, &band), OPTICS_BAD_ADD_AGE);
    ck_assert_int_eq(
        optics_add_from_amplitude(0, 1, 0.5, &x), OPTICS_BAD_DISTANCE_CM);
    ck_assert_int_eq(
        optics_add_from_amplitude(40, -1, 0.5, &x), OPTICS_BAD_AMPLITUDE);
    ck_assert_int_eq(
        optics_add_from_amplitude(40, 1, 1.5, &x), OPTICS_BAD_FRACTION);
    ck_assert_int_eq(
        optics_add_at_distance(-1, 40, 50, &moved), OPTICS_BAD_ADD_POWER);
    ck_assert_int_eq(
        optics_add_at_distance(1, 40, 0, &moved), OPTICS_BAD_NEW_DISTANCE_CM);
    ck_assert_int_eq(
        optics_clear_range(INFINITY, 1, &range), OPTICS_BAD_ADD_POWER);
    ck_assert_int_eq(optics_clear_range(1, 101, &range), OPTICS_BAD_AMPLITUDE);
    ck_assert_msg(a.minimum == 7 && moved.add == 7 && range.far_cm == 7 &&
                      band.low == 7 && x == 7,
        "a refusal wrote its result");
}
END_TEST

Suite *suite_near(void)
{
    TCase *tc;
    Suite *s = suite_new("near", &tc);

    tcase_add_test(tc, an_amplitude_is_never_below_0);
    tcase_add_loop_test(
        tc, donders_is_straight_between_its_rows, 0, ROWS(DONDERS));
    tcase_add_loop_test(tc, an_age_has_a_band_of_adds, 0, ROWS(ADDS));
    tcase_add_test(tc, what_accommodation_leaves_is_added);
    tcase_add_test(tc, an_add_of_another_distance_has_no_minus);
    tcase_add_test(tc, without_power_there_is_no_limit);
    tcase_add_test(tc, senseless_near_figures_are_named);
    return s;
}
