#pragma once
/*
 * instruments/profile_plan.h - inside this folder: a profile as it was read.
 *
 * A cell is a place of a row: a column, a capture of a pattern, a path.  A
 * row is what cells are found in: a line, a node, an object.  A record is the
 * rows that become readings together.
 */
#include <stdbool.h>
#include <stddef.h>

#include "instruments/encoding.h"
#include "record/reading.h"

enum profile_form_word {
    PROFILE_DELIMITED,
    PROFILE_FIXED,
    PROFILE_LINES,
    PROFILE_XML,
    PROFILE_JSON
};

/* What a target takes; see profile_targets.def. */
enum profile_want {
    PROFILE_TEXT,   /* as it stands */
    PROFILE_YES,    /* true or false, by a map or as JSON */
    PROFILE_POWER,  /* dioptres, where the sign decides */
    PROFILE_AMOUNT, /* dioptres without a sign of its own */
    PROFILE_NUMBER, /* no unit: an axis, an index, a confidence */
    PROFILE_MM,     /* a length in millimetres */
    PROFILE_METRE,  /* a length in metres */
    PROFILE_TIME,   /* an instant */
    PROFILE_DATE    /* a FHIR date */
};

enum profile_unsigned {
    PROFILE_UNSIGNED_REFUSE,
    PROFILE_UNSIGNED_PLUS,
    PROFILE_UNSIGNED_MINUS
};

enum profile_cylinder {
    PROFILE_CYLINDER_EITHER,
    PROFILE_CYLINDER_MINUS,
    PROFILE_CYLINDER_PLUS
};

#define PROFILE_CELLS_MAX 256
#define PROFILE_SORTS_MAX 32
#define PROFILE_READINGS_MAX 16
#define PROFILE_FIELDS_MAX 200
#define PROFILE_COLUMNS_MAX 500
#define PROFILE_ROWS_MAX 2000 /* of a record */

/* A JSON scalar of the profile. */
struct profile_scalar {
    enum { PROFILE_NULL, PROFILE_STRING, PROFILE_DOUBLE, PROFILE_BOOL } type;
    const char *text;
    double number;
    bool yes;
};

struct profile_words {
    const char **items;
    size_t n;
};

struct profile_value {
    const char *text;
    struct profile_scalar becomes;
};

struct profile_field {
    const char *to;   /* a JSON Pointer; {eye} stands for the row's eye */
    bool of_eye;      /* to begins with {eye}, right, left, ... */
    bool constant;    /* value instead of cells */
    bool second;      /* says nothing without what stands beside it */
    bool is_cylinder; /* to ends in cylinder */
    struct profile_scalar value;
    enum profile_want want;
    int cells[2]; /* of one row; the second of a time, or -1 */
    int shift;    /* power of ten from the payload's unit to the target's */
    enum profile_unsigned unsigned_means;
    const char *before, *suffix, *format; /* or NULL */
    struct profile_words not_measured;
    struct profile_value *values;
    size_t n_values;
};

struct profile_condition {
    int cell;
    bool here;               /* wanted, when is is empty */
    struct profile_words is; /* one of these */
};

struct profile_mapping {
    const char *kind;
    enum profile_cylinder cylinder;
    struct profile_condition *when;
    size_t n_when;
    struct profile_field *fields;
    size_t n_fields;
};

/* One element of a line's pattern. */
struct profile_piece {
    enum { PROFILE_LITERAL, PROFILE_BLANKS, PROFILE_CAPTURE } type;
    const char *text; /* literal */
    size_t len;
    int cell;     /* capture, -1: passed over */
    size_t width; /* characters of the capture, 0: up to what follows */
    bool maybe;   /* may be empty */
};

struct profile_pattern {
    struct profile_piece *pieces;
    size_t n;
};

/* One sort of row. */
struct profile_sort {
    const char *name; /* NULL: the record itself */
    const char *path; /* XPath or JSON Pointer within the record */
    int eye;          /* enum record_side, or -1 */
    struct profile_pattern pattern;
};

struct profile_cell_at {
    int sort;         /* which sort of row has it, -1: any line */
    const char *path; /* column, capture, XPath or JSON Pointer */
};

struct profile_column {
    const char *name;
    size_t from, length; /* characters, from 1; fixed rows only */
};

struct profile_eye {
    bool here;
    int cells[PROFILE_SORTS_MAX]; /* by sort, -1: none */
    struct profile_words words[RECORD_SIDES];
};

struct profile {
    enum profile_form_word form;
    enum encoding encoding;

    char delimiter; /* ' ': a run of blanks */
    char quote;     /* 0: none */
    bool header;
    size_t skip;
    const char *remark; /* lines that begin so are passed over, or NULL */
    struct profile_column *columns;
    size_t n_columns;

    bool begins; /* lines: a pattern begins a record */
    struct profile_pattern begin;
    bool others_pass;

    const char *record;           /* XPath or JSON Pointer of the records */
    struct profile_words prefix;  /* XML namespaces */
    struct profile_words ns_uris; /* in the same order */

    bool comma; /* stands before the decimals */
    enum profile_unsigned unsigned_means;
    bool zone_clinic, zone_set;
    int zone_min;
    struct profile_words not_measured;

    struct profile_sort sorts[PROFILE_SORTS_MAX];
    size_t n_sorts;
    struct profile_cell_at cells[PROFILE_CELLS_MAX];
    size_t n_cells;
    int group[8];
    size_t n_group;
    struct profile_eye eye;
    struct profile_mapping *readings;
    size_t n_readings;
};
