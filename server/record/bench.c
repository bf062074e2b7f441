#include "record/bench.h"

#include <math.h>

#include "base/num.h"
#include "record/order_make.h"

const char *const RECORD_MEASURED_FIELDS[] = {"right", "left", "pd_mm",
    "height_mm", "segment_height_mm", "mounted", NULL};

static const char *const SIDES[] = {"right", "left", NULL};

/* ---- read and written -----------------------------------------------------
 */

static void read_heights(struct json_in in, int32_t ret[2])
{
    static const double range[] = {2, 60};

    ret[0] = ret[1] = NUM_ABSENT;
    if (!json_in_here(in) || !json_in_object(in, SIDES))
        return;
    for (int side = 0; side < 2; side++)
        json_in_scaled(json_in_get(in, SIDES[side]), 2, range, &ret[side]);
}

bool record_measured_read(struct json_in in, struct record_measured *ret)
{
    size_t before = in.err->n_faults;

    record_refraction_read(in, &ret->figures);
    read_heights(json_in_get(in, "height_mm"), ret->height_mm100);
    read_heights(json_in_get(in, "segment_height_mm"), ret->segment_mm100);
    ret->mounted = true;
    json_in_bool(json_in_get(in, "mounted"), &ret->mounted);
    return in.err->n_faults == before;
}

static void write_heights(
    struct json_out *o, const char *key, const int32_t mm100[2])
{
    if (mm100[0] == NUM_ABSENT && mm100[1] == NUM_ABSENT)
        return;
    json_out_object(o, key);
    for (int side = 0; side < 2; side++)
        if (mm100[side] != NUM_ABSENT)
            json_out_number(o, SIDES[side], mm100[side] / 100.0, 2);
    json_out_object_end(o);
}

void record_measured_write(
    struct json_out *o, const struct record_measured *measured)
{
    record_refraction_write(o, &measured->figures);
    write_heights(o, "height_mm", measured->height_mm100);
    write_heights(o, "segment_height_mm", measured->segment_mm100);
    json_out_bool(o, "mounted", measured->mounted);
}

/* ---- against the order ------------------------------------------------------
 */

static bool has_add(const struct record_order *order)
{
    return order->lens.design != RECORD_SINGLE_VISION;
}

/* An order without heights wants the centres level, so two that were measured
 * are held to their mean. */
static double ordered_height(
    const struct record_measured *m, const struct record_order *order, int side)
{
    int32_t mm100 = order->frame.fitting_height_mm100[side];

    if (record_order_has_segment(order))
        return NAN;
    if (mm100 != NUM_ABSENT)
        return mm100;
    if (m->height_mm100[0] == NUM_ABSENT || m->height_mm100[1] == NUM_ABSENT)
        return NAN;
    return (m->height_mm100[0] + m->height_mm100[1]) / 2.0;
}

static void check_eye(const struct record_measured *m,
    const struct record_order *order, const struct record_order_rx *rx,
    int side, struct err *err)
{
    static const char *const eyes[] = {"/right", "/left"};
    static const char *const pds[] = {"/pd_mm/right", "/pd_mm/left"};
    static const char *const heights[] = {
        "/height_mm/right", "/height_mm/left"};
    static const char *const segments[] = {
        "/segment_height_mm/right", "/segment_height_mm/left"};
    bool made = record_order_makes_power(order, rx, side);
    bool here = record_refraction_power(&m->figures, side);

    if (made && !here)
        err_fault(err, eyes[side], "was ordered and must be measured");
    if (!made && m->figures.here[side])
        err_fault(err, eyes[side], "no lens with a power is ordered there");
    if (!made || !here)
        return;
    if (!isnan(record_pd_eye_mm(&m->figures.pd.far, side)) &&
        isnan(record_order_centre_mm(order, rx, side)))
        err_fault(err, pds[side], "the order tells no PD to hold it to");
    if (m->height_mm100[side] != NUM_ABSENT &&
        isnan(ordered_height(m, order, side)))
        err_fault(
            err, heights[side], "the order tells no height to hold it to");
    if (m->segment_mm100[side] != NUM_ABSENT &&
        (!record_order_has_segment(order) ||
            order->frame.fitting_height_mm100[side] == NUM_ABSENT))
        err_fault(err, segments[side], "no segment is ordered");
}

