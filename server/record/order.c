#include "record/order.h"

#include <string.h>

#include "base/arena.h"
#include "optics/round.h"

const char *const RECORD_DESIGNS[] = {"single-vision", "bifocal", "trifocal",
    "progressive", "occupational", NULL};
const char *const RECORD_MATERIALS[] = {
    "resin", "polycarbonate", "polyurethane", "mineral", NULL};
const char *const RECORD_SUPPLIES[] = {
    "enclosed", "to-follow", "lab", "uncut", NULL};
const char *const RECORD_MAKE_CHOICES[] = {"signed", "compensated", NULL};
const char *const RECORD_PRIORITIES[] = {
    "routine", "urgent", "asap", "stat", NULL};

const char *const RECORD_ORDER_FIELDS[] = {"lens", "frame", "lab", "pair",
    "only", "purpose", "priority", "make_power", "deliver_to", "previous",
    "pd_mm", "notes", NULL};

#define TEXT_MAX 120  /* characters of a field on paper */
#define WORD_MAX 40   /* of one treatment */
#define NOTES_MAX 400 /* of all notes */

/* Copied, because the document goes before the order does. */
static const char *read_text(struct json_in in, size_t max)
{
    const char *text = NULL;

    if (!json_in_text(in, max, &text))
        return NULL;
    return arena_strdup(in.err->arena, text);
}

static int read_word(struct json_in in, const char *const words[])
{
    int word = RECORD_UNSAID;

    json_in_choice(in, words, &word);
    return word;
}

static const char *read_purpose(struct json_in in)
{
    int word = read_word(json_in_get(in, "purpose"), RECORD_PURPOSES);

    return word == RECORD_UNSAID ? NULL : RECORD_PURPOSES[word];
}

static const char *read_id(struct json_in in)
{
    const char *id = NULL;

    json_in_uuid(in, &id);
    return id;
}

static void read_treatments(struct json_in in, struct record_order_lens *lens)
{
    size_t n;

    if (!json_in_array(in, 0, RECORD_TREATMENTS_MAX, &n))
        return;
    for (size_t i = 0; i < n; i++) {
        struct json_in item = json_in_item(in, i);
        const char *text;

        if (!json_in_need(item))
            continue;
        text = read_text(item, WORD_MAX);
        if (text)
            lens->treatments[lens->n_treatments++] = text;
    }
}

static void read_lens(struct json_in in, struct record_order_lens *lens)
{
    static const char *const names[] = {
        "design", "material", "index", "treatments", "tint", NULL};
    static const double index_range[] = {1.4, 2.0};

    if (!json_in_object(in, names) && !json_is_object(in.value))
        return;
    lens->design = read_word(json_in_get(in, "design"), RECORD_DESIGNS);
    lens->material = read_word(json_in_get(in, "material"), RECORD_MATERIALS);
    json_in_scaled(
        json_in_get(in, "index"), 3, index_range, &lens->index_milli);
    read_treatments(json_in_get(in, "treatments"), lens);
    lens->tint = read_text(json_in_get(in, "tint"), TEXT_MAX);
}

/* Lengths and angles of a frame, with what they may be (chosen by us: wider
 * than frames for children and for adults are made). */
static const struct {
    const char *name;
    size_t at;
    double range[2];
} FRAME[] = {
    {"a_mm", offsetof(struct record_order_frame, a_mm100), {20, 90}},
    {"b_mm", offsetof(struct record_order_frame, b_mm100), {10, 80}},
    {"dbl_mm", offsetof(struct record_order_frame, dbl_mm100), {5, 40}},
    {"ed_mm", offsetof(struct record_order_frame, ed_mm100), {20, 100}},
    {"worn_vertex_mm", offsetof(struct record_order_frame, worn_vertex_mm100),
        {0, 30}},
    {"tilt_deg", offsetof(struct record_order_frame, tilt_cdeg), {-20, 40}},
    {"wrap_deg", offsetof(struct record_order_frame, wrap_cdeg), {-20, 45}},
};

static int32_t *frame_figure(struct record_order_frame *frame, size_t i)
{
    return (int32_t *)(void *)((char *)frame + FRAME[i].at);
}

static int32_t frame_value(const struct record_order_frame *frame, size_t i)
{
    return *(const int32_t *)(const void *)((const char *)frame + FRAME[i].at);
}

