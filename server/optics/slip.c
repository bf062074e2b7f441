#include "optics/slip.h"

#include <math.h>

#include "optics/round.h"

static const double HISTORY_FREEDOM = 3;
static const double TOGETHER = 0.05; /* changes as the other eye did */
static const double CHI3_99 = 11.345;

static const double CORNEA_FREEDOM = 4;
static const double CORNEA_J0 = -0.33; /* centre of J0, D */
static const double CORNEA_SCALE[2] = {0.22, 0.17};
static const double CORNEA_LIMIT = 36; /* 2 F(2, 4) at 0.99 is 2 * 18.00 */

static const double OTHER_FREEDOM = 2;
static const double OTHER_SCALE[3] = {0.34, 0.19, 0.16};
static const double OTHER_LIMIT = 57.5; /* 3 F(3, 2) at 0.95 is 3 * 19.16 */

static const double SLIP_PRIOR = 0.02;
static const double CLEARLY = 10;
static const double SAME = 1e-6; /* D: one lens */

/* One way to read the entry. */
struct guess {
    struct optics_entry entry;
    double score; /* of both eyes */
    bool fits;    /* the eye that is asked about */
};

const char *optics_slip_word(enum optics_slip slip)
{
    static const char *const words[] = {
        "the sign of the sphere is wrong",
        "the sign of the cylinder is wrong",
        "the decimal point of the sphere is misplaced",
        "the decimal point of the cylinder is misplaced",
        "the axis lost or gained a zero",
        "two digits of the sphere are exchanged",
        "two digits of the cylinder are exchanged",
        "two digits of the axis are exchanged",
        "the axis is 90 degrees off",
        "sphere and cylinder are of different cylinder forms",
        "right and left are exchanged",
    };

    return words[slip];
}

const char *optics_slip_verdict_word(enum optics_slip_verdict verdict)
{
    static const char *const words[] = {"nothing to hold it against", "fits",
        "no one slip explains it", "one slip explains it"};

    return words[verdict];
}

static double square(double x)
{
    return x * x;
}

/* What one eye of one entry of the history lets expect. */
struct expected {
    struct optics_vector v;
    struct optics_covariance s; /* its noise, drift, another method */
    bool has_other;
    double other_m, other_mm; /* the other eye's M, and the noise of it */
};

struct evidence {
    const struct optics_known *known;
    struct expected past[2][OPTICS_HISTORY_MAX]; /* by eye */
    size_t n[2];
};

static enum optics_eye fellow(enum optics_eye eye)
{
    return eye == OPTICS_RIGHT ? OPTICS_LEFT : OPTICS_RIGHT;
}

static struct expected expect(const struct optics_entry *now,
    const struct optics_entry *past, enum optics_eye eye,
    struct optics_patient patient)
{
    enum optics_eye o = fellow(eye);
    struct expected x = {.v = optics_vector_of(past->eye[eye]),
        .s = optics_entry_moved(now, past, patient.age_years),
        .has_other = past->has[o] && now->has[o]};

    x.s = optics_covariance_sum(x.s, optics_entry_noise(*past, eye, patient));
    if (x.has_other) {
        x.other_m = optics_power_equivalent(past->eye[o]);
        x.other_mm = optics_entry_noise(*past, o, patient).mm;
    }
    return x;
}

static void gather(const struct optics_entry *now,
    const struct optics_known *known, struct evidence *ret)
{
    ret->known = known;
    for (int e = 0; e < 2; e++) {
        ret->n[e] = 0;
        for (size_t i = 0; i < known->patient.n; i++)
            if (known->patient.history[i].has[e])
                ret->past[e][ret->n[e]++] =
                    expect(now, &known->patient.history[i], (enum optics_eye)e,
                        known->patient);
    }
}

/* One eye of an entry, and its fellow where there is one. */
struct eyes {
    struct optics_vector v;
    struct optics_covariance noise;
    double other_m, other_mm;
};

/* How likely they are beside x; the smallest squared distance so far in
 * *nearest. */
