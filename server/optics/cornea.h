#pragma once
/*
 * optics/cornea.h - keratometry.
 *
 * Power in dioptres, radius in mm.  The usual index is 1.3375, so that D =
 * 337.5 / r and 7.50 mm is 45.00 D (98.96 percent of 130,542 powers of the US
 * CDC's NHANES survey are 337.5 / r rounded to 0.25).  The flat meridian has
 * the longer radius and the weaker power; the minus cylinder that corrects the
 * cornea has its axis there.
 */
#include "optics/power.h"

#define OPTICS_CORNEA_INDEX 1.3375

/* (index - 1) * 1000 / radius, and back; OPTICS_BAD_RADIUS_MM, _POWER or
 * _INDEX outside the ranges of fault.def. */
enum optics_fault optics_cornea_power(
    double radius_mm, double index, double *ret);
enum optics_fault optics_cornea_radius(
    double power, double index, double *ret_mm);

/* The two means that go by the name of mean K; they differ. */
struct optics_cornea_mean {
    double mean_power_of_powers; /* D */
    double mean_radius_mm;
    double power_of_mean_radius; /* D */
};

enum optics_fault optics_cornea_average(double flat_mm, double steep_mm,
    double index, struct optics_cornea_mean *ret);

/* With the rule: minus-cylinder axis within 30 degrees of 180, against it:
 * within 30 of 90, both inclusive (common practice; some use 20 or 22.5). */
enum optics_rule {
    OPTICS_RULE_NONE, /* no cylinder */
    OPTICS_RULE_WITH,
    OPTICS_RULE_AGAINST,
    OPTICS_RULE_OBLIQUE,
};

const char *optics_rule_word(enum optics_rule rule); /* "with-the-rule" */

/* Of a correcting minus cylinder at axis, degrees; power as in power.h. */
enum optics_rule optics_rule_of(struct optics_power power);

/*
 * The astigmatism of a cornea as the minus cylinder that corrects it: ret->sph
 * is 0.  OPTICS_BAD_STEEP_ORDER when steep_power is under flat_power: the
 * meridians are exchanged and flat_axis can't be trusted.  flat_axis in
 * degrees, 0 as 180.
 */
enum optics_fault optics_cornea_astigmatism(double flat_power, double flat_axis,
    double steep_power, struct optics_power *ret);

/*
 * What the cornea's cylinder lets expect of the refraction: factor * corneal
 * + constant x 90, as vectors.  Javal: 1.25 and -0.50; Grosvenor: 1 and -0.50
 * (both textbook rules for axes near 180 and 90; the vector form is ours).
 * corneal is a minus cylinder with sph 0; ret->sph is 0.
 */
enum optics_fault optics_cornea_expected(struct optics_power corneal,
    double factor, double constant, struct optics_power *ret);
