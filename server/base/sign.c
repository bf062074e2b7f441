#include "base/sign.h"

#include <errno.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "base/hash.h"

#define VARIANT sodium_base64_VARIANT_URLSAFE_NO_PADDING

enum rc sign_root_read(
    const char *path, uint8_t ret[SIGN_ROOT_SIZE], struct err *err)
{
    char hex[2 * SIGN_ROOT_SIZE + 2] = "";
    FILE *f = fopen(path, "re");
    size_t n;
    bool good;

    if (!f)
        return err_set(err, RC_INVALID, NULL, "[secrets] can't read %s: %s",
            path, strerror(errno));
    n = fread(hex, 1, sizeof(hex) - 1, f);
    fclose(f);
    hex[n] = '\0';
    hex[strcspn(hex, "\r\n")] = '\0';
    good = hash_from_hex(hex, ret, SIGN_ROOT_SIZE);
    sodium_memzero(hex, sizeof(hex));
    if (!good)
        return err_set(err, RC_INVALID, NULL,
            "[secrets] %s must hold 64 hexadecimal digits and nothing else",
            path);
    return RC_OK;
}

void sign_derive(const uint8_t root[SIGN_ROOT_SIZE], const char *what,
    const char *id, uint8_t ret[32])
{
    crypto_generichash_state state;

    crypto_generichash_init(&state, root, SIGN_ROOT_SIZE, 32);
    /* With the NUL between, no two pairs of texts are the same bytes. */
    crypto_generichash_update(
        &state, (const unsigned char *)what, strlen(what) + 1);
    crypto_generichash_update(&state, (const unsigned char *)id, strlen(id));
    crypto_generichash_final(&state, ret, 32);
    sodium_memzero(&state, sizeof(state));
}

void sign_key_derive(const uint8_t root[SIGN_ROOT_SIZE], const char *key_id,
    struct sign_key *ret)
{
    uint8_t seed[32];

    sign_derive(root, "signing key", key_id, seed);
    crypto_sign_seed_keypair(ret->public_key, ret->secret, seed);
    sodium_memzero(seed, sizeof(seed));
}

void sign_text(const struct sign_key *key, const void *bytes, size_t len,
    char ret[SIGN_TEXT_SIZE])
{
    uint8_t signature[SIGN_SIZE];

    crypto_sign_detached(signature, NULL, bytes, len, key->secret);
    sodium_bin2base64(ret, SIGN_TEXT_SIZE, signature, SIGN_SIZE, VARIANT);
}

void sign_public_text(
    const uint8_t public_key[SIGN_PUBLIC_SIZE], char ret[SIGN_PUBLIC_TEXT_SIZE])
{
    sodium_bin2base64(
        ret, SIGN_PUBLIC_TEXT_SIZE, public_key, SIGN_PUBLIC_SIZE, VARIANT);
}

bool sign_from_text(const char *text, uint8_t *ret, size_t n)
{
    size_t len;

    return sodium_base642bin(
               ret, n, text, strlen(text), NULL, &len, NULL, VARIANT) == 0 &&
           len == n;
}

bool sign_good(const uint8_t public_key[SIGN_PUBLIC_SIZE], const void *bytes,
    size_t len, const uint8_t signature[SIGN_SIZE])
{
    return crypto_sign_verify_detached(signature, bytes, len, public_key) == 0;
}

void sign_mac(const uint8_t *secret, size_t secret_len, const char *head,
    const char *body, uint8_t ret[SIGN_MAC_SIZE])
{
    crypto_auth_hmacsha256_state state;

    crypto_auth_hmacsha256_init(&state, secret, secret_len);
    crypto_auth_hmacsha256_update(
        &state, (const unsigned char *)head, strlen(head));
    crypto_auth_hmacsha256_update(
        &state, (const unsigned char *)body, strlen(body));
    crypto_auth_hmacsha256_final(&state, ret);
    sodium_memzero(&state, sizeof(state));
}
