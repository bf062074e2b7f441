#pragma once
/*
 * record/step.h - one change of the working refraction: what was asked, what
 * it does, and how it is taken back.
 *
 * A step names the figure that it found ("from") and the one that it leaves
 * ("to"), so that two people at one exam never overwrite what they did not
 * see.  Figures are hundredths (of a dioptre, a prism dioptre, a degree, a
 * millimetre) or enum record_lens; NUM_ABSENT where nothing stands.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "record/refraction.h"

enum record_field {
    RECORD_FIELD_SPHERE,
    RECORD_FIELD_CYLINDER,
    RECORD_FIELD_AXIS,
    RECORD_FIELD_ADD,
    RECORD_FIELD_INTERMEDIATE_ADD,
    RECORD_FIELD_PRISM_HORIZONTAL, /* base in above 0, as record/prism.h */
    RECORD_FIELD_PRISM_VERTICAL,   /* base up above 0 */
    RECORD_FIELD_NEAR_PRISM_HORIZONTAL,
    RECORD_FIELD_NEAR_PRISM_VERTICAL,
    RECORD_FIELD_PRISM, /* both components at once, as record_prism_pack */
    RECORD_FIELD_LENS,
    RECORD_FIELD_VERTEX_MM, /* of both eyes */
    RECORD_FIELD_WORKING    /* everything: start-from */
};

/* The words of the fields that a step may name; NULL-ended. */
extern const char *const RECORD_FIELD_WORDS[];
/* The tests that a step may come from; NULL-ended. */
extern const char *const RECORD_TESTS[];

struct record_step {
    enum record_side eye; /* right, left, both */
    enum record_field field;
    enum optics_form form;  /* in which sphere, cylinder and axis are meant */
    bool hold_equivalent;   /* the sphere moves so that S + C/2 stays */
    int32_t from[2], to[2]; /* by side; one eye's alone are good */
    int32_t axis_cdeg;      /* beside a cylinder, or NUM_ABSENT */
    const char *test;       /* a word of RECORD_TESTS, or NULL */
    struct record_acuity acuity; /* reached with it, if that was noted */
};

/*
 * {"eye","field","from","to","test"?,"form"?,"axis"?,"hold_equivalent"?,
 * "acuity"?}.  from and to of both eyes are one figure, or {"right","left"}.
 * A prism's component is {"amount","base"}, a whole prism such an object or a
 * list of at most two; null is none.  True when *ret was written; else every
 * fault was added, also those that don't depend on a wrong eye or field.
 */
bool record_step_read(struct json_in in, struct record_step *ret);

/*
 * Changes *r.  RC_CONFLICT with the place /from when from isn't what stands,
 * or nothing of the kind stands; RC_INVALID when the lens it makes can't be.
 */
enum rc record_step_apply(const struct record_step *step,
    struct record_refraction *r, struct err *err);

/* NULL, or the sentence of the caution that an axis of 180 was taken, because
 * a first cylinder came without one; r is what stood before.  In arena. */
const char *record_step_axis_taken(const struct record_step *step,
    const struct record_refraction *r, struct arena *arena);

/* What stands there now, as from would have to say it: under key. */
void record_step_write_standing(struct json_out *o, const char *key,
    const struct record_step *step, const struct record_refraction *r);

/* The steps a clinic works in, and what a step off them is told; advice. */
struct record_grid {
    int32_t sphere_cd; /* 12 stands for an eighth; also of cylinder and add */
    int32_t axis_deg;
    int32_t prism_cd;
};

/* NULL, or the sentence of the caution; in arena. */
const char *record_step_off_grid(const struct record_step *step,
    const struct record_grid *grid, struct arena *arena);

/* What happened, for the log: a step, the start from a source, an undo. */
struct record_logged {
    enum record_side eye;
    enum record_field field;
    enum optics_form form;
    bool hold_equivalent;
    struct record_refraction before, after;
};

/* Writes the members of the log that undo reads: eye, field, form,
 * hold_equivalent, before and after (of the eyes concerned). */
void record_logged_write(struct json_out *o, const struct record_logged *l);

/* Reads them back; bodies are ours.  Texts are in err's arena. */
bool record_logged_read(struct json_in in, struct record_logged *ret);

/* Writes from, to, axis, test and acuity of a step. */
void record_step_write(struct json_out *o, const struct record_step *step);

/*
 * Takes logged back: each figure that it changed must stand as it left it
 * (else RC_CONFLICT) and becomes what it was before.
 */
enum rc record_logged_undo(const struct record_logged *logged,
    struct record_refraction *r, struct err *err);

/* ---- for step*.c ------------------------------------------------------ */

int32_t record_field_standing(const struct record_refraction *r,
    enum record_field field, enum optics_form form, int side);
void record_field_set(struct record_refraction *r, enum record_field field,
    enum optics_form form, int side, int32_t figure);
/* A figure as JSON under key, and as words in arena. */
void record_field_write(struct json_out *o, const char *key,
    enum record_field field, int32_t figure);
const char *record_field_text(
    enum record_field field, int32_t figure, struct arena *arena);
/* A whole prism as one figure: base in and base up by 0.01 prism dioptre, each
 * within RECORD_PRISM_MAX_CD; NUM_ABSENT is none. */
int32_t record_prism_pack(int32_t in_cd, int32_t up_cd);
void record_prism_unpack(
    int32_t figure, int32_t *ret_in_cd, int32_t *ret_up_cd);
static inline bool record_step_concerns(enum record_side eye, int side)
{
    return eye == RECORD_BOTH || (int)eye == side;
}
