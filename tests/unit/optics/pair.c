#include <math.h>
#include <string.h>

#include "made_pair.h"
#include "suites.h"

static const double TIGHT = 1e-9;

static struct optics_pair_verdict judged(const struct optics_pair *pair)
{
    struct optics_pair_verdict v;

    ck_assert_int_eq(optics_pair_check(pair, &v), OPTICS_OK);
    return v;
}

START_TEST(what_is_as_ordered_passes_and_leaves_nothing)
{
    struct optics_pair pair = made_right(-2, -1, 30);
    struct optics_pair_verdict v = judged(&pair);

    ck_assert_int_eq(v.verdict, OPTICS_PASS);
    for (int eye = 0; eye < 2; eye++) {
        ck_assert(v.eyes[eye].residual.sph == 0 &&
                  v.eyes[eye].residual.cyl == 0 &&
                  v.eyes[eye].prism_error.base_in == 0);
        ck_assert(!signbit(v.eyes[eye].centring.base_in));
    }
    ck_assert(v.horizontal == 0 && v.vertical == 0);
    ck_assert_int_eq(v.horizontal_line.verdict, OPTICS_PASS);
    ck_assert_uint_eq(v.eyes[0].point.n, 0);
    ck_assert_uint_eq(v.segments.n, 0);
}
END_TEST

/* Plano -6.00 x 90 found at 92: inside 2 degrees, and a crossed cylinder of
 * 2 * 6 sin 2 = 0.4188 D is left; of -2.00 it is 0.1396. */
START_TEST(p18_inside_the_axis_tolerance_outside_comfort)
{
    static const double rows[][2] = {{-6, 0.4188}, {-2, 0.1396}};

    for (int i = 0; i < ROWS(rows); i++) {
        struct optics_pair pair = made_right(0, rows[i][0], 90);
        struct optics_pair_verdict v;

        pair.eyes[0].delivered.power.axis = 92;
        v = judged(&pair);
        ck_assert_int_eq(v.eyes[0].power.axis.verdict, OPTICS_PASS);
        ck_assert_double_eq_tol(v.eyes[0].residual.cyl, -rows[i][1], 5e-5);
        ck_assert_double_eq_tol(v.eyes[0].residual.sph, rows[i][1] / 2, 5e-5);
    }
}
END_TEST

/* PD 59.9, centres 65.6 apart, -3.00 each (means of a published series):
 * 5.7 mm, 1.71 base in; above 2.75 D 2.5 mm are allowed.  Base out with plus
 * lenses. */
START_TEST(p19_centres_wider_than_the_eyes)
{
    for (int sign = -1; sign <= 1; sign += 2) {
        struct optics_pair pair = made_right(3 * sign, 0, 0);
        struct optics_pair_verdict v;

        for (int eye = 0; eye < 2; eye++) {
            pair.eyes[eye].ordered.pd_mm = 59.9 / 2;
            pair.eyes[eye].delivered.pd_mm = 65.6 / 2;
        }
        v = judged(&pair);
        ck_assert_double_eq_tol(v.horizontal, -1.71 * sign, TIGHT);
        ck_assert_int_eq(v.horizontal_line.verdict, OPTICS_FAIL);
        ck_assert_int_eq(v.horizontal_line.rules[0].unit, OPTICS_UNIT_MM_PAIR);
        ck_assert_double_eq_tol(v.horizontal_line.rules[0].error, 5.7, TIGHT);
        ck_assert_int_eq(v.vertical_line.verdict, OPTICS_PASS);
        ck_assert_int_eq(v.verdict, OPTICS_FAIL);
    }
}
END_TEST

/* Right centre 2 mm high before -2.00: 0.40 base down; ordered 1 base up,
 * found 1.10.  By hand: 1.10 - 1 - 0.40 = -0.30. */
