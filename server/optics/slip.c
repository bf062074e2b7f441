#include "optics/slip.h"

#include <math.h>
#include <string.h>

#include "optics/round.h"
#include "optics/slip_score.h"

static const double SLIP_PRIOR = 0.02;
static const double CLEARLY = 10;
static const double ALTERNATIVE = 1000; /* times less likely than the offer */
static const double SAME = 1e-6;        /* D: one lens */

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
        "no one slip explains it", "a slip of the other eye is likelier",
        "one slip may explain it", "one slip explains it"};

    return words[verdict];
}

static enum optics_eye fellow(enum optics_eye eye)
{
    return eye == OPTICS_RIGHT ? OPTICS_LEFT : OPTICS_RIGHT;
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
    bool both[OPTICS_SLIPS_MAX];
    struct optics_entry entry[OPTICS_SLIPS_MAX];
};

static bool same(const struct optics_entry *a, const struct optics_entry *b)
{
    for (int eye = 0; eye < 2; eye++)
        if (a->has[eye] &&
            optics_power_distance(a->eye[eye], b->eye[eye]) >= SAME)
            return false;
    return true;
}

static bool listed(const struct list *l, const struct optics_entry *e)
{
    for (size_t i = 0; i < l->n; i++)
        if (same(&l->entry[i], e))
            return true;
    return same(l->as_entered, e);
}

/* Makes *p what a record holds; false when none can. */
static bool recordable(struct optics_power *p)
{
    *p = optics_power_normal(*p);
    return optics_rx_check(optics_rx_of_power(*p)) == OPTICS_OK;
}

/* Lists e as what the slip was made of, if it isn't there; the first slip that
 * explains an entry keeps it. */
static void add_entry(struct list *l, enum optics_slip slip, bool both,
    const struct optics_entry *e)
{
    if (listed(l, e))
        return;
    l->entry[l->n] = *e;
    l->both[l->n] = both;
    l->slip[l->n++] = slip;
}

static void add(struct list *l, enum optics_slip slip, struct optics_power p)
{
    struct optics_entry e = *l->as_entered;

    if (!recordable(&p))
        return;
    e.eye[l->eye] = p;
    add_entry(l, slip, false, &e);
}

static void add_sphere(struct list *l, enum optics_slip slip, double sph)
{
    struct optics_power p = l->as_entered->eye[l->eye];

    if (on_steps(p.sph) && !on_steps(sph))
        return;
    p.sph = sph;
    add(l, slip, p);
}

static void add_cylinder(struct list *l, enum optics_slip slip, double cyl)
{
    struct optics_power p = l->as_entered->eye[l->eye];

    if (on_steps(p.cyl) && !on_steps(cyl))
        return;
    p.cyl = cyl;
    add(l, slip, p);
}

static void add_axis(struct list *l, enum optics_slip slip, double axis)
{
    struct optics_power p = l->as_entered->eye[l->eye];

    if (axis < 1 || axis > 180 || !whole(axis))
        return;
    p.axis = axis;
    add(l, slip, p);
}

/* Slips that a format makes as well as a hand, and then in both eyes. */
static const struct maker {
    enum optics_slip slip;
    double factor; /* of the number, where it is one */
} MAKERS[] = {
    {OPTICS_SLIP_SPHERE_SIGN, -1},
    {OPTICS_SLIP_CYLINDER_SIGN, -1},
    {OPTICS_SLIP_SPHERE_POINT, 0.1},
    {OPTICS_SLIP_SPHERE_POINT, 10},
    {OPTICS_SLIP_SPHERE_POINT, 0.01},
    {OPTICS_SLIP_CYLINDER_POINT, 0.1},
    {OPTICS_SLIP_CYLINDER_POINT, 10},
    {OPTICS_SLIP_CYLINDER_POINT, 0.01},
    {OPTICS_SLIP_AXIS_TURNED, 0},
    {OPTICS_SLIP_OTHER_FORM, 0},
};

#define N_MAKERS (sizeof(MAKERS) / sizeof(MAKERS[0]))

/* x times factor, if it is another number of hundredths, on steps where x is.
 */
static bool scale(double *x, double factor)
{
    double was = *x, exact = was * factor;

    *x = optics_round_to(exact, 0.01);
    return fabs(*x - exact) < 1e-6 && fabs(*x - was) > 1e-6 &&
           (!on_steps(was) || on_steps(*x));
}

