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

/* The n bytes that text is the hex of; false when it isn't. */
bool hash_from_hex(const char *text, uint8_t *ret, size_t n);