static void read_heights(struct json_in in, struct record_order_frame *frame)
{
    static const char *const names[] = {"right", "left", NULL};
    static const double range[] = {2, 60};

    if (!json_in_object(in, names) && !json_is_object(in.value))
        return;
    for (int side = 0; side < 2; side++) {
        struct json_in at = json_in_get(in, names[side]);

        if (!json_in_scaled(at, 2, range, &frame->fitting_height_mm100[side]))
            continue;
        if (frame->b_mm100 != NUM_ABSENT &&
            frame->fitting_height_mm100[side] > frame->b_mm100)
            err_fault(in.err, at.pointer,
                "must not be above the frame's height b_mm");
    }
}

static void read_frame(struct json_in in, struct record_order_frame *frame)
{
    static const char *const names[] = {"a_mm", "b_mm", "dbl_mm", "ed_mm",
        "fitting_height_mm", "worn_vertex_mm", "tilt_deg", "wrap_deg", "supply",
        NULL};

    if (!json_in_object(in, names) && !json_is_object(in.value))
        return;
    for (size_t i = 0; i < ARRAY_LEN(FRAME); i++)
        json_in_scaled(json_in_get(in, FRAME[i].name), 2, FRAME[i].range,
            frame_figure(frame, i));
    read_heights(json_in_get(in, "fitting_height_mm"), frame);
    frame->supply = read_word(json_in_get(in, "supply"), RECORD_SUPPLIES);
}

/* "only" names the one lens that is ordered; "pair" says the same: true or
 * "both", false beside "only", or the eye itself. */
static void read_only(struct json_in in, struct record_order *order)
{
    static const char *const words[] = {"right", "left", NULL};
    static const char *const sides[] = {"right", "left", "both", NULL};
    struct json_in pair_in = json_in_get(in, "pair");
    struct json_in only_in = json_in_get(in, "only");
    bool alone = json_in_here(only_in), pair = !alone;
    int only = RECORD_BOTH, side;

    if (json_in_choice(only_in, words, &only))
        order->only = only == 0 ? RECORD_RIGHT : RECORD_LEFT;
    if (json_is_string(pair_in.value)) {
        if (!json_in_choice(pair_in, sides, &side))
            return;
        if (alone && side != only)
            err_fault(in.err, pair_in.pointer,
                "can't be \"%s\" beside \"only\"", sides[side]);
        else if (side < 2)
            order->only = side == 0 ? RECORD_RIGHT : RECORD_LEFT;
        return;
    }
    if (json_in_bool(pair_in, &pair) && pair == alone)
        err_fault(in.err, pair_in.pointer,
            pair
                ? "can't be true beside \"only\""
                : "can't be false without \"only\": which lens, right or left");
}

/* What placing wrote into the stored order. */
static void read_fixed(struct json_in in, struct record_order *order)
{
    static const char *const forms[] = {"minus", "plus", NULL};
    int form = OPTICS_MINUS_CYL;

    order->check_word = read_text(json_in_get(in, "check_word"), WORD_MAX);
    json_in_choice(json_in_get(in, "cylinder_form"), forms, &form);
    order->form = (enum optics_form)form;
}

static struct record_order order_none(void)
{
    return (struct record_order){.lens = {.design = RECORD_UNSAID,
                                     .material = RECORD_UNSAID,
                                     .index_milli = NUM_ABSENT},
        .frame = {.a_mm100 = NUM_ABSENT,
            .b_mm100 = NUM_ABSENT,
            .dbl_mm100 = NUM_ABSENT,
            .ed_mm100 = NUM_ABSENT,
            .fitting_height_mm100 = {NUM_ABSENT, NUM_ABSENT},
            .worn_vertex_mm100 = NUM_ABSENT,
            .tilt_cdeg = NUM_ABSENT,
            .wrap_cdeg = NUM_ABSENT,
            .supply = RECORD_UNSAID},
        .only = RECORD_BOTH,
        .priority = RECORD_UNSAID,
        .make = RECORD_UNSAID,
        .pd = RECORD_PD_NONE};
}

bool record_order_read(struct json_in in, struct record_order *ret)
{
    size_t before = in.err->n_faults;
    struct json_in pd = json_in_get(in, "pd_mm");

    *ret = order_none();
    read_lens(json_in_get(in, "lens"), &ret->lens);
    read_frame(json_in_get(in, "frame"), &ret->frame);
    read_only(in, ret);
    ret->lab = read_id(json_in_get(in, "lab"));
    ret->previous = read_id(json_in_get(in, "previous"));
    ret->purpose = read_purpose(in);
    ret->priority = read_word(json_in_get(in, "priority"), RECORD_PRIORITIES);
    ret->make = read_word(json_in_get(in, "make_power"), RECORD_MAKE_CHOICES);
    if (json_in_here(pd))
        record_pd_read(pd, &ret->pd);
    ret->deliver_to = read_text(json_in_get(in, "deliver_to"), TEXT_MAX);
    ret->notes = read_text(json_in_get(in, "notes"), NOTES_MAX);
    read_fixed(in, ret);
    return in.err->n_faults == before;
}

