#include "optics/slip_score.h"

#include <math.h>

static const double HISTORY_FREEDOM = 3;
static const double CHI3_99 = 11.345;

static const double TOGETHER = 0.01; /* both eyes changed alike, */
static const double COMMON_SD = 1.7; /* by so much, D */

static const double CORNEA_FREEDOM = 4;
static const double CORNEA_J0 = -0.33; /* centre of J0, D */
static const double CORNEA_SCALE[2] = {0.22, 0.17};
static const double CORNEA_LIMIT = 36; /* 2 F(2, 4) at 0.99 is 2 * 18.00 */

static const double OTHER_FREEDOM = 2;
static const double OTHER_SCALE[3] = {0.34, 0.19, 0.16};
static const double OTHER_LIMIT = 57.5; /* 3 F(3, 2) at 0.95 is 3 * 19.16 */

static const double COMMON_M = 0.04;
static const double COMMON_M_SCALE[2] = {0.93, 0.625}; /* to minus, to plus */
static const double COMMON_M_FREEDOM[2] = {1.46, 1.78};
static const double COMMON_J0 = -0.035, COMMON_J_SCALE[2] = {0.26, 0.12};
static const double COMMON_J_FREEDOM = 2.5;

static double square(double x)
{
    return x * x;
}

static struct optics_past_eye past_eye(const struct optics_entry *now,
    const struct optics_entry *past, enum optics_eye eye,
    struct optics_patient patient)
{
    struct optics_covariance noise = optics_entry_noise(*past, eye, patient);

    return (struct optics_past_eye){optics_vector_of(past->eye[eye]),
        optics_covariance_sum(
            optics_entry_moved(now, past, patient.age_years), noise),
        noise.mm};
}

void optics_evidence_gather(const struct optics_entry *now,
    const struct optics_known *known, struct optics_evidence *ret)
{
    ret->known = known;
    ret->n[0] = ret->n[1] = ret->n_pairs = 0;
    for (size_t i = 0; i < known->patient.n; i++) {
        const struct optics_entry *past = &known->patient.history[i];
        struct optics_past_eye *pair = ret->pairs[ret->n_pairs];

        for (int e = 0; e < 2; e++)
            if (past->has[e]) {
                pair[e] =
                    past_eye(now, past, (enum optics_eye)e, known->patient);
                ret->past[e][ret->n[e]++] = pair[e];
            }
        ret->n_pairs += past->has[OPTICS_RIGHT] && past->has[OPTICS_LEFT];
    }
}

static bool both(const struct optics_entry *e)
{
    return e->has[OPTICS_RIGHT] && e->has[OPTICS_LEFT];
}

bool optics_evidence_any(const struct optics_evidence *known,
    const struct optics_entry *entry, enum optics_eye eye)
{
    return known->n[eye] > 0 || known->known->has_cornea[eye] || both(entry);
}

bool optics_evidence_mirrors(
    const struct optics_evidence *known, const struct optics_entry *entry)
{
    return both(entry) &&
           (known->n[OPTICS_RIGHT] == 0 || known->n[OPTICS_LEFT] == 0);
}

/* One eye of an entry. */
struct eye {
    struct optics_vector v;
    struct optics_covariance noise;
};

static struct optics_fit fit_of(
    const struct eye *e, const struct optics_past_eye *past, double common_mm)
{
    struct optics_covariance s = optics_covariance_sum(e->noise, past->s);

    s.mm += common_mm;
    return optics_covariance_fit(s, optics_vector_difference(e->v, past->v));
}

/* The likelihood of one eye alone, and its squared distance to the nearest of
 * the past. */
static double alone(const struct eye *e, const struct optics_past_eye *past,
    size_t n, double *ret_nearest)
{
    double sum = -INFINITY;

    *ret_nearest = INFINITY;
    for (size_t i = 0; i < n; i++) {
        struct optics_fit fit = fit_of(e, &past[i], 0);

        *ret_nearest = fmin(*ret_nearest, fit.distance2);
        sum = optics_log_sum(sum, optics_student_log(fit, HISTORY_FREEDOM));
    }
    return sum - log((double)n);
}

/* Both eyes as one pair of the past and a change that they share: the change of
 * a by itself, and that of b given it. */
static double shared(const struct eye *a, const struct eye *b,
    const struct optics_past_eye *past_a, const struct optics_past_eye *past_b,
    double *nearest)
{
    double change = a->v.m - past_a->v.m;
    struct optics_fit own = fit_of(a, past_a, square(COMMON_SD)), other;
    struct eye moved = *b;

    moved.v.m -= change;
    other = fit_of(&moved, past_b, a->noise.mm + past_a->noise_mm);
    *nearest = fmin(*nearest, fmax(own.distance2, other.distance2));
    return optics_student_log(own, HISTORY_FREEDOM) +
           optics_student_log(other, HISTORY_FREEDOM);
}

