/* Lines of readings are the same lines in whatever pieces they come. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/text.h"
#include "instruments/native_lines.h"

#define GOOD                                                                   \
    "{\"kind\":\"autorefraction\",\"taken_at\":\"2026-03-02T09:14:05Z\","      \
    "\"right\":{\"sphere\":-1}}"

static const struct {
    const char *why, *body, *groups; /* line, rc and bytes of each */
} BODIES[] = {
    {"nothing", "", ""},
    {"blank lines count and are none", "\n \t\n\r\n" GOOD "\n\n",
        "4 ok " GOOD "\n"},
    {"the last needs no end", GOOD "\n" GOOD, "1 ok " GOOD "\n2 ok " GOOD "\n"},
    {"a carriage return before the end is the line's", GOOD "\r\n",
        "1 ok " GOOD "\r\n"},
    {"a bad one fails alone", "{\n" GOOD "\n[]\n",
        "1 syntax {\n2 ok " GOOD "\n3 invalid []\n"},
    {"a space of another script is no blank", "\xc2\xa0\n",
        "1 syntax \xc2\xa0\n"},
    {"broken UTF-8", "\"\xff\"\n", "1 syntax \"\xff\"\n"},
};

static void tell(struct text *t, const struct profile_group *g, enum rc rc)
{
    ck_assert_uint_eq(g->line, g->last_line);
    ck_assert_uint_eq(g->readings.n, rc == RC_OK);
    ck_assert(!g->last);
    text_printf(t, "%zu %s ", g->line, rc_word(rc));
    text_put(t, g->bytes, g->len);
    text_putc(t, '\n');
}

/* All groups that are there, as text. */
static void drain(struct native_lines *lines, struct text *t)
{
    struct arena *arena = arena_new();
    struct profile_group group;

    for (;;) {
        struct err err = ERR_INIT(arena);

        if (!native_lines_next(lines, &group, &err))
            break;
        tell(t, &group, err.rc);
        arena_reset(arena);
    }
    arena_free(arena);
}

static void in_pieces(
    const char *body, size_t len, size_t piece, struct text *t)
{
    struct native_lines *lines = native_lines_new();

    for (size_t at = 0; at < len; at += piece) {
        size_t n = len - at < piece ? len - at : piece;
        char *copy = malloc(n); /* so that reading one more is seen */

        ck_assert_ptr_nonnull(copy);
        memcpy(copy, body + at, n);
        native_lines_add(lines, copy, n);
        free(copy);
        drain(lines, t);
    }
    native_lines_end(lines);
    drain(lines, t);
    native_lines_free(lines);
}

START_TEST(pieces_make_no_difference)
{
    const char *body = BODIES[_i].body;
    size_t len = strlen(body);

    for (size_t piece = 1; piece <= len + 1; piece++) {
        TEXT_AUTO t = {0};

        in_pieces(body, len, piece, &t);
        ck_assert_msg(strcmp(t.data ? t.data : "", BODIES[_i].groups) == 0,
            "%s, in pieces of %zu:\n%s", BODIES[_i].why, piece, t.data);
    }
}
END_TEST

/* A line of n bytes that is JSON and no reading. */
static void put_long(struct text *t, size_t n)
{
    text_puts(t, "\"");
    for (size_t i = 2; i < n; i++)
        text_putc(t, 'a');
    text_puts(t, "\"\n");
}

START_TEST(a_line_over_the_limit_is_told_once_and_passed_over)
{
    static const size_t pieces[] = {1000, 16331, 65536, 65537, 1 << 20};
    static const char *const want[] = {"1 invalid", "2 too-large \n",
        "3 too-large \n", "4 ok " GOOD "\n", "5 too-large \n"};
    TEXT_AUTO body = {0};

    put_long(&body, NATIVE_LINE_MAX);
    put_long(&body, NATIVE_LINE_MAX + 1);
    put_long(&body, 5 * NATIVE_LINE_MAX);
    text_puts(&body, GOOD "\n");
    put_long(&body, 3 * NATIVE_LINE_MAX);
    body.len--; /* without its end */
    for (size_t i = 0; i < ARRAY_LEN(pieces); i++) {
        TEXT_AUTO t = {0};
        const char *at;

        in_pieces(body.data, body.len, pieces[i], &t);
        at = t.data;
        for (size_t k = 0; k < ARRAY_LEN(want); k++) {
            ck_assert_msg(at && strncmp(at, want[k], strlen(want[k])) == 0,
                "pieces of %zu: \"%.40s\" where \"%s\" is due", pieces[i],
                at ? at : "", want[k]);
            at = strchr(at, '\n');
            at = at ? at + 1 : NULL;
        }
        ck_assert_str_eq(at, "");
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("lines");
    TCase *tc = tcase_create("lines");
    SRunner *runner;
    int failed;

    tcase_add_loop_test(
        tc, pieces_make_no_difference, 0, (int)ARRAY_LEN(BODIES));
    tcase_add_test(tc, a_line_over_the_limit_is_told_once_and_passed_over);
    suite_add_tcase(suite, tc);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