/* ---- written ---------------------------------------------------------- */

static void put_text(struct json_out *o, const char *key, const char *text)
{
    if (text)
        json_out_text(o, key, text);
}

static void put_word(
    struct json_out *o, const char *key, const char *const words[], int word)
{
    if (word != RECORD_UNSAID)
        json_out_text(o, key, words[word]);
}

static void put_hundredths(struct json_out *o, const char *key, int32_t value)
{
    if (value != NUM_ABSENT)
        json_out_number(o, key, value / 100.0, 2);
}

static void write_lens(struct json_out *o, const struct record_order_lens *lens)
{
    json_out_object(o, "lens");
    put_word(o, "design", RECORD_DESIGNS, lens->design);
    put_word(o, "material", RECORD_MATERIALS, lens->material);
    if (lens->index_milli != NUM_ABSENT)
        json_out_number(o, "index", lens->index_milli / 1000.0, 3);
    json_out_array(o, "treatments");
    for (size_t i = 0; i < lens->n_treatments; i++)
        json_out_text(o, NULL, lens->treatments[i]);
    json_out_array_end(o);
    put_text(o, "tint", lens->tint);
    json_out_object_end(o);
}

static void write_frame(
    struct json_out *o, const struct record_order_frame *frame)
{
    const int32_t *height = frame->fitting_height_mm100;

    json_out_object(o, "frame");
    for (size_t i = 0; i < ARRAY_LEN(FRAME); i++)
        put_hundredths(o, FRAME[i].name, frame_value(frame, i));
    if (height[0] != NUM_ABSENT || height[1] != NUM_ABSENT) {
        json_out_object(o, "fitting_height_mm");
        put_hundredths(o, "right", height[0]);
        put_hundredths(o, "left", height[1]);
        json_out_object_end(o);
    }
    put_word(o, "supply", RECORD_SUPPLIES, frame->supply);
    json_out_object_end(o);
}

void record_order_write(struct json_out *o, const struct record_order *order)
{
    write_lens(o, &order->lens);
    write_frame(o, &order->frame);
    if (order->only != RECORD_BOTH)
        json_out_text(o, "only", record_side_word(order->only));
    put_text(o, "purpose", order->purpose);
    put_word(o, "priority", RECORD_PRIORITIES, order->priority);
    put_word(o, "make_power", RECORD_MAKE_CHOICES, order->make);
    put_text(o, "deliver_to", order->deliver_to);
    put_text(o, "notes", order->notes);
}

/* ---- with the Rx ------------------------------------------------------ */

bool record_order_rx_read(struct json_in in, struct record_order_rx *ret)
{
    ret->purpose = read_purpose(in);
    return record_refraction_read(in, &ret->figures);
}

bool record_order_makes(const struct record_order *order,
    const struct record_order_rx *rx, int side)
{
    return (order->only == RECORD_BOTH || (int)order->only == side) &&
           rx->figures.here[side] &&
           rx->figures.eyes[side].lens != RECORD_LENS_NONE;
}

bool record_order_makes_power(const struct record_order *order,
    const struct record_order_rx *rx, int side)
{
    return record_order_makes(order, rx, side) &&
           rx->figures.eyes[side].lens == RECORD_LENS_POWER;
}

static int32_t first(int32_t a, int32_t b)
{
    return a != NUM_ABSENT ? a : b;
}

/* An order that gives one eye's distance speaks of this frame on this nose, so
 * a sum from elsewhere no longer holds. */
static struct record_pd_set merge_pd(
    const struct record_pd_set *own, const struct record_pd_set *rx)
{
    bool eyes = own->right_mm100 != NUM_ABSENT || own->left_mm100 != NUM_ABSENT;
    bool sum = own->binocular_mm100 != NUM_ABSENT;

    return (struct record_pd_set){
        .right_mm100 = sum && !eyes ? NUM_ABSENT
                                    : first(own->right_mm100, rx->right_mm100),
        .left_mm100 =
            sum && !eyes ? NUM_ABSENT : first(own->left_mm100, rx->left_mm100),
        .binocular_mm100 =
            eyes ? own->binocular_mm100
                 : first(own->binocular_mm100, rx->binocular_mm100)};
}

struct record_pd record_order_pd(
    const struct record_order *order, const struct record_order_rx *rx)
{
    return (struct record_pd){
        .far = merge_pd(&order->pd.far, &rx->figures.pd.far),
        .near = merge_pd(&order->pd.near, &rx->figures.pd.near)};
}

