#pragma once
/*
 * record/power.h - the power of the record (struct optics_rx) in JSON.
 *
 * A reading keeps a fraction of a degree, an Rx has whole degrees.  What
 * stands in the record is minus-cylinder form; without cylinder the axis is 0
 * in C and null in JSON.  What came in (record_sent) is kept beside it as it
 * was written.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "base/text.h"
#include "optics/power.h"

/* A power as it was sent; NUM_ABSENT where nothing was. */
struct record_sent {
    int32_t sph_cd;
    int32_t cyl_cd; /* any sign */
    int32_t axis_cdeg;
};

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

/* Where the figures of a power stand in the document. */
struct record_sent_at {
    struct json_in sph, cyl, axis;
};

/* The checks that concern the figures together (each meridian, an axis beside
 * a cylinder), for decoders of other formats.  Figures that aren't there, or
 * were refused alone, are NUM_ABSENT.  Adds every fault. */
void record_sent_check(
    struct record_sent sent, const struct record_sent_at *at);

/* The same lens in the record's form.  sent must have passed the check. */
struct optics_rx record_power_from(struct record_sent sent);

/* The form that was sent: plus when the cylinder is above 0. */
enum optics_form record_sent_form(struct record_sent sent);

/* The same lens written in form. */
struct record_sent record_power_as(
    struct optics_rx power, enum optics_form form);

/* Writes the members sphere, cylinder and axis into an open object; the axis
 * is null without cylinder.  Computed powers: to 0.0001 D, axis to 0.01. */
void record_power_write(struct json_out *o, struct optics_rx power);
void record_computed_write(struct json_out *o, struct optics_power power);

/* Writes an object under key: form, and of the figures what was sent. */
void record_sent_write(
    struct json_out *o, const char *key, struct record_sent sent);

/* The greater size of the two meridians, hundredths of a dioptre. */
int32_t record_power_strength(struct optics_rx power);

/*
 * Rewrites every power that record_power_write put into json to form, and
 * copies the rest; a power as it was sent (behind "form") stays.  A view: the
 * record stays in minus form.
 */
void record_power_view(
    const char *json, size_t len, enum optics_form form, struct text *to);
