#include "optics/pair_why.h"

#include <math.h>

#include "optics/angle.h"
#include "optics/pair_sum.h"
#include "optics/vector.h"

static const double MM_PER_M = 1000;
static const double FOCAL = 1e-3; /* of 1 - t F */
static const double SHARE = 0.5;
static const double SAME = 1e-9; /* D */

const char *optics_why_word(enum optics_why why)
{
    static const char *const words[] = {
        "right and left are exchanged",
        "the axis is 90 degrees off",
        "the axis is mirrored: the lens was read from its other side",
        "the sign of the cylinder is wrong",
        "sphere and cylinder are of different cylinder forms",
        "the sign of the sphere is wrong",
        "the signs of sphere and cylinder are wrong",
        "the front vertex power was read",
        "the add was read through the back",
        "the base of the prism is turned round",
    };

    return words[why];
}

/* Vergence a way of t (m) further on, and back; false at a focal point. */
static bool carry(double t, double *power)
{
    double rest = 1 - t * *power;

    *power /= rest;
    return rest >= FOCAL;
}

/* The back vertex power of a meridian whose front vertex power was read. */
static bool from_front(const struct optics_body *body, double *power)
{
    double t = body->thickness_mm / MM_PER_M / body->index;
    double front = body->front_power, back = *power - body->front_power;

    if (!carry(t, &front) || !carry(-t, &back))
        return false;
    *power = front + back;
    return true;
}

static bool read_front(struct optics_finished *lens)
{
    struct optics_power *p = &lens->delivered.power;
    double along = p->sph, across = p->sph + p->cyl;

    if (!lens->has_body || !from_front(&lens->body, &along) ||
        !from_front(&lens->body, &across))
        return false;
    p->sph = along;
    p->cyl = across - along;
    return true;
}

static bool read_add_behind(struct optics_finished *lens)
{
    const struct optics_body *body = &lens->body;
    double t = body->thickness_mm / MM_PER_M / body->index;
    double power = body->front_power;

    if (!lens->has_body || !optics_finished_says(lens, OPTICS_SAYS_ADD) ||
        !carry(t, &power))
        return false;
    power += lens->delivered.add;
    /* 1 + t g(F1) is 1 / (1 - t F1), and an add is not below 0. */
    (void)carry(-t, &power);
    lens->delivered.add = power - body->front_power;
    return true;
}

static bool turn_axis(struct optics_power *p, double axis)
{
    p->axis = axis > 180 ? axis - 180 : axis <= 0 ? axis + 180 : axis;
    return p->cyl != 0;
}

static bool turn_base(struct optics_prism *prism)
{
    bool any = prism->base_in != 0 || prism->base_up != 0;

    prism->base_in = 0 - prism->base_in;
    prism->base_up = 0 - prism->base_up;
    return any;
}

/* Undoes the mistake in one lens; false where it can't have been made. */
static bool undo(enum optics_why why, struct optics_finished *lens)
{
    struct optics_power *p = &lens->delivered.power;

    switch (why) {
    case OPTICS_WHY_AXIS_TURNED:
        return turn_axis(p, p->axis + 90);
    case OPTICS_WHY_AXIS_MIRRORED:
        return turn_axis(p, 180 - p->axis);
    case OPTICS_WHY_CYLINDER_SIGN:
        p->cyl = -p->cyl;
        return p->cyl != 0;
    case OPTICS_WHY_OTHER_FORM:
        p->cyl = -p->cyl;
        return turn_axis(p, p->axis + 90);
    case OPTICS_WHY_SPHERE_SIGN:
        p->sph = -p->sph;
        return true;
    case OPTICS_WHY_BOTH_SIGNS:
        p->sph = -p->sph;
        p->cyl = -p->cyl;
        return p->cyl != 0;
    case OPTICS_WHY_FRONT_VERTEX:
        return read_front(lens);
    case OPTICS_WHY_ADD_SIDE:
        return read_add_behind(lens);
    default:
        return turn_base(&lens->delivered.prism);
    }
}

