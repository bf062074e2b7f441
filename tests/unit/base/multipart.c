#include "base/multipart.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "suites.h"

/* Forms as in RFC 2045, 2046 and 2387; the bytes are ours. */
static const struct {
    const char *why, *type, *name, *value; /* value NULL: none */
} PARAMETERS[] = {
    {"a token", "multipart/related; boundary=abc", "boundary", "abc"},
    {"quoted", "multipart/related;boundary=\"a b;c\"", "boundary", "a b;c"},
    {"a quote in quotes", "x/y; a=\"\\\"q\\\"\"", "a", "\"q\""},
    {"names have no case", "x/y; BOUNDARY=abc", "boundary", "abc"},
    {"among others",
        "multipart/related; type=\"application/dicom+json\"; boundary=b1; z=1",
        "boundary", "b1"},
    {"blanks around", "x/y ;  a=1 ; boundary=b ", "boundary", "b"},
    {"a media type without quotes",
        "multipart/related; type=application/dicom; boundary=b", "type",
        "application/dicom"},
    {"an empty one", "x/y;; boundary=b;", "boundary", "b"},
    {"no parameters", "multipart/related", "boundary", NULL},
    {"another name that ends so", "x/y; aboundary=b", "boundary", NULL},
    {"inside a quoted one", "x/y; a=\"; boundary=b\"", "boundary", NULL},
    {"twice", "x/y; boundary=a; boundary=b", "boundary", NULL},
    {"an open quote", "x/y; boundary=\"abc", "boundary", NULL},
    {"no value", "x/y; boundary=", "boundary", NULL},
    {"no equals sign", "x/y; boundary", "boundary", NULL},
    {"rubbish behind", "x/y; boundary=a b", "boundary", NULL},
    {"too long", "x/y; boundary=0123456789012345678901", "boundary", NULL},
    {"an escape at the end", "x/y; boundary=\"a\\", "boundary", NULL},
};

START_TEST(a_parameter_is_found)
{
    char got[20];
    bool found = multipart_parameter(
        PARAMETERS[_i].type, PARAMETERS[_i].name, got, sizeof(got));

    ck_assert_msg(found == !!PARAMETERS[_i].value, "%s", PARAMETERS[_i].why);
    if (found)
        ck_assert_str_eq(got, PARAMETERS[_i].value);
}
END_TEST

#define P "--b\r\nContent-Type: a/b\r\n\r\n"

static const struct {
    const char *why, *body;
    const char *parts; /* each in [], ! for broken */
} BODIES[] = {
    {"one part", P "one\r\n--b--\r\n", "[one]"},
    {"no line behind the last", P "one\r\n--b--", "[one]"},
    {"two", P "one\r\n" P "two\r\n--b--\r\n", "[one][two]"},
    {"preamble and epilogue", "hello\r\n" P "one\r\n--b--\r\nbye", "[one]"},
    {"blanks behind the boundary",
        "--b \t\r\nContent-Type: a/b\r\n\r\none\r\n--b-- \r\n", "[one]"},
    {"no headers", "--b\r\n\r\none\r\n--b--", "[one]"},
    {"lines inside", P "a\r\n\r\nb\r\n--b--", "[a\r\n\r\nb]"},
    {"a longer boundary is none", P "a\r\n--bb\r\nc\r\n--b--",
        "[a\r\n--bb\r\nc]"},
    {"not at the beginning of a line", P "a --b-- c\r\n--b--", "[a --b-- c]"},
    {"a bare line feed ends no line", P "a\n--b--\r\n--b--", "[a\n--b--]"},
    {"an empty part", P "\r\n--b--", "[]"},
    {"nothing at all behind the headers", P "--b--", "[]"},
    {"dashes of its own", P "----\r\n--b--", "[----]"},
    {"no end", P "one\r\n", "!"},
    {"an end that is cut", P "one\r\n--b", "!"},
    {"no end after the second", P "one\r\n" P "two", "[one]!"},
    {"no boundary", "one", "!"},
    {"nothing", "", "!"},
    {"only an end", "--b--\r\n", "!"},
    {"another boundary", "--c\r\n\r\none\r\n--c--", "!"},
    {"a header without a colon", "--b\r\nhello\r\n\r\none\r\n--b--", "!"},
    {"a folded header", "--b\r\nA: b\r\n c\r\n\r\none\r\n--b--", "!"},
    {"a blank in a name", "--b\r\nA b: c\r\n\r\none\r\n--b--", "!"},
    {"headers without end", "--b\r\nA: b\r\n--b--", "!"},
};

