#include "draw.h"

#include <math.h>
#include <string.h>

struct optics_power draw_power(struct random *r, double most)
{
    struct optics_power p = {random_in(r, -most, most),
        random_in(r, -most, most), random_in(r, 0, 180)};

    switch (random_below(r, 8)) {
    case 0:
        p.cyl = 0;
        p.axis = random_below(r, 2) ? 0 : p.axis;
        break;
    case 1: /* the axes that matter most */
        p.axis = 45.0 * (1 + random_below(r, 4));
        break;
    case 2:
        p.cyl = -p.sph;
        break;
    default:
        break;
    }
    if (p.axis == 0)
        p.cyl = 0;
    return p;
}

struct optics_power draw_quarters(struct random *r, double most)
{
    int steps = (int)(most * 4);
    struct optics_power p = {(random_below(r, 2 * steps + 1) - steps) / 4.0,
        (random_below(r, 2 * steps + 1) - steps) / 4.0,
        1 + random_below(r, 180)};

    if (p.cyl == 0)
        p.axis = 0;
    return p;
}

/* Whatever the bits say, but NaN and the infinities. */
static double any_bits(struct random *r)
{
    uint64_t bits = (uint64_t)random_next(r) << 32 | (uint64_t)random_next(r);
    double x;

    memcpy(&x, &bits, sizeof(x));
    return isfinite(x) ? x : 1e308;
}

double draw_any(struct random *r, double low, double high)
{
    static const double ODD[] = {0, -0.0, 1e-9, -1e-9, 1e-12, 5e-324, 1e-300, 1,
        -1, 45, 90, 180, 1e6, 1e300, -1e300, 1.7976931348623157e308};

    switch (random_below(r, 24)) {
    case 0:
        return low;
    case 1:
        return high;
    case 2:
        return ODD[random_below(r, ROWS(ODD))];
    case 3:
        return any_bits(r);
    case 4:
        return random_in(r, low - 1e-6, low + 1e-6);
    case 5:
        return random_in(r, high - 1e-6, high + 1e-6);
    case 6:
        return round(random_in(r, low, high));
    case 7:
        return round(4 * random_in(r, low, high)) / 4;
    case 8: /* as small as can be and still more than rounding */
        return random_in(r, -1e-5, 1e-5);
    default:
        return random_in(r, low, high);
    }
}

struct optics_power draw_any_power(struct random *r)
{
    double most = random_below(r, 4) ? 30 : 1000;
    struct optics_power p;

    do {
        p.sph = draw_any(r, -most, most);
        p.cyl = draw_any(r, -most, most);
        p.axis = draw_any(r, 0, 180);
    } while (optics_power_check(p) != OPTICS_OK);
    return p;
}

void expect_sound(const char *what, double x)
{
    HOLDS(isfinite(x) && !(x == 0 && signbit(x)), "%s gives %g", what, x);
}

void expect_all_sound(const char *what, const void *of, size_t size)
{
    for (size_t at = 0; at + sizeof(double) <= size; at += sizeof(double)) {
        double x;

        memcpy(&x, (const char *)of + at, sizeof(x));
        HOLDS(isfinite(x) && !(x == 0 && signbit(x)), "%s gives %g as %zu",
            what, x, at / sizeof(double));
    }
}
