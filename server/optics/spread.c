#include "optics/spread.h"

#include <math.h>

#include "optics/angle.h"

static const double THIN = 5e-4;   /* pixels: half the width of a line */
static const double TRACE = 1e-13; /* of the light: rounding, not an edge */
static const double TIE = 1e-9;    /* pixels */

struct point {
    double x, y;
};

/* Semi-axes in pixels, the direction of the long one, and how far it reaches
 * from the middle. */
struct shape {
    double major, minor;
    double sine, cosine;
    struct point reach;
};

static struct shape shape_of(
    struct optics_ellipse ellipse, double arcmin_per_pixel)
{
    struct shape s = {.major = ellipse.major_arcmin / arcmin_per_pixel / 2,
        .minor = fmax(THIN, ellipse.minor_arcmin / arcmin_per_pixel / 2)};

    optics_sincos_deg(ellipse.major_axis, &s.sine, &s.cosine);
    s.reach.x = hypot(s.major * s.cosine, s.minor * s.sine);
    s.reach.y = hypot(s.major * s.sine, s.minor * s.cosine);
    return s;
}

static bool is_dot(const struct shape *s)
{
    return 2 * s->major < 1;
}

enum optics_fault optics_spread_size(
    struct optics_ellipse ellipse, double arcmin_per_pixel, int *ret_n)
{
    struct shape s;
    double rings;

    if (optics_fault_check(OPTICS_BAD_ARCMIN_PER_PIXEL, arcmin_per_pixel) !=
        OPTICS_OK)
        return OPTICS_BAD_ARCMIN_PER_PIXEL;
    s = shape_of(ellipse, arcmin_per_pixel);
    rings = fmax(0, ceil(fmax(s.reach.x, s.reach.y) - 0.5 - TIE));
    if (is_dot(&s))
        rings = 0;
    if (2 * rings + 1 > OPTICS_SPREAD_MAX)
        return OPTICS_BAD_FINE;
    *ret_n = 2 * (int)rings + 1;
    return OPTICS_OK;
}

static double cross(struct point a, struct point b)
{
    return a.x * b.y - a.y * b.x;
}

static double dot(struct point a, struct point b)
{
    return a.x * b.x + a.y * b.y;
}

/* Of the unit disc between the directions of a and b. */
static double sector(struct point a, struct point b)
{
    return atan2(cross(a, b), dot(a, b)) / 2;
}

static struct point along(struct point a, struct point step, double t)
{
    return (struct point){a.x + t * step.x, a.y + t * step.y};
}

/*
 * The area that the unit disc and the triangle of its middle, a and b have in
 * common; negative where a to b runs clockwise.  On the line through a and b
 * the disc begins and ends at t from a, counted in lengths of a to b.
 */
static double under_edge(struct point a, struct point b)
{
    struct point step = {b.x - a.x, b.y - a.y};
    double length = hypot(step.x, step.y);
    double apart = cross(a, step) / length;
    double middle = -dot(a, step) / length;
    double half, in, out;
    struct point enter, leave;

    if (fabs(apart) >= 1)
        return sector(a, b);
    half = sqrt(1 - apart * apart);
    in = (middle - half) / length;
    out = (middle + half) / length;
    if (in >= 1 || out <= 0)
        return sector(a, b);
    enter = in > 0 ? along(a, step, in) : a;
    leave = out < 1 ? along(a, step, out) : b;
    return (in > 0 ? sector(a, enter) : 0) + cross(enter, leave) / 2 +
           (out < 1 ? sector(leave, b) : 0);
}

/* The share of the light in the pixel whose middle is there: pixel and
 * ellipse are stretched until the ellipse is the unit disc. */
static double share(const struct shape *s, struct point middle)
{
    static const struct point corners[] = {
        {-0.5, -0.5}, {0.5, -0.5}, {0.5, 0.5}, {-0.5, 0.5}};
    struct point p[4];
    double area = 0;

    if (fabs(middle.x) >= s->reach.x + 0.5 ||
        fabs(middle.y) >= s->reach.y + 0.5)
        return 0;
    for (int i = 0; i < 4; i++) {
        struct point q = {middle.x + corners[i].x, middle.y + corners[i].y};

        p[i].x = (q.x * s->cosine + q.y * s->sine) / s->major;
        p[i].y = (q.y * s->cosine - q.x * s->sine) / s->minor;
    }
    for (int i = 0; i < 4; i++)
        area += under_edge(p[i], p[(i + 1) % 4]);
    return area / M_PI > TRACE ? area / M_PI : 0;
}

static enum optics_fault grid_check(
    struct optics_ellipse ellipse, struct optics_spread_grid grid)
{
    int least;
    enum optics_fault fault =
        optics_spread_size(ellipse, grid.arcmin_per_pixel, &least);

    if (fault != OPTICS_OK)
        return fault;
    if (optics_fault_check(OPTICS_BAD_N, grid.n) != OPTICS_OK)
        return OPTICS_BAD_N;
    if (grid.n % 2 == 0)
        return OPTICS_BAD_N_EVEN;
    return grid.n < least ? OPTICS_BAD_N_SMALL : OPTICS_OK;
}

enum optics_fault optics_spread_draw(
    struct optics_ellipse ellipse, struct optics_spread_grid grid, double *ret)
{
    enum optics_fault fault = grid_check(ellipse, grid);
    int n = grid.n, rings = n / 2;
    struct shape s;
    double sum = 0;

    if (fault != OPTICS_OK)
        return fault;
    s = shape_of(ellipse, grid.arcmin_per_pixel);
    for (int i = 0; i < n * n; i++) {
        int x = i % n, y = i / n;
        struct point middle = {x - rings, rings - y};

        if (is_dot(&s))
            ret[i] = middle.x == 0 && middle.y == 0 ? 1 : 0;
        else
            ret[i] = share(&s, middle);
        sum += ret[i];
    }
    for (int i = 0; i < n * n; i++)
        ret[i] /= sum;
    return OPTICS_OK;
}

struct optics_ellipse optics_spread_mirrored(struct optics_ellipse ellipse)
{
    if (ellipse.major_axis != 0)
        ellipse.major_axis = optics_axis_normal(180 - ellipse.major_axis);
    return ellipse;
}
