#pragma once
/*
 * record/eye.h - one eye of an exam or an Rx, and its JSON.
 *
 * Powers in minus-cylinder form with whole degrees; hundredths of a dioptre,
 * NUM_ABSENT where nothing was said.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "optics/power.h"
#include "record/acuity.h"
#include "record/prism.h"
#include "record/side.h"

struct record_eye {
    enum record_lens lens;
    struct optics_rx power; /* all 0 unless lens is a power */
    enum optics_form form;  /* in which power was written */
    int32_t add_cd;
    int32_t intermediate_add_cd;
    bool add_from_total; /* add was computed from a near power */
    struct record_prism prism, near_prism;
    struct record_acuity acuity, near_acuity;
};

/* What an add may be, in hundredths (chosen by us). */
#define RECORD_ADD_MIN_CD 25
#define RECORD_ADD_MAX_CD 2000

/* A lens of power 0.00 and nothing else known. */
struct record_eye record_eye_plano(void);

/*
 * Reads an EYE: {"lens"?, "sphere", "cylinder", "axis", "add"?,
 * "add_from"?, "intermediate_add"?, "prism"?, "near_prism"?, "acuity"?,
 * "near_acuity"?}. "near_total" may stand instead of an add, which is computed
 * from the sphere. A lens that isn't a power must come without one.  Texts are
 * in err's arena. True when *ret was written; else every fault was added.
 */
bool record_eye_read(
    struct json_in in, enum record_side side, struct record_eye *ret);

/* Writes the object under key, in minus form: what record_eye_read reads. */
void record_eye_write(
    struct json_out *o, const char *key, const struct record_eye *eye);

/*
 * The add that a near power makes with a far sphere; add is what was sent
 * beside it, which must agree.  True when *ret_cd was written.
 */
bool record_add_from_total(struct json_in total, struct json_in add,
    int32_t sphere_cd, int32_t *ret_cd);

/* Reads an add, 0.25 to 20.00; NUM_ABSENT, and true, when there is none. */
bool record_add_read(struct json_in in, int32_t *ret_cd);
