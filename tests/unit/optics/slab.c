#include <math.h>

#include "random.h"
#include "suites.h"

#include "optics/slab.h"

#define RIGHT(call) ck_assert_int_eq((call), OPTICS_OK)
#define CASES 1000000

static struct optics_reading_lens lens(
    struct optics_power power, double add, double down_mm)
{
    return (struct optics_reading_lens){
        .power = power, .add = add, .read = {down_mm, 0}};
}

static struct optics_reading_lens with_centre(
    struct optics_reading_lens l, double down_mm, double in_mm)
{
    l.segment_known = true;
    l.segment = (struct optics_point){down_mm, in_mm};
    return l;
}

static void expect_slab(const struct optics_reading_level *got,
    enum optics_eye eye, double amount, double rounded)
{
    ck_assert_int_eq(got->slab.eye, eye);
    ck_assert_double_eq_tol(got->slab.amount, amount, 1e-9);
    ck_assert_double_eq(got->slab.rounded, rounded);
}

/* P-14 (b), brainscape.com deck 14574219, published: 3.00, base up before the
 * right eye, with the same add.  The left lens has less plus. */
START_TEST(p14_equal_adds_cancel)
{
    struct optics_power right = {4.50, 0.50, 180}, left = {2.00, 0.25, 90};
    struct optics_reading_level got;

    RIGHT(optics_reading_level(lens(right, 2, 10), lens(left, 2, 10), &got));
    ck_assert(got.vertical_known && !got.met_known);
    ck_assert_double_eq_tol(got.vertical, 3.00, 1e-12);
    ck_assert_double_eq(got.horizontal, 0);
    expect_slab(&got, OPTICS_LEFT, 3.00, 3.0);
    /* Equally high segments say the same. */
    RIGHT(optics_reading_level(with_centre(lens(right, 2, 10), 7, 2),
        with_centre(lens(left, 2, 10), 7, 2), &got));
    ck_assert(got.vertical_known && got.met_known);
    ck_assert_double_eq_tol(got.vertical, 3.00, 1e-12);
}
END_TEST

/*
 * P-14 (c), input published.  Single vision, right -4.50 -1.50 x 180 and left
 * -1.00 -1.00 x 30, 10 mm down: 6.00 and 1.75 base down.  2 mm inwards as
 * well, by hand: the left F is [-1.25 0.4330; 0.4330 -1.75] and inwards is -x,
 * so -F (-0.2, -1) = (-0.25 + 0.4330, 0.0866 - 1.75) = (0.1830, -1.6634): base
 * out 0.1830 for a left eye.  Right: -F (0.2, -1) = (0.9, -6).
 */
START_TEST(p14_oblique_cylinder)
{
    struct optics_reading_lens right =
        lens((struct optics_power){-4.50, -1.50, 180}, 0, 10);
    struct optics_reading_lens left =
        lens((struct optics_power){-1.00, -1.00, 30}, 0, 10);
    struct optics_reading_level got;
    double oblique = sqrt(3) / 4;

    RIGHT(optics_reading_level(right, left, &got));
    ck_assert(got.vertical_known && got.met_known);
    ck_assert_double_eq_tol(got.met.right.base_up, -6, 1e-12);
    ck_assert_double_eq_tol(got.met.left.base_up, -1.75, 1e-12);
    ck_assert_double_eq_tol(fabs(got.met.left.base_in), oblique, 1e-12);
    expect_slab(&got, OPTICS_RIGHT, 4.25, 4.5);
    right.read.in_mm = left.read.in_mm = 2;
    RIGHT(optics_reading_level(right, left, &got));
    ck_assert_double_eq_tol(got.met.right.base_in, 0.9, 1e-12);
    ck_assert_double_eq_tol(got.met.right.base_up, -6, 1e-12);
    ck_assert_double_eq_tol(got.met.left.base_in, 0.25 - oblique, 1e-12);
    ck_assert_double_eq_tol(got.met.left.base_up, 0.2 * oblique - 1.75, 1e-12);
    ck_assert_double_eq_tol(got.horizontal, 1.15 - oblique, 1e-12);
    expect_slab(&got, OPTICS_RIGHT, 4.25 + 0.2 * oblique, 4.5);
}
END_TEST