static double beside(
    const struct eyes *e, const struct expected *x, double *nearest)
{
    struct optics_vector d = optics_vector_difference(e->v, x->v);
    struct optics_covariance s = optics_covariance_sum(e->noise, x->s);
    struct optics_fit fit = optics_covariance_fit(s, d);
    double alone = optics_student_log(fit, HISTORY_FREEDOM);

    *nearest = fmin(*nearest, fit.distance2);
    if (!x->has_other)
        return alone;
    d.m -= e->other_m - x->other_m;
    s.mm += e->other_mm + x->other_mm;
    fit = optics_covariance_fit(s, d);
    *nearest = fmin(*nearest, fit.distance2);
    return optics_log_sum(log1p(-TOGETHER) + alone,
        log(TOGETHER) + optics_student_log(fit, HISTORY_FREEDOM));
}

/* False when the eye has no history. */
static bool score_history(struct guess *r, enum optics_eye eye,
    const struct evidence *known, bool *fits)
{
    struct optics_patient patient = known->known->patient;
    enum optics_eye o = fellow(eye);
    double sum = -INFINITY, nearest = INFINITY;
    struct eyes e = {.v = optics_vector_of(r->entry.eye[eye]),
        .noise = optics_entry_noise(r->entry, eye, patient)};

    if (known->n[eye] == 0)
        return false;
    if (r->entry.has[o]) {
        e.other_m = optics_power_equivalent(r->entry.eye[o]);
        e.other_mm = optics_entry_noise(r->entry, o, patient).mm;
    }
    for (size_t i = 0; i < known->n[eye]; i++)
        sum = optics_log_sum(sum, beside(&e, &known->past[eye][i], &nearest));
    r->score += sum - log((double)known->n[eye]);
    *fits = nearest <= CHI3_99;
    return true;
}

static void score_cornea(struct guess *r, enum optics_eye eye,
    const struct optics_known *known, bool *fits)
{
    struct optics_vector v = optics_vector_of(r->entry.eye[eye]);
    struct optics_vector k = optics_vector_of(known->cornea[eye]);
    double d2 = square((v.j0 - k.j0 - CORNEA_J0) / CORNEA_SCALE[0]) +
                square((v.j45 - k.j45) / CORNEA_SCALE[1]);

    r->score -= (CORNEA_FREEDOM + 2) / 2 * log1p(d2 / CORNEA_FREEDOM);
    *fits = *fits && d2 <= CORNEA_LIMIT;
}

/* Against the other eye, mirrored; for both eyes at once. */
static void score_other(struct guess *r, bool *fits)
{
    struct optics_vector a = optics_vector_of(r->entry.eye[OPTICS_RIGHT]);
    struct optics_vector b = optics_vector_of(r->entry.eye[OPTICS_LEFT]);
    double d2 = square((a.m - b.m) / OTHER_SCALE[0]) +
                square((a.j0 - b.j0) / OTHER_SCALE[1]) +
                square((a.j45 + b.j45) / OTHER_SCALE[2]);

    r->score -= (OTHER_FREEDOM + 3) / 2 * log1p(d2 / OTHER_FREEDOM);
    *fits = *fits && d2 <= OTHER_LIMIT;
}

/* Scores r; false when nothing is known about the eye asked about. */
static bool score(
    struct guess *r, enum optics_eye asked, const struct evidence *known)
{
    bool both = r->entry.has[OPTICS_RIGHT] && r->entry.has[OPTICS_LEFT];
    bool history[2] = {false, false}, unused = true, any;

    r->score = 0;
    r->fits = true;
    for (int e = 0; e < 2; e++) {
        enum optics_eye eye = (enum optics_eye)e;
        bool *fits = eye == asked ? &r->fits : &unused;

        if (!r->entry.has[eye])
            continue;
        history[eye] = score_history(r, eye, known, fits);
        if (known->known->has_cornea[eye])
            score_cornea(r, eye, known->known, fits);
    }
    any = history[asked] || known->known->has_cornea[asked];
    if (!both || history[asked])
        return any;
    score_other(r, &r->fits);
    return true;
}

