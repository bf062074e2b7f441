#pragma once
/*
 * optics/fingerprint.h - is this refraction the same person's as that history?
 *
 * The logarithm of a likelihood ratio: how likely the entry is for the person
 * of the history, over how likely it is for somebody else.
 *
 *   same person  for each entry of the history and each eye Student's t with 3
 *                degrees of freedom; the scale is the noise of both readings
 *                and how far one eye moves in the time and between methods
 *                (optics_entry_moved).  The entries have equal weights.
 *   somebody     the right eye, or the only one: half and half t with 2
 *                degrees, of M, J0, J45 around -0.21, -0.05, -0.01, scale 1.06,
 *                0.27, 0.14 D (everybody), and t with 3, around -0.78, -0.12,
 *                -0.01, scale 2.24, 0.42, 0.22 D (who wears glasses); the left
 *                one beside it: t with 2, mirror-like (M and J0 less the
 *                right's, J45 plus it), scale 0.34, 0.19, 0.16 D.  Fitted to
 *                5,000 to 6,000 drawn of 23,979 right eyes, of 7,411 with
 *                glasses and of the pairs of eyes of the US CDC's NHANES survey
 *                (12 years and more, one country; others differ).
 *
 * It tells an unusual pair of eyes from others, and two usual ones hardly: a
 * piece of evidence beside names and dates, never an identification.
 */
#include "optics/exchange.h"

struct optics_fingerprint {
    double log_ratio; /* natural; above 0: the same person is likelier */
    size_t compared;  /* entries of the history that share an eye with it */
    double apart;     /* D: to the nearest of those, the farther eye */
};

/*
 * Entries of the history that share no eye with the entry are left out;
 * without any, all is 0.  OPTICS_BAD_HISTORY, _AGE_YEARS, _YEARS_BEFORE.
 * Powers must pass optics_power_check.
 */
enum optics_fault optics_fingerprint_judge(struct optics_entry entry,
    struct optics_patient patient, struct optics_fingerprint *ret);
