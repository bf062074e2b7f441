#include "optics/solve.h"

#include <math.h>

#define CALLS_MAX 200
#define SMALL                                                                  \
    1e-13 /* of the function's value and of the interval, relative             \
           */

struct bracket {
    double low, high;     /* x */
    double f_low, f_high; /* under and over 0; halved for a side that stays */
    int stayed;           /* how often: low positive, high negative */
};

/* Where the chord crosses, or the middle when it says little. */
static double next_x(const struct bracket *b)
{
    double width = b->high - b->low, x;

    if (!isfinite(b->f_low) || !isfinite(b->f_high))
        return b->low + width / 2;
    x = b->low - b->f_low * width / (b->f_high - b->f_low);
    return x > b->low && x < b->high ? x : b->low + width / 2;
}

/* Moves one end to x; the other's value is halved when it stays twice, so
 * that the chord doesn't stick to it (the Illinois rule, from memory). */
static void narrow(struct bracket *b, double x, double f)
{
    if (f < 0) {
        b->low = x;
        b->f_low = f;
        b->stayed = b->stayed < 0 ? b->stayed - 1 : -1;
        if (b->stayed < -1)
            b->f_high /= 2;
    } else {
        b->high = x;
        b->f_high = f;
        b->stayed = b->stayed > 0 ? b->stayed + 1 : 1;
        if (b->stayed > 1)
            b->f_low /= 2;
    }
}

bool optics_solve(
    optics_rising *f, const void *of, const double range[2], double *ret_x)
{
    struct bracket b = {
        range[0], range[1], f(range[0], of), f(range[1], of), 0};
    double x = b.low, y = b.f_low;

    if (!(b.f_low <= 0 && b.f_high >= 0))
        return false;
    for (int i = 0; i < CALLS_MAX && fabs(y) > SMALL; i++) {
        if (b.high - b.low <= SMALL * (1 + fabs(b.high)))
            break;
        x = next_x(&b);
        y = f(x, of);
        narrow(&b, x, y);
    }
    if (fabs(y) > SMALL && !(isfinite(b.f_low) && isfinite(b.f_high)))
        return false;
    *ret_x = x;
    return true;
}