START_TEST(prism_and_centring_add_up)
{
    struct optics_pair pair = made_right(-2, 0, 0);
    struct optics_pair_verdict v;

    pair.eyes[0].ordered.prism.base_up = 1;
    pair.eyes[0].delivered.prism.base_up = 1.10;
    pair.eyes[0].delivered.height_mm += 2;
    v = judged(&pair);
    ck_assert_double_eq_tol(v.eyes[0].shift.up_mm, 2, TIGHT);
    ck_assert_double_eq_tol(v.eyes[0].centring.base_up, -0.40, TIGHT);
    ck_assert_double_eq_tol(v.eyes[0].prism_error.base_up, -0.30, TIGHT);
    ck_assert_double_eq_tol(v.vertical, -0.30, TIGHT);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_PASS);
    /* As much in the left lens balances it. */
    pair.eyes[1].delivered.height_mm += 2;
    v = judged(&pair);
    ck_assert_double_eq_tol(v.vertical, 0.10, TIGHT);
}
END_TEST

/* An oblique cylinder makes vertical prism of a wide PD: plano -4.00 x 45, 3
 * mm out; the power matrix has 2 beside its diagonal, so 0.60 each way, up for
 * the right eye and down for the left. */
START_TEST(a_wide_pd_unbalances_oblique_cylinders)
{
    struct optics_pair pair = made_right(0, -4, 45);
    struct optics_pair_verdict v;

    pair.eyes[0].delivered.pd_mm += 3;
    pair.eyes[1].delivered.pd_mm += 3;
    v = judged(&pair);
    ck_assert_double_eq_tol(v.eyes[0].centring.base_in, 0.6, TIGHT);
    ck_assert_double_eq_tol(v.eyes[0].centring.base_up, -0.6, TIGHT);
    ck_assert_double_eq_tol(v.eyes[1].centring.base_in, 0.6, TIGHT);
    ck_assert_double_eq_tol(v.eyes[1].centring.base_up, 0.6, TIGHT);
    ck_assert_double_eq_tol(v.vertical, -1.2, TIGHT);
    ck_assert_double_eq_tol(v.horizontal, 1.2, TIGHT);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_FAIL);
}
END_TEST

/* Rows of two different lenses: -1.00 is judged by prism, -4.00 by place. */
START_TEST(unlike_lenses_bring_both_rules)
{
    struct optics_pair pair = made_right(-1, 0, 0);
    struct optics_pair_verdict v;

    pair.eyes[1].ordered.power.sph = pair.eyes[1].delivered.power.sph = -4;
    pair.eyes[1].delivered.height_mm += 0.9; /* 0.36 */
    v = judged(&pair);
    ck_assert_uint_eq(v.vertical_line.n, 2);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_AT_LIMIT);
    ck_assert_int_eq(v.verdict, OPTICS_AT_LIMIT);
    pair.eyes[1].delivered.height_mm += 0.2;
    ck_assert_int_eq(judged(&pair).vertical_line.verdict, OPTICS_FAIL);
}
END_TEST

/* Prism at the reference point within 0.33, or its place within 1 mm; some
 * read "and". */
START_TEST(a_loose_lens_by_its_reference_point)
{
    static const struct {
        double sph, off_mm;
        enum optics_verdict want;
    } rows[] = {
        {-1, 0.9, OPTICS_PASS},     /* 0.09 */
        {-1, 3.0, OPTICS_AT_LIMIT}, /* 0.30, 3 mm */
        {-6, 0.9, OPTICS_AT_LIMIT}, /* 0.54, 0.9 mm */
        {-6, 1.1, OPTICS_FAIL},
    };

    for (int i = 0; i < ROWS(rows); i++) {
        struct optics_pair pair = made_right(rows[i].sph, 0, 0);
        struct optics_pair_verdict v;

        pair.mounted = false;
        pair.eyes[0].delivered.pd_mm += rows[i].off_mm;
        v = judged(&pair);
        ck_assert_int_eq(v.eyes[0].point.verdict, rows[i].want);
        ck_assert_int_eq(v.eyes[1].point.verdict, OPTICS_PASS);
        ck_assert_int_eq(v.verdict, rows[i].want);
        ck_assert_uint_eq(v.horizontal_line.n, 0);
    }
}
END_TEST

