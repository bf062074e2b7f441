#pragma once
/*
 * optics/slip_score.h - how well an entry agrees with all that is known of the
 * patient (the model stands in optics/slip.h).
 */
#include "optics/slip.h"

/* One eye as an entry of the past had it. */
struct optics_past_eye {
    struct optics_vector v;
    struct optics_covariance s; /* its noise, drift, another method */
    double noise_mm;            /* of M, its noise alone */
};

struct optics_evidence {
    const struct optics_known *known;
    struct optics_past_eye past[2][OPTICS_HISTORY_MAX]; /* by eye */
    size_t n[2];
    struct optics_past_eye pairs[OPTICS_HISTORY_MAX][2]; /* with both eyes */
    size_t n_pairs;
};

/* The history of a checked patient, as it bears on now. */
void optics_evidence_gather(const struct optics_entry *now,
    const struct optics_known *known, struct optics_evidence *ret);

/* Is anything known of that eye of the entry? */
bool optics_evidence_any(const struct optics_evidence *known,
    const struct optics_entry *entry, enum optics_eye eye);

/* True where one eye of the entry is held against the other. */
bool optics_evidence_mirrors(
    const struct optics_evidence *known, const struct optics_entry *entry);

struct optics_score {
    double log_likelihood; /* of both eyes, less a constant */
    bool fits[2];          /* inside what is known of the eye */
    bool together[2];      /* so, or both eyes may have changed together */
};

struct optics_score optics_evidence_score(
    const struct optics_evidence *known, const struct optics_entry *entry);
