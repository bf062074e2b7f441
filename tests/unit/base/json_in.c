#include <stdio.h>
#include <string.h>

#include "suites.h"

#include "base/json_in.h"

/* ---- documents -------------------------------------------------------- */

static const struct {
    const char *why, *text;
    size_t len;        /* 0: up to its NUL */
    const char *named; /* stands in the refusal; NULL: it is taken */
} PARSE[] = {
    {"an object", "{\"a\":1}", 0, NULL},
    {"any value at the top (RFC 8259)", " -2.50 ", 0, NULL},
    {"nothing", "", 0, "empty"},
    {"blanks alone", "  \n", 0, "line 2"},
    {"more than one value", "{} {}", 0, "line 1"},
    /* P-26: the second would turn the sign of a lens. */
    {"the same key twice", "{\"sphere\": -2.50, \"sphere\": 2.50}", 0,
        "sphere"},
    {"the same key twice, deep", "{\"a\":[{\"b\":1,\"b\":1}]}", 0, "b"},
    {"the same key in two objects is well", "[{\"b\":1},{\"b\":1}]", 0, NULL},
    {"a number beyond a double", "[1e400]", 0, "line 1"},
    {"an integer beyond 64 bits", "[9223372036854775808]", 0, "line 1"},
    {"a leading zero", "[01]", 0, "line 1"},
    {"a plus sign", "[+1]", 0, "line 1"},
    {"no digit before the point", "[.5]", 0, "line 1"},
    {"NaN", "[NaN]", 0, "line 1"},
    {"a comma too many", "[1,]", 0, "line 1"},
    {"a comment", "[1] // one", 0, "line 1"},
    {"single quotes", "{'a':1}", 0, "line 1"},
    {"a byte order mark", "\xef\xbb\xbf{}", 0, "line 1"},
    {"UTF-16", "{\0}\0", 4, "line 1"},
    {"a NUL behind the value", "{}\0", 3, "line 1"},
    {"a control character in a text", "[\"a\x01\"]", 0, "line 1"},
    {"a lone surrogate", "[\"\\ud800\"]", 0, "line 1"},
    {"a surrogate the wrong way round", "[\"\\udc00\\ud800\"]", 0, "line 1"},
    {"a pair of surrogates is well", "[\"\\ud83d\\udc41\"]", 0, NULL},
    {"bytes that are no UTF-8", "[\"\xff\"]", 0, "line 1"},
    {"an overlong slash (RFC 3629, 10)", "[\"\xc0\xaf\"]", 0, "line 1"},
    {"a surrogate in UTF-8 (RFC 3629, 3)", "[\"\xed\xa0\x80\"]", 0, "line 1"},
    {"beyond U+10FFFF", "[\"\xf4\x90\x80\x80\"]", 0, "line 1"},
    {"an unclosed text", "[\"a", 0, "line 1"},
    {"an unknown escape", "[\"\\x41\"]", 0, "line 1"},
};

START_TEST(a_document_is_read_whole_or_refused_with_its_place)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    size_t len = PARSE[_i].len ? PARSE[_i].len : strlen(PARSE[_i].text);
    json_t *json = NULL;
    enum rc rc = json_in_parse(PARSE[_i].text, len, &json, &err);

    ck_assert_msg((rc == RC_OK) == !PARSE[_i].named, "%s: %s", PARSE[_i].why,
        err.detail ? err.detail : "taken");
    if (PARSE[_i].named) {
        ck_assert_int_eq(rc, RC_SYNTAX);
        ck_assert_ptr_null(json);
        ck_assert_msg(strstr(err.detail, PARSE[_i].named) != NULL, "%s: %s",
            PARSE[_i].why, err.detail);
    }
    json_decref(json);
    arena_free(arena);
}
END_TEST

START_TEST(deep_nesting_is_refused_and_never_a_crash)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    size_t n = 1000000;
    char *deep = arena_alloc(arena, n);
    json_t *json = NULL;

    memset(deep, '[', n);
    ck_assert_int_eq(json_in_parse(deep, n, &json, &err), RC_SYNTAX);
    arena_free(arena);
}
END_TEST

/* ---- places ----------------------------------------------------------- */

static json_t *json;
static struct arena *arena;
static struct err err;

static struct json_in read_text(const char *text)
{
    arena = arena_new();
    err = (struct err)ERR_INIT(arena);
    ck_assert_msg(json_in_parse(text, strlen(text), &json, &err) == RC_OK,
        "%s: %s", text, err.detail);
    return json_in_root(json, &err);
}

static void done(void)
{
    json_decref(json);
    arena_free(arena);
}

static void expect_fault(const char *pointer, const char *detail)
{
    ck_assert_int_eq(err.rc, RC_INVALID);
    ck_assert_uint_ge(err.n_faults, 1);
    ck_assert_str_eq(err.last->pointer, pointer);
    ck_assert_msg(strstr(err.last->detail, detail) != NULL, "not \"%s\": %s",
        detail, err.last->detail);
}