/* The delivered lenses exchanged, with their places. */
static bool exchange(struct optics_pair *pair)
{
    struct optics_glass *r = &pair->eyes[OPTICS_RIGHT].delivered;
    struct optics_glass *l = &pair->eyes[OPTICS_LEFT].delivered;
    struct optics_glass was = *r;

    if (!pair->eyes[OPTICS_RIGHT].there || !pair->eyes[OPTICS_LEFT].there ||
        r->says != l->says)
        return false;
    *r = *l;
    *l = was;
    r->prism.base_in = 0 - r->prism.base_in;
    l->prism.base_in = 0 - l->prism.base_in;
    return true;
}

/* What there is of the pair as it stands. */
static struct optics_explanation measure(const struct optics_pair *pair)
{
    struct optics_explanation e = {.size = 0};
    double lenses = 0, prisms = 0;

    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++) {
        const struct optics_finished *lens = &pair->eyes[eye];
        const struct optics_prism *was = &lens->ordered.prism;
        const struct optics_prism *is = &lens->delivered.prism;
        double blur;

        if (!lens->there)
            continue;
        e.prism[eye].base_in = optics_clean(is->base_in - was->base_in);
        e.prism[eye].base_up = optics_clean(is->base_up - was->base_up);
        prisms += e.prism[eye].base_in * e.prism[eye].base_in +
                  e.prism[eye].base_up * e.prism[eye].base_up;
        e.residual[eye] =
            optics_power_change(lens->ordered.power, lens->delivered.power);
        blur = optics_vector_blur(optics_vector_of(e.residual[eye]));
        if (optics_finished_says(lens, OPTICS_SAYS_ADD))
            e.add_error[eye] = lens->delivered.add - lens->ordered.add + 0.0;
        lenses += blur * blur + e.add_error[eye] * e.add_error[eye];
    }
    e.lenses = sqrt(lenses);
    e.prisms = sqrt(prisms);
    e.size = hypot(e.lenses, e.prisms);
    return e;
}

struct found {
    struct optics_explanation *list;
    size_t n;
    struct optics_explanation now; /* of the pair as it is */
};

static bool explains(
    const struct optics_explanation *now, const struct optics_explanation *e)
{
    return e->size < now->size - SAME &&
           (e->lenses < SHARE * now->lenses - SAME ||
               e->prisms < SHARE * now->prisms - SAME);
}

/* Lists the pair that was mended, least left first. */
static void keep(struct found *f, const struct optics_pair *mended,
    struct optics_explanation as)
{
    struct optics_explanation e = measure(mended);
    struct optics_pair_verdict v = {.verdict = OPTICS_NOT_JUDGED};
    size_t i;

    if (!explains(&f->now, &e))
        return;
    /* A pair that leaves less than one that passed has no fault. */
    (void)optics_pair_check(mended, &v);
    e.why = as.why;
    e.both = as.both;
    e.eye = as.eye;
    e.verdict = v.verdict;
    if (f->n < OPTICS_EXPLANATIONS_MAX)
        f->n++;
    else if (f->list[f->n - 1].size <= e.size)
        return;
    for (i = f->n - 1; i > 0 && f->list[i - 1].size > e.size + SAME; i--)
        f->list[i] = f->list[i - 1];
    f->list[i] = e;
}

/* One mistake in the right lens, in the left one and in both. */
static void try_mistake(
    struct found *f, const struct optics_pair *pair, enum optics_why why)
{
    struct optics_pair both = *pair;
    bool all = true;

    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++) {
        struct optics_pair one = *pair;

        if (!pair->eyes[eye].there || !undo(why, &one.eyes[eye])) {
            all = false;
            continue;
        }
        keep(f, &one,
            (struct optics_explanation){
                .why = why, .eye = (enum optics_eye)eye});
        both.eyes[eye] = one.eyes[eye];
    }
    if (all)
        keep(f, &both, (struct optics_explanation){.why = why, .both = true});
}

size_t optics_pair_explain(const struct optics_pair *pair,
    struct optics_explanation ret[OPTICS_EXPLANATIONS_MAX], double *ret_size)
{
    struct found f = {.list = ret, .now = measure(pair)};
    struct optics_pair exchanged = *pair;

    *ret_size = f.now.size;
    if (exchange(&exchanged))
        keep(&f, &exchanged,
            (struct optics_explanation){
                .why = OPTICS_WHY_EXCHANGED, .both = true});
    for (int why = OPTICS_WHY_AXIS_TURNED; why <= OPTICS_WHY_BASE_TURNED; why++)
        try_mistake(&f, pair, (enum optics_why)why);
    return f.n;
}