/*
 * P-15: +5.00 add 3.00 and +2.00 add 1.00.  The distance lenses make 3.00 (a
 * study page of Durham Technical Community College, OPH 142, module 9d);
 * without the segments' centres there is no figure.  With them 13 and 8 mm
 * down, by hand: 5 + 3 (10 - 13) / 10 = 4.1 and 2 + 1 (10 - 8) / 10 = 2.2.
 */
START_TEST(p15_unequal_adds)
{
    struct optics_reading_lens right =
        lens((struct optics_power){5, 0, 0}, 3, 10);
    struct optics_reading_lens left =
        lens((struct optics_power){2, 0, 0}, 1, 10);
    struct optics_reading_level got;

    RIGHT(optics_reading_level(right, left, &got));
    ck_assert(!got.vertical_known && !got.met_known);
    ck_assert_double_eq_tol(
        got.distance.right.base_up - got.distance.left.base_up, 3, 1e-12);
    ck_assert_double_eq(got.vertical, 0);
    ck_assert_double_eq(got.slab.amount, 0);
    RIGHT(optics_reading_level(
        with_centre(right, 13, 0), with_centre(left, 8, 0), &got));
    ck_assert(got.vertical_known && got.met_known);
    ck_assert_double_eq_tol(got.met.right.base_up, 4.1, 1e-12);
    ck_assert_double_eq_tol(got.met.left.base_up, 2.2, 1e-12);
    expect_slab(&got, OPTICS_LEFT, 1.9, 2.0);
}
END_TEST

/* Segments that differ in height by imbalance / add take the imbalance away
 * (common practice): 3.00 and an add of 2.00 are 15 mm; the right eye, which
 * has too much base up, gets the lower centre. */
START_TEST(unlike_segments_can_take_it_away)
{
    struct optics_reading_level got;

    RIGHT(optics_reading_level(
        with_centre(lens((struct optics_power){5, 0, 0}, 2, 10), 20, 0),
        with_centre(lens((struct optics_power){2, 0, 0}, 2, 10), 5, 0), &got));
    ck_assert_double_eq_tol(got.vertical, 0, 1e-9);
    expect_slab(&got, OPTICS_RIGHT, 0, 0);
}
END_TEST

/* Segment centres 3 mm further in than the line of sight, add 2.00: 0.6 base
 * in from each. */
START_TEST(a_segment_further_in_makes_base_in)
{
    struct optics_power plano = {0, 0, 0};
    struct optics_reading_level got;

    RIGHT(optics_reading_level(with_centre(lens(plano, 2, 10), 10, 3),
        with_centre(lens(plano, 2, 10), 10, 3), &got));
    ck_assert_double_eq_tol(got.met.right.base_in, 0.6, 1e-12);
    ck_assert_double_eq_tol(got.met.left.base_in, 0.6, 1e-12);
    ck_assert_double_eq_tol(got.horizontal, 1.2, 1e-12);
    ck_assert_double_eq(got.vertical, 0);
}
END_TEST

static const struct {
    const char *why;
    double right_add, left_add;
    double right_down_mm, left_down_mm;
    bool right_centre, left_centre;
    bool vertical, met;
} KNOWN[] = {
    {"no segments", 0, 0, 10, 10, false, false, true, true},
    {"no segments, unequal glances", 0, 0, 10, 8, false, false, true, true},
    {"like segments somewhere", 2, 2, 10, 10, false, false, true, false},
    {"unequal glances through them", 2, 2, 10, 8, false, false, false, false},
    {"one segment somewhere", 2, 0, 10, 10, false, false, false, false},
    {"one segment, the left, somewhere", 0, 2, 10, 10, false, false, false,
        false},
    {"one segment, its centre known", 2, 0, 10, 10, true, false, true, true},
    {"one segment, the left, known", 0, 2, 10, 10, false, true, true, true},
    {"a centre of no add says nothing", 0, 2, 10, 10, true, false, false,
        false},
};

START_TEST(what_can_be_told_is_told)
{
    struct optics_power minus = {-4, 0, 0};
    struct optics_reading_lens right =
        lens(minus, KNOWN[_i].right_add, KNOWN[_i].right_down_mm);
    struct optics_reading_lens left =
        lens(minus, KNOWN[_i].left_add, KNOWN[_i].left_down_mm);
    struct optics_reading_level got;

    if (KNOWN[_i].right_centre)
        right = with_centre(right, 5, 0);
    if (KNOWN[_i].left_centre)
        left = with_centre(left, 5, 0);
    RIGHT(optics_reading_level(right, left, &got));
    ck_assert_msg(got.vertical_known == KNOWN[_i].vertical &&
                      got.met_known == KNOWN[_i].met,
        "%s: vertical %d, all %d", KNOWN[_i].why, got.vertical_known,
        got.met_known);
}
END_TEST