START_TEST(a_body_falls_into_parts)
{
    struct multipart m;
    struct multipart_part part;
    enum multipart_step step;
    struct text got = {0};

    ck_assert(
        multipart_start(&m, "b", BODIES[_i].body, strlen(BODIES[_i].body)));
    while ((step = multipart_next(&m, &part)) == MULTIPART_PART)
        text_printf(&got, "[%.*s]", (int)part.len, part.bytes);
    if (step == MULTIPART_BROKEN)
        text_putc(&got, '!');
    ck_assert_msg(strcmp(got.data, BODIES[_i].parts) == 0, "%s: %s",
        BODIES[_i].why, got.data);
    text_free(&got);
}
END_TEST

START_TEST(a_part_tells_its_type)
{
    static const char body[] =
        "--b\r\ncontent-type: Application/DICOM+json; charset=utf-8\r\n"
        "Content-Location: x\r\n\r\n1\r\n"
        "--b\r\n\r\n2\r\n"
        "--b\r\nContent-Transfer-Encoding: BASE64\r\n\r\n3\r\n"
        "--b\r\nContent-Transfer-Encoding: binary\r\n\r\n4\r\n--b--";
    static const char *const types[] = {
        "application/dicom+json", "text/plain", "text/plain", "text/plain"};
    struct multipart m;
    struct multipart_part part;

    ck_assert(multipart_start(&m, "b", body, strlen(body)));
    for (size_t i = 0; i < ARRAY_LEN(types); i++) {
        ck_assert_int_eq(multipart_next(&m, &part), MULTIPART_PART);
        ck_assert_str_eq(part.type, types[i]);
        ck_assert_int_eq(part.encoded, i == 2);
    }
    ck_assert_int_eq(multipart_next(&m, &part), MULTIPART_END);
    ck_assert_int_eq(multipart_next(&m, &part), MULTIPART_END);
}
END_TEST

START_TEST(bytes_of_any_value_pass)
{
    struct text body = {0};
    struct multipart m;
    struct multipart_part part;

    text_puts(&body, "--b\r\n\r\n");
    for (int i = 0; i < 256; i++)
        text_putc(&body, (char)i);
    text_puts(&body, "\r\n--b--");
    ck_assert(multipart_start(&m, "b", body.data, body.len));
    ck_assert_int_eq(multipart_next(&m, &part), MULTIPART_PART);
    ck_assert_uint_eq(part.len, 256);
    for (int i = 0; i < 256; i++)
        ck_assert_int_eq((unsigned char)part.bytes[i], i);
    text_free(&body);
}
END_TEST

START_TEST(a_boundary_has_a_form)
{
    struct multipart m;
    char longest[MULTIPART_BOUNDARY_MAX + 2] = {0};

    memset(longest, 'x', MULTIPART_BOUNDARY_MAX);
    ck_assert(multipart_start(&m, longest, "", 0));
    memset(longest, 'x', MULTIPART_BOUNDARY_MAX + 1);
    ck_assert(!multipart_start(&m, longest, "", 0));
    ck_assert(!multipart_start(&m, "", "", 0));
    ck_assert(!multipart_start(&m, "a ", "", 0));
    ck_assert(!multipart_start(&m, "a\r\n", "", 0));
    ck_assert(multipart_start(&m, "a b'()+_,-./:=?", "", 0));
}
END_TEST

Suite *suite_multipart(void)
{
    TCase *tc;
    Suite *s = suite_new("multipart", &tc);

    tcase_add_loop_test(tc, a_parameter_is_found, 0, ROWS(PARAMETERS));
    tcase_add_loop_test(tc, a_body_falls_into_parts, 0, ROWS(BODIES));
    tcase_add_test(tc, a_part_tells_its_type);
    tcase_add_test(tc, bytes_of_any_value_pass);
    tcase_add_test(tc, a_boundary_has_a_form);
    return s;
}
