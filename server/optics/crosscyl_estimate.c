/* optics/crosscyl_estimate.c - what the weights of optics/crosscyl.h say. */
#include <math.h>

#include "optics/angle.h"
#include "optics/crosscyl.h"

#define SIDE OPTICS_CROSSCYL_SIDE
#define MIDDLE OPTICS_CROSSCYL_MIDDLE

static const double SHARE = 0.95;
static const double CHI_SQUARE = 5.991464547107979; /* -2 ln 0.05, 2 degrees */

static double j0_of(const struct optics_crosscyl *c, int x)
{
    return c->j0 + (x - MIDDLE) * c->step;
}

static double j45_of(const struct optics_crosscyl *c, int y)
{
    return c->j45 + (y - MIDDLE) * c->step;
}

struct optics_vector optics_crosscyl_mean(const struct optics_crosscyl *c)
{
    struct optics_vector v = {.m = c->m};

    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) {
            v.j0 += c->weight[y][x] * j0_of(c, x);
            v.j45 += c->weight[y][x] * j45_of(c, y);
        }
    v.j0 = optics_clean(v.j0);
    v.j45 = optics_clean(v.j45);
    return v;
}

struct optics_crosscyl_spread optics_crosscyl_spread(
    const struct optics_crosscyl *c)
{
    struct optics_vector mean = optics_crosscyl_mean(c);
    double v0 = 0, v45 = 0, cov = 0, middle, half, angle;

    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) {
            double w = c->weight[y][x];
            double d0 = j0_of(c, x) - mean.j0, d45 = j45_of(c, y) - mean.j45;

            v0 += w * d0 * d0;
            v45 += w * d45 * d45;
            cov += w * d0 * d45;
        }
    middle = (v0 + v45) / 2;
    half = hypot((v0 - v45) / 2, cov);
    angle = optics_axis_normal(atan2(2 * cov, v0 - v45) / 2 * (180 / M_PI));
    return (struct optics_crosscyl_spread){
        .sd_j0 = sqrt(v0),
        .sd_j45 = sqrt(v45),
        .covariance = optics_clean(cov),
        .major = sqrt(CHI_SQUARE * (middle + half)),
        .minor = sqrt(CHI_SQUARE * fmax(0, middle - half)),
        .angle = angle == 180 ? 0 : angle,
    };
}

/* The weight and number of cells that weigh at least least. */
static double weight_over(
    const struct optics_crosscyl *c, double least, size_t *ret_cells)
{
    double sum = 0;

    *ret_cells = 0;
    for (int y = c->low[0]; y <= c->high[0]; y++)
        for (int x = c->low[1]; x <= c->high[1]; x++)
            if (c->weight[y][x] >= least) {
                sum += c->weight[y][x];
                ++*ret_cells;
            }
    return sum;
}

/* Bisection for the greatest density over which 95 percent lie; in powers of
 * two, from the least that counts to 1, which no weight exceeds. */
static void put_densest(
    const struct optics_crosscyl *c, struct optics_crosscyl_estimate *e)
{
    double low = log2(OPTICS_CROSSCYL_LIGHT), high = 0;
    size_t cells;

    for (int i = 0; i < 30; i++) {
        double middle = (low + high) / 2;

        if (weight_over(c, exp2(middle), &cells) >= SHARE)
            low = middle;
        else
            high = middle;
    }
    e->density = exp2(low);
    weight_over(c, e->density, &cells);
    e->area = (double)cells * c->step * c->step;
}

/* A share of weight along a line of bins, each weight parted between the two
 * bins beside it. */
#define BINS 512

struct line {
    double bin[BINS];
    double width;
};

static void line_put(struct line *l, double at, double weight)
{
    double place = fmin(at / l->width, BINS - 2);
    int i = (int)place;

    l->bin[i] += weight * (1 - (place - i));
    l->bin[i + 1] += weight * (place - i);
}

/* Where share, 0.975 at most, of the weight is behind; over 0.9999 is there. */
static double line_at(const struct line *l, double share)
{
    double sum = 0;
    int i = 0;

    while (i < BINS - 1 && sum + l->bin[i] < share)
        sum += l->bin[i++];
    return fmax(0, (i - 0.5 + (share - sum) / l->bin[i]) * l->width);
}

/* True when no cylinder is one of the cells of the 95 percent region. */
static bool may_be_none(
    const struct optics_crosscyl *c, const struct optics_crosscyl_estimate *e)
{
    long x = lround(MIDDLE - c->j0 / c->step);
    long y = lround(MIDDLE - c->j45 / c->step);

    return x >= 0 && x < SIDE && y >= 0 && y < SIDE &&
           c->weight[y][x] >= e->density;
}

/* The length of a mean is less than the lengths it is made of, and may lie
 * before the first 2.5 percent of them: the interval then begins there. */
static void put_interval(const struct line *lengths, bool may_be_none,
    struct optics_crosscyl_estimate *e)
{
    double own = 0 - e->cylinder;
    double least = may_be_none ? 0 : line_at(lengths, (1 - SHARE) / 2);
    double share = may_be_none ? SHARE : (1 + SHARE) / 2;

    e->cylinder_least = 0 - fmin(least, own);
    e->cylinder_most = 0 - fmax(line_at(lengths, share), own);
}

/* |cylinder| and the distance of the axis from the mean's. */
static void put_cylinder(
    const struct optics_crosscyl *c, struct optics_crosscyl_estimate *e)
{
    double reach =
        hypot(fabs(c->j0) + MIDDLE * c->step, fabs(c->j45) + MIDDLE * c->step);
    struct line cylinders = {
        .width = fmax(2 * c->step, 2 * reach / (BINS - 2))};
    struct line turns = {.width = 90.0 / (BINS - 2)};

    for (int y = c->low[0]; y <= c->high[0]; y++)
        for (int x = c->low[1]; x <= c->high[1]; x++) {
            double j0 = j0_of(c, x), j45 = j45_of(c, y);
            double axis = atan2(j45, j0) / 2 * (180 / M_PI);

            line_put(&cylinders, 2 * hypot(j0, j45), c->weight[y][x]);
            line_put(
                &turns, optics_axis_difference(axis, e->axis), c->weight[y][x]);
        }
    put_interval(&cylinders, may_be_none(c, e), e);
    e->axis_error = fmin(90, line_at(&turns, SHARE));
}

static double entropy(const struct optics_crosscyl *c)
{
    double sum = 0;

    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++)
            if (c->weight[y][x] > 0)
                sum -= c->weight[y][x] * log2(c->weight[y][x]);
    return sum;
}

struct optics_crosscyl_estimate optics_crosscyl_estimate(
    const struct optics_crosscyl *c)
{
    struct optics_vector mean = optics_crosscyl_mean(c);
    struct optics_power p = optics_vector_power(mean, OPTICS_MINUS_CYL);
    struct optics_crosscyl_estimate e = {.mean = mean,
        .spread = optics_crosscyl_spread(c),
        .cylinder = p.cyl,
        .axis = p.axis,
        .moved = hypot(mean.j0 - c->j0, mean.j45 - c->j45),
        .entropy_bits = entropy(c)};

    e.far = e.moved > OPTICS_CROSSCYL_FAR * c->step;
    put_densest(c, &e);
    put_cylinder(c, &e);
    if (p.axis == 0)
        e.axis_error = 90;
    return e;
}
