/*
 * What record/check_word.h promises, tried for every figure and every value.
 * Golden words: tests/support/check_word.py, written from the header's text
 * alone, prints them.
 */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "record/check_word.h"

#define FIGURES 29
#define WORDS 130321 /* 19^4 */

/* The figures as one list, in the header's order. */
union figures {
    struct record_figures of;
    int32_t list[FIGURES];
};
_Static_assert(sizeof(struct record_figures) == FIGURES * sizeof(int32_t),
    "every figure is in the list");

#define EYE 13 /* figures of one eye */
enum { LENS, SPHERE, CYLINDER, AXIS, ADD, PRISM_IN = 6, PD_FAR = 10 };

/* R -2.25 -0.75 x 172 add 2.00, 0.50 base in, PD 31.5 near 30.0, height 22.0
 * L -1.75 add 2.25, 1.00 base up, PD 32.0; vertex 12.00, both 63.5 */
static union figures sample(void)
{
    union figures f = {
        .of = {.eye = {record_eye_figures_none(), record_eye_figures_none()},
            .vertex_mm100 = 1200,
            .pd_far_mm100 = 6350,
            .pd_near_mm100 = NUM_ABSENT}};
    struct record_eye_figures *r = &f.of.eye[RECORD_RIGHT];
    struct record_eye_figures *l = &f.of.eye[RECORD_LEFT];

    r->lens = l->lens = RECORD_LENS_POWER;
    r->sph_cd = -225;
    r->cyl_cd = -75;
    r->axis_deg = 172;
    r->add_cd = 200;
    r->prism_in_cd = 50;
    r->pd_far_mm100 = 3150;
    r->pd_near_mm100 = 3000;
    r->fitting_height_mm100 = 2200;
    l->sph_cd = -175;
    l->cyl_cd = 0;
    l->add_cd = 225;
    l->prism_up_cd = 100;
    l->pd_far_mm100 = 3200;
    return f;
}

static union figures blank(void)
{
    return (union figures){
        .of = {.eye = {record_eye_figures_none(), record_eye_figures_none()},
            .vertex_mm100 = NUM_ABSENT,
            .pd_far_mm100 = NUM_ABSENT,
            .pd_near_mm100 = NUM_ABSENT}};
}

/* The word's place among all words.  No ck_assert in here or in a long loop:
 * each writes to a file, also when it holds. */
static int word_of(const union figures *f)
{
    char word[RECORD_CHECK_WORD_SIZE];
    int value = 0;

    record_check_word(&f->of, word);
    for (const char *p = word; *p; p++)
        value = value * 19 + (int)(strchr(RECORD_SYMBOLS, *p) - RECORD_SYMBOLS);
    return value;
}

static uint32_t seed = 20260302;

static uint32_t next_random(void)
{
    seed = seed * 1664525U + 1013904223U;
    return seed >> 8;
}

/* Something an order might hold. */
static void fill_at_random(union figures *f)
{
    for (int i = 0; i < FIGURES; i++) {
        int at = i < 2 * EYE ? i % EYE : PD_FAR;

        if (at == LENS)
            f->list[i] = (int32_t)(next_random() % 5);
        else if (at == AXIS)
            f->list[i] = (int32_t)(next_random() % 180) + 1;
        else if (at >= PD_FAR)
            f->list[i] = (int32_t)(next_random() % 181) * 50;
        else
            f->list[i] = ((int32_t)(next_random() % 161) - 80) * 25;
        if (at != LENS && next_random() % 8 == 0)
            f->list[i] = NUM_ABSENT;
    }
}

START_TEST(words_are_those_of_the_description)
{
    static const char *const want[] = {"947T", "XJ53"};
    union figures f[] = {sample(), blank()};

    for (int i = 0; i < 2; i++) {
        char word[RECORD_CHECK_WORD_SIZE];

        record_check_word(&f[i].of, word);
        ck_assert_str_eq(word, want[i]);
    }
}
END_TEST

/* All values of one figure have words of their own, whatever the others are:
 * so every wrong digit, exchanged digits, sign, decimal place or omission of
 * one figure changes the word. */
START_TEST(any_change_of_one_figure_changes_the_word)
{
    for (int round = 0; round < 3; round++) {
        union figures f = round == 0 ? sample() : blank();
        unsigned char *seen = calloc(WORDS, 1);

        ck_assert_ptr_nonnull(seen);
        if (round == 2)
            fill_at_random(&f);
        f.list[_i] = NUM_ABSENT;
        seen[word_of(&f)] = 1;
        for (int v = -RECORD_FIGURE_MAX; v <= RECORD_FIGURE_MAX; v++) {
            int word;

            f.list[_i] = v;
            word = word_of(&f);
            if (seen[word])
                ck_abort_msg("figure %d: %d has another's word", _i, v);
            seen[word] = 1;
        }
        free(seen);
    }
}
END_TEST

