#include <stdlib.h>
#include <string.h>

#include "suites.h"

#include "base/text.h"

START_TEST(a_text_grows_and_is_closed_by_a_nul)
{
    TEXT_AUTO t = {0};

    for (int i = 0; i < 2000; i++) {
        text_putc(&t, (char)('a' + i % 26));
        ck_assert_uint_eq(strlen(t.data), t.len);
    }
    text_puts(&t, "");
    text_put(&t, "x\0y", 3);
    ck_assert_uint_eq(t.len, 2003);
    ck_assert(memcmp(t.data + 2000, "x\0y", 4) == 0);
}
END_TEST

START_TEST(a_formatted_text_of_any_length_is_added_whole)
{
    for (int len = 0; len < 400; len++) {
        TEXT_AUTO t = {0};

        text_puts(&t, "<");
        text_printf(&t, "%*s>", len, "");
        ck_assert_uint_eq(t.len, (size_t)len + 2);
        ck_assert_int_eq(t.data[t.len - 1], '>');
        ck_assert_uint_eq(strlen(t.data), t.len);
    }
}
END_TEST

START_TEST(what_is_taken_is_the_callers_and_the_text_is_empty)
{
    struct text t = {0};
    size_t len;
    char *data;

    text_puts(&t, "abc");
    data = text_take(&t, &len);
    ck_assert_str_eq(data, "abc");
    ck_assert_uint_eq(len, 3);
    free(data);
    ck_assert_ptr_null(t.data);
    data = text_take(&t, &len);
    ck_assert_str_eq(data, ""); /* never NULL */
    ck_assert_uint_eq(len, 0);
    free(data);
    text_free(&t);
}
END_TEST

START_TEST(room_is_there_before_it_is_used)
{
    TEXT_AUTO t = {0};

    for (size_t n = 1; n < 5000; n += 300) {
        memset(text_space(&t, n), 'z', n);
        text_added(&t, n);
        ck_assert_uint_eq(strlen(t.data), t.len);
    }
}
END_TEST

Suite *suite_text(void)
{
    TCase *tc;
    Suite *s = suite_new("text", &tc);

    tcase_add_test(tc, a_text_grows_and_is_closed_by_a_nul);
    tcase_add_test(tc, a_formatted_text_of_any_length_is_added_whole);
    tcase_add_test(tc, what_is_taken_is_the_callers_and_the_text_is_empty);
    tcase_add_test(tc, room_is_there_before_it_is_used);
    return s;
}
