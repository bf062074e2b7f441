#pragma once
/*
 * base/secret.h - tokens and passwords (by libsodium).
 *
 * A token is told once and kept as its SHA-256; it has 256 random bits, so a
 * fast hash is enough.  A password is kept as its Argon2id string.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/hash.h"

#define SECRET_TOKEN_SIZE 49 /* "lens_", 43 characters, NUL */
#define SECRET_HASH_SIZE 128 /* libsodium's password string and its NUL */
#define SECRET_PASSWORD_MIN 12
#define SECRET_PASSWORD_MAX 200

/* A new token: 32 random bytes in base64url behind our prefix, which lets
 * people and scanners tell what a leaked text is. */
void secret_token_new(
    char ret_token[SECRET_TOKEN_SIZE], uint8_t ret_hash[HASH_SIZE]);

/* True when password has SECRET_PASSWORD_MIN to SECRET_PASSWORD_MAX characters
 * (code points of UTF-8). */
bool secret_password_fits(const char *password);

/*
 * Argon2id with libsodium's interactive limits: 64 MiB and about a tenth of a
 * second, so never on the loop's thread.  False when there is no memory.
 */
bool secret_password_hash(
    const char *password, char ret_hash[SECRET_HASH_SIZE]);
