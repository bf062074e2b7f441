#pragma once
/*
 * record/reading_json.h - a reading as the JSON of an answer, and its hash.
 */
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "base/text.h"
#include "optics/power.h"
#include "record/reading.h"

/*
 * The part of the answer that never changes, as the inside of a JSON object
 * (no enclosing braces), made once at ingest.
 */
void record_reading_json(const struct record_reading *reading, struct text *to);

/*
 * The same inside text with every power of the record rewritten to form;
 * what came in (as_received) stays as it came.
 */
enum rc record_reading_json_view(const char *json, size_t len,
    enum optics_form form, struct text *to, struct err *err);

#define RECORD_HASH_SIZE 32

/*
 * SHA-256 over what makes a reading the same one when it is sent twice: kind,
 * instant, device serial, patient reference and every measured value in
 * canonical JSON; of a DICOM instance its SOP Instance UID alone.  Network
 * and form of payload don't count.
 */
void record_reading_hash(
    const struct record_reading *reading, uint8_t ret[RECORD_HASH_SIZE]);
