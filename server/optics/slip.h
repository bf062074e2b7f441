#pragma once
/*
 * optics/slip.h - the one slip that would explain an entry that fits badly.
 *
 * Every entry that one slip turns into this one is held against what else is
 * known.  Logarithms are natural.  The score of an entry is the sum, over its
 * eyes, of
 *   history  of an eye that has one: Student's t, 3 degrees of freedom, equal
 *            weights of its entries; the scale is the noise of both readings
 *            and optics_entry_moved.  With 0.01 (chosen by us) both eyes have
 *            changed by the same M, normal with an SD of 1.7 D: in new
 *            diabetics the peak of that change was 1.47 D, SD 0.87, up to 3.75
 *            (British Journal of Ophthalmology 84:1097).
 *   cornea   where its astigmatism is known: t, 4 degrees, of (J0, J45) less
 *            the cornea's: centre -0.33 and 0, scale 0.22 and 0.17 D.
 *   other    where an eye has no history, and the entry both: t, 2 degrees, of
 *            the difference of (M, J0) and the sum of J45, mirror-like: scale
 *            0.34, 0.19, 0.16 D.
 *   common   where neither has: how common is what the two eyes share.  Mean M:
 *            t around 0.04, to minus of scale 0.93 D and 1.46 degrees, to plus
 *            0.625 D and 1.78; without a cornea also mean (J0, mirrored J45):
 *            t, 2.5 degrees, around (-0.035, 0), scale 0.26 and 0.12 D.
 * Cornea, other and common were fitted to 47,519 eyes and 23,383 pairs of eyes
 * of the US CDC's NHANES survey.
 *
 * Slips: a sign of sphere or cylinder (the cylinder's is also what a lens in
 * the other cylinder form becomes when only its sign is lost); a decimal point
 * moved by one place either way, or by two (250 for 2.50); two neighbouring
 * digits exchanged; the axis 90 degrees off; the cylinder's sign lost with the
 * axis turned (sphere kept from the other form); all but exchanged digits also
 * in both eyes alike; the eyes exchanged.  A meaning stays in the range of a
 * record, on steps of 0.25 D or 0.12 where the entry is on them, and on whole
 * degrees.
 *
 * All slips of an eye together have the prior 0.02, in equal parts of the same
 * size for both eyes (chosen by us).
 *
 * An offer for a person to decide on: nothing is changed.
 */
#include "optics/exchange.h"

enum optics_slip {
    OPTICS_SLIP_SPHERE_SIGN,
    OPTICS_SLIP_CYLINDER_SIGN,
    OPTICS_SLIP_SPHERE_POINT,
    OPTICS_SLIP_CYLINDER_POINT,
    OPTICS_SLIP_AXIS_POINT,
    OPTICS_SLIP_SPHERE_DIGITS,
    OPTICS_SLIP_CYLINDER_DIGITS,
    OPTICS_SLIP_AXIS_DIGITS,
    OPTICS_SLIP_AXIS_TURNED,
    OPTICS_SLIP_OTHER_FORM,
    OPTICS_SLIP_EYES,
};

/* "the sign of the sphere is wrong", … */
const char *optics_slip_word(enum optics_slip slip);

struct optics_meaning {
    enum optics_slip slip;
    enum optics_eye eye; /* the one that changes, unless both do */
    bool both;
    struct optics_power power[2]; /* what was meant, minus cylinder */
    double log_odds;              /* against the entry, with prior */
    bool fits;                    /* the eye, or both, as below */
};

#define OPTICS_SLIPS_MAX 48
#define OPTICS_BESIDE_MAX 3

enum optics_slip_verdict {
    OPTICS_SLIP_NOTHING_KNOWN, /* no history, cornea or other eye */
    OPTICS_SLIP_FITS,
    OPTICS_SLIP_UNEXPLAINED,
    OPTICS_SLIP_OTHER_EYE, /* the offer stands there */
    OPTICS_SLIP_POSSIBLE,  /* offered, with its odds */
    OPTICS_SLIP_OFFERED,   /* offered, clearly likelier than all else */
};

struct optics_slip_answer {
    enum optics_slip_verdict verdict;
    enum optics_eye eye;
    size_t offered; /* index of the meaning, with an offer */
    size_t n;       /* likeliest first */
    struct optics_meaning meaning[OPTICS_SLIPS_MAX];
    /* With an offer: what else fits and is at most 1000 times less likely, of
     * the other eye too where the two are held against each other. */
    size_t n_beside;
    struct optics_meaning beside[OPTICS_BESIDE_MAX];
};

struct optics_known {
    struct optics_patient patient;
    struct optics_power cornea[2]; /* minus cylinder, sph 0 */
    bool has_cornea[2];
};

struct optics_slip_answers {
    struct optics_slip_answer eye[2]; /* by enum optics_eye */
};

/*
 * An eye fits when each thing known does not reject it: history with its
 * nearest entry (chi-square, 3 degrees, 0.01), cornea and other eye outside
 * which 1 and 5 percent of their t lie.  One that doesn't is explained by the
 * likeliest meaning that fits: offered when it is 10 times as likely as the
 * entry and as any other one that fits; possible when the entry is at most 10
 * times as likely as it.  What a change of both eyes together explains fits
 * too, unless such a meaning is likelier.  Where the two eyes are held against
 * each other only the likelier one has an offer.  OPTICS_BAD_AN_EYE when the
 * entry lacks both; _HISTORY, _AGE_YEARS, _YEARS_BEFORE.  Powers must pass
 * optics_power_check.
 */
enum optics_fault optics_slip_explain(struct optics_entry entry,
    const struct optics_known *known, struct optics_slip_answers *ret);

/* "nothing to hold it against", "fits", "no one slip explains it", "a slip of
 * the other eye is likelier", "one slip may explain it", "one slip explains
 * it". */
const char *optics_slip_verdict_word(enum optics_slip_verdict verdict);