START_TEST(any_two_figures_exchanged_change_the_word)
{
    union figures f = sample();

    for (int other = 0; other < _i; other++) {
        for (int v = -6000; v <= 9000; v++) {
            union figures g = f;

            f.list[_i] = v;
            f.list[other] = v == -6000 ? NUM_ABSENT : -6000;
            g.list[_i] = f.list[other];
            g.list[other] = f.list[_i];
            if (word_of(&f) == word_of(&g))
                ck_abort_msg("figures %d and %d, %d", _i, other, v);
        }
        f = sample();
    }
}
END_TEST

static void exchange(union figures *f, int from, int n)
{
    for (int i = from; i < from + n; i++) {
        int32_t right = f->list[i];

        f->list[i] = f->list[EYE + i];
        f->list[EYE + i] = right;
    }
}

START_TEST(eyes_exchanged_change_the_word)
{
    int differ = 0;

    for (int round = 0; round < 200000; round++) {
        union figures f = blank(), g;
        int powers;

        fill_at_random(&f);
        if (round % 2) /* eyes alike but for one figure */
            for (int i = 0; i < EYE; i++)
                if (i != round / 2 % EYE)
                    f.list[EYE + i] = f.list[i];
        g = f;
        exchange(&g, 0, EYE);
        if (memcmp(&f, &g, sizeof(f)) == 0)
            continue;
        differ++;
        if (word_of(&f) == word_of(&g))
            ck_abort_msg("round %d", round);
        /* The powers alone, the lengths left where they were. */
        g = f;
        exchange(&g, LENS, PD_FAR);
        powers = memcmp(&f, &g, sizeof(f));
        if (powers != 0 && word_of(&f) == word_of(&g))
            ck_abort_msg("powers of round %d", round);
    }
    ck_assert_int_gt(differ, 150000);
}
END_TEST

/* How a figure goes wrong most often. */
static int usual_slips(int figure, int32_t ret[64])
{
    int at = figure < 2 * EYE ? figure % EYE : PD_FAR;
    int step = at == LENS || at == AXIS ? 1 : at >= PD_FAR ? 50 : 25;
    int most = at == LENS ? 4 : at == AXIS ? 20 : at >= PD_FAR ? 8 : 12;
    int n = 0;

    for (int k = -most; k <= most; k++)
        if (k != 0)
            ret[n++] = k * step;
    if (at == AXIS) {
        ret[n++] = 90;
        ret[n++] = -90;
    }
    return n;
}

/* The eyes differ at their first figure, so that t stays what it is unless
 * that figure changes; h alone must tell. */
START_TEST(two_usual_slips_never_cancel)
{
    int32_t slips[64], others[64];
    int n = usual_slips(_i, slips);

    for (int other = 0; other < _i; other++) {
        int m = usual_slips(other, others);

        for (int a = 0; a < n; a++)
            for (int b = 0; b < m; b++) {
                union figures f = sample(), g;

                for (int i = 0; i < FIGURES; i++)
                    f.list[i] = 1000;
                f.list[EYE + LENS] = 2000;
                g = f;
                g.list[_i] += slips[a];
                g.list[other] += others[b];
                if (word_of(&f) == word_of(&g))
                    ck_abort_msg("figure %d by %d and %d by %d", _i, slips[a],
                        other, others[b]);
            }
    }
}
END_TEST

START_TEST(symbols_have_no_look_alikes)
{
    static const char *const alike[] = {
        "0OQDC", "1IL7J", "2Z", "5S", "6G", "8B", "UV", "VY", NULL};

    ck_assert_uint_eq(strlen(RECORD_SYMBOLS), 19);
    ck_assert_ptr_null(strpbrk(RECORD_SYMBOLS, "AEIOU01"));
    for (int i = 0; alike[i] && i < 2; i++)
        ck_assert_ptr_null(
            strpbrk(RECORD_SYMBOLS, (const char *[]){"0OQD", "1IL"}[i]));
    for (int i = 2; alike[i]; i++) {
        int n = 0;

        for (const char *p = alike[i]; *p; p++)
            n += strchr(RECORD_SYMBOLS, *p) != NULL;
        ck_assert_msg(n <= 1, "%s", alike[i]);
    }
}
END_TEST

