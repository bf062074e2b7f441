#include "optics/exchange.h"

#include <math.h>

static const double FREEDOM = 3;
static const double DRIFT_M[2] = {0.30, 0.15}, DRIFT_J[2] = {0.05, 0.05};
static const double METHODS_M = 0.29, METHODS_J = 0.20;
static const double PAST_PRIOR = 0.001;
static const double UNDECIDED = 3;

const char *optics_exchange_word(enum optics_exchange_verdict verdict)
{
    static const char *const words[] = {
        "as labelled", "likely exchanged", "cannot be told"};

    return words[verdict];
}

enum optics_fault optics_patient_check(struct optics_patient patient)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_HISTORY, (double)patient.n},
        {OPTICS_BAD_AGE_YEARS, patient.age_years},
        {OPTICS_OK, 0},
    });

    for (size_t i = 0; i < patient.n && fault == OPTICS_OK; i++)
        fault = optics_fault_check(
            OPTICS_BAD_YEARS_BEFORE, patient.history[i].years_before);
    return fault;
}

struct optics_covariance optics_entry_noise(struct optics_entry entry,
    enum optics_eye eye, struct optics_patient patient)
{
    struct optics_how how = {entry.method, entry.cycloplegic,
        fmin(130, fmax(0, patient.age_years - entry.years_before))};
    struct optics_covariance s = {0};

    optics_covariance_of(entry.eye[eye], how, &s);
    return s;
}

double optics_student_log(struct optics_fit fit, double freedom)
{
    return -fit.log_det / 2 -
           (freedom + 3) / 2 * log1p(fit.distance2 / freedom);
}

double optics_log_sum(double a, double b)
{
    double high = fmax(a, b);

    return isinf(high) ? high : high + log1p(exp(fmin(a, b) - high));
}

double optics_drift(double years, double age_years, const double child_adult[2])
{
    double child = fmin(1, fmax(0, (18 - age_years) / 6));

    return fabs(years) *
           (child * child_adult[0] + (1 - child) * child_adult[1]);
}

static bool both(const struct optics_entry *e)
{
    return e->has[OPTICS_RIGHT] && e->has[OPTICS_LEFT];
}

/* What an exchange turns, and how far noise may move it. */
struct difference {
    struct optics_vector v; /* right less left */
    struct optics_covariance noise;
    enum optics_method method;
    double years_before;
};

static struct difference difference_of(
    const struct optics_entry *e, struct optics_patient patient)
{
    return (struct difference){
        optics_vector_difference(optics_vector_of(e->eye[OPTICS_RIGHT]),
            optics_vector_of(e->eye[OPTICS_LEFT])),
        optics_covariance_sum(optics_entry_noise(*e, OPTICS_RIGHT, patient),
            optics_entry_noise(*e, OPTICS_LEFT, patient)),
        e->method,
        e->years_before,
    };
}

/* The differences of a history's entries with both eyes. */
struct past {
    struct difference d[OPTICS_HISTORY_MAX];
    double chance[OPTICS_HISTORY_MAX]; /* of being exchanged itself */
    size_t n;
    double age_years;
};

/* How likely a is beside b: [0] as labelled, [1] with its sign turned;
 * logarithms. */
static void compare(const struct difference *a, const struct difference *b,
    double age_years, double ret[2])
{
    double years = b->years_before - a->years_before;
    double m = optics_drift(years, age_years, DRIFT_M);
    double j = optics_drift(years, age_years, DRIFT_J);
    struct optics_covariance s = optics_covariance_sum(a->noise, b->noise);

    s.mm += m * m;
    s.j00 += j * j;
    s.j4545 += j * j;
    if (a->method != b->method) {
        s.mm += METHODS_M * METHODS_M;
        s.j00 += METHODS_J * METHODS_J;
        s.j4545 += METHODS_J * METHODS_J;
    }
    ret[0] = optics_student_log(
        optics_covariance_fit(s, optics_vector_difference(a->v, b->v)),
        FREEDOM);
    ret[1] = optics_student_log(
        optics_covariance_fit(s, optics_vector_sum(a->v, b->v)), FREEDOM);
}

