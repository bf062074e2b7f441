#include <string.h>

#include "suites.h"

#include "forward_rules.h"

/* RFC 9110 section 15; which of them is nobody's fault is ours. */
static const struct {
    int status;
    enum forward_verdict verdict;
} VERDICTS[] = {
    {0, FORWARD_ALL_LATER},
    {200, FORWARD_TAKEN},
    {201, FORWARD_TAKEN},
    {204, FORWARD_TAKEN},
    {301, FORWARD_ALL_LATER},
    {400, FORWARD_REFUSED},
    {401, FORWARD_ALL_LATER},
    {403, FORWARD_ALL_LATER},
    {404, FORWARD_ALL_LATER},
    {408, FORWARD_ALL_LATER},
    {409, FORWARD_REFUSED},
    {413, FORWARD_REFUSED},
    {415, FORWARD_REFUSED},
    {422, FORWARD_REFUSED},
    {429, FORWARD_ALL_LATER},
    {500, FORWARD_LATER},
    {502, FORWARD_ALL_LATER},
    {503, FORWARD_ALL_LATER},
    {504, FORWARD_ALL_LATER},
};

START_TEST(a_status_decides)
{
    ck_assert_int_eq(
        forward_verdict_of(VERDICTS[_i].status), VERDICTS[_i].verdict);
}
END_TEST

/* By hand: 1, 2, 4 … seconds up to five minutes; half of it at most goes. */
static const struct {
    unsigned failures;
    uint32_t random;
    int64_t ms;
} PAUSES[] = {
    {1, 0, 1000},
    {1, UINT32_MAX, 500},
    {2, 0, 2000},
    {3, 0, 4000},
    {3, UINT32_MAX, 2000},
    {9, 0, 256000},
    {10, 0, 300000},
    {10, UINT32_MAX, 150000},
    {4000000000u, 0, 300000},
};

START_TEST(pauses_double_and_are_shortened_at_random)
{
    struct forward_pauses pauses = {1000, 300000};

    ck_assert_int_eq(
        forward_pause_ms(pauses, PAUSES[_i].failures, PAUSES[_i].random),
        PAUSES[_i].ms);
}
END_TEST

/* IANA media types; the last is "some bytes" (RFC 2046, section 4.5.1). */
static const struct {
    const char *name, *media;
} MEDIA[] = {
    {"a.json", "application/json"},
    {"a.JSON", "application/json"},
    {"a.b.csv", "text/csv"},
    {"a.xml", "application/xml"},
    {"a.dcm", "application/dicom"},
    {"a.ndjson", "application/x-ndjson"},
    {"a.txt", "text/plain"},
    {"csv", "application/octet-stream"},
    {"a.csv.new", "application/octet-stream"},
};

START_TEST(the_end_of_a_name_tells_the_media_type)
{
    ck_assert_str_eq(forward_media_of(MEDIA[_i].name), MEDIA[_i].media);
}
END_TEST

static const struct {
    const char *why, *name, *safe;
} NAMES[] = {
    {"as it is", "a b.csv", "a b.csv"},
    {"letters of any script", "\xc3\xa4\xe4\xba\xba.csv",
        "\xc3\xa4\xe4\xba\xba.csv"},
    {"no folder", "../../etc/passwd", "_.._etc_passwd"},
    {"not hidden", "..a", "a"},
    {"no control characters", "a\nb\x1b[0m", "a_b_[0m"},
    {"no broken UTF-8",
        "a\xff"
        "b",
        "a\xef\xbf\xbd"
        "b"},
    {"nothing left", "...", "item"},
    {"nothing at all", "", "item"},
};

START_TEST(a_name_is_safe_to_make)
{
    char safe[FORWARD_NAME_SIZE];

    forward_name_safe(NAMES[_i].name, safe);
    ck_assert_msg(
        strcmp(safe, NAMES[_i].safe) == 0, "%s: \"%s\"", NAMES[_i].why, safe);
}
END_TEST

START_TEST(a_long_name_keeps_its_end)
{
    char name[400], safe[FORWARD_NAME_SIZE];

    memset(name, 'a', sizeof(name));
    memcpy(name + sizeof(name) - 5, ".csv", 5);
    forward_name_safe(name, safe);
    ck_assert_uint_eq(strlen(safe), FORWARD_NAME_SIZE - 1);
    ck_assert_str_eq(safe + strlen(safe) - 4, ".csv");
}
END_TEST

static const struct {
    const char *text, *bytes; /* bytes NULL: refused */
} ESCAPES[] = {
    {"\\r\\n", "\r\n"},
    {"\\x03", "\x03"},
    {"\\x0d\\x0A", "\r\n"},
    {"END", "END"},
    {"a\\tb\\\\", "a\tb\\"},
    {"\\", NULL},
    {"\\x", NULL},
    {"\\x1", NULL},
    {"\\xg0", NULL},
    {"\\q", NULL},
    {"", NULL},
    {"123456789", NULL},
};

START_TEST(escapes_stand_for_bytes)
{
    char bytes[8];
    size_t len = 0;
    bool well = forward_unescape(ESCAPES[_i].text, bytes, 8, &len);

    ck_assert_int_eq(well, ESCAPES[_i].bytes != NULL);
    if (well) {
        ck_assert_uint_eq(len, strlen(ESCAPES[_i].bytes));
        ck_assert_mem_eq(bytes, ESCAPES[_i].bytes, len);
    }
}
END_TEST

static const struct {
    const char *text;
    bool well;
    struct forward_line line;
} LINES[] = {
    {"9600,8N1", true, {9600, 8, 'N', 1}},
    {"115200,7E2", true, {115200, 7, 'E', 2}},
    {"300,8O1", true, {300, 8, 'O', 1}},
    {"9600", false, {0}},
    {"9600,8N", false, {0}},
    {"9600,9N1", false, {0}},
    {"9600,8X1", false, {0}},
    {"9600,8N3", false, {0}},
    {"9600,8N11", false, {0}},
    {"-9600,8N1", false, {0}},
    {",8N1", false, {0}},
    {"0,8N1", false, {0}},
    {"", false, {0}},
};

START_TEST(a_line_is_spoken_of_as_the_trade_does)
{
    struct forward_line line = {0};

    ck_assert_int_eq(forward_line_parse(LINES[_i].text, &line), LINES[_i].well);
    ck_assert_int_eq(line.bits, LINES[_i].line.bits);
    ck_assert_int_eq(line.data, LINES[_i].line.data);
    ck_assert_int_eq(line.parity, LINES[_i].line.parity);
    ck_assert_int_eq(line.stop, LINES[_i].line.stop);
}
END_TEST

Suite *suite_rules(void)
{
    Suite *s = suite_create("rules");
    TCase *tc = tcase_create("rules");

    suite_add_tcase(s, tc);
    tcase_add_loop_test(tc, a_status_decides, 0, ROWS(VERDICTS));
    tcase_add_loop_test(
        tc, pauses_double_and_are_shortened_at_random, 0, ROWS(PAUSES));
    tcase_add_loop_test(
        tc, the_end_of_a_name_tells_the_media_type, 0, ROWS(MEDIA));
    tcase_add_loop_test(tc, a_name_is_safe_to_make, 0, ROWS(NAMES));
    tcase_add_test(tc, a_long_name_keeps_its_end);
    tcase_add_loop_test(tc, escapes_stand_for_bytes, 0, ROWS(ESCAPES));
    tcase_add_loop_test(
        tc, a_line_is_spoken_of_as_the_trade_does, 0, ROWS(LINES));
    return s;
}
