#include "base/hash.h"

#include <sodium.h>
#include <string.h>

void hash_bytes(const void *bytes, size_t len, uint8_t ret[HASH_SIZE])
{
    crypto_hash_sha256(ret, bytes, len);
}

char *hash_hex(const uint8_t *bytes, size_t n, char *text)
{
    return sodium_bin2hex(text, 2 * n + 1, bytes, n);
}

char *hash_base64(const uint8_t hash[HASH_SIZE], char text[HASH_BASE64_SIZE])
{
    return sodium_bin2base64(text, HASH_BASE64_SIZE, hash, HASH_SIZE,
        sodium_base64_VARIANT_ORIGINAL);
}

bool hash_from_hex(const char *text, uint8_t *ret, size_t n)
{
    size_t len;

    return sodium_hex2bin(ret, n, text, strlen(text), NULL, &len, NULL) == 0 &&
           len == n;
}
