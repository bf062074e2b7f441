#include <math.h>

#include "made_pair.h"
#include "suites.h"

#include "optics/pair_why.h"

static const double TIGHT = 1e-9;

static struct optics_explanation first_of(
    const struct optics_pair *pair, size_t *ret_n)
{
    struct optics_explanation e[OPTICS_EXPLANATIONS_MAX] = {0};
    double size;

    *ret_n = optics_pair_explain(pair, e, &size);
    for (size_t i = 0; i < *ret_n; i++) {
        ck_assert_double_lt(e[i].size, size / 2);
        ck_assert(i == 0 || e[i - 1].size <= e[i].size + TIGHT);
    }
    return e[0];
}

static const struct {
    enum optics_why why;
    struct optics_power ordered, read; /* of the right eye */
} WHYS[] = {
    {OPTICS_WHY_AXIS_TURNED, {-2, -1, 10}, {-2, -1, 100}},
    {OPTICS_WHY_AXIS_TURNED, {-2, -1, 100}, {-2, -1, 10}},
    {OPTICS_WHY_AXIS_MIRRORED, {-2, -1.5, 30}, {-2, -1.5, 150}},
    {OPTICS_WHY_AXIS_TURNED, {-2, -1, 90}, {-2, -1, 180}},
    {OPTICS_WHY_CYLINDER_SIGN, {-2, -1, 30}, {-2, 1, 30}},
    /* -3.00 +1.00 x 120 with its sign lost is -3.00 -1.00 x 120. */
    {OPTICS_WHY_CYLINDER_SIGN, {-2, -1, 30}, {-3, -1, 120}},
    {OPTICS_WHY_OTHER_FORM, {-2, -1, 30}, {-2, 1, 120}},
    {OPTICS_WHY_SPHERE_SIGN, {2.25, -0.5, 30}, {-2.25, -0.5, 30}},
    {OPTICS_WHY_BOTH_SIGNS, {-2, -1, 30}, {2, 1, 30}},
};

START_TEST(one_mistake_explains_a_lens)
{
    struct optics_pair pair = made_right(-1, 0, 0);
    struct optics_explanation e;
    size_t n;

    for (int both = 0; both < 2; both++) {
        for (int eye = 0; eye <= both; eye++) {
            pair.eyes[eye].ordered.power = WHYS[_i].ordered;
            pair.eyes[eye].delivered.power = WHYS[_i].read;
        }
        e = first_of(&pair, &n);
        ck_assert_uint_ge(n, 1);
        ck_assert_str_eq(optics_why_word(e.why), optics_why_word(WHYS[_i].why));
        ck_assert_int_eq(e.both, both);
        ck_assert_double_lt(e.size, TIGHT);
        ck_assert_int_eq(e.verdict, OPTICS_PASS);
    }
}
END_TEST

START_TEST(exchanged_lenses_are_explained)
{
    struct optics_pair pair = made_right(-2, -1, 30);
    struct optics_glass *l = &pair.eyes[1].ordered;
    struct optics_explanation e;
    size_t n;

    l->power = (struct optics_power){-4, -0.5, 160};
    l->prism.base_in = 1;
    pair.eyes[1].delivered = pair.eyes[0].ordered;
    pair.eyes[0].delivered = *l;
    pair.eyes[0].delivered.prism.base_in = -1;
    e = first_of(&pair, &n);
    ck_assert_int_eq(e.why, OPTICS_WHY_EXCHANGED);
    ck_assert(e.both && e.size < TIGHT);
    ck_assert_int_eq(e.verdict, OPTICS_PASS);
    /* Not where only one of them says a place, and not alone. */
    pair.eyes[0].delivered.says = pair.eyes[0].ordered.says = 0;
    first_of(&pair, &n);
    ck_assert_uint_eq(n, 0);
    pair.eyes[1].there = false;
    first_of(&pair, &n);
    ck_assert_uint_eq(n, 0);
}
END_TEST

START_TEST(a_base_that_was_turned_round_is_explained)
{
    struct optics_pair pair = made_right(-2, -1, 30);
    struct optics_glass *r = &pair.eyes[0].delivered;
    struct optics_explanation list[OPTICS_EXPLANATIONS_MAX], e;
    double size;
    size_t n;

    pair.eyes[0].ordered.prism = (struct optics_prism){1.5, 2};
    r->prism = (struct optics_prism){-1.5, -2};
    e = first_of(&pair, &n);
    ck_assert_uint_eq(n, 1);
    ck_assert_int_eq(e.why, OPTICS_WHY_BASE_TURNED);
    ck_assert(!e.both && e.eye == OPTICS_RIGHT && e.size == 0);
    ck_assert_int_eq(e.verdict, OPTICS_PASS);
    /* In both, by 5 and by 4 cm/m. */
    pair.eyes[1].ordered.prism.base_in = 2;
    pair.eyes[1].delivered.prism.base_in = -2;
    ck_assert_uint_ge(optics_pair_explain(&pair, list, &size), 1);
    ck_assert(list[0].both && list[0].prisms == 0);
    ck_assert_double_eq_tol(size, sqrt(41), TIGHT);
    /* A prism nobody measured doesn't hide what explains the lenses. */
    pair = made_right(-2, -1, 30);
    pair.eyes[0].ordered.prism.base_in = 4;
    pair.eyes[0].delivered.power.axis = 120;
    ck_assert_uint_ge(optics_pair_explain(&pair, list, &size), 1);
    e = list[0];
    ck_assert_int_eq(e.why, OPTICS_WHY_AXIS_TURNED);
    ck_assert(e.lenses < TIGHT && e.prisms == 4 && e.prism[0].base_in == -4);
}
END_TEST

