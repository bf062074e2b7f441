#pragma once
/*
 * optics/crosscyl.h - refinement of cylinder and axis by a Jackson cross
 * cylinder: what the answers given so far say of (J0, J45), and what to show
 * next.
 *
 * An aid for the practitioner, who decides what is shown and what is believed.
 * It supposes that the spherical equivalent is held at its best, so that the
 * least blur lies on the retina (the test's own condition).
 *
 * How a patient answers (the model, optics_crosscyl_model):
 *   The blur of each view is b^2 = |r -+ c|^2, r the (J0, J45) that the trial
 *   lens leaves uncorrected, c that of the cross cylinder in the first view,
 *   and its logMAR log10(1 + b^2) (optics/blur.h; Blendowske 2015, abstract).
 *   Seen is u, second less first, with normal noise; seen within +-same it is
 *   called "same", above "first", below "second".  A share lapse of answers
 *   says any of the three at random.
 *   noise 0.04 lies between two figures: 0.10 logMAR between two acuities (95
 *   percent, common practice) is an SD of 0.051 for the difference of two
 *   looks; and made-up patients of 0.03 repeat, after eleven answers, the
 *   published +-0.16 D of cylinder (Rosenfield & Chiu 1995, as tabulated
 *   later; tests/unit/optics/crosscyl_trial.c).  same 0.02 is one letter, and
 *   lapse 0.04 chosen by us.
 *   Two views shown at once (a presentation of our own) need no memory of the
 *   first: noise and same are both multiplied by at_once, 0.7, near 1/sqrt 2,
 *   as if remembering cost as much as seeing.  No source; unproven.
 *
 * Nothing is allocated: the state is the caller's, about 50 kB.
 */
#include <stdbool.h>
#include <stddef.h>

#include "optics/round.h"
#include "optics/vector.h"

struct optics_crosscyl_model {
    double noise, same; /* logMAR, 0.01 to 0.5; 0 to 0.5 */
    double lapse;       /* 0.001 to 0.5 */
    double at_once;     /* factor, 0.1 to 1 */
};

/* The figures above. */
extern const struct optics_crosscyl_model OPTICS_CROSSCYL_MODEL;

/* Spread of the prior about the start, SD of J0 and of J45, D: chosen by us,
 * for a start from an autorefraction or from glasses a few years old. */
#define OPTICS_CROSSCYL_SPREAD 0.20

/* Cells a side; they reach 4 spreads to each side of the start, and 1.25 D at
 * most, so that a cell is never over 0.04 D. */
#define OPTICS_CROSSCYL_SIDE 65
#define OPTICS_CROSSCYL_MIDDLE 32
#define OPTICS_CROSSCYL_TABLE 512

/* A cell of less weight is left out of gains, regions and intervals; all of
 * them together weigh under 0.0001. */
#define OPTICS_CROSSCYL_LIGHT 1e-8

/* One presentation. */
struct optics_flip {
    struct optics_power trial; /* the lens in place, without the flip */
    double size;               /* 0.25: +0.25 -0.50; or 0.50 */
    double minus_axis;         /* of its minus cylinder in the first view */
    bool at_once;              /* both views side by side */
};

enum optics_flip_answer {
    OPTICS_FLIP_FIRST, /* the first view is clearer */
    OPTICS_FLIP_SECOND,
    OPTICS_FLIP_SAME
};

/* Power: the minus axis along or across the trial's.  Axis: at 45 degrees to
 * it.  Search: the trial has no cylinder.  Oblique: none of these (over 5
 * degrees off; the test is still understood). */
enum optics_flip_phase {
    OPTICS_FLIP_POWER,
    OPTICS_FLIP_AXIS,
    OPTICS_FLIP_SEARCH,
    OPTICS_FLIP_OBLIQUE
};

struct optics_crosscyl {
    double m;       /* spherical equivalent of the start, to be held, D */
    double j0, j45; /* of the middle cell */
    double step;    /* between cells, D */
    size_t answers;
    int low[2], high[2]; /* rows and columns, both included, outside of which
                          * no cell weighs OPTICS_CROSSCYL_LIGHT */
    double weight[OPTICS_CROSSCYL_SIDE][OPTICS_CROSSCYL_SIDE]; /* [j45][j0] */
    /* One after another and at once, by the difference of the two views:
     * P(first), and the bits that are open although it is known. */
    double first[2][OPTICS_CROSSCYL_TABLE + 1];
    double bits[2][OPTICS_CROSSCYL_TABLE + 1];
};

