#pragma once
/*
 * optics/noise.h - how much a refraction differs when it is only taken again.
 *
 * The figures are published (noise.def names each study and what its limits
 * are limits of); what lies between them is by these rules of ours:
 *   - Rows of one method, condition, age group and quantity are pooled as
 *     variances, weighted by subjects.  M goes by the spherical equivalent; J0
 *     and J45 by an astigmatic part, else by half of the cylinder.
 *   - Where a method has no row for condition and group, the one for the
 *     condition and the other group is taken, then for the other condition.
 *   - Children's figures hold to 12 years and adults' from 18, straight
 *     between them.
 *   - With power: 1 mm (SD) of vertex position, F^2 * 0.001, which moves M, J0
 *     and J45 together; 2 degrees (SD) of axis, which moves J0 and J45 across
 *     the axis by 2 |J| * 2 degrees.
 *   - Two methods differ more than one does from itself: by as much again as
 *     two examiners do (M 0.70, J 0.29 D as 95 percent limits, Photonics
 *     2024;11:634).
 *   - With drops against without: M differs by 0.55 D, SD 0.55 in children
 *     (PubMed 31703049, abstract), less in step with age from 12 to none at
 *     60; taken as spread, for its direction is part of the question.
 *
 * Estimates for a person to weigh: a change inside repeat error can be real,
 * one beyond it can be an error.
 */
#include "optics/vector.h"

enum optics_method {
    OPTICS_BY_AUTOREFRACTION,
    OPTICS_BY_HANDHELD, /* hand-held autorefraction */
    OPTICS_BY_SUBJECTIVE,
    OPTICS_BY_AUTOMATED_SUBJECTIVE,
    OPTICS_BY_RETINOSCOPY,
    OPTICS_BY_LENSOMETRY, /* of glasses: says nothing of their age */
    OPTICS_METHODS,
};

/* "autorefraction", "hand-held-autorefraction", … */
const char *optics_method_word(enum optics_method method);

struct optics_how {
    enum optics_method method;
    bool cycloplegic;
    double age_years; /* 0 to 130 */
};

/* Age where none is known: an adult whose focusing still counts. */
#define OPTICS_AGE_UNKNOWN 40

/* One reading's SD before the terms with power. */
struct optics_repeat {
    double m, j;    /* D */
    bool published; /* every figure has a study */
};

/* OPTICS_BAD_AGE_YEARS. */
enum optics_fault optics_repeat_of(
    struct optics_how how, struct optics_repeat *ret);

/* Of M, J0, J45; D^2.  Those made here are positive definite. */
struct optics_covariance {
    double mm, m0, m45, j00, j045, j4545;
};

/* Of one reading of power, which must pass optics_power_check. */
enum optics_fault optics_covariance_of(struct optics_power power,
    struct optics_how how, struct optics_covariance *ret);

struct optics_covariance optics_covariance_sum(
    struct optics_covariance a, struct optics_covariance b);

/* What another method or condition adds to the spread of a change; 0 for the
 * same.  Age by new_how, finite. */
struct optics_covariance optics_covariance_between(
    struct optics_how old_how, struct optics_how new_how);

/* v' S^-1 v, the square of the Mahalanobis distance, and the logarithm of S's
 * determinant.  S must be positive definite. */
struct optics_fit {
    double distance2, log_det;
};

struct optics_fit optics_covariance_fit(
    struct optics_covariance s, struct optics_vector v);

/* The chance that chi-square with 3 degrees of freedom exceeds x >= 0:
 * erfc(sqrt(x/2)) + sqrt(2x/pi) exp(-x/2). */
double optics_chi3_tail(double x);

/* Under it a change is more than repeat error explains. */
#define OPTICS_REPEAT_PROBABILITY 0.05

/* Looked at three ways, repeats alone are beyond one of them more often than
 * one is: hence a verdict between. */
enum optics_change_verdict {
    OPTICS_CHANGE_INSIDE, /* as a whole, M alone, and J0 and J45 alone */
    OPTICS_CHANGE_EDGE,   /* as a whole; M, or J0 and J45, alone isn't */
    OPTICS_CHANGE_BEYOND, /* as a whole */
};

struct optics_change {
    struct optics_vector delta; /* new less old, D */
    struct optics_vector sd;    /* of the change that repeating makes, D */
    double distance;            /* Mahalanobis */
    double probability;   /* that repeating alone makes it as large or larger */
    double probability_m; /* the same of M alone, two-sided */
    double limit_m;       /* 95 percent limits of a change in M: 1.96 sd */
    double probability_j; /* the same of J0 and J45 without M: chi-square, 2 */
    enum optics_change_verdict verdict;
    bool methods_differ, conditions_differ;
    bool published;
};

/* Powers must pass optics_power_check; OPTICS_BAD_AGE_YEARS. */
enum optics_fault optics_change_probability(struct optics_power old_power,
    struct optics_how old_how, struct optics_power new_power,
    struct optics_how new_how, struct optics_change *ret);

/* "inside repeat error", "at the edge of repeat error", "more than repeat error
 * explains". */
const char *optics_change_word(enum optics_change_verdict verdict);
