#include "record/order_needs.h"

#include <stdlib.h>

#include "base/arena.h"
#include "record/order_make.h"
#include "record/power.h"

/* An order beside its Rx, with the pupil distances that hold. */
struct look {
    const struct record_order *order;
    const struct record_order_rx *rx;
    struct record_pd pd;
    enum record_use use;
};

static bool said(int32_t figure)
{
    return figure != NUM_ABSENT;
}

static bool has_design(const struct look *l, int side)
{
    (void)side;
    return l->order->lens.design != RECORD_UNSAID;
}

static bool has_material(const struct look *l, int side)
{
    (void)side;
    return l->order->lens.material != RECORD_UNSAID;
}

static bool has_index(const struct look *l, int side)
{
    (void)side;
    return said(l->order->lens.index_milli);
}

static bool has_a(const struct look *l, int side)
{
    (void)side;
    return said(l->order->frame.a_mm100);
}

static bool has_b(const struct look *l, int side)
{
    (void)side;
    return said(l->order->frame.b_mm100);
}

static bool has_dbl(const struct look *l, int side)
{
    (void)side;
    return said(l->order->frame.dbl_mm100);
}

static bool has_ed(const struct look *l, int side)
{
    (void)side;
    return said(l->order->frame.ed_mm100);
}

static bool has_lab(const struct look *l, int side)
{
    (void)side;
    return l->order->lab != NULL;
}

static bool has_add(const struct look *l, int side)
{
    return said(l->rx->figures.eyes[side].add_cd);
}

static bool has_intermediate_add(const struct look *l, int side)
{
    return said(l->rx->figures.eyes[side].intermediate_add_cd);
}

static bool has_eye_pd(const struct record_pd_set *set, int side)
{
    return said(side == RECORD_RIGHT ? set->right_mm100 : set->left_mm100);
}

static bool has_monocular_far(const struct look *l, int side)
{
    return has_eye_pd(&l->pd.far, side);
}

static bool has_far(const struct look *l, int side)
{
    return has_eye_pd(&l->pd.far, side) || said(l->pd.far.binocular_mm100);
}

static bool has_near(const struct look *l, int side)
{
    return has_eye_pd(&l->pd.near, side) || said(l->pd.near.binocular_mm100);
}

static bool has_far_or_near(const struct look *l, int side)
{
    return has_far(l, side) || has_near(l, side);
}

static bool has_height(const struct look *l, int side)
{
    return said(l->order->frame.fitting_height_mm100[side]);
}

/* Lens designs and uses as bits. */
enum {
    SV = 1 << RECORD_SINGLE_VISION,
    BI = 1 << RECORD_BIFOCAL,
    TRI = 1 << RECORD_TRIFOCAL,
    PRO = 1 << RECORD_PROGRESSIVE,
    OCC = 1 << RECORD_OCCUPATIONAL,
    SEGMENT = BI | TRI,
    VARYING = PRO | OCC,
    UNSAID = 1 << 7, /* no design yet */
    EVERY = SV | SEGMENT | VARYING | UNSAID,
};
enum {
    FAR = 1 << RECORD_USE_FAR,
    MIDDLE = 1 << RECORD_USE_MIDDLE,
    NEAR = 1 << RECORD_USE_NEAR,
    AS_SIGNED_MIDDLE = 1 << RECORD_USE_MIDDLE_SIGNED,
    AS_SIGNED_NEAR = 1 << RECORD_USE_NEAR_SIGNED,
    ANY_USE = FAR | MIDDLE | NEAR | AS_SIGNED_MIDDLE | AS_SIGNED_NEAR,
};

/*
 * What each design needs.  Single vision for distance is the design's own
 * list; the others are common practice: a segment is set by a height and the
 * near PD, a progressive power by each pupil and its height.  Eyes count where
 * a lens with a power is ordered; a balance lens needs none of it.
 */
