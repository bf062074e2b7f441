#include "optics/make.h"

#include <math.h>
#include <string.h>

#include "optics/angle.h"
#include "optics/frame.h"
#include "optics/outline.h"
#include "optics/solve.h"

#define N_RIM 180 /* points of the outline, two degrees apart */
#define N_GAUSS 8

static const double MM_PER_M = 1000;
static const double FOCAL = 1e-3; /* of 1 - (t/n) F1 */
static const double CENTRE_MAX_MM = 100;
static const double NO_PRISM = 1e-9; /* cm/m */
static const double GOLDEN = 0.6180339887498949;

/* A lens whose centre thickness is known. */
struct body {
    double centre_mm;
    double front, along, across; /* curvatures, 1/mm: front; back in the axis
                                    meridian and in the other */
    double sin, cos;             /* of the axis */
    double slope_x, slope_y;     /* wedge of the prism */
};

struct work {
    const struct optics_make *lens;
    struct optics_outline outline;
    double x_mm, y_mm; /* reference point from the boxed centre */
    struct optics_spot rim[N_RIM];
};

/* What a rim is searched for. */
enum end { THINNEST, THICKEST };

/* False at the focal point of the front. */
static bool body_of(
    const struct optics_make *lens, double centre_mm, struct body *ret)
{
    struct optics_power p = optics_power_normal(lens->power);
    double rest = 1 - centre_mm / MM_PER_M / lens->index * lens->front_power;
    double per_power = 1 / ((lens->index - 1) * MM_PER_M);
    double per_prism = 1 / (100 * (lens->index - 1));
    double inwards = lens->eye == OPTICS_RIGHT ? 1 : -1, met;

    if (rest < FOCAL)
        return false;
    met = lens->front_power / rest;
    *ret = (struct body){
        .centre_mm = centre_mm,
        .front = lens->front_power * per_power,
        .along = (met - p.sph) * per_power,
        .across = (met - p.sph - p.cyl) * per_power,
        .slope_x = lens->prism.base_in * inwards * per_prism,
        .slope_y = lens->prism.base_up * per_prism,
    };
    optics_sincos_deg(p.axis == 0 ? 180 : p.axis, &ret->sin, &ret->cos);
    return true;
}

/* Thickness at x, y from the reference point; false beyond a surface. */
static bool thickness(const struct body *b, double x, double y, double *ret)
{
    double u = x * b->cos + y * b->sin, v = y * b->cos - x * b->sin;
    double r = hypot(x, y), sag, turned;

    if (fabs(b->front * r) > 1 || fabs(b->along * u) > 1)
        return false;
    sag = optics_sag_of(b->along, u);
    if (b->across * sag >= 1)
        return false;
    turned = b->across / (1 - b->across * sag);
    if (fabs(turned * v) > 1)
        return false;
    *ret = b->centre_mm - optics_sag_of(b->front, r) + sag +
           optics_sag_of(turned, v) + b->slope_x * x + b->slope_y * y;
    return true;
}

/* The outline's point in a direction from the boxed centre. */
static struct optics_spot rim_point(
    const struct optics_outline *outline, double angle_deg)
{
    double s, c, far;

    optics_sincos_deg(angle_deg, &s, &c);
    far = 1 / optics_outline_gauge(outline, c, s);
    return (struct optics_spot){0, far * c, far * s};
}

/* Thickness at a place from the boxed centre; false beyond a surface. */
static bool measure(
    const struct work *w, const struct body *b, struct optics_spot *spot)
{
    return thickness(b, spot->x_mm - w->x_mm, spot->y_mm - w->y_mm, &spot->mm);
}

/* The better of two spots, for an end. */
static bool better(
    const struct optics_spot *a, const struct optics_spot *b, enum end end)
{
    return end == THICKEST ? a->mm > b->mm : a->mm < b->mm;
}

/* Best spot between two directions around a local best, by golden section. */
static struct optics_spot refine(
    const struct work *w, const struct body *b, double middle, enum end end)
{
    double step = 360.0 / N_RIM, low = middle - step, high = middle + step;
    double p = high - GOLDEN * 2 * step, q = low + GOLDEN * 2 * step;
    struct optics_spot at_p = rim_point(&w->outline, p);
    struct optics_spot at_q = rim_point(&w->outline, q);

    measure(w, b, &at_p);
    measure(w, b, &at_q);
    while (high - low > 1e-4) {
        if (better(&at_p, &at_q, end)) {
            high = q;
            q = p;
            at_q = at_p;
            p = high - GOLDEN * (high - low);
            at_p = rim_point(&w->outline, p);
            measure(w, b, &at_p);
        } else {
            low = p;
            p = q;
            at_p = at_q;
            q = low + GOLDEN * (high - low);
            at_q = rim_point(&w->outline, q);
            measure(w, b, &at_q);
        }
    }
    return better(&at_p, &at_q, end) ? at_p : at_q;
}

/* Measures the whole rim; false where a surface doesn't reach it. */
static bool measure_rim(struct work *w, const struct body *b)
{
    for (int i = 0; i < N_RIM; i++)
        if (!measure(w, b, &w->rim[i]))
            return false;
    return true;
}

