#include "optics/noise.h"

#include <math.h>

#include "optics/angle.h"

enum group { ADULT, CHILD };
enum quantity { EQUIVALENT, CYLINDER, ASTIGMATIC };
enum figure { OF_CHANGE, OF_READING, SD };

static const struct row {
    double low, high, subjects;
    enum optics_method method;
    enum group group;
    enum quantity quantity;
    enum figure figure;
    bool cycloplegic, published;
} ROWS[] = {
#define ROW(how, drops, who, what, which, from, to, n, seen, src)              \
    {.method = OPTICS_BY_##how,                                                \
        .cycloplegic = drops,                                                  \
        .group = who,                                                          \
        .quantity = what,                                                      \
        .figure = which,                                                       \
        .low = from,                                                           \
        .high = to,                                                            \
        .subjects = n,                                                         \
        .published = seen},
#include "optics/noise.def"
#undef ROW
};

#define N_ROWS (sizeof(ROWS) / sizeof(ROWS[0]))

static const double CHI_NONE = 1500; /* exp(-x / 2) is 0 from there on */
static const double Z95 = 1.96;
static const double CHILD_YEARS = 12, ADULT_YEARS = 18, NO_FOCUS_YEARS = 60;
static const double VERTEX_SD_M = 0.001;
static const double AXIS_SD_DEG = 2;
static const double METHODS_M = 0.70 / 1.96, METHODS_J = 0.29 / 1.96; /* SD */
static const double DROPS_MEAN = 0.55, DROPS_SD = 0.55;               /* D */

const char *optics_method_word(enum optics_method method)
{
    static const char *const words[] = {"autorefraction",
        "hand-held-autorefraction", "subjective", "automated-subjective",
        "retinoscopy", "lensometry"};

    return words[method];
}

static double row_sd(const struct row *r)
{
    double half = (r->high - r->low) / 2;

    if (r->figure == SD)
        return r->high;
    return r->figure == OF_READING ? half / Z95 : half / (Z95 * M_SQRT2);
}

struct pool {
    double squares, subjects;
    bool published;
};

static struct pool pool_rows(struct row like)
{
    struct pool p = {0, 0, true};

    for (const struct row *r = ROWS; r < ROWS + N_ROWS; r++) {
        double sd = row_sd(r);

        if (r->method != like.method || r->cycloplegic != like.cycloplegic ||
            r->group != like.group || r->quantity != like.quantity)
            continue;
        p.squares += r->subjects * sd * sd;
        p.subjects += r->subjects;
        p.published &= r->published;
    }
    return p;
}

/* The rows for condition and group, or the next best. */
static struct pool pool_nearest(struct row like)
{
    struct pool p = pool_rows(like);

    for (int i = 1; i < 4 && p.subjects == 0; i++) {
        struct row other = like;

        if (i & 1)
            other.group = like.group == ADULT ? CHILD : ADULT;
        if (i & 2)
            other.cycloplegic = !like.cycloplegic;
        p = pool_rows(other);
    }
    return p;
}

static struct optics_repeat repeat_of_group(
    struct optics_how how, enum group group)
{
    struct row like = {.method = how.method,
        .cycloplegic = how.cycloplegic,
        .group = group,
        .quantity = EQUIVALENT};
    struct pool m = pool_nearest(like), j, c;
    double share = 1;

    like.quantity = ASTIGMATIC;
    j = pool_rows(like);
    like.quantity = CYLINDER;
    c = pool_rows(like);
    /* Half of the cylinder of this group before an astigmatic part of another
     * group or condition. */
    if (j.subjects == 0 && c.subjects > 0) {
        j = c;
        share = 0.5;
    }
    if (j.subjects == 0) {
        like.quantity = ASTIGMATIC;
        j = pool_nearest(like);
    }
    if (j.subjects == 0) {
        like.quantity = CYLINDER;
        j = pool_nearest(like);
        share = 0.5;
    }
    return (struct optics_repeat){sqrt(m.squares / m.subjects),
        share * sqrt(j.squares / j.subjects),
        (bool)(m.published & j.published)};
}

/* 1 up to low years, 0 from high, straight between. */
static double fade(double years, double low, double high)
{
    return fmin(1, fmax(0, (high - years) / (high - low)));
}

enum optics_fault optics_repeat_of(
    struct optics_how how, struct optics_repeat *ret)
{
    enum optics_fault fault =
        optics_fault_check(OPTICS_BAD_AGE_YEARS, how.age_years);
    struct optics_repeat child, adult;
    double part;

    if (fault != OPTICS_OK)
        return fault;
    part = fade(how.age_years, CHILD_YEARS, ADULT_YEARS);
    child = repeat_of_group(how, CHILD);
    adult = repeat_of_group(how, ADULT);
    ret->m = part * child.m + (1 - part) * adult.m;
    ret->j = part * child.j + (1 - part) * adult.j;
    ret->published = child.published & adult.published;
    return OPTICS_OK;
}

/* Adds sd^2 times v v'. */
static void add_along(
    struct optics_covariance *s, struct optics_vector v, double sd)
{
    double q = sd * sd;

    s->mm += q * v.m * v.m;
    s->m0 += q * v.m * v.j0;
    s->m45 += q * v.m * v.j45;
    s->j00 += q * v.j0 * v.j0;
    s->j045 += q * v.j0 * v.j45;
    s->j4545 += q * v.j45 * v.j45;
}

enum optics_fault optics_covariance_of(struct optics_power power,
    struct optics_how how, struct optics_covariance *ret)
{
    struct optics_vector v = optics_vector_of(power);
    /* What a turn by one radian and a shift by one metre change: F^2 of the
     * matrix M + J has the vector (M^2 + J^2, 2 M J0, 2 M J45). */
    struct optics_vector turn = {0, -2 * v.j45, 2 * v.j0};
    struct optics_vector shift = {v.m * v.m + v.j0 * v.j0 + v.j45 * v.j45,
        2 * v.m * v.j0, 2 * v.m * v.j45};
    struct optics_repeat repeat;
    enum optics_fault fault = optics_repeat_of(how, &repeat);

