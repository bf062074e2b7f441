#include <math.h>

#include "suites.h"

#include "optics/angle.h"

static const struct {
    const char *why;
    double in, out;
} AXES[] = {
    {"0 is written 180", 0, 180},
    {"180 stays", 180, 180},
    {"half a turn further is the same direction", 360, 180},
    {"a hair above 0 is 180", 9e-7, 180},
    {"a hair below 180 is 180", 180 - 9e-7, 180},
    {"what can be told from 0 stays", 2e-6, 2e-6},
    {"below 0 comes round", -10, 170},
    {"above 180 comes round", 181, 1},
    {"a fraction stays", 21.3, 21.3},
};

START_TEST(an_axis_lies_above_0_up_to_180)
{
    ck_assert_msg(fabs(optics_axis_normal(AXES[_i].in) - AXES[_i].out) < 1e-12,
        "%s: got %.9f", AXES[_i].why, optics_axis_normal(AXES[_i].in));
}
END_TEST

static const struct {
    const char *why;
    double a, b, out;
} DIFFERENCES[] = {
    {"178 and 2 lie 4 apart, across 180", 178, 2, 4},
    {"in either order", 2, 178, 4},
    {"0 and 180 are one direction", 0, 180, 0},
    {"never over 90", 10, 170, 20},
    {"perpendicular", 45, 135, 90},
    {"same", 77, 77, 0},
};

START_TEST(axes_differ_the_short_way_round)
{
    ck_assert_msg(
        fabs(optics_axis_difference(DIFFERENCES[_i].a, DIFFERENCES[_i].b) -
             DIFFERENCES[_i].out) < 1e-12,
        "%s", DIFFERENCES[_i].why);
}
END_TEST

static const struct {
    const char *why;
    int32_t in, out;
} WHOLE[] = {
    {"0.49 becomes 180, for 0 is never written", 49, 18000},
    {"0.50 becomes 1", 50, 100},
    {"179.50 becomes 180", 17950, 18000},
    {"179.49 becomes 179", 17949, 17900},
    {"21.30 becomes 21", 2130, 2100},
    {"a whole degree stays", 9000, 9000},
    {"no axis stays none", 0, 0},
};

START_TEST(a_fraction_of_a_degree_goes_to_the_nearest)
{
    ck_assert_msg(optics_axis_whole(WHOLE[_i].in) == WHOLE[_i].out,
        "%s: got %d", WHOLE[_i].why, optics_axis_whole(WHOLE[_i].in));
}
END_TEST

START_TEST(sine_and_cosine_are_exact_on_quarter_turns)
{
    static const double want[][2] = {{0, 1}, {1, 0}, {0, -1}, {-1, 0}};

    for (int turn = -8; turn <= 8; turn++) {
        double s, c;

        optics_sincos_deg(90 * turn, &s, &c);
        ck_assert(s == want[turn & 3][0] && c == want[turn & 3][1]);
        ck_assert(!(s == 0 && signbit(s)) && !(c == 0 && signbit(c)));
    }
}
END_TEST

START_TEST(sine_and_cosine_follow_the_c_library)
{
    for (double deg = -720; deg <= 720; deg += 0.75) {
        double s, c;

        optics_sincos_deg(deg, &s, &c);
        ck_assert_double_eq_tol(s, sin(deg * M_PI / 180), 1e-12);
        ck_assert_double_eq_tol(c, cos(deg * M_PI / 180), 1e-12);
    }
}
END_TEST

START_TEST(a_base_of_360_is_written_0)
{
    ck_assert(optics_base_normal(360) == 0);
    ck_assert(optics_base_normal(360 - 1e-7) == 0);
    ck_assert(optics_base_normal(-90) == 270);
    ck_assert(optics_base_normal(359.5) == 359.5);
}
END_TEST

Suite *suite_angle(void)
{
    TCase *tc;
    Suite *s = suite_new("angle", &tc);

    tcase_add_loop_test(tc, an_axis_lies_above_0_up_to_180, 0, ROWS(AXES));
    tcase_add_loop_test(
        tc, axes_differ_the_short_way_round, 0, ROWS(DIFFERENCES));
    tcase_add_loop_test(
        tc, a_fraction_of_a_degree_goes_to_the_nearest, 0, ROWS(WHOLE));
    tcase_add_test(tc, sine_and_cosine_are_exact_on_quarter_turns);
    tcase_add_test(tc, sine_and_cosine_follow_the_c_library);
    tcase_add_test(tc, a_base_of_360_is_written_0);
    return s;
}
