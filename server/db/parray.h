#pragma once
/*
 * db/parray.h - a one-dimensional array in PostgreSQL's binary form, built
 * element by element.  Integers are in network order; a timestamptz counts
 * microseconds from 2000-01-01 (PostgreSQL 15, array_recv and
 * timestamptz_recv).
 */
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"

enum parray_type {
    PARRAY_BYTEA = 17,
    PARRAY_INT4 = 23,
    PARRAY_TEXT = 25,
    PARRAY_FLOAT8 = 701,
    PARRAY_TIMESTAMPTZ = 1184,
    PARRAY_UUID = 2950
};

struct parray {
    enum parray_type type;
    uint32_t n;
    struct text bytes;
};

void parray_start(struct parray *a, enum parray_type type);
void parray_null(struct parray *a);
void parray_bytes(struct parray *a, const void *p, size_t len);
void parray_text(struct parray *a, const char *s); /* NULL: null */
void parray_uuid(struct parray *a, const char *s); /* NULL, "": null */
void parray_int(struct parray *a, int32_t v);      /* NUM_ABSENT: null */
void parray_real(struct parray *a, double v);      /* NaN: null */
void parray_time(struct parray *a, int64_t us);

/* Closes the header; the bytes stay the array's until parray_free. */
void parray_end(struct parray *a);
void parray_free(struct parray *a);