/* x is a number as prescriptions are written: on steps of 0.25 or 0.12 D. */
static bool on_steps(double x)
{
    int32_t count;

    return fabs(x * 100 - round(x * 100)) < 1e-6 &&
           optics_step_count(
               OPTICS_STEP_EIGHTH, (int32_t)lround(x * 100), &count);
}

static bool whole(double x)
{
    return fabs(x - round(x)) < 1e-6;
}

struct list {
    const struct optics_entry *as_entered;
    enum optics_eye eye;
    size_t n;
    enum optics_slip slip[OPTICS_SLIPS_MAX];
    struct optics_entry entry[OPTICS_SLIPS_MAX];
};

static bool same(struct optics_power a, struct optics_power b)
{
    return optics_power_distance(a, b) < SAME;
}

static bool listed(const struct list *l, struct optics_power p)
{
    for (size_t i = 0; i < l->n; i++)
        if (same(l->entry[i].eye[l->eye], p))
            return true;
    return same(l->as_entered->eye[l->eye], p);
}

/* Lists p as what the slip was made of, if a record may hold it and it isn't
 * there; the first slip that explains a lens keeps it. */
static bool add(struct list *l, enum optics_slip slip, struct optics_power p)
{
    struct optics_rx rx;

    p = optics_power_normal(p);
    rx = optics_rx_of_power(p);
    if (optics_rx_check(rx) != OPTICS_OK || listed(l, p))
        return false;
    l->entry[l->n] = *l->as_entered;
    l->entry[l->n].eye[l->eye] = p;
    l->slip[l->n++] = slip;
    return true;
}

static void add_sphere(struct list *l, enum optics_slip slip, double sph)
{
    struct optics_power p = l->as_entered->eye[l->eye];

    if (on_steps(p.sph) && !on_steps(sph))
        return;
    p.sph = sph;
    (void)add(l, slip, p);
}

static void add_cylinder(struct list *l, enum optics_slip slip, double cyl)
{
    struct optics_power p = l->as_entered->eye[l->eye];

    if (on_steps(p.cyl) && !on_steps(cyl))
        return;
    p.cyl = cyl;
    (void)add(l, slip, p);
}

static void add_axis(struct list *l, enum optics_slip slip, double axis)
{
    struct optics_power p = l->as_entered->eye[l->eye];

    if (axis < 1 || axis > 180 || !whole(axis))
        return;
    p.axis = axis;
    (void)add(l, slip, p);
}

typedef void add_number(struct list *l, enum optics_slip slip, double x);

/* The number with its point elsewhere; none is made of less than a hundredth.
 */
static void move_point(
    struct list *l, enum optics_slip slip, double x, add_number *add_one)
{
    static const double factor[] = {0.1, 10, 0.01};

    for (size_t i = 0; i < 3; i++) {
        double moved = optics_round_to(x * factor[i], 0.01);

        if (fabs(moved - x * factor[i]) < 1e-6)
            add_one(l, slip, moved);
    }
}

/* The whole number with each two neighbouring digits exchanged, of at least
 * digits. */
static void exchange_digits(struct list *l, enum optics_slip slip,
    const double number_unit_digits[3], add_number *add_one)
{
    double x = number_unit_digits[0], unit = number_unit_digits[1];
    double sign = x < 0 ? -1 : 1;
    long n = lround(fabs(x) / unit), low = 1;

    if (fabs(fabs(x) / unit - (double)n) > 1e-6)
        return;
    for (int i = 0; i < (int)number_unit_digits[2] - 1 || low * 10 <= n; i++) {
        long a = n / low % 10, b = n / (low * 10) % 10;
        long swapped = n + (a - b) * (low * 10 - low);

        add_one(l, slip, sign * optics_round_to((double)swapped * unit, unit));
        low *= 10;
    }
}

