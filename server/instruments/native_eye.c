#include "instruments/native_eye.h"

#include "base/arena.h"
#include "base/num.h"
#include "record/eye.h"

#define KIND NATIVE_KIND
#define KINDS_POWER                                                            \
    (KIND(AUTOREFRACTION) | KIND(LENSOMETRY) | KIND(SUBJECTIVE) |              \
        KIND(RETINOSCOPY) | KIND(OVER_REFRACTION))
#define KINDS_NEAR (KIND(LENSOMETRY) | KIND(SUBJECTIVE) | KIND(OVER_REFRACTION))
#define KINDS_SEEN (KINDS_POWER & ~KIND(LENSOMETRY))
#define KINDS_TYPED                                                            \
    (KIND(SUBJECTIVE) | KIND(RETINOSCOPY) | KIND(OVER_REFRACTION))

/* figure: can't stand beside a lens that isn't a power */
static const struct {
    const char *name;
    unsigned kinds;
    bool figure;
} FIELDS[] = {
    {"lens", NATIVE_KINDS_ALL, false},
    {"sphere", KINDS_POWER, true},
    {"cylinder", KINDS_POWER, true},
    {"axis", KINDS_POWER | KIND(KERATOMETRY), true},
    {"representative", KINDS_POWER, true},
    {"repeats", KINDS_POWER, true},
    {"add", KINDS_NEAR, true},
    {"add_distance_mm", KINDS_NEAR, true},
    {"near_total", KINDS_NEAR, true},
    {"near", KINDS_NEAR, true},
    {"intermediate_add", KINDS_NEAR, true},
    {"intermediate_add_distance_mm", KINDS_NEAR, true},
    {"second_add", KINDS_NEAR, true},
    {"second_add_distance_mm", KINDS_NEAR, true},
    {"prism", KINDS_NEAR, true},
    {"near_prism", KINDS_NEAR, true},
    {"acuity", KINDS_SEEN | KIND(ACUITY), false},
    {"near_acuity", KINDS_SEEN | KIND(ACUITY), false},
    {"keratometry", KIND(AUTOREFRACTION) | KIND(SUBJECTIVE), false},
    {"pupil_mm", KIND(AUTOREFRACTION) | KIND(KERATOMETRY), false},
    {"cornea_mm", KIND(AUTOREFRACTION) | KIND(KERATOMETRY), false},
    {"lens_type", KIND(LENSOMETRY), true},
    {"transmittance_percent", KIND(LENSOMETRY), true},
    {"channel_mm", KIND(LENSOMETRY), true},
    {"flat", KIND(KERATOMETRY), true},
    {"steep", KIND(KERATOMETRY), true},
    {"index", KIND(KERATOMETRY), true},
};

void native_text(
    struct json_in in, const char *name, size_t max, const char **ret)
{
    const char *text;

    if (json_in_text(json_in_get(in, name), max, &text))
        *ret = arena_strdup(in.err->arena, text);
}

void native_line(
    struct json_in in, const char *name, size_t max, const char **ret)
{
    json_in_line(json_in_get(in, name), max, ret);
}

void native_lens_type(struct json_in in, const char **ret)
{
    int i;

    if (json_in_choice(json_in_get(in, "lens_type"), RECORD_LENS_TYPES, &i))
        *ret = RECORD_LENS_TYPES[i];
}

static void check_fields(struct json_in in, unsigned kinds)
{
    const char *names[ARRAY_LEN(FIELDS) + 1];
    size_t n = 0;

    for (size_t i = 0; i < ARRAY_LEN(FIELDS); i++)
        if (FIELDS[i].kinds & kinds)
            names[n++] = FIELDS[i].name;
    names[n] = NULL;
    json_in_object(in, names);
}

static void refuse_figures(struct json_in in, enum record_lens lens)
{
    for (size_t i = 0; i < ARRAY_LEN(FIELDS); i++) {
        struct json_in at = json_in_get(in, FIELDS[i].name);

        if (FIELDS[i].figure && json_in_here(at))
            err_fault(in.err, at.pointer, "can't stand beside the lens \"%s\"",
                RECORD_LENS_WORDS[lens]);
    }
}

/* A person writes the axes of these kinds, whoever sends them. */
static enum record_axis axis_of(unsigned kinds)
{
    return kinds & ~KINDS_TYPED ? RECORD_AXIS_INSTRUMENT : RECORD_AXIS_PERSON;
}

