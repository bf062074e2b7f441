#include <string.h>

#include "suites.h"

#include "base/instant.h"

#define S INT64_C(1000000)

/* Seconds by GNU date (date -u -d TEXT +%s). */
static const struct {
    const char *why, *text;
    int64_t us;
    int offset_min;
    const char *back; /* NULL: as it came */
} GOOD[] = {
    {"RFC 3339, 5.8, first example", "1985-04-12T23:20:50.52Z",
        482196050 * S + 520000, 0, "1985-04-12T23:20:50.520000Z"},
    {"RFC 3339, 5.8, second: the same as 1996-12-20T00:39:57Z",
        "1996-12-19T16:39:57-08:00", 851042397 * S, -480, NULL},
    {"RFC 3339, 5.8, last: noon in the Netherlands of 1937",
        "1937-01-01T12:00:27.87+00:20", -1041337172 * S - 130000, 20,
        "1937-01-01T12:00:27.870000+00:20"},
    {"the example of our own interface", "2026-03-02T09:14:05+01:00",
        1772439245 * S, 60, NULL},
    {"small letters (RFC 3339, 5.6)", "2026-03-02t09:14:05z", 1772442845 * S, 0,
        "2026-03-02T09:14:05Z"},
    {"leap day of a leap year", "2024-02-29T00:00:00Z", 1709164800 * S, 0,
        NULL},
    {"2000 is a leap year", "2000-02-29T12:00:00Z", 951825600 * S, 0, NULL},
    {"the last second of a year, east of it a new one",
        "2025-12-31T23:59:59-00:30", 1767227399 * S, -30, NULL},
    {"the largest offset on earth", "2026-01-01T00:00:00+14:00", 1767175200 * S,
        840, NULL},
    {"more digits than we keep", "2026-01-01T00:00:00.1234569Z",
        1767225600 * S + 123456, 0, "2026-01-01T00:00:00.123456Z"},
    {"the beginning", "1970-01-01T00:00:00Z", 0, 0, NULL},
    {"a microsecond before it", "1969-12-31T23:59:59.999999Z", -1, 0, NULL},
    {"the first year taken", "1800-01-01T00:00:00Z", -5364662400 * S, 0, NULL},
    {"the last", "2200-12-31T23:59:59Z", 7289654399 * S, 0, NULL},
};

START_TEST(a_time_is_read_and_written_back)
{
    char buf[INSTANT_TEXT_MAX];
    const char *back = GOOD[_i].back ? GOOD[_i].back : GOOD[_i].text;
    int64_t us;
    int offset;

    ck_assert_msg(
        instant_parse(GOOD[_i].text, &us, &offset), "%s", GOOD[_i].why);
    ck_assert_msg(
        us == GOOD[_i].us, "%s: got %lld", GOOD[_i].why, (long long)us);
    ck_assert_int_eq(offset, GOOD[_i].offset_min);
    ck_assert_str_eq(instant_text(us, offset, buf), back);
}
END_TEST

static const char *const BAD[] = {
    "", "2026-03-02", "2026-03-02T09:14:05", /* whose clock? */
    "2026-03-02 09:14:05Z",                  /* not the T of our profile */
    "2026-03-02T09:14Z",                     /* seconds are required */
    "2026-03-02T9:14:05Z", "2026-03-02T24:00:00Z", "2026-03-02T09:60:00Z",
    "1990-12-31T23:59:60Z", /* a leap second, RFC 3339, 5.8 */
    "2026-02-29T09:14:05Z", /* 2026 is no leap year */
    "1900-02-29T09:14:05Z", /* nor was 1900 */
    "2026-04-31T09:14:05Z", "2026-13-01T09:14:05Z", "2026-00-01T09:14:05Z",
    "2026-01-00T09:14:05Z", "1799-12-31T23:59:59Z", "2201-01-01T00:00:00Z",
    "0000-01-01T00:00:00Z", "2026-03-02T09:14:05+1:00",
    "2026-03-02T09:14:05+0100", "2026-03-02T09:14:05+15:00",
    "2026-03-02T09:14:05+01:60", "2026-03-02T09:14:05.Z",
    "2026-03-02T09:14:05,5Z", "2026-03-02T09:14:05Z ", " 2026-03-02T09:14:05Z",
    "2026-03-02T09:14:05ZZ", "2026-03-02T09:14:05+", "2026-03-02T09:14:05+01",
    "+2026-03-02T09:14:05Z", "20260302T091405Z", "2026-W10-1T09:14:05Z",
    "2026-03-02T09:14:-5Z",
    "2026-03-02T09:61:00Z", /* the case that broke a batch of readings */
};

START_TEST(what_is_no_time_is_refused)
{
    int64_t us;
    int offset;

    ck_assert_msg(!instant_parse(BAD[_i], &us, &offset), "%s", BAD[_i]);
}
END_TEST

static const struct {
    const char *text;
    bool good;
} DATES[] = {
    {"1984", true},
    {"1984-05", true},
    {"1984-05-30", true},
    {"2024-02-29", true},
    {"2023-02-29", false},
    {"2100-02-29", false}, /* divisible by 100, not by 400 */
    {"2000-02-29", true},
    {"1984-5", false},
    {"1984-13", false},
    {"1984-00", false},
    {"84-05-30", false},
    {"1984-05-30T00:00:00Z", false},
    {"1984-05-", false},
    {"1984/05/30", false},
    {"1799", false},
    {"2201", false},
    {"198x", false},
    {"", false},
};

START_TEST(a_date_may_be_a_year_or_a_month)
{
    ck_assert_msg(instant_date_valid(DATES[_i].text) == DATES[_i].good, "%s",
        DATES[_i].text);
}
END_TEST

START_TEST(every_day_of_four_centuries_follows_the_one_before)
{
    static const int lengths[] = {
        31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    int64_t days = instant_days(1800, 1, 1);

    ck_assert_int_eq(instant_days(1970, 1, 1), 0);
    for (int y = 1800; y <= 2200; y++) {
        for (int m = 1; m <= 12; m++) {
            /* The Gregorian rule, in other words than the code has it. */
            int leap = y % 400 == 0 || (y % 4 == 0 && y % 100 != 0);
            int last = lengths[m - 1] + (m == 2 ? leap : 0);

            for (int d = 1; d <= last; d++, days++) {
                int yy, mm, dd;

                ck_assert_int_eq(instant_days(y, m, d), days);
                instant_civil(days, &yy, &mm, &dd);
                ck_assert(yy == y && mm == m && dd == d);
            }
        }
    }
}
END_TEST

START_TEST(the_clock_is_the_systems)
{
    int64_t now = instant_now_us();

    /* Between the writing of this test and the end of the calendar. */
    ck_assert_int_gt(now, 1767225600 * S);
    ck_assert_int_lt(now, 7289654399 * S);
    ck_assert_int_ge(instant_now_us(), now);
}
END_TEST

Suite *suite_instant(void)
{
    TCase *tc;
    Suite *s = suite_new("instant", &tc);

    tcase_add_loop_test(tc, a_time_is_read_and_written_back, 0, ROWS(GOOD));
    tcase_add_loop_test(tc, what_is_no_time_is_refused, 0, ROWS(BAD));
    tcase_add_loop_test(tc, a_date_may_be_a_year_or_a_month, 0, ROWS(DATES));
    tcase_add_test(tc, every_day_of_four_centuries_follows_the_one_before);
    tcase_add_test(tc, the_clock_is_the_systems);
    return s;
}
