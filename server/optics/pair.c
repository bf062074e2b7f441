#include "optics/pair.h"

#include <math.h>
#include <string.h>

#include "optics/angle.h"
#include "optics/vector.h"

static enum optics_fault check_glass(const struct optics_glass *g)
{
    enum optics_fault fault = optics_power_check(g->power);

    if (fault == OPTICS_OK)
        fault = optics_prism_check(g->prism);
    if (fault == OPTICS_OK && (g->says & OPTICS_SAYS_ADD) != 0)
        fault = optics_fault_check(OPTICS_BAD_ADD_POWER, g->add);
    if (fault == OPTICS_OK && (g->says & OPTICS_SAYS_PD) != 0)
        fault = optics_fault_check(OPTICS_BAD_PD_MM, g->pd_mm);
    if (fault == OPTICS_OK && (g->says & OPTICS_SAYS_HEIGHT) != 0)
        fault = optics_fault_check(OPTICS_BAD_HEIGHT_MM, g->height_mm);
    if (fault == OPTICS_OK && (g->says & OPTICS_SAYS_SEGMENT) != 0)
        fault = optics_fault_check(
            OPTICS_BAD_SEGMENT_HEIGHT_MM, g->segment_height_mm);
    return fault;
}

enum optics_fault optics_finished_check(
    const struct optics_finished *lens, bool *ret_delivered)
{
    unsigned lacks_ordered = lens->delivered.says & ~lens->ordered.says;
    unsigned lacks_delivered = lens->ordered.says & ~lens->delivered.says;
    unsigned lacks = lacks_ordered | lacks_delivered;
    enum optics_fault fault = check_glass(&lens->ordered);

    *ret_delivered = fault == OPTICS_OK;
    if (fault == OPTICS_OK)
        fault = check_glass(&lens->delivered);
    if (fault != OPTICS_OK)
        return fault;
    if ((lacks & OPTICS_SAYS_PD) != 0) {
        *ret_delivered = (lacks_delivered & OPTICS_SAYS_PD) != 0;
        return OPTICS_BAD_ONE_PD;
    }
    if ((lacks & OPTICS_SAYS_HEIGHT) != 0) {
        *ret_delivered = (lacks_delivered & OPTICS_SAYS_HEIGHT) != 0;
        return OPTICS_BAD_ONE_HEIGHT;
    }
    return OPTICS_OK;
}

/* True when both the ordered and the delivered lens say all of what. */
static bool both_say(const struct optics_finished *lens, unsigned what)
{
    return (lens->ordered.says & lens->delivered.says & what) == what;
}

/* Of an error in D, cm/m or mm: smaller ones are of the figures' last place. */
static bool matters(double error)
{
    return fabs(error) > 0.005;
}

static double segment_error(const struct optics_finished *lens)
{
    return lens->delivered.segment_height_mm - lens->ordered.segment_height_mm;
}

/* The lines that a loose lens, and a segment, have for themselves. */
static void judge_points(struct optics_rule_key key,
    const struct optics_finished *lens, struct optics_glass_verdict *v)
{
    key.group = OPTICS_GROUP_POINT;
    optics_rules_add(&v->point, key, 0);
    optics_rules_hold(&v->point, OPTICS_UNIT_PRISM,
        hypot(v->prism_error.base_in, v->prism_error.base_up));
    if (both_say(lens, OPTICS_SAYS_PD | OPTICS_SAYS_HEIGHT))
        optics_rules_hold(&v->point, OPTICS_UNIT_MM_EACH,
            hypot(v->shift.in_mm, v->shift.up_mm));
    optics_rules_judge(&v->point);
}

static void judge_reading(struct optics_rule_key key,
    const struct optics_finished *lens, struct optics_glass_verdict *v)
{
    key.group = OPTICS_GROUP_ADD;
    optics_rules_add(&v->add, key, lens->ordered.add);
    if (both_say(lens, OPTICS_SAYS_ADD)) {
        v->add_error = optics_clean(lens->delivered.add - lens->ordered.add);
        optics_rules_hold(&v->add, OPTICS_UNIT_D, v->add_error);
    }
    optics_rules_judge(&v->add);
    key.group = OPTICS_GROUP_SEGMENT;
    optics_rules_add(&v->segment, key, 0);
    if (both_say(lens, OPTICS_SAYS_SEGMENT))
        optics_rules_hold(
            &v->segment, OPTICS_UNIT_MM_EACH, segment_error(lens));
    optics_rules_judge(&v->segment);
}

/* The lens of an eye, whose figures were checked: nothing below finds more. */
static void judge_glass(const struct optics_pair *pair, enum optics_eye eye,
    struct optics_glass_verdict *v)
{
    const struct optics_finished *lens = &pair->eyes[eye];
    const struct optics_glass *is = &lens->delivered, *was = &lens->ordered;
    struct optics_rule_key key = {pair->profile, pair->type, 0};

