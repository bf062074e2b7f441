#include "optics/exchange.h"

#include <math.h>

static const double FREEDOM = 3;
static const double DRIFT_M[2] = {0.30, 0.15}, DRIFT_J[2] = {0.05, 0.05};
static const double ONE_DRIFT_M[2] = {0.60, 0.20};
static const double METHODS_M = 0.29, METHODS_J = 0.20;
static const double PAST_PRIOR = 0.001;
static const double BELIEVED = 1e-300; /* a chance, but 0 */
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

struct optics_covariance optics_entry_moved(const struct optics_entry *now,
    const struct optics_entry *past, double age_years)
{
    double years = past->years_before - now->years_before;
    double m = optics_drift(years, age_years, ONE_DRIFT_M);
    double j = optics_drift(years, age_years, DRIFT_J);
    struct optics_how how = {now->method, now->cycloplegic, age_years};
    struct optics_how then = {past->method, past->cycloplegic, 0};
    struct optics_covariance s = optics_covariance_between(then, how);

    s.mm += m * m;
    s.j00 += j * j;
    s.j4545 += j * j;
    return s;
}

/* An entry as vectors, with the noise of each. */
struct seen {
    const struct optics_entry *entry;
    struct optics_vector v[2];
    struct optics_covariance noise[2];
};

static struct seen see(
    const struct optics_entry *e, struct optics_patient patient)
{
    struct seen s = {.entry = e};

    for (int eye = 0; eye < 2; eye++)
        if (e->has[eye]) {
            s.v[eye] = optics_vector_of(e->eye[eye]);
            s.noise[eye] =
                optics_entry_noise(*e, (enum optics_eye)eye, patient);
        }
    return s;
}

/* What an exchange turns, and how far noise may move it. */
struct difference {
    struct optics_vector v; /* right less left */
    struct optics_covariance noise;
};

static struct difference difference_of(const struct seen *s)
{
    return (struct difference){
        optics_vector_difference(s->v[OPTICS_RIGHT], s->v[OPTICS_LEFT]),
        optics_covariance_sum(s->noise[OPTICS_RIGHT], s->noise[OPTICS_LEFT])};
}

/* The entries of a history: pairs with both eyes, others with one. */
struct past {
    struct seen pairs[OPTICS_HISTORY_MAX], ones[OPTICS_HISTORY_MAX];
    double chance[OPTICS_HISTORY_MAX]; /* of a pair being exchanged itself */
    double one_chance[OPTICS_HISTORY_MAX];
    size_t n, n_ones;
    double age_years;
};

/* How likely a is beside b: [0] as labelled, [1] exchanged; logarithms. */
static void compare_pairs(
    const struct seen *a, const struct seen *b, double age_years, double ret[2])
{
    struct difference x = difference_of(a), y = difference_of(b);
    double years = b->entry->years_before - a->entry->years_before;
    double m = optics_drift(years, age_years, DRIFT_M);
    double j = optics_drift(years, age_years, DRIFT_J);
    struct optics_covariance s = optics_covariance_sum(x.noise, y.noise);

    s.mm += m * m;
    s.j00 += j * j;
    s.j4545 += j * j;
    if (a->entry->method != b->entry->method) {
        s.mm += METHODS_M * METHODS_M;
        s.j00 += METHODS_J * METHODS_J;
        s.j4545 += METHODS_J * METHODS_J;
    }
    ret[0] = optics_student_log(
        optics_covariance_fit(s, optics_vector_difference(x.v, y.v)), FREEDOM);
    ret[1] = optics_student_log(
        optics_covariance_fit(s, optics_vector_sum(x.v, y.v)), FREEDOM);
}

/* The same of a, which has both eyes, beside the one eye that b has. */
static void compare_one(
    const struct seen *a, const struct seen *b, double age_years, double ret[2])
{
    int eye = b->entry->has[OPTICS_RIGHT] ? OPTICS_RIGHT : OPTICS_LEFT;
    struct optics_covariance moved = optics_covariance_sum(
        optics_entry_moved(a->entry, b->entry, age_years), b->noise[eye]);

    for (int turned = 0; turned < 2; turned++) {
        int own = turned ? !eye : eye;

        ret[turned] = optics_student_log(
            optics_covariance_fit(optics_covariance_sum(moved, a->noise[own]),
                optics_vector_difference(a->v[own], b->v[eye])),
            FREEDOM);
    }
}

/* Sums of likelihoods, logarithms. */
struct sums {
    double labelled, exchanged;
};

static const struct sums NONE = {-INFINITY, -INFINITY};

/* Adds ll, of an entry that is exchanged itself by chance. */
static void add_likely(struct sums *to, const double ll[2], double chance)
{
    double keep = log1p(-chance), turn = log(chance);

    to->labelled = optics_log_sum(
        to->labelled, optics_log_sum(keep + ll[0], turn + ll[1]));
    to->exchanged = optics_log_sum(
        to->exchanged, optics_log_sum(keep + ll[1], turn + ll[0]));
}

static double ratio_of(struct sums sums)
{
    return isinf(sums.labelled) ? 0 : sums.exchanged - sums.labelled;
}

