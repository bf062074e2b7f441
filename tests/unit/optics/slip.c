#include <math.h>
#include <string.h>

#include "random.h"
#include "suites.h"

#include "optics/slip.h"

/* The answer of one eye. */
static struct optics_slip_answer ask(struct optics_entry now,
    enum optics_eye eye, const struct optics_known *known)
{
    struct optics_slip_answers got;

    ck_assert_int_eq(optics_slip_explain(now, known, &got), OPTICS_OK);
    return got.eye[eye];
}

/* Right eye entered, beside what it was a year ago. */
static struct optics_slip_answer explain(
    struct optics_power entered, struct optics_power was)
{
    struct optics_entry now = {
        .eye = {entered}, .has = {true, false}, .method = OPTICS_BY_SUBJECTIVE};
    struct optics_entry past = {.eye = {was},
        .has = {true, false},
        .method = OPTICS_BY_SUBJECTIVE,
        .years_before = 1};
    struct optics_known known = {.patient = {&past, 1, 40}};

    return ask(now, OPTICS_RIGHT, &known);
}

static const struct {
    struct optics_power entered, was;
    enum optics_slip slip;
} SLIPS[] = {
    {{2.5, -0.75, 172}, {-2.5, -0.75, 172}, OPTICS_SLIP_SPHERE_SIGN},
    {{-1, 2.5, 20}, {-1, -2.5, 20}, OPTICS_SLIP_CYLINDER_SIGN},
    {{-25, -0.75, 172}, {-2.5, -0.75, 172}, OPTICS_SLIP_SPHERE_POINT},
    {{-0.5, 0, 0}, {-5, 0, 0}, OPTICS_SLIP_SPHERE_POINT},
    {{8, 0, 0}, {-8, 0, 0}, OPTICS_SLIP_SPHERE_SIGN}, /* nothing else */
    {{-250, 0, 0}, {-2.5, 0, 0}, OPTICS_SLIP_SPHERE_POINT},
    {{-1, -0.25, 20}, {-1, -2.5, 20}, OPTICS_SLIP_CYLINDER_POINT},
    {{-1, -3.5, 7}, {-1, -3.5, 70}, OPTICS_SLIP_AXIS_POINT},
    {{-21.5, 0, 0}, {-12.5, 0, 0}, OPTICS_SLIP_SPHERE_DIGITS},
    {{-1, -3, 17}, {-1, -3, 71}, OPTICS_SLIP_AXIS_DIGITS},
    {{1, -3, 180}, {1, -3, 90}, OPTICS_SLIP_AXIS_TURNED},
    {{1, -3, 90}, {1, -3, 180}, OPTICS_SLIP_AXIS_TURNED},
    /* +1.00 +3.00 x 90, whose cylinder was typed -3.00 x 180. */
    {{1, -3, 180}, {1, 3, 90}, OPTICS_SLIP_OTHER_FORM},
};

START_TEST(each_slip_is_offered_as_what_it_was)
{
    struct optics_slip_answer got = explain(SLIPS[_i].entered, SLIPS[_i].was);
    const struct optics_meaning *m = &got.meaning[got.offered];

    ck_assert_int_eq(got.verdict, OPTICS_SLIP_OFFERED);
    ck_assert_msg(
        m->slip == SLIPS[_i].slip, "got \"%s\"", optics_slip_word(m->slip));
    ck_assert(optics_power_distance(m->power[0], SLIPS[_i].was) < 1e-9);
    ck_assert(m->fits && m->log_odds > log(10));
    for (size_t i = 1; i < got.n; i++)
        ck_assert(got.meaning[i - 1].log_odds >= got.meaning[i].log_odds);
}
END_TEST