static void list_slips(struct list *l)
{
    struct optics_power p = l->as_entered->eye[l->eye];
    struct optics_power q = p;
    enum optics_eye other = fellow(l->eye);

    /* Before all that would change one eye to the same lens. */
    if (l->as_entered->has[other] &&
        add(l, OPTICS_SLIP_EYES, l->as_entered->eye[other]))
        l->entry[l->n - 1].eye[other] = p;
    add_sphere(l, OPTICS_SLIP_SPHERE_SIGN, -p.sph);
    add_cylinder(l, OPTICS_SLIP_CYLINDER_SIGN, -p.cyl);
    move_point(l, OPTICS_SLIP_SPHERE_POINT, p.sph, add_sphere);
    move_point(l, OPTICS_SLIP_CYLINDER_POINT, p.cyl, add_cylinder);
    exchange_digits(l, OPTICS_SLIP_SPHERE_DIGITS,
        (const double[]){p.sph, 0.01, 3}, add_sphere);
    exchange_digits(l, OPTICS_SLIP_CYLINDER_DIGITS,
        (const double[]){p.cyl, 0.01, 3}, add_cylinder);
    if (p.cyl != 0) {
        q.axis = p.axis > 90 ? p.axis - 90 : p.axis + 90;
        (void)add(l, OPTICS_SLIP_AXIS_TURNED, q);
        q.cyl = -p.cyl;
        (void)add(l, OPTICS_SLIP_OTHER_FORM, q);
        add_axis(l, OPTICS_SLIP_AXIS_POINT, p.axis * 10);
        add_axis(l, OPTICS_SLIP_AXIS_POINT, p.axis / 10);
        exchange_digits(l, OPTICS_SLIP_AXIS_DIGITS,
            (const double[]){p.axis, 1, 3}, add_axis);
    }
}

/* Likeliest first; few enough for insertion. */
static void insert(struct optics_slip_answer *a, struct optics_meaning m)
{
    size_t i = a->n++;

    for (; i > 0 && a->meaning[i - 1].log_odds < m.log_odds; i--)
        a->meaning[i] = a->meaning[i - 1];
    a->meaning[i] = m;
}

static enum optics_slip_verdict decide(
    const struct optics_slip_answer *a, bool entry_fits)
{
    const struct optics_meaning *best = &a->meaning[0];

    if (entry_fits)
        return OPTICS_SLIP_FITS;
    if (a->n == 0 || !best->fits || best->log_odds < log(CLEARLY))
        return OPTICS_SLIP_UNEXPLAINED;
    if (a->n > 1 && best->log_odds - best[1].log_odds < log(CLEARLY))
        return OPTICS_SLIP_UNEXPLAINED;
    return OPTICS_SLIP_OFFERED;
}

enum optics_fault optics_slip_explain(struct optics_entry entry,
    enum optics_eye eye, const struct optics_known *known,
    struct optics_slip_answer *ret)
{
    struct guess now = {.entry = entry};
    struct optics_slip_answer got = {0};
    struct evidence evidence;
    struct list list = {.as_entered = &entry, .eye = eye};
    enum optics_fault fault = optics_patient_check(known->patient);

    if (fault == OPTICS_OK && !entry.has[eye])
        fault = OPTICS_BAD_AN_EYE;
    if (fault != OPTICS_OK)
        return fault;
    gather(&entry, known, &evidence);
    if (score(&now, eye, &evidence)) {
        list_slips(&list);
        for (size_t i = 0; i < list.n; i++) {
            struct guess r = {.entry = list.entry[i]};
            double prior = SLIP_PRIOR / (double)list.n / (1 - SLIP_PRIOR);

            score(&r, eye, &evidence);
            insert(
                &got, (struct optics_meaning){list.slip[i],
                          optics_power_as(r.entry.eye[eye], OPTICS_MINUS_CYL),
                          r.score - now.score + log(prior), r.fits});
        }
        got.verdict = decide(&got, now.fits);
    }
    *ret = got;
    return OPTICS_OK;
}
