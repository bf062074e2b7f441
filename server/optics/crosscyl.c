#include "optics/crosscyl.h"

#include <math.h>

#include "optics/angle.h"

#define SIDE OPTICS_CROSSCYL_SIDE
#define MIDDLE OPTICS_CROSSCYL_MIDDLE
#define TABLE OPTICS_CROSSCYL_TABLE

const struct optics_crosscyl_model OPTICS_CROSSCYL_MODEL = {
    .noise = 0.04, .same = 0.02, .lapse = 0.04, .at_once = 0.7};

static const double REACH = 4;        /* spreads from the middle to the rim, */
static const double REACH_MAX = 1.25; /* and D */
static const double WORTH = 1.02;     /* a gain for which a lens is changed */
static const double OBLIQUE_DEG = 5;
static const double PHASE_DEG = 45; /* from the power to the axis phase */

/*
 * With b^2 = |r -+ c|^2 the difference of the two logMAR is
 * log10((q + w) / (q - w)), q = 1 + |r|^2 + |c|^2 and w = 2 r.c: a function of
 * w / q alone, which is why a table will do.  |w / q| is greatest, |c| /
 * sqrt(1 + |c|^2), where |r|^2 = 1 + |c|^2: under 0.45 for |c| = 0.5.
 */
#define SHARE_MAX 0.45

static double logmar_difference(double share)
{
    return 2 / M_LN10 * atanh(share);
}

static double normal_below(double x)
{
    return erfc(-x * M_SQRT1_2) / 2;
}

/* Probability of "first" where the second view is worse by u. */
static double says_first(
    double u, double factor, const struct optics_crosscyl_model *m)
{
    double clear = normal_below((u / factor - m->same) / m->noise);

    return m->lapse / 3 + (1 - m->lapse) * clear;
}

static double bits(double p)
{
    return -p * log2(p);
}

/* A lapse may give any answer: none of the three probabilities is 0. */
static double answer_bits(double first, double second)
{
    return bits(first) + bits(second) + bits(1 - first - second);
}

static void fill_tables(
    struct optics_crosscyl *c, const struct optics_crosscyl_model *m)
{
    for (int once = 0; once < 2; once++)
        for (int i = 0; i <= TABLE; i++) {
            double u = logmar_difference(SHARE_MAX * (2.0 * i / TABLE - 1));
            double factor = once ? m->at_once : 1;
            double first = says_first(u, factor, m);

            c->first[once][i] = first;
            c->bits[once][i] = answer_bits(first, says_first(-u, factor, m));
        }
}

static enum optics_fault model_check(
    double spread, const struct optics_crosscyl_model *m)
{
    return optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_SPREAD, spread},
        {OPTICS_BAD_NOISE, m->noise},
        {OPTICS_BAD_SAME, m->same},
        {OPTICS_BAD_LAPSE, m->lapse},
        {OPTICS_BAD_AT_ONCE, m->at_once},
        {OPTICS_OK, 0},
    });
}

/* Widens low and high by what weighs something in that row. */
static void light_row(struct optics_crosscyl *c, int y)
{
    const double *row = c->weight[y];
    int first = 0, last = SIDE - 1;

    while (first < SIDE && row[first] < OPTICS_CROSSCYL_LIGHT)
        first++;
    if (first == SIDE)
        return;
    while (row[last] < OPTICS_CROSSCYL_LIGHT)
        last--;
    if (c->low[0] > y)
        c->low[0] = y;
    if (c->low[1] > first)
        c->low[1] = first;
    c->high[0] = y;
    if (c->high[1] < last)
        c->high[1] = last;
}

/* Divides by sum, which is never 0: see optics_crosscyl_add. */
static void make_whole(struct optics_crosscyl *c, double sum)
{
    double scale = 1 / sum;

    c->low[0] = c->low[1] = SIDE - 1;
    c->high[0] = c->high[1] = 0;
    for (int y = 0; y < SIDE; y++) {
        for (int x = 0; x < SIDE; x++)
            c->weight[y][x] *= scale;
        light_row(c, y);
    }
}

