#include <stdlib.h>

#include "suites.h"

#include "base/instant.h"
#include "base/zone.h"

/* Facts of the IANA time zone database (files europe, northamerica,
 * australasia), as GNU date shows them: TZ=ZONE date -d TEXT +%z. */
static const struct {
    const char *zone, *utc;
    int offset_min;
} AT[] = {
    {"UTC", "2026-07-01T00:00:00Z", 0},
    /* The European Union: last Sundays of March and October at 1:00 UTC. */
    {"Europe/Lisbon", "2026-03-29T00:59:59Z", 0},
    {"Europe/Lisbon", "2026-03-29T01:00:00Z", 60},
    {"Europe/Lisbon", "2026-10-25T00:59:59Z", 60},
    {"Europe/Lisbon", "2026-10-25T01:00:00Z", 0},
    {"Europe/Vienna", "2026-03-02T08:14:05Z", 60},
    {"Europe/Vienna", "2026-07-02T08:14:05Z", 120},
    /* The United States: second Sunday of March, first of November, 2:00. */
    {"America/New_York", "2026-03-08T06:59:59Z", -300},
    {"America/New_York", "2026-03-08T07:00:00Z", -240},
    {"America/New_York", "2026-11-01T05:59:59Z", -240},
    {"America/New_York", "2026-11-01T06:00:00Z", -300},
    /* Half an hour of summer time, and a zone at a quarter. */
    {"Australia/Lord_Howe", "2026-01-01T00:00:00Z", 660},
    {"Australia/Lord_Howe", "2026-07-01T00:00:00Z", 630},
    {"Asia/Kathmandu", "2026-07-01T00:00:00Z", 345},
};

static int64_t us_of(const char *text)
{
    int64_t us;
    int offset;

    ck_assert(instant_parse(text, &us, &offset));
    return us;
}

static struct zone *zone_of(const char *name)
{
    struct zone *zone = zone_new(name);

    ck_assert_msg(zone != NULL, "no zone %s: is tzdata there?", name);
    return zone;
}

START_TEST(a_zone_is_ahead_as_the_database_says)
{
    struct zone *zone = zone_of(AT[_i].zone);
    int got = zone_offset_at(zone, us_of(AT[_i].utc));

    ck_assert_msg(
        got == AT[_i].offset_min, "%s at %s: %d", AT[_i].zone, AT[_i].utc, got);
    zone_free(zone);
}
END_TEST

static const struct {
    const char *why, *zone, *local; /* read as if it were UTC */
    int offset_min;
} LOCAL[] = {
    {"winter", "Europe/Vienna", "2026-03-02T09:14:05Z", 60},
    {"summer", "Europe/Vienna", "2026-07-02T09:14:05Z", 120},
    {"west of Greenwich", "America/New_York", "2026-07-02T09:14:05Z", -240},
    {"the second before the clock is set ahead", "Europe/Lisbon",
        "2026-03-29T00:59:59Z", 0},
    {"the first after the hour that was left out", "Europe/Lisbon",
        "2026-03-29T02:00:00Z", 60},
    /* RFC 5545, 3.3.5: a local time that does not occur is read with the
     * offset before the gap; one that occurs twice is the first. */
    {"within the hour that was left out", "Europe/Lisbon",
        "2026-03-29T01:30:00Z", 0},
    {"the same in New York", "America/New_York", "2026-03-08T02:30:00Z", -300},
    {"an hour that was shown twice", "Europe/Lisbon", "2026-10-25T01:30:00Z",
        60},
    {"the same in New York", "America/New_York", "2026-11-01T01:30:00Z", -240},
    {"the hour after it", "America/New_York", "2026-11-01T02:00:00Z", -300},
    {"shown twice where winter is the changed time (Eire)", "Europe/Dublin",
        "2026-10-25T01:30:00Z", 60},
    {"shown twice by half an hour", "Australia/Lord_Howe",
        "2026-04-05T01:45:00Z", 660},
    {"within a day that was left out", "Pacific/Apia", "2011-12-30T12:00:00Z",
        -600},
    {"the day after it", "Pacific/Apia", "2011-12-31T12:00:00Z", 840},
};

START_TEST(a_local_time_has_the_offset_of_its_zone)
{
    struct zone *zone = zone_of(LOCAL[_i].zone);
    int got = zone_offset_local(zone, us_of(LOCAL[_i].local));

    ck_assert_msg(got == LOCAL[_i].offset_min, "%s: %d", LOCAL[_i].why, got);
    zone_free(zone);
}
END_TEST

static const char *const UNKNOWN[] = {"", "Nowhere/Land", "europe/lisbon ",
    "../../etc/passwd", "/etc/passwd", "Europe"};

START_TEST(an_unknown_zone_is_none)
{
    ck_assert_msg(zone_new(UNKNOWN[_i]) == NULL, "\"%s\"", UNKNOWN[_i]);
}
END_TEST

START_TEST(nothing_may_be_freed)
{
    zone_free(NULL);
}
END_TEST

Suite *suite_zone(void)
{
    TCase *tc;
    Suite *s = suite_new("zone", &tc);

    tcase_add_loop_test(tc, a_zone_is_ahead_as_the_database_says, 0, ROWS(AT));
    tcase_add_loop_test(
        tc, a_local_time_has_the_offset_of_its_zone, 0, ROWS(LOCAL));
    tcase_add_loop_test(tc, an_unknown_zone_is_none, 0, ROWS(UNKNOWN));
    tcase_add_test(tc, nothing_may_be_freed);
    return s;
}
