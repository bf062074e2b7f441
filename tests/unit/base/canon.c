#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "suites.h"

#include "base/canon.h"
#include "base/sign.h"

/* RFC 8785, appendix B: the bits of a double and how it is written (from
 * memory of the document; each agrees with JSON.stringify of node 20). */
static const struct {
    uint64_t bits;
    const char *text;
} NUMBERS[] = {
    {0x0000000000000000, "0"},
    {0x8000000000000000, "0"},
    {0x0000000000000001, "5e-324"},
    {0x8000000000000001, "-5e-324"},
    {0x7fefffffffffffff, "1.7976931348623157e+308"},
    {0x4340000000000000, "9007199254740992"},
    {0xc340000000000000, "-9007199254740992"},
    {0x4430000000000000, "295147905179352830000"},
    {0x44b52d02c7e14af5, "9.999999999999997e+22"},
    {0x44b52d02c7e14af6, "1e+23"},
    {0x44b52d02c7e14af7, "1.0000000000000001e+23"},
    {0x444b1ae4d6e2ef4e, "999999999999999700000"},
    {0x444b1ae4d6e2ef4f, "999999999999999900000"},
    {0x444b1ae4d6e2ef50, "1e+21"},
    {0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"},
    {0x3eb0c6f7a0b5ed8d, "0.000001"},
    {0x41b3de4355555553, "333333333.3333332"},
    {0x41b3de4355555555, "333333333.3333333"},
    {0xbecbf647612f3696, "-0.0000033333333333333333"},
    {0x43143ff3c1cb0959, "1424953923781206.2"},
};

START_TEST(numbers_are_written_as_the_standard_does)
{
    TEXT_AUTO t = {0};
    json_t *value;
    double x;

    memcpy(&x, &NUMBERS[_i].bits, sizeof(x));
    value = json_real(x);
    canon_write(value, NULL, &t);
    ck_assert_str_eq(t.data, NUMBERS[_i].text);
    json_decref(value);
}
END_TEST

/* (as sent, as written canonically); the second is the standard's example of
 * sorting by UTF-16 code units (RFC 8785, 3.2.3, from memory). */
static const struct {
    const char *why, *in, *out;
} VALUES[] = {
    {"figures of the record", "{\"sphere\":-2.250,\"axis\":1.0e1,\"a\":[]}",
        "{\"a\":[],\"axis\":10,\"sphere\":-2.25}"},
    {"names by code units",
        "{\"\\u20ac\":1,\"\\r\":2,\"\\ufb33\":3,\"1\":4,"
        "\"\\ud83d\\ude00\":5,\"\\u0080\":6,\"\\u00f6\":7}",
        "{\"\\r\":2,\"1\":4,\"\xc2\x80\":6,\"\xc3\xb6\":7,\"\xe2\x82\xac\":1,"
        "\"\xf0\x9f\x98\x80\":5,\"\xef\xac\xb3\":3}"},
    {"texts escape what they must",
        "[\"\\u20ac$\\u000f\\nA'B\\\"\\\\\\\\\\\"\\/\",\"\\u007f\"]",
        "[\"\xe2\x82\xac$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\",\"\x7f\"]"},
    {"words, and whole numbers", "[true,false,null,-0,-7,12.00]",
        "[true,false,null,0,-7,12]"},
    {"one name begins another", "{\"ab\":1,\"a\":{\"c\":1,\"b\":2},\"\":0}",
        "{\"\":0,\"a\":{\"b\":2,\"c\":1},\"ab\":1}"},
};

START_TEST(values_are_written_in_one_way)
{
    TEXT_AUTO t = {0};
    json_t *value = json_loads(VALUES[_i].in, 0, NULL);

    ck_assert_ptr_nonnull(value);
    canon_write(value, NULL, &t);
    ck_assert_msg(
        strcmp(t.data, VALUES[_i].out) == 0, "%s: %s", VALUES[_i].why, t.data);
    json_decref(value);
}
END_TEST

START_TEST(one_member_is_left_out_at_the_top_alone)
{
    TEXT_AUTO t = {0};
    json_t *value = json_loads("{\"s\":{\"s\":1},\"a\":{\"s\":2}}", 0, NULL);

    canon_write(value, "s", &t);
    ck_assert_str_eq(t.data, "{\"a\":{\"s\":2}}");
    json_decref(value);
}
END_TEST

/* ---- signatures -----------------------------------------------------------
 */

static void bytes_of(const char *hex, uint8_t *ret, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        char two[3] = {hex[2 * i], hex[2 * i + 1], '\0'};

        ret[i] = (uint8_t)strtoul(two, NULL, 16);
    }
}

