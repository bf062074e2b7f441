#pragma once
/*
 * record/noise.h - how far two careful measurements of one eye differ anyway.
 */
#include "record/entry.h"

/* The band inside which a change is not called a change, in dioptres. */
struct record_noise {
    const char *kind; /* both sides measured so; "" for any */
    double limit_m;   /* of the spherical equivalent */
    double limit_j;   /* of the astigmatic part, length of (J0, J45) */
    const char *rule; /* the sentence with the source */
};

/* The band for a pair of methods; never NULL. */
const struct record_noise *record_noise_of(
    const struct record_entry *old_entry, const struct record_entry *new_entry);
