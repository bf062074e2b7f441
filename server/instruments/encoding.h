#pragma once
/*
 * instruments/encoding.h - text of a payload as UTF-8.
 *
 * A byte order mark decides; without one what was declared.  What isn't valid
 * is refused with its place, never replaced.
 */
#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"

enum encoding {
    ENCODING_UTF_8,
    ENCODING_UTF_16LE,
    ENCODING_UTF_16BE,
    ENCODING_LATIN_1 /* ISO/IEC 8859-1 */
};

/* utf-8, utf-16le, utf-16be, latin-1; NULL-ended */
extern const char *const ENCODING_WORDS[];

/* Bytes of a character at least: 1 or 2. */
size_t encoding_unit(enum encoding encoding);

/* Passes a byte order mark at the start: *encoding becomes what it says, the
 * number of its bytes (0, 2 or 3) is returned. */
size_t encoding_mark(const char *bytes, size_t len, enum encoding *encoding);

struct encoding_text {
    const char *s; /* UTF-8 without NUL inside; of valid UTF-8 input these are
                      its own bytes, not closed by a NUL */
    size_t len;
    size_t bad_at; /* the byte that can't be read, when s is NULL */
};

/* bytes as UTF-8, in arena where they have to be changed.  A NUL, a surrogate
 * alone and U+FFFE aren't read. */
struct encoding_text encoding_read(
    enum encoding encoding, const char *bytes, size_t len, struct arena *arena);
