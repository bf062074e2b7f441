/*
 * The words by which a patient is found, what is typed to find one, and the
 * names of users.  Letters are written as bytes of UTF-8.
 */
#include <check.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "record/patient.h"
#include "record/search.h"
#include "record/user.h"

#define ROWS(a) ((int)(sizeof(a) / sizeof((a)[0])))
#define NOW INT64_C(1772442845000000) /* 2026-03-02T09:14:05Z */

static struct arena *arena;

static void begin(void)
{
    arena = arena_new();
}

static void end(void)
{
    arena_free(arena);
}

/* ---- words of the index ----------------------------------------------- */

static const struct {
    const char *family, *given, *number, *want;
} WORDS[] = {
    {"Ode", "Ann", NULL, "ode ann"},
    {"Ode", NULL, NULL, "ode"},
    {NULL, "Ann", NULL, "ann"},
    {"O", "Min", NULL, "o min"},
    {"Ode", "Ode", NULL, "ode"},
    {"O'Brien-Ng", "D'Arcy", NULL,
        "o brien ng obrienng d arcy darcy "
        "~nng ~enng ~ienng ~rienng ~brienng "
        "~rcy ~arcy"},
    {"van der Berg", NULL, NULL,
        "van der berg vanderberg ~erg ~berg "
        "~rberg ~erberg ~derberg ~nderberg "
        "~anderberg"},
    /* composed and decomposed e with acute */
    {"Ren\xc3\xa9", "Rene\xcc\x81", NULL, "rene ~ene"},
    /* o with stroke, sharp s, ae, l with stroke */
    {"S\xc3\xb8rby", "Wei\xc3\x9f", NULL, "sorby weiss ~rby ~orby ~iss ~eiss"},
    {"\xc3\x86gir", "\xc5\x81u", NULL, "aegir lu ~gir ~egir"},
    {"Ode", NULL, "Q-10442", "ode 10442 #q10442"},
    {"Ode", NULL, "10442", "ode 10442 #10442"},
    {"-", "Ann", "?", "ann"},
    /* four letters of two bytes each: its end begins with a letter */
    {"\xc9\x90\xc9\x91\xc9\x92\xc9\x93", NULL, NULL,
        "\xc9\x90\xc9\x91\xc9\x92\xc9\x93 ~\xc9\x91\xc9\x92\xc9\x93"},
};

START_TEST(words_are_folded_apart_and_run_together)
{
    struct record_patient p = {.family = WORDS[_i].family,
        .given = WORDS[_i].given,
        .record_number = WORDS[_i].number};
    char got[400] = "";
    size_t n;
    const char *const *words = record_patient_words(arena, &p, &n);

    for (size_t i = 0; i < n; i++) {
        strncat(got, i ? " " : "", sizeof(got) - strlen(got) - 1);
        strncat(got, words[i], sizeof(got) - strlen(got) - 1);
    }
    ck_assert_str_eq(got, WORDS[_i].want);
}
END_TEST

START_TEST(the_longest_names_keep_all_their_words)
{
    char name[2 * 120 + 1] = "";
    struct record_patient p = {.family = name, .given = "Zoe"};
    const char *const *words;
    size_t n;

    /* Sixty one-letter words of different letters: U+0250 and on. */
    for (int i = 0; i < 60; i++) {
        char letter[4] = {(char)(0xc9 + i / 48), (char)(0x90 + i % 48), ' '};

        strncat(name, letter, sizeof(name) - strlen(name) - 1);
    }
    words = record_patient_words(arena, &p, &n);
    /* the letters, all in one, zoe; and 57 ends of the run together */
    ck_assert_uint_eq(n, 60 + 2 + 57);
    ck_assert_str_eq(words[61], "zoe");
}
END_TEST

/* ---- what is typed ---------------------------------------------------- */