/* Of a row or column from the middle one, D. */
static double offset(const struct optics_crosscyl *c, int cell)
{
    return (cell - MIDDLE) * c->step;
}

enum optics_fault optics_crosscyl_start(struct optics_power start,
    double spread, struct optics_crosscyl_model model,
    struct optics_crosscyl *ret)
{
    enum optics_fault fault = model_check(spread, &model);
    struct optics_vector v = optics_vector_of(start);
    double tail[SIDE], sum = 0;

    if (fault != OPTICS_OK)
        return fault;
    ret->m = v.m;
    ret->j0 = v.j0;
    ret->j45 = v.j45;
    ret->step = fmin(REACH * spread, REACH_MAX) / MIDDLE;
    ret->answers = 0;
    for (int i = 0; i < SIDE; i++) {
        double t = offset(ret, i) / spread;

        tail[i] = exp(-t * t / 2);
    }
    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) {
            ret->weight[y][x] = tail[y] * tail[x];
            sum += ret->weight[y][x];
        }
    make_whole(ret, sum);
    fill_tables(ret, &model);
    return OPTICS_OK;
}

enum optics_fault optics_flip_check(struct optics_flip flip)
{
    if (flip.size != 0.25 && flip.size != 0.5)
        return OPTICS_BAD_SIZE;
    return optics_fault_check(OPTICS_BAD_MINUS_AXIS, flip.minus_axis);
}

enum optics_flip_phase optics_flip_phase(struct optics_flip flip)
{
    struct optics_power trial = optics_power_normal(flip.trial);
    double turn = optics_axis_difference(flip.minus_axis, trial.axis);

    if (trial.cyl == 0)
        return OPTICS_FLIP_SEARCH;
    if (trial.cyl > 0)
        turn = 90 - turn;
    if (fabs(turn - PHASE_DEG) <= OBLIQUE_DEG)
        return OPTICS_FLIP_AXIS;
    if (fabs(turn - PHASE_DEG) >= PHASE_DEG - OBLIQUE_DEG)
        return OPTICS_FLIP_POWER;
    return OPTICS_FLIP_OBLIQUE;
}

const char *optics_flip_phase_word(enum optics_flip_phase phase)
{
    static const char *const words[] = {"power", "axis", "search", "oblique"};

    return words[phase];
}

/* A flip in the plane of J0 and J45: from the middle cell to its trial, and
 * its first view's cross cylinder. */
struct plane {
    double trial_j0, trial_j45, flip_j0, flip_j45;
    double base; /* 1 + |c|^2 */
    int once;
};

static struct plane plane_of(
    const struct optics_crosscyl *c, struct optics_flip flip)
{
    struct optics_vector t = optics_vector_of(flip.trial);
    struct optics_vector f = optics_vector_of(
        (struct optics_power){flip.size, -2 * flip.size, flip.minus_axis});

    return (struct plane){t.j0 - c->j0, t.j45 - c->j45, f.j0, f.j45,
        1 + flip.size * flip.size, flip.at_once ? 1 : 0};
}

/* Where in the tables an eye at that cell looks; *ret_part is how far past. */
static inline int look(const struct optics_crosscyl *c, const struct plane *p,
    int y, int x, double *ret_part)
{
    double r0 = offset(c, x) - p->trial_j0;
    double r45 = offset(c, y) - p->trial_j45;
    double share = 2 * (r0 * p->flip_j0 + r45 * p->flip_j45) /
                   (p->base + r0 * r0 + r45 * r45);
    double at = (share / SHARE_MAX + 1) / 2 * TABLE;
    int i = (int)at;

    *ret_part = at - i;
    return i;
}

