#pragma once
/*
 * instruments/native.h - our own JSON form of a reading (README.md).
 */
#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"
#include "base/json_in.h"
#include "instruments/format.h"

bool instruments_native_probe(const char *bytes, size_t len);

/* One reading, or an array of them, all or nothing. */
enum rc instruments_native_decode(const struct instruments_input *in,
    struct instruments_readings *ret, struct err *err);

/*
 * One reading at a place of a document that the caller parsed; faults carry
 * pointers from that place on.  err must be place's own.  Nothing of *ret
 * points into the document.
 */
enum rc instruments_native_read(
    struct json_in place, struct record_reading **ret, struct err *err);