static const struct {
    const char *why;
    struct optics_power entered, was;
    enum optics_slip_verdict verdict;
} OTHERS[] = {
    {"the same", {-2.5, -0.75, 172}, {-2.5, -0.75, 172}, OPTICS_SLIP_FITS},
    {"a quarter", {-2.75, -0.75, 172}, {-2.5, -0.75, 172}, OPTICS_SLIP_FITS},
    {"a true change", {-6, -0.75, 172}, {-2.5, -0.75, 172},
        OPTICS_SLIP_UNEXPLAINED},
    /* A lens of -0.75 with the sign lost, or a true change by 1.50. */
    {"a small sign can be either", {0.75, 0, 0}, {-0.75, 0, 0},
        OPTICS_SLIP_POSSIBLE},
    /* -3.00 +0.75 x 82 is -2.25 -0.75 x 172; the cylinder's sign is lost. */
    {"a plus form with a lost sign", {-3, -0.75, 82}, {-2.25, -0.75, 172},
        OPTICS_SLIP_POSSIBLE},
    {"the sign of the cylinder alone", {-2.25, 0.75, 172}, {-2.25, -0.75, 172},
        OPTICS_SLIP_POSSIBLE},
    {"sphere and cylinder wrong: no one slip", {2.5, -7.5, 20},
        {-9.5, -0.75, 100}, OPTICS_SLIP_UNEXPLAINED},
    {"102 and 120 would fit alike", {-1, -3, 12}, {-1, -3, 111},
        OPTICS_SLIP_POSSIBLE},
    {"plano has no slip", {0, 0, 0}, {-8, 0, 0}, OPTICS_SLIP_UNEXPLAINED},
};

START_TEST(nothing_is_offered_unless_it_is_clear)
{
    struct optics_slip_answer got = explain(OTHERS[_i].entered, OTHERS[_i].was);

    ck_assert_msg(got.verdict == OTHERS[_i].verdict, "%s: got \"%s\"",
        OTHERS[_i].why, optics_slip_verdict_word(got.verdict));
}
END_TEST

/* Off the steps of people, as an instrument of hundredths writes. */
START_TEST(an_entry_off_the_steps_may_mean_one_off_them)
{
    struct optics_slip_answer got = explain(
        (struct optics_power){-13.1, 0, 0}, (struct optics_power){-1.31, 0, 0});

    ck_assert_int_eq(got.verdict, OPTICS_SLIP_OFFERED);
    ck_assert(got.meaning[got.offered].power[0].sph == -1.31);
    /* A part of a hundredth has no digits to exchange. */
    got = explain((struct optics_power){-13.123, -1.001, 20.5},
        (struct optics_power){-31.123, -1.001, 20.5});
    for (size_t i = 0; i < got.n; i++)
        ck_assert(got.meaning[i].slip != OPTICS_SLIP_SPHERE_DIGITS &&
                  got.meaning[i].slip != OPTICS_SLIP_AXIS_DIGITS);
}
END_TEST

START_TEST(meanings_stay_in_a_record_s_range)
{
    struct optics_slip_answer got = explain((struct optics_power){-30, -15, 45},
        (struct optics_power){-3, -1.5, 45});

    for (size_t i = 0; i < got.n; i++)
        ck_assert_int_eq(
            optics_rx_check(optics_rx_of_power(got.meaning[i].power[0])),
            OPTICS_OK);
    ck_assert(got.n < OPTICS_SLIPS_MAX);
}
END_TEST

/* Digits enough for the longest list. */
START_TEST(the_longest_list_has_room)
{
    struct optics_slip_answer got = {0};
    size_t longest = 0;

    for (int cd = 4000; cd > 0; cd -= 37)
        for (int axis = 1; axis <= 180; axis += 13) {
            struct optics_power p = {cd / 100.0, -cd / 200.0, axis};

            got = explain(p, (struct optics_power){-1, -1, 20});
            longest = got.n > longest ? got.n : longest;
            for (size_t i = 0; i < got.n; i++)
                ck_assert(isfinite(got.meaning[i].log_odds));
        }
    ck_assert(longest > 5 && longest < OPTICS_SLIPS_MAX);
}
END_TEST

