#pragma once
/*
 * optics/round.h - what can be ordered: steps of a quarter or an eighth of a
 * dioptre, axis in whole degrees.
 *
 * Eighths are written and stored as the trade prints them, cut to .12 .37 .62
 * .87; sums and distances go by the true eighth.  A step named 0.12 is the
 * eighth.
 */
#include <stdbool.h>
#include <stdint.h>

#include "optics/power.h"
#include "optics/vector.h"

struct optics_quarter {
    double half_away; /* nearest 0.25, a tie away from zero */
    double half_even; /* nearest 0.25, a tie to the even quarter */
    bool tie;         /* value is an exact eighth, within 1e-9 */
};

/* OPTICS_BAD_VALUE when value is not finite or beyond +-1000. */
enum optics_fault optics_round_quarter(
    double value, struct optics_quarter *ret);

enum optics_step { OPTICS_STEP_QUARTER, OPTICS_STEP_EIGHTH };

/* The step of 0.25, of 0.125 or of 0.12 D; OPTICS_BAD_STEP for another. */
enum optics_fault optics_step_find(double step, enum optics_step *ret);

/* count steps from zero as written: 9 eighths are 112. */
int32_t optics_step_written(enum optics_step step, int32_t count);

/* How many steps from zero written_cd stands; false when it is none (110). */
bool optics_step_count(
    enum optics_step step, int32_t written_cd, int32_t *ret_count);

struct optics_orderable {
    struct optics_rx rx;       /* as written, minus cylinder, whole degrees */
    struct optics_power exact; /* the same with true eighths */
    struct optics_vector residual; /* wanted less exact */
    double distance;               /* its length, D */
};

/*
 * The orderable lens nearest to wanted in power-vector distance.  In steps of
 * an eighth a wanted sphere or cylinder of .12 .37 .62 .87 means the eighth.
 * Of equally near lenses the one with the weaker cylinder, then the sphere
 * further from zero, then the higher axis (chosen by us: the fewer surprises
 * at the wearer's eye, and the chart's rule for halves).  Beyond the record's
 * range it still answers.  wanted must pass optics_power_check.
 */
struct optics_orderable optics_round_orderable(
    struct optics_power wanted, enum optics_step step);