/* RFC 6901, section 5: the same document and pointers. */
START_TEST(pointers_are_written_as_the_standard_says)
{
    struct json_in root = read_text(
        "{\"foo\":[\"bar\",\"baz\"],\"\":0,\"a/b\":1,\"c%d\":2,\"e^f\":3,"
        "\"g|h\":4,\"i\\\\j\":5,\"k\\\"l\":6,\" \":7,\"m~n\":8}");

    ck_assert_str_eq(root.pointer, "");
    ck_assert_str_eq(
        json_in_item(json_in_get(root, "foo"), 0).pointer, "/foo/0");
    ck_assert_str_eq(json_in_get(root, "").pointer, "/");
    ck_assert_str_eq(json_in_get(root, "a/b").pointer, "/a~1b");
    ck_assert_str_eq(json_in_get(root, "c%d").pointer, "/c%d");
    ck_assert_str_eq(json_in_get(root, "i\\j").pointer, "/i\\j");
    ck_assert_str_eq(json_in_get(root, "k\"l").pointer, "/k\"l");
    ck_assert_str_eq(json_in_get(root, " ").pointer, "/ ");
    ck_assert_str_eq(json_in_get(root, "m~n").pointer, "/m~0n");
    ck_assert_int_eq(json_integer_value(json_in_get(root, "m~n").value), 8);
    done();
}
END_TEST

START_TEST(absent_and_null_are_the_same_and_no_fault)
{
    struct json_in root = read_text("{\"a\":null,\"b\":[null]}");
    const char *s;
    double x;

    ck_assert(!json_in_here(json_in_get(root, "a")));
    ck_assert(!json_in_here(json_in_get(root, "z")));
    ck_assert(!json_in_here(json_in_item(json_in_get(root, "b"), 0)));
    ck_assert(!json_in_here(json_in_item(json_in_get(root, "b"), 1)));
    ck_assert(!json_in_here(json_in_get(json_in_get(root, "z"), "y")));
    ck_assert(!json_in_text(json_in_get(root, "a"), 9, &s));
    ck_assert(!json_in_number(json_in_get(root, "z"), 0, 1, &x));
    ck_assert_int_eq(err.rc, RC_OK);
    ck_assert(!json_in_need(json_in_get(json_in_get(root, "z"), "y")));
    expect_fault("/z/y", "is required");
    done();
}
END_TEST

START_TEST(every_unknown_field_is_a_fault_of_its_own)
{
    static const char *const names[] = {"a", "b", NULL};
    struct json_in root = read_text("{\"a\":1,\"x/y\":2,\"z\":{}}");

    ck_assert(!json_in_object(root, names));
    ck_assert_uint_eq(err.n_faults, 2);
    ck_assert_str_eq(err.faults->pointer, "/x~1y");
    ck_assert_str_eq(err.faults->next->pointer, "/z");
    done();
}
END_TEST

START_TEST(faults_are_counted_beyond_those_that_are_kept)
{
    static const char *const none[] = {NULL};
    char text[4000] = "{";
    size_t n = 0;

    for (int i = 0; i < 150; i++) {
        char member[16];

        snprintf(member, sizeof(member), "%s\"k%d\":1", i ? "," : "", i);
        memcpy(text + 1 + n, member, strlen(member) + 1);
        n += strlen(member);
    }
    memcpy(text + 1 + n, "}", 2);
    json_in_object(read_text(text), none);
    ck_assert_uint_eq(err.n_faults, 150);
    n = 0;
    for (const struct err_fault *f = err.faults; f; f = f->next)
        n++;
    ck_assert_uint_eq(n, ERR_FAULTS_MAX);
    done();
}
END_TEST

/* ---- values ----------------------------------------------------------- */

enum reader {
    OBJECT,
    ARRAY,  /* 1..3 */
    TEXT,   /* at most 5 */
    LINE,   /* at most 5 */
    NUMBER, /* -1..2 */
    POWER,  /* scaled: 2 places, +-40 */
    AXIS,   /* scaled: 0 places, 1..180 */
    INT,    /* 1..10 */
    BOOL,
    CHOICE,
    UUID,
    TIME,
    DATE
};