START_TEST(a_rule_without_its_figure_is_not_passed)
{
    struct optics_pair pair = made_right(-6, 0, 0);
    struct optics_pair_verdict v;

    for (int eye = 0; eye < 2; eye++)
        pair.eyes[eye].ordered.says = pair.eyes[eye].delivered.says =
            OPTICS_SAYS_PD;
    v = judged(&pair);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_NOT_JUDGED);
    ck_assert_int_eq(v.horizontal_line.verdict, OPTICS_PASS);
    ck_assert_int_eq(v.verdict, OPTICS_NOT_JUDGED);
    /* Up to 3.375 D prism decides, and the figures suffice. */
    for (int eye = 0; eye < 2; eye++)
        pair.eyes[eye].ordered.power.sph = pair.eyes[eye].delivered.power.sph =
            -3;
    ck_assert_int_eq(judged(&pair).verdict, OPTICS_PASS);
    /* A profile without any rule for these lenses passes nothing. */
    pair.profile = OPTICS_PROFILE_ANSI_2005;
    ck_assert_int_eq(judged(&pair).verdict, OPTICS_NOT_JUDGED);
}
END_TEST

/* The right lens has its place and the left one hasn't; loose and mounted. */
START_TEST(a_place_of_one_lens_is_none_of_the_pair)
{
    struct optics_pair pair = made_right(-6, 0, 0);
    struct optics_pair_verdict v;

    pair.eyes[1].ordered.says = pair.eyes[1].delivered.says = 0;
    v = judged(&pair);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_NOT_JUDGED);
    ck_assert_int_eq(v.horizontal_line.verdict, OPTICS_NOT_JUDGED);
    ck_assert(v.eyes[1].shift.in_mm == 0);
    pair.mounted = false;
    v = judged(&pair);
    ck_assert_int_eq(v.eyes[0].point.verdict, OPTICS_PASS);
    ck_assert_int_eq(v.eyes[1].point.verdict, OPTICS_NOT_JUDGED);
    ck_assert_int_eq(v.verdict, OPTICS_NOT_JUDGED);
}
END_TEST

START_TEST(add_and_segments_of_multifocals)
{
    struct optics_pair pair = made_right(1, 0, 0);
    struct optics_pair_verdict v;
    unsigned all = OPTICS_SAYS_ADD | OPTICS_SAYS_PD | OPTICS_SAYS_HEIGHT |
                   OPTICS_SAYS_SEGMENT;

    pair.type = OPTICS_BIFOCAL;
    ck_assert_int_eq(judged(&pair).verdict, OPTICS_NOT_JUDGED);
    for (int eye = 0; eye < 2; eye++)
        pair.eyes[eye].ordered.says = pair.eyes[eye].delivered.says = all;
    ck_assert_int_eq(judged(&pair).verdict, OPTICS_PASS);
    pair.eyes[0].delivered.add = 2.12;
    pair.eyes[0].delivered.segment_height_mm += 1;
    pair.eyes[1].delivered.segment_height_mm += 0.5;
    v = judged(&pair);
    ck_assert_double_eq_tol(v.eyes[0].add_error, 0.12, TIGHT);
    ck_assert_int_eq(v.eyes[0].add.verdict, OPTICS_PASS);
    ck_assert_int_eq(v.eyes[0].segment.verdict, OPTICS_PASS);
    ck_assert_double_eq_tol(v.segments.rules[0].error, 0.5, TIGHT);
    pair.eyes[1].delivered.segment_height_mm -= 0.6;
    ck_assert_int_eq(judged(&pair).segments.verdict, OPTICS_FAIL);
    pair.eyes[0].delivered.add = 2.13;
    ck_assert_int_eq(judged(&pair).eyes[0].add.verdict, OPTICS_FAIL);
    pair.eyes[0].delivered.says &= ~(unsigned)OPTICS_SAYS_ADD;
    v = judged(&pair);
    ck_assert_int_eq(v.eyes[0].add.verdict, OPTICS_NOT_JUDGED);
    ck_assert(v.eyes[0].add_error == 0);
}
END_TEST

/* One degree of axis lost with the whole of a slight cylinder is the
 * cylinder's line alone. */
START_TEST(a_cylinder_gone_has_no_axis_to_judge)
{
    struct optics_pair pair = made_right(1, -0.12, 90);
    struct optics_pair_verdict v;

    pair.eyes[0].delivered.power = (struct optics_power){1, 0, 0};
    v = judged(&pair);
    ck_assert_int_eq(v.eyes[0].power.axis.verdict, OPTICS_NOT_JUDGED);
    ck_assert_int_eq(v.verdict, OPTICS_PASS);
}
END_TEST

