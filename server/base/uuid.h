#pragma once
/*
 * base/uuid.h - ids: UUID version 7 (RFC 9562), time-ordered.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define UUID_TEXT_SIZE 37 /* 36 characters and NUL */

struct uuid {
    uint8_t bytes[16];
};

/* A new id for the instant now_us (microseconds since 1970) from random
 * bytes of the system; the microseconds stand in rand_a, so ids of one
 * process sort by time to about a quarter of a microsecond. */
struct uuid uuid_new(int64_t now_us);

/* 36 lower-case characters and NUL into text; returns text. */
char *uuid_text(struct uuid id, char text[UUID_TEXT_SIZE]);

/* True when s[0..len) is a UUID in its 36-character form (any version, any
 * case); its lower-case form goes to lower. */
bool uuid_parse(const char *s, size_t len, char lower[UUID_TEXT_SIZE]);

/* The bytes of a text that uuid_parse or uuid_text made. */
struct uuid uuid_from_text(const char *text);
