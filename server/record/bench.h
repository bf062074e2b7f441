#pragma once
/*
 * record/bench.h - finished glasses as somebody measured them, and what of an
 * order they are held to.
 *
 * Lengths in hundredths of a millimetre, NUM_ABSENT where nothing was said.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "optics/pair.h"
#include "record/order.h"
#include "record/refraction.h"

struct record_measured {
    struct record_refraction figures; /* powers, adds, prism, pd */
    /* From the lower boxed edge to the reference point (the fitting cross of a
     * progressive lens), and to the top of the segment. */
    int32_t height_mm100[2], segment_mm100[2];
    bool mounted; /* a pair in its frame; else loose lenses */
};

/* Members of a measurement, NULL-ended. */
extern const char *const RECORD_MEASURED_FIELDS[];

/*
 * Reads right, left, pd_mm, height_mm, segment_height_mm and mounted (true
 * when absent) of the object in, whose other members are the caller's.  *ret is
 * written whole, with what was good; false when a fault was added.
 */
bool record_measured_read(struct json_in in, struct record_measured *ret);

/* Writes the same members into an open object. */
void record_measured_write(
    struct json_out *o, const struct record_measured *measured);

/* Adds a fault for each lens with a power that is ordered and wasn't measured
 * or the other way round, and for pd and heights that have nothing to be held
 * to. */
void record_measured_check(const struct record_measured *measured,
    const struct record_order *order, const struct record_order_rx *rx,
    struct err *err);

/*
 * What optics/pair.h is asked, for a measurement that passed the check.  An
 * order with one distance for both eyes is split evenly, one without heights
 * wants the centres level.  Its powers are those to make: of near glasses the
 * sum, or compensated.  profile stands as it is.
 */
void record_bench_pair(const struct record_measured *measured,
    const struct record_order *order, const struct record_order_rx *rx,
    struct optics_pair *pair);

/*
 * Gives each lens of the pair the body that was estimated for it
 * (record/order_make.h), for what depends on the side it was read from; none
 * where the order tells too little.  Some milliseconds.
 */
void record_bench_bodies(const struct record_order *order,
    const struct record_order_rx *rx, struct optics_pair *pair);
