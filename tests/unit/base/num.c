#include <math.h>
#include <string.h>

#include "suites.h"

#include "base/num.h"

static const struct {
    const char *why;
    double x;
    int places;
    bool good;
    int64_t whole;
} SCALED[] = {
    {"a power is read as it was written", -2.25, 2, true, -225},
    {"0.29 is not stored as a double exactly", 0.29, 2, true, 29},
    {"-7.68 neither", -7.68, 2, true, -768},
    {"judged by value: -2.250", -2.250, 2, true, -225},
    {"three decimals are too many", -2.255, 2, false, 0},
    {"P-35: what numeric(5,2) would round in silence", -2.504999, 2, false, 0},
    {"next to nothing is not nothing", 1e-300, 2, false, 0},
    {"nor is a last place beyond sight", -2.2500000001, 2, false, 0},
    {"minus zero is zero", -0.0, 2, true, 0},
    {"a whole number", 90, 0, true, 90},
    {"a fraction of a degree is no whole degree", 90.5, 0, false, 0},
    {"the limit itself", 40, 2, true, 4000},
    {"beyond the limit", 40.01, 2, false, 0},
    {"beyond the limit below", -40.01, 2, false, 0},
    {"not a number", NAN, 2, false, 0},
    {"infinite", INFINITY, 2, false, 0},
};

START_TEST(a_decimal_becomes_whole_units_or_is_refused)
{
    int64_t got = 4711;
    double limit = SCALED[_i].places ? 40 : 180;
    bool good = num_scaled(SCALED[_i].x, SCALED[_i].places, limit, &got);

    ck_assert_msg(good == SCALED[_i].good, "%s", SCALED[_i].why);
    ck_assert_msg(got == (good ? SCALED[_i].whole : 4711), "%s: got %lld",
        SCALED[_i].why, (long long)got);
}
END_TEST

START_TEST(every_hundredth_of_a_power_survives_a_double)
{
    for (int64_t cd = -4000; cd <= 4000; cd++) {
        char text[NUM_TEXT_MAX];
        int64_t got;

        ck_assert(num_scaled((double)cd / 100, 2, 40, &got));
        ck_assert_int_eq(got, cd);
        ck_assert(num_scaled(num_read(num_text(cd, 2, text)), 2, 40, &got));
        ck_assert_int_eq(got, cd);
    }
}
END_TEST

static const struct {
    const char *why;
    double x;
    int places;
    int64_t want;
} ROUND[] = {
    {"ties go away from zero", 2.5, 0, 3},
    {"also below it", -2.5, 0, -3},
    {"1.005 is stored as a little less, people round it up", 1.005, 2, 101},
    {"-1.005 likewise", -1.005, 2, -101},
    {"a little under a tie stays under", 1.00499, 2, 100},
    {"what rounds to nothing has no sign", -0.0004, 2, 0},
};

START_TEST(a_number_is_rounded_as_people_do)
{
    ck_assert_msg(num_round(ROUND[_i].x, ROUND[_i].places) == ROUND[_i].want,
        "%s: got %lld", ROUND[_i].why,
        (long long)num_round(ROUND[_i].x, ROUND[_i].places));
}
END_TEST

static const struct {
    int64_t value;
    int places;
    const char *want;
} TEXTS[] = {
    {-225, 2, "-2.25"},
    {0, 2, "0.00"},
    {5, 2, "0.05"},
    {-5, 2, "-0.05"},
    {100, 2, "1.00"},
    {-768, 2, "-7.68"},
    {7, 0, "7"},
    {0, 0, "0"},
    {-12, 1, "-1.2"},
    /* INT64_MAX is 2^63 - 1 = 9223372036854775807. */
    {INT64_MAX, 0, "9223372036854775807"},
    {INT64_MIN, 0, "-9223372036854775808"},
    {INT64_MAX, 2, "92233720368547758.07"},
    {INT64_MIN, 8, "-92233720368.54775808"},
    {1, 8, "0.00000001"},
};

START_TEST(units_are_written_with_all_their_places)
{
    char buf[NUM_TEXT_MAX];

    ck_assert_str_eq(
        num_text(TEXTS[_i].value, TEXTS[_i].places, buf), TEXTS[_i].want);
}
END_TEST

static const struct {
    double x;
    int places;
    const char *want;
} TRIMS[] = {
    {0.5, 4, "0.5"},
    {-12.34561, 4, "-12.3456"},
    {7, 4, "7"},
    {100, 2, "100"},
    {0.1 + 0.2, 4, "0.3"},
    {-0.00004, 4, "0"}, /* never -0 */
    {-0.0, 4, "0"},
    {180, 0, "180"},
};

START_TEST(a_computed_number_loses_idle_zeros_and_its_sign_with_its_value)
{
    char buf[NUM_TEXT_MAX];

    ck_assert_str_eq(
        num_trim(TRIMS[_i].x, TRIMS[_i].places, buf), TRIMS[_i].want);
}
END_TEST

static const double SHORT[] = {0.1, -2.8284271247461903, 1.0 / 3, 5e-324,
    1.7976931348623157e308, 123456789.25, -1e-7};

START_TEST(the_shortest_text_reads_back_as_the_same_double)
{
    char buf[NUM_TEXT_MAX];
    double back = num_read(num_shortest(SHORT[_i], buf));

    ck_assert(memcmp(&back, &SHORT[_i], sizeof(back)) == 0);
    ck_assert_uint_lt(strlen(buf), NUM_TEXT_MAX);
}
END_TEST