START_TEST(exchanged_eyes_are_offered)
{
    struct optics_power a = {-6.75, -6.5, 30}, b = {-7, -7.75, 130};
    struct optics_entry past = {.eye = {a, b},
        .has = {true, true},
        .method = OPTICS_BY_AUTOREFRACTION,
        .years_before = 1};
    struct optics_entry now = past;
    struct optics_known known = {.patient = {&past, 1, 40}};
    struct optics_slip_answer got;

    now.eye[0] = b;
    now.eye[1] = a;
    now.years_before = 0;
    for (int eye = 0; eye < 2; eye++) {
        got = ask(now, (enum optics_eye)eye, &known);
        ck_assert_int_eq(got.verdict, OPTICS_SLIP_OFFERED);
        ck_assert_int_eq(got.meaning[got.offered].slip, OPTICS_SLIP_EYES);
    }
    now.eye[1] = b; /* copied into both: exchanging them changes nothing */
    got = ask(now, OPTICS_RIGHT, &known);
    for (size_t i = 0; i < got.n; i++)
        ck_assert(got.meaning[i].slip != OPTICS_SLIP_EYES);
}
END_TEST

/* Mirror images, exchanged: a lost sign in both eyes would be two slips. */
START_TEST(an_exchange_comes_before_what_looks_like_it)
{
    struct optics_entry past = {.eye = {{-2, 0, 0}, {2, 0, 0}},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE,
        .years_before = 1};
    struct optics_entry now = past;
    struct optics_known known = {.patient = {&past, 1, 40}};
    struct optics_slip_answer got;

    now.eye[0] = past.eye[1];
    now.eye[1] = past.eye[0];
    now.years_before = 0;
    for (int eye = 0; eye < 2; eye++) {
        got = ask(now, (enum optics_eye)eye, &known);
        ck_assert_int_eq(got.verdict, OPTICS_SLIP_OFFERED);
        ck_assert_int_eq(got.meaning[got.offered].slip, OPTICS_SLIP_EYES);
    }
}
END_TEST

/* The other eye lost its point and is beyond what a record holds. */
START_TEST(a_lens_no_record_holds_is_not_exchanged)
{
    struct optics_entry now = {.eye = {{-2.25, -0.5, 10}, {-225, -0.5, 170}},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE};
    struct optics_known known = {.patient = {NULL, 0, 40}};
    struct optics_slip_answer got;

    got = ask(now, OPTICS_RIGHT, &known);
    ck_assert_int_ne(got.verdict, OPTICS_SLIP_OFFERED);
    for (size_t i = 0; i < got.n; i++)
        ck_assert_int_ne(got.meaning[i].slip, OPTICS_SLIP_EYES);
}
END_TEST

/* P-04: both eyes to plus within days (bjo 84/10/1097, up to 3.75 D). */
START_TEST(eyes_that_change_together_fit)
{
    struct optics_entry past = {.eye = {{-2.5, 0, 0}, {-2.25, 0, 0}},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE,
        .years_before = 0.05};
    struct optics_entry now = past;
    struct optics_known known = {.patient = {&past, 1, 50}};
    struct optics_slip_answer got;

    now.eye[0].sph += 3.75;
    now.eye[1].sph += 3.75;
    now.years_before = 0;
    got = ask(now, OPTICS_LEFT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_FITS);
}
END_TEST