/* Exchanged against labelled for a, beside all pairs but a itself. */
static double ratio_by_pairs(const struct seen *a, const struct past *past)
{
    struct sums sums = NONE;

    for (size_t i = 0; i < past->n; i++) {
        double ll[2];

        if (&past->pairs[i] == a)
            continue;
        compare_pairs(a, &past->pairs[i], past->age_years, ll);
        add_likely(&sums, ll, past->chance[i]);
    }
    return ratio_of(sums);
}

/* The same beside the entries that have that eye alone. */
static double ratio_by_ones(
    const struct seen *a, const struct past *past, enum optics_eye eye)
{
    struct sums sums = NONE;

    for (size_t i = 0; i < past->n_ones; i++) {
        double ll[2];

        if (!past->ones[i].entry->has[eye])
            continue;
        compare_one(a, &past->ones[i], past->age_years, ll);
        add_likely(&sums, ll, past->one_chance[i]);
    }
    return ratio_of(sums);
}

/* The chance of an exchange; kept off 0 and 1, for its logarithm. */
static double posterior(double ratio, double prior)
{
    double odds = log(prior) - log1p(-prior) + ratio;

    return fmin(1 - 1e-12, fmax(1e-12, 1 / (1 + exp(-odds))));
}

/* That one eye is labelled as the other, beside all pairs, which are believed.
 */
static double one_chance(const struct seen *one, const struct past *past)
{
    struct sums sums = NONE;

    for (size_t i = 0; i < past->n; i++) {
        double ll[2];

        compare_one(&past->pairs[i], one, past->age_years, ll);
        add_likely(&sums, ll, BELIEVED);
    }
    return posterior(ratio_of(sums), PAST_PRIOR);
}

/* Past without the entries that look exchanged beside all pairs, which are
 * believed while each is looked at. */
static void judge_past(struct optics_patient patient, struct past *ret)
{
    struct past all = {.age_years = patient.age_years};

    for (size_t i = 0; i < patient.n; i++) {
        const struct optics_entry *e = &patient.history[i];

        if (both(e))
            all.pairs[all.n++] = see(e, patient);
        else if (e->has[OPTICS_RIGHT] || e->has[OPTICS_LEFT])
            all.ones[all.n_ones++] = see(e, patient);
    }
    ret->n = ret->n_ones = 0;
    ret->age_years = patient.age_years;
    for (size_t i = 0; i < all.n; i++) {
        double chance =
            posterior(ratio_by_pairs(&all.pairs[i], &all), PAST_PRIOR);

        if (chance >= 0.5)
            continue;
        ret->pairs[ret->n] = all.pairs[i];
        ret->chance[ret->n++] = chance;
    }
    for (size_t i = 0; i < all.n_ones; i++) {
        double chance = one_chance(&all.ones[i], &all);

        if (chance >= 0.5)
            continue;
        ret->ones[ret->n_ones] = all.ones[i];
        ret->one_chance[ret->n_ones++] = chance;
    }
}

/* Distances to the newest entry that has the eye, and how many have one. */
static void describe(const struct optics_entry *entry,
    struct optics_patient patient, struct optics_exchange *ret)
{
    const struct optics_entry *newest[2] = {NULL, NULL};

    for (size_t i = 0; i < patient.n; i++) {
        const struct optics_entry *past = &patient.history[i];

        ret->compared += past->has[OPTICS_RIGHT] || past->has[OPTICS_LEFT];
        for (int eye = 0; eye < 2; eye++)
            if (past->has[eye] &&
                (!newest[eye] ||
                    past->years_before < newest[eye]->years_before))
                newest[eye] = past;
    }
    for (int eye = 0; eye < 2; eye++) {
        if (!newest[eye])
            continue;
        ret->known[eye] = true;
        ret->own[eye] =
            optics_power_distance(entry->eye[eye], newest[eye]->eye[eye]);
        ret->other[!eye] =
            optics_power_distance(entry->eye[!eye], newest[eye]->eye[eye]);
    }
}

enum optics_fault optics_exchange_judge(struct optics_entry entry,
    struct optics_patient patient, double prior, struct optics_exchange *ret)
{
    struct optics_exchange got = {0};
    struct seen now;
    struct past past;
    enum optics_fault fault = optics_patient_check(patient);

    if (fault == OPTICS_OK && !both(&entry))
        fault = OPTICS_BAD_BOTH_EYES;
    if (fault == OPTICS_OK)
        fault = optics_fault_check(OPTICS_BAD_PRIOR, prior);
    if (fault != OPTICS_OK)
        return fault;
    judge_past(patient, &past);
    entry.years_before = 0;
    now = see(&entry, patient);
    got.log_ratio = ratio_by_pairs(&now, &past) +
                    ratio_by_ones(&now, &past, OPTICS_RIGHT) +
                    ratio_by_ones(&now, &past, OPTICS_LEFT);
    got.probability = posterior(got.log_ratio, prior);
    if (got.probability >= 0.5)
        got.verdict = OPTICS_EXCHANGE_LIKELY;
    else if (fabs(got.log_ratio) < log(UNDECIDED))
        got.verdict = OPTICS_EXCHANGE_UNDECIDED;
    describe(&entry, patient, &got);
    *ret = got;
    return OPTICS_OK;
}
