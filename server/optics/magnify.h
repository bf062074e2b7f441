#pragma once
/*
 * optics/magnify.h - thick lenses, and how large the eye sees through them.
 *
 * Powers in dioptres, thickness and distances in mm, refractive index.
 */
#include "optics/fault.h"
#include "optics/power.h"

/* From the back of the lens to the entrance pupil: the vertex distance and
 * about this much more (common practice). */
#define OPTICS_CORNEA_TO_PUPIL_MM 3.0

struct optics_surfaces {
    double front_power, back_power, index, thickness_mm;
};

struct optics_thick {
    double back_vertex_power, front_vertex_power, equivalent_power;
};

/* Fv = F1 / (1 - (t/n) F1) + F2, mirrored for the front, and F1 + F2 - (t/n)
 * F1 F2.  OPTICS_BAD_FRONT_FOCAL or _BACK_FOCAL when a surface has its focal
 * point at the other one. */
enum optics_fault optics_thick_lens(
    struct optics_surfaces lens, struct optics_thick *ret);

struct optics_worn {
    double front_power, back_vertex_power, index, thickness_mm;
    double vertex_to_pupil_mm;
};

struct optics_magnification {
    double shape_factor, power_factor;
    double magnification; /* their product */
    double percent;       /* (magnification - 1) * 100 */
};

/* Spectacle magnification 1 / (1 - (t/n) F1) * 1 / (1 - h Fv). */
enum optics_fault optics_magnify(
    struct optics_worn lens, struct optics_magnification *ret);

/* Right image over left, percent, 0 when equal; both lenses as worn. */
enum optics_fault optics_image_ratio(
    struct optics_worn right, struct optics_worn left, double *ret_percent);

/*
 * The same when only the powers are known: the power factors alone, at the
 * spherical equivalents, h = vertex_mm + 3.  An estimate: base curve and
 * thickness add their own share, and about 1 to 1.5 percent a dioptre of
 * difference is the usual rule (study pages).  Powers must pass
 * optics_power_check.  OPTICS_BAD_PUPIL_FOCAL as above.
 */
enum optics_fault optics_image_ratio_estimate(struct optics_power right,
    struct optics_power left, double vertex_mm, double *ret_percent);
