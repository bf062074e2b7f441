#pragma once
/*
 * optics/angle.h - degrees, and the axis of a cylinder.
 *
 * Angles are counted anticlockwise as the examiner sees the patient, for both
 * eyes (ISO 8429 calls the half circle 0 to 180 the standard notation, from
 * memory).  An axis is a direction without a sense: 0 and 180 are the same and
 * written 180.  Every argument must be finite.
 */
#include <stdint.h>

/* Sine and cosine of an angle in degrees; exact at multiples of 90, so that
 * a lens at axis 90 or 180 has no stray oblique part, and never -0. */
void optics_sincos_deg(double angle_deg, double *ret_sin, double *ret_cos);

/* The same direction in (0, 180]; within 1e-6 of 0 it is 180. */
double optics_axis_normal(double axis_deg);

/* The smaller angle between two axes, 0 to 90. */
double optics_axis_difference(double a_deg, double b_deg);

/*
 * The nearest whole degree of an axis in hundredths of a degree, 100 to 18000:
 * 49 becomes 18000 (0 is written 180), 50 becomes 100.  0, no axis, stays 0.
 */
int32_t optics_axis_whole(int32_t axis_cdeg);

/* The same direction in [0, 360); within 1e-6 of 360 it is 0.  For the base
 * of a prism, which does have a sense. */
double optics_base_normal(double angle_deg);

/* x, or 0 when it is so small (under 1e-12) that only rounding made it. */
double optics_clean(double x);