static double together(
    const struct optics_evidence *known, const struct eye e[2], double *nearest)
{
    double sum = -INFINITY;

    *nearest = INFINITY;
    for (size_t i = 0; i < known->n_pairs; i++) {
        const struct optics_past_eye *p = known->pairs[i];

        sum = optics_log_sum(sum, shared(&e[0], &e[1], &p[0], &p[1], nearest));
        sum = optics_log_sum(sum, shared(&e[1], &e[0], &p[1], &p[0], nearest));
    }
    return sum - log(2 * (double)known->n_pairs);
}

static void score_history(const struct optics_evidence *known,
    const struct optics_entry *entry, struct optics_score *to)
{
    struct eye e[2] = {0};
    double sum = 0, nearest;

    for (int i = 0; i < 2; i++) {
        if (!entry->has[i] || known->n[i] == 0)
            continue;
        e[i].v = optics_vector_of(entry->eye[i]);
        e[i].noise = optics_entry_noise(
            *entry, (enum optics_eye)i, known->known->patient);
        sum += alone(&e[i], known->past[i], known->n[i], &nearest);
        to->fits[i] = to->together[i] = nearest <= CHI3_99;
    }
    if (both(entry) && known->n_pairs > 0) {
        double alike = together(known, e, &nearest);

        sum = optics_log_sum(log1p(-TOGETHER) + sum, log(TOGETHER) + alike);
        for (int i = 0; i < 2; i++)
            to->together[i] = to->together[i] || nearest <= CHI3_99;
    }
    to->log_likelihood += sum;
}

static void score_cornea(const struct optics_known *known,
    const struct optics_entry *entry, int eye, struct optics_score *to)
{
    struct optics_vector v = optics_vector_of(entry->eye[eye]);
    struct optics_vector k = optics_vector_of(known->cornea[eye]);
    double d2 = square((v.j0 - k.j0 - CORNEA_J0) / CORNEA_SCALE[0]) +
                square((v.j45 - k.j45) / CORNEA_SCALE[1]);

    to->log_likelihood -= (CORNEA_FREEDOM + 2) / 2 * log1p(d2 / CORNEA_FREEDOM);
    to->fits[eye] = to->fits[eye] && d2 <= CORNEA_LIMIT;
    to->together[eye] = to->together[eye] && d2 <= CORNEA_LIMIT;
}

/* How common is the M that the two eyes share? */
static double common_m(struct optics_vector a, struct optics_vector b)
{
    double m = (a.m + b.m) / 2 - COMMON_M;
    int plus = m > 0;

    return -(COMMON_M_FREEDOM[plus] + 1) / 2 *
           log1p(square(m / COMMON_M_SCALE[plus]) / COMMON_M_FREEDOM[plus]);
}

/* And the astigmatism, mirrored. */
static double common_j(struct optics_vector a, struct optics_vector b)
{
    double d2 = square(((a.j0 + b.j0) / 2 - COMMON_J0) / COMMON_J_SCALE[0]) +
                square((a.j45 - b.j45) / 2 / COMMON_J_SCALE[1]);

    return -(COMMON_J_FREEDOM + 2) / 2 * log1p(d2 / COMMON_J_FREEDOM);
}

/* One eye against the other, mirrored. */
static void score_other(const struct optics_evidence *known,
    const struct optics_entry *entry, struct optics_score *to)
{
    struct optics_vector a = optics_vector_of(entry->eye[OPTICS_RIGHT]);
    struct optics_vector b = optics_vector_of(entry->eye[OPTICS_LEFT]);
    double d2 = square((a.m - b.m) / OTHER_SCALE[0]) +
                square((a.j0 - b.j0) / OTHER_SCALE[1]) +
                square((a.j45 + b.j45) / OTHER_SCALE[2]);

    to->log_likelihood -= (OTHER_FREEDOM + 3) / 2 * log1p(d2 / OTHER_FREEDOM);
    if (known->n[OPTICS_RIGHT] == 0 && known->n[OPTICS_LEFT] == 0) {
        to->log_likelihood += common_m(a, b);
        if (!known->known->has_cornea[OPTICS_RIGHT] &&
            !known->known->has_cornea[OPTICS_LEFT])
            to->log_likelihood += common_j(a, b);
    }
    for (int eye = 0; eye < 2; eye++)
        if (known->n[eye] == 0 && d2 > OTHER_LIMIT)
            to->fits[eye] = to->together[eye] = false;
}

struct optics_score optics_evidence_score(
    const struct optics_evidence *known, const struct optics_entry *entry)
{
    struct optics_score s = {0, {true, true}, {true, true}};

    score_history(known, entry, &s);
    for (int eye = 0; eye < 2; eye++)
        if (entry->has[eye] && known->known->has_cornea[eye])
            score_cornea(known->known, entry, eye, &s);
    if (optics_evidence_mirrors(known, entry))
        score_other(known, entry, &s);
    return s;
}
