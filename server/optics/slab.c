#include "optics/slab.h"

#include <math.h>

#include "optics/angle.h"

static const double NO_PRISM = 1e-9; /* cm/m */
static const double SAME = 1e-9;     /* D, mm */
static const double SLAB_STEP = 0.5; /* cm/m */

enum optics_fault optics_reading_check(struct optics_reading_lens lens)
{
    enum optics_fault fault = optics_power_check(lens.power);

    if (fault != OPTICS_OK)
        return fault;
    return optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_ADD_POWER, lens.add},
        {OPTICS_BAD_POINT_DOWN_MM, lens.read.down_mm},
        {OPTICS_BAD_POINT_IN_MM, lens.read.in_mm},
        {OPTICS_BAD_POINT_DOWN_MM, lens.segment.down_mm},
        {OPTICS_BAD_POINT_IN_MM, lens.segment.in_mm},
        {OPTICS_OK, 0},
    });
}

/* What the eye meets at read, through a lens of power centred at centre: what
 * a shift of the centre by as much the other way would give. */
static struct optics_prism met_through(enum optics_eye eye,
    struct optics_power power, struct optics_point centre,
    struct optics_point read)
{
    struct optics_shift shift = {
        centre.in_mm - read.in_mm, read.down_mm - centre.down_mm};
    struct optics_prism prism = {0, 0};

    /* In range, as its arguments are. */
    optics_prism_of_shift(eye, power, shift, &prism);
    return prism;
}

static struct optics_prism of_distance(
    enum optics_eye eye, struct optics_reading_lens lens)
{
    struct optics_point centre = {0, 0};

    return met_through(eye, lens.power, centre, lens.read);
}

static struct optics_prism with_segment(enum optics_eye eye,
    struct optics_reading_lens lens, struct optics_prism distance)
{
    struct optics_power add = {lens.add, 0, 0};
    struct optics_prism p = met_through(eye, add, lens.segment, lens.read);

    return (struct optics_prism){
        optics_clean(distance.base_in + p.base_in),
        optics_clean(distance.base_up + p.base_up),
    };
}

static struct optics_slab slab_of(double vertical)
{
    struct optics_slab slab = {OPTICS_RIGHT, fabs(vertical), 0};

    if (slab.amount < NO_PRISM)
        slab.amount = 0;
    else if (vertical > 0)
        slab.eye = OPTICS_LEFT;
    slab.rounded = optics_round_to(slab.amount, SLAB_STEP);
    return slab;
}

static bool same(double a, double b)
{
    return fabs(a - b) < SAME;
}

enum optics_fault optics_reading_level(struct optics_reading_lens right,
    struct optics_reading_lens left, struct optics_reading_level *ret)
{
    enum optics_fault fault = optics_reading_check(right);
    bool need_right = right.add != 0, need_left = left.add != 0;
    struct optics_reading_level level = {0};
    const struct optics_prism_pair *p = &level.distance;

    if (fault == OPTICS_OK)
        fault = optics_reading_check(left);
    if (fault != OPTICS_OK)
        return fault;
    if (need_right && need_left && right.segment_known != left.segment_known)
        return OPTICS_BAD_ONE_SEGMENT;
    level.distance.right = of_distance(OPTICS_RIGHT, right);
    level.distance.left = of_distance(OPTICS_LEFT, left);
    level.met_known = (!need_right || right.segment_known) &&
                      (!need_left || left.segment_known);
    level.vertical_known =
        level.met_known || (same(right.add, left.add) &&
                               same(right.read.down_mm, left.read.down_mm));
    if (level.met_known) {
        level.met.right = with_segment(OPTICS_RIGHT, right, p->right);
        level.met.left = with_segment(OPTICS_LEFT, left, p->left);
        p = &level.met;
        level.horizontal = optics_clean(p->right.base_in + p->left.base_in);
    }
    if (level.vertical_known) {
        level.vertical = optics_clean(p->right.base_up - p->left.base_up);
        level.slab = slab_of(level.vertical);
    }
    *ret = level;
    return OPTICS_OK;
}
