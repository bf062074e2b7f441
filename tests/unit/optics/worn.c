#include <math.h>

#include "random.h"
#include "suites.h"

#include "optics/angle.h"
#include "optics/vector.h"
#include "optics/worn.h"

#define RIGHT(call) ck_assert_int_eq((call), OPTICS_OK)
#define CASES 1000000

/*
 * P-11: +15.00 tilted by 10 degrees acts as +15.15 +0.47 x 180 (a study page of
 * Durham Technical Community College, OPH 142, with 3 for 2n), -15.00 as -15.15
 * -0.47 x 180.  The cylinder has the sign of the sphere.
 */
START_TEST(p11_tilted_strong_lens)
{
    double sph, cyl;

    RIGHT(optics_tilt_martin(15, 1.5, 10, &sph, &cyl));
    ck_assert_double_eq_tol(sph, 15.15, 0.005);
    ck_assert_double_eq_tol(cyl, 0.47, 0.005);
    RIGHT(optics_tilt_martin(-15, 1.5, 10, &sph, &cyl));
    ck_assert_double_eq_tol(sph, -15.15, 0.005);
    ck_assert_double_eq_tol(cyl, -0.47, 0.005);
}
END_TEST

/* By hand, n = 1.5 and 60 degrees: sin t' = 0.57735, cos t' = sqrt(2 / 3), k =
 * (1.5 * 0.816497 - 0.5) / 0.5 = 1.449490; across it 4 times that. */
START_TEST(a_tilt_of_60_degrees_by_hand)
{
    struct optics_tilt tilt = {1.5, 60, OPTICS_PANTOSCOPIC};
    double k = (1.5 * sqrt(2.0 / 3) - 0.5) / 0.5, along, across;
    struct optics_power got;

    RIGHT(optics_tilt_sphere(2, 1.5, 60, &along, &across));
    ck_assert_double_eq_tol(along, 2 * k, 1e-12);
    ck_assert_double_eq_tol(across, 8 * k, 1e-11);
    /* Strongest up and down: the minus cylinder takes power from the width. */
    RIGHT(optics_tilt_power((struct optics_power){2, 0, 0}, tilt, &got));
    expect_power("pantoscopic", got, (struct optics_power){8 * k, -6 * k, 90},
        1e-11, 1e-9);
    tilt.turn = OPTICS_WRAP;
    RIGHT(optics_tilt_power((struct optics_power){2, 0, 0}, tilt, &got));
    expect_power(
        "wrap", got, (struct optics_power){8 * k, -6 * k, 180}, 1e-11, 1e-9);
}
END_TEST

/* The estimate and the exact form are the same to the second order of the
 * angle: at 5 degrees within 1e-4 of the power (t^4 is 6e-5). */
START_TEST(martin_is_the_exact_form_for_small_angles)
{
    double sph, cyl, along, across;

    RIGHT(optics_tilt_martin(10, 1.4 + 0.05 * _i, 5, &sph, &cyl));
    RIGHT(optics_tilt_sphere(10, 1.4 + 0.05 * _i, 5, &along, &across));
    ck_assert_double_eq_tol(sph, along, 1e-3);
    ck_assert_double_eq_tol(sph + cyl, across, 1e-3);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power lens;
    double tilt_deg;
    struct optics_power want;
} PLAIN[] = {
    {"no tilt, the same lens", {-3, -1, 20}, 0, {-3, -1, 20}},
    {"no tilt, in minus form", {-4, 1, 110}, 0, {-3, -1, 20}},
    {"no power, no cylinder", {0, 0, 0}, 20, {0, 0, 0}},
};

START_TEST(what_a_tilt_leaves_alone)
{
    for (int turn = OPTICS_PANTOSCOPIC; turn <= OPTICS_WRAP; turn++) {
        struct optics_tilt tilt = {
            1.6, PLAIN[_i].tilt_deg, (enum optics_turn)turn};
        struct optics_power got;

        RIGHT(optics_tilt_power(PLAIN[_i].lens, tilt, &got));
        expect_power(PLAIN[_i].why, got, PLAIN[_i].want, 1e-12, 1e-9);
        ck_assert_msg(!signbit(got.sph) || got.sph != 0, "a minus zero");
        RIGHT(optics_tilt_compensate(PLAIN[_i].lens, tilt, &got));
        expect_power(PLAIN[_i].why, got, PLAIN[_i].want, 1e-12, 1e-9);
    }
}
END_TEST

