#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "record/history.h"
#include "record/match.h"

#define ROWS(a) ((int)ARRAY_LEN(a))

static struct arena *arena;

static void begin(void)
{
    arena = arena_new();
}

static void end(void)
{
    arena_free(arena);
}

/* Examples of the US National Archives' page on the Soundex indexing system
 * and of Knuth's volume 3, chapter 6 (both from memory). */
static const struct {
    const char *name, *sound;
} SOUNDS[] = {
    {"robert", "r163"},
    {"rupert", "r163"},
    {"washington", "w252"},
    {"gutierrez", "g362"},
    {"pfister", "p236"},
    {"jackson", "j250"},
    {"tymczak", "t522"},
    {"ashcraft", "a261"},
    {"lee", "l000"},
    {"vandeusen", "v532"},
    {"euler", "e460"},
    {"lloyd", "l300"},
    {"", ""},
    {"\xe6\x9d\x8e", ""},
};

START_TEST(names_sound_as_published)
{
    char got[5];

    record_match_sound(SOUNDS[_i].name, got);
    ck_assert_str_eq(got, SOUNDS[_i].sound);
}
END_TEST

static const struct {
    const char *a, *b;
    size_t distance;
} TEXTS[] = {
    {"", "", 0},
    {"abc", "abc", 0},
    {"abc", "abd", 1},
    {"abc", "ab", 1},
    {"abc", "xabc", 1},
    {"abc", "acb", 1},
    {"kitten", "sitting", 3},
    /* Two neighbours and one put between them are two edits here. */
    {"ca", "abc", 3},
    {"", "abcd", 4},
    {"abcdef", "", 5},
    /* One letter, whatever its bytes. */
    {"\xc3\xb8re", "ore", 1},
};

START_TEST(texts_are_apart_by_edits)
{
    const char *a = TEXTS[_i].a, *b = TEXTS[_i].b;

    ck_assert_uint_eq(record_match_distance(a, b, 4), TEXTS[_i].distance);
    ck_assert_uint_eq(record_match_distance(b, a, 4), TEXTS[_i].distance);
}
END_TEST

static const struct record_crowd CROWD = {
    .people = 10000, .near_numbers = 2, .visits = 20, .on_record = 0.95};

static struct record_match compare(
    struct record_known said, struct record_known patient)
{
    struct record_match got;

    record_match_compare(arena, &said, &patient, &CROWD, &got);
    return got;
}

static const struct {
    const char *a, *b, *text;
    int sign;
} BIRTHS[] = {
    {"1984-05-03", "1984-05-03", "the birth dates are the same", 1},
    {"1984-05-03", "1984-05", "the birth dates agree as far as they are known",
        1},
    {"1984", "1984-05-03", "the birth dates agree as far as they are known", 1},
    {"1984-05-03", "1984-03-05",
        "day and month of the birth dates stand exchanged", 1},
    {"1984-05-03", "1984-05-08", "the birth dates are one slip apart", 1},
    {"1984-05-03", "1948-05-03", "the birth dates are one slip apart", 1},
    {"1984-05-03", "1991-11-20", "the birth dates differ", -1},
    {"1984", "1985-05-03", "the birth dates differ", -1},
    {NULL, "1985-05-03", NULL, 0},
};

START_TEST(births_speak_for_or_against)
{
    struct record_match_part part =
        compare((struct record_known){.born = BIRTHS[_i].a},
            (struct record_known){.born = BIRTHS[_i].b})
            .parts[RECORD_MATCH_BORN];

    if (BIRTHS[_i].text)
        ck_assert_str_eq(part.text, BIRTHS[_i].text);
    else
        ck_assert_ptr_null(part.text);
    ck_assert_int_eq(
        (part.log_ratio > 0) - (part.log_ratio < 0), BIRTHS[_i].sign);
}
END_TEST

static const struct {
    const char *family, *given, *text;
    int sign;
} NAMES[] = {
    {"Okonjo", "Ada", "both names are the same", 1},
    {"OKONJO",
        "\xc3\x81"
        "da",
        "both names are the same", 1},
    {"Okonyo", "Ada", "the names are spelt a little differently", 1},
    {"Ada", "Okonjo", "family and given name stand exchanged", 1},
    {"Okonjo Lind", "Ada", "a part of the names is the same", 1},
    {"Okonjo", "Adam", "the names are spelt a little differently", 1},
    {"Okonjo", "Bea", "the family name fits, the given name does not", 1},
    {"Lind", "Ada", "the given name fits, the family name does not", 1},
    {"Lind", "Bea", "the names differ", -1},
    {"Okonjo", NULL, "the family name is the same", 1},
    {"Lind", NULL, "the family names differ", -1},
    {NULL, "Ada", "the given name is the same", 1},
    {NULL, NULL, NULL, 0},
};

START_TEST(names_speak_for_or_against)
{
    struct record_match_part part =
        compare((struct record_known){.family = NAMES[_i].family,
                    .given = NAMES[_i].given},
            (struct record_known){.family = "Okonjo", .given = "Ada"})
            .parts[RECORD_MATCH_NAMES];

    if (NAMES[_i].text)
        ck_assert_str_eq(part.text, NAMES[_i].text);
    else
        ck_assert_ptr_null(part.text);
    ck_assert_int_eq(
        (part.log_ratio > 0) - (part.log_ratio < 0), NAMES[_i].sign);
}
END_TEST

