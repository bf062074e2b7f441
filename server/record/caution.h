#pragma once
/*
 * record/caution.h - doubts about a reading that never block it.
 *
 * The codes are stable words; README.md lists them with their limits.  Checks
 * against the patient's history or identity are other files' and add theirs by
 * record_caution_add, before record_reading_json is made.
 */
#include <stdint.h>

#include "optics/vector.h"
#include "record/reading.h"

/*
 * Adds the cautions that need nothing but the reading itself and the clock
 * (now_us, microseconds since 1970).  The reading must be computed.
 */
void record_reading_caution(struct record_reading *reading, int64_t now_us);

/* Adds one caution; side is enum record_side, or -1 for the whole reading. */
void record_caution_add(struct record_reading *reading, const char *code,
    int side, const char *fmt, ...) __attribute__((format(printf, 4, 5)));

/* Farther than this from what the cornea lets expect is a caution, D (chosen by
 * us). */
#define RECORD_CORNEA_APART_D 2.0

/* How far eye's astigmatism lies from what the cornea's (minus cylinder, sph 0)
 * lets expect, as below. */
double record_cornea_apart(
    struct optics_vector eye, struct optics_power corneal);

/*
 * How far a refraction's cylinder lies from what the cornea lets expect, as
 * the length of a cylinder, in dioptres (at the cornea when the vertex is
 * known, else as it stands); 0 unless both meridians are known.  The
 * keratometry may be of another reading.
 */
double record_cornea_mismatch(struct optics_rx power, int32_t vertex_mm100,
    const struct record_cornea *cornea);
