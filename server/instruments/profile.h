#pragma once
/*
 * instruments/profile.h - field profiles: a clinic's own mapping from the
 * text, XML or JSON that its instrument writes to readings.
 *
 * A profile is a document (schema/profile.json) that names places of the
 * payload and what stands there: unit, sign, cylinder form, eye, date order.
 * Nothing that it doesn't say is guessed.  The same payload gives the same
 * readings, in time that grows with its size alone.
 *
 * Faults name the line and the column, pattern or path of the payload and
 * what the profile makes of it.  Their pointer is into the reading
 * (/right/axis), and into the payload where that is JSON.
 */
#include <stdbool.h>
#include <stddef.h>

#include "base/json_in.h"
#include "instruments/format.h"

struct profile; /* constant once read */

#define PROFILE_BYTES_MAX 65536 /* of a profile's own document */

/*
 * Reads a profile; everything of it is in the arena of in's err, and nothing
 * borrowed from the document.  RC_INVALID with every fault.
 */
enum rc profile_read(struct json_in in, const struct profile **ret);

/* True when its form can come as a payload of this media type (lower case,
 * without parameters): text/csv, text/plain, application/xml, text/xml,
 * application/json. */
bool profile_takes(const struct profile *profile, const char *media_type);

/* "delimited", "fixed", "lines", "xml", "json" */
const char *profile_form(const struct profile *profile);

/*
 * A whole payload, all or nothing.  *ret is written only with RC_OK.
 * RC_SYNTAX when it can't be read as that form, RC_INVALID else.
 */
enum rc profile_decode(const struct profile *profile,
    const struct instruments_input *in, struct instruments_readings *ret,
    struct err *err);

/* ---- rows, as they arrive ---------------------------------------------- */

/*
 * A reader of delimited or fixed rows.  It holds its header and the group of
 * rows that isn't complete yet, never more than PROFILE_GROUP_MAX bytes.
 */
struct profile_rows;

#define PROFILE_LINE_MAX 65536 /* bytes of a line */
#define PROFILE_GROUP_LINES_MAX 500
#define PROFILE_GROUP_MAX (1 << 20) /* bytes of a group with its header */

/* True when profile_rows_new may be called. */
bool profile_by_rows(const struct profile *profile);

/* profile, and what zone points to, are borrowed until profile_rows_free. */
struct profile_rows *profile_rows_new(
    const struct profile *profile, struct instruments_zone zone);
void profile_rows_free(struct profile_rows *rows); /* NULL is a no-op */

/* Adds bytes of the body, in any pieces; the caller asks for groups until
 * there is none, and then adds the next. */
void profile_rows_add(struct profile_rows *rows, const char *bytes, size_t len);
/* No more will come. */
void profile_rows_end(struct profile_rows *rows);

/* One row, or the rows that belong together. */
struct profile_group {
    size_t line, last_line; /* in the body, from 1 */
    /* The header's line and the group's, as they arrived. */
    const char *bytes; /* borrowed until the next call */
    size_t len;
    struct instruments_readings readings; /* none when err says why */
    bool last; /* nothing behind it can be read: a bad header, a torn line */
};

/*
 * The next group, in the order of the body; false when more bytes are needed
 * or, after profile_rows_end, when there is none.  err comes fresh (RC_OK,
 * any arena, which then owns the readings) and tells why a group has none.
 */
bool profile_rows_next(
    struct profile_rows *rows, struct profile_group *ret, struct err *err);
