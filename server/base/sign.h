#pragma once
/*
 * base/sign.h - signatures by Ed25519 (RFC 8032), and authentication codes by
 * HMAC-SHA-256 (RFC 2104), with libsodium.
 *
 * One file of the operator holds 32 random bytes, the root.  The private key
 * of each network's key, and the secret of each webhook, are derived from it
 * and their ids (BLAKE2b with the root as its key), so the database holds no
 * secret; whoever loses the file makes new keys, and the public ones stay.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"

#define SIGN_ROOT_SIZE 32
#define SIGN_PUBLIC_SIZE 32
#define SIGN_SECRET_SIZE 64
#define SIGN_SIZE 64
#define SIGN_TEXT_SIZE 87 /* base64url of a signature, and NUL */
#define SIGN_PUBLIC_TEXT_SIZE 44
#define SIGN_MAC_SIZE 32

/* Reads 64 hexadecimal digits from the file at path. */
enum rc sign_root_read(
    const char *path, uint8_t ret[SIGN_ROOT_SIZE], struct err *err);

/* 32 bytes for what (a word) and id. */
void sign_derive(const uint8_t root[SIGN_ROOT_SIZE], const char *what,
    const char *id, uint8_t ret[32]);

struct sign_key {
    uint8_t public_key[SIGN_PUBLIC_SIZE];
    uint8_t secret[SIGN_SECRET_SIZE];
};

void sign_key_derive(const uint8_t root[SIGN_ROOT_SIZE], const char *key_id,
    struct sign_key *ret);

/* base64url without padding. */
void sign_text(const struct sign_key *key, const void *bytes, size_t len,
    char ret[SIGN_TEXT_SIZE]);
void sign_public_text(const uint8_t public_key[SIGN_PUBLIC_SIZE],
    char ret[SIGN_PUBLIC_TEXT_SIZE]);

/* The n bytes that text is the base64url of; false when it isn't. */
bool sign_from_text(const char *text, uint8_t *ret, size_t n);

bool sign_good(const uint8_t public_key[SIGN_PUBLIC_SIZE], const void *bytes,
    size_t len, const uint8_t signature[SIGN_SIZE]);

void sign_mac(const uint8_t *secret, size_t secret_len, const char *head,
    const char *body, uint8_t ret[SIGN_MAC_SIZE]);
