#pragma once
/*
 * record/reading_json.h - a reading as the JSON of an answer, and its hash.
 */
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"
#include "record/reading.h"

/*
 * The part of the answer that never changes, as the inside of a JSON object
 * (no enclosing braces), made once at ingest.  record_power_view turns it.
 */
void record_reading_json(const struct record_reading *reading, struct text *to);

/*
 * The same for an item of the timeline: without the single repeats, what was
 * sent in another form, who the sender said it was, and DICOM identifiers.
 */
void record_reading_brief(
    const struct record_reading *reading, struct text *to);

#define RECORD_HASH_SIZE 32

/*
 * SHA-256 over what makes a reading the same one when it is sent twice: kind,
 * instant, device serial, patient reference, the lens that an acuity or an
 * over-refraction was taken through and the former's distance, and every
 * measured value in canonical JSON; of a DICOM instance its SOP Instance UID
 * alone.  Network and form of payload don't count.
 */
void record_reading_hash(
    const struct record_reading *reading, uint8_t ret[RECORD_HASH_SIZE]);