    if (fault != OPTICS_OK)
        return fault;
    *ret = (struct optics_covariance){.mm = repeat.m * repeat.m,
        .j00 = repeat.j * repeat.j,
        .j4545 = repeat.j * repeat.j};
    add_along(ret, turn, AXIS_SD_DEG * M_PI / 180);
    if (how.method != OPTICS_BY_LENSOMETRY) /* no eye behind the lens */
        add_along(ret, shift, VERTEX_SD_M);
    return OPTICS_OK;
}

struct optics_covariance optics_covariance_sum(
    struct optics_covariance a, struct optics_covariance b)
{
    return (struct optics_covariance){a.mm + b.mm, a.m0 + b.m0, a.m45 + b.m45,
        a.j00 + b.j00, a.j045 + b.j045, a.j4545 + b.j4545};
}

struct optics_fit optics_covariance_fit(
    struct optics_covariance s, struct optics_vector v)
{
    /* Cholesky: S = L L', y = L^-1 v. */
    double l11 = sqrt(s.mm);
    double l21 = s.m0 / l11, l31 = s.m45 / l11;
    double l22 = sqrt(s.j00 - l21 * l21);
    double l32 = (s.j045 - l21 * l31) / l22;
    double l33 = sqrt(s.j4545 - l31 * l31 - l32 * l32);
    double y1 = v.m / l11;
    double y2 = (v.j0 - l21 * y1) / l22;
    double y3 = (v.j45 - l31 * y1 - l32 * y2) / l33;

    return (struct optics_fit){
        y1 * y1 + y2 * y2 + y3 * y3, 2 * log(l11 * l22 * l33)};
}

double optics_chi3_tail(double x)
{
    if (x > CHI_NONE)
        return 0;
    return erfc(sqrt(x / 2)) + sqrt(2 * x / M_PI) * exp(-x / 2);
}

struct optics_covariance optics_covariance_between(
    struct optics_how old_how, struct optics_how new_how)
{
    struct optics_covariance s = {0};
    double part = fade(new_how.age_years, CHILD_YEARS, NO_FOCUS_YEARS);

    if (old_how.method != new_how.method) {
        s.mm += METHODS_M * METHODS_M;
        s.j00 = s.j4545 = METHODS_J * METHODS_J;
    }
    if (old_how.cycloplegic != new_how.cycloplegic)
        s.mm += part * part * (DROPS_MEAN * DROPS_MEAN + DROPS_SD * DROPS_SD);
    return s;
}

/* The chance of J0 and J45 alone: chi-square with 2 degrees is exp(-x / 2). */
static double chance_of_j(struct optics_covariance s, struct optics_vector v)
{
    double det = s.j00 * s.j4545 - s.j045 * s.j045;
    double distance2 = (s.j4545 * v.j0 * v.j0 - 2 * s.j045 * v.j0 * v.j45 +
                           s.j00 * v.j45 * v.j45) /
                       det;

    return exp(-fmax(distance2, 0) / 2);
}

static enum optics_change_verdict verdict_of(const struct optics_change *c)
{
    if (c->probability < OPTICS_REPEAT_PROBABILITY)
        return OPTICS_CHANGE_BEYOND;
    return fmin(c->probability_m, c->probability_j) < OPTICS_REPEAT_PROBABILITY
               ? OPTICS_CHANGE_EDGE
               : OPTICS_CHANGE_INSIDE;
}

/* The figures of *ret that follow from delta and its covariance. */
static void weigh(struct optics_change *ret, struct optics_covariance s)
{
    struct optics_fit fit = optics_covariance_fit(s, ret->delta);

    ret->sd = (struct optics_vector){sqrt(s.mm), sqrt(s.j00), sqrt(s.j4545)};
    ret->distance = sqrt(fit.distance2);
    ret->probability = optics_chi3_tail(fit.distance2);
    ret->probability_m = erfc(fabs(ret->delta.m) / ret->sd.m / M_SQRT2);
    ret->limit_m = Z95 * ret->sd.m;
    ret->probability_j = chance_of_j(s, ret->delta);
    ret->verdict = verdict_of(ret);
}

enum optics_fault optics_change_probability(struct optics_power old_power,
    struct optics_how old_how, struct optics_power new_power,
    struct optics_how new_how, struct optics_change *ret)
{
    struct optics_covariance a, b;
    struct optics_repeat old_repeat = {0}, new_repeat = {0};
    enum optics_fault fault = optics_covariance_of(old_power, old_how, &a);

    if (fault == OPTICS_OK)
        fault = optics_covariance_of(new_power, new_how, &b);
    if (fault != OPTICS_OK)
        return fault;
    optics_repeat_of(old_how, &old_repeat);
    optics_repeat_of(new_how, &new_repeat);
    ret->delta = optics_vector_difference(
        optics_vector_of(new_power), optics_vector_of(old_power));
    ret->methods_differ = old_how.method != new_how.method;
    ret->conditions_differ = old_how.cycloplegic != new_how.cycloplegic;
    ret->published = old_repeat.published & new_repeat.published;
    weigh(ret, optics_covariance_sum(optics_covariance_sum(a, b),
                   optics_covariance_between(old_how, new_how)));
    return OPTICS_OK;
}

const char *optics_change_word(enum optics_change_verdict verdict)
{
    static const char *const words[] = {"inside repeat error",
        "at the edge of repeat error", "more than repeat error explains"};

    return words[verdict];
}
