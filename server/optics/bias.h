#pragma once
/*
 * optics/bias.h - is an instrument biased, turned, or out of control?
 *
 * Readings are held against the final prescriptions of the same eyes, which
 * hold the prescriber's habits too: a bias is a reason to look at the
 * instrument, never a correction.
 */
#include <stddef.h>

#include "optics/prism.h"
#include "optics/vector.h"

/* One patient's eyes, by enum optics_eye, by the instrument and as prescribed
 * at the same visit; at least one eye. */
struct optics_device_visit {
    struct optics_power reading[2], final[2];
    bool has[2];
};

/*
 * The smallest turn that counts: what the axis of a finished lens may be off
 * where its cylinder is strongest (over 1.50 D, ANSI Z80.1-2015 as in
 * tolerance.def).  That the narrowest tolerance of a lens is also the least
 * that an instrument is called askew for is chosen by us; a single axis
 * repeats far worse.
 */
#define OPTICS_TURN_LEAST_DEG 2.0

/* A turn, degrees anticlockwise as the examiner sees the patient, with its
 * standard error; known is false where cylinders are too few or too weak (less
 * than 0.125 D^2 of cylinder products in all, or fewer than 3 visits). */
struct optics_turn {
    bool known;
    double turn_deg, error_deg;
};

struct optics_device {
    size_t visits, eyes;
    struct optics_vector bias;  /* mean of reading less final, D */
    struct optics_vector error; /* its standard error, over visits */
    struct optics_vector sd;    /* of one eye's difference, with n - 1 */
    struct optics_turn both, eye[2];
    bool biased; /* a part is 3 errors and 0.125 D or more from 0 */
    bool turned; /* both is 3 errors and OPTICS_TURN_LEAST_DEG or more from 0;
                  * the eyes agree in 3 */
    bool enough; /* 10 visits or more; else neither is said */
};

/*
 * Bias: the mean over eyes; its error takes a visit's eyes together (they
 * aren't independent): sqrt(n / (n - 1) sum of squares of visits' sums of
 * residuals) / eyes.
 *
 * Turn: the angle that turns the final (J0, J45) of all eyes best onto the
 * readings', least squares: tan 2 turn = sum of cross / sum of dot products
 * (the plane case of a Procrustes fit); the error from each visit's share of
 * the equation in the same way.  A head rest or an instrument that stands
 * askew turns both eyes the same way; a turn of one eye only, or of the two in
 * opposite ways, isn't the table.  A constant J45 can pass for a turn where all
 * axes lie alike: look at bias too.
 *
 * 2 to 10,000 visits: OPTICS_BAD_VISITS; OPTICS_BAD_VISIT for one without an
 * eye.  Powers must pass optics_power_check.
 */
enum optics_fault optics_device_judge(const struct optics_device_visit *visits,
    size_t n, struct optics_device *ret);

/* "right", "biased", "turned", "biased and turned", "too few to tell". */
const char *optics_device_word(const struct optics_device *device);

struct optics_chart {
    double centre, sigma; /* of the baseline */
    double low, high;     /* control limits: centre -+ 3 sigma */
    size_t outside;       /* how many of the values lie beyond them */
    size_t first_outside; /* index; n when none does */
    size_t first_run;     /* index at which 8 on one side are full; n: none */
    bool in_control;
};

/*
 * Shewhart's chart of single values, in the order of time: sigma is the mean
 * moving range of the first baseline values / d2, d2 = 2 / sqrt(pi) = 1.128
 * for ranges of two; eight in a row on one side of the centre are a signal too
 * (both as in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2, from
 * memory).  values finite, within +-1000; 2 to 10,000: OPTICS_BAD_POINTS;
 * OPTICS_BAD_BASELINE, and _BASELINE_LONG when it is more than n;
 * OPTICS_BAD_VALUE.
 */
enum optics_fault optics_chart_of(
    const double *values, size_t n, size_t baseline, struct optics_chart *ret);
