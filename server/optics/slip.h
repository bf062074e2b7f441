#pragma once
/*
 * optics/slip.h - the one slip that would explain an entry that fits badly.
 *
 * Every lens that one slip turns into the entry is held against what else is
 * known, and offered when it alone is clearly likelier.  Logarithms are
 * natural.  The score of a lens v of one eye is the sum of
 *   history  when that eye has one: Student's t, 3 degrees of freedom, equal
 *            weights of its entries; the scale is the noise of both readings,
 *            the spread between two methods or conditions (optics/noise.h),
 *            and drift of 0.20 D a year of M in adults, 0.60 up to 12 years,
 *            and 0.05 of J0 and J45 (chosen by us).  With 0.05 the eye may
 *            have changed in M as the other one did.
 *   cornea   when its astigmatism is known: t, 4 degrees, of (J0, J45) less the
 *            cornea's: centre -0.33 and 0, scale 0.22 and 0.17 D.
 *   other    without history, when the entry has the other eye: t, 2 degrees,
 *            of the difference of (M, J0) and the sum of J45, mirror-like:
 *            scale 0.34, 0.19, 0.16 D.
 * Cornea and other were fitted to 47,519 eyes and 23,383 pairs of eyes of the
 * US CDC's NHANES survey.
 *
 * Slips: a sign of sphere or cylinder (the cylinder's is also what a lens in
 * the other cylinder form becomes when only its sign is lost); a decimal point
 * moved by one place either way, or by two (250 for 2.50); two neighbouring
 * digits exchanged; the axis 90 degrees off; the cylinder's sign lost with the
 * axis turned (sphere kept from the other form); the eyes exchanged.  A meaning
 * stays in the range of a record, on steps of 0.25 D or 0.12 where the entry
 * is on them, and on whole degrees.
 *
 * All slips together have the prior 0.02, in equal parts (chosen by us).
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
    struct optics_power power; /* what was meant, minus cylinder */
    double log_odds;           /* against the entry as it stands, with prior */
    bool fits;
};

#define OPTICS_SLIPS_MAX 32

enum optics_slip_verdict {
    OPTICS_SLIP_NOTHING_KNOWN, /* no history, cornea or other eye */
    OPTICS_SLIP_FITS,
    OPTICS_SLIP_UNEXPLAINED,
    OPTICS_SLIP_OFFERED,
};

struct optics_slip_answer {
    enum optics_slip_verdict verdict;
    size_t offered; /* its index, with OPTICS_SLIP_OFFERED */
    size_t n;       /* likeliest first */
    struct optics_meaning meaning[OPTICS_SLIPS_MAX];
};

struct optics_known {
    struct optics_patient patient;
    struct optics_power cornea[2]; /* minus cylinder, sph 0 */
    bool has_cornea[2];
};

/*
 * The entry fits when each thing known does not reject it: history with its
 * nearest entry (chi-square, 3 degrees, 0.01), cornea and other eye outside
 * which 1 and 5 percent of their t lie.  Offered is the likeliest meaning when
 * the entry doesn't fit, it does, it is 10 times as likely as the entry, and 10
 * times as likely as any other meaning.  OPTICS_BAD_AN_EYE when the entry
 * lacks the eye; _HISTORY, _AGE_YEARS, _YEARS_BEFORE.  Powers must pass
 * optics_power_check.
 */
enum optics_fault optics_slip_explain(struct optics_entry entry,
    enum optics_eye eye, const struct optics_known *known,
    struct optics_slip_answer *ret);

/* "nothing to hold it against", "fits", "no one slip explains it", "one slip
 * explains it". */
const char *optics_slip_verdict_word(enum optics_slip_verdict verdict);
