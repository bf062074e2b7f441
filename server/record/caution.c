#include "record/caution.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/instant.h"
#include "base/num.h"
#include "optics/angle.h"
#include "optics/cornea.h"
#include "optics/vertex.h"

/* Limits by common practice unless a source is named. */
#define CLOCK_SLACK_US 120000000LL /* two minutes */
/* 2000-01-01: clocks that lost their battery start again before it. */
#define CLOCK_RESET_US 946684800000000LL
#define STRONG_CD 500  /* from here on the vertex matters */
#define OUTLIER_D 0.75 /* and over three spreads of the others */
#define REPRESENTATIVE_D 0.50
#define K_DISAGREE_CD 25 /* radius against power */
#define K_SKEW_DEG 5.0   /* meridians off perpendicular */
/* Of 67 survey corneas over 8 D (US CDC NHANES, tests/data/corpus) 12 have 3 D
 * or more in the refraction, of 48 with 6 to 7 D 38: beyond, it's mostly the
 * measurement. */
#define K_CYL_CD 800
#define K_LOW_CD 3000
#define K_HIGH_CD 6000
#define PD_SUM_MM100 100

void record_caution_add(struct record_reading *reading, const char *code,
    int side, const char *fmt, ...)
{
    struct record_caution *c = arena_alloc(reading->arena, sizeof(*c));
    va_list ap;

    va_start(ap, fmt);
    *c = (struct record_caution){.code = code,
        .side = side,
        .text = arena_vprintf(reading->arena, fmt, ap)};
    va_end(ap);
    *reading->cautions_end = c;
    reading->cautions_end = &c->next;
    reading->n_cautions++;
}

static void check_clock(struct record_reading *r, int64_t now_us)
{
    char taken[INSTANT_TEXT_MAX], now[INSTANT_TEXT_MAX];

    if (r->taken_us < CLOCK_RESET_US)
        record_caution_add(r, "clock", -1,
            "taken at %s, before 2000: an instrument's clock may have been "
            "reset",
            instant_text(r->taken_us, r->taken_offset_min, taken));
    if (r->taken_us <= now_us + CLOCK_SLACK_US)
        return;
    record_caution_add(r, "clock", -1,
        "taken at %s, which is ahead of this service's clock (%s)",
        instant_text(r->taken_us, r->taken_offset_min, taken),
        instant_text(now_us / 1000000 * 1000000, r->taken_offset_min, now));
}

static struct optics_vector repeat_vector(const struct record_repeat *repeat)
{
    return optics_vector_of(optics_power_of_rx(repeat->power));
}

/* Sum of the squared distances of the repeats from their mean. */
static double squares(const struct record_reading_eye *eye)
{
    double n = (double)eye->n_repeats;

    return eye->mean.sd_total * eye->mean.sd_total * (n - 1);
}

/*
 * A repeat is judged against the others alone: taking one of n away, their
 * mean lies n/(n-1) times as far from it as the mean of all, and their
 * squares are less by n/(n-1) times its squared distance.
 */
static void check_outliers(struct record_reading *r, int side)
{
    const struct record_reading_eye *eye = &r->eyes[side];
    double n = (double)eye->n_repeats;

    if (eye->n_repeats < 3)
        return;
    for (size_t i = 0; i < eye->n_repeats; i++) {
        double off = optics_vector_blur(optics_vector_difference(
            repeat_vector(&eye->repeats[i]), eye->mean.mean));
        double left = squares(eye) - off * off * n / (n - 1);
        double spread = left > 0 ? sqrt(left / (n - 2)) : 0;

        off *= n / (n - 1);
        if (off > OUTLIER_D && off > 3 * spread)
            record_caution_add(r, "outlier-repeat", side,
                "repeat %zu lies %.2f D from the mean of the others", i + 1,
                off);
    }
}

static void check_representative(struct record_reading *r, int side)
{
    const struct record_reading_eye *eye = &r->eyes[side];
    double off;

    if (eye->n_repeats < 2 || eye->sent.sph_cd == NUM_ABSENT)
        return;
    off = optics_vector_blur(optics_vector_difference(
        optics_vector_of(optics_power_of_rx(record_power_from(eye->sent))),
        eye->mean.mean));
    if (off > REPRESENTATIVE_D)
        record_caution_add(r, "representative-off-mean", side,
            "the representative power lies %.2f D from the mean of the repeats",
            off);
}

/* What instruments of a kind can measure, hundredths of a dioptre. */
static const struct {
    enum record_kind kind;
    int32_t low_cd, high_cd, cyl_cd;
} REACH[] = {
    {RECORD_AUTOREFRACTION, -3000, 2500, 1200},
    {RECORD_LENSOMETRY, -2500, 2500, 1000},
};

