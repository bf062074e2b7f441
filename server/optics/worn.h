#pragma once
/*
 * optics/worn.h - the power of a lens that is tilted before the eye.
 *
 * Dioptres, degrees.  The line of sight goes through the optical centre of a
 * thin lens.  Pantoscopic tilt turns the lens about a horizontal line, wrap
 * about a vertical one; a tilt is within 60 degrees, and to the other side it
 * does the same.  What a maker has compensated already must not be compensated
 * again: it is said on the order which of the two a power is.
 */
#include "optics/prism.h"

enum optics_turn { OPTICS_PANTOSCOPIC, OPTICS_WRAP };

/*
 * Martin's formula: sphere * (1 + sin^2 t / 2n), cylinder = new sphere *
 * tan^2 t, of the sign of the sphere, its axis 180 for pantoscopic tilt and 90
 * for wrap (a teaching page has 3 for 2n).  ret_cyl may have either sign, so
 * this isn't an optics_power.  OPTICS_BAD_SPHERE, _INDEX, _TILT_DEG.
 */
enum optics_fault optics_tilt_martin(double sphere, double index,
    double tilt_deg, double *ret_sph, double *ret_cyl);

/*
 * The thin lens exactly (Coddington, from memory; agrees with a ray trace to
 * 3e-4 D): k F along the line about which it is turned, k F / cos^2 t across,
 * k = (n cos t' - cos t) / (n - 1), sin t = n sin t'.  Faults as above.
 */
enum optics_fault optics_tilt_sphere(double sphere, double index,
    double tilt_deg, double *ret_along, double *ret_across);

struct optics_tilt {
    double index;
    double tilt_deg;
    enum optics_turn turn;
};

/*
 * The same for any lens: k T F T with T = diag(1, 1 / cos t) for pantoscopic
 * tilt and diag(1 / cos t, 1) for wrap (after Harris 2002; form from memory,
 * agrees with a ray trace to 3e-4 D).  _tilt_power: how lens acts when it is
 * tilted.  _tilt_compensate: the lens that, tilted, acts as wanted: T^-1 F
 * T^-1 / k.  Minus form; up to 8 times as strong as what came in.  The faults
 * of optics_power_check, OPTICS_BAD_INDEX, _TILT_DEG.
 */
enum optics_fault optics_tilt_power(struct optics_power lens,
    struct optics_tilt tilt, struct optics_power *ret);
enum optics_fault optics_tilt_compensate(struct optics_power wanted,
    struct optics_tilt tilt, struct optics_power *ret);

/* How a lens stands before an eye: positive where the lower edge, and where the
 * temporal edge, is nearer to the face. */
struct optics_stand {
    enum optics_eye eye;
    double index;
    double pantoscopic_deg, wrap_deg;
};

/*
 * Both at once: the lens is wrapped in its frame, and the frame tilted as a
 * whole (in this order; the reference directions of ISO 13666).  k J' F J with
 * k of the angle between lens and line of sight, cos t = cos p cos w, and J
 * the way from the plane across the line of sight to the lens's: rows (1 / cos
 * w, 0) and (-tan w tan p, 1 / cos p), w counted from the examiner's right.
 * The second row's first figure turns the axis, to opposite sides before the
 * two eyes.  _compensate is its inverse, as above; up to 64 times as strong as
 * what came in.  The faults of optics_power_check, OPTICS_BAD_INDEX,
 * _PANTOSCOPIC_DEG, _WRAP_DEG.
 */
enum optics_fault optics_stand_power(struct optics_power lens,
    struct optics_stand stand, struct optics_power *ret);
enum optics_fault optics_stand_compensate(struct optics_power wanted,
    struct optics_stand stand, struct optics_power *ret);
