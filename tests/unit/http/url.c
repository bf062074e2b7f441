#include <stdlib.h>
#include <string.h>

#include "text.h"

#include "base/arena.h"
#include "http/url.h"

static const struct {
    const char *why, *in;
    int plus;
    const char *want; /* NULL: refused */
} DECODE[] = {
    {"plain", "readings", 0, "readings"},
    {"nothing", "", 0, ""},
    {"a blank (RFC 3986, 2.1)", "a%20b", 0, "a b"},
    {"hexadecimal in either case (RFC 3986, 6.2.2.1)", "%3a%3A", 0, "::"},
    {"an encoded slash is a character of its segment", "a%2Fb", 0, "a/b"},
    {"an encoded percent is decoded once", "%2541", 0, "%41"},
    {"UTF-8 (RFC 3986, 2.5: U+00C0)", "%C3%80", 0, "\xc3\x80"},
    {"UTF-8 sent raw", "\xc3\x80", 0, "\xc3\x80"},
    {"a plus in a path is a plus", "a+b", 0, "a+b"},
    {"in a query it is a blank", "a+b%2B", 1, "a b+"},
    {"P-34: a NUL would turn one resource into another", "x%00y", 0, NULL},
    {"a line feed", "x%0Ay", 0, NULL},
    {"a tab", "x%09y", 0, NULL},
    {"delete", "x%7Fy", 0, NULL},
    {"an escape cut short", "x%2", 0, NULL},
    {"an escape of nothing", "x%", 0, NULL},
    {"no hexadecimal", "%zz", 0, NULL},
    {"a sign is no digit", "%-1", 0, NULL},
    {"half a character", "%C3", 0, NULL},
    {"an overlong slash (RFC 3629, 10)", "%C0%AF", 0, NULL},
    {"a surrogate", "%ED%A0%80", 0, NULL},
    {"a byte that UTF-8 never has", "%FF", 0, NULL},
    {"Latin-1 sent raw", "\xe9", 0, NULL},
};

START_TEST(an_escaped_text_is_decoded_or_refused)
{
    struct arena *arena = arena_new();
    const char *got = url_decode(
        arena, DECODE[_i].in, strlen(DECODE[_i].in), DECODE[_i].plus);

    ck_assert_msg(!got == !DECODE[_i].want, "%s", DECODE[_i].why);
    if (got)
        ck_assert_str_eq(got, DECODE[_i].want);
    arena_free(arena);
}
END_TEST

START_TEST(an_argument_is_found_by_its_whole_name)
{
    static const char query[] = "q=Ana+Mar%C3%ADa&qq=2&empty=&bare&x=a=b";
    struct arena *arena = arena_new();

    ck_assert_str_eq(url_argument(arena, query, "q"), "Ana Mar\xc3\xad"
                                                      "a");
    ck_assert_str_eq(url_argument(arena, query, "qq"), "2");
    ck_assert_str_eq(url_argument(arena, query, "empty"), "");
    ck_assert_str_eq(url_argument(arena, query, "bare"), "");
    ck_assert_str_eq(url_argument(arena, query, "x"), "a=b");
    ck_assert_ptr_null(url_argument(arena, query, "mpty"));
    ck_assert_ptr_null(url_argument(arena, query, ""));
    ck_assert_ptr_null(url_argument(arena, NULL, "q"));
    arena_free(arena);
}
END_TEST

static const struct {
    const char *query, *list, *bad; /* NULL: all are known */
} NAMES[] = {
    {NULL, "", NULL},
    {"", "q born", NULL},
    {"q=1", "q born", NULL},
    {"born=1984&q=1", "q born", NULL},
    {"q=1&", "q", NULL},
    {"q=1", "", "q"},
    {"qq=1", "q born", "qq"},
    {"bor=1", "q born", "bor"},
    {"q=1&limit=2", "q born", "limit"},
    {"q=1&q=2", "q", "q"},
    {"q=%zz", "q", "q"},
    {"q=%00", "q", "q"},
    {"%71=1", "q", "q"},
    {"q%=1", "q", "?"},
    {"&&", "q", ""},
    {"q born=1", "q born", "q born"},
};

START_TEST(an_unknown_or_repeated_name_is_told)
{
    struct arena *arena = arena_new();
    const char *bad = NULL;
    bool good = url_names_known(arena, NAMES[_i].query, NAMES[_i].list, &bad);

    ck_assert_msg(good == !NAMES[_i].bad, "%s",
        NAMES[_i].query ? NAMES[_i].query : "none");
    if (!good)
        ck_assert_str_eq(bad, NAMES[_i].bad);
    arena_free(arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("text of requests");
    TCase *tc = tcase_create("text");
    SRunner *runner;
    int failed;

    tcase_add_loop_test(
        tc, an_escaped_text_is_decoded_or_refused, 0, (int)ARRAY_LEN(DECODE));
    tcase_add_test(tc, an_argument_is_found_by_its_whole_name);
    tcase_add_loop_test(
        tc, an_unknown_or_repeated_name_is_told, 0, (int)ARRAY_LEN(NAMES));
    accept_tests(tc);
    suite_add_tcase(suite, tc);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
