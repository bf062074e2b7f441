#include <jansson.h>

#include "suites.h"

#include "base/json_merge.h"

/* RFC 7396, appendix A: every example case, in its order. */
static const struct {
    const char *target, *patch, *want;
} CASES[] = {
    {"{\"a\":\"b\"}", "{\"a\":\"c\"}", "{\"a\":\"c\"}"},
    {"{\"a\":\"b\"}", "{\"b\":\"c\"}", "{\"a\":\"b\",\"b\":\"c\"}"},
    {"{\"a\":\"b\"}", "{\"a\":null}", "{}"},
    {"{\"a\":\"b\",\"b\":\"c\"}", "{\"a\":null}", "{\"b\":\"c\"}"},
    {"{\"a\":[\"b\"]}", "{\"a\":\"c\"}", "{\"a\":\"c\"}"},
    {"{\"a\":\"c\"}", "{\"a\":[\"b\"]}", "{\"a\":[\"b\"]}"},
    {"{\"a\":{\"b\":\"c\"}}", "{\"a\":{\"b\":\"d\",\"c\":null}}",
        "{\"a\":{\"b\":\"d\"}}"},
    {"{\"a\":[{\"b\":\"c\"}]}", "{\"a\":[1]}", "{\"a\":[1]}"},
    {"[\"a\",\"b\"]", "[\"c\",\"d\"]", "[\"c\",\"d\"]"},
    {"{\"a\":\"b\"}", "[\"c\"]", "[\"c\"]"},
    {"{\"a\":\"foo\"}", "null", "null"},
    {"{\"a\":\"foo\"}", "\"bar\"", "\"bar\""},
    {"{\"e\":null}", "{\"a\":1}", "{\"e\":null,\"a\":1}"},
    {"[1,2]", "{\"a\":\"b\",\"c\":null}", "{\"a\":\"b\"}"},
    {"{}", "{\"a\":{\"bb\":{\"ccc\":null}}}", "{\"a\":{\"bb\":{}}}"},
};

static json_t *parse(const char *text)
{
    json_t *json = json_loads(text, JSON_DECODE_ANY, NULL);

    ck_assert_ptr_nonnull(json);
    return json;
}

START_TEST(a_patch_does_what_the_standards_examples_say)
{
    json_t *target = parse(CASES[_i].target);
    json_t *before = json_deep_copy(target);
    json_t *patch = parse(CASES[_i].patch);
    json_t *want = parse(CASES[_i].want);
    json_t *got = json_merge(target, patch);

    ck_assert_msg(json_equal(got, want), "case %d: got %s", _i,
        json_dumps(got, JSON_ENCODE_ANY));
    ck_assert(json_equal(target, before));
    /* What was made does not change what it was made from. */
    if (json_is_object(got)) {
        json_object_set_new(got, "new", json_true());
        ck_assert(json_equal(target, before));
    }
    json_decref(got);
    json_decref(want);
    json_decref(patch);
    json_decref(before);
    json_decref(target);
}
END_TEST

START_TEST(nothing_can_be_patched)
{
    json_t *patch = parse("{\"a\":{\"b\":1,\"c\":null}}");
    json_t *want = parse("{\"a\":{\"b\":1}}");
    json_t *got = json_merge(NULL, patch);

    ck_assert(json_equal(got, want));
    json_decref(got);
    json_decref(want);
    json_decref(patch);
}
END_TEST

START_TEST(a_nested_member_is_changed_in_the_copy_only)
{
    json_t *target = parse("{\"a\":{\"b\":{\"c\":1}},\"z\":[1]}");
    json_t *before = json_deep_copy(target);
    json_t *patch = parse("{\"a\":{\"b\":{\"c\":2}}}");
    json_t *got = json_merge(target, patch);

    ck_assert(json_equal(target, before));
    ck_assert_int_eq(json_integer_value(json_object_get(
                         json_object_get(json_object_get(got, "a"), "b"), "c")),
        2);
    json_decref(got);
    json_decref(patch);
    json_decref(before);
    json_decref(target);
}
END_TEST

Suite *suite_json_merge(void)
{
    TCase *tc;
    Suite *s = suite_new("json_merge", &tc);

    tcase_add_loop_test(
        tc, a_patch_does_what_the_standards_examples_say, 0, ROWS(CASES));
    tcase_add_test(tc, nothing_can_be_patched);
    tcase_add_test(tc, a_nested_member_is_changed_in_the_copy_only);
    return s;
}
