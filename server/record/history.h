#pragma once
/*
 * record/history.h - rows of the timeline as the optics core's entries.
 */
#include <stdbool.h>
#include <stdint.h>

#include "optics/exchange.h"
#include "optics/vector.h"

/* One entry of a patient's timeline that holds a refraction. */
struct record_past {
    const char *id, *kind, *condition_key, *series;
    int64_t at_us;
    struct optics_vector eyes[2];
    bool has[2];
};

/* The same for the optics core; its time is counted back from now_us. */
struct optics_entry record_past_entry(
    const struct record_past *past, int64_t now_us);

/* Years of age at an instant; OPTICS_AGE_UNKNOWN where born (a FHIR date) is
 * NULL or lies after it.  Of a date known in part the middle counts. */
double record_age_years(const char *born, int64_t at_us);

/* True for glasses as found: of a lensometer, typed, prescribed elsewhere. */
bool record_past_glasses(const struct record_past *past);
/* Under drops that stop the focusing. */
bool record_past_cycloplegic(const struct record_past *past);