static const struct need {
    unsigned designs, uses;
    bool eye;
    const char *pointer; /* an eye's has its word in place of %s */
    const char *field;
    bool (*here)(const struct look *look, int side);
} NEEDS[] = {
    {EVERY, ANY_USE, false, "/lens/design", "lens design", has_design},
    {EVERY, ANY_USE, false, "/lens/material", "lens material", has_material},
    {EVERY, ANY_USE, false, "/lens/index", "refractive index", has_index},
    {SEGMENT | VARYING, ANY_USE, true, "/%s/add", "add", has_add},
    {SV, NEAR, true, "/%s/add", "add", has_add},
    {TRI, ANY_USE, true, "/%s/intermediate_add", "intermediate add",
        has_intermediate_add},
    {SV, MIDDLE, true, "/%s/intermediate_add", "intermediate add",
        has_intermediate_add},
    {SV, FAR, true, "/pd_mm/%s", "far PD", has_far},
    {SEGMENT, ANY_USE, true, "/pd_mm/%s", "far PD", has_far},
    {VARYING, ANY_USE, true, "/pd_mm/%s", "monocular far PD",
        has_monocular_far},
    {SV, NEAR | AS_SIGNED_NEAR, true, "/pd_mm/near/%s", "near PD", has_near},
    {SEGMENT, ANY_USE, true, "/pd_mm/near/%s", "near PD", has_near},
    {SV, MIDDLE | AS_SIGNED_MIDDLE, true, "/pd_mm/%s", "PD", has_far_or_near},
    {EVERY, ANY_USE, false, "/frame/a_mm", "frame size A", has_a},
    {EVERY, ANY_USE, false, "/frame/b_mm", "frame size B", has_b},
    {EVERY, ANY_USE, false, "/frame/dbl_mm", "frame size DBL", has_dbl},
    {EVERY, ANY_USE, false, "/frame/ed_mm", "frame size ED", has_ed},
    {SEGMENT, ANY_USE, true, "/frame/fitting_height_mm/%s",
        "segment height (fitting height)", has_height},
    {VARYING, ANY_USE, true, "/frame/fitting_height_mm/%s", "fitting height",
        has_height},
    {EVERY, ANY_USE, false, "/lab", "lab", has_lab},
};

static bool has_vertex(const struct look *l, int side)
{
    (void)side;
    return said(l->rx->figures.vertex_mm100);
}

static bool has_worn_vertex(const struct look *l, int side)
{
    (void)side;
    return said(l->order->frame.worn_vertex_mm100);
}

static bool has_tilt(const struct look *l, int side)
{
    (void)side;
    return said(l->order->frame.tilt_cdeg);
}

static bool has_wrap(const struct look *l, int side)
{
    (void)side;
    return said(l->order->frame.wrap_cdeg);
}

static bool has_worn_power(const struct look *l, int side)
{
    struct optics_power power;

    return !has_index(l, side) ||
           record_order_worn_power(l->order, l->rx, side, &power);
}

/* What a compensated power needs beside its design. */
static const struct need COMPENSATED[] = {
    {EVERY, ANY_USE, false, "/vertex_mm", "vertex distance of the powers",
        has_vertex},
    {EVERY, ANY_USE, false, "/frame/worn_vertex_mm", "worn vertex distance",
        has_worn_vertex},
    {EVERY, ANY_USE, false, "/frame/tilt_deg", "tilt", has_tilt},
    {EVERY, ANY_USE, false, "/frame/wrap_deg", "wrap", has_wrap},
    {EVERY, ANY_USE, true, "/%s/sphere", "power that can be worn so",
        has_worn_power},
};

static struct look look_at(
    const struct record_order *order, const struct record_order_rx *rx)
{
    return (struct look){.order = order,
        .rx = rx,
        .pd = record_order_pd(order, rx),
        .use = record_order_use(order, rx)};
}

/* "progressive lenses" */
static const char *lenses(const struct look *l, struct arena *arena)
{
    if (l->order->lens.design == RECORD_UNSAID)
        return "an order";
    return arena_printf(
        arena, "%s lenses", RECORD_DESIGNS[l->order->lens.design]);
}

static struct record_gap eye_gap(const struct look *l, const struct need *need,
    enum record_side side, struct arena *arena)
{
    const char *word = record_side_word(side);
    TEXT_AUTO pointer = {0};

    for (const char *p = need->pointer; *p; p++) {
        if (*p == '%') {
            text_puts(&pointer, word);
            p++;
        } else {
            text_putc(&pointer, *p);
        }
    }
    return (struct record_gap){.pointer = arena_strdup(arena, pointer.data),
        .field = need->field,
        .side = side,
        .detail = arena_printf(arena, "%s need the %s of the %s eye",
            lenses(l, arena), need->field, word)};
}

/* Which eyes an order is about can itself be wrong. */
static size_t nothing_to_make(const struct look *l, struct record_gap *ret)
{
    if (record_order_makes(l->order, l->rx, RECORD_RIGHT) ||
        record_order_makes(l->order, l->rx, RECORD_LEFT))
        return 0;
    *ret = (struct record_gap){.side = l->order->only, .field = "lens"};
    if (l->order->only == RECORD_BOTH) {
        ret->pointer = "/right";
        ret->detail = "the Rx has a lens for neither eye";
    } else {
        ret->pointer = "/only";
        ret->detail = "the Rx has no lens for that eye";
    }
    return 1;
}