    v->residual = optics_power_change(was->power, is->power);
    if (both_say(lens, OPTICS_SAYS_PD))
        v->shift.in_mm = optics_clean(was->pd_mm - is->pd_mm);
    if (both_say(lens, OPTICS_SAYS_HEIGHT))
        v->shift.up_mm = optics_clean(is->height_mm - was->height_mm);
    (void)optics_prism_of_shift(eye, is->power, v->shift, &v->centring);
    (void)optics_tolerance_power(
        pair->profile, pair->type, was->power, is->power, &v->power);
    v->prism_error.base_in = optics_clean(
        is->prism.base_in - was->prism.base_in + v->centring.base_in);
    v->prism_error.base_up = optics_clean(
        is->prism.base_up - was->prism.base_up + v->centring.base_up);
    if (!pair->mounted)
        judge_points(key, lens, v);
    judge_reading(key, lens, v);
}

/* A line of the pair: rules by both lenses' powers, and their errors. */
struct pair_line {
    enum optics_group group;
    double meridian;
    unsigned place; /* what the rules in mm need */
    double prism, right_mm, left_mm, apart_mm;
    bool placed; /* are the errors in mm known */
};

/* Less power turns a small error of prism into any distance (chosen by us). */
#define POWER_TO_PLACE 1.0 /* D */

/* Adds to *mm how far a lens of that power is displaced that shows this much
 * prism at its reference point: 10 prism / power.  False for a weak lens. */
static bool displace(double power, double prism, double *mm)
{
    if (!matters(prism))
        return true;
    if (fabs(power) < POWER_TO_PLACE)
        return false;
    *mm += 10 * prism / power;
    return true;
}

static void judge_pair_line(const struct optics_pair *pair,
    struct pair_line what, struct optics_ruling *line)
{
    struct optics_rule_key key = {pair->profile, pair->type, what.group};

    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++)
        optics_rules_add(line, key,
            optics_power_meridian(
                pair->eyes[eye].ordered.power, what.meridian));
    optics_rules_hold(line, OPTICS_UNIT_PRISM, what.prism);
    if (what.placed && both_say(&pair->eyes[OPTICS_RIGHT], what.place) &&
        both_say(&pair->eyes[OPTICS_LEFT], what.place)) {
        optics_rules_hold(line, OPTICS_UNIT_MM_PAIR, what.apart_mm);
        optics_rules_hold(line, OPTICS_UNIT_MM_EACH,
            fmax(fabs(what.right_mm), fabs(what.left_mm)));
    }
    optics_rules_judge(line);
}

/* How far a reference point is from its place as the pair's rules in mm take
 * it: what was measured, and what prism there that wasn't ordered amounts to.
 */
static bool place_of(const struct optics_finished *lens,
    struct optics_shift measured, struct optics_shift *ret)
{
    const struct optics_glass *is = &lens->delivered, *was = &lens->ordered;
    bool in, up;

    *ret = measured;
    in = displace(optics_power_meridian(is->power, 180),
        is->prism.base_in - was->prism.base_in, &ret->in_mm);
    up = displace(optics_power_meridian(is->power, 90),
        is->prism.base_up - was->prism.base_up, &ret->up_mm);
    return in && up;
}

static void judge_pair(
    const struct optics_pair *pair, struct optics_pair_verdict *v)
{
    const struct optics_finished *eyes = pair->eyes;
    const struct optics_glass_verdict *r = &v->eyes[OPTICS_RIGHT];
    const struct optics_glass_verdict *l = &v->eyes[OPTICS_LEFT];
    struct optics_shift right, left;
    double right_mm = segment_error(&eyes[OPTICS_RIGHT]);
    double left_mm = segment_error(&eyes[OPTICS_LEFT]);
    bool placed;

    v->horizontal =
        optics_clean(r->prism_error.base_in + l->prism_error.base_in);
    v->vertical = optics_clean(r->prism_error.base_up - l->prism_error.base_up);
    if (!pair->mounted)
        return;
    placed = place_of(&eyes[OPTICS_RIGHT], r->shift, &right);
    placed = place_of(&eyes[OPTICS_LEFT], l->shift, &left) && placed;
    judge_pair_line(pair,
        (struct pair_line){OPTICS_GROUP_HORIZONTAL, 180, OPTICS_SAYS_PD,
            v->horizontal, right.in_mm, left.in_mm, right.in_mm + left.in_mm,
            placed},
        &v->horizontal_line);
    judge_pair_line(pair,
        (struct pair_line){OPTICS_GROUP_VERTICAL, 90, OPTICS_SAYS_HEIGHT,
            v->vertical, right.up_mm, left.up_mm, right.up_mm - left.up_mm,
            placed},
        &v->vertical_line);
    judge_pair_line(pair,
        (struct pair_line){OPTICS_GROUP_SEGMENTS, 0, OPTICS_SAYS_SEGMENT, 0,
            right_mm, left_mm, right_mm - left_mm, true},
        &v->segments);
}

