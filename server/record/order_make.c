#include "record/order_make.h"

#include <math.h>

#include "base/num.h"
#include "optics/vertex.h"
#include "optics/worn.h"

static double told(int32_t hundredths)
{
    return hundredths == NUM_ABSENT ? 0 : hundredths / 100.0;
}

/* ---- which power ------------------------------------------------------------
 */

static struct optics_rx signed_power(const struct record_order *order,
    const struct record_order_rx *rx, int side)
{
    struct optics_rx power = rx->figures.eyes[side].power;

    record_order_near_power(order, rx, side, &power);
    return power;
}

bool record_order_worn_power(const struct record_order *order,
    const struct record_order_rx *rx, int side, struct optics_power *ret)
{
    const struct record_order_frame *frame = &order->frame;
    int32_t from = rx->figures.vertex_mm100, to = frame->worn_vertex_mm100;
    struct optics_stand stand = {
        .eye = side == RECORD_RIGHT ? OPTICS_RIGHT : OPTICS_LEFT,
        .index = order->lens.index_milli / 1000.0,
        .pantoscopic_deg = told(frame->tilt_cdeg),
        .wrap_deg = told(frame->wrap_cdeg)};
    struct optics_power power;

    if (!record_order_makes_power(order, rx, side) ||
        order->lens.index_milli == NUM_ABSENT)
        return false;
    power = optics_power_of_rx(signed_power(order, rx, side));
    if (from != NUM_ABSENT && to != NUM_ABSENT && from != to &&
        optics_vertex_move(power, from / 100.0, to / 100.0, &power) !=
            OPTICS_OK)
        return false;
    return optics_stand_compensate(power, stand, ret) == OPTICS_OK;
}

bool record_order_compensated(const struct record_order *order,
    const struct record_order_rx *rx, int side, struct optics_rx *ret)
{
    struct optics_power power;

    if (order->make != RECORD_MAKE_COMPENSATED ||
        !record_order_worn_power(order, rx, side, &power))
        return false;
    *ret = optics_rx_of_power(power);
    ret->axis_cdeg = (ret->axis_cdeg + 50) / 100 * 100;
    if (ret->cyl_cd != 0 && ret->axis_cdeg == 0)
        ret->axis_cdeg = OPTICS_AXIS_MAX_CDEG;
    return true;
}

struct optics_rx record_order_make_power(const struct record_order *order,
    const struct record_order_rx *rx, int side)
{
    struct optics_rx power;

    if (record_order_compensated(order, rx, side, &power))
        return power;
    return signed_power(order, rx, side);
}

/* ---- where, and which prism
 * --------------------------------------------------
 */

bool record_order_has_segment(const struct record_order *order)
{
    return order->lens.design == RECORD_BIFOCAL ||
           order->lens.design == RECORD_TRIFOCAL;
}

static bool is_near(
    const struct record_order *order, const struct record_order_rx *rx)
{
    enum record_use use = record_order_use(order, rx);

    return use == RECORD_USE_NEAR || use == RECORD_USE_NEAR_SIGNED;
}

double record_order_centre_mm(const struct record_order *order,
    const struct record_order_rx *rx, int side)
{
    struct record_pd pd = record_order_pd(order, rx);
    bool near = is_near(order, rx);
    double mm = record_pd_eye_mm(near ? &pd.near : &pd.far, side);

    return isnan(mm) ? record_pd_eye_mm(near ? &pd.far : &pd.near, side) : mm;
}

struct optics_prism record_order_prism(const struct record_order *order,
    const struct record_order_rx *rx, int side)
{
    const struct record_eye *eye = &rx->figures.eyes[side];
    const struct record_prism *prism =
        is_near(order, rx) && eye->near_prism.here ? &eye->near_prism
                                                   : &eye->prism;

    return record_prism_optics(prism);
}

/* ---- can it be made ---------------------------------------------------------
 */

/* Front power by Vogel's rule: the spherical equivalent and 6 D for plus, half
 * of it and 6 D for minus; minus lenses of tough materials are 1 mm at the
 * centre, others 1.5 (all common practice). */
