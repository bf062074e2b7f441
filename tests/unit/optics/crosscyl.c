/* Cross cylinder: what a row of answers must lead to, whatever the model.  The
 * figures themselves are tried in tests/http/test_optics_sight.py, by another
 * method, and on made-up patients in crosscyl_trial.c. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "random.h"

#include "optics/crosscyl.h"

#define ROWS(a) ((int)(sizeof(a) / sizeof((a)[0])))
#define SIDE OPTICS_CROSSCYL_SIDE

static const struct optics_power START = {-2, -0.75, 180};
static struct optics_crosscyl c, d;

static void begin(struct optics_crosscyl *of, struct optics_power start)
{
    ck_assert_int_eq(
        optics_crosscyl_start(start, 0.2, OPTICS_CROSSCYL_MODEL, of),
        OPTICS_OK);
}

static struct optics_flip flip_of(struct optics_power trial, double minus_axis)
{
    return (struct optics_flip){trial, 0.25, minus_axis, false};
}

static double whole(const struct optics_crosscyl *of)
{
    double sum = 0;

    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++)
            sum += of->weight[y][x];
    return sum;
}

/* A normal spread of 0.2 D cut at 4 SD: SD within 0.1 percent; its 95 percent
 * region is a disc of radius 2.4477 SD, pi * 0.4895^2 = 0.7529 D^2; the
 * cylinder's SD is 2 * 0.2, so 0.75 +- 1.96 * 0.4 would go below 0. */
START_TEST(unasked_the_start_is_all_there_is)
{
    struct optics_crosscyl_estimate e;

    begin(&c, START);
    e = optics_crosscyl_estimate(&c);
    ck_assert_double_eq_tol(whole(&c), 1, 1e-12);
    ck_assert_double_eq_tol(e.mean.m, -2.375, 1e-12);
    ck_assert_double_eq_tol(e.mean.j0, 0.375, 1e-12);
    ck_assert(e.mean.j45 == 0 && e.spread.covariance == 0);
    ck_assert_double_eq_tol(e.spread.sd_j0, 0.2, 0.0003);
    ck_assert_double_eq_tol(e.spread.sd_j45, 0.2, 0.0003);
    ck_assert_double_eq_tol(e.spread.major, 0.4895, 0.001);
    ck_assert_double_eq_tol(e.area, 0.7529, 0.01);
    ck_assert_double_eq_tol(e.cylinder, -0.75, 1e-9);
    ck_assert_double_lt(e.cylinder_most, -1.4);
    ck_assert_double_gt(e.cylinder_least, -0.25);
    ck_assert(e.axis == 180 && e.axis_error > 20);
    ck_assert(!e.far && e.moved < 1e-9);
    /* Entropy of the normal, log2(2 pi e SD^2) and of the cells' size. */
    ck_assert_double_eq_tol(
        e.entropy_bits, log2(2 * M_PI * M_E * 0.04) - 2 * log2(c.step), 0.01);
}
END_TEST

START_TEST(the_clearer_view_pulls_towards_its_minus_axis)
{
    struct optics_flip power = flip_of(START, 180);
    struct optics_crosscyl_estimate first, other, same;

    begin(&c, START);
    optics_crosscyl_add(&c, power, OPTICS_FLIP_FIRST);
    first = optics_crosscyl_estimate(&c);
    begin(&c, START);
    optics_crosscyl_add(&c, power, OPTICS_FLIP_SECOND);
    other = optics_crosscyl_estimate(&c);
    begin(&c, START);
    optics_crosscyl_add(&c, power, OPTICS_FLIP_SAME);
    same = optics_crosscyl_estimate(&c);
    ck_assert_double_lt(first.cylinder, -0.85); /* more cylinder */
    ck_assert_double_gt(other.cylinder, -0.65);
    ck_assert_double_eq_tol(first.mean.j0 - 0.375, 0.375 - other.mean.j0, 1e-9);
    ck_assert_double_eq_tol(same.mean.j0, 0.375, 1e-9);
    ck_assert_double_lt(same.spread.sd_j0, 0.15);
    ck_assert_double_eq_tol(same.spread.sd_j45, 0.2, 0.02);
    ck_assert(first.mean.j45 == 0 && other.mean.j45 == 0);
}
END_TEST