void record_measured_check(const struct record_measured *measured,
    const struct record_order *order, const struct record_order_rx *rx,
    struct err *err)
{
    for (int side = 0; side < 2; side++)
        check_eye(measured, order, rx, side, err);
}

static struct optics_glass ordered_glass(const struct record_order *order,
    const struct record_order_rx *rx, int side)
{
    const struct record_eye *eye = &rx->figures.eyes[side];
    struct optics_rx power = record_order_make_power(order, rx, side);
    struct optics_glass g = {.power = optics_power_of_rx(power),
        .prism = record_order_prism(order, rx, side)};

    if (has_add(order) && eye->add_cd != NUM_ABSENT) {
        g.add = eye->add_cd / 100.0;
        g.says |= OPTICS_SAYS_ADD;
    }
    return g;
}

static struct optics_glass measured_glass(
    const struct record_measured *m, const struct record_order *order, int side)
{
    const struct record_eye *eye = &m->figures.eyes[side];
    struct optics_glass g = {.power = optics_power_of_rx(eye->power),
        .prism = record_prism_optics(&eye->prism)};

    if (has_add(order) && eye->add_cd != NUM_ABSENT) {
        g.add = eye->add_cd / 100.0;
        g.says |= OPTICS_SAYS_ADD;
    }
    return g;
}

/* A place is given for both lenses or for neither. */
static void put_places(const struct record_measured *m,
    const struct record_order *order, double pd, int side,
    struct optics_finished *lens)
{
    double found = record_pd_eye_mm(&m->figures.pd.far, side);
    double height = ordered_height(m, order, side);
    int32_t segment = order->frame.fitting_height_mm100[side];

    if (!isnan(found) && !isnan(pd)) {
        lens->ordered.pd_mm = pd;
        lens->delivered.pd_mm = found;
        lens->ordered.says |= OPTICS_SAYS_PD;
        lens->delivered.says |= OPTICS_SAYS_PD;
    }
    if (m->height_mm100[side] != NUM_ABSENT && !isnan(height)) {
        lens->ordered.height_mm = height / 100;
        lens->delivered.height_mm = m->height_mm100[side] / 100.0;
        lens->ordered.says |= OPTICS_SAYS_HEIGHT;
        lens->delivered.says |= OPTICS_SAYS_HEIGHT;
    }
    if (!record_order_has_segment(order) || segment == NUM_ABSENT)
        return;
    lens->ordered.segment_height_mm = segment / 100.0;
    lens->ordered.says |= OPTICS_SAYS_SEGMENT;
    if (m->segment_mm100[side] == NUM_ABSENT)
        return;
    lens->delivered.segment_height_mm = m->segment_mm100[side] / 100.0;
    lens->delivered.says |= OPTICS_SAYS_SEGMENT;
}

void record_bench_pair(const struct record_measured *measured,
    const struct record_order *order, const struct record_order_rx *rx,
    struct optics_pair *pair)
{
    pair->type = (enum optics_lens_type)order->lens.design;
    pair->mounted = measured->mounted;
    for (int side = 0; side < 2; side++) {
        struct optics_finished *lens = &pair->eyes[side];

        *lens = (struct optics_finished){
            .there = record_order_makes_power(order, rx, side)};
        if (!lens->there)
            continue;
        lens->ordered = ordered_glass(order, rx, side);
        lens->delivered = measured_glass(measured, order, side);
        put_places(measured, order, record_order_centre_mm(order, rx, side),
            side, lens);
    }
}

void record_bench_bodies(const struct record_order *order,
    const struct record_order_rx *rx, struct optics_pair *pair)
{
    for (int side = 0; side < 2; side++) {
        struct optics_finished *lens = &pair->eyes[side];
        struct record_make m;

        record_order_make(order, rx, side, &m);
        if (!lens->there || !m.asked || m.fault != OPTICS_OK)
            continue;
        lens->body = (struct optics_body){
            m.lens.front_power, m.lens.index, m.made.centre_mm};
        lens->has_body = optics_body_check(lens->body) == OPTICS_OK;
    }
}