/* Undoes the slip in *p; false where it can't have been made. */
static bool make(struct maker maker, struct optics_power *p)
{
    switch (maker.slip) {
    case OPTICS_SLIP_SPHERE_SIGN:
    case OPTICS_SLIP_SPHERE_POINT:
        return scale(&p->sph, maker.factor) && recordable(p);
    case OPTICS_SLIP_OTHER_FORM:
        p->cyl = -p->cyl;
        /* fallthrough */
    case OPTICS_SLIP_AXIS_TURNED:
        p->axis = p->axis > 90 ? p->axis - 90 : p->axis + 90;
        return p->cyl != 0 && recordable(p);
    default:
        return scale(&p->cyl, maker.factor) && recordable(p);
    }
}

/* Each in the eye alone, then each in both. */
static void add_made(struct list *l)
{
    enum optics_eye other = fellow(l->eye);

    for (size_t i = 0; i < 2 * N_MAKERS; i++) {
        struct maker maker = MAKERS[i % N_MAKERS];
        bool both = i >= N_MAKERS;
        struct optics_entry e = *l->as_entered;

        if (!make(maker, &e.eye[l->eye]))
            continue;
        if (both && (!e.has[other] || !make(maker, &e.eye[other])))
            continue;
        add_entry(l, maker.slip, both, &e);
    }
}