START_TEST(one_lens_is_no_pair)
{
    struct optics_pair pair = made_right(-6, 0, 0);
    struct optics_pair_verdict v;

    pair.eyes[0].there = false;
    pair.eyes[0].ordered.power.sph = NAN;
    v = judged(&pair);
    ck_assert_int_eq(v.verdict, OPTICS_PASS);
    ck_assert_uint_eq(v.horizontal_line.n, 0);
    ck_assert_uint_eq(v.eyes[0].power.sphere.n, 0);
    ck_assert_uint_eq(v.eyes[1].power.sphere.n, 2);
}
END_TEST

/* 3.00 base in on -6.00 D stands for a lens 5 mm out; what the rules in mm
 * allow is half of that for the pair. */
START_TEST(prism_of_strong_lenses_counts_as_their_place)
{
    struct optics_pair pair = made_right(-6, 0, 0);
    struct optics_pair_verdict v;

    for (int eye = 0; eye < 2; eye++)
        pair.eyes[eye].delivered.prism = (struct optics_prism){3, 0};
    v = judged(&pair);
    ck_assert_int_eq(v.horizontal_line.verdict, OPTICS_FAIL);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_PASS);
    for (int eye = 0; eye < 2; eye++)
        pair.eyes[eye].delivered.prism = (struct optics_prism){0, eye ? -3 : 3};
    v = judged(&pair);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_FAIL);
    ck_assert_int_eq(v.verdict, OPTICS_FAIL);
    /* Weak along 180: how far it is displaced isn't known. */
    pair = made_right(-0.5, -6, 180);
    pair.eyes[0].delivered.prism = (struct optics_prism){0.6, 0};
    v = judged(&pair);
    ck_assert_int_eq(v.verdict, OPTICS_NOT_JUDGED);
}
END_TEST

static void left_open(const struct optics_pair *pair)
{
    ck_assert_int_eq(judged(pair).verdict, OPTICS_NOT_JUDGED);
}

START_TEST(an_error_without_a_rule_is_not_passed)
{
    struct optics_pair pair = made_right(-3, -1, 90), bare = pair;

    pair.profile = bare.profile = OPTICS_PROFILE_ANSI_2005;
    pair.eyes[0].delivered.power.sph = -8; /* there is a rule for axes only */
    left_open(&pair);
    pair = made_right(-1, 0, 0);
    for (int eye = 0; eye < 2; eye++)
        pair.eyes[eye].ordered.says = pair.eyes[eye].delivered.says |=
            OPTICS_SAYS_ADD | OPTICS_SAYS_SEGMENT;
    ck_assert_int_eq(judged(&pair).verdict, OPTICS_PASS);
    pair.eyes[1].delivered.add = 3; /* of single vision */
    left_open(&pair);
    pair.eyes[1].delivered.add = 2;
    pair.eyes[1].delivered.segment_height_mm = 8;
    left_open(&pair);
    pair.eyes[1].delivered.says &= ~(unsigned)OPTICS_SAYS_SEGMENT;
    left_open(&pair);
}
END_TEST

START_TEST(a_lens_alone_in_its_frame_passes_only_as_ordered)
{
    struct optics_pair pair = made_right(-3, 0, 0);

    pair.eyes[1].there = false;
    ck_assert_int_eq(judged(&pair).verdict, OPTICS_PASS);
    pair.eyes[0].delivered.prism.base_up = 5;
    left_open(&pair);
    pair.eyes[0].delivered.prism = (struct optics_prism){-1, 0};
    left_open(&pair);
    pair.eyes[0].delivered.prism.base_in = 0;
    pair.eyes[0].delivered.pd_mm = 20;
    left_open(&pair);
    /* Plano is displaced without prism. */
    pair.eyes[0].ordered.power.sph = pair.eyes[0].delivered.power.sph = 0;
    left_open(&pair);
    pair.eyes[0].delivered.pd_mm = pair.eyes[0].ordered.pd_mm;
    pair.eyes[0].delivered.height_mm += 1;
    left_open(&pair);
}
END_TEST

START_TEST(a_misplaced_progressive_is_not_passed)
{
    struct optics_pair pair = made_right(0, 0, 0);

    pair.type = OPTICS_PROGRESSIVE;
    for (int eye = 0; eye < 2; eye++) {
        pair.eyes[eye].ordered.says |= OPTICS_SAYS_ADD;
        pair.eyes[eye].delivered.says |= OPTICS_SAYS_ADD;
        pair.eyes[eye].delivered.height_mm = 19;
    }
    ck_assert_int_eq(judged(&pair).verdict, OPTICS_PASS);
    pair.eyes[0].delivered.height_mm = 10;
    pair.eyes[1].delivered.height_mm = 10;
    left_open(&pair);
}
END_TEST