START_TEST(the_axis_turns_to_the_clearer_views_minus_axis)
{
    begin(&c, START);
    optics_crosscyl_add(&c, flip_of(START, 45), OPTICS_FLIP_FIRST);
    ck_assert_double_lt(optics_crosscyl_estimate(&c).axis, 45);
    begin(&c, START);
    optics_crosscyl_add(&c, flip_of(START, 135), OPTICS_FLIP_FIRST);
    ck_assert_double_gt(optics_crosscyl_estimate(&c).axis, 135);
}
END_TEST

static void expect_same_weights(double within)
{
    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++)
            ck_assert_double_eq_tol(c.weight[y][x], d.weight[y][x], within);
}

START_TEST(the_same_said_another_way_is_the_same)
{
    begin(&c, START);
    begin(&d, START);
    optics_crosscyl_add(&c, flip_of(START, 45), OPTICS_FLIP_FIRST);
    optics_crosscyl_add(&d, flip_of(START, 135), OPTICS_FLIP_SECOND);
    expect_same_weights(1e-12); /* the other side first */
    optics_crosscyl_add(&c, flip_of(START, 180), OPTICS_FLIP_SAME);
    begin(&d, START);
    optics_crosscyl_add(&d, flip_of(START, 0), OPTICS_FLIP_SAME);
    optics_crosscyl_add(&d, flip_of((struct optics_power){-2.75, 0.75, 90}, 45),
        OPTICS_FLIP_FIRST);
    expect_same_weights(1e-12); /* the other order, the other form */
}
END_TEST

/* Axes on by 45: J0 becomes J45 and J45 becomes -J0. */
START_TEST(everything_turns_with_the_eye)
{
    struct optics_power turned = {-2, -0.75, 45};

    begin(&c, START);
    begin(&d, turned);
    optics_crosscyl_add(&c, flip_of(START, 20), OPTICS_FLIP_FIRST);
    optics_crosscyl_add(&d, flip_of(turned, 65), OPTICS_FLIP_FIRST);
    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++)
            ck_assert_double_eq_tol(
                c.weight[y][x], d.weight[x][SIDE - 1 - y], 1e-9);
    ck_assert_double_eq_tol(optics_crosscyl_gain(&c, flip_of(START, 45)),
        optics_crosscyl_gain(&d, flip_of(turned, 90)), 1e-9);
}
END_TEST

START_TEST(two_views_at_once_tell_more)
{
    struct optics_flip one = flip_of(START, 180), once = one;

    once.at_once = true;
    begin(&c, START);
    ck_assert_double_gt(
        optics_crosscyl_gain(&c, once), optics_crosscyl_gain(&c, one) + 0.05);
    begin(&d, START);
    optics_crosscyl_add(&c, one, OPTICS_FLIP_SAME);
    optics_crosscyl_add(&d, once, OPTICS_FLIP_SAME);
    ck_assert_double_lt(
        optics_crosscyl_spread(&d).sd_j0, optics_crosscyl_spread(&c).sd_j0);
}
END_TEST

START_TEST(what_is_known_is_not_asked_again)
{
    struct optics_crosscyl_next next;

    begin(&c, START);
    for (int i = 0; i < 3; i++)
        optics_crosscyl_add(&c, flip_of(START, 180), OPTICS_FLIP_SAME);
    next = optics_crosscyl_next(&c, flip_of(START, 180), OPTICS_STEP_QUARTER);
    ck_assert_int_eq(next.phase, OPTICS_FLIP_AXIS);
    ck_assert_double_eq_tol(
        next.gain_bits, optics_crosscyl_gain(&c, next.flip), 1e-12);
    ck_assert_double_gt(
        next.gain_bits, optics_crosscyl_gain(&c, flip_of(START, 180)));
    ck_assert_double_eq(optics_power_distance(next.flip.trial, START), 0);
    /* Three answers so far: the other side comes first. */
    ck_assert_double_eq(next.flip.minus_axis, 135);
    ck_assert_double_eq(next.flip.size, 0.25);
}
END_TEST