static bool has_each(const struct optics_ruling *line)
{
    for (size_t i = 0; i < line->n; i++)
        if (line->rules[i].unit == OPTICS_UNIT_MM_EACH)
            return true;
    return false;
}

/* Chosen by us: a progressive's reference point further off than this is
 * never passed in silence. */
#define PROGRESSIVE_MM 1.0

/* True for an error of the lens's power, add or segment without a rule. */
static bool lens_left(
    const struct optics_finished *lens, const struct optics_glass_verdict *v)
{
    double residual = optics_vector_blur(optics_vector_of(v->residual));
    unsigned one_says = lens->ordered.says ^ lens->delivered.says;

    if (matters(residual) &&
        (v->power.sphere.n == 0 || v->power.cylinder.n == 0))
        return true;
    if ((one_says & (OPTICS_SAYS_ADD | OPTICS_SAYS_SEGMENT)) != 0)
        return true;
    if (matters(v->add_error) && v->add.n == 0)
        return true;
    return both_say(lens, OPTICS_SAYS_SEGMENT) &&
           matters(segment_error(lens)) && v->segment.n == 0;
}

static bool is_off(const struct optics_glass_verdict *v)
{
    return matters(v->prism_error.base_in) || matters(v->prism_error.base_up) ||
           matters(v->shift.in_mm) || matters(v->shift.up_mm);
}

static bool is_far(
    const struct optics_pair *pair, const struct optics_glass_verdict *v)
{
    return pair->type == OPTICS_PROGRESSIVE &&
           fmax(fabs(v->shift.in_mm), fabs(v->shift.up_mm)) >
               PROGRESSIVE_MM + 1e-9;
}

/* True for an error of prism or place without a rule: above all of one lens
 * alone in its frame. */
static bool place_left(const struct optics_pair *pair,
    const struct optics_pair_verdict *v, const struct optics_glass_verdict *e)
{
    const struct optics_ruling *across = &v->horizontal_line;
    const struct optics_ruling *up = &v->vertical_line;

    if (!pair->mounted)
        return (is_off(e) && e->point.n == 0) ||
               (is_far(pair, e) && !has_each(&e->point));
    if (!pair->eyes[OPTICS_RIGHT].there || !pair->eyes[OPTICS_LEFT].there)
        return is_off(e);
    if (is_far(pair, e) && !(has_each(across) && has_each(up)))
        return true;
    return (matters(v->horizontal) && across->n == 0) ||
           (matters(v->vertical) && up->n == 0);
}

struct tally {
    bool pass, at_limit, fail, open; /* open: a rule lacks its figure */
};

static void count(struct tally *t, const struct optics_ruling *line)
{
    t->pass = t->pass || line->verdict == OPTICS_PASS;
    t->at_limit = t->at_limit || line->verdict == OPTICS_AT_LIMIT;
    t->fail = t->fail || line->verdict == OPTICS_FAIL;
    t->open = t->open || (line->n > 0 && line->verdict == OPTICS_NOT_JUDGED);
}

static enum optics_verdict sum_up(
    const struct optics_pair *pair, const struct optics_pair_verdict *v)
{
    struct tally t = {0};

    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++) {
        const struct optics_glass_verdict *e = &v->eyes[eye];

        count(&t, &e->power.sphere);
        count(&t, &e->power.cylinder);
        /* An axis lacks its figure only where the cylinder is gone, which is
         * the cylinder's line. */
        if (e->power.axis.verdict != OPTICS_NOT_JUDGED)
            count(&t, &e->power.axis);
        count(&t, &e->add);
        count(&t, &e->point);
        count(&t, &e->segment);
        if (pair->eyes[eye].there)
            t.open = t.open || lens_left(&pair->eyes[eye], e) ||
                     place_left(pair, v, e);
    }
    count(&t, &v->horizontal_line);
    count(&t, &v->vertical_line);
    count(&t, &v->segments);
    if (t.fail)
        return OPTICS_FAIL;
    if (t.at_limit)
        return OPTICS_AT_LIMIT;
    return t.open || !t.pass ? OPTICS_NOT_JUDGED : OPTICS_PASS;
}

enum optics_fault optics_pair_check(
    const struct optics_pair *pair, struct optics_pair_verdict *ret)
{
    bool right = pair->eyes[OPTICS_RIGHT].there;
    bool left = pair->eyes[OPTICS_LEFT].there, delivered;
    struct optics_pair_verdict v;

    memset(&v, 0, sizeof(v));
    if (!right && !left)
        return OPTICS_BAD_NO_LENS;
    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++) {
        enum optics_fault fault;

        if (!pair->eyes[eye].there)
            continue;
        fault = optics_finished_check(&pair->eyes[eye], &delivered);
        if (fault != OPTICS_OK)
            return fault;
        judge_glass(pair, (enum optics_eye)eye, &v.eyes[eye]);
    }
    if (right && left)
        judge_pair(pair, &v);
    v.verdict = sum_up(pair, &v);
    *ret = v;
    return OPTICS_OK;
}
