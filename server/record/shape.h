#pragma once
/*
 * record/shape.h - what an object of the record may hold, as a table.
 *
 * For the parts of an exam that are noted and not computed with: one table
 * says names, types and limits, and both checks and writes by it.
 */
#include <stdbool.h>
#include <stddef.h>

#include "base/json_in.h"
#include "base/json_out.h"

enum record_what {
    RECORD_SHAPE_TEXT,   /* max characters */
    RECORD_SHAPE_NUMBER, /* range, places; zeros of the fraction are cut */
    RECORD_SHAPE_FIXED,  /* the same, written with all its places */
    RECORD_SHAPE_WORD,   /* one of words */
    RECORD_SHAPE_WORDS,  /* a list of words, max items */
    RECORD_SHAPE_YES,    /* true or false */
    RECORD_SHAPE_ID,
    RECORD_SHAPE_IDS,    /* a list of ids, max items */
    RECORD_SHAPE_OBJECT, /* members */
    RECORD_SHAPE_LIST,   /* of objects with members, max items */
};

struct record_shape {
    const char *name; /* NULL ends a table */
    enum record_what what;
    bool needed;
    size_t max;
    double range[2];
    int places;
    const char *const *words;
    const struct record_shape *members;
};

/*
 * Checks the object in against members (every fault is added) and writes what
 * was good under key.  True when all was.
 */
bool record_shape_copy(struct json_in in, const struct record_shape *members,
    struct json_out *o, const char *key);
