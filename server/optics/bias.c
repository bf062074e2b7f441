#include "optics/bias.h"

#include <math.h>

#include "optics/angle.h"

static const double MIN_VISITS_TURN = 3, MIN_VISITS = 10;
static const double MIN_PRODUCT = 0.125 / 4; /* of half cylinders, D^2 */
static const double ERRORS = 3;
static const double MIN_BIAS = 0.125; /* D */
static const double SAME = 1e-9;      /* D */

/* Sums of the turn's equation. */
struct products {
    double dot, cross;
    size_t visits;
};

static struct optics_vector difference(
    const struct optics_device_visit *p, int eye)
{
    return optics_vector_difference(
        optics_vector_of(p->reading[eye]), optics_vector_of(p->final[eye]));
}

static void add_products(
    const struct optics_device_visit *p, int eye, struct products *to)
{
    struct optics_vector f, r;

    if (!p->has[eye])
        return;
    f = optics_vector_of(p->final[eye]);
    r = optics_vector_of(p->reading[eye]);
    to->dot += f.j0 * r.j0 + f.j45 * r.j45;
    to->cross += f.j0 * r.j45 - f.j45 * r.j0;
}

/* The turn of the eyes first to last of each visit. */
static struct optics_turn turn_of(
    const struct optics_device_visit *visits, size_t n, int first, int last)
{
    struct optics_turn none = {0};
    struct products all = {0};
    double turn, s, c, strength, squares = 0, count;

    for (size_t i = 0; i < n; i++) {
        bool here = false;

        for (int eye = first; eye <= last; eye++) {
            add_products(&visits[i], eye, &all);
            here = here || visits[i].has[eye];
        }
        all.visits += here;
    }
    strength = hypot(all.dot, all.cross);
    count = (double)all.visits;
    if (count < MIN_VISITS_TURN || strength < MIN_PRODUCT)
        return none;
    turn = atan2(all.cross, all.dot);
    c = all.dot / strength;
    s = all.cross / strength;
    for (size_t i = 0; i < n; i++) {
        struct products own = {0};
        double share;

        for (int eye = first; eye <= last; eye++)
            add_products(&visits[i], eye, &own);
        share = own.cross * c - own.dot * s;
        squares += share * share;
    }
    return (struct optics_turn){true, optics_clean(turn * 90 / M_PI),
        sqrt(squares * count / (count - 1)) / strength * 90 / M_PI};
}

static void add_squares(struct optics_vector *to, struct optics_vector v)
{
    to->m += v.m * v.m;
    to->j0 += v.j0 * v.j0;
    to->j45 += v.j45 * v.j45;
}

static struct optics_vector root(struct optics_vector v, double factor)
{
    return (struct optics_vector){
        factor * sqrt(v.m), factor * sqrt(v.j0), factor * sqrt(v.j45)};
}

/* bias, error and sd. */
static void average(const struct optics_device_visit *visits, size_t n,
    struct optics_device *ret)
{
    struct optics_vector sum = {0}, eyes = {0}, own_sums = {0};
    double count, visit_count = (double)n;

    for (size_t i = 0; i < n; i++)
        for (int eye = 0; eye < 2; eye++)
            if (visits[i].has[eye]) {
                sum = optics_vector_sum(sum, difference(&visits[i], eye));
                ret->eyes++;
            }
    count = (double)ret->eyes;
    ret->bias =
        (struct optics_vector){sum.m / count, sum.j0 / count, sum.j45 / count};
    for (size_t i = 0; i < n; i++) {
        struct optics_vector own = {0};

        for (int eye = 0; eye < 2; eye++)
            if (visits[i].has[eye]) {
                struct optics_vector d = optics_vector_difference(
                    difference(&visits[i], eye), ret->bias);

                add_squares(&eyes, d);
                own = optics_vector_sum(own, d);
            }
        add_squares(&own_sums, own);
    }
    ret->sd = root(eyes, 1 / sqrt(count - 1));
    ret->error = root(own_sums, sqrt(visit_count / (visit_count - 1)) / count);
}

static bool stands_out(double bias, double error)
{
    return fabs(bias) >= MIN_BIAS - SAME && fabs(bias) >= ERRORS * error;
}

