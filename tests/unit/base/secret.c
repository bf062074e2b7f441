#include <sodium.h>
#include <string.h>

#include "suites.h"

#include "base/secret.h"

START_TEST(a_token_is_url_safe_random_and_kept_as_its_hash)
{
    char token[SECRET_TOKEN_SIZE], other[SECRET_TOKEN_SIZE];
    uint8_t hash[HASH_SIZE], again[HASH_SIZE];

    secret_token_new(token, hash);
    secret_token_new(other, again);
    ck_assert_str_ne(token, other);
    ck_assert(strncmp(token, "lens_", 5) == 0);
    ck_assert_uint_eq(strlen(token), 48);
    /* RFC 4648, section 5: the alphabet of base64url. */
    ck_assert_uint_eq(
        strspn(token + 5, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
                          "0123456789-_"),
        43);
    hash_bytes(token, strlen(token), again);
    ck_assert(memcmp(hash, again, HASH_SIZE) == 0);
}
END_TEST

START_TEST(a_password_fits_its_hash_only)
{
    char hash[SECRET_HASH_SIZE], other[SECRET_HASH_SIZE];
    static const char right[] = "correct horse battery";
    static const char wrong[] = "correct horse Battery";

    ck_assert(secret_password_hash(right, hash));
    ck_assert(secret_password_hash(right, other));
    ck_assert_str_ne(hash, other); /* a salt of its own */
    /* The PHC string of Argon2id (RFC 9106): version 19, 64 MiB. */
    ck_assert(strncmp(hash, "$argon2id$v=19$m=65536,", 23) == 0);
    ck_assert_int_eq(crypto_pwhash_str_verify(hash, right, strlen(right)), 0);
    ck_assert_int_ne(crypto_pwhash_str_verify(hash, wrong, strlen(wrong)), 0);
    ck_assert_int_ne(crypto_pwhash_str_verify(hash, "", 0), 0);
}
END_TEST

Suite *suite_secret(void)
{
    TCase *tc;
    Suite *s = suite_new("secret", &tc);

    tcase_set_timeout(tc, 60); /* three Argon2id under sanitizers */
    tcase_add_test(tc, a_token_is_url_safe_random_and_kept_as_its_hash);
    tcase_add_test(tc, a_password_fits_its_hash_only);
    return s;
}