static size_t add_gaps(const struct look *l, const struct need *need,
    struct arena *arena, struct record_gap *ret)
{
    size_t n = 0;

    if (!need->eye) {
        if (!need->here(l, RECORD_BOTH))
            ret[n++] = (struct record_gap){.pointer = need->pointer,
                .field = need->field,
                .side = RECORD_BOTH,
                .detail =
                    arena_printf(arena, "an order needs the %s", need->field)};
        return n;
    }
    for (int side = 0; side < 2; side++)
        if (record_order_makes_power(l->order, l->rx, side) &&
            !need->here(l, side))
            ret[n++] = eye_gap(l, need, (enum record_side)side, arena);
    return n;
}

size_t record_order_gaps(const struct record_order *order,
    const struct record_order_rx *rx, struct arena *arena,
    struct record_gap ret[RECORD_GAPS_MAX])
{
    struct look l = look_at(order, rx);
    unsigned design = order->lens.design == RECORD_UNSAID
                          ? (unsigned)UNSAID
                          : 1U << order->lens.design;
    size_t n = nothing_to_make(&l, ret);

    for (size_t i = 0; i < ARRAY_LEN(NEEDS); i++)
        if (NEEDS[i].designs & design && NEEDS[i].uses & 1U << l.use)
            n += add_gaps(&l, &NEEDS[i], arena, &ret[n]);
    for (size_t i = 0;
         order->make == RECORD_MAKE_COMPENSATED && i < ARRAY_LEN(COMPENSATED);
         i++)
        n += add_gaps(&l, &COMPENSATED[i], arena, &ret[n]);
    return n;
}

/* ---- cautions --------------------------------------------------------- */

struct list {
    struct record_order_caution *of;
    size_t n;
    struct arena *arena;
};

static void add(struct list *list, const char *code, enum record_side side,
    const char *text)
{
    if (list->n < RECORD_ORDER_CAUTIONS_MAX)
        list->of[list->n++] = (struct record_order_caution){code, side, text};
}

/* "+1.50", "-0.25", "plano" */
static const char *signed_power(struct arena *arena, int32_t power_cd)
{
    char text[NUM_TEXT_MAX];

    if (power_cd == 0)
        return "plano";
    return arena_printf(
        arena, "%s%s", power_cd > 0 ? "+" : "", num_text(power_cd, 2, text));
}

/* "sphere +0.50, cylinder -0.75, axis 005" */
static const char *whole_power(struct arena *arena, struct optics_rx rx)
{
    const char *sphere = signed_power(arena, rx.sph_cd);

    if (rx.cyl_cd == 0)
        return arena_printf(arena, "sphere %s, no cylinder", sphere);
    return arena_printf(arena, "sphere %s, cylinder %s, axis %03d", sphere,
        signed_power(arena, rx.cyl_cd), (int)(rx.axis_cdeg / 100));
}

static const char *length(struct arena *arena, int32_t mm100)
{
    char text[NUM_TEXT_MAX];

    return arena_printf(arena, "%s mm", num_text(mm100, 2, text));
}

static void doubt_adds(const struct look *l, struct list *list)
{
    const struct record_eye *eyes = l->rx->figures.eyes;
    int32_t right_cd = eyes[RECORD_RIGHT].add_cd;
    int32_t left_cd = eyes[RECORD_LEFT].add_cd;
    bool right = record_order_makes_power(l->order, l->rx, RECORD_RIGHT);
    bool left = record_order_makes_power(l->order, l->rx, RECORD_LEFT);
    bool both = right && left && said(right_cd) && said(left_cd);
    char by[NUM_TEXT_MAX];

    if (l->order->lens.design == RECORD_SINGLE_VISION &&
        l->use == RECORD_USE_FAR) {
        if ((right && said(right_cd)) || (left && said(left_cd)))
            add(list, "add-not-made", RECORD_BOTH,
                "the Rx has an add, which single-vision lenses for distance "
                "do not hold");
    } else if (both && right_cd != left_cd) {
        add(list, "adds-differ", RECORD_BOTH,
            arena_printf(list->arena,
                "the adds differ by %s D: right %s, left %s; an imbalance at "
                "reading is not computed from them",
                num_text(abs(right_cd - left_cd), 2, by),
                signed_power(list->arena, right_cd),
                signed_power(list->arena, left_cd)));
    }
}