static bool read_as(enum reader reader, struct json_in in)
{
    static const char *const names[] = {"a", NULL};
    static const char *const words[] = {"in", "out", NULL};
    static const double powers[] = {-40, 40}, axes[] = {1, 180};
    const char *text;
    double x;
    int32_t whole;
    int64_t n;
    size_t size;
    bool yes;
    int choice;

    switch (reader) {
    case OBJECT:
        return json_in_object(in, names);
    case ARRAY:
        return json_in_array(in, 1, 3, &size);
    case TEXT:
        return json_in_text(in, 5, &text);
    case LINE:
        return json_in_line(in, 5, &text);
    case NUMBER:
        return json_in_number(in, -1, 2, &x);
    case POWER:
        return json_in_scaled(in, 2, powers, &whole);
    case AXIS:
        return json_in_scaled(in, 0, axes, &whole);
    case INT:
        return json_in_int(in, 1, 10, &n);
    case BOOL:
        return json_in_bool(in, &yes);
    case CHOICE:
        return json_in_choice(in, words, &choice);
    case UUID:
        return json_in_uuid(in, &text);
    case TIME:
        return json_in_time(in, NULL, NULL);
    default:
        return json_in_date(in, &text);
    }
}

static const struct {
    enum reader reader;
    const char *value;
    const char *fault; /* NULL: it is good */
} VALUES[] = {
    {OBJECT, "{\"a\":1}", NULL},
    {OBJECT, "{}", NULL},
    {OBJECT, "[]", "must be an object, not an array"},
    {OBJECT, "\"a\"", "must be an object, not a text"},
    {ARRAY, "[1]", NULL},
    {ARRAY, "[1,2,3]", NULL},
    {ARRAY, "[]", "1 to 3 items, not 0"},
    {ARRAY, "[1,2,3,4]", "1 to 3 items, not 4"},
    {ARRAY, "{}", "must be an array, not an object"},
    {TEXT, "\"abc\"", NULL},
    {TEXT, "\"a\\nb\\t\"", NULL},
    /* Five characters, of two, three and four bytes, count as five. */
    {TEXT,
        "\"\xc3\xa9\xe2\x82\xac\xf0\x9f\x91\x81"
        "ab\"",
        NULL},
    {TEXT, "\"abcdef\"", "at most 5 characters, not 6"},
    {TEXT, "\"\"", "must not be empty"},
    {TEXT, "1", "must be a text, not a number"},
    {TEXT, "true", "must be a text, not true or false"},
    /* P-25: what C would cut at the NUL. */
    {TEXT, "\"An\\u0000M\"", "control character"},
    {TEXT, "\"a\\u0007\"", "control character"},
    {TEXT, "\"a\\u007f\"", "control character"},
    {TEXT, "\"a\\u0085b\"", "control character"}, /* C1: next line */
    {TEXT, "\"a\\u009b\"", "control character"},
    {TEXT, "\"a\\u00a0b\"", NULL}, /* no control: a no-break space */
    {TEXT, "\"a\\r\"", "control character"},
    {LINE, "\"abc\"", NULL},
    {LINE, "\"a\\nb\"", "one line"},
    {LINE, "\"a\\tb\"", "one line"},
    {LINE, "\"   \"", "must not be blank"},
    {NUMBER, "-1", NULL},
    {NUMBER, "2.0", NULL},
    {NUMBER, "2.5e-1", NULL},
    {NUMBER, "2.0000001", "must be from -1 to 2"},
    {NUMBER, "-1e300", "must be from -1 to 2"},
    {NUMBER, "9223372036854775807", "must be from -1 to 2"},
    {NUMBER, "\"1\"", "must be a number, not a text"},
    {NUMBER, "[1]", "must be a number, not an array"},
    {POWER, "-2.25", NULL},
    {POWER, "-2.250", NULL},
    {POWER, "-0.0", NULL},
    {POWER, "-225e-2", NULL},
    {POWER, "40", NULL},
    {POWER, "40.01", "must be from -40 to 40, not 40.01"},
    {POWER, "-2.251", "at most 2 decimals"},
    {POWER, "1e-3", "at most 2 decimals"},
    {AXIS, "180", NULL},
    {AXIS, "180.0", NULL},
    {AXIS, "90.5", "must be a whole number"},
    {AXIS, "0", "must be from 1 to 180"},
    {AXIS, "181", "must be from 1 to 180"},
    {AXIS, "-10", "must be from 1 to 180"},
    {INT, "1", NULL},
    {INT, "1e1", NULL},
    {INT, "11", "must be from 1 to 10"},
    {INT, "1.5", "must be a whole number"},
    {INT, "\"1\"", "must be a number"},
    {BOOL, "true", NULL},
    {BOOL, "false", NULL},
    {BOOL, "0", "must be true or false"},
    {BOOL, "\"true\"", "must be true or false"},
    {CHOICE, "\"in\"", NULL},
    {CHOICE, "\"In\"", "must be one of in, out"},
    {CHOICE, "\"in\\u0000\"", "must be one of in, out"},
    {CHOICE, "\"\"", "must be one of in, out"},
    {CHOICE, "0", "must be a text"},
    {UUID, "\"017F22E2-79B0-7CC3-98C4-DC0C0C07398F\"", NULL},
    {UUID, "\"017f22e2-79b0-7cc3-98c4-dc0c0c07398f\\u0000\"", "an id"},
    {UUID, "\"17\"", "an id"},
    {UUID, "17", "must be a text"},
    {TIME, "\"2026-03-02T09:14:05+01:00\"", NULL},
    {TIME, "\"2026-03-02T09:14:05\"", "with an offset"},
    {TIME, "\"2026-03-02T09:14:05Z\\u0000\"", "with an offset"},
    {TIME, "1772439245", "must be a text"},
    {DATE, "\"1984\"", NULL},
    {DATE, "\"1984-05-31\"", NULL},
    {DATE, "\"1984-06-31\"", "must be a date"},
    {DATE, "\"1984\\u0000\"", "must be a date"},
    {DATE, "1984", "must be a text"},
};

