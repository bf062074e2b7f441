#pragma once
/*
 * instruments/profile_inside.h - inside this folder: a payload on its way
 * through a profile to readings.
 */
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "instruments/encoding.h"
#include "instruments/profile.h"
#include "instruments/profile_plan.h"
#include "record/reading.h"

/* ---- a payload --------------------------------------------------------- */

struct profile_cell {
    const char *s; /* UTF-8, NULL: not there */
    size_t len;
    const json_t *json; /* a scalar of a JSON payload; then s is NULL */
    const char *pointer;
};

struct profile_row {
    int sort;
    size_t line;                /* from 1; 0 in JSON */
    struct profile_cell *cells; /* profile->n_cells of them */
};

struct profile_record {
    struct profile_row *rows;
    size_t n, room;
    size_t line, last_line;
    const char *pointer; /* of a JSON payload, else NULL */
    struct arena *arena; /* of its rows, and of what goes with them */
};

/* Bytes of a value; the longest texts are of 2,000 characters. */
#define PROFILE_CELL_MAX 8192

/* Readings that a payload gave so far. */
struct profile_found {
    struct record_reading **items;
    size_t n, room;
};

/* A row of the record with no cell filled in; in the record's arena. */
struct profile_row *profile_row_add(
    const struct profile *p, struct profile_record *record, int sort);

/*
 * Turns a record into readings at the end of found; adds every fault to err,
 * and then no reading of the record.
 */
void profile_build(const struct profile *p, const struct profile_record *record,
    struct instruments_zone zone, struct profile_found *found, struct err *err);

/* What there is to say of a value. */
struct profile_why {
    struct arena *arena;
    const char *why; /* it is none, in arena; NULL: nothing was measured */
    bool local;      /* a time of the clinic's zone, written as if UTC */
};

/* A row's text as a JSON value for field, or NULL, and then *ret.  The value
 * is the caller's (json_decref). */
json_t *profile_value(const struct profile *p,
    const struct profile_mapping *mapping, const struct profile_field *field,
    const struct profile_row *row, struct profile_why *ret);

json_t *profile_scalar_json(const struct profile_scalar *scalar);

/* The text of a cell: of a number its digits, of nothing "". */
const char *profile_cell_text(
    const struct profile_cell *cell, struct arena *arena);

bool profile_words_hold(const struct profile_words *words, const char *text);

/* Text by a template of YYYY MM DD hh mm ss AM and literal signs; *ret becomes
 * an RFC 3339 time without its offset, or a FHIR date.  False: doesn't fit. */
bool profile_time_read(const char *format, const char *text, bool date_only,
    const char **ret, struct arena *arena);
/* NULL, or why it is no template. */
const char *profile_time_refusal(const char *format, bool date_only);

/* ---- forms ------------------------------------------------------------- */

/* Where a row's cells are taken from: of each cell its column. */
struct profile_header {
    int columns[PROFILE_CELLS_MAX];
    size_t n; /* columns of the header, 0: as many as there are */
};

/* The columns that a profile without a header line names. */
void profile_header_fixed(const struct profile *p, struct profile_header *ret);

/* The same from the header line; faults for each column that isn't there. */
bool profile_header_read(const struct profile *p, struct encoding_text line,
    size_t number, struct profile_header *ret, struct err *err);

/* Fills row's cells from a line of delimited or fixed rows.  They point into
 * it, or into err's arena. */
bool profile_split(const struct profile *p, const struct profile_header *header,
    struct encoding_text line, struct profile_row *row, struct err *err);

/* Records of a whole payload, as UTF-8; each is built into found. */
struct profile_job {
    const struct profile *p;
    struct instruments_zone zone;
    struct profile_found *found;
    struct arena *record; /* of one record, reset behind it */
    struct err *err;
};
enum rc profile_lines_decode(struct profile_job job, struct encoding_text text);
enum rc profile_xml_decode(struct profile_job job, struct encoding_text text);
enum rc profile_json_decode(struct profile_job job, struct encoding_text text);

/* True when it is an XPath expression; else *ret_why says what isn't. */
bool profile_xpath_good(const char *path, const char **ret_why);

/* ---- reading a profile ------------------------------------------------- */

/* The index of a cell, added when it is new; -1 after a fault at in. */
int profile_cell_of(
    struct profile *p, int sort, const char *path, struct json_in in);
/* The same of a capture that a pattern names. */
int profile_capture_of(struct profile *p, const char *name, struct json_in in);
/* Reads "readings". */
void profile_mappings_read(struct json_in in, struct profile *p);
/* Reads a list of lines of text. */
bool profile_words_read(
    struct json_in in, size_t max, struct profile_words *ret);
bool profile_pattern_read(
    struct json_in in, struct profile *p, struct profile_pattern *ret);
