#include "record/cornea.h"

#include "base/num.h"
#include "optics/cornea.h"

struct record_cornea record_cornea_none(void)
{
    struct record_meridian none = {
        false, NUM_ABSENT, NUM_ABSENT, NUM_ABSENT, false, false};

    return (struct record_cornea){none, none, NUM_ABSENT, false};
}

int32_t record_cornea_power(int32_t radius_um, int32_t index_e4)
{
    double power = 0;

    /* radius and index were read within the ranges of the formula */
    (void)optics_cornea_power(radius_um / 1000.0, index_e4 / 10000.0, &power);
    return (int32_t)num_round(power, 2);
}

static int32_t radius_of(int32_t power_cd, int32_t index_e4)
{
    double mm = 0;

    (void)optics_cornea_radius(power_cd / 100.0, index_e4 / 10000.0, &mm);
    return (int32_t)num_round(mm, 3);
}

static void fill_power(
    struct json_in in, struct record_cornea *c, struct record_meridian *m)
{
    char buf[NUM_TEXT_MAX];

    if (c->index_e4 == NUM_ABSENT) {
        c->index_e4 = RECORD_INDEX_E4;
        c->index_assumed = true;
    }
    m->power_cd = record_cornea_power(m->radius_um, c->index_e4);
    m->power_computed = true;
    if (m->power_cd < RECORD_K_MIN_CD || m->power_cd > RECORD_K_MAX_CD)
        err_fault(in.err, in.pointer,
            "has a power of %s D by its radius and index, outside 24 to 97",
            num_text(m->power_cd, 2, buf));
}

static void fill_radius(
    struct json_in in, const struct record_cornea *c, struct record_meridian *m)
{
    char buf[NUM_TEXT_MAX];

    m->radius_um = radius_of(m->power_cd, c->index_e4);
    m->radius_computed = true;
    if (m->radius_um < RECORD_RADIUS_MIN_UM ||
        m->radius_um > RECORD_RADIUS_MAX_UM)
        err_fault(in.err, in.pointer,
            "has a radius of %s mm by its power and index, outside 3.5 to 14",
            num_text(m->radius_um, 3, buf));
}

static void read_meridian(struct json_in in, struct record_meridian *m)
{
    static const char *const names[] = {"radius_mm", "power", "axis", NULL};
    static const double radius_range[] = {
        RECORD_RADIUS_MIN_UM / 1000.0, RECORD_RADIUS_MAX_UM / 1000.0};
    static const double power_range[] = {
        RECORD_K_MIN_CD / 100.0, RECORD_K_MAX_CD / 100.0};
    static const double axis_range[] = {0, 180};
    struct json_in radius = json_in_get(in, "radius_mm");
    struct json_in power = json_in_get(in, "power");
    struct json_in axis = json_in_get(in, "axis");

    if (!json_is_object(in.value)) {
        err_fault(in.err, in.pointer, "must be an object");
        return;
    }
    m->here = true;
    json_in_object(in, names);
    json_in_scaled(radius, 3, radius_range, &m->radius_um);
    json_in_scaled(power, 2, power_range, &m->power_cd);
    if (!json_in_here(radius) && !json_in_here(power))
        err_fault(in.err, in.pointer, "must have radius_mm or power");
    if (json_in_need(axis) &&
        json_in_scaled(axis, 2, axis_range, &m->axis_cdeg) && m->axis_cdeg == 0)
        m->axis_cdeg = OPTICS_AXIS_MAX_CDEG;
}

/* The one of radius and power that wasn't sent. */
static void fill(
    struct json_in in, struct record_cornea *c, struct record_meridian *m)
{
    if (m->radius_um != NUM_ABSENT && m->power_cd == NUM_ABSENT)
        fill_power(in, c, m);
    else if (m->power_cd != NUM_ABSENT && m->radius_um == NUM_ABSENT &&
             c->index_e4 != NUM_ABSENT)
        fill_radius(in, c, m);
}

/* True when power stands alone, and nothing says how it was made. */
static bool needs_index(const struct record_meridian *m)
{
    return m->power_cd != NUM_ABSENT && m->radius_um == NUM_ABSENT;
}

void record_cornea_read(struct json_in in, struct record_cornea *ret)
{
    /* Instruments differ; 1.33 to 1.34 is what is met (common practice). */
    static const double index_range[] = {1.3, 1.4};
    struct json_in flat = json_in_get(in, "flat");
    struct json_in steep = json_in_get(in, "steep");
    struct json_in index = json_in_get(in, "index");
    struct record_cornea c = record_cornea_none();
    size_t before = in.err->n_faults;

    if (json_in_here(flat))
        read_meridian(flat, &c.flat);
    if (json_in_here(steep))
        read_meridian(steep, &c.steep);
    json_in_scaled(index, 4, index_range, &c.index_e4);
    if ((needs_index(&c.flat) || needs_index(&c.steep)) && !json_in_here(index))
        err_fault(in.err, index.pointer,
            "is required where a meridian has power and no radius");
    if (in.err->n_faults == before) {
        fill(flat, &c, &c.flat);
        fill(steep, &c, &c.steep);
    }
    *ret = c;
}

static void write_meridian(
    struct json_out *o, const char *key, const struct record_meridian *m)
{
    if (!m->here)
        return;
    json_out_object(o, key);
    json_out_number(o, "radius_mm", m->radius_um / 1000.0, 3);
    json_out_cd(o, "power", m->power_cd);
    json_out_number(o, "axis", m->axis_cdeg / 100.0, 2);
    if (m->radius_computed || m->power_computed)
        json_out_text(
            o, "computed", m->radius_computed ? "radius_mm" : "power");
    json_out_object_end(o);
}

/* Mean power, and the minus cylinder that corrects the cornea; from powers,
 * so that radii and index need not be known. */
static void write_derived(struct json_out *o, const struct record_cornea *c)
{
    double flat = c->flat.power_cd / 100.0, steep = c->steep.power_cd / 100.0;
    struct optics_power astigmatism;

    json_out_number(o, "mean_power", (flat + steep) / 2, 4);
    if (optics_cornea_astigmatism(
            flat, c->flat.axis_cdeg / 100.0, steep, &astigmatism) != OPTICS_OK)
        return; /* flat steeper than steep, which is a caution */
    json_out_object(o, "astigmatism");
    json_out_number(o, "cylinder", astigmatism.cyl, 2);
    if (c->flat.power_cd == c->steep.power_cd)
        json_out_null(o, "axis");
    else
        json_out_number(o, "axis", astigmatism.axis, 2);
    json_out_text(o, "rule", optics_rule_word(optics_rule_of(astigmatism)));
    json_out_object_end(o);
}

void record_cornea_write(struct json_out *o, const struct record_cornea *c)
{
    write_meridian(o, "flat", &c->flat);
    write_meridian(o, "steep", &c->steep);
    if (c->index_e4 != NUM_ABSENT)
        json_out_number(o, "index", c->index_e4 / 10000.0, 4);
    if (c->index_assumed)
        json_out_bool(o, "index_assumed", true);
    if (c->flat.here && c->steep.here)
        write_derived(o, c);
}