START_TEST(a_value_is_read_or_named_as_wrong)
{
    char text[200];
    struct json_in in;

    snprintf(text, sizeof(text), "{\"v\":%s}", VALUES[_i].value);
    in = json_in_get(read_text(text), "v");
    ck_assert_msg(read_as(VALUES[_i].reader, in) == !VALUES[_i].fault, "%s",
        VALUES[_i].value);
    if (VALUES[_i].fault)
        expect_fault("/v", VALUES[_i].fault);
    else
        ck_assert_uint_eq(err.n_faults, 0);
    done();
}
END_TEST

START_TEST(what_is_read_is_what_stands_there)
{
    static const double powers[] = {-40, 40};
    static const char *const words[] = {"in", "out", NULL};
    struct json_in root =
        read_text("{\"p\":-7.68,\"i\":1e1,\"c\":\"out\",\"t\":"
                  "\"2026-03-02T09:14:05.5+01:00\",\"u\":"
                  "\"017F22E2-79B0-7CC3-98C4-DC0C0C07398F\",\"z\":-0.0}");
    int32_t cd, zero = 9;
    int64_t n, us;
    int choice, offset;
    const char *id;

    ck_assert(json_in_scaled(json_in_get(root, "p"), 2, powers, &cd));
    ck_assert_int_eq(cd, -768);
    ck_assert(json_in_scaled(json_in_get(root, "z"), 2, powers, &zero));
    ck_assert_int_eq(zero, 0);
    ck_assert(json_in_int(json_in_get(root, "i"), 0, 100, &n));
    ck_assert_int_eq(n, 10);
    ck_assert(json_in_choice(json_in_get(root, "c"), words, &choice));
    ck_assert_int_eq(choice, 1);
    ck_assert(json_in_time(json_in_get(root, "t"), &us, &offset));
    ck_assert_int_eq(us, INT64_C(1772439245500000)); /* date +%s */
    ck_assert_int_eq(offset, 60);
    ck_assert(json_in_uuid(json_in_get(root, "u"), &id));
    ck_assert_str_eq(id, "017f22e2-79b0-7cc3-98c4-dc0c0c07398f");
    done();
}
END_TEST

START_TEST(all_faults_of_an_input_are_told_in_order)
{
    static const char *const names[] = {"a", "b", NULL};
    struct json_in root = read_text("{\"a\":\"x\",\"b\":3,\"c\":1}");
    const char *s;
    double x;

    json_in_object(root, names);
    json_in_number(json_in_get(root, "a"), 0, 1, &x);
    json_in_number(json_in_get(root, "b"), 0, 1, &x);
    json_in_need(json_in_get(root, "d"));
    ck_assert(!json_in_text(json_in_get(root, "b"), 5, &s));
    ck_assert_uint_eq(err.n_faults, 5);
    ck_assert_str_eq(err.faults->pointer, "/c");
    ck_assert_str_eq(err.faults->next->pointer, "/a");
    ck_assert_str_eq(err.last->pointer, "/b");
    ck_assert_int_eq(err.rc, RC_INVALID);
    done();
}
END_TEST

Suite *suite_json_in(void)
{
    TCase *tc;
    Suite *s = suite_new("json_in", &tc);

    tcase_add_loop_test(
        tc, a_document_is_read_whole_or_refused_with_its_place, 0, ROWS(PARSE));
    tcase_add_test(tc, deep_nesting_is_refused_and_never_a_crash);
    tcase_add_test(tc, pointers_are_written_as_the_standard_says);
    tcase_add_test(tc, absent_and_null_are_the_same_and_no_fault);
    tcase_add_test(tc, every_unknown_field_is_a_fault_of_its_own);
    tcase_add_test(tc, faults_are_counted_beyond_those_that_are_kept);
    tcase_add_loop_test(tc, a_value_is_read_or_named_as_wrong, 0, ROWS(VALUES));
    tcase_add_test(tc, what_is_read_is_what_stands_there);
    tcase_add_test(tc, all_faults_of_an_input_are_told_in_order);
    return s;
}
