#include "base/secret.h"

#include <sodium.h>
#include <string.h>

_Static_assert(SECRET_HASH_SIZE >= crypto_pwhash_STRBYTES, "room for the hash");

static const char PREFIX[] = "lens_";

void secret_token_new(
    char ret_token[SECRET_TOKEN_SIZE], uint8_t ret_hash[HASH_SIZE])
{
    uint8_t bytes[32];
    size_t len = strlen(PREFIX);

    randombytes_buf(bytes, sizeof(bytes));
    memcpy(ret_token, PREFIX, len);
    sodium_bin2base64(ret_token + len, SECRET_TOKEN_SIZE - len, bytes,
        sizeof(bytes), sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    hash_bytes(ret_token, strlen(ret_token), ret_hash);
    sodium_memzero(bytes, sizeof(bytes));
}

bool secret_password_fits(const char *password)
{
    size_t n = 0;

    for (; *password; password++)
        n += ((unsigned char)*password & 0xc0) != 0x80;
    return n >= SECRET_PASSWORD_MIN && n <= SECRET_PASSWORD_MAX;
}

bool secret_password_hash(const char *password, char ret_hash[SECRET_HASH_SIZE])
{
    return crypto_pwhash_str(ret_hash, password, strlen(password),
               crypto_pwhash_OPSLIMIT_INTERACTIVE,
               crypto_pwhash_MEMLIMIT_INTERACTIVE) == 0;
}