/* 1.50 base down in both thins a pair of progressives; on -4.00 it would be
 * 3.75 mm.  What the lenses differ by beside it still counts: 0.50 is 1.25 mm,
 * over the 1.0 of each. */
START_TEST(prism_thinning_is_no_displacement_and_said)
{
    struct optics_pair pair = made_right(-4, 0, 0);
    struct optics_pair_verdict v;

    pair.type = OPTICS_PROGRESSIVE;
    for (int eye = 0; eye < 2; eye++) {
        pair.eyes[eye].ordered.says |= OPTICS_SAYS_ADD;
        pair.eyes[eye].delivered.says |= OPTICS_SAYS_ADD;
        pair.eyes[eye].delivered.prism.base_up = -1.5;
    }
    v = judged(&pair);
    ck_assert_double_eq(v.thinning, -1.5);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_PASS);
    ck_assert_int_eq(v.verdict, OPTICS_NOT_JUDGED);
    ck_assert_uint_eq(v.n_open, 1);
    ck_assert_int_eq(v.open[0].what, OPTICS_OPEN_VERTICAL);
    ck_assert_int_eq(v.open[0].why, OPTICS_OPEN_CANCELS);
    pair.eyes[1].delivered.prism.base_up = -2;
    ck_assert_int_eq(judged(&pair).verdict, OPTICS_FAIL);
    /* One lens alone, opposite bases, little, and single vision: none. */
    pair.eyes[1].delivered.prism.base_up = 0;
    ck_assert_double_eq(judged(&pair).thinning, 0);
    pair.eyes[1].delivered.prism.base_up = 1.5;
    ck_assert_double_eq(judged(&pair).thinning, 0);
    pair.eyes[1].delivered.prism.base_up = -0.33;
    ck_assert_double_eq(judged(&pair).thinning, 0);
    pair = made_right(-4, 0, 0);
    for (int eye = 0; eye < 2; eye++)
        pair.eyes[eye].delivered.prism.base_up = -1.5;
    v = judged(&pair);
    ck_assert_double_eq(v.thinning, 0);
    /* There the rule is of the pair, of which both are as far off. */
    ck_assert_int_eq(v.verdict, OPTICS_NOT_JUDGED);
}
END_TEST

static void ck_open(
    const struct optics_pair_verdict *v, size_t i, struct optics_open want)
{
    ck_assert_uint_gt(v->n_open, i);
    ck_assert_int_eq(v->open[i].pair, want.pair);
    if (!want.pair)
        ck_assert_int_eq(v->open[i].eye, want.eye);
    ck_assert_int_eq(v->open[i].what, want.what);
    ck_assert_int_eq(v->open[i].why, want.why);
}

/* Both centres 4 mm to the patient's left before -2.00: 0.80 base in for one
 * eye, out for the other; the pair has none, and each lens has more than the
 * 0.67 of the pair. */
START_TEST(errors_that_cancel_are_said)
{
    struct optics_pair pair = made_right(-2, 0, 0);
    struct optics_pair_verdict v;

    pair.eyes[0].delivered.pd_mm -= 4;
    pair.eyes[1].delivered.pd_mm += 4;
    v = judged(&pair);
    ck_assert_double_eq_tol(v.horizontal, 0, TIGHT);
    ck_assert_int_eq(v.horizontal_line.verdict, OPTICS_PASS);
    ck_assert_int_eq(v.verdict, OPTICS_NOT_JUDGED);
    ck_assert_uint_eq(v.n_open, 1);
    ck_open(&v, 0,
        (struct optics_open){
            true, 0, OPTICS_OPEN_HORIZONTAL, OPTICS_OPEN_CANCELS});
    /* As much as the pair may have passes: 3.3 mm are 0.66. */
    pair.eyes[0].delivered.pd_mm += 0.7;
    pair.eyes[1].delivered.pd_mm -= 0.7;
    ck_assert_int_eq(judged(&pair).verdict, OPTICS_PASS);
    /* In mm: above 3.375 D the pair may be 1 mm apart in height. */
    pair = made_right(-6, 0, 0);
    for (int eye = 0; eye < 2; eye++)
        pair.eyes[eye].delivered.height_mm += 1.1;
    v = judged(&pair);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_PASS);
    ck_open(&v, 0,
        (struct optics_open){
            true, 0, OPTICS_OPEN_VERTICAL, OPTICS_OPEN_CANCELS});
    /* A progressive has a rule of each lens for strong ones. */
    pair.type = OPTICS_PROGRESSIVE;
    for (int eye = 0; eye < 2; eye++) {
        pair.eyes[eye].ordered.says |= OPTICS_SAYS_ADD;
        pair.eyes[eye].delivered.says |= OPTICS_SAYS_ADD;
    }
    v = judged(&pair);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_FAIL);
    ck_assert_uint_eq(v.n_open, 0);
}
END_TEST