START_TEST(the_next_lens_is_near_the_mean_with_m_held)
{
    struct optics_crosscyl_next next;
    struct optics_power eighths;

    begin(&c, START);
    for (int i = 0; i < 2; i++)
        optics_crosscyl_add(&c, flip_of(START, 180), OPTICS_FLIP_FIRST);
    next = optics_crosscyl_next(&c, flip_of(START, 180), OPTICS_STEP_QUARTER);
    ck_assert_double_le(next.flip.trial.cyl, -1);
    ck_assert_double_eq(fmod(next.flip.trial.cyl, 0.25), 0);
    ck_assert_double_eq(fmod(next.flip.trial.sph, 0.25), 0);
    ck_assert_double_eq_tol(
        optics_power_equivalent(next.flip.trial), -2.375, 0.1251);
    ck_assert_double_eq(next.flip.trial.axis, 180);
    eighths = optics_crosscyl_next(&c, flip_of(START, 180), OPTICS_STEP_EIGHTH)
                  .flip.trial;
    ck_assert_double_eq(fmod(eighths.cyl, 0.125), 0);
    ck_assert_double_eq_tol(optics_power_equivalent(eighths), -2.375, 0.0626);
}
END_TEST

/* The length of the mean is less than nearly all lengths. */
START_TEST(an_estimate_lies_inside_its_own_interval)
{
    static const struct optics_power starts[] = {
        {-1, 0, 0}, {-1, -0.25, 60}, {-1, -0.5, 180}, {-1, -4, 20}};

    for (int i = 0; i < ROWS(starts); i++)
        for (int wide = 0; wide < 2; wide++) {
            struct optics_flip flip = flip_of(starts[i], 180);
            struct optics_crosscyl_estimate e;

            ck_assert_int_eq(optics_crosscyl_start(starts[i], wide ? 0.5 : 0.1,
                                 OPTICS_CROSSCYL_MODEL, &c),
                OPTICS_OK);
            for (int n = 0; n < 8; n++) {
                e = optics_crosscyl_estimate(&c);
                ck_assert_double_le(e.cylinder, e.cylinder_least);
                ck_assert_double_ge(e.cylinder, e.cylinder_most);
                optics_crosscyl_add(&c, flip, OPTICS_FLIP_SAME);
                flip = optics_crosscyl_next(&c, flip, OPTICS_STEP_QUARTER).flip;
            }
            /* No cylinder isn't ruled out where there was hardly any. */
            if (i == 0 || i == 3)
                ck_assert((e.cylinder_least == 0) == (i == 0));
        }
}
END_TEST

START_TEST(an_eye_without_cylinder_is_searched)
{
    struct optics_power sphere = {-1, 0, 0};
    struct optics_crosscyl_next next;
    struct optics_crosscyl_estimate e;

    begin(&c, sphere);
    e = optics_crosscyl_estimate(&c);
    ck_assert(e.cylinder == 0 && e.axis == 0 && e.axis_error == 90);
    ck_assert(e.cylinder_least <= 0 && !signbit(e.mean.j0));
    next = optics_crosscyl_next(&c, flip_of(sphere, 180), OPTICS_STEP_QUARTER);
    ck_assert_int_eq(next.phase, OPTICS_FLIP_SEARCH);
    ck_assert(next.flip.minus_axis == 180 || next.flip.minus_axis == 45);
    optics_crosscyl_add(&c, flip_of(sphere, 90), OPTICS_FLIP_FIRST);
    ck_assert_double_eq(optics_crosscyl_estimate(&c).axis, 90);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power trial;
    double minus_axis;
    enum optics_flip_phase phase;
    const char *word;
} PHASES[] = {
    {"along the axis", {0, -1, 30}, 30, OPTICS_FLIP_POWER, "power"},
    {"across it", {0, -1, 30}, 120, OPTICS_FLIP_POWER, "power"},
    {"over the end of the half circle", {0, -1, 178}, 2, OPTICS_FLIP_POWER,
        "power"},
    {"45 on", {0, -1, 30}, 75, OPTICS_FLIP_AXIS, "axis"},
    {"45 back, four degrees off", {0, -1, 30}, 169, OPTICS_FLIP_AXIS, "axis"},
    {"in plus form", {-1, 1, 120}, 75, OPTICS_FLIP_AXIS, "axis"},
    {"between", {0, -1, 30}, 50, OPTICS_FLIP_OBLIQUE, "oblique"},
    {"no cylinder", {-1, 0, 0}, 50, OPTICS_FLIP_SEARCH, "search"},
};

