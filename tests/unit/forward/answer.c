#include <stdio.h>
#include <string.h>

#include "suites.h"

#include "forward_answer.h"

static const char LINES[] =
    "{\"line\":1,\"status\":201,\"id\":\"x\"}\n"
    "{\"line\":2,\"status\":422,\"errors\":[{\"pointer\":\"/right\","
    "\"detail\":\"is wrong\"},{\"pointer\":\"\",\"detail\":\"so is all\"}]}\n"
    "{\"line\":4,\"status\":200,\"id\":\"y\"}\n";

/* However the network cuts it. */
START_TEST(lines_are_counted_in_any_pieces)
{
    struct forward_answer a = {0};
    TEXT_AUTO reason = {0};
    size_t piece = (size_t)_i;

    forward_answer_begin(&a);
    a.lines = true;
    for (size_t at = 0; at < strlen(LINES); at += piece) {
        size_t left = strlen(LINES) - at;

        forward_answer_add(&a, LINES + at, left < piece ? left : piece);
    }
    forward_answer_end(&a);
    ck_assert_uint_eq(a.taken, 2);
    ck_assert_uint_eq(a.refused, 1);
    ck_assert_int_eq(a.worst, 0);
    ck_assert(!a.garbled);
    forward_answer_reason(&a, 200, &reason);
    ck_assert_ptr_nonnull(strstr(reason.data, "1 of 3 lines were refused"));
    ck_assert_ptr_nonnull(
        strstr(reason.data, "line 2: /right: is wrong\nline 2: so is all\n"));
    forward_answer_free(&a);
}
END_TEST

static const struct {
    const char *line;
    int worst;
    bool garbled;
} ODD[] = {
    {"{\"line\":1,\"status\":503}", 503, false},
    {"{\"line\":1,\"status\":401}", 401, false},
    {"{\"line\":1,\"status\":500}", 500, false},
    {"{\"line\":1}", 0, true},
    {"{\"status\":201}", 0, true},
    {"{\"line\":1,\"status\":\"201\"}", 0, true},
    {"[]", 0, true},
    {"{\"line\":1,\"stat", 0, true},
    {"<html>", 0, true},
};

START_TEST(what_is_no_good_news_comes_again)
{
    struct forward_answer a = {0};

    forward_answer_begin(&a);
    a.lines = true;
    forward_answer_add(&a, ODD[_i].line, strlen(ODD[_i].line));
    forward_answer_end(&a);
    ck_assert_int_eq(a.worst, ODD[_i].worst);
    ck_assert_int_eq(a.garbled, ODD[_i].garbled);
    ck_assert_uint_eq(a.taken + a.refused, 0);
    forward_answer_free(&a);
}
END_TEST

START_TEST(memory_is_bounded_whatever_comes)
{
    struct forward_answer a = {0};
    TEXT_AUTO reason = {0};
    char line[200], long_line[1000];

    forward_answer_begin(&a);
    a.lines = true;
    for (int i = 0; i < 20000; i++) {
        int n = snprintf(line, sizeof(line),
            "{\"line\":%d,\"status\":422,\"errors\":"
            "[{\"pointer\":\"/right\",\"detail\":\"is wrong\"}]}\n",
            i);

        forward_answer_add(&a, line, (size_t)n);
    }
    ck_assert_uint_eq(a.refused, 20000);
    ck_assert_uint_lt(a.reasons.len, FORWARD_REASON_MOST + 200);
    forward_answer_reason(&a, 200, &reason);
    ck_assert_ptr_nonnull(strstr(reason.data, "more lines"));
    memset(long_line, ' ', sizeof(long_line));
    for (int i = 0; i < 100; i++)
        forward_answer_add(&a, long_line, sizeof(long_line));
    ck_assert(a.garbled);
    ck_assert_uint_le(a.part.len, FORWARD_ANSWER_MOST);
    forward_answer_free(&a);
}
END_TEST

static const struct {
    const char *why, *body, *reason;
} PROBLEMS[] = {
    {"a problem", /* RFC 9457, section 3 */
        "{\"title\":\"it is wrong\",\"status\":422,\"detail\":\"see below\","
        "\"errors\":[{\"pointer\":\"/a\",\"detail\":\"b\"}]}",
        "The service refused this file: 422 it is wrong\nsee below\n\n/a: b\n"},
    {"a page of a proxy", "<html>no</html>",
        "The service refused this file: 422\n\n"},
    {"nothing", "", "The service refused this file: 422\n\n"},
    {"members of other kinds", "{\"title\":1,\"errors\":[1,{\"pointer\":{}}]}",
        "The service refused this file: 422\n\nno reason was given\nno reason "
        "was given\n"},
};

START_TEST(a_problem_becomes_text)
{
    struct forward_answer a = {0};
    TEXT_AUTO reason = {0};

    forward_answer_begin(&a);
    forward_answer_add(&a, PROBLEMS[_i].body, strlen(PROBLEMS[_i].body));
    forward_answer_end(&a);
    forward_answer_reason(&a, 422, &reason);
    ck_assert_msg(strcmp(reason.data, PROBLEMS[_i].reason) == 0, "%s: %s",
        PROBLEMS[_i].why, reason.data);
    forward_answer_free(&a);
}
END_TEST

Suite *suite_answer(void)
{
    Suite *s = suite_create("answer");
    TCase *tc = tcase_create("answer");

    suite_add_tcase(s, tc);
    tcase_add_loop_test(tc, lines_are_counted_in_any_pieces, 1, 60);
    tcase_add_loop_test(tc, what_is_no_good_news_comes_again, 0, ROWS(ODD));
    tcase_add_test(tc, memory_is_bounded_whatever_comes);
    tcase_add_loop_test(tc, a_problem_becomes_text, 0, ROWS(PROBLEMS));
    return s;
}