START_TEST(a_number_is_one_persons)
{
    struct record_known said = {.record_number = "Q-10442"};
    struct record_match alike =
        compare(said, (struct record_known){.record_number = "q 10442"});
    struct record_match near =
        compare(said, (struct record_known){.record_number = "Q-10424"});
    struct record_match apart =
        compare(said, (struct record_known){.record_number = "Q-20442-1"});

    /* 0.97 of 10,000; 0.02 of 10,000 over the two that are near. */
    ck_assert_double_eq_tol(
        alike.parts[RECORD_MATCH_NUMBER].log_ratio, log(9700), 1e-9);
    ck_assert_double_eq_tol(
        near.parts[RECORD_MATCH_NUMBER].log_ratio, log(100), 1e-9);
    ck_assert_double_eq_tol(
        apart.parts[RECORD_MATCH_NUMBER].log_ratio, log(0.01), 1e-9);
}
END_TEST

/* By hand: 20 of 10,000 were there, of whom is measured 8 of 10. */
START_TEST(a_visit_speaks_as_rarely_as_others_were_there)
{
    struct record_crowd none = CROWD;
    struct record_match match = {0};

    record_match_visit(true, &CROWD, &match);
    ck_assert_double_eq_tol(
        match.parts[RECORD_MATCH_VISIT].log_ratio, log(400), 1e-9);
    record_match_visit(false, &CROWD, &match);
    ck_assert_double_eq_tol(
        match.parts[RECORD_MATCH_VISIT].log_ratio, log(0.2 / 0.998), 1e-9);
    none.visits = 0;
    match = (struct record_match){0};
    record_match_visit(false, &none, &match);
    ck_assert_ptr_null(match.parts[RECORD_MATCH_VISIT].text);
}
END_TEST

/* Two candidates of 100 people, one 1000 times likelier: its prior is
 * 0.95 / 100, so it weighs 9.5, the other 0.0095, nobody 0.05, and the 98
 * others, whose number differs too, 98 * 0.0095 * 0.01 = 0.00931. */
START_TEST(probabilities_are_shares_of_all_who_could_be)
{
    struct record_match a = {.parts = {{log(1000), "x"}}}, b = {0};
    struct record_match *both[] = {&a, &b};
    struct record_known said = {.record_number = "1"};
    struct record_crowd crowd = {.people = 100, .on_record = 0.95};

    record_match_weigh(both, 2, &said, &crowd);
    ck_assert_double_eq_tol(
        a.probability, 9.5 / (9.5 + 0.0095 + 0.05 + 0.00931), 1e-9);
    ck_assert_double_eq_tol(b.probability, a.probability / 1000, 1e-9);
}
END_TEST

START_TEST(a_refraction_is_never_all_that_counts)
{
    struct optics_fingerprint found = {50, 1, 0.1};
    struct record_match match = {0};

    record_match_refraction(arena, &found, &match);
    ck_assert_double_eq_tol(
        match.parts[RECORD_MATCH_REFRACTION].log_ratio, log(100), 1e-9);
    found.log_ratio = -50;
    record_match_refraction(arena, &found, &match);
    ck_assert_double_eq_tol(
        match.parts[RECORD_MATCH_REFRACTION].log_ratio, -log(1000), 1e-9);
    match = (struct record_match){0};
    found.compared = 0;
    record_match_refraction(arena, &found, &match);
    ck_assert_ptr_null(match.parts[RECORD_MATCH_REFRACTION].text);
}
END_TEST

/* 2024-05-30T00:00:00Z is 1717027200 seconds after 1970. */
#define AT_US INT64_C(1717027200000000)

START_TEST(ages_are_of_the_day_that_is_known)
{
    ck_assert_double_eq_tol(record_age_years("1984-05-30", AT_US), 40, 2e-3);
    ck_assert_double_eq_tol(record_age_years("1984-05", AT_US), 40.04, 0.01);
    ck_assert_double_eq_tol(record_age_years("1984", AT_US), 39.9, 0.05);
    ck_assert_double_eq(record_age_years(NULL, AT_US), OPTICS_AGE_UNKNOWN);
    ck_assert_double_eq(record_age_years("2030", AT_US), OPTICS_AGE_UNKNOWN);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("record match");
    TCase *tc = tcase_create("match");
    SRunner *sr = srunner_create(s);
    int failed;

    suite_add_tcase(s, tc);
    tcase_add_checked_fixture(tc, begin, end);
    tcase_add_loop_test(tc, names_sound_as_published, 0, ROWS(SOUNDS));
    tcase_add_loop_test(tc, texts_are_apart_by_edits, 0, ROWS(TEXTS));
    tcase_add_loop_test(tc, births_speak_for_or_against, 0, ROWS(BIRTHS));
    tcase_add_loop_test(tc, names_speak_for_or_against, 0, ROWS(NAMES));
    tcase_add_test(tc, a_number_is_one_persons);
    tcase_add_test(tc, a_visit_speaks_as_rarely_as_others_were_there);
    tcase_add_test(tc, probabilities_are_shares_of_all_who_could_be);
    tcase_add_test(tc, a_refraction_is_never_all_that_counts);
    tcase_add_test(tc, ages_are_of_the_day_that_is_known);
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