START_TEST(the_other_eye_and_the_cornea_speak_without_history)
{
    struct optics_entry now = {.eye = {{-40, -0.75, 172}, {-4, -0.75, 8}},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE};
    struct optics_known known = {.patient = {NULL, 0, 40}};
    struct optics_slip_answer got;

    got = ask(now, OPTICS_RIGHT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_OFFERED);
    ck_assert(got.meaning[got.offered].power[0].sph == -4);
    /* The cornea rejects what the other eye doesn't. */
    now.eye[0] = (struct optics_power){-4, -4, 90};
    known.has_cornea[OPTICS_RIGHT] = true;
    known.cornea[OPTICS_RIGHT] = (struct optics_power){0, -4, 180};
    got = ask(now, OPTICS_RIGHT, &known);
    ck_assert_int_ne(got.verdict, OPTICS_SLIP_FITS);
    known.has_cornea[OPTICS_RIGHT] = false;
    /* Cornea alone, with the rule -4.00; the eye against it. */
    now = (struct optics_entry){.eye = {{0}, {0, -4, 90}},
        .has = {false, true},
        .method = OPTICS_BY_SUBJECTIVE};
    known.has_cornea[OPTICS_LEFT] = true;
    known.cornea[OPTICS_LEFT] = (struct optics_power){0, -4, 180};
    got = ask(now, OPTICS_LEFT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_POSSIBLE);
    ck_assert(got.meaning[got.offered].fits &&
              got.meaning[got.offered].power[1].axis == 180);
    now.eye[OPTICS_LEFT].axis = 180;
    got = ask(now, OPTICS_LEFT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_FITS);
    /* Nothing at all. */
    known.has_cornea[OPTICS_LEFT] = false;
    got = ask(now, OPTICS_LEFT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_NOTHING_KNOWN);
    ck_assert(got.n == 0);
}
END_TEST

/* Past entries of the other eye only; the other eye's cornea. */
START_TEST(what_is_known_of_the_other_eye_only)
{
    struct optics_entry past = {.eye = {{0}, {-2, 0, 0}},
        .has = {false, true},
        .method = OPTICS_BY_LENSOMETRY,
        .years_before = 1};
    struct optics_entry now = {.eye = {{-2, 0, 0}, {-2, 0, 0}},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE};
    struct optics_known known = {
        .patient = {&past, 1, 40}, .has_cornea = {false, true}};
    struct optics_slip_answer got;

    got = ask(now, OPTICS_RIGHT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_FITS);
    got = ask(now, OPTICS_LEFT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_FITS);
    past.has[OPTICS_RIGHT] = true;
    now.has[OPTICS_RIGHT] = false;
    got = ask(now, OPTICS_LEFT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_FITS);
}
END_TEST

/* Nothing but each other: the survey has far more eyes of -2.25 than of -22.50
 * (1 in 1,000 is beyond -12.81).  One offer, and the other beside it. */
START_TEST(without_history_the_commoner_pair_is_offered)
{
    struct optics_entry now = {.eye = {{-2.25, 0, 0}, {-22.5, 0, 0}},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE};
    struct optics_known known = {.patient = {NULL, 0, 40}};

    for (int turned = 0; turned < 2; turned++) {
        enum optics_eye strong = turned ? OPTICS_RIGHT : OPTICS_LEFT;
        enum optics_eye weak = turned ? OPTICS_LEFT : OPTICS_RIGHT;
        struct optics_slip_answer got = ask(now, strong, &known);

        ck_assert_int_ge(got.verdict, OPTICS_SLIP_POSSIBLE);
        ck_assert(got.meaning[got.offered].power[strong].sph == -2.25);
        ck_assert_uint_eq(got.n_beside, 1);
        ck_assert_int_eq(got.beside[0].eye, weak);
        ck_assert(got.beside[0].power[weak].sph == -22.5);
        ck_assert_double_lt(got.beside[0].log_odds,
            got.meaning[got.offered].log_odds - log(10));
        got = ask(now, weak, &known);
        ck_assert_int_eq(got.verdict, OPTICS_SLIP_OTHER_EYE);
        now.eye[0].sph = -22.5;
        now.eye[1].sph = -2.25;
    }
}
END_TEST