/* Without a rule the two errors of 0.80 that cancel are open too. */
START_TEST(what_is_open_is_listed)
{
    struct optics_pair pair = made_right(-2, -1, 90);
    struct optics_pair_verdict v;

    pair.profile = OPTICS_PROFILE_ANSI_2005;
    pair.eyes[0].delivered.pd_mm -= 4;
    pair.eyes[1].delivered.pd_mm += 4;
    v = judged(&pair);
    ck_assert_uint_eq(v.n_open, 1);
    ck_open(&v, 0,
        (struct optics_open){
            true, 0, OPTICS_OPEN_HORIZONTAL, OPTICS_OPEN_NO_RULE});
    pair.eyes[1].delivered.power.sph = -3;
    pair.eyes[1].delivered.says |= OPTICS_SAYS_ADD;
    v = judged(&pair);
    ck_open(&v, 0,
        (struct optics_open){
            false, OPTICS_LEFT, OPTICS_OPEN_POWER, OPTICS_OPEN_NO_RULE});
    ck_open(&v, 1,
        (struct optics_open){
            false, OPTICS_LEFT, OPTICS_OPEN_ADD, OPTICS_OPEN_NO_FIGURE});
    ck_open(&v, 2,
        (struct optics_open){
            true, 0, OPTICS_OPEN_HORIZONTAL, OPTICS_OPEN_NO_RULE});
    ck_assert_uint_eq(v.n_open, 3);
    /* As ordered, and no rule at all. */
    pair = made_right(-2, 0, 0);
    pair.profile = OPTICS_PROFILE_ANSI_2005;
    v = judged(&pair);
    ck_assert_uint_eq(v.n_open, 1);
    ck_open(&v, 0,
        (struct optics_open){true, 0, OPTICS_OPEN_ALL, OPTICS_OPEN_NO_RULE});
    ck_assert_int_eq(v.verdict, OPTICS_NOT_JUDGED);
}
END_TEST

/* 2 mm up before -1.00 and -4.00: 0.20 and 0.80 base down.  The left rows ask
 * for places, of which the right one isn't given; 0.60 fails by prism. */
START_TEST(a_failed_rule_isnt_hidden_by_a_missing_figure)
{
    struct optics_pair pair = made_right(-1, 0, 0);
    struct optics_pair_verdict v;

    pair.eyes[1].ordered.power.sph = pair.eyes[1].delivered.power.sph = -4;
    pair.eyes[0].ordered.says = pair.eyes[0].delivered.says = OPTICS_SAYS_PD;
    pair.eyes[1].delivered.height_mm += 2;
    v = judged(&pair);
    ck_assert_uint_eq(v.vertical_line.n, 2);
    ck_assert_int_eq(v.vertical_line.verdict, OPTICS_FAIL);
    ck_assert_int_eq(v.verdict, OPTICS_FAIL);
    ck_open(&v, 0,
        (struct optics_open){
            true, 0, OPTICS_OPEN_VERTICAL, OPTICS_OPEN_NO_FIGURE});
}
END_TEST

START_TEST(what_is_open_has_words)
{
    for (int i = OPTICS_OPEN_ALL; i <= OPTICS_OPEN_SEGMENTS; i++)
        ck_assert_uint_ge(
            strlen(optics_open_what_word((enum optics_open_what)i)), 3);
    ck_assert_str_eq(
        optics_open_why_word(OPTICS_OPEN_NO_RULE), "no rule in this profile");
}
END_TEST