static void doubt_use(const struct look *l, struct list *list)
{
    struct record_order as_signed = {.lens = l->order->lens};

    for (int side = 0; side < 2; side++) {
        struct optics_rx rx;

        if (l->order->make == RECORD_MAKE_COMPENSATED ||
            !record_order_near_power(l->order, l->rx, side, &rx))
            continue;
        rx = record_written_as(rx, l->order->form);
        add(list, "make-sum", (enum record_side)side,
            arena_printf(list->arena,
                "%s eye, make this one: %s; it is the signed power with its "
                "add",
                record_side_word((enum record_side)side),
                whole_power(list->arena, rx)));
    }
    if (l->use == RECORD_USE_FAR &&
        record_order_use(&as_signed, l->rx) != RECORD_USE_FAR)
        add(list, "purpose-differs", RECORD_BOTH,
            arena_printf(list->arena,
                "the Rx is for the purpose \"%s\", the order for \"%s\"",
                l->rx->purpose, l->order->purpose));
}

/* From this power on a vertex matters (the usual rule of 4 to 5 D; the same
 * that signing takes). */
#define STRONG_CD 500

static const char *degrees(struct arena *arena, int32_t cdeg)
{
    char text[NUM_TEXT_MAX];

    return arena_strdup(arena, num_trim(cdeg / 100.0, 2, text));
}

/* A compensated power never stands without these words. */
static void tell_compensated(const struct look *l, struct list *list)
{
    const struct record_order_frame *frame = &l->order->frame;
    bool told = said(l->rx->figures.vertex_mm100) &&
                said(frame->worn_vertex_mm100) && said(frame->tilt_cdeg) &&
                said(frame->wrap_cdeg);

    for (int side = 0; told && side < 2; side++) {
        struct optics_rx rx;

        if (!record_order_compensated(l->order, l->rx, side, &rx))
            continue;
        rx = record_written_as(rx, l->order->form);
        add(list, "make-compensated", (enum record_side)side,
            arena_printf(list->arena,
                "%s eye, make this one: %s; worn at %s, tilt %s and wrap %s "
                "degrees it acts as the power that was signed for %s",
                record_side_word((enum record_side)side),
                whole_power(list->arena, rx),
                length(list->arena, frame->worn_vertex_mm100),
                degrees(list->arena, frame->tilt_cdeg),
                degrees(list->arena, frame->wrap_cdeg),
                length(list->arena, l->rx->figures.vertex_mm100)));
    }
}

static void doubt_frame(const struct look *l, struct list *list)
{
    const struct record_order_frame *frame = &l->order->frame;
    int32_t vertex = l->rx->figures.vertex_mm100;

    if (l->order->make != RECORD_MAKE_COMPENSATED &&
        said(frame->worn_vertex_mm100) && said(vertex) &&
        frame->worn_vertex_mm100 != vertex &&
        record_refraction_strength(&l->rx->figures) >= STRONG_CD)
        add(list, "vertex-differs", RECORD_BOTH,
            arena_printf(list->arena,
                "the powers refer to a vertex of %s and the glasses sit at %s; "
                "nothing was converted",
                length(list->arena, vertex),
                length(list->arena, frame->worn_vertex_mm100)));
    if (said(frame->ed_mm100) && said(frame->a_mm100) &&
        frame->ed_mm100 < frame->a_mm100)
        add(list, "ed-under-a", RECORD_BOTH,
            "the frame's ED is less than its A, which no shape has");
}

/* A millimetre: more than the two ways of measuring differ (common
 * practice). */
#define PD_APART_MM100 100

static void doubt_pd(
    const struct record_pd_set *set, const char *which, struct list *list)
{
    int32_t sum;

    if (!said(set->right_mm100) || !said(set->left_mm100) ||
        !said(set->binocular_mm100))
        return;
    sum = set->right_mm100 + set->left_mm100;
    if (abs(sum - set->binocular_mm100) > PD_APART_MM100)
        add(list, "pd-sum-differs", RECORD_BOTH,
            arena_printf(list->arena,
                "the %s PD of the eyes adds up to %s, and %s is given for both",
                which, length(list->arena, sum),
                length(list->arena, set->binocular_mm100)));
}

size_t record_order_cautions(const struct record_order *order,
    const struct record_order_rx *rx, struct arena *arena,
    struct record_order_caution ret[RECORD_ORDER_CAUTIONS_MAX])
{
    struct look l = look_at(order, rx);
    struct list list = {.of = ret, .arena = arena};

    doubt_adds(&l, &list);
    doubt_use(&l, &list);
    tell_compensated(&l, &list);
    doubt_frame(&l, &list);
    doubt_pd(&l.pd.far, "far", &list);
    doubt_pd(&l.pd.near, "near", &list);
    return list.n;
}
