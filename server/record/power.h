#pragma once
/*
 * record/power.h - the spherocylindrical power of the record, and its JSON.
 *
 * Power is counted in hundredths of a dioptre, axis in hundredths of a degree
 * (a reading keeps a fraction, an Rx has whole degrees).  What stands in the
 * record is minus-cylinder form with the axis above 0 and up to 18000; without
 * cylinder the axis is 0 here and null in JSON.  What came in (record_sent)
 * is kept beside it as it was written.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"

struct record_power {
    int32_t sph_cd;
    int32_t cyl_cd;    /* never above 0 */
    int32_t axis_cdeg; /* 1..18000, and 0 only when cyl_cd is 0 */
};

/* A power as it was sent; NUM_ABSENT where nothing was. */
struct record_sent {
    int32_t sph_cd;
    int32_t cyl_cd; /* any sign */
    int32_t axis_cdeg;
};

/* Cylinder form, as sent and as a view. */
enum record_form { RECORD_MINUS, RECORD_PLUS };

/* The dioptre ranges outside which a power is an error (chosen by us). */
#define RECORD_MERIDIAN_MAX_CD 4000
#define RECORD_CYL_MAX_CD 2000

/* Which axes a reader takes: an instrument may write 0 and fractions of a
 * degree to 0.01, a person writes 1 to 180. */
enum record_axis { RECORD_AXIS_INSTRUMENT, RECORD_AXIS_PERSON };

/*
 * Reads sphere, cylinder and axis, members of the object in.  Sphere is
 * required; no cylinder means 0; a cylinder that isn't 0 needs an axis.  True
 * when *ret_sent is a good power; else every fault was added.
 */
bool record_sent_read(
    struct json_in in, enum record_axis axis, struct record_sent *ret_sent);

/*
 * The checks of record_sent_read that concern the figures together (each
 * meridian, axis with cylinder), for decoders of other formats.  at_sph,
 * at_cyl and at_axis are the places that faults name.
 */
struct record_power_places {
    struct json_in sph, cyl, axis;
};
bool record_sent_check(
    struct record_sent sent, const struct record_power_places *at);

/* The same lens in the record's form.  sent must have passed the check. */
struct record_power record_power_from(struct record_sent sent);

/* The form that was sent: plus when the cylinder is above 0. */
enum record_form record_sent_form(struct record_sent sent);

/* The same lens written in form. */
struct record_sent record_power_as(
    struct record_power power, enum record_form form);

/* Writes the members sphere, cylinder, axis into an open object; places is
 * how many decimals the axis may have (0 for an Rx, 2 for a reading). */
void record_power_write(
    struct json_out *o, struct record_power power, int places);
void record_sent_write(struct json_out *o, struct record_sent sent, int places);

/* The greater size of the two meridians, hundredths of a dioptre. */
int32_t record_power_strength(struct record_power power);