typedef void add_number(struct list *l, enum optics_slip slip, double x);

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
    struct optics_entry turned = *l->as_entered;
    enum optics_eye other = fellow(l->eye);

    turned.eye[l->eye] = l->as_entered->eye[other];
    turned.eye[other] = p;
    /* Before all that would change one eye to the same lens. */
    if (turned.has[other] && recordable(&turned.eye[l->eye]) &&
        recordable(&turned.eye[other]))
        add_entry(l, OPTICS_SLIP_EYES, true, &turned);
    add_made(l);
    exchange_digits(l, OPTICS_SLIP_SPHERE_DIGITS,
        (const double[]){p.sph, 0.01, 3}, add_sphere);
    exchange_digits(l, OPTICS_SLIP_CYLINDER_DIGITS,
        (const double[]){p.cyl, 0.01, 3}, add_cylinder);
    if (p.cyl != 0) {
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

/* All meanings of one eye, beside the entry as it stands. */
static void weigh(const struct optics_evidence *known,
    const struct optics_entry *entry, const struct optics_score *now,
    struct optics_slip_answer *ret)
{
    struct list list = {.as_entered = entry, .eye = ret->eye};

    list_slips(&list);
    for (size_t i = 0; i < list.n; i++) {
        const struct optics_entry *e = &list.entry[i];
        struct optics_score s = optics_evidence_score(known, e);
        struct optics_meaning m = {
            .slip = list.slip[i],
            .eye = ret->eye,
            .both = list.both[i],
            .log_odds = s.log_likelihood - now->log_likelihood,
            .fits = s.fits[ret->eye],
        };

        for (int eye = 0; eye < 2; eye++)
            if (e->has[eye])
                m.power[eye] = optics_power_as(e->eye[eye], OPTICS_MINUS_CYL);
        if (m.both)
            m.fits = s.fits[OPTICS_RIGHT] && s.fits[OPTICS_LEFT];
        insert(ret, m);
    }
}

/* The prior in equal parts, of the same size for both eyes: a slip of both is
 * one. */
static void add_prior(struct optics_slip_answers *got)
{
    double n = fmax(1, fmax((double)got->eye[0].n, (double)got->eye[1].n));
    double share = log(SLIP_PRIOR / n / (1 - SLIP_PRIOR));

    for (int eye = 0; eye < 2; eye++)
        for (size_t i = 0; i < got->eye[eye].n; i++)
            got->eye[eye].meaning[i].log_odds += share;
}

/* Adds a meaning that fits to the alternatives, likeliest first. */
static void stand_beside(
    struct optics_slip_answer *a, const struct optics_meaning *m)
{
    double least = a->meaning[a->offered].log_odds - log(ALTERNATIVE);
    size_t i;

    if (!m->fits || m->log_odds < least)
        return;
    if (a->n_beside < OPTICS_BESIDE_MAX)
        a->n_beside++;
    else if (a->beside[OPTICS_BESIDE_MAX - 1].log_odds >= m->log_odds)
        return;
    for (i = a->n_beside - 1; i > 0 && a->beside[i - 1].log_odds < m->log_odds;
         i--)
        a->beside[i] = a->beside[i - 1];
    a->beside[i] = *m;
}

/* The index from i on of the likeliest meaning that fits; n without. */
static size_t fitting(const struct optics_slip_answer *a, size_t i)
{
    while (i < a->n && !a->meaning[i].fits)
        i++;
    return i;
}

/* The likeliest meaning that changes this eye alone and fits; NULL for none. */
static const struct optics_meaning *fitting_alone(
    const struct optics_slip_answer *a)
{
    size_t i = fitting(a, 0);

    while (i < a->n && a->meaning[i].both)
        i = fitting(a, i + 1);
    return i < a->n ? &a->meaning[i] : NULL;
}

/* The verdict by the likeliest meaning that fits; rival is that of the other
 * eye alone where the evidence doesn't tell the eyes apart, else NULL. */
static enum optics_slip_verdict decide(const struct optics_slip_answer *a,
    const struct optics_score *now, const struct optics_meaning *rival)
{
    bool explained = now->together[a->eye];
    size_t next = fitting(a, a->offered + 1);
    double odds, least = explained ? 0 : -log(CLEARLY), nearest = -INFINITY;

    if (now->fits[a->eye])
        return OPTICS_SLIP_FITS;
    odds = a->offered < a->n ? a->meaning[a->offered].log_odds : -INFINITY;
    if (odds < least)
        return explained ? OPTICS_SLIP_FITS : OPTICS_SLIP_UNEXPLAINED;
    if (next < a->n)
        nearest = a->meaning[next].log_odds;
    if (rival)
        nearest = fmax(nearest, rival->log_odds);
    return fmin(odds, odds - nearest) >= log(CLEARLY) ? OPTICS_SLIP_OFFERED
                                                      : OPTICS_SLIP_POSSIBLE;
}

static bool offers(const struct optics_slip_answer *a)
{
    return a->verdict >= OPTICS_SLIP_POSSIBLE;
}

/* Where one eye is held against the other a slip of either explains the same:
 * one offer for the pair, and what the other eye offers beside it. */
static void part(struct optics_slip_answer eye[2])
{
    const struct optics_meaning *r = &eye[OPTICS_RIGHT].meaning[0];
    const struct optics_meaning *l = &eye[OPTICS_LEFT].meaning[0];

    if (!offers(&eye[OPTICS_RIGHT]) || !offers(&eye[OPTICS_LEFT]))
        return;
    r += eye[OPTICS_RIGHT].offered;
    l += eye[OPTICS_LEFT].offered;
    if (r->both && l->both)
        return;
    eye[r->log_odds < l->log_odds ? OPTICS_RIGHT : OPTICS_LEFT].verdict =
        OPTICS_SLIP_OTHER_EYE;
}

static void choose(struct optics_slip_answers *got,
    const struct optics_evidence *known, const struct optics_entry *entry,
    const struct optics_score *now)
{
    bool mirrors = optics_evidence_mirrors(known, entry);

    for (int eye = 0; eye < 2; eye++) {
        struct optics_slip_answer *a = &got->eye[eye];
        const struct optics_meaning *rival =
            mirrors ? fitting_alone(&got->eye[!eye]) : NULL;

        if (!entry->has[eye] ||
            !optics_evidence_any(known, entry, (enum optics_eye)eye))
            continue;
        a->offered = fitting(a, 0);
        a->verdict = decide(a, now, rival);
        if (!offers(a))
            continue;
        for (size_t i = a->offered + 1; i < a->n; i++)
            stand_beside(a, &a->meaning[i]);
        if (rival)
            stand_beside(a, rival);
    }
    if (mirrors)
        part(got->eye);
}

enum optics_fault optics_slip_explain(struct optics_entry entry,
    const struct optics_known *known, struct optics_slip_answers *ret)
{
    struct optics_evidence evidence;
    struct optics_score now;
    enum optics_fault fault = optics_patient_check(known->patient);

    if (fault == OPTICS_OK && !entry.has[OPTICS_RIGHT] &&
        !entry.has[OPTICS_LEFT])
        fault = OPTICS_BAD_AN_EYE;
    if (fault != OPTICS_OK)
        return fault;
    entry.years_before = 0;
    optics_evidence_gather(&entry, known, &evidence);
    now = optics_evidence_score(&evidence, &entry);
    memset(ret, 0, sizeof(*ret));
    for (int eye = 0; eye < 2; eye++) {
        ret->eye[eye].eye = (enum optics_eye)eye;
        if (entry.has[eye] &&
            optics_evidence_any(&evidence, &entry, (enum optics_eye)eye))
            weigh(&evidence, &entry, &now, &ret->eye[eye]);
    }
    add_prior(ret);
    choose(ret, &evidence, &entry, &now);
    return OPTICS_OK;
}
