#pragma once
/*
 * tests/fuzz/reading_target.h - what every decoder's fuzz target does.
 */
#include <stddef.h>
#include <stdint.h>

/*
 * Decodes bytes as media_type says.  Aborts when the decoder breaks a promise:
 * a refusal that names no fault, a reading out of the record's range, an entry
 * that is no JSON.
 */
void reading_target(const char *media_type, const uint8_t *bytes, size_t len);