static void check_reach(struct record_reading *r, int side)
{
    const struct record_reading_eye *eye = &r->eyes[side];

    for (size_t i = 0; i < ARRAY_LEN(REACH); i++) {
        int32_t sph = eye->power.sph_cd, other = sph + eye->power.cyl_cd;

        if (REACH[i].kind != r->kind || eye->source == RECORD_FROM_NOTHING)
            continue;
        if (sph > REACH[i].high_cd || other < REACH[i].low_cd ||
            -eye->power.cyl_cd > REACH[i].cyl_cd)
            record_caution_add(r, "beyond-range", side,
                "beyond what %s commonly reaches (%+.2f to %+.2f D, cylinder "
                "%.2f)",
                RECORD_KIND_WORDS[r->kind], REACH[i].low_cd / 100.0,
                REACH[i].high_cd / 100.0, REACH[i].cyl_cd / 100.0);
    }
}

static void check_vertex(struct record_reading *r, int side)
{
    const struct record_reading_eye *eye = &r->eyes[side];

    if (r->kind == RECORD_LENSOMETRY || r->vertex_mm100 != NUM_ABSENT ||
        eye->source == RECORD_FROM_NOTHING ||
        record_power_strength(eye->power) < STRONG_CD)
        return;
    record_caution_add(r, "vertex-missing", side,
        "a meridian has 5.00 D or more and no vertex distance is given, so "
        "the power can't be brought to another one");
}

/* Axis 0 beside no cylinder is how instruments say that there is none. */
static bool drops_axis(struct record_sent sent)
{
    return sent.cyl_cd == 0 && sent.axis_cdeg != NUM_ABSENT &&
           sent.axis_cdeg != 0;
}

static bool lost_cylinder(struct record_sent sent)
{
    return sent.cyl_cd == NUM_ABSENT && sent.axis_cdeg != NUM_ABSENT;
}

static bool any_sent(const struct record_reading_eye *eye,
    bool (*holds)(struct record_sent sent))
{
    bool any = holds(eye->sent);

    for (size_t i = 0; i < eye->n_repeats; i++)
        any = any || holds(eye->repeats[i].sent);
    return any;
}

static void check_axis(struct record_reading *r, int side)
{
    if (any_sent(&r->eyes[side], drops_axis))
        record_caution_add(r, "axis-dropped", side,
            "an axis stood beside a cylinder of 0.00 and was dropped");
    if (any_sent(&r->eyes[side], lost_cylinder))
        record_caution_add(r, "cylinder-missing", side,
            "an axis stood without a cylinder, which may be lost: the power "
            "is shown as a sphere alone");
}

/* 1: a plus cylinder was sent, 2: a minus one. */
static int sign_bit(struct record_sent sent)
{
    if (sent.cyl_cd == NUM_ABSENT || sent.cyl_cd == 0)
        return 0;
    return sent.cyl_cd > 0 ? 1 : 2;
}

static void check_signs(struct record_reading *r)
{
    int seen = 0;

    for (int side = 0; side < RECORD_SIDES; side++) {
        const struct record_reading_eye *eye = &r->eyes[side];

        seen |= sign_bit(eye->sent);
        for (size_t i = 0; i < eye->n_repeats; i++)
            seen |= sign_bit(eye->repeats[i].sent);
    }
    if (seen == 3)
        record_caution_add(r, "mixed-cylinder-signs", -1,
            "plus and minus cylinders stand in one reading");
}

static bool same_meridian(
    const struct record_meridian *a, const struct record_meridian *b)
{
    return a->here && b->here && a->radius_um == b->radius_um &&
           a->power_cd == b->power_cd && a->axis_cdeg == b->axis_cdeg;
}

/* Spheres are often alike; a cylinder or a cornea to the digit is not. */
static void check_alike(struct record_reading *r)
{
    const struct record_reading_eye *a = &r->eyes[RECORD_RIGHT];
    const struct record_reading_eye *b = &r->eyes[RECORD_LEFT];
    bool power = a->source && b->source && a->power.cyl_cd &&
                 optics_rx_same(a->power, b->power);
    bool cornea = same_meridian(&a->cornea.flat, &b->cornea.flat) &&
                  same_meridian(&a->cornea.steep, &b->cornea.steep);

    if (power || cornea)
        record_caution_add(
            r, "eyes-alike", -1, "right and left are equal to the last digit");
}

static void check_adds(struct record_reading *r)
{
    int32_t a = r->eyes[RECORD_RIGHT].add.power_cd;
    int32_t b = r->eyes[RECORD_LEFT].add.power_cd;

    if (a != NUM_ABSENT && b != NUM_ABSENT && a != b)
        record_caution_add(r, "adds-differ", -1,
            "the adds of right and left differ by %.2f D", abs(a - b) / 100.0);
}

static void check_pd_set(struct record_reading *r,
    const struct record_pd_set *set, const char *which)
{
    int32_t off;

    if (set->right_mm100 == NUM_ABSENT || set->left_mm100 == NUM_ABSENT ||
        set->binocular_mm100 == NUM_ABSENT)
        return;
    off = set->right_mm100 + set->left_mm100 - set->binocular_mm100;
    if (abs(off) > PD_SUM_MM100)
        record_caution_add(r, "pd-sum", -1,
            "right and left %s PD add up to %.2f mm %s the binocular one",
            which, abs(off) / 100.0, off > 0 ? "more than" : "less than");
}

