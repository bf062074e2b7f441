#pragma once
/*
 * record/exam.h - the sections of an exam: what they may hold, and how they
 * are kept.
 *
 * An exam's body is one JSON object of the sections and "working", the power
 * that is being refined.  Powers in it stand in minus form; what was sent is
 * checked whole and written anew, so that what is kept always reads back.
 */
#include <stdbool.h>
#include <stddef.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "record/reading.h"
#include "record/refraction.h"

/* history, acuities, objective, subjective, binocular, near, final;
 * NULL-ended. */
extern const char *const RECORD_SECTIONS[];

/*
 * Checks the sections of the object in (a whole body; other members are the
 * caller's) and writes those that are there as members of an open object.
 * False when a fault was added.
 */
bool record_sections_copy(struct json_in in, struct json_out *o);

/*
 * What a merge patch of a body must not do although the merged body would
 * pass: a plus cylinder put beside a sphere that stands in minus form.
 */
void record_sections_check_patch(struct json_in patch);

enum record_outcome {
    RECORD_OUTCOME_UNSAID,
    RECORD_OUTCOME_NEW,
    RECORD_OUTCOME_UNCHANGED,
    RECORD_OUTCOME_NONE_NEEDED
};

/* A subjective or a final refraction. */
struct record_final {
    struct record_refraction figures;
    const char *purpose;    /* a word of RECORD_PURPOSES, or NULL */
    const char *expires_on; /* a full date, or NULL */
    enum record_outcome outcome;
};

/* in is the section; without value everything is absent.  False when a fault
 * was added. */
bool record_final_read(struct json_in in, struct record_final *ret);
void record_final_write(
    struct json_out *o, const char *key, const struct record_final *f);

/* "new", "unchanged", "none-needed"; NULL for unsaid. */
const char *record_outcome_word(enum record_outcome outcome);

/* One of the list "acuities". */
struct record_exam_acuity {
    enum record_side eye; /* right, left, both */
    int distance;         /* into RECORD_DISTANCES */
    int with;             /* into RECORD_ACUITY_STAGES */
    struct record_acuity acuity;
};

/* nothing, habitual, working, final, pinhole; NULL-ended. */
extern const char *const RECORD_ACUITY_STAGES[];

/* The best far acuity of an eye with one of two stages (words; the second may
 * be NULL), of the list acuities.  False when there is none. */
bool record_acuities_best(struct json_in acuities, enum record_side eye,
    const char *stage, const char *or_stage, struct record_acuity *ret);

/* Ids that the section objective names, and the kind that each must be of
 * ("" for any); at most max of them.  Returns how many. */
struct record_named {
    const char *kind, *id;
    const char *pointer; /* of the id in the body */
};

size_t record_objective_named(
    struct json_in objective, struct record_named *ret, size_t max);
#define RECORD_NAMED_MAX 32