START_TEST(a_sign_of_either_eye_is_one_offer)
{
    struct optics_entry now = {.eye = {{2, 0, 0}, {-2, 0, 0}},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE};
    struct optics_known known = {.patient = {NULL, 0, 40}};
    struct optics_slip_answer got = ask(now, OPTICS_RIGHT, &known);

    /* -2.00 in both is commoner than +2.00 in both. */
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_POSSIBLE);
    ck_assert(got.meaning[got.offered].power[OPTICS_RIGHT].sph == -2);
    ck_assert_uint_eq(got.n_beside, 1);
    ck_assert_int_eq(got.beside[0].eye, OPTICS_LEFT);
    ck_assert_double_gt(
        got.beside[0].log_odds, got.meaning[got.offered].log_odds - log(10));
    ck_assert_int_eq(
        ask(now, OPTICS_LEFT, &known).verdict, OPTICS_SLIP_OTHER_EYE);
    /* History of one eye settles it. */
    {
        struct optics_entry past = {.eye = {{2.25, 0, 0}},
            .has = {true, false},
            .method = OPTICS_BY_SUBJECTIVE,
            .years_before = 1};

        known.patient = (struct optics_patient){&past, 1, 40};
        ck_assert_int_eq(
            ask(now, OPTICS_RIGHT, &known).verdict, OPTICS_SLIP_FITS);
        got = ask(now, OPTICS_LEFT, &known);
        ck_assert_int_ge(got.verdict, OPTICS_SLIP_POSSIBLE);
        ck_assert(got.meaning[got.offered].power[OPTICS_LEFT].sph == 2);
    }
}
END_TEST

static const struct {
    const char *why;
    struct optics_power was[2], now[2];
    enum optics_slip_verdict verdict;
    enum optics_slip slip;
} BOTH_EYES[] = {
    {"signs of a whole record", {{-2.25, 0, 0}, {-2, 0, 0}},
        {{2.25, 0, 0}, {2, 0, 0}}, OPTICS_SLIP_OFFERED,
        OPTICS_SLIP_SPHERE_SIGN},
    {"of a weak one", {{-0.5, 0, 0}, {-0.5, 0, 0}}, {{0.5, 0, 0}, {0.5, 0, 0}},
        OPTICS_SLIP_POSSIBLE, OPTICS_SLIP_SPHERE_SIGN},
    {"P-04, to plus together", {{-1, 0, 0}, {-1, 0, 0}},
        {{0.5, 0, 0}, {0.5, 0, 0}}, OPTICS_SLIP_FITS, 0},
    {"points", {{-2.5, 0, 0}, {-3, 0, 0}}, {{-25, 0, 0}, {-30, 0, 0}},
        OPTICS_SLIP_OFFERED, OPTICS_SLIP_SPHERE_POINT},
    {"cylinders", {{-1, -2, 10}, {-1, -2, 170}}, {{-1, 2, 10}, {-1, 2, 170}},
        OPTICS_SLIP_OFFERED, OPTICS_SLIP_CYLINDER_SIGN},
};

START_TEST(one_slip_in_both_eyes_is_found)
{
    struct optics_entry past = {
        .eye = {BOTH_EYES[_i].was[0], BOTH_EYES[_i].was[1]},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE,
        .years_before = 0.1};
    struct optics_entry now = {
        .eye = {BOTH_EYES[_i].now[0], BOTH_EYES[_i].now[1]},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE};
    struct optics_known known = {.patient = {&past, 1, 40}};

    for (int eye = 0; eye < 2; eye++) {
        struct optics_slip_answer got = ask(now, (enum optics_eye)eye, &known);

        ck_assert_msg(got.verdict == BOTH_EYES[_i].verdict, "%s: got \"%s\"",
            BOTH_EYES[_i].why, optics_slip_verdict_word(got.verdict));
        if (got.verdict == OPTICS_SLIP_FITS)
            continue;
        ck_assert(got.meaning[got.offered].both);
        ck_assert_int_eq(got.meaning[got.offered].slip, BOTH_EYES[_i].slip);
        for (int e = 0; e < 2; e++)
            ck_assert(optics_power_distance(got.meaning[got.offered].power[e],
                          BOTH_EYES[_i].was[e]) < 1e-9);
    }
}
END_TEST

