#include "optics/outline.h"

#include <math.h>

#include "optics/solve.h"

struct wanted {
    double far_mm;     /* ED / 2 */
    double long_mm;    /* the longer of a and b */
    double short_part; /* the shorter in parts of it */
};

/* The farthest point over the wanted one, for e = 1 / k, 0 to 1. */
static double too_far(double e, const void *of)
{
    const struct wanted *w = of;
    double r = w->long_mm;

    if (e > 0)
        r *= pow(1 + pow(w->short_part, 2 / e), e / 2);
    return r - w->far_mm;
}

enum optics_fault optics_outline_of(
    double a_mm, double b_mm, double ed_mm, struct optics_outline *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_A_MM, a_mm},
        {OPTICS_BAD_B_MM, b_mm},
        {OPTICS_BAD_ED_MM, ed_mm},
        {OPTICS_OK, 0},
    });
    struct wanted w = {
        ed_mm / 2, fmax(a_mm, b_mm) / 2, fmin(a_mm, b_mm) / fmax(a_mm, b_mm)};
    double range[2] = {0, 1}, e;

    if (fault != OPTICS_OK)
        return fault;
    if (ed_mm < a_mm)
        return OPTICS_BAD_ED_SMALL;
    if (ed_mm < b_mm)
        return OPTICS_BAD_ED_UNDER_B;
    if (!optics_solve(too_far, &w, range, &e))
        return OPTICS_BAD_ED_WIDE;
    *ret = (struct optics_outline){a_mm / 2, b_mm / 2, 2 / (1 - e)};
    return OPTICS_OK;
}

double optics_outline_gauge(
    const struct optics_outline *o, double x_mm, double y_mm)
{
    double x = fabs(x_mm) / o->a_mm, y = fabs(y_mm) / o->b_mm;
    double most = fmax(x, y);

    if (most == 0)
        return 0;
    return most * pow(1 + pow(fmin(x, y) / most, o->p), 1 / o->p);
}