/* True when both turns are known and lie within 3 errors of each other. */
static bool agree(struct optics_turn a, struct optics_turn b)
{
    return a.known && b.known &&
           optics_axis_difference(a.turn_deg, b.turn_deg) <=
               ERRORS * hypot(a.error_deg, b.error_deg) + SAME;
}

enum optics_fault optics_device_judge(const struct optics_device_visit *visits,
    size_t n, struct optics_device *ret)
{
    struct optics_device got = {.visits = n};
    enum optics_fault fault = optics_fault_check(OPTICS_BAD_VISITS, (double)n);

    for (size_t i = 0; i < n && fault == OPTICS_OK; i++)
        if (!visits[i].has[OPTICS_RIGHT] && !visits[i].has[OPTICS_LEFT])
            fault = OPTICS_BAD_VISIT;
    if (fault != OPTICS_OK)
        return fault;
    average(visits, n, &got);
    got.both = turn_of(visits, n, OPTICS_RIGHT, OPTICS_LEFT);
    got.eye[OPTICS_RIGHT] = turn_of(visits, n, OPTICS_RIGHT, OPTICS_RIGHT);
    got.eye[OPTICS_LEFT] = turn_of(visits, n, OPTICS_LEFT, OPTICS_LEFT);
    got.enough = (double)n >= MIN_VISITS;
    got.biased = got.enough && (stands_out(got.bias.m, got.error.m) ||
                                   stands_out(got.bias.j0, got.error.j0) ||
                                   stands_out(got.bias.j45, got.error.j45));
    got.turned = got.enough && agree(got.eye[0], got.eye[1]) &&
                 fabs(got.both.turn_deg) >= OPTICS_TURN_LEAST_DEG - SAME &&
                 fabs(got.both.turn_deg) >= ERRORS * got.both.error_deg;
    *ret = got;
    return OPTICS_OK;
}

const char *optics_device_word(const struct optics_device *device)
{
    if (!device->enough)
        return "too few to tell";
    if (device->biased)
        return device->turned ? "biased and turned" : "biased";
    return device->turned ? "turned" : "right";
}

static const double D2 = 1.1283791670955126; /* 2 / sqrt(pi) */
static const int RUN = 8;

/* Marks the values against the limits that stand in *ret. */
static void mark(const double *values, size_t n, struct optics_chart *ret)
{
    int run = 0, last = 0;

    ret->first_outside = ret->first_run = n;
    for (size_t i = 0; i < n; i++) {
        double off = values[i] - ret->centre;
        int side = fabs(off) < SAME ? 0 : off > 0 ? 1 : -1;

        if (fabs(off) > 3 * ret->sigma + SAME) {
            if (ret->outside++ == 0)
                ret->first_outside = i;
        }
        run = side == 0 ? 0 : side == last ? run + 1 : 1;
        last = side;
        if (run >= RUN && ret->first_run == n)
            ret->first_run = i;
    }
    ret->in_control = ret->outside == 0 && ret->first_run == n;
}

enum optics_fault optics_chart_of(
    const double *values, size_t n, size_t baseline, struct optics_chart *ret)
{
    struct optics_chart got = {0};
    double sum = 0, ranges = 0;
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_POINTS, (double)n},
        {OPTICS_BAD_BASELINE, (double)baseline},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK && baseline > n)
        fault = OPTICS_BAD_BASELINE_LONG;
    for (size_t i = 0; i < n && fault == OPTICS_OK; i++)
        fault = optics_fault_check(OPTICS_BAD_VALUE, values[i]);
    if (fault != OPTICS_OK)
        return fault;
    for (size_t i = 0; i < baseline; i++) {
        sum += values[i];
        ranges += i > 0 ? fabs(values[i] - values[i - 1]) : 0;
    }
    got.centre = optics_clean(sum / (double)baseline);
    got.sigma = ranges / (double)(baseline - 1) / D2;
    got.low = optics_clean(got.centre - 3 * got.sigma);
    got.high = optics_clean(got.centre + 3 * got.sigma);
    mark(values, n, &got);
    *ret = got;
    return OPTICS_OK;
}