static struct optics_power lens_of(struct random *r)
{
    struct optics_power p = {
        random_below(r, 161) * 0.25 - 20, random_below(r, 33) * -0.25, 0};

    if (p.cyl != 0)
        p.axis = 1 + random_below(r, 180);
    return p;
}

START_TEST(a_compensated_lens_acts_as_wanted)
{
    struct random r = {6};

    for (int i = 0; i < CASES; i++) {
        struct optics_power wanted = lens_of(&r), order, acts, mirror;
        struct optics_tilt tilt = {random_in(&r, 1.4, 1.9),
            random_in(&r, -60, 60), random_below(&r, 2) ? OPTICS_WRAP : 0};

        optics_tilt_compensate(wanted, tilt, &order);
        optics_tilt_power(order, tilt, &acts);
        tilt.tilt_deg = -tilt.tilt_deg;
        optics_tilt_power(order, tilt, &mirror);
        if (!(optics_power_distance(acts, wanted) < 1e-9 &&
                optics_power_distance(acts, mirror) < 1e-12))
            ck_abort_msg("%g/%g x %g at n %g, %g degrees acts as %g/%g x %g",
                wanted.sph, wanted.cyl, wanted.axis, tilt.index, tilt.tilt_deg,
                acts.sph, acts.cyl, acts.axis);
    }
}
END_TEST

/* A wrap is a pantoscopic tilt of everything turned by a quarter. */
START_TEST(wrap_is_the_other_tilt_turned)
{
    struct random r = {7};

    for (int i = 0; i < CASES; i++) {
        struct optics_power lens = lens_of(&r), turned = lens, a, b;
        struct optics_tilt tilt = {
            random_in(&r, 1.4, 1.9), random_in(&r, 0, 40), OPTICS_WRAP};

        optics_tilt_power(lens, tilt, &a);
        if (lens.cyl != 0)
            turned.axis = optics_axis_normal(lens.axis + 90);
        tilt.turn = OPTICS_PANTOSCOPIC;
        optics_tilt_power(turned, tilt, &b);
        if (b.cyl != 0)
            b.axis = optics_axis_normal(b.axis + 90);
        if (!(optics_power_distance(a, b) < 1e-9))
            ck_abort_msg("%g/%g x %g tilted %g", lens.sph, lens.cyl, lens.axis,
                tilt.tilt_deg);
    }
}
END_TEST

static struct optics_stand stand_of(struct random *r)
{
    return (struct optics_stand){
        random_below(r, 2) ? OPTICS_RIGHT : OPTICS_LEFT, random_in(r, 1.4, 1.9),
        random_in(r, -45, 45), random_in(r, -45, 45)};
}

/* As rays are traced in tests/http/test_optics_near.py; here what follows. */
START_TEST(tilt_and_wrap_at_once)
{
    struct random r = {9};

    for (int i = 0; i < CASES / 4; i++) {
        struct optics_power lens = lens_of(&r), mirrored = lens, a, b, one;
        struct optics_stand stand = stand_of(&r), other = stand;
        struct optics_tilt tilt = {
            stand.index, stand.pantoscopic_deg, OPTICS_PANTOSCOPIC};

        optics_stand_compensate(lens, stand, &a);
        optics_stand_power(a, stand, &b);
        if (!(optics_power_distance(b, lens) < 1e-9))
            ck_abort_msg(
                "%g/%g x %g doesn't come back", lens.sph, lens.cyl, lens.axis);
        /* The other eye sees the mirror image. */
        other.eye = stand.eye == OPTICS_RIGHT ? OPTICS_LEFT : OPTICS_RIGHT;
        if (lens.cyl != 0)
            mirrored.axis = optics_axis_normal(180 - lens.axis);
        optics_stand_power(lens, stand, &a);
        optics_stand_power(mirrored, other, &b);
        if (b.cyl != 0)
            b.axis = optics_axis_normal(180 - b.axis);
        ck_assert(optics_power_distance(a, b) < 1e-9);
        /* One alone is the simple tilt. */
        stand.wrap_deg = 0;
        optics_stand_power(lens, stand, &a);
        optics_tilt_power(lens, tilt, &one);
        ck_assert(optics_power_distance(a, one) < 1e-9);
        stand.wrap_deg = stand.pantoscopic_deg;
        stand.pantoscopic_deg = 0;
        tilt.turn = OPTICS_WRAP;
        optics_stand_power(lens, stand, &a);
        optics_tilt_power(lens, tilt, &one);
        ck_assert(optics_power_distance(a, one) < 1e-9);
    }
}
END_TEST

