#include "optics/angle.h"

#include <math.h>

static const double NEAR_DEG = 1e-6; /* as near as nobody can measure */
static const double NOISE = 1e-12;

void optics_sincos_deg(double angle_deg, double *ret_sin, double *ret_cos)
{
    int quadrant;
    double rest = remquo(angle_deg, 90, &quadrant) * (M_PI / 180);
    double s = sin(rest), c = cos(rest);
    const double turn[4][2] = {{s, c}, {c, -s}, {-s, -c}, {-c, s}};

    *ret_sin = turn[quadrant & 3][0] + 0.0; /* -0 + 0 is 0 */
    *ret_cos = turn[quadrant & 3][1] + 0.0;
}

double optics_axis_normal(double axis_deg)
{
    double a = fmod(axis_deg, 180);

    if (a < 0)
        a += 180;
    return a < NEAR_DEG || a > 180 - NEAR_DEG ? 180 : a;
}

double optics_axis_difference(double a_deg, double b_deg)
{
    double d = fmod(fabs(fmod(a_deg, 180) - fmod(b_deg, 180)), 180);

    return d > 90 ? 180 - d : d;
}

int32_t optics_axis_whole(int32_t axis_cdeg)
{
    int32_t whole = (axis_cdeg + 50) / 100 * 100;

    return axis_cdeg != 0 && whole == 0 ? 18000 : whole;
}

double optics_base_normal(double angle_deg)
{
    double a = fmod(angle_deg, 360);

    if (a < 0)
        a += 360;
    return a < NEAR_DEG || a > 360 - NEAR_DEG ? 0 : a;
}

double optics_clean(double x)
{
    return fabs(x) < NOISE ? 0 : x;
}