/* The corneas of both eyes say that the cylinders' axes are 90 degrees off;
 * without one of them, that one eye's is. */
START_TEST(corneas_of_both_eyes_find_one_slip_in_both)
{
    struct optics_entry now = {.eye = {{1, -3, 90}, {1, -3, 90}},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE};
    struct optics_known known = {.patient = {NULL, 0, 40},
        .has_cornea = {true, true},
        .cornea = {{0, -3, 180}, {0, -3, 180}}};

    for (int eye = 0; eye < 2; eye++) {
        struct optics_slip_answer got = ask(now, (enum optics_eye)eye, &known);

        ck_assert_int_ge(got.verdict, OPTICS_SLIP_POSSIBLE);
        ck_assert(
            got.meaning[got.offered].both && got.meaning[got.offered].fits);
        ck_assert(got.meaning[got.offered].power[eye].axis == 180);
    }
}
END_TEST

/* The alternatives, chosen anew from all that was considered. */
static void ck_beside(const struct optics_slip_answers *got, int eye)
{
    const struct optics_slip_answer *a = &got->eye[eye], *b = &got->eye[!eye];
    double best = a->meaning[a->offered].log_odds, last = best;
    size_t better = 0;

    for (size_t i = 0; i < a->n_beside; i++) {
        ck_assert_double_le(a->beside[i].log_odds, last);
        ck_assert(a->beside[i].fits);
        last = a->beside[i].log_odds;
    }
    for (size_t i = 0; i < a->n; i++)
        better += i != a->offered && a->meaning[i].fits &&
                  a->meaning[i].log_odds > last;
    for (size_t i = 0; i < b->n; i++)
        if (b->meaning[i].fits && !b->meaning[i].both) {
            better += b->meaning[i].log_odds > last;
            break;
        }
    ck_assert_uint_lt(better, OPTICS_BESIDE_MAX);
    ck_assert_double_ge(last, best - log(1000) - 1e-9);
    if (a->n_beside < OPTICS_BESIDE_MAX)
        ck_assert_uint_eq(better, a->n_beside > 0 ? a->n_beside - 1 : 0);
}

/* Pairs of made-up eyes without a history, most of them unlike. */
START_TEST(alternatives_are_the_likeliest)
{
    struct random r = {.state = 31};
    struct optics_known known = {.patient = {NULL, 0, 40}};
    size_t offers = 0, full = 0;

    for (int i = 0; i < 20000; i++) {
        struct optics_entry now = {
            .has = {true, true}, .method = OPTICS_BY_SUBJECTIVE};
        struct optics_slip_answers got;

        for (int eye = 0; eye < 2; eye++) {
            now.eye[eye].sph = random_below(&r, 49) * 0.25 - 6;
            now.eye[eye].cyl = random_below(&r, 17) * -0.25;
            now.eye[eye].axis =
                now.eye[eye].cyl != 0 ? 1 + random_below(&r, 180) : 0;
        }
        optics_slip_explain(now, &known, &got);
        for (int eye = 0; eye < 2; eye++) {
            if (got.eye[eye].verdict < OPTICS_SLIP_POSSIBLE)
                continue;
            offers++;
            full += got.eye[eye].n_beside == OPTICS_BESIDE_MAX;
            ck_beside(&got, eye);
        }
        /* Never two different offers for one pair. */
        if (got.eye[0].verdict >= OPTICS_SLIP_POSSIBLE &&
            got.eye[1].verdict >= OPTICS_SLIP_POSSIBLE)
            ck_assert(got.eye[0].meaning[got.eye[0].offered].both &&
                      got.eye[1].meaning[got.eye[1].offered].both);
    }
    ck_assert_uint_gt(offers, 1000);
    ck_assert_uint_gt(full, 100);
}
END_TEST