/* 2026-03-02T09:14:05.123Z is 1772442845123 ms after 1970, 0x19cadd37fc3;
 * day 2252 after 2020-01-01 = 6 * 361 + 4 * 19 + 10: C 7 K.  The last 32 bits,
 * 0x12345 = 74565 = 10 * 6859 + 16 * 361 + 10 * 19 + 9: K W K J.  The sum of
 * position times value: 6 + 8 + 30 + 40 + 80 + 60 + 63 = 287, and 8 * 14 more
 * is 399 = 21 * 19: R. */
START_TEST(a_number_is_made_from_the_id)
{
    static const uint8_t id[16] = {0x01, 0x9c, 0xad, 0xd3, 0x7f, 0xc3, 0x70, 0,
        0x80, 0, 0, 0, 0, 1, 0x23, 0x45};
    char number[RECORD_ORDER_NUMBER_SIZE], again[RECORD_ORDER_NUMBER_SIZE];

    record_order_number(id, number);
    ck_assert_str_eq(number, "C7KK-WKJR");
    ck_assert(record_order_number_read(number, again));
    ck_assert_str_eq(number, again);
}
END_TEST

START_TEST(a_wrong_symbol_of_a_number_is_refused)
{
    uint8_t id[16] = {0x01, 0x9c, 0xad, 0xd3, 0x7f, 0xc3, 0x70, 0, 0x80};
    char number[RECORD_ORDER_NUMBER_SIZE], got[RECORD_ORDER_NUMBER_SIZE];

    for (int round = 0; round < 2000; round++) {
        for (int i = 12; i < 16; i++)
            id[i] = (uint8_t)next_random();
        id[4] = (uint8_t)next_random();
        record_order_number(id, number);
        for (size_t i = 0; i < strlen(number); i++) {
            char typed[RECORD_ORDER_NUMBER_SIZE];

            if (number[i] == '-')
                continue;
            for (const char *p = RECORD_SYMBOLS; *p; p++) {
                memcpy(typed, number, sizeof(typed));
                typed[i] = *p;
                ck_assert_int_eq(
                    record_order_number_read(typed, got), *p == number[i]);
            }
        }
        for (size_t i = 0; i + 1 < strlen(number); i++) {
            char typed[RECORD_ORDER_NUMBER_SIZE];
            size_t j = number[i + 1] == '-' ? i + 2 : i + 1;

            if (number[i] == '-' || number[i] == number[j])
                continue;
            memcpy(typed, number, sizeof(typed));
            typed[i] = number[j];
            typed[j] = number[i];
            ck_assert(!record_order_number_read(typed, got));
        }
    }
}
END_TEST

START_TEST(a_number_is_read_as_people_type_it)
{
    static const uint8_t id[16] = {0x01, 0x9c, 0xad, 0xd3, 0x7f, 0xc3, 0x70, 0,
        0x80, 0, 0, 0, 0, 1, 0x23, 0x45};
    char number[RECORD_ORDER_NUMBER_SIZE], got[RECORD_ORDER_NUMBER_SIZE];
    char typed[32];
    size_t n = 0;

    record_order_number(id, number);
    for (const char *p = number; *p; p++) {
        typed[n++] = ' ';
        if (*p >= 'A')
            typed[n++] = (char)(*p - 'A' + 'a');
        else if (*p != '-')
            typed[n++] = *p;
    }
    typed[n] = '\0';
    ck_assert(record_order_number_read(typed, got));
    ck_assert_str_eq(got, number);
    ck_assert(!record_order_number_read("", got));
    ck_assert(!record_order_number_read("2222-222", got));
    ck_assert(!record_order_number_read("2222-22222", got));
    ck_assert(!record_order_number_read("0000-0000", got));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("check word and order number");
    TCase *tc = tcase_create("all");
    SRunner *sr = srunner_create(s);
    int failed;

    tcase_set_timeout(tc, 120);
    tcase_add_test(tc, words_are_those_of_the_description);
    tcase_add_loop_test(
        tc, any_change_of_one_figure_changes_the_word, 0, FIGURES);
    tcase_add_loop_test(
        tc, any_two_figures_exchanged_change_the_word, 0, FIGURES);
    tcase_add_test(tc, eyes_exchanged_change_the_word);
    tcase_add_loop_test(tc, two_usual_slips_never_cancel, 0, FIGURES);
    tcase_add_test(tc, symbols_have_no_look_alikes);
    tcase_add_test(tc, a_number_is_made_from_the_id);
    tcase_add_test(tc, a_wrong_symbol_of_a_number_is_refused);
    tcase_add_test(tc, a_number_is_read_as_people_type_it);
    suite_add_tcase(s, tc);
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
