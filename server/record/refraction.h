#pragma once
/*
 * record/refraction.h - the figures of both eyes: a working refraction, a
 * final one, the lenses of a pair, what a reading says.
 *
 * Lengths in hundredths of a millimetre, NUM_ABSENT where nothing was said.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "record/eye.h"
#include "record/pd.h"

struct record_refraction {
    bool here[2];              /* by enum record_side: right, left */
    struct record_eye eyes[2]; /* good where here */
    int32_t vertex_mm100;      /* that the powers refer to, 0 to 30 mm */
    bool vertex_assumed;       /* by an instrument, not measured */
    struct record_pd pd;
};

struct record_refraction record_refraction_none(void);

/*
 * Reads the members right, left, vertex_mm, vertex_assumed and pd_mm of the
 * object in, whose other members are the caller's.  *ret is written whole,
 * with what was good; false when a fault was added.
 */
bool record_refraction_read(struct json_in in, struct record_refraction *ret);

/* Writes the same members into an open object, in minus form. */
void record_refraction_write(
    struct json_out *o, const struct record_refraction *r);

/* Reads vertex_mm of the object in, if it is there. */
void record_vertex_read(struct json_in in, int32_t *ret_mm100);

static inline bool record_refraction_here(const struct record_refraction *r)
{
    return r->here[0] || r->here[1];
}

/* True when that eye has a lens with a power. */
bool record_refraction_power(const struct record_refraction *r, int side);

/* The greatest power of a meridian of either eye, hundredths of a dioptre. */
int32_t record_refraction_strength(const struct record_refraction *r);

/* right, left or both.  True when *ret was written. */
bool record_eyes_read(struct json_in in, enum record_side *ret);

/* An axis of a source that became whole degrees. */
struct record_rounded {
    int32_t from_cdeg, to_cdeg; /* equal: nothing was rounded */
};

/*
 * Makes the axes whole degrees (0.49 becomes 180, 0.50 becomes 1) and takes
 * the acuities away, which belong to the source; says what it rounded.
 */
void record_refraction_start(
    struct record_refraction *r, struct record_rounded ret[2]);
