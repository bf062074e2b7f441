#include "optics/look.h"

#include <math.h>

static double mar(struct optics_vector residual, double pupil_mm)
{
    double scale = pupil_mm / OPTICS_LOOK_PUPIL_MM;

    return optics_relative_mar((struct optics_vector){
        residual.m * scale, residual.j0 * scale, residual.j45 * scale});
}

enum optics_fault optics_look_mar(
    struct optics_vector residual, double pupil_mm, double *ret_mar)
{
    enum optics_fault fault = optics_fault_check(OPTICS_BAD_PUPIL_MM, pupil_mm);

    if (fault == OPTICS_OK)
        *ret_mar = mar(residual, pupil_mm);
    return fault;
}

enum optics_fault optics_look_through(struct optics_vector missing,
    struct optics_look_eye eye, struct optics_look *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_PUPIL_MM, eye.pupil_mm},
        {OPTICS_BAD_BEST_LOGMAR, eye.best_logmar},
        {OPTICS_BAD_ACCOMMODATION, eye.accommodation},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    ret->accommodated = fmin(fmax(missing.m, 0), eye.accommodation) + 0.0;
    ret->residual = optics_vector_difference(
        missing, (struct optics_vector){ret->accommodated, 0, 0});
    ret->relative_mar = mar(ret->residual, eye.pupil_mm);
    ret->logmar = eye.best_logmar + log10(ret->relative_mar);
    return optics_blur_ellipse(
        optics_vector_power(ret->residual, OPTICS_MINUS_CYL), eye.pupil_mm,
        &ret->ellipse);
}
