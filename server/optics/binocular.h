#pragma once
/*
 * optics/binocular.h - prism from a phoria and what holds it, AC/A, and what
 * to expect of a finding.
 *
 * Prism dioptres (cm/m).  Aids for a practitioner: symptoms and repeated
 * measurement decide, not a criterion.
 */
#include "optics/fault.h"

/*
 * Sheard: the reserve that holds the phoria should be twice as large; prism
 * (2 phoria - reserve) / 3, not below 0.  Both are amounts: base-out reserve
 * for exo (prism base in), base-in reserve for eso (prism base out).  0 to 100
 * each; OPTICS_BAD_PHORIA, _RESERVE.
 */
enum optics_fault optics_sheard(double phoria, double reserve, double *ret);

/*
 * Percival: the demand should lie in the middle third between the limits of
 * vergence; prism (greater - 2 lesser) / 3, not below 0, with its base on the
 * side of the greater limit.  0 to 100 each; OPTICS_BAD_GREATER, _LESSER,
 * _LESSER_MORE.
 */
enum optics_fault optics_percival(double greater, double lesser, double *ret);

/*
 * For eso (from memory): base-in recovery should be no less than the phoria;
 * prism base out (eso - recovery) / 2, not below 0.  A recovery may be
 * negative.  OPTICS_BAD_ESO, _BASE_IN_RECOVERY.
 */
enum optics_fault optics_one_to_one(
    double eso, double base_in_recovery, double *ret);

/*
 * AC/A, cm/m a dioptre (formulas from memory; checked on examination questions
 * and by a second computation); eso is positive, exo negative, within 100.
 * Calculated: PD (1 to 15 cm) + near distance (0.05 to 10 m) * (near - far).
 * OPTICS_BAD_PD_CM, _NEAR_M, _FAR_PHORIA, _NEAR_PHORIA.
 * Gradient: (with - without) / change of the stimulus to accommodation, within
 * 20 D; a minus lens raises it, +1.00 is a change of -1.
 * OPTICS_BAD_LENS_CHANGE, _PHORIA_WITHOUT_LENS, _PHORIA_WITH_LENS, and
 * _NO_LENS_CHANGE for a change under 0.01 D.
 */
enum optics_fault optics_aca_calculated(double pd_cm, double near_m,
    double far_phoria, double near_phoria, double *ret);
enum optics_fault optics_aca_gradient(double lens_change,
    double phoria_without_lens, double phoria_with_lens, double *ret);

/*
 * Sphere instead of prism: base-out prism (base_in below 0) for eso is plus,
 * base-in prism for exo minus, prism / (AC/A) (from memory).  Minus needs an
 * eye that can focus.  OPTICS_BAD_BASE_IN; _AC_A, 0.1 to 30.
 */
enum optics_fault optics_sphere_for_prism(
    double base_in, double ac_a, double *ret_sphere);

/* The words of findings.def, NULL-ended. */
extern const char *const OPTICS_FINDINGS[];

struct optics_expected {
    double mean, sd, narrow_sd;
    double difference; /* value - mean */
};

/* value of the finding with that number in OPTICS_FINDINGS, against what
 * findings.def says; OPTICS_BAD_FINDING_VALUE beyond 100. */
enum optics_fault optics_finding_expected(
    int finding, double value, struct optics_expected *ret);