/* The rim's thinnest or thickest spot; measured already. */
static struct optics_spot rim_end(
    const struct work *w, const struct body *b, enum end end)
{
    struct optics_spot best = w->rim[0];

    for (int i = 0; i < N_RIM; i++) {
        const struct optics_spot *before = &w->rim[(i + N_RIM - 1) % N_RIM];
        const struct optics_spot *after = &w->rim[(i + 1) % N_RIM];
        struct optics_spot here = w->rim[i];

        if (better(before, &here, end) || better(after, &here, end))
            continue;
        here = refine(w, b, i * 360.0 / N_RIM, end);
        if (better(&here, &best, end))
            best = here;
    }
    return best;
}

static bool has_prism(const struct optics_make *lens)
{
    return hypot(lens->prism.base_in, lens->prism.base_up) > NO_PRISM;
}

/* Downhill from the reference point, in ever smaller steps, inside the rim. */
static struct optics_spot thinnest_inside(
    const struct work *w, const struct body *b)
{
    static const double ways[][2] = {{1, 0}, {0, 1}, {-1, 0}, {0, -1}};
    struct optics_spot best = {b->centre_mm, w->x_mm, w->y_mm};
    double step = 4;

    while (step > 1e-4) {
        bool moved = false;

        for (int i = 0; i < 4; i++) {
            struct optics_spot next = {0, best.x_mm + step * ways[i][0],
                best.y_mm + step * ways[i][1]};

            if (optics_outline_gauge(&w->outline, next.x_mm, next.y_mm) >= 1)
                continue;
            /* The surfaces reach the rim, and so all within it. */
            (void)measure(w, b, &next);
            if (next.mm < best.mm) {
                best = next;
                moved = true;
            }
        }
        if (!moved)
            step /= 2;
    }
    return best;
}

/* The thinnest spot of the lens; its rim is measured already. */
static struct optics_spot least_of(const struct work *w, const struct body *b)
{
    struct optics_spot rim = rim_end(w, b, THINNEST);
    struct optics_spot in = {b->centre_mm, w->x_mm, w->y_mm};

    if (has_prism(w->lens))
        in = thinnest_inside(w, b);
    return better(&rim, &in, THINNEST) ? rim : in;
}

/* How much more than wanted the thinnest spot has.  A thicker centre asks for
 * a more hollow back, so every spot rises at least as fast as the centre. */
static double edge_over(double centre_mm, const void *of)
{
    struct work w = *(const struct work *)of;
    struct body b;

    if (!body_of(w.lens, centre_mm, &b) || !measure_rim(&w, &b))
        return INFINITY;
    return least_of(&w, &b).mm - w.lens->min_edge_mm;
}

static bool find_centre(const struct work *w, struct body *ret)
{
    double range[2] = {w->lens->min_centre_mm, CENTRE_MAX_MM};
    double centre_mm = range[0], over = edge_over(range[0], w);

    if (over == INFINITY)
        return false;
    if (over < 0 && !optics_solve(edge_over, w, range, &centre_mm))
        return false;
    return body_of(w->lens, centre_mm, ret);
}

/* Nodes and weights of Gauss and Legendre on 0..1 (handbook values). */
static const double GAUSS[N_GAUSS][2] = {
    {0.019855071751231884, 0.050614268145188130},
    {0.101666761293186630, 0.111190517226687235},
    {0.237233795041835507, 0.156853322938943644},
    {0.408282678752175098, 0.181341891689180991},
    {0.591717321247824902, 0.181341891689180991},
    {0.762766204958164493, 0.156853322938943644},
    {0.898333238706813370, 0.111190517226687235},
    {0.980144928248768116, 0.050614268145188130},
};

/* In polar coordinates around the boxed centre. */
static double volume(const struct work *w, const struct body *b)
{
    double sum = 0;

    for (int i = 0; i < N_RIM; i++) {
        const struct optics_spot *rim = &w->rim[i];
        double square = rim->x_mm * rim->x_mm + rim->y_mm * rim->y_mm;

        for (int g = 0; g < N_GAUSS; g++) {
            struct optics_spot at = {
                0, rim->x_mm * GAUSS[g][0], rim->y_mm * GAUSS[g][0]};

            measure(w, b, &at);
            sum += at.mm * GAUSS[g][0] * GAUSS[g][1] * square;
        }
    }
    return sum * 2 * acos(-1) / N_RIM;
}

struct ray {
    const struct work *w;
    double x, y; /* direction */
};

static double outside(double far_mm, const void *of)
{
    const struct ray *ray = of;

    return optics_outline_gauge(&ray->w->outline,
               ray->w->x_mm + far_mm * ray->x, ray->w->y_mm + far_mm * ray->y) -
           1;
}