static struct optics_reading_lens random_lens(struct random *r)
{
    struct optics_reading_lens l = {
        .power = {random_below(r, 161) * 0.25 - 20,
            random_below(r, 33) * 0.25 - 4, 1 + random_below(r, 180)},
        .add = random_below(r, 13) * 0.25,
        .read = {random_in(r, -50, 50), random_in(r, -50, 50)},
    };

    return with_centre(l, random_in(r, -50, 50), random_in(r, -50, 50));
}

static struct optics_reading_lens mirrored(struct optics_reading_lens l)
{
    l.power.axis = l.power.axis == 180 ? 180 : 180 - l.power.axis;
    return l;
}

/* With everything mirrored the eyes change places; and base up of the slab-off
 * before its eye leaves nothing. */
START_TEST(a_mirror_exchanges_the_eyes)
{
    struct random r = {8};

    for (int i = 0; i < CASES; i++) {
        struct optics_reading_lens a = random_lens(&r), b = random_lens(&r);
        struct optics_reading_level got, back;
        double up;

        optics_reading_level(a, b, &got);
        optics_reading_level(mirrored(b), mirrored(a), &back);
        up = got.slab.eye == OPTICS_RIGHT ? got.slab.amount : -got.slab.amount;
        if (!(fabs(got.vertical + back.vertical) < 1e-9 &&
                fabs(got.horizontal - back.horizontal) < 1e-9 &&
                fabs(got.met.right.base_up + up - got.met.left.base_up) <
                    1e-9 &&
                fabs(got.slab.rounded - got.slab.amount) <= 0.25 + 1e-6))
            ck_abort_msg("case %d: %g and %g, %g", i, got.vertical,
                back.vertical, got.slab.amount);
    }
}
END_TEST

START_TEST(a_senseless_reading_level_is_named)
{
    struct optics_power p = {-3, -1, 20}, no_axis = {-3, -1, 0};
    struct optics_reading_lens good = lens(p, 2, 10);
    struct optics_reading_level got = {.vertical = 7};

    ck_assert_int_eq(optics_reading_level(lens(no_axis, 2, 10), good, &got),
        OPTICS_BAD_NO_AXIS);
    ck_assert_int_eq(optics_reading_level(good, lens(no_axis, 2, 10), &got),
        OPTICS_BAD_NO_AXIS);
    ck_assert_int_eq(optics_reading_level(lens(p, -1, 10), good, &got),
        OPTICS_BAD_ADD_POWER);
    ck_assert_int_eq(optics_reading_level(lens(p, 2, NAN), good, &got),
        OPTICS_BAD_POINT_DOWN_MM);
    ck_assert_int_eq(optics_reading_level(with_centre(good, 51, 0), good, &got),
        OPTICS_BAD_POINT_DOWN_MM);
    ck_assert_int_eq(
        optics_reading_level(good, with_centre(good, 0, -51), &got),
        OPTICS_BAD_POINT_IN_MM);
    ck_assert_int_eq(optics_reading_level(with_centre(good, 5, 0), good, &got),
        OPTICS_BAD_ONE_SEGMENT);
    ck_assert_int_eq(optics_reading_level(good, with_centre(good, 5, 0), &got),
        OPTICS_BAD_ONE_SEGMENT);
    ck_assert_msg(got.vertical == 7, "a refusal wrote its result");
}
END_TEST

Suite *suite_slab(void)
{
    TCase *tc;
    Suite *s = suite_new("slab", &tc);

    tcase_set_timeout(tc, 120);
    tcase_add_test(tc, p14_equal_adds_cancel);
    tcase_add_test(tc, p14_oblique_cylinder);
    tcase_add_test(tc, p15_unequal_adds);
    tcase_add_test(tc, unlike_segments_can_take_it_away);
    tcase_add_test(tc, a_segment_further_in_makes_base_in);
    tcase_add_loop_test(tc, what_can_be_told_is_told, 0, ROWS(KNOWN));
    tcase_add_test(tc, a_mirror_exchanges_the_eyes);
    tcase_add_test(tc, a_senseless_reading_level_is_named);
    return s;
}
