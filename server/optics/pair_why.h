#pragma once
/*
 * optics/pair_why.h - what one mistake of reading or of making would explain of
 * a finished pair that isn't as ordered.
 *
 * Each explanation says what would be left over if it were so.  A pointer for
 * whoever looks at the pair: nothing is applied, and no verdict changes.
 */
#include "optics/pair.h"

enum optics_why {
    OPTICS_WHY_EXCHANGED,
    OPTICS_WHY_AXIS_TURNED,
    OPTICS_WHY_AXIS_MIRRORED, /* 180 less the axis: read from the other side */
    OPTICS_WHY_CYLINDER_SIGN,
    OPTICS_WHY_OTHER_FORM,
    OPTICS_WHY_SPHERE_SIGN,
    OPTICS_WHY_BOTH_SIGNS,
    OPTICS_WHY_FRONT_VERTEX, /* of a lens whose body is known */
    OPTICS_WHY_ADD_SIDE,     /* the same, with its segment in front */
    OPTICS_WHY_BASE_TURNED,
};

/* "right and left are exchanged", … */
const char *optics_why_word(enum optics_why why);

struct optics_explanation {
    /* What would be left: delivered less ordered, minus form, D; the prism at
     * the reference points, cm/m. */
    struct optics_power residual[2];
    double add_error[2];
    struct optics_prism prism[2];
    /* Roots of sums of squares: of the lenses' lengths and the adds, of the
     * prisms, and of both, where 1 cm/m counts as 1 D (chosen by us). */
    double lenses, prisms, size;
    enum optics_why why;
    enum optics_verdict verdict;
    enum optics_eye eye;
    bool both; /* in both lenses alike; else of eye */
};

#define OPTICS_EXPLANATIONS_MAX 4

/*
 * Those that leave less than there is, and of the lenses or of the prisms less
 * than half (chosen by us), least left first.  *ret_size is what there is, as
 * size above.  The pair must pass optics_pair_check; returns how many.
 *
 * Exchanged: each lens with its place as the other eye's, its horizontal prism
 * turned.  Front vertex: with t = thickness / index and g(x) = x / (1 - t x),
 * the back vertex power that was meant is g(F1) + g^-1(F - F1) in each
 * meridian, F as read and F1 of the front.  Add: g^-1(g(F1) + add) - F1, that
 * of a segment in front read through the back.
 */
size_t optics_pair_explain(const struct optics_pair *pair,
    struct optics_explanation ret[OPTICS_EXPLANATIONS_MAX], double *ret_size);