START_TEST(a_flip_is_known_by_where_its_minus_axis_lies)
{
    enum optics_flip_phase got =
        optics_flip_phase(flip_of(PHASES[_i].trial, PHASES[_i].minus_axis));

    ck_assert_msg(got == PHASES[_i].phase, "%s: got %s", PHASES[_i].why,
        optics_flip_phase_word(got));
    ck_assert_str_eq(optics_flip_phase_word(got), PHASES[_i].word);
}
END_TEST

/* 0.2 D of spread, yet at every lens more is wanted. */
START_TEST(a_start_far_off_is_noticed)
{
    struct optics_flip flip = flip_of(START, 180);

    begin(&c, START);
    for (int i = 0; i < 30; i++) {
        flip.minus_axis = 180;
        optics_crosscyl_add(&c, flip, OPTICS_FLIP_FIRST);
        flip = optics_crosscyl_next(&c, flip, OPTICS_STEP_QUARTER).flip;
    }
    ck_assert(optics_crosscyl_estimate(&c).far);
    ck_assert_double_gt(optics_crosscyl_estimate(&c).moved, 0.5);
}
END_TEST

static void expect_sound(double x)
{
    ck_assert_msg(isfinite(x) && !(x == 0 && signbit(x)), "%g came out", x);
}

static void expect_sound_estimate(struct optics_crosscyl_estimate e)
{
    const double all[] = {e.mean.m, e.mean.j0, e.mean.j45, e.spread.sd_j0,
        e.spread.sd_j45, e.spread.covariance, e.spread.major, e.spread.minor,
        e.spread.angle, e.area, e.density, e.cylinder, e.cylinder_least,
        e.cylinder_most, e.axis, e.axis_error, e.moved, e.entropy_bits};

    for (int i = 0; i < ROWS(all); i++)
        expect_sound(all[i]);
    ck_assert(e.axis >= 0 && e.axis <= 180 && e.axis_error <= 90);
    ck_assert_double_le(e.cylinder_most, e.cylinder_least);
    ck_assert_double_le(e.cylinder_least, 0);
    ck_assert_double_ge(e.spread.major, e.spread.minor);
    ck_assert(e.spread.angle >= 0 && e.spread.angle < 180);
}

/* Any answers at all, sensible or not, to any flips at any lens. */
START_TEST(no_answers_make_it_unsound)
{
    struct random r = {3};

    for (int i = 0; i < 300; i++) {
        struct optics_power start = {random_in(&r, -10, 10),
            random_in(&r, -6, 6), random_in(&r, 1, 180)};
        struct optics_crosscyl_model m = {random_in(&r, 0.01, 0.5),
            random_in(&r, 0, 0.5), random_in(&r, 0.001, 0.5),
            random_in(&r, 0.1, 1)};

        ck_assert_int_eq(
            optics_crosscyl_start(start, random_in(&r, 0.02, 0.6), m, &c),
            OPTICS_OK);
        for (int k = random_below(&r, 30); k > 0; k--) {
            struct optics_flip f = {start, random_below(&r, 2) ? 0.25 : 0.5,
                random_in(&r, 0, 180), random_below(&r, 2) == 0};

            f.trial.cyl = random_in(&r, -20, 20);
            optics_crosscyl_add(
                &c, f, (enum optics_flip_answer)random_below(&r, 3));
            expect_sound(optics_crosscyl_gain(&c, f));
        }
        ck_assert_double_eq_tol(whole(&c), 1, 1e-9);
        expect_sound_estimate(optics_crosscyl_estimate(&c));
    }
}
END_TEST