static struct record_make_assumed assume(
    const struct record_order *order, struct optics_power power)
{
    double equivalent = power.sph + power.cyl / 2;
    double front = equivalent < 0 ? equivalent / 2 + 6 : equivalent + 6;
    bool tough = order->lens.material == OPTICS_POLYCARBONATE ||
                 order->lens.material == OPTICS_POLYURETHANE;

    return (struct record_make_assumed){
        .front_power = fmin(fmax(front, 0.5), 14),
        .min_centre_mm = tough ? 1.0 : 1.5,
        .min_edge_mm = 1.0,
        .allowance_mm = 2.0,
        .blank_mm = 80.0,
        .edge_mm = 8.0,
        .corridor_mm = 14.0,
        .near_zone_mm = 3.0};
}

static bool has_frame(const struct record_order *order)
{
    const struct record_order_frame *f = &order->frame;

    return f->a_mm100 != NUM_ABSENT && f->b_mm100 != NUM_ABSENT &&
           f->dbl_mm100 != NUM_ABSENT && f->ed_mm100 != NUM_ABSENT;
}

static bool varies(const struct record_order *order)
{
    return order->lens.design == RECORD_PROGRESSIVE ||
           order->lens.design == RECORD_OCCUPATIONAL;
}

static void fill(const struct record_order *order,
    const struct record_order_rx *rx, int side, struct record_make *m)
{
    const struct record_order_frame *f = &order->frame;
    int32_t height = f->fitting_height_mm100[side];

    /* A segment's height is no reference point's: that lies on the datum. */
    m->lens.height_mm = !record_order_has_segment(order) && height != NUM_ABSENT
                            ? height / 100.0
                            : f->b_mm100 / 200.0;
    m->lens.eye = side == RECORD_RIGHT ? OPTICS_RIGHT : OPTICS_LEFT;
    m->lens.prism = record_order_prism(order, rx, side);
    m->lens.front_power = m->assumed.front_power;
    m->lens.index = order->lens.index_milli / 1000.0;
    m->lens.a_mm = f->a_mm100 / 100.0;
    m->lens.b_mm = f->b_mm100 / 100.0;
    m->lens.dbl_mm = f->dbl_mm100 / 100.0;
    m->lens.ed_mm = f->ed_mm100 / 100.0;
    m->lens.min_centre_mm = m->assumed.min_centre_mm;
    m->lens.min_edge_mm = m->assumed.min_edge_mm;
    m->lens.allowance_mm = m->assumed.allowance_mm;
}

static void find(
    const struct record_order *order, int side, struct record_make *m)
{
    int32_t height = order->frame.fitting_height_mm100[side];

    if (varies(order) &&
        optics_least_fitting_height(m->assumed.corridor_mm,
            m->assumed.near_zone_mm, &m->least_height_mm) == OPTICS_OK)
        m->found[RECORD_MAKE_HEIGHT] =
            height != NUM_ABSENT && height / 100.0 < m->least_height_mm;
    m->found[RECORD_MAKE_IMPOSSIBLE] = m->fault != OPTICS_OK;
    if (m->fault != OPTICS_OK)
        return;
    m->found[RECORD_MAKE_BLANK] = m->made.shape_blank_mm > m->assumed.blank_mm;
    m->found[RECORD_MAKE_THICK] =
        fmax(m->made.thickest.mm, m->made.centre_mm) > m->assumed.edge_mm;
}

void record_order_make(const struct record_order *order,
    const struct record_order_rx *rx, int side, struct record_make *ret)
{
    double pd_mm = record_order_centre_mm(order, rx, side);

    *ret = (struct record_make){0};
    if (!record_order_makes_power(order, rx, side) || !has_frame(order) ||
        order->lens.material == RECORD_UNSAID ||
        order->lens.index_milli == NUM_ABSENT || isnan(pd_mm))
        return;
    ret->asked = true;
    ret->lens.power =
        optics_power_of_rx(record_order_make_power(order, rx, side));
    ret->assumed = assume(order, ret->lens.power);
    ret->lens.pd_mm = pd_mm;
    fill(order, rx, side, ret);
    ret->fault = optics_density((enum optics_material)order->lens.material,
        ret->lens.index, &ret->lens.density);
    if (ret->fault == OPTICS_OK)
        ret->fault = optics_make_lens(&ret->lens, &ret->made);
    find(order, side, ret);
}
