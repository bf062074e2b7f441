#include "optics/pair.h"

#include <math.h>
#include <string.h>

#include "optics/angle.h"
#include "optics/magnify.h"
#include "optics/pair_sum.h"
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

enum optics_fault optics_body_check(struct optics_body body)
{
    struct optics_surfaces surfaces = {
        body.front_power, 0, body.index, body.thickness_mm};
    struct optics_thick unused;

    return optics_thick_lens(surfaces, &unused);
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

/* The lines that a loose lens, and a segment, have for themselves. */
static void judge_points(struct optics_rule_key key,
    const struct optics_finished *lens, struct optics_glass_verdict *v)
{
    key.group = OPTICS_GROUP_POINT;
    optics_rules_add(&v->point, key, 0);
    optics_rules_hold(&v->point, OPTICS_UNIT_PRISM,
        hypot(v->prism_error.base_in, v->prism_error.base_up));
    if (optics_finished_says(lens, OPTICS_SAYS_PD | OPTICS_SAYS_HEIGHT))
        optics_rules_hold(&v->point, OPTICS_UNIT_MM_EACH,
            hypot(v->shift.in_mm, v->shift.up_mm));
    optics_rules_judge(&v->point);
}

static void judge_reading(struct optics_rule_key key,
    const struct optics_finished *lens, struct optics_glass_verdict *v)
{
    key.group = OPTICS_GROUP_ADD;
    optics_rules_add(&v->add, key, lens->ordered.add);
    if (optics_finished_says(lens, OPTICS_SAYS_ADD)) {
        v->add_error = optics_clean(lens->delivered.add - lens->ordered.add);
        optics_rules_hold(&v->add, OPTICS_UNIT_D, v->add_error);
    }
    optics_rules_judge(&v->add);
    key.group = OPTICS_GROUP_SEGMENT;
    optics_rules_add(&v->segment, key, 0);
    if (optics_finished_says(lens, OPTICS_SAYS_SEGMENT))
        optics_rules_hold(
            &v->segment, OPTICS_UNIT_MM_EACH, optics_segment_error(lens));
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
    if (optics_finished_says(lens, OPTICS_SAYS_PD))
        v->shift.in_mm = optics_clean(was->pd_mm - is->pd_mm);
    if (optics_finished_says(lens, OPTICS_SAYS_HEIGHT))
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
    if (!optics_error_matters(prism))
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
    if (what.placed &&
        optics_finished_says(&pair->eyes[OPTICS_RIGHT], what.place) &&
        optics_finished_says(&pair->eyes[OPTICS_LEFT], what.place)) {
        optics_rules_hold(line, OPTICS_UNIT_MM_PAIR, what.apart_mm);
        optics_rules_hold(line, OPTICS_UNIT_MM_EACH,
            fmax(fabs(what.right_mm), fabs(what.left_mm)));
    }
    optics_rules_judge(line);
}

/* Less than the narrowest rule of a pair is no thinning (chosen by us). */
#define THINNING_LEAST 0.33 /* cm/m */

static double unordered_up(const struct optics_finished *lens)
{
    return lens->delivered.prism.base_up - lens->ordered.prism.base_up;
}

static double thinning_of(const struct optics_pair *pair)
{
    double right = unordered_up(&pair->eyes[OPTICS_RIGHT]);
    double left = unordered_up(&pair->eyes[OPTICS_LEFT]);
    double both = fabs(right) < fabs(left) ? right : left;

    if (pair->type == OPTICS_SINGLE_VISION || right * left <= 0 ||
        fabs(both) <= THINNING_LEAST)
        return 0;
    return both;
}

/* How far a reference point is from its place as the pair's rules in mm take
 * it: what was measured, and what prism there that wasn't ordered, and doesn't
 * thin, amounts to. */
static void put_place(const struct optics_finished *lens, double thinning,
    struct optics_glass_verdict *v)
{
    const struct optics_glass *is = &lens->delivered, *was = &lens->ordered;
    bool in, up;

    v->place = v->shift;
    in = displace(optics_power_meridian(is->power, 180),
        is->prism.base_in - was->prism.base_in, &v->place.in_mm);
    up = displace(optics_power_meridian(is->power, 90),
        unordered_up(lens) - thinning, &v->place.up_mm);
    v->placed = in && up;
}

static void judge_pair(
    const struct optics_pair *pair, struct optics_pair_verdict *v)
{
    const struct optics_finished *eyes = pair->eyes;
    struct optics_glass_verdict *r = &v->eyes[OPTICS_RIGHT];
    struct optics_glass_verdict *l = &v->eyes[OPTICS_LEFT];
    double right_mm = optics_segment_error(&eyes[OPTICS_RIGHT]);
    double left_mm = optics_segment_error(&eyes[OPTICS_LEFT]);
    bool placed;

    v->horizontal =
        optics_clean(r->prism_error.base_in + l->prism_error.base_in);
    v->vertical = optics_clean(r->prism_error.base_up - l->prism_error.base_up);
    if (!pair->mounted)
        return;
    v->thinning = optics_clean(thinning_of(pair));
    put_place(&eyes[OPTICS_RIGHT], v->thinning, r);
    put_place(&eyes[OPTICS_LEFT], v->thinning, l);
    placed = r->placed && l->placed;
    judge_pair_line(pair,
        (struct pair_line){OPTICS_GROUP_HORIZONTAL, 180, OPTICS_SAYS_PD,
            v->horizontal, r->place.in_mm, l->place.in_mm,
            r->place.in_mm + l->place.in_mm, placed},
        &v->horizontal_line);
    judge_pair_line(pair,
        (struct pair_line){OPTICS_GROUP_VERTICAL, 90, OPTICS_SAYS_HEIGHT,
            v->vertical, r->place.up_mm, l->place.up_mm,
            r->place.up_mm - l->place.up_mm, placed},
        &v->vertical_line);
    judge_pair_line(pair,
        (struct pair_line){OPTICS_GROUP_SEGMENTS, 0, OPTICS_SAYS_SEGMENT, 0,
            right_mm, left_mm, right_mm - left_mm, true},
        &v->segments);
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
        if (fault == OPTICS_OK && pair->eyes[eye].has_body)
            fault = optics_body_check(pair->eyes[eye].body);
        if (fault != OPTICS_OK)
            return fault;
        judge_glass(pair, (enum optics_eye)eye, &v.eyes[eye]);
    }
    if (right && left)
        judge_pair(pair, &v);
    optics_pair_sum_up(pair, &v);
    *ret = v;
    return OPTICS_OK;
}