static void check_meridian(struct record_reading *r, int side,
    const char *which, const struct record_meridian *m)
{
    int32_t index = r->eyes[side].cornea.index_e4;
    int32_t by_radius;

    if (!m->here || m->radius_computed || m->power_computed)
        return;
    by_radius = record_cornea_power(
        m->radius_um, index == NUM_ABSENT ? RECORD_INDEX_E4 : index);
    if (abs(by_radius - m->power_cd) > K_DISAGREE_CD)
        record_caution_add(r, "k-power-radius", side,
            "%s: radius %.2f mm makes %.2f D with index %.4f, not %.2f", which,
            m->radius_um / 1000.0, by_radius / 100.0,
            (index == NUM_ABSENT ? RECORD_INDEX_E4 : index) / 10000.0,
            m->power_cd / 100.0);
}

/* Either meridian, or both together. */
static void check_cornea_reach(
    struct record_reading *r, int side, const struct record_cornea *c)
{
    const struct record_meridian *k[] = {&c->flat, &c->steep};
    bool both = c->flat.here && c->steep.here;
    bool far = both && abs(c->steep.power_cd - c->flat.power_cd) > K_CYL_CD;

    for (size_t i = 0; i < ARRAY_LEN(k); i++)
        far = far || (k[i]->here && (k[i]->power_cd < K_LOW_CD ||
                                        k[i]->power_cd > K_HIGH_CD));
    if (far)
        record_caution_add(r, "k-beyond-range", side,
            "beyond what corneas commonly have (30.00 to 60.00 D, 8.00 D "
            "between the meridians): a meridian may be mismeasured");
}

static void check_cornea(struct record_reading *r, int side)
{
    const struct record_cornea *c = &r->eyes[side].cornea;
    double skew;

    check_meridian(r, side, "flat", &c->flat);
    check_meridian(r, side, "steep", &c->steep);
    check_cornea_reach(r, side, c);
    if (!c->flat.here || !c->steep.here)
        return;
    if (c->flat.power_cd > c->steep.power_cd ||
        c->flat.radius_um < c->steep.radius_um)
        record_caution_add(r, "k-flat-steeper", side,
            "the meridian called flat is steeper than the one called steep");
    skew = 90 - optics_axis_difference(
                    c->flat.axis_cdeg / 100.0, c->steep.axis_cdeg / 100.0);
    if (skew > K_SKEW_DEG)
        record_caution_add(r, "k-not-perpendicular", side,
            "flat and steep meridian are %.0f degrees off perpendicular", skew);
}

double record_cornea_apart(
    struct optics_vector eye, struct optics_power corneal)
{
    struct optics_power want;

    if (optics_cornea_expected(corneal, 1, -0.5, &want) != OPTICS_OK)
        return 0;
    return 2 * optics_vector_astigmatism(
                   optics_vector_difference(eye, optics_vector_of(want)));
}

double record_cornea_mismatch(struct optics_rx power, int32_t vertex_mm100,
    const struct record_cornea *cornea)
{
    struct optics_power eye = optics_power_of_rx(power), at_eye, corneal;

    if (!cornea->flat.here || !cornea->steep.here ||
        optics_cornea_astigmatism(cornea->flat.power_cd / 100.0,
            cornea->flat.axis_cdeg / 100.0, cornea->steep.power_cd / 100.0,
            &corneal) != OPTICS_OK)
        return 0;
    if (vertex_mm100 != NUM_ABSENT &&
        optics_vertex_move(eye, vertex_mm100 / 100.0, 0, &at_eye) == OPTICS_OK)
        eye = at_eye;
    return record_cornea_apart(optics_vector_of(eye), corneal);
}

static void check_mismatch(struct record_reading *r, int side)
{
    const struct record_reading_eye *eye = &r->eyes[side];
    double off;

    if (eye->source == RECORD_FROM_NOTHING || r->kind == RECORD_LENSOMETRY)
        return;
    off = record_cornea_mismatch(eye->power, r->vertex_mm100, &eye->cornea);
    if (off > RECORD_CORNEA_APART_D)
        record_caution_add(r, "cornea-mismatch", side,
            "the cylinder lies %.2f D from what the cornea lets expect", off);
}

void record_reading_caution(struct record_reading *reading, int64_t now_us)
{
    static void (*const per_eye[])(struct record_reading *, int) = {
        check_outliers, check_representative, check_reach, check_vertex,
        check_axis, check_cornea, check_mismatch};
    static void (*const whole[])(struct record_reading *) = {
        check_signs, check_alike, check_adds};

    check_clock(reading, now_us);
    for (int side = 0; side < RECORD_SIDES; side++)
        for (size_t i = 0; i < ARRAY_LEN(per_eye); i++)
            if (reading->eyes[side].here)
                per_eye[i](reading, side);
    for (size_t i = 0; i < ARRAY_LEN(whole); i++)
        whole[i](reading);
    check_pd_set(reading, &reading->pd.far, "far");
    check_pd_set(reading, &reading->pd.near, "near");
}