static inline double between(const double *table, int i, double part)
{
    return table[i] + part * (table[i + 1] - table[i]);
}

/* P("second") is P("first") of the opposite difference. */
static inline double second(const double *table, int i, double part)
{
    return between(table, TABLE - 1 - i, 1 - part);
}

/* The lapse keeps every probability over 0.0003, and so some weight. */
void optics_crosscyl_add(struct optics_crosscyl *c, struct optics_flip flip,
    enum optics_flip_answer answer)
{
    struct plane p = plane_of(c, flip);
    const double *table = c->first[p.once];
    double sum = 0;

    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) {
            double part, like;
            int i = look(c, &p, y, x, &part);

            if (answer == OPTICS_FLIP_FIRST)
                like = between(table, i, part);
            else if (answer == OPTICS_FLIP_SECOND)
                like = second(table, i, part);
            else
                like = 1 - between(table, i, part) - second(table, i, part);
            c->weight[y][x] *= like;
            sum += c->weight[y][x];
        }
    make_whole(c, sum);
    c->answers++;
}

/* What is open before the answer is heard, less what is open although the eye
 * is known: the mutual information, equal to the expected loss of entropy. */
double optics_crosscyl_gain(
    const struct optics_crosscyl *c, struct optics_flip flip)
{
    struct plane p = plane_of(c, flip);
    double whole = 0, says_one = 0, says_two = 0, open = 0;

    for (int y = c->low[0]; y <= c->high[0]; y += 2)
        for (int x = c->low[1]; x <= c->high[1]; x += 2) {
            double w = c->weight[y][x], part;
            int i;

            if (w < OPTICS_CROSSCYL_LIGHT)
                continue;
            i = look(c, &p, y, x, &part);
            whole += w;
            says_one += w * between(c->first[p.once], i, part);
            says_two += w * second(c->first[p.once], i, part);
            open += w * between(c->bits[p.once], i, part);
        }
    return fmax(
        0, answer_bits(says_one / whole, says_two / whole) - open / whole);
}

/* The trial lens nearest to the mean, with the start's M. */
static struct optics_power nearest_trial(
    const struct optics_crosscyl *c, enum optics_step step)
{
    double size = step == OPTICS_STEP_QUARTER ? 0.25 : 0.125;
    struct optics_vector v = optics_crosscyl_mean(c);
    struct optics_power p = optics_vector_power(v, OPTICS_MINUS_CYL);

    p.cyl = optics_round_to(p.cyl, size);
    p.sph = optics_round_to(c->m - p.cyl / 2, size);
    p.axis = p.cyl == 0 ? 0 : optics_axis_normal(floor(p.axis + 0.5));
    return p;
}

/* Keeps the better of its two phases in *best. */
static void try_trial(const struct optics_crosscyl *c, struct optics_flip flip,
    double worth, struct optics_crosscyl_next *best)
{
    struct optics_power trial = optics_power_as(flip.trial, OPTICS_MINUS_CYL);

    for (int turn = 0; turn < 2; turn++) {
        double gain;

        flip.minus_axis = optics_axis_normal(
            trial.axis + turn * PHASE_DEG + (c->answers % 2 ? 90 : 0));
        gain = optics_crosscyl_gain(c, flip);
        if (gain > worth * best->gain_bits)
            *best = (struct optics_crosscyl_next){
                flip, optics_flip_phase(flip), gain};
    }
}

struct optics_crosscyl_next optics_crosscyl_next(
    const struct optics_crosscyl *c, struct optics_flip like,
    enum optics_step step)
{
    struct optics_crosscyl_next best = {.gain_bits = -1};
    struct optics_flip moved = like;

    like.trial = optics_power_normal(like.trial);
    try_trial(c, like, 1, &best);
    moved.trial = nearest_trial(c, step);
    if (optics_power_distance(like.trial, moved.trial) > 0)
        try_trial(c, moved, WORTH, &best);
    return best;
}