static void measure_meridians(
    const struct work *w, const struct body *b, struct optics_spot ret[4])
{
    double range[2] = {0, 2 * CENTRE_MAX_MM};

    for (int i = 0; i < 4; i++) {
        /* A quarter turn on is (-y, x). */
        struct ray ray = {
            w, i % 2 == 0 ? b->cos : -b->sin, i % 2 == 0 ? b->sin : b->cos};
        double far_mm = 0;

        if (i >= 2) {
            ray.x = -ray.x;
            ray.y = -ray.y;
        }
        optics_solve(outside, &ray, range, &far_mm);
        ret[i].x_mm = w->x_mm + far_mm * ray.x;
        ret[i].y_mm = w->y_mm + far_mm * ray.y;
        measure(w, b, &ret[i]);
    }
}

static double farthest(const struct work *w)
{
    double far_mm = 0;

    for (int i = 0; i < N_RIM; i++)
        far_mm = fmax(
            far_mm, hypot(w->rim[i].x_mm - w->x_mm, w->rim[i].y_mm - w->y_mm));
    return far_mm;
}

static void measure_blank(const struct work *w, struct optics_made *m)
{
    const struct optics_make *lens = w->lens;
    struct optics_shift *centre = &m->optical_centre;

    m->least_blank_mm =
        lens->ed_mm + 2 * hypot(w->x_mm, w->y_mm) + lens->allowance_mm;
    m->shape_blank_mm = 2 * farthest(w) + lens->allowance_mm;
    (void)optics_prism_of_shift(
        lens->eye, lens->power, m->decentration, &m->at_boxed_centre);
    m->at_boxed_centre.base_in += lens->prism.base_in;
    m->at_boxed_centre.base_up += lens->prism.base_up;
    if (!has_prism(lens) || optics_shift_of_prism(lens->eye, lens->power,
                                lens->prism, centre) != OPTICS_OK)
        return;
    m->by_decentration = true;
    centre->in_mm += m->decentration.in_mm;
    centre->up_mm += m->decentration.up_mm;
    m->by_decentration_blank_mm = lens->ed_mm +
                                  2 * hypot(centre->in_mm, centre->up_mm) +
                                  lens->allowance_mm;
}

static enum optics_fault check_make(const struct optics_make *lens)
{
    enum optics_fault fault = optics_power_check(lens->power);

    if (fault == OPTICS_OK)
        fault = optics_prism_check(lens->prism);
    if (fault != OPTICS_OK)
        return fault;
    return optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_FRONT_POWER, lens->front_power},
        {OPTICS_BAD_INDEX, lens->index},
        {OPTICS_BAD_DENSITY, lens->density},
        {OPTICS_BAD_DBL_MM, lens->dbl_mm},
        {OPTICS_BAD_PD_MM, lens->pd_mm},
        {OPTICS_BAD_HEIGHT_MM, lens->height_mm},
        {OPTICS_BAD_MIN_CENTRE_MM, lens->min_centre_mm},
        {OPTICS_BAD_MIN_EDGE_MM, lens->min_edge_mm},
        {OPTICS_BAD_ALLOWANCE_MM, lens->allowance_mm},
        {OPTICS_OK, 0},
    });
}

/* Shape and reference point of a checked lens. */
static enum optics_fault start(const struct optics_make *lens, struct work *w)
{
    double in_mm = (lens->a_mm + lens->dbl_mm) / 2 - lens->pd_mm;
    enum optics_fault fault =
        optics_outline_of(lens->a_mm, lens->b_mm, lens->ed_mm, &w->outline);

    if (fault != OPTICS_OK)
        return fault;
    w->lens = lens;
    w->x_mm = optics_clean(lens->eye == OPTICS_RIGHT ? in_mm : -in_mm);
    w->y_mm = lens->height_mm - lens->b_mm / 2;
    if (fabs(w->y_mm) >= w->outline.b_mm)
        return OPTICS_BAD_OUTSIDE_HEIGHT;
    if (optics_outline_gauge(&w->outline, w->x_mm, w->y_mm) >= 1)
        return OPTICS_BAD_OUTSIDE_PD;
    for (int i = 0; i < N_RIM; i++)
        w->rim[i] = rim_point(&w->outline, i * 360.0 / N_RIM);
    return OPTICS_OK;
}

enum optics_fault optics_make_lens(
    const struct optics_make *lens, struct optics_made *ret)
{
    enum optics_fault fault = check_make(lens);
    struct optics_made m;
    struct work w;
    struct body b;

    if (fault == OPTICS_OK)
        fault = start(lens, &w);
    if (fault != OPTICS_OK)
        return fault;
    if (!find_centre(&w, &b))
        return OPTICS_BAD_TOO_STEEP;
    memset(&m, 0, sizeof(m));
    measure_rim(&w, &b);
    m.decentration.in_mm =
        optics_clean(lens->eye == OPTICS_RIGHT ? w.x_mm : -w.x_mm);
    m.decentration.up_mm = optics_clean(w.y_mm);
    measure_blank(&w, &m);
    m.centre_mm = b.centre_mm;
    m.thinnest = rim_end(&w, &b, THINNEST);
    m.thickest = rim_end(&w, &b, THICKEST);
    m.least = least_of(&w, &b);
    measure_meridians(&w, &b, m.meridians);
    m.volume_mm3 = volume(&w, &b);
    m.weight_g = m.volume_mm3 / MM_PER_M * lens->density;
    *ret = m;
    return OPTICS_OK;
}
