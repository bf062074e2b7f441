#pragma once
/*
 * tests/fuzz/reading_target.h - what every decoder's fuzz target does.
 */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

struct record_reading;

#define PROMISE(held)                                                          \
    do {                                                                       \
        if (!(held)) {                                                         \
            fprintf(stderr, "broken promise: %s\n", #held);                    \
            abort();                                                           \
        }                                                                      \
    } while (0)

/*
 * Decodes bytes as media_type says.  Aborts when the decoder breaks a promise:
 * a refusal that names no fault, a reading out of the record's range, an entry
 * that is no JSON.
 */
void reading_target(const char *media_type, const uint8_t *bytes, size_t len);

/* The same of one reading that a decoder made. */
void reading_target_check(struct record_reading *r);
