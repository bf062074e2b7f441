#include "optics/vertex.h"

#include <math.h>

static const double LENS_MAX = 1000; /* D */

/* False at the focal point. */
static bool move(double f, double d_m, double *ret)
{
    double moved = f / (1 - d_m * f);

    if (!(fabs(moved) <= LENS_MAX))
        return false;
    *ret = moved;
    return true;
}

enum optics_fault optics_vertex_move(struct optics_power power, double from_mm,
    double to_mm, struct optics_power *ret)
{
    enum optics_fault fault = optics_power_check(power);
    double d_m = (from_mm - to_mm) / 1000;
    struct optics_power p;
    double s, other;

    if (fault == OPTICS_OK)
        fault = optics_fault_first((struct optics_arg[]){
            {OPTICS_BAD_FROM_MM, from_mm},
            {OPTICS_BAD_TO_MM, to_mm},
            {OPTICS_OK, 0},
        });
    if (fault != OPTICS_OK)
        return fault;
    p = optics_power_normal(power);
    if (!move(p.sph, d_m, &s))
        return OPTICS_BAD_FOCAL_SPHERE;
    if (!move(p.sph + p.cyl, d_m, &other))
        return OPTICS_BAD_FOCAL_CYLINDER;
    p.cyl = p.cyl == 0 ? 0 : other - s;
    p.sph = s;
    *ret = optics_power_as(p, OPTICS_MINUS_CYL);
    return OPTICS_OK;
}