/* An object of a power alone. */
static void read_power(
    struct json_in in, enum record_axis axis, struct record_sent *sent)
{
    static const char *const names[] = {"sphere", "cylinder", "axis", NULL};

    if (json_in_object(in, names) || json_is_object(in.value))
        record_sent_read(in, axis, sent);
}

static void read_repeat(
    struct json_in in, enum record_axis axis, struct record_repeat *repeat)
{
    static const char *const names[] = {
        "sphere", "cylinder", "axis", "confidence", NULL};
    static const double range[] = {0, 100};

    repeat->confidence_e2 = NUM_ABSENT;
    if (!json_is_object(in.value)) {
        err_fault(in.err, in.pointer, "must be an object");
        return;
    }
    json_in_object(in, names);
    record_sent_read(in, axis, &repeat->sent);
    json_in_scaled(
        json_in_get(in, "confidence"), 2, range, &repeat->confidence_e2);
}

static void read_repeats(
    struct json_in in, enum record_axis axis, struct record_reading_eye *eye)
{
    size_t n;

    if (!json_in_array(in, 0, 100, &n))
        return;
    eye->n_repeats = n;
    eye->repeats = arena_calloc(in.err->arena, n, sizeof(*eye->repeats));
    for (size_t i = 0; i < n; i++)
        read_repeat(json_in_item(in, i), axis, &eye->repeats[i]);
}

static bool any_here(struct json_in in, const char *const *names)
{
    for (; *names; names++)
        if (json_in_here(json_in_get(in, *names)))
            return true;
    return false;
}

static void read_powers(
    struct json_in in, unsigned kinds, struct record_reading_eye *eye)
{
    static const char *const own[] = {"sphere", "cylinder", "axis", NULL};
    struct json_in representative = json_in_get(in, "representative");
    struct json_in repeats = json_in_get(in, "repeats");
    bool alone = any_here(in, own);

    if (alone && json_in_here(representative))
        err_fault(in.err, representative.pointer,
            "can't stand beside a power of the eye's own");
    else if (alone)
        record_sent_read(in, axis_of(kinds), &eye->sent);
    else if (json_in_here(representative))
        read_power(representative, axis_of(kinds), &eye->sent);
    read_repeats(repeats, axis_of(kinds), eye);
    if (!alone && !json_in_here(representative) &&
        (!json_in_here(repeats) || json_array_size(repeats.value) == 0))
        err_fault(in.err, in.pointer,
            "holds no power: sphere, representative or repeats");
}

/* An addition and, under its name with _distance_mm, what it is for. */
static void read_add(
    struct json_in in, const char *name, struct record_add *add)
{
    static const double range_mm[] = {100, 10000};
    struct json_in at =
        json_in_get(in, arena_printf(in.err->arena, "%s_distance_mm", name));

    record_add_read(json_in_get(in, name), &add->power_cd);
    json_in_scaled(at, 0, range_mm, &add->at_mm);
    if (json_in_here(at) && !json_in_here(json_in_get(in, name)))
        err_fault(in.err, at.pointer, "needs \"%s\" beside it", name);
}

/* A near power as a whole: what the near sphere has more than the far one. */
static void read_near_total(struct json_in in, struct record_reading_eye *eye)
{
    static const double range[] = {-40, 60};
    struct json_in at = json_in_get(in, "near_total");
    char buf[NUM_TEXT_MAX];
    int32_t add;

    if (!json_in_scaled(at, 2, range, &eye->near_total_cd))
        return;
    if (json_in_here(json_in_get(in, "add"))) {
        err_fault(in.err, at.pointer, "can't stand beside an add");
        return;
    }
    if (eye->sent.sph_cd == NUM_ABSENT) {
        err_fault(in.err, at.pointer,
            "needs a distance power of the eye's own to make an add");
        return;
    }
    add = eye->near_total_cd - eye->sent.sph_cd;
    if (add < RECORD_ADD_MIN_CD || add > RECORD_ADD_MAX_CD)
        err_fault(in.err, at.pointer,
            "makes an add of %s D, outside 0.25 to 20.00",
            num_text(add, 2, buf));
    else
        eye->add.power_cd = add;
}

static void read_near(struct json_in in, struct record_reading_eye *eye)
{
    struct json_in unclear = json_in_get(in, "near");

    if (json_in_here(unclear))
        err_fault(in.err, unclear.pointer,
            "doesn't say whether it is an add or a total; give add or "
            "near_total");
    read_add(in, "add", &eye->add);
    read_add(in, "intermediate_add", &eye->intermediate_add);
    read_add(in, "second_add", &eye->second_add);
    read_near_total(in, eye);
}