/* Ranges as lowest:bits, in order; "=" behind one that finds itself only. */
static const struct {
    const char *typed, *want, *born;
    int all;
} TYPED[] = {
    {"ode", "ode:1 ~ode:1", NULL, 1},
    {"  Ode ", "ode:1 ~ode:1", NULL, 1},
    {"ode ode", "ode:1 ~ode:1 odeode:1", NULL, 1},
    {"ann ode", "ann:1 ~ann:1 ode:2 ~ode:2 annode:3", NULL, 3},
    {"ode, ann", "ode:1 ~ode:1 ann:2 ~ann:2 odeann:3", NULL, 3},
    {"anne-marie", "anne:1 ~anne:1 marie:2 ~marie:2 annemarie:3", NULL, 3},
    {"o", "o:1=", NULL, 1},
    {"ode j", "ode:1 ~ode:1 j:2 odej:3", NULL, 3},
    /* one ideograph (U+738B) is a whole name's start */
    {"\xe7\x8e\x8b", "\xe7\x8e\x8b:1", NULL, 1},
    {"10442", "10442:1 #10442:1", NULL, 1},
    {"Q-10442", "q:1 10442:2 q10442:3 #q10442:3", NULL, 3},
    {"1984-05-30", "", "1984-05-30", 0},
    {"ode 1984-05", "ode:1 ~ode:1", "1984-05", 1},
    {"ode 1984", "ode:1 ~ode:1 1984:2 @1984:2 #1984:2 ode1984:3 #ode1984:3",
        NULL, 3},
    {"1984-13", "1984:1 @1984:1 13:2 198413:3 #198413:3", NULL, 3},
    {"1966", "1966:1 @1966:1 #1966:1", NULL, 1},
    {"ng", "ng:1", NULL, 1},
    {"", "", NULL, 0},
    {" % _ ", "", NULL, 0},
};

START_TEST(typed_words_become_ranges)
{
    struct record_search s;
    char got[400] = "";

    record_search_read(arena, TYPED[_i].typed, &s);
    for (size_t i = 0; i < s.n; i++) {
        size_t len = strlen(s.lowest[i]);
        bool exact = strcmp(s.above[i] + len, "\x01") == 0;

        ck_assert_int_eq(strncmp(s.above[i], s.lowest[i], len), 0);
        ck_assert(exact || strcmp(s.above[i] + len, "\xf4\x8f\xbf\xbf") == 0);
        snprintf(got + strlen(got), sizeof(got) - strlen(got), "%s%s:%d%s",
            i ? " " : "", s.lowest[i], s.bits[i], exact ? "=" : "");
    }
    ck_assert_str_eq(got, TYPED[_i].want);
    ck_assert_int_eq(s.all, TYPED[_i].all);
    ck_assert_str_eq(
        s.born ? s.born : "none", TYPED[_i].born ? TYPED[_i].born : "none");
}
END_TEST

START_TEST(a_word_without_runs_is_plain)
{
    static const char *const plain[] = {"ng", "ode", " Ode ", "o"};
    static const char *const not_plain[] = {
        "", "ode ann", "anne-marie", "1966", "10442", "ng o"};
    struct record_search s;

    for (size_t i = 0; i < sizeof(plain) / sizeof(*plain); i++) {
        record_search_read(arena, plain[i], &s);
        ck_assert_msg(s.plain, "%s", plain[i]);
    }
    for (size_t i = 0; i < sizeof(not_plain) / sizeof(*not_plain); i++) {
        record_search_read(arena, not_plain[i], &s);
        ck_assert_msg(!s.plain, "%s", not_plain[i]);
    }
}
END_TEST

START_TEST(the_year_of_birth_is_a_word)
{
    struct record_patient p = {.given = "Ann", .born = "1966-02"};
    size_t n;
    const char *const *words = record_patient_words(arena, &p, &n);

    ck_assert_uint_eq(n, 2);
    ck_assert_str_eq(words[1], "@1966");
}
END_TEST

START_TEST(of_many_words_the_longest_count)
{
    char typed[2000] = "";
    struct record_search s;

    for (int i = 0; i < 40; i++)
        snprintf(typed + strlen(typed), sizeof(typed) - strlen(typed),
            "%.*s%c ", 1 + i, "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa",
            'b' + i % 20);
    record_search_read(arena, typed, &s);
    ck_assert_uint_le(s.n, RECORD_SEARCH_RANGES);
    ck_assert_int_eq(s.all, (1 << RECORD_SEARCH_WORDS) - 1);
    for (int i = 0; i < RECORD_SEARCH_WORDS; i++)
        ck_assert_uint_ge(strlen(s.lowest[i]), 41 - RECORD_SEARCH_WORDS);
}
END_TEST

/* ---- reading and writing one ------------------------------------------ */

