#include <string.h>

#include "suites.h"

#include "base/hash.h"

/* FIPS 180-4 (its examples are on NIST's page of example values; the empty
 * text's by sha256sum of GNU coreutils). */
static const struct {
    const char *text, *hex;
} SHA[] = {
    {"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
    {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
    {"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
};

START_TEST(the_hash_is_the_standards)
{
    uint8_t hash[HASH_SIZE], back[HASH_SIZE];
    char hex[2 * HASH_SIZE + 1];

    hash_bytes(SHA[_i].text, strlen(SHA[_i].text), hash);
    ck_assert_str_eq(hash_hex(hash, HASH_SIZE, hex), SHA[_i].hex);
    ck_assert(hash_from_hex(hex, back, HASH_SIZE));
    ck_assert(memcmp(back, hash, HASH_SIZE) == 0);
}
END_TEST

static const char *const BAD_HEX[] = {
    "", "0", "0g", "00112", "001122 33", "0011223344", "001122"};

START_TEST(what_is_no_hex_of_that_length_is_refused)
{
    uint8_t four[4];

    ck_assert(!hash_from_hex(BAD_HEX[_i], four, sizeof(four)));
}
END_TEST

START_TEST(hex_is_read_in_any_case)
{
    static const uint8_t want[] = {0x00, 0x7f, 0xab, 0xff};
    uint8_t four[4];

    ck_assert(hash_from_hex("007FabFf", four, sizeof(four)));
    ck_assert(memcmp(four, want, sizeof(four)) == 0);
}
END_TEST

Suite *suite_hash(void)
{
    TCase *tc;
    Suite *s = suite_new("hash", &tc);

    tcase_add_loop_test(tc, the_hash_is_the_standards, 0, ROWS(SHA));
    tcase_add_loop_test(
        tc, what_is_no_hex_of_that_length_is_refused, 0, ROWS(BAD_HEX));
    tcase_add_test(tc, hex_is_read_in_any_case);
    return s;
}
