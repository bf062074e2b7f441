#include "optics/pair_sum.h"

#include <math.h>

#include "optics/vector.h"

static const double MEET = 1e-9;

/* Chosen by us: a progressive's reference point further off than this is
 * never passed in silence. */
static const double PROGRESSIVE_MM = 1.0;

const char *optics_open_what_word(enum optics_open_what what)
{
    static const char *const words[] = {"all", "power", "add",
        "reference point", "place of the reference point", "segment height",
        "horizontal imbalance", "vertical imbalance",
        "difference of segment heights"};

    return words[what];
}

const char *optics_open_why_word(enum optics_open_why why)
{
    static const char *const words[] = {"no rule in this profile",
        "a figure is missing",
        "the errors of the two lenses cancel, and no rule holds one lens"};

    return words[why];
}

bool optics_finished_says(const struct optics_finished *lens, unsigned what)
{
    return (lens->ordered.says & lens->delivered.says & what) == what;
}

double optics_segment_error(const struct optics_finished *lens)
{
    return lens->delivered.segment_height_mm - lens->ordered.segment_height_mm;
}

bool optics_error_matters(double error)
{
    return fabs(error) > 0.005;
}

static bool has_each(const struct optics_ruling *line)
{
    for (size_t i = 0; i < line->n; i++)
        if (line->rules[i].unit == OPTICS_UNIT_MM_EACH)
            return true;
    return false;
}

/* True when a rule's error isn't known. */
static bool lacks(const struct optics_ruling *line)
{
    for (size_t i = 0; i < line->n; i++)
        if (!line->rules[i].known)
            return true;
    return false;
}

/* What is open is added here, of an eye or of the pair; never more than
 * OPTICS_OPEN_MAX: five of each eye, three of the pair. */
struct list {
    struct optics_pair_verdict *v;
    bool pair;
    enum optics_eye eye;
};

static void leave(
    struct list *l, enum optics_open_what what, enum optics_open_why why)
{
    l->v->open[l->v->n_open++] =
        (struct optics_open){l->pair, l->eye, what, why};
}

/* A line, and whether there is an error without a rule or without its figure.
 */
static void leave_line(struct list *l, enum optics_open_what what,
    const struct optics_ruling *line, bool error, bool half_said)
{
    if (lacks(line) || half_said)
        leave(l, what, OPTICS_OPEN_NO_FIGURE);
    else if (line->n == 0 && error)
        leave(l, what, OPTICS_OPEN_NO_RULE);
}

/* The lens's power, add and segment. */
static void leave_lens(struct list *l, const struct optics_finished *lens,
    const struct optics_glass_verdict *e)
{
    double residual = optics_vector_blur(optics_vector_of(e->residual));
    unsigned one_says = lens->ordered.says ^ lens->delivered.says;

    if (optics_error_matters(residual) &&
        (e->power.sphere.n == 0 || e->power.cylinder.n == 0))
        leave(l, OPTICS_OPEN_POWER, OPTICS_OPEN_NO_RULE);
    leave_line(l, OPTICS_OPEN_ADD, &e->add, optics_error_matters(e->add_error),
        (one_says & OPTICS_SAYS_ADD) != 0);
    leave_line(l, OPTICS_OPEN_SEGMENT, &e->segment,
        optics_finished_says(lens, OPTICS_SAYS_SEGMENT) &&
            optics_error_matters(optics_segment_error(lens)),
        (one_says & OPTICS_SAYS_SEGMENT) != 0);
}

static bool is_off(const struct optics_glass_verdict *e)
{
    return optics_error_matters(e->prism_error.base_in) ||
           optics_error_matters(e->prism_error.base_up) ||
           optics_error_matters(e->shift.in_mm) ||
           optics_error_matters(e->shift.up_mm);
}

static bool is_far(
    const struct optics_pair *pair, const struct optics_glass_verdict *e)
{
    return pair->type == OPTICS_PROGRESSIVE &&
           fmax(fabs(e->shift.in_mm), fabs(e->shift.up_mm)) >
               PROGRESSIVE_MM + MEET;
}