START_TEST(a_short_number_has_a_short_text)
{
    char buf[NUM_TEXT_MAX];

    ck_assert_str_eq(num_shortest(0.1, buf), "0.1");
    ck_assert_str_eq(num_shortest(-0.0, buf), "0");
    ck_assert_str_eq(num_shortest(-2.25, buf), "-2.25");
}
END_TEST

static const struct {
    const char *why, *text;
    int places;
    int64_t limit;
    bool good;
    int64_t want;
    bool is_signed;
} PARSE[] = {
    {"a power with its sign", "-2.25", 2, 4000, true, -225, true},
    {"plus is a sign", "+2.25", 2, 4000, true, 225, true},
    {"without a sign", "2.25", 2, 4000, true, 225, false},
    {"one decimal", "2.5", 2, 4000, true, 250, false},
    {"a whole number", "3", 2, 4000, true, 300, false},
    {"minus zero", "-0.00", 2, 4000, true, 0, true},
    {"leading zeros", "007", 0, 4000, true, 7, false},
    {"too many decimals", "2.255", 2, 4000, false, 0, false},
    {"decimals where none may be", "2.0", 0, 4000, false, 0, false},
    {"nothing", "", 2, 4000, false, 0, false},
    {"a sign alone", "-", 2, 4000, false, 0, true},
    {"two signs", "--2", 2, 4000, false, 0, true},
    {"no digit before the point", ".5", 2, 4000, false, 0, false},
    {"no digit behind the point", "5.", 2, 4000, false, 0, false},
    {"two points", "1.2.3", 2, 4000, false, 0, false},
    {"a decimal comma", "2,25", 2, 4000, false, 0, false},
    {"an exponent", "1e3", 2, 4000, false, 0, false},
    {"a blank before", " 2", 2, 4000, false, 0, false},
    {"a blank behind", "2 ", 2, 4000, false, 0, false},
    {"hexadecimal", "0x10", 0, 4000, false, 0, false},
    {"a number that is none", "NaN", 2, 4000, false, 0, false},
    {"other digits (Arabic-Indic 2)", "\xd9\xa2", 0, 4000, false, 0, false},
    {"the limit", "40.00", 2, 4000, true, 4000, false},
    {"beyond the limit", "40.01", 2, 4000, false, 0, false},
    {"beyond it once scaled", "41", 2, 4000, false, 0, false},
    {"the largest", "9223372036854775807", 0, INT64_MAX, true, INT64_MAX,
        false},
    {"the smallest but one", "-9223372036854775807", 0, INT64_MAX, true,
        -INT64_MAX, true},
    {"one more", "9223372036854775808", 0, INT64_MAX, false, 0, false},
    {"ten times as much", "92233720368547758070", 0, INT64_MAX, false, 0,
        false},
    {"too large once scaled", "92233720368547758.08", 2, INT64_MAX, false, 0,
        false},
    {"the largest once scaled", "92233720368547758.07", 2, INT64_MAX, true,
        INT64_MAX, false},
    {"whole, too large once scaled", "92233720368547759", 2, INT64_MAX, false,
        0, false},
};

START_TEST(a_decimal_in_text_is_read_whole_or_refused)
{
    int64_t got = 4711;
    bool good = num_parse(PARSE[_i].text, strlen(PARSE[_i].text),
        PARSE[_i].places, PARSE[_i].limit, &got);

    ck_assert_msg(good == PARSE[_i].good, "%s", PARSE[_i].why);
    ck_assert_msg(num_has_sign(PARSE[_i].text, strlen(PARSE[_i].text)) ==
                      PARSE[_i].is_signed,
        "%s", PARSE[_i].why);
    ck_assert_msg(got == (good ? PARSE[_i].want : 4711), "%s: got %lld",
        PARSE[_i].why, (long long)got);
}
END_TEST

START_TEST(a_length_and_no_nul_ends_the_text)
{
    int64_t got;

    ck_assert(num_parse("12345", 3, 0, 1000, &got));
    ck_assert_int_eq(got, 123);
    ck_assert(!num_parse("1\0"
                         "2",
        3, 0, 1000, &got));
}
END_TEST

Suite *suite_num(void)
{
    TCase *tc;
    Suite *s = suite_new("num", &tc);

    tcase_add_loop_test(
        tc, a_decimal_becomes_whole_units_or_is_refused, 0, ROWS(SCALED));
    tcase_add_test(tc, every_hundredth_of_a_power_survives_a_double);
    tcase_add_loop_test(tc, a_number_is_rounded_as_people_do, 0, ROWS(ROUND));
    tcase_add_loop_test(
        tc, units_are_written_with_all_their_places, 0, ROWS(TEXTS));
    tcase_add_loop_test(tc,
        a_computed_number_loses_idle_zeros_and_its_sign_with_its_value, 0,
        ROWS(TRIMS));
    tcase_add_loop_test(
        tc, the_shortest_text_reads_back_as_the_same_double, 0, ROWS(SHORT));
    tcase_add_test(tc, a_short_number_has_a_short_text);
    tcase_add_loop_test(
        tc, a_decimal_in_text_is_read_whole_or_refused, 0, ROWS(PARSE));
    tcase_add_test(tc, a_length_and_no_nul_ends_the_text);
    return s;
}
