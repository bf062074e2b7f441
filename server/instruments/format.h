#pragma once
/*
 * instruments/format.h - bytes of a payload become readings, or every fault
 * with its place.
 *
 * Decoders allocate from err's arena only, keep nothing of the input, and
 * touch no clock, file or network.  Readings come computed and without
 * cautions (record/caution.h), which need the time.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "base/text.h"

struct record_reading;

/* The zone of the clinic, for payloads with a local time only: the offset in
 * minutes that held at a local time (microseconds, as if it were UTC). */
struct instruments_zone {
    int (*offset_min)(const void *zone, int64_t local_us);
    const void *zone;
};

/* taken_us of r, which is a local time written as if it were UTC, becomes an
 * instant by the clinic's zone; r says so. */
void instruments_zone_assume(
    const struct instruments_zone *zone, struct record_reading *r);

/* A DICOM file (PS3.10) becomes DICOM JSON by another program, which a decoder
 * can't start by itself.  RC_OK, or why not. */
typedef enum rc instruments_unpack(
    const char *bytes, size_t len, struct text *ret, struct err *err);

struct instruments_input {
    const char *bytes;
    size_t len;
    struct instruments_zone zone; /* offset_min NULL: UTC */
    instruments_unpack *unpack;   /* NULL: files are refused */
};

/* In the order of the payload. */
struct instruments_readings {
    struct record_reading **items;
    size_t n;
};

/* The most readings that one payload may hold. */
#define INSTRUMENTS_READINGS_MAX 500

struct instruments_format {
    const char *name;
    const char *media_type;
    /* True when bytes look like this format and no other; cheap. */
    bool (*probe)(const char *bytes, size_t len);
    /* *ret is written only with RC_OK. */
    enum rc (*decode)(const struct instruments_input *in,
        struct instruments_readings *ret, struct err *err);
};

/* NULL when there is none.  media_type is lower case without parameters. */
const struct instruments_format *instruments_format_of(const char *media_type);
const struct instruments_format *instruments_format_probe(
    const char *bytes, size_t len);

/* The formats one by one; NULL behind the last. */
const struct instruments_format *instruments_format_at(size_t i);