/* Nothing answered yet: a normal prior about start, which must pass
 * optics_power_check.  OPTICS_BAD_SPREAD outside 0.02 to 0.6 D, or the fault of
 * the first senseless part of model. */
enum optics_fault optics_crosscyl_start(struct optics_power start,
    double spread, struct optics_crosscyl_model model,
    struct optics_crosscyl *ret);

/* OPTICS_OK, or OPTICS_BAD_SIZE, _MINUS_AXIS.  The trial must pass
 * optics_power_check by itself. */
enum optics_fault optics_flip_check(struct optics_flip flip);

/* Below, flip must pass optics_flip_check. */

enum optics_flip_phase optics_flip_phase(struct optics_flip flip);

/* "power", "axis", "search", "oblique". */
const char *optics_flip_phase_word(enum optics_flip_phase phase);

/* Takes one answer in. */
void optics_crosscyl_add(struct optics_crosscyl *c, struct optics_flip flip,
    enum optics_flip_answer answer);

/* Bits by which the answer to flip is expected to lessen the entropy of
 * (J0, J45); summed over every second row and column. */
double optics_crosscyl_gain(
    const struct optics_crosscyl *c, struct optics_flip flip);

/* The mean of (J0, J45) with M held: the correction to expect. */
struct optics_vector optics_crosscyl_mean(const struct optics_crosscyl *c);

struct optics_crosscyl_spread {
    double sd_j0, sd_j45; /* D */
    double covariance;    /* D^2 */
    double major, minor;  /* semi-axes of the 95 percent ellipse of a normal
                           * spread, D: 2.45 SD */
    double angle;         /* of the major one in the plane of J0 (0) and J45
                           * (90), [0, 180) */
};

struct optics_crosscyl_spread optics_crosscyl_spread(
    const struct optics_crosscyl *c);

/*
 * Where it may do to stop: spread.major of at most this, D.  Chosen by us, from
 * the trial named above: there the classic rule takes a few more answers and
 * scatters more.
 */
#define OPTICS_CROSSCYL_ENOUGH 0.23

/* Cells from the start to the mean, 2.5 spreads, beyond which the start was
 * too far off to be believed: begin anew from the mean. */
#define OPTICS_CROSSCYL_FAR (OPTICS_CROSSCYL_MIDDLE * 0.625)

struct optics_crosscyl_estimate {
    struct optics_vector mean;
    struct optics_crosscyl_spread spread;
    double area;     /* of the 95 percent highest-density region, D^2 */
    double density;  /* weight of its lightest cell */
    double cylinder; /* minus: -2 |(J0, J45)| of the mean, D */
    /* 95 percent of it lie from least, nearer to 0, to most, and the cylinder
     * above does.  least is 0 where no cylinder lies in the region. */
    double cylinder_least, cylinder_most;
    double axis;         /* (0, 180]; 0: no cylinder */
    double axis_error;   /* 95 percent lie within +- this; 90: open */
    double moved;        /* from the start to the mean, in (J0, J45), D */
    bool far;            /* more than OPTICS_CROSSCYL_FAR cells */
    double entropy_bits; /* of the cells */
};

struct optics_crosscyl_estimate optics_crosscyl_estimate(
    const struct optics_crosscyl *c);

struct optics_crosscyl_next {
    struct optics_flip flip;
    enum optics_flip_phase phase;
    double gain_bits;
};

/*
 * The most informative presentation: of the power and the axis phase (the
 * search along 180 and 45 where there is no cylinder), at the lens nearest to
 * the mean and at like.trial, which stays when moving gains under 2 percent.
 * The cylinder is rounded to step, its axis to a degree, and the sphere is the
 * one that holds c->m best.  like also gives size and at_once.  Which side
 * comes first changes with each answer, against a habit of preferring one.
 */
struct optics_crosscyl_next optics_crosscyl_next(
    const struct optics_crosscyl *c, struct optics_flip like,
    enum optics_step step);