/* Exchanged against labelled for a, beside all of past but a itself. */
static double log_ratio(const struct difference *a, const struct past *past)
{
    double sum[2] = {-INFINITY, -INFINITY};

    for (size_t i = 0; i < past->n; i++) {
        double ll[2], keep = log1p(-past->chance[i]);
        double turn = log(past->chance[i]);

        if (&past->d[i] == a)
            continue;
        compare(a, &past->d[i], past->age_years, ll);
        sum[0] =
            optics_log_sum(sum[0], optics_log_sum(keep + ll[0], turn + ll[1]));
        sum[1] =
            optics_log_sum(sum[1], optics_log_sum(keep + ll[1], turn + ll[0]));
    }
    return isinf(sum[0]) ? 0 : sum[1] - sum[0];
}

/* The chance of an exchange; kept off 0 and 1, for its logarithm. */
static double posterior(double ratio, double prior)
{
    double odds = log(prior) - log1p(-prior) + ratio;

    return fmin(1 - 1e-12, fmax(1e-12, 1 / (1 + exp(-odds))));
}

/* Past without the entries that look exchanged beside all others, which are
 * believed while each is looked at. */
static void judge_past(struct optics_patient patient, struct past *ret)
{
    double chance[OPTICS_HISTORY_MAX] = {0};
    struct past all = {.age_years = patient.age_years};

    for (size_t i = 0; i < patient.n; i++)
        if (both(&patient.history[i]))
            all.d[all.n++] = difference_of(&patient.history[i], patient);
    for (size_t i = 0; i < all.n; i++)
        chance[i] = posterior(log_ratio(&all.d[i], &all), PAST_PRIOR);
    ret->n = 0;
    ret->age_years = patient.age_years;
    for (size_t i = 0; i < all.n; i++) {
        if (chance[i] >= 0.5)
            continue;
        ret->d[ret->n] = all.d[i];
        ret->chance[ret->n++] = chance[i];
    }
}

/* Distances to the newest entry with both eyes, and how many have both. */
static void describe(const struct optics_entry *entry,
    struct optics_patient patient, struct optics_exchange *ret)
{
    const struct optics_entry *newest = NULL;

    for (size_t i = 0; i < patient.n; i++) {
        const struct optics_entry *past = &patient.history[i];

        if (!both(past))
            continue;
        ret->compared++;
        if (!newest || past->years_before < newest->years_before)
            newest = past;
    }
    for (int eye = 0; newest && eye < 2; eye++) {
        ret->own[eye] =
            optics_power_distance(entry->eye[eye], newest->eye[eye]);
        ret->other[eye] =
            optics_power_distance(entry->eye[eye], newest->eye[!eye]);
    }
}

enum optics_fault optics_exchange_judge(struct optics_entry entry,
    struct optics_patient patient, double prior, struct optics_exchange *ret)
{
    struct optics_exchange got = {0};
    struct difference now;
    struct past past;
    enum optics_fault fault = optics_patient_check(patient);

    if (fault == OPTICS_OK && !both(&entry))
        fault = OPTICS_BAD_BOTH_EYES;
    if (fault == OPTICS_OK)
        fault = optics_fault_check(OPTICS_BAD_PRIOR, prior);
    if (fault != OPTICS_OK)
        return fault;
    judge_past(patient, &past);
    now = difference_of(&entry, patient);
    got.log_ratio = log_ratio(&now, &past);
    got.probability = posterior(got.log_ratio, prior);
    if (got.probability >= 0.5)
        got.verdict = OPTICS_EXCHANGE_LIKELY;
    else if (fabs(got.log_ratio) < log(UNDECIDED))
        got.verdict = OPTICS_EXCHANGE_UNDECIDED;
    describe(&entry, patient, &got);
    *ret = got;
    return OPTICS_OK;
}
