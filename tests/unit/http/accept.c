#include "http/accept.h"

#include <string.h>

#include "text.h"

#include "base/arena.h"

static const struct {
    const char *list, *word;
    bool takes;
} LISTS[] = {
    {"application/json", "application/json", true},
    {"text/html", "application/json", false},
    {"*/*", "application/json", true},
    {"application/*", "application/json", true},
    {"text/*", "application/json", false},
    {"text/html, application/json", "application/json", true},
    {"text/html,application/json;q=0.1", "application/json", true},
    {"Application/JSON", "application/json", true},
    {"application/jsonx", "application/json", false},
    {"xapplication/json", "application/json", false},
    {"application/json;charset=utf-8", "application/json", true},
    /* RFC 9110, 12.4.2: a weight of 0 means "not acceptable". */
    {"application/json;q=0", "application/json", false},
    {"application/json; q=0.000", "application/json", false},
    {"application/json ; Q=0", "application/json", false},
    {"application/json;q=0.001", "application/json", true},
    /* 12.5.1: the most specific range decides. */
    {"*/*, application/json;q=0", "application/json", false},
    {"application/json;q=0, */*", "application/json", false},
    {"application/*;q=0, application/json", "application/json", true},
    {"text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed, */*;q=0.5",
        "application/pdf", true},
    /* 12.5.3, the examples of Accept-Encoding. */
    {"compress, gzip", "gzip", true},
    {"", "gzip", false},
    {"*", "gzip", true},
    {"compress;q=0.5, gzip;q=1.0", "gzip", true},
    {"gzip;q=1.0, identity; q=0.5, *;q=0", "gzip", true},
    {"gzip;q=0", "gzip", false},
    {"gzip; q=0", "gzip", false},
    {"gzip;q=0.5", "gzip", true},
    {"identity, *;q=0", "gzip", false},
    {"br", "gzip", false},
    {"not-gzip", "gzip", false},
    {",,gzip,,", "gzip", true},
};

START_TEST(a_list_takes_what_it_says)
{
    ck_assert_msg(
        accept_takes(LISTS[_i].list, LISTS[_i].word) == LISTS[_i].takes,
        "%s: %s", LISTS[_i].list, LISTS[_i].word);
}
END_TEST

START_TEST(a_name_is_more_than_a_wildcard)
{
    ck_assert(accept_names("text/html, application/json", "application/json"));
    ck_assert(!accept_names("*/*", "application/json"));
    ck_assert(!accept_names("application/*", "application/json"));
    ck_assert(!accept_names("application/json;q=0", "application/json"));
}
END_TEST

void accept_tests(TCase *tc)
{
    tcase_add_loop_test(
        tc, a_list_takes_what_it_says, 0, (int)ARRAY_LEN(LISTS));
    tcase_add_test(tc, a_name_is_more_than_a_wildcard);
}
