#pragma once
/*
 * record/caution.h - doubts about a reading that never block it.
 *
 * The codes are stable words; README.md lists them with their limits.
 */
#include <stdint.h>

#include "record/reading.h"

/*
 * Adds the cautions that need nothing but the reading itself and the clock
 * (now_us, microseconds since 1970).
 */
void record_reading_caution(struct record_reading *reading, int64_t now_us);

/* Adds one caution; side is enum record_side or -1.  For checks against the
 * patient's history and identity, which other files make. */
void record_caution_add(struct record_reading *reading, const char *code,
    int side, const char *fmt, ...) __attribute__((format(printf, 4, 5)));
