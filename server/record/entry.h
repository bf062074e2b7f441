#pragma once
/*
 * record/entry.h - one refraction of the timeline, read back from its stored
 * JSON: what an exam starts from and what a delta compares.
 *
 * Texts are borrowed from the row and from the err's arena.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "record/cornea.h"
#include "record/reading.h"
#include "record/refraction.h"

struct record_entry {
    const char *id;
    const char *origin; /* reading, exam, prescription, typed */
    const char *kind;   /* a reading's kind; final, typed, or prescription, a
                           reading of which is one too */
    int64_t at_us;
    const char *drug; /* with cycloplegic yes, or NULL */
    enum record_yes cycloplegic;
    bool glasses; /* lenses as found, not an eye as measured */
    bool unsided; /* holds a lens whose side nobody has told */
    struct record_refraction figures;
    struct record_cornea cornea[2]; /* keratometry only */
};

/*
 * Fills in what the body of an entry says; id, origin, kind and at_us stand
 * there already.  Bodies are ours: what can't be read counts as absent.
 */
void record_entry_read(struct json_in body, struct record_entry *entry);

/*
 * Why an exam can't start from entry, or a delta be taken against it: an
 * over-refraction, a keratometry, an acuity, a lens of unknown side, no power
 * at all.  NULL when it can.
 */
const char *record_entry_refusal(const struct record_entry *entry);

/* "lensometry", "autorefraction, cycloplegic", "subjective, not cycloplegic":
 * method and condition for people; in arena. */
const char *record_entry_method(
    const struct record_entry *entry, struct arena *arena);