/* RFC 8032, 7.1, tests 1 and 2 (from memory: a wrong digit would fail). */
static const struct {
    const char *public_key, *message, *signature;
    size_t len;
} SIGNED[] = {
    {"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8"
        "821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
        0},
    {"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "\x72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085a"
        "c1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        1},
};

START_TEST(signatures_of_the_standard_are_good_and_others_are_not)
{
    uint8_t key[SIGN_PUBLIC_SIZE], signature[SIGN_SIZE];

    bytes_of(SIGNED[_i].public_key, key, sizeof(key));
    bytes_of(SIGNED[_i].signature, signature, sizeof(signature));
    ck_assert(sign_good(key, SIGNED[_i].message, SIGNED[_i].len, signature));
    ck_assert(!sign_good(key, "x", 1, signature));
    signature[5] ^= 1;
    ck_assert(!sign_good(key, SIGNED[_i].message, SIGNED[_i].len, signature));
}
END_TEST

START_TEST(keys_differ_by_root_word_and_id_and_come_again)
{
    uint8_t roots[2][SIGN_ROOT_SIZE] = {{1}, {2}}, a[32], b[32];
    struct sign_key one, again;
    char text[SIGN_TEXT_SIZE];
    uint8_t signature[SIGN_SIZE];

    sign_derive(roots[0], "word", "id", a);
    sign_derive(roots[0], "word", "id", b);
    ck_assert(memcmp(a, b, sizeof(a)) == 0);
    sign_derive(roots[1], "word", "id", b);
    ck_assert(memcmp(a, b, sizeof(a)) != 0);
    sign_derive(roots[0], "wordi", "d", b);
    ck_assert(memcmp(a, b, sizeof(a)) != 0);
    sign_key_derive(roots[0], "k", &one);
    sign_key_derive(roots[0], "k", &again);
    ck_assert(memcmp(&one, &again, sizeof(one)) == 0);
    sign_text(&one, "made", 4, text);
    ck_assert(sign_from_text(text, signature, sizeof(signature)));
    ck_assert(sign_good(one.public_key, "made", 4, signature));
    ck_assert(!sign_from_text("AAAA", signature, sizeof(signature)));
    ck_assert(!sign_from_text("!", signature, sizeof(signature)));
}
END_TEST

/* RFC 4231, test case 2. */
START_TEST(a_code_of_authentication_is_the_standards)
{
    uint8_t want[SIGN_MAC_SIZE], got[SIGN_MAC_SIZE];

    bytes_of("5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        want, sizeof(want));
    sign_mac(
        (const uint8_t *)"Jefe", 4, "what do ya want ", "for nothing?", got);
    ck_assert(memcmp(want, got, sizeof(got)) == 0);
}
END_TEST

Suite *suite_canon(void)
{
    TCase *tc;
    Suite *s = suite_new("canon", &tc);

    tcase_add_loop_test(tc, numbers_are_written_as_the_standard_does, 0,
        (int)(sizeof(NUMBERS) / sizeof(NUMBERS[0])));
    tcase_add_loop_test(tc, values_are_written_in_one_way, 0,
        (int)(sizeof(VALUES) / sizeof(VALUES[0])));
    tcase_add_test(tc, one_member_is_left_out_at_the_top_alone);
    tcase_add_loop_test(
        tc, signatures_of_the_standard_are_good_and_others_are_not, 0, 2);
    tcase_add_test(tc, keys_differ_by_root_word_and_id_and_come_again);
    tcase_add_test(tc, a_code_of_authentication_is_the_standards);
    return s;
}
