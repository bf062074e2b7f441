#pragma once
/*
 * optics/exchange.h - was right exchanged with left?
 *
 * An exchange leaves what both eyes share and turns the sign of what differs:
 * right less left, as a vector.  So that difference of an entry is held
 * against that of every entry of the patient's history, as labelled and with
 * its sign turned, and both eyes drifting together (growth, diabetes) says
 * nothing either way.
 *
 *   likelihood  Student's t with 3 degrees of freedom in (M, J0, J45), so that
 *               a large true change of one eye isn't explained away; the
 *               weights of the entries of the history are equal.
 *   scale       the noise of all four readings (optics/noise.h), drift, and
 *               between two methods 0.29 D of M and 0.20 D of J0 and J45.  3
 *               degrees and those two were fitted to 7,140 pairs of eyes of
 *               the US CDC's NHANES survey, autorefraction against glasses.
 *   drift       of the difference: 0.15 D a year of M in adults, 0.30 up to 12
 *               years (between at 18), 0.05 D a year of J0 and J45; as a
 *               spread, in proportion to time (chosen by us).
 *   one eye     what an entry has one eye of stands beside that eye and the
 *               other one of the new entry, with the drift and the spread
 *               between methods of one eye (optics_entry_moved).  The evidence
 *               of the entries with right alone, of those with left alone and
 *               of those with both is added up, as if each knew nothing of the
 *               others.
 *   history     an entry of it can have been exchanged itself: with 0.001
 *               (chosen by us: people have seen it) and what the others say of
 *               it.  One that looks exchanged beside the others with both eyes
 *               is left out; where only such are left, nothing can be told.
 *   prior       0.01 for the new entry (chosen by us; in 100 sets of eye notes
 *               44 exchanges were found, 19 of them corrected).
 *
 * A suspicion for a person to confirm: nothing is changed.
 */
#include "optics/noise.h"
#include "optics/prism.h"

/* One visit's or instrument's refraction of a patient. */
struct optics_entry {
    struct optics_power eye[2]; /* by enum optics_eye */
    double years_before;        /* the entry that is judged; it has 0 */
    enum optics_method method;
    bool has[2];
    bool cycloplegic;
};

#define OPTICS_HISTORY_MAX 100
#define OPTICS_EXCHANGE_PRIOR 0.01

struct optics_patient {
    const struct optics_entry *history; /* in any order, borrowed */
    size_t n;
    double age_years; /* at the entry that is judged */
};

enum optics_exchange_verdict {
    OPTICS_AS_LABELLED,
    OPTICS_EXCHANGE_LIKELY,    /* probability 0.5 or more */
    OPTICS_EXCHANGE_UNDECIDED, /* neither is 3 times as likely */
};

struct optics_exchange {
    double log_ratio;   /* natural; above 0: exchanged is likelier */
    double probability; /* of an exchange, with the prior */
    enum optics_exchange_verdict verdict;
    size_t compared; /* entries of the history that have an eye */
    /* To the newest entry that has it, D: each eye to its own past and to the
     * other eye's.  Known by whose past it is: own[e] with known[e], other[e]
     * with known[!e]; else 0. */
    double own[2], other[2];
    bool known[2];
};

/*
 * prior 0.000001 to 0.5.  Entries of the history without an eye are left out;
 * without any, log_ratio is 0, the verdict undecided and own and other
 * are 0.  OPTICS_BAD_BOTH_EYES when the entry lacks one, OPTICS_BAD_HISTORY
 * for more than OPTICS_HISTORY_MAX, OPTICS_BAD_AGE_YEARS, _YEARS_BEFORE,
 * _PRIOR.  Powers must pass optics_power_check.
 */
enum optics_fault optics_exchange_judge(struct optics_entry entry,
    struct optics_patient patient, double prior, struct optics_exchange *ret);

/* "as labelled", "likely exchanged", "cannot be told". */
const char *optics_exchange_word(enum optics_exchange_verdict verdict);

/* The fault of the patient's age, or of the number or a time of the history;
 * OPTICS_OK otherwise. */
enum optics_fault optics_patient_check(struct optics_patient patient);

/* The noise of one eye of an entry. */
struct optics_covariance optics_entry_noise(struct optics_entry entry,
    enum optics_eye eye, struct optics_patient patient);

/*
 * How far one eye moves from an entry of the past to now, beside the noise of
 * both: drift of 0.20 D a year of M in adults, 0.60 up to 12 years (between at
 * 18), and 0.05 of J0 and J45 (chosen by us); the spread between two methods
 * or conditions (optics/noise.h).
 */
struct optics_covariance optics_entry_moved(const struct optics_entry *now,
    const struct optics_entry *past, double age_years);

/* Logarithm of Student's t with freedom degrees in three dimensions, less its
 * constant: -log det / 2 - (freedom + 3) / 2 log(1 + distance2 / freedom). */
double optics_student_log(struct optics_fit fit, double freedom);

/* log(e^a + e^b) without overflow. */
double optics_log_sum(double a, double b);

/* The drift of one eye, D, over years at an age: sd_per_year of a child, of an
 * adult; straight between 12 and 18 years. */
double optics_drift(
    double years, double age_years, const double child_adult[2]);
