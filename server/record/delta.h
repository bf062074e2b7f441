#pragma once
/*
 * record/delta.h - a new refraction against an old one, per eye, with what it
 * means: an exact lens difference, never sphere, cylinder and axis one by one.
 *
 * An aid for a practitioner, not a judgement.  Computed powers in dioptres,
 * vertex in hundredths of a millimetre.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_out.h"
#include "optics/power.h"
#include "optics/vector.h"
#include "record/cautions.h"
#include "record/entry.h"
#include "record/noise.h"

/* Looking this far below the optical centres is the reading level (common
 * practice; the published cases use it too). */
#define RECORD_READING_LEVEL_MM 10.0

/* From this power of a meridian on an unknown vertex is worth a caution. */
#define RECORD_VERTEX_MATTERS_CD 500

/* Where the vertex isn't known the image size is estimated for this one. */
#define RECORD_VERTEX_USUAL_MM 12.0

struct record_delta_eye {
    bool old_here, new_here;
    bool compared; /* both are lenses with a power; else nothing below */
    struct optics_power old_power; /* at the new vertex when moved */
    struct optics_power new_power;
    struct optics_power difference; /* what must be added to old to get new */
    struct optics_vector vector;    /* of the difference */
    double sphere_change;           /* of the written spheres, minus form */
    bool within_noise;
    bool predicted;       /* logmar below is good */
    double logmar;        /* to expect through the old lens */
    const char *words[8]; /* sentences, NULL-ended */
};

/* A figure of the pair, for the old and the new lenses. */
struct record_delta_pair {
    bool old_here, new_here;
    double old_value, new_value;
};

struct record_delta {
    const struct record_entry *old_entry, *new_entry; /* borrowed */
    const struct record_noise *noise;
    struct arena *arena;
    bool moved; /* the old lenses were brought to the new vertex */
    struct record_delta_eye eyes[2];
    struct record_delta_pair anisometropia; /* S + C/2, right less left, D */
    struct record_delta_pair imbalance;     /* base up right less left, cm/m */
    struct record_delta_pair image;         /* right over left, percent */
    struct record_cautions cautions;
};

/*
 * Computes all of it.  best is the best acuity with the new power, per eye;
 * without logMAR nothing is predicted.  Entries must pass
 * record_entry_refusal.
 */
void record_delta_compute(const struct record_entry *old_entry,
    const struct record_entry *new_entry, const struct record_acuity best[2],
    struct arena *arena, struct record_delta *ret);

/*
 * Writes "vertex", "right", "left", "both", "cautions" and "computed" into an
 * open object.  old_word names the old side: "habitual", or "against".
 */
void record_delta_write(
    struct json_out *o, const char *old_word, const struct record_delta *d);

/* ---- for delta_*.c ---------------------------------------------------- */

void record_delta_doubt(struct record_delta *d);
void record_delta_say(struct record_delta *d);
