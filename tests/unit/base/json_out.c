#include <jansson.h>
#include <math.h>
#include <string.h>

#include "suites.h"

#include "base/json_out.h"

START_TEST(values_are_written_in_order_with_their_places)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_cd(&o, "sphere", -250);
    json_out_cd(&o, "cylinder", 0);
    json_out_int(&o, "axis", 5);
    json_out_bool(&o, "yes", true);
    json_out_null(&o, "none");
    json_out_array(&o, "list");
    json_out_number(&o, NULL, 1.25, 4);
    json_out_object(&o, NULL);
    json_out_object_end(&o);
    json_out_array(&o, NULL);
    json_out_array_end(&o);
    json_out_text(&o, NULL, NULL);
    json_out_array_end(&o);
    json_out_raw(&o, "ready", "[1,2]", 5);
    json_out_scaled(&o, "mm", 6350, 2);
    json_out_object_end(&o);
    ck_assert_str_eq(t.data, "{\"sphere\":-2.50,\"cylinder\":0.00,\"axis\":5,"
                             "\"yes\":true,\"none\":null,\"list\":[1.25,{},[],"
                             "null],\"ready\":[1,2],\"mm\":63.50}");
}
END_TEST

START_TEST(every_text_reads_back_as_it_was)
{
    char s[200];
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    json_t *back;
    size_t n = 0;

    for (int c = 1; c < 128; c++)
        s[n++] = (char)c;
    /* U+00E9, U+0301, U+2028, U+1F441: two, two, three and four bytes */
    memcpy(s + n, "\xc3\xa9\xcc\x81\xe2\x80\xa8\xf0\x9f\x91\x81", 12);
    json_out_array(&o, NULL);
    json_out_text(&o, NULL, s);
    json_out_array_end(&o);
    back = json_loadb(t.data, t.len, 0, NULL);
    ck_assert_ptr_nonnull(back);
    ck_assert_str_eq(json_string_value(json_array_get(back, 0)), s);
    json_decref(back);
}
END_TEST

START_TEST(a_key_is_escaped_like_any_text)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_int(&o, "a\"\\\n", 1);
    json_out_object_end(&o);
    ck_assert_str_eq(t.data, "{\"a\\\"\\\\\\n\":1}");
}
END_TEST

START_TEST(what_is_no_number_is_null_and_keeps_its_key)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    /* P-35: a tree builder drops the member instead. */
    json_out_object(&o, NULL);
    json_out_number(&o, "a", NAN, 2);
    json_out_number(&o, "b", -INFINITY, 2);
    json_out_exact(&o, "c", INFINITY);
    json_out_exact(&o, "d", -0.0);
    json_out_number(&o, "e", -0.001, 2);
    json_out_object_end(&o);
    ck_assert_str_eq(
        t.data, "{\"a\":null,\"b\":null,\"c\":null,\"d\":0,\"e\":0}");
}
END_TEST

Suite *suite_json_out(void)
{
    TCase *tc;
    Suite *s = suite_new("json_out", &tc);

    tcase_add_test(tc, values_are_written_in_order_with_their_places);
    tcase_add_test(tc, every_text_reads_back_as_it_was);
    tcase_add_test(tc, a_key_is_escaped_like_any_text);
    tcase_add_test(tc, what_is_no_number_is_null_and_keeps_its_key);
    return s;
}