static void read_widths(struct json_in in, struct record_reading_eye *eye)
{
    static const double pupil[] = {0.5, 12}, cornea[] = {5, 18};
    static const double percent[] = {0, 100}, channel[] = {1, 40};

    json_in_scaled(json_in_get(in, "pupil_mm"), 2, pupil, &eye->pupil_mm100);
    json_in_scaled(json_in_get(in, "cornea_mm"), 2, cornea, &eye->cornea_mm100);
    json_in_scaled(json_in_get(in, "transmittance_percent"), 2, percent,
        &eye->transmittance_e2);
    json_in_scaled(
        json_in_get(in, "channel_mm"), 2, channel, &eye->channel_mm100);
}

/* A cornea: the eye's own members in keratometry, else an object. */
static void read_cornea(struct json_in in, struct record_reading_eye *eye)
{
    record_cornea_read(in, &eye->cornea);
    if (!json_in_here(json_in_get(in, "flat")) &&
        !json_in_here(json_in_get(in, "steep")))
        err_fault(in.err, in.pointer, "must have one of flat and steep");
}

static void read_keratometry(struct json_in in, struct record_reading_eye *eye)
{
    static const char *const names[] = {"flat", "steep", "index", NULL};
    struct json_in at = json_in_get(in, "keratometry");

    if (json_in_here(at) &&
        (json_in_object(at, names) || json_is_object(at.value)))
        read_cornea(at, eye);
}

static void read_refraction(struct json_in in, unsigned kinds,
    enum record_side side, struct record_reading_eye *eye)
{
    read_powers(in, kinds, eye);
    read_near(in, eye);
    record_prism_read(json_in_get(in, "prism"), side, &eye->prism);
    record_prism_read(json_in_get(in, "near_prism"), side, &eye->near_prism);
    native_lens_type(in, &eye->lens_type);
}

static void read_meridians(struct json_in in, struct record_reading_eye *eye)
{
    struct json_in axis = json_in_get(in, "axis");

    if (json_in_here(axis))
        err_fault(in.err, axis.pointer,
            "must be labelled: it belongs in flat or in steep");
    read_cornea(in, eye);
}

/* Of no known kind: whatever figures are there. */
static void read_any(
    struct json_in in, enum record_side side, struct record_reading_eye *eye)
{
    static const char *const refraction[] = {"sphere", "cylinder",
        "representative", "repeats", "add", "intermediate_add", "second_add",
        "near_total", "near", "prism", "near_prism", "lens_type", NULL};
    static const char *const cornea[] = {"flat", "steep", NULL};

    if (any_here(in, refraction))
        read_refraction(in, NATIVE_KINDS_ALL, side, eye);
    if (any_here(in, cornea))
        read_cornea(in, eye);
}

static void read_figures(struct json_in in, unsigned kinds,
    enum record_side side, struct record_reading_eye *eye)
{
    if (kinds == NATIVE_KINDS_ALL)
        read_any(in, side, eye);
    else if (kinds & KIND(KERATOMETRY))
        read_meridians(in, eye);
    else if (kinds & KINDS_POWER)
        read_refraction(in, kinds, side, eye);
    read_widths(in, eye);
}

void native_eye_read(struct json_in in, struct record_reading *reading,
    enum record_side side, unsigned kinds)
{
    struct record_reading_eye *eye = &reading->eyes[side];
    struct json_in acuity = json_in_get(in, "acuity");
    struct json_in near_acuity = json_in_get(in, "near_acuity");
    int lens = RECORD_LENS_POWER;

    if (!json_is_object(in.value)) {
        err_fault(in.err, in.pointer, "must be an object");
        return;
    }
    eye->here = true;
    check_fields(in, kinds);
    json_in_choice(json_in_get(in, "lens"), RECORD_LENS_WORDS, &lens);
    eye->lens = (enum record_lens)lens;
    if (eye->lens == RECORD_LENS_POWER)
        read_figures(in, kinds, side, eye);
    else
        refuse_figures(in, eye->lens);
    record_acuity_read(acuity, &eye->acuity);
    record_acuity_read(near_acuity, &eye->near_acuity);
    read_keratometry(in, eye);
    if (kinds == KIND(ACUITY) && !json_in_here(acuity) &&
        !json_in_here(near_acuity))
        err_fault(in.err, in.pointer, "must have acuity or near_acuity");
}