/* Prism and place of one lens: above all of one alone in its frame. */
static void leave_place(struct list *l, const struct optics_pair *pair,
    const struct optics_glass_verdict *e)
{
    const struct optics_ruling *across = &l->v->horizontal_line;
    const struct optics_ruling *up = &l->v->vertical_line;
    bool alone =
        !pair->eyes[OPTICS_RIGHT].there || !pair->eyes[OPTICS_LEFT].there;
    bool each =
        pair->mounted ? has_each(across) && has_each(up) : has_each(&e->point);

    leave_line(l, OPTICS_OPEN_POINT, &e->point,
        is_off(e) && (!pair->mounted || alone), false);
    if (is_far(pair, e) && !each)
        leave(l, OPTICS_OPEN_PLACE, OPTICS_OPEN_NO_RULE);
}

/* One lens's own part of a line of the pair. */
struct own {
    double prism, mm;
};

/* True when it alone is more than a rule of the pair allows; the line passed,
 * so all errors are known. */
static bool exceeds(const struct optics_ruling *line, struct own own)
{
    for (size_t i = 0; i < line->n; i++) {
        const struct optics_rule *rule = &line->rules[i];
        double error = rule->unit == OPTICS_UNIT_PRISM ? own.prism : own.mm;

        if (fabs(error) > rule->limit + MEET)
            return true;
    }
    return false;
}

static void leave_pair_line(struct list *l, enum optics_open_what what,
    const struct optics_ruling *line, const struct own own[2])
{
    bool error = optics_error_matters(own[OPTICS_RIGHT].prism) ||
                 optics_error_matters(own[OPTICS_LEFT].prism);

    leave_line(l, what, line, error, false);
    if (line->verdict != OPTICS_PASS)
        return;
    if ((what == OPTICS_OPEN_VERTICAL && l->v->thinning != 0) ||
        (!has_each(line) && (exceeds(line, own[OPTICS_RIGHT]) ||
                                exceeds(line, own[OPTICS_LEFT]))))
        leave(l, what, OPTICS_OPEN_CANCELS);
}

static void leave_pair(struct list *l)
{
    const struct optics_glass_verdict *e = l->v->eyes;
    struct own across[2], up[2];

    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++) {
        across[eye] =
            (struct own){e[eye].prism_error.base_in, e[eye].place.in_mm};
        up[eye] = (struct own){e[eye].prism_error.base_up, e[eye].place.up_mm};
    }
    leave_pair_line(l, OPTICS_OPEN_HORIZONTAL, &l->v->horizontal_line, across);
    leave_pair_line(l, OPTICS_OPEN_VERTICAL, &l->v->vertical_line, up);
    leave_line(l, OPTICS_OPEN_SEGMENTS, &l->v->segments, false, false);
}

struct tally {
    bool pass, at_limit, fail;
};

static void count(struct tally *t, const struct optics_ruling *line)
{
    t->pass = t->pass || line->verdict == OPTICS_PASS;
    t->at_limit = t->at_limit || line->verdict == OPTICS_AT_LIMIT;
    t->fail = t->fail || line->verdict == OPTICS_FAIL;
}

static void count_all(struct tally *t, const struct optics_pair_verdict *v)
{
    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++) {
        const struct optics_glass_verdict *e = &v->eyes[eye];

        count(t, &e->power.sphere);
        count(t, &e->power.cylinder);
        /* An axis lacks its figure only where the cylinder is gone, which is
         * the cylinder's line: it leaves nothing open. */
        count(t, &e->power.axis);
        count(t, &e->add);
        count(t, &e->point);
        count(t, &e->segment);
    }
    count(t, &v->horizontal_line);
    count(t, &v->vertical_line);
    count(t, &v->segments);
}

void optics_pair_sum_up(
    const struct optics_pair *pair, struct optics_pair_verdict *v)
{
    struct tally t = {0};
    struct list list = {.v = v};

    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++) {
        list.eye = (enum optics_eye)eye;
        if (!pair->eyes[eye].there)
            continue;
        leave_lens(&list, &pair->eyes[eye], &v->eyes[eye]);
        leave_place(&list, pair, &v->eyes[eye]);
    }
    list.pair = true;
    if (pair->mounted && pair->eyes[OPTICS_RIGHT].there &&
        pair->eyes[OPTICS_LEFT].there)
        leave_pair(&list);
    count_all(&t, v);
    if (!t.fail && !t.at_limit && !t.pass && v->n_open == 0)
        leave(&list, OPTICS_OPEN_ALL, OPTICS_OPEN_NO_RULE);
    v->verdict = t.fail          ? OPTICS_FAIL
                 : t.at_limit    ? OPTICS_AT_LIMIT
                 : v->n_open > 0 ? OPTICS_NOT_JUDGED
                                 : OPTICS_PASS;
}
