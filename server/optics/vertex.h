#pragma once
/*
 * optics/vertex.h - the same correction at another distance from the eye.
 *
 * F2 = F1 / (1 - d F1), d in metres, towards the eye positive, in both
 * principal meridians; the axis stays and the cylinder changes.
 */
#include "optics/power.h"

/*
 * The lens at to_mm before the cornea that does what power does at from_mm,
 * 0 to 100 mm each, in minus-cylinder form.  Besides faults of the arguments,
 * OPTICS_BAD_FOCAL_SPHERE or _FOCAL_CYLINDER when a meridian of power comes to
 * a focus at the new place, so that no lens there (within +-1000 D) will do.
 */
enum optics_fault optics_vertex_move(struct optics_power power, double from_mm,
    double to_mm, struct optics_power *ret);
