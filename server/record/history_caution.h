#pragma once
/*
 * record/history_caution.h - doubts about a reading that only the patient's
 * history shows.  README.md lists the codes with their limits.
 *
 * An aid: one sentence each, nothing is changed and nothing blocks.
 */
#include "record/cautions.h"
#include "record/history.h"

struct record_story {
    struct record_past now;
    const struct record_past
        *history; /* newest first; later ones don't count */
    size_t n;
    const char *born;              /* FHIR date, or NULL */
    struct optics_power cornea[2]; /* minus cylinder, sph 0 */
    bool has_cornea[2];
};

void record_history_caution(
    const struct record_story *story, struct record_cautions *list);
