#pragma once
/*
 * record/cornea.h - keratometry of one eye, and its JSON.
 *
 * Radii in micrometres, power in hundredths of a dioptre, axes in hundredths
 * of a degree, 1..18000; NUM_ABSENT where nothing was said.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"

#define RECORD_INDEX_E4 13375 /* 1.3375, common practice */

/* One principal meridian of a cornea. */
struct record_meridian {
    bool here;
    int32_t radius_um;
    int32_t power_cd;
    int32_t axis_cdeg; /* the meridian of this radius, 1..18000 */
    bool radius_computed, power_computed;
};

struct record_cornea {
    struct record_meridian flat, steep;
    int32_t index_e4;   /* keratometric index in ten-thousandths */
    bool index_assumed; /* RECORD_INDEX_E4, for want of a sent one */
};

/* Nothing measured. */
struct record_cornea record_cornea_none(void);

#define RECORD_RADIUS_MIN_UM 3500
#define RECORD_RADIUS_MAX_UM 14000
#define RECORD_K_MIN_CD 2400
#define RECORD_K_MAX_CD 9700

/*
 * Reads the members flat, steep and index of the object in, whose other
 * members are the caller's, and fills in the one of radius and power that
 * wasn't sent.  Adds every fault; *ret is good when there was none.
 */
void record_cornea_read(struct json_in in, struct record_cornea *ret);

/* The corneal power of radius for an index (ten-thousandths), nearest
 * hundredth. */
int32_t record_cornea_power(int32_t radius_um, int32_t index_e4);

/* Writes flat, steep, index and what follows from them (mean power, corneal
 * astigmatism) as members of an open object. */
void record_cornea_write(
    struct json_out *o, const struct record_cornea *cornea);

static inline bool record_cornea_here(const struct record_cornea *cornea)
{
    return cornea->flat.here || cornea->steep.here;
}