START_TEST(a_senseless_stand_is_named)
{
    struct optics_power lens = {-3, -1, 20}, no_axis = {-3, -1, 0};
    struct optics_power got = {7, 7, 7};
    struct optics_stand good = {OPTICS_RIGHT, 1.5, 10, 10}, bad = good;

    ck_assert_int_eq(
        optics_stand_power(no_axis, good, &got), OPTICS_BAD_NO_AXIS);
    bad.index = 0.9;
    ck_assert_int_eq(optics_stand_power(lens, bad, &got), OPTICS_BAD_INDEX);
    bad = good;
    bad.pantoscopic_deg = 61;
    ck_assert_int_eq(
        optics_stand_compensate(lens, bad, &got), OPTICS_BAD_PANTOSCOPIC_DEG);
    bad = good;
    bad.wrap_deg = NAN;
    ck_assert_int_eq(
        optics_stand_compensate(lens, bad, &got), OPTICS_BAD_WRAP_DEG);
    ck_assert(got.sph == 7);
}
END_TEST

START_TEST(a_senseless_tilt_is_named)
{
    struct optics_power lens = {-3, -1, 20}, no_axis = {-3, -1, 0};
    struct optics_power got = {7, 7, 7};
    struct optics_tilt tilt = {1.5, 10, OPTICS_WRAP}, steep = {1.5, 61, 0};
    struct optics_tilt thin = {0.9, 10, 0};
    double a = 7, b = 7;

    ck_assert_int_eq(
        optics_tilt_martin(NAN, 1.5, 10, &a, &b), OPTICS_BAD_SPHERE);
    ck_assert_int_eq(optics_tilt_martin(1, 0.9, 10, &a, &b), OPTICS_BAD_INDEX);
    ck_assert_int_eq(
        optics_tilt_martin(1, 1.5, 90, &a, &b), OPTICS_BAD_TILT_DEG);
    ck_assert_int_eq(
        optics_tilt_sphere(1001, 1.5, 10, &a, &b), OPTICS_BAD_SPHERE);
    ck_assert_int_eq(
        optics_tilt_sphere(1, 1.5, -60.1, &a, &b), OPTICS_BAD_TILT_DEG);
    ck_assert_int_eq(
        optics_tilt_power(no_axis, tilt, &got), OPTICS_BAD_NO_AXIS);
    ck_assert_int_eq(optics_tilt_power(lens, thin, &got), OPTICS_BAD_INDEX);
    ck_assert_int_eq(
        optics_tilt_compensate(no_axis, tilt, &got), OPTICS_BAD_NO_AXIS);
    ck_assert_int_eq(
        optics_tilt_compensate(lens, steep, &got), OPTICS_BAD_TILT_DEG);
    ck_assert_msg(
        a == 7 && b == 7 && got.sph == 7, "a refusal wrote its result");
}
END_TEST

Suite *suite_worn(void)
{
    TCase *tc;
    Suite *s = suite_new("worn", &tc);

    tcase_set_timeout(tc, 120);
    tcase_add_test(tc, p11_tilted_strong_lens);
    tcase_add_test(tc, a_tilt_of_60_degrees_by_hand);
    tcase_add_loop_test(tc, martin_is_the_exact_form_for_small_angles, 0, 8);
    tcase_add_loop_test(tc, what_a_tilt_leaves_alone, 0, ROWS(PLAIN));
    tcase_add_test(tc, a_compensated_lens_acts_as_wanted);
    tcase_add_test(tc, wrap_is_the_other_tilt_turned);
    tcase_add_test(tc, tilt_and_wrap_at_once);
    tcase_add_test(tc, a_senseless_stand_is_named);
    tcase_add_test(tc, a_senseless_tilt_is_named);
    return s;
}
