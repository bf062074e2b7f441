#include "record/power.h"

#include <stdlib.h>

#include "base/num.h"

static const double SPHERE_RANGE[] = {
    -OPTICS_RX_MERIDIAN_MAX_CD / 100.0, OPTICS_RX_MERIDIAN_MAX_CD / 100.0};
static const double CYLINDER_RANGE[] = {
    -OPTICS_RX_CYL_MAX_CD / 100.0, OPTICS_RX_CYL_MAX_CD / 100.0};

static void read_axis(struct json_in in, enum record_axis axis, int32_t *ret)
{
    static const double instrument[] = {0, 180}, person[] = {1, 180};
    int32_t deg;

    if (axis == RECORD_AXIS_INSTRUMENT)
        json_in_scaled(in, 2, instrument, ret);
    else if (json_in_scaled(in, 0, person, &deg))
        *ret = deg * 100;
}

bool record_sent_read(
    struct json_in in, enum record_axis axis, struct record_sent *ret_sent)
{
    struct record_sent_at at = {json_in_get(in, "sphere"),
        json_in_get(in, "cylinder"), json_in_get(in, "axis")};
    struct record_sent sent = {NUM_ABSENT, NUM_ABSENT, NUM_ABSENT};
    size_t before = in.err->n_faults;

    if (json_in_need(at.sph))
        json_in_scaled(at.sph, 2, SPHERE_RANGE, &sent.sph_cd);
    json_in_scaled(at.cyl, 2, CYLINDER_RANGE, &sent.cyl_cd);
    read_axis(at.axis, axis, &sent.axis_cdeg);
    record_sent_check(sent, &at);
    if (in.err->n_faults > before)
        return false;
    *ret_sent = sent;
    return true;
}

void record_sent_check(struct record_sent sent, const struct record_sent_at *at)
{
    char buf[NUM_TEXT_MAX];
    int32_t other;

    if (sent.cyl_cd == NUM_ABSENT || sent.cyl_cd == 0)
        return;
    if (!json_in_here(at->axis))
        err_fault(
            at->axis.err, at->axis.pointer, "is required with a cylinder");
    if (sent.sph_cd == NUM_ABSENT)
        return;
    other = sent.sph_cd + sent.cyl_cd;
    if (abs(other) > OPTICS_RX_MERIDIAN_MAX_CD)
        err_fault(at->cyl.err, at->cyl.pointer,
            "gives a meridian of %s D, which is beyond 40.00",
            num_text(other, 2, buf));
}

static int32_t or_zero(int32_t figure)
{
    return figure == NUM_ABSENT ? 0 : figure;
}

struct optics_rx record_power_from(struct record_sent sent)
{
    struct optics_rx rx = {
        sent.sph_cd, or_zero(sent.cyl_cd), or_zero(sent.axis_cdeg)};

    return optics_rx_as(optics_rx_normal(rx), OPTICS_MINUS_CYL);
}

enum optics_form record_sent_form(struct record_sent sent)
{
    return or_zero(sent.cyl_cd) > 0 ? OPTICS_PLUS_CYL : OPTICS_MINUS_CYL;
}

struct record_sent record_power_as(
    struct optics_rx power, enum optics_form form)
{
    struct optics_rx rx = optics_rx_as(power, form);

    return (struct record_sent){
        rx.sph_cd, rx.cyl_cd, rx.cyl_cd ? rx.axis_cdeg : NUM_ABSENT};
}

void record_power_write(struct json_out *o, struct optics_rx power)
{
    json_out_cd(o, "sphere", power.sph_cd);
    json_out_cd(o, "cylinder", power.cyl_cd);
    if (power.cyl_cd)
        json_out_number(o, "axis", power.axis_cdeg / 100.0, 2);
    else
        json_out_null(o, "axis");
}

void record_computed_write(struct json_out *o, struct optics_power power)
{
    struct optics_power r = optics_power_rounded(power);

    json_out_number(o, "sphere", r.sph, 4);
    json_out_number(o, "cylinder", r.cyl, 4);
    if (r.axis > 0)
        json_out_number(o, "axis", r.axis, 2);
    else
        json_out_null(o, "axis");
}

void record_sent_write(
    struct json_out *o, const char *key, struct record_sent sent)
{
    bool plus = record_sent_form(sent) == OPTICS_PLUS_CYL;

    json_out_object(o, key);
    json_out_text(o, "form", plus ? "plus" : "minus");
    json_out_cd(o, "sphere", sent.sph_cd);
    if (sent.cyl_cd != NUM_ABSENT)
        json_out_cd(o, "cylinder", sent.cyl_cd);
    if (sent.axis_cdeg != NUM_ABSENT)
        json_out_number(o, "axis", sent.axis_cdeg / 100.0, 2);
    json_out_object_end(o);
}

int32_t record_power_strength(struct optics_rx power)
{
    int32_t a = abs(power.sph_cd), b = abs(power.sph_cd + power.cyl_cd);

    return a > b ? a : b;
}