static const struct {
    const char *why, *json, *pointers;
} PATIENTS[] = {
    {"one name is enough", "{\"given\":\"Ann\"}", ""},
    {"everything",
        "{\"record_number\":\"Q\",\"family\":\"O\",\"given\":\"A\","
        "\"born\":\"1984\",\"sex\":\"unknown\",\"telephone\":\"1\"}",
        ""},
    {"null is absent", "{\"family\":null,\"given\":\"A\",\"sex\":null}", ""},
    {"no name", "{}", "/family"},
    {"blank", "{\"family\":\"  \"}", "/family"},
    {"two lines", "{\"family\":\"a\\nb\"}", "/family"},
    {"empty", "{\"family\":\"\"}", "/family"},
    {"born today, where the day came first",
        "{\"family\":\"O\",\"born\":\"2026-03-02\"}", ""},
    {"born tomorrow, where it is tomorrow already at +14:00",
        "{\"family\":\"O\",\"born\":\"2026-03-03\"}", "/born"},
    {"born this month", "{\"family\":\"O\",\"born\":\"2026-03\"}", ""},
    {"born next month", "{\"family\":\"O\",\"born\":\"2026-04\"}", "/born"},
    {"several", "{\"family\":1,\"sex\":\"x\",\"shoe\":42}",
        "/shoe /family /sex"},
};

START_TEST(a_patient_is_read_with_every_fault)
{
    struct err err = ERR_INIT(arena);
    json_auto_t *json = json_loads(PATIENTS[_i].json, 0, NULL);
    struct record_patient p;
    char got[200] = "";
    bool good = record_patient_read(json_in_root(json, &err), NOW, &p);

    for (const struct err_fault *f = err.faults; f; f = f->next)
        snprintf(got + strlen(got), sizeof(got) - strlen(got), "%s%s",
            f == err.faults ? "" : " ", f->pointer);
    ck_assert_msg(strcmp(got, PATIENTS[_i].pointers) == 0,
        "%s: faults at \"%s\"", PATIENTS[_i].why, got);
    ck_assert_int_eq(good, !*PATIENTS[_i].pointers);
}
END_TEST

START_TEST(the_zone_farthest_ahead_decides_what_is_tomorrow)
{
    struct err err = ERR_INIT(arena);
    json_auto_t *json =
        json_loads("{\"family\":\"O\",\"born\":\"2026-03-03\"}", 0, NULL);
    struct record_patient p;

    /* 10:00Z on the 2nd is the first instant of the 3rd at +14:00. */
    ck_assert(record_patient_read(json_in_root(json, &err),
        NOW - NOW % INT64_C(86400000000) + INT64_C(36000000000), &p));
}
END_TEST

START_TEST(what_is_absent_is_not_written)
{
    struct record_patient p = {
        .id = "i", .given = "Re\"ne\xcc\x81", .created_us = NOW};
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    record_patient_write(&o, &p);
    json_out_object_end(&o);
    ck_assert_str_eq(t.data, "{\"id\":\"i\",\"given\":\"Re\\\"ne\xcc\x81\","
                             "\"created_at\":\"2026-03-02T09:14:05Z\"}");
}
END_TEST

/* ---- users ------------------------------------------------------------ */

START_TEST(names_of_users_and_networks_have_a_form)
{
    static const char long_name[] =
        "a23456789012345678901234567890123456789012345678901234567890123";

    ck_assert(record_user_name_valid("ilse.m_rao-2"));
    ck_assert(record_user_name_valid("7"));
    ck_assert(record_user_name_valid(long_name));
    ck_assert(!record_user_name_valid(""));
    ck_assert(!record_user_name_valid("Ilse"));
    ck_assert(!record_user_name_valid(".ilse"));
    ck_assert(!record_user_name_valid("il se"));
    ck_assert(!record_user_name_valid("ils\xc3\xa9"));
    ck_assert(record_network_name_valid("three-lanterns"));
    ck_assert(!record_network_name_valid("three.lanterns"));
    ck_assert(!record_network_name_valid("-lanterns"));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("record people");
    TCase *tc = tcase_create("people");
    SRunner *sr = srunner_create(s);
    int failed;

    suite_add_tcase(s, tc);
    tcase_add_checked_fixture(tc, begin, end);
    tcase_add_loop_test(
        tc, words_are_folded_apart_and_run_together, 0, ROWS(WORDS));
    tcase_add_test(tc, the_longest_names_keep_all_their_words);
    tcase_add_loop_test(tc, typed_words_become_ranges, 0, ROWS(TYPED));
    tcase_add_test(tc, of_many_words_the_longest_count);
    tcase_add_test(tc, a_word_without_runs_is_plain);
    tcase_add_test(tc, the_year_of_birth_is_a_word);
    tcase_add_loop_test(
        tc, a_patient_is_read_with_every_fault, 0, ROWS(PATIENTS));
    tcase_add_test(tc, the_zone_farthest_ahead_decides_what_is_tomorrow);
    tcase_add_test(tc, what_is_absent_is_not_written);
    tcase_add_test(tc, names_of_users_and_networks_have_a_form);
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