/* Each eye has a history, and a slip of its own. */
START_TEST(two_eyes_may_have_two_slips)
{
    struct optics_entry past = {.eye = {{-6, 0, 0}, {-2.5, 0, 0}},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE,
        .years_before = 1};
    struct optics_entry now = past;
    struct optics_known known = {.patient = {&past, 1, 40}};
    struct optics_slip_answer got;

    now.eye[0].sph = 6;
    now.eye[1].sph = -25;
    now.years_before = 0;
    got = ask(now, OPTICS_RIGHT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_OFFERED);
    ck_assert_int_eq(got.meaning[got.offered].slip, OPTICS_SLIP_SPHERE_SIGN);
    got = ask(now, OPTICS_LEFT, &known);
    ck_assert_int_eq(got.verdict, OPTICS_SLIP_OFFERED);
    ck_assert_int_eq(got.meaning[got.offered].slip, OPTICS_SLIP_SPHERE_POINT);
}
END_TEST

START_TEST(senseless_requests_are_named)
{
    struct optics_entry past = {.years_before = 131};
    struct optics_entry now = {.has = {true, false}};
    struct optics_known known = {.patient = {&past, 1, 40}};
    struct optics_slip_answers got = {.eye[0].n = 7};

    ck_assert_int_eq(
        optics_slip_explain(now, &known, &got), OPTICS_BAD_YEARS_BEFORE);
    known.patient.n = 0;
    now.has[OPTICS_RIGHT] = false;
    ck_assert_int_eq(optics_slip_explain(now, &known, &got), OPTICS_BAD_AN_EYE);
    ck_assert(got.eye[0].n == 7);
}
END_TEST

START_TEST(words_stand_for_every_slip_and_verdict)
{
    for (int i = OPTICS_SLIP_SPHERE_SIGN; i <= OPTICS_SLIP_EYES; i++)
        ck_assert_uint_gt(strlen(optics_slip_word((enum optics_slip)i)), 10);
    ck_assert_str_eq(
        optics_slip_word(OPTICS_SLIP_EYES), "right and left are exchanged");
    ck_assert_str_eq(
        optics_slip_verdict_word(OPTICS_SLIP_OFFERED), "one slip explains it");
}
END_TEST

Suite *suite_slip(void)
{
    TCase *tc;
    Suite *s = suite_new("slip", &tc);

    tcase_add_loop_test(
        tc, each_slip_is_offered_as_what_it_was, 0, ROWS(SLIPS));
    tcase_add_loop_test(
        tc, nothing_is_offered_unless_it_is_clear, 0, ROWS(OTHERS));
    tcase_add_test(tc, an_entry_off_the_steps_may_mean_one_off_them);
    tcase_add_test(tc, meanings_stay_in_a_record_s_range);
    tcase_add_test(tc, the_longest_list_has_room);
    tcase_add_test(tc, exchanged_eyes_are_offered);
    tcase_add_test(tc, an_exchange_comes_before_what_looks_like_it);
    tcase_add_test(tc, a_lens_no_record_holds_is_not_exchanged);
    tcase_add_test(tc, eyes_that_change_together_fit);
    tcase_add_test(tc, the_other_eye_and_the_cornea_speak_without_history);
    tcase_add_test(tc, what_is_known_of_the_other_eye_only);
    tcase_add_test(tc, without_history_the_commoner_pair_is_offered);
    tcase_add_test(tc, a_sign_of_either_eye_is_one_offer);
    tcase_add_loop_test(tc, one_slip_in_both_eyes_is_found, 0, ROWS(BOTH_EYES));
    tcase_add_test(tc, corneas_of_both_eyes_find_one_slip_in_both);
    tcase_add_test(tc, alternatives_are_the_likeliest);
    tcase_add_test(tc, two_eyes_may_have_two_slips);
    tcase_add_test(tc, senseless_requests_are_named);
    tcase_add_test(tc, words_stand_for_every_slip_and_verdict);
    return s;
}
