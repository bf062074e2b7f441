#pragma once
/*
 * base/hash.h - SHA-256 (FIPS 180-4, by libsodium).
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define HASH_SIZE 32

void hash_bytes(const void *bytes, size_t len, uint8_t ret[HASH_SIZE]);

/* Lower-case hex of n bytes and NUL into text (2n + 1 bytes); returns text. */
char *hash_hex(const uint8_t *bytes, size_t n, char *text);

/* Base64 (RFC 4648, with padding) of a hash and NUL into text; returns text. */
#define HASH_BASE64_SIZE 45
char *hash_base64(const uint8_t hash[HASH_SIZE], char text[HASH_BASE64_SIZE]);

/* The n bytes that text is the hex of; false when it isn't. */
bool hash_from_hex(const char *text, uint8_t *ret, size_t n);