/* a + b as the trade writes it. */
static int32_t written_sum(int32_t a_cd, int32_t b_cd)
{
    int32_t a, b;

    if (optics_step_count(OPTICS_STEP_EIGHTH, a_cd, &a) &&
        optics_step_count(OPTICS_STEP_EIGHTH, b_cd, &b))
        return optics_step_written(OPTICS_STEP_EIGHTH, a + b);
    return a_cd + b_cd;
}

struct optics_rx record_written_as(struct optics_rx rx, enum optics_form form)
{
    struct optics_rx other = optics_rx_as(rx, form);

    if (rx.cyl_cd != other.cyl_cd)
        other.sph_cd = written_sum(rx.sph_cd, rx.cyl_cd);
    return other;
}

static struct record_eye_figures eye_figures(
    const struct record_eye *eye, enum optics_form form)
{
    struct record_eye_figures f = record_eye_figures_none();
    struct optics_rx rx;

    f.lens = (int32_t)eye->lens;
    if (eye->lens != RECORD_LENS_POWER)
        return f;
    rx = record_written_as(eye->power, form);
    f.sph_cd = rx.sph_cd;
    f.cyl_cd = rx.cyl_cd;
    if (rx.cyl_cd)
        f.axis_deg = rx.axis_cdeg / 100;
    f.add_cd = eye->add_cd;
    f.intermediate_add_cd = eye->intermediate_add_cd;
    if (eye->prism.here) {
        f.prism_in_cd = eye->prism.in_cd;
        f.prism_up_cd = eye->prism.up_cd;
    }
    if (eye->near_prism.here) {
        f.near_prism_in_cd = eye->near_prism.in_cd;
        f.near_prism_up_cd = eye->near_prism.up_cd;
    }
    return f;
}

struct record_figures record_order_figures(const struct record_order *order,
    const struct record_order_rx *rx, enum optics_form form)
{
    struct record_pd pd = record_order_pd(order, rx);
    const int32_t far[] = {pd.far.right_mm100, pd.far.left_mm100};
    const int32_t near[] = {pd.near.right_mm100, pd.near.left_mm100};
    struct record_figures f = {
        .eye = {record_eye_figures_none(), record_eye_figures_none()},
        .vertex_mm100 = rx->figures.vertex_mm100,
        .pd_far_mm100 = pd.far.binocular_mm100,
        .pd_near_mm100 = pd.near.binocular_mm100};

    for (int side = 0; side < 2; side++) {
        if (!record_order_makes(order, rx, side))
            continue;
        f.eye[side] = eye_figures(&rx->figures.eyes[side], form);
        f.eye[side].pd_far_mm100 = far[side];
        f.eye[side].pd_near_mm100 = near[side];
        f.eye[side].fitting_height_mm100 =
            order->frame.fitting_height_mm100[side];
    }
    return f;
}

/* ---- single-vision glasses that are not for distance -------------------- */

enum distance { FAR, MIDDLE, NEAR };

static enum distance distance_of(const char *purpose)
{
    if (purpose && strcmp(purpose, "near") == 0)
        return NEAR;
    if (purpose && (strcmp(purpose, "intermediate") == 0 ||
                       strcmp(purpose, "occupational") == 0))
        return MIDDLE;
    return FAR;
}

enum record_use record_order_use(
    const struct record_order *order, const struct record_order_rx *rx)
{
    static const enum record_use by_add[] = {
        RECORD_USE_FAR, RECORD_USE_MIDDLE, RECORD_USE_NEAR};
    static const enum record_use as_signed[] = {
        RECORD_USE_FAR, RECORD_USE_MIDDLE_SIGNED, RECORD_USE_NEAR_SIGNED};
    enum distance wanted =
        distance_of(order->purpose ? order->purpose : rx->purpose);

    if (order->lens.design != RECORD_SINGLE_VISION)
        return RECORD_USE_FAR;
    return distance_of(rx->purpose) == wanted ? as_signed[wanted]
                                              : by_add[wanted];
}

bool record_order_near_power(const struct record_order *order,
    const struct record_order_rx *rx, int side, struct optics_rx *ret)
{
    const struct record_eye *eye = &rx->figures.eyes[side];
    enum record_use use = record_order_use(order, rx);
    int32_t add_cd =
        use == RECORD_USE_NEAR ? eye->add_cd : eye->intermediate_add_cd;

    if ((use != RECORD_USE_NEAR && use != RECORD_USE_MIDDLE) ||
        !record_order_makes_power(order, rx, side) || add_cd == NUM_ABSENT)
        return false;
    *ret = eye->power;
    ret->sph_cd = written_sum(eye->power.sph_cd, add_cd);
    return true;
}