/* A front of +9.00, 6 mm of 1.5: the front seen from the back is 9 / (1 -
 * 0.036) = 9.3361, so a back of -1.3361 makes +8.00; from the front it is
 * -1.3361 / (1
 * + 0.0053444) = -1.3290, and 7.6710 is read.  An add of 2.00 on that front is
 * 11 / 0.956 - 9 / 0.964 = 2.1702 through the back. */
START_TEST(a_lens_read_from_the_wrong_side)
{
    struct optics_pair pair = made_right(8, 0, 0);
    struct optics_explanation e;
    size_t n;

    pair.eyes[0].delivered.power.sph = 7.6710;
    first_of(&pair, &n);
    ck_assert_uint_eq(n, 0);
    pair.eyes[0].has_body = true;
    pair.eyes[0].body = (struct optics_body){9, 1.5, 6};
    e = first_of(&pair, &n);
    ck_assert_uint_eq(n, 1);
    ck_assert_int_eq(e.why, OPTICS_WHY_FRONT_VERTEX);
    ck_assert(!e.both && e.eye == OPTICS_RIGHT && e.size < 1e-3);
    pair.eyes[0].delivered.power.sph = 8;
    pair.type = OPTICS_BIFOCAL;
    pair.eyes[0].ordered.says |= OPTICS_SAYS_ADD;
    pair.eyes[0].delivered.says |= OPTICS_SAYS_ADD;
    pair.eyes[0].delivered.add = 2.1702;
    e = first_of(&pair, &n);
    ck_assert_uint_eq(n, 1);
    ck_assert_int_eq(e.why, OPTICS_WHY_ADD_SIDE);
    ck_assert_double_lt(fabs(e.add_error[0]), 1e-3);
    /* At a focal point nothing is computed. */
    pair.eyes[0].body = (struct optics_body){9, 1.5, 6};
    pair.eyes[0].delivered.power.sph = 9 - 250;
    first_of(&pair, &n);
    pair.eyes[0].body.front_power = 250;
    ck_assert_int_eq(
        optics_body_check(pair.eyes[0].body), OPTICS_BAD_FRONT_POWER);
    pair.eyes[0].body = (struct optics_body){50, 1.5, 30};
    ck_assert_int_eq(
        optics_body_check(pair.eyes[0].body), OPTICS_BAD_FRONT_FOCAL);
    {
        struct optics_pair_verdict v;

        pair.eyes[0].delivered.power.sph = 8;
        ck_assert_int_eq(optics_pair_check(&pair, &v), OPTICS_BAD_FRONT_FOCAL);
    }
}
END_TEST

/* A lens that is simply other: no one mistake leaves less than half. */
START_TEST(what_nothing_explains_has_no_explanation)
{
    struct optics_pair pair = made_right(-2, -1, 30);
    struct optics_explanation e;
    size_t n;

    pair.eyes[0].delivered.power = (struct optics_power){-2.5, -1, 30};
    first_of(&pair, &n);
    ck_assert_uint_eq(n, 0);
    /* Turned by 90 degrees, mirrored at 45, or both signs: each in the right
     * lens alone, and worse with the left one's slight cylinder. */
    pair = made_right(0.5, -1, 45);
    pair.eyes[0].delivered.power = (struct optics_power){-0.5, 1, 45};
    pair.eyes[1].ordered.power = pair.eyes[1].delivered.power =
        (struct optics_power){0.02, -0.04, 60};
    e = first_of(&pair, &n);
    ck_assert_uint_eq(n, OPTICS_EXPLANATIONS_MAX);
    ck_assert(!e.both && e.size < TIGHT);
    /* The same before the left eye: what is better comes later. */
    pair.eyes[1] = pair.eyes[0];
    pair.eyes[0].ordered.power = pair.eyes[0].delivered.power =
        (struct optics_power){0.02, -0.04, 60};
    e = first_of(&pair, &n);
    ck_assert_uint_eq(n, OPTICS_EXPLANATIONS_MAX);
    ck_assert(!e.both && e.eye == OPTICS_LEFT && e.size < TIGHT);
}
END_TEST

Suite *suite_pair_why(void)
{
    TCase *tc;
    Suite *s = suite_new("pair, explained", &tc);

    tcase_add_loop_test(tc, one_mistake_explains_a_lens, 0, ROWS(WHYS));
    tcase_add_test(tc, exchanged_lenses_are_explained);
    tcase_add_test(tc, a_base_that_was_turned_round_is_explained);
    tcase_add_test(tc, a_lens_read_from_the_wrong_side);
    tcase_add_test(tc, what_nothing_explains_has_no_explanation);
    return s;
}