/* Two hundred times "first" and then as often "second". */
START_TEST(stubborn_answers_leave_some_weight)
{
    struct optics_crosscyl_model sure = {0.01, 0, 0.001, 0.1};

    ck_assert_int_eq(optics_crosscyl_start(START, 0.6, sure, &c), OPTICS_OK);
    for (int i = 0; i < 400; i++)
        optics_crosscyl_add(&c, flip_of(START, 45),
            i < 200 ? OPTICS_FLIP_FIRST : OPTICS_FLIP_SECOND);
    ck_assert_double_eq_tol(whole(&c), 1, 1e-9);
    expect_sound_estimate(optics_crosscyl_estimate(&c));
}
END_TEST

START_TEST(senseless_models_and_lenses_are_named)
{
    struct optics_crosscyl_model m = OPTICS_CROSSCYL_MODEL;
    struct optics_flip f = flip_of(START, 90);

    ck_assert_int_eq(
        optics_crosscyl_start(START, 0.019, m, &c), OPTICS_BAD_SPREAD);
    ck_assert_int_eq(
        optics_crosscyl_start(START, NAN, m, &c), OPTICS_BAD_SPREAD);
    m.noise = 0;
    ck_assert_int_eq(
        optics_crosscyl_start(START, 0.2, m, &c), OPTICS_BAD_NOISE);
    m = OPTICS_CROSSCYL_MODEL;
    m.same = -0.01;
    ck_assert_int_eq(optics_crosscyl_start(START, 0.2, m, &c), OPTICS_BAD_SAME);
    m = OPTICS_CROSSCYL_MODEL;
    m.lapse = 0;
    ck_assert_int_eq(
        optics_crosscyl_start(START, 0.2, m, &c), OPTICS_BAD_LAPSE);
    m = OPTICS_CROSSCYL_MODEL;
    m.at_once = 1.01;
    ck_assert_int_eq(
        optics_crosscyl_start(START, 0.2, m, &c), OPTICS_BAD_AT_ONCE);
    ck_assert_int_eq(optics_flip_check(f), OPTICS_OK);
    f.minus_axis = 180.5;
    ck_assert_int_eq(optics_flip_check(f), OPTICS_BAD_MINUS_AXIS);
    f.size = 0.3;
    ck_assert_int_eq(optics_flip_check(f), OPTICS_BAD_SIZE);
    f = flip_of(START, 0);
    f.size = 0.5;
    ck_assert_int_eq(optics_flip_check(f), OPTICS_OK);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("cross cylinder");
    TCase *tc = tcase_create("cross cylinder");
    SRunner *sr;
    int failed;

    suite_add_tcase(s, tc);
    tcase_set_timeout(tc, 60);
    tcase_add_test(tc, unasked_the_start_is_all_there_is);
    tcase_add_test(tc, the_clearer_view_pulls_towards_its_minus_axis);
    tcase_add_test(tc, the_axis_turns_to_the_clearer_views_minus_axis);
    tcase_add_test(tc, the_same_said_another_way_is_the_same);
    tcase_add_test(tc, everything_turns_with_the_eye);
    tcase_add_test(tc, two_views_at_once_tell_more);
    tcase_add_test(tc, what_is_known_is_not_asked_again);
    tcase_add_test(tc, the_next_lens_is_near_the_mean_with_m_held);
    tcase_add_test(tc, an_estimate_lies_inside_its_own_interval);
    tcase_add_test(tc, an_eye_without_cylinder_is_searched);
    tcase_add_loop_test(
        tc, a_flip_is_known_by_where_its_minus_axis_lies, 0, ROWS(PHASES));
    tcase_add_test(tc, a_start_far_off_is_noticed);
    tcase_add_test(tc, no_answers_make_it_unsound);
    tcase_add_test(tc, stubborn_answers_leave_some_weight);
    tcase_add_test(tc, senseless_models_and_lenses_are_named);
    sr = srunner_create(s);
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