static void ck_finished(const struct optics_finished *lens,
    enum optics_fault want, bool want_delivered)
{
    bool delivered;

    ck_assert_int_eq(optics_finished_check(lens, &delivered), want);
    ck_assert_int_eq(delivered, want_delivered);
}

START_TEST(senseless_lenses_are_named)
{
    struct optics_pair pair = made_right(-6, 0, 0);
    struct optics_finished good = pair.eyes[0], bad;
    struct optics_pair_verdict v = {.horizontal = 7};

#define BAD(side, member, value, fault)                                        \
    bad = good;                                                                \
    bad.ordered.says = bad.delivered.says = 15;                                \
    bad.side.member = value;                                                   \
    ck_finished(&bad, fault, &bad.side == &bad.delivered)
    BAD(ordered, power.sph, INFINITY, OPTICS_BAD_SPHERE);
    BAD(delivered, power.cyl, -1, OPTICS_BAD_NO_AXIS);
    BAD(delivered, prism.base_in, NAN, OPTICS_BAD_BASE_IN);
    BAD(ordered, add, -1, OPTICS_BAD_ADD_POWER);
    BAD(ordered, pd_mm, 101, OPTICS_BAD_PD_MM);
    BAD(delivered, height_mm, -1, OPTICS_BAD_HEIGHT_MM);
    BAD(delivered, segment_height_mm, NAN, OPTICS_BAD_SEGMENT_HEIGHT_MM);
    BAD(delivered, says, OPTICS_SAYS_HEIGHT, OPTICS_BAD_ONE_PD);
    BAD(ordered, says, OPTICS_SAYS_HEIGHT, OPTICS_BAD_ONE_PD);
    BAD(delivered, says, OPTICS_SAYS_PD, OPTICS_BAD_ONE_HEIGHT);
    BAD(ordered, says, OPTICS_SAYS_PD, OPTICS_BAD_ONE_HEIGHT);
#undef BAD
    pair.eyes[1] = bad;
    ck_assert_int_eq(optics_pair_check(&pair, &v), OPTICS_BAD_ONE_HEIGHT);
    pair.eyes[0].there = pair.eyes[1].there = false;
    ck_assert_int_eq(optics_pair_check(&pair, &v), OPTICS_BAD_NO_LENS);
    ck_assert(v.horizontal == 7);
}
END_TEST

Suite *suite_pair(void)
{
    TCase *tc;
    Suite *s = suite_new("pair", &tc);

    tcase_add_test(tc, what_is_as_ordered_passes_and_leaves_nothing);
    tcase_add_test(tc, p18_inside_the_axis_tolerance_outside_comfort);
    tcase_add_test(tc, p19_centres_wider_than_the_eyes);
    tcase_add_test(tc, prism_and_centring_add_up);
    tcase_add_test(tc, a_wide_pd_unbalances_oblique_cylinders);
    tcase_add_test(tc, unlike_lenses_bring_both_rules);
    tcase_add_test(tc, a_loose_lens_by_its_reference_point);
    tcase_add_test(tc, a_rule_without_its_figure_is_not_passed);
    tcase_add_test(tc, a_place_of_one_lens_is_none_of_the_pair);
    tcase_add_test(tc, add_and_segments_of_multifocals);
    tcase_add_test(tc, a_cylinder_gone_has_no_axis_to_judge);
    tcase_add_test(tc, one_lens_is_no_pair);
    tcase_add_test(tc, prism_of_strong_lenses_counts_as_their_place);
    tcase_add_test(tc, an_error_without_a_rule_is_not_passed);
    tcase_add_test(tc, a_lens_alone_in_its_frame_passes_only_as_ordered);
    tcase_add_test(tc, a_misplaced_progressive_is_not_passed);
    tcase_add_test(tc, prism_thinning_is_no_displacement_and_said);
    tcase_add_test(tc, errors_that_cancel_are_said);
    tcase_add_test(tc, what_is_open_is_listed);
    tcase_add_test(tc, a_failed_rule_isnt_hidden_by_a_missing_figure);
    tcase_add_test(tc, what_is_open_has_words);
    tcase_add_test(tc, senseless_lenses_are_named);
    return s;
}
