#pragma once
/*
 * optics/blur.h - what an uncorrected error does to sight.
 *
 * Estimates for a person to weigh: pupil, accommodation, age and the eye's
 * own optics all change them.
 */
#include "optics/vector.h"

/* Angle of the blur disc, minutes of arc: pupil (m) * |defocus| radians. */
enum optics_fault optics_blur_angle(
    double pupil_mm, double defocus, double *ret_arcmin);

struct optics_ellipse {
    double major_arcmin, minor_arcmin;
    double major_axis; /* degrees, (0, 180]; 0 for a disc */
};

/* The blur of a point: in each principal meridian pupil * |power|, the long
 * side along the meridian of the greater |power|.  power is the error and must
 * pass optics_power_check. */
enum optics_fault optics_blur_ellipse(
    struct optics_power power, double pupil_mm, struct optics_ellipse *ret);

/*
 * How many times the minimum angle of resolution grows: 1 + b^2, b the blur
 * strength of the residual error in dioptres (Blendowske 2015, abstract).
 * Leaves out pupil and axis.
 */
double optics_relative_mar(struct optics_vector residual);

/* logMAR to expect with residual left uncorrected, from best_logmar with full
 * correction: best + log10 of the above.  best_logmar must be finite. */
double optics_predicted_logmar(
    double best_logmar, struct optics_vector residual);

/* Height on the retina, mm: tan(angle) * 1000 / K; 60 D puts the nodal point
 * 16.67 mm before it. */
enum optics_fault optics_retinal_image(
    double angle_arcmin, double eye_power, double *ret_mm);

/* A change within these is inside the noise: M +-0.50 D (Rosenfield & Chiu
 * 1995, abstract), J 0.25 D (common practice, no source). */
#define OPTICS_NOISE_M 0.50
#define OPTICS_NOISE_J 0.25

struct optics_noise {
    double delta_m; /* new less old, D */
    double delta_j; /* length of the change of (J0, J45), D */
    bool change;    /* either reaches its limit (within 1e-9) */
};

/* Limits 0 to 100 D.  Powers must pass optics_power_check. */
enum optics_fault optics_change_noise(struct optics_power old_power,
    struct optics_power new_power, double limit_m, double limit_j,
    struct optics_noise *ret);
