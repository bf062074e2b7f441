#pragma once
/*
 * base/json_in.h - checked reading of a JSON document (over jansson).
 *
 * A json_in is a place in a document: its value (NULL when absent or null),
 * its JSON Pointer, and the err that collects every fault.  Readers return
 * true and write *ret only when a good value stands there; they add a fault
 * when a wrong one does, and add none when nothing does (json_in_need does).
 */
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"

struct json_in {
    const json_t *value; /* borrowed from the document */
    const char *pointer; /* in err's arena */
    struct err *err;
};

/*
 * Parses bytes, of which the whole must be one JSON value.  The same key
 * twice is an error that names the key.  RC_SYNTAX with line and column
 * otherwise.  *ret_json is the caller's (json_decref).
 */
enum rc json_in_parse(
    const char *bytes, size_t len, json_t **ret_json, struct err *err);

struct json_in json_in_root(const json_t *value, struct err *err);

/* The member or item of in; a place without value where there is none. */
struct json_in json_in_get(struct json_in in, const char *name);
struct json_in json_in_item(struct json_in in, size_t i);

/* True when in is an object whose names all stand in names (NULL-ended);
 * a fault for each that doesn't.  A fault when it isn't an object. */
bool json_in_object(struct json_in in, const char *const names[]);

/* True when in is an array of min..max items; *ret_n is how many. */
bool json_in_array(struct json_in in, size_t min, size_t max, size_t *ret_n);

static inline bool json_in_here(struct json_in in)
{
    return in.value != NULL;
}

/* True when a value stands there; else the fault "is required". */
bool json_in_need(struct json_in in);

/* Text of 1..max code points without NUL or other control characters but
 * line feed and tab; *ret is borrowed from the document. */
bool json_in_text(struct json_in in, size_t max, const char **ret);

/* One line of text of 1..max code points, not blank, without control
 * characters; *ret is in err's arena. */
bool json_in_line(struct json_in in, size_t max, const char **ret);

/* A finite number in min..max. */
bool json_in_number(struct json_in in, double min, double max, double *ret);

/* A number in min..max with at most places decimals, as whole 10^-places. */
bool json_in_scaled(
    struct json_in in, int places, const double range[2], int32_t *ret);

/* A whole number in min..max. */
bool json_in_int(struct json_in in, int64_t min, int64_t max, int64_t *ret);
bool json_in_bool(struct json_in in, bool *ret);

/* One of words (NULL-ended); *ret is its index. */
bool json_in_choice(struct json_in in, const char *const words[], int *ret);

/* A UUID in its 36-character form; *ret is lower case, in err's arena. */
bool json_in_uuid(struct json_in in, const char **ret);

/* RFC 3339 with an offset: microseconds since 1970 and the offset in minutes;
 * either pointer may be NULL. */
bool json_in_time(struct json_in in, int64_t *ret_us, int *ret_offset_min);

/* A FHIR date: year, year-month or full; *ret is borrowed. */
bool json_in_date(struct json_in in, const char **ret);
