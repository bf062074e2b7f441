#pragma once
/*
 * optics/look.h - what an eye sees through a lens that isn't its own: the new
 * eye through the old glasses, and the other way round.
 *
 * An estimate for the practitioner and for showing to a patient, never a
 * finding: it leaves out aberrations, diffraction, squinting and habit.
 */
#include "optics/blur.h"

/*
 * The pupil for which optics_relative_mar holds as it is, mm.  The source of
 * 1 + b^2 (Blendowske 2015, abstract) names none; chosen by us, a pupil in a
 * lit room.
 */
#define OPTICS_LOOK_PUPIL_MM 4.0

/*
 * How many times the minimum angle of resolution grows: 1 + (b p / 4)^2, b
 * the length of residual and p the pupil in mm.  The blur disc is as wide as
 * pupil times error, so another pupil weighs like another error.  At 4 mm it
 * is optics_relative_mar.  For large errors a rule from memory, 0.65 p b
 * (Smith 1991), gives much the same from 1 to 3 D.
 */
enum optics_fault optics_look_mar(
    struct optics_vector residual, double pupil_mm, double *ret_mar);

struct optics_look_eye {
    double pupil_mm;
    double best_logmar;   /* with its full correction */
    double accommodation; /* D that it can bring up, 0 to 30 */
};

struct optics_look {
    double accommodated;           /* D of that in use */
    struct optics_vector residual; /* what is still missing */
    double relative_mar, logmar;
    struct optics_ellipse ellipse; /* of the residual */
};

/*
 * missing is the eye's correction less the lens looked through, both at one
 * place (optics/vertex.h), finite and within +-1e6 D.  A missing plus sphere
 * is made up by accommodation as far as it goes and clears the sight, that is
 * until M is 0; cylinder and minus can't be.  OPTICS_BAD_PUPIL_MM,
 * _BEST_LOGMAR or _ACCOMMODATION.
 */
enum optics_fault optics_look_through(struct optics_vector missing,
    struct optics_look_eye eye, struct optics_look *ret);
