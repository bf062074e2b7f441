#include "instruments/native.h"

#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "instruments/native_eye.h"
#include "record/reading.h"

#define KIND NATIVE_KIND
#define KINDS_ALL NATIVE_KINDS_ALL

static const struct {
    const char *name;
    unsigned kinds;
} FIELDS[] = {
    {"kind", KINDS_ALL},
    {"taken_at", KINDS_ALL},
    {"device", KINDS_ALL},
    {"patient", KINDS_ALL},
    {"vertex_mm", KINDS_ALL},
    {"vertex_assumed", KINDS_ALL},
    {"condition", KINDS_ALL},
    {"pd_mm", KINDS_ALL},
    {"comment", KINDS_ALL},
    {"right", KINDS_ALL},
    {"left", KINDS_ALL},
    {"unspecified", KINDS_ALL},
    {"both", KIND(ACUITY)},
    {"with", KIND(ACUITY)},
    {"distance", KIND(ACUITY)},
    {"lens_type", KIND(LENSOMETRY)},
    {"pair", KIND(LENSOMETRY)},
    {"working_distance", KIND(RETINOSCOPY)},
};

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

static void read_device(struct json_in in, struct record_device *d)
{
    static const char *const names[] = {
        "serial", "model", "manufacturer", "software", NULL};

    json_in_object(in, names);
    native_line(in, "serial", 64, &d->serial);
    native_line(in, "model", 64, &d->model);
    native_line(in, "manufacturer", 64, &d->manufacturer);
    native_line(in, "software", 64, &d->software);
}

static void read_patient(struct json_in in, struct record_patient_ref *p)
{
    static const char *const names[] = {
        "id", "record_number", "family", "given", "born", NULL};
    const char *born;

    if (!json_in_here(in))
        return;
    p->here = true;
    json_in_object(in, names);
    json_in_uuid(json_in_get(in, "id"), &p->id);
    native_line(in, "record_number", 64, &p->record_number);
    native_line(in, "family", 200, &p->family);
    native_line(in, "given", 200, &p->given);
    if (json_in_date(json_in_get(in, "born"), &born))
        p->born = arena_strdup(in.err->arena, born);
    if (json_object_size(in.value) == 0 && json_is_object(in.value))
        err_fault(in.err, in.pointer,
            "must name an id, a record_number, or names and born");
}

static enum record_yes read_yes(struct json_in in)
{
    bool yes;

    if (!json_in_bool(in, &yes))
        return RECORD_UNSAID;
    return yes ? RECORD_YES : RECORD_NO;
}

static void read_condition(struct json_in in, struct record_condition *c)
{
    static const char *const names[] = {"cycloplegic", "drug", "minutes_since",
        "lens_worn", "test_distance_m", NULL};
    static const double week_min[] = {0, 10080}, distance_m[] = {0.1, 20};

    if (!json_in_here(in))
        return;
    c->here = true;
    json_in_object(in, names);
    c->cycloplegic = read_yes(json_in_get(in, "cycloplegic"));
    native_line(in, "drug", 80, &c->drug);
    json_in_scaled(
        json_in_get(in, "minutes_since"), 0, week_min, &c->minutes_since);
    native_line(in, "lens_worn", 80, &c->lens_worn);
    json_in_scaled(json_in_get(in, "test_distance_m"), 3, distance_m,
        &c->test_distance_mm);
}

static void read_vertex(struct json_in in, struct record_reading *r)
{
    static const double range[] = {0, 30};
    struct json_in mm = json_in_get(in, "vertex_mm");
    struct json_in assumed = json_in_get(in, "vertex_assumed");

    json_in_scaled(mm, 2, range, &r->vertex_mm100);
    json_in_bool(assumed, &r->vertex_assumed);
    if (r->vertex_assumed && !json_in_here(mm))
        err_fault(in.err, mm.pointer, "is required where it is assumed");
}

static void read_pair(struct json_in in, struct record_pair *pair)
{
    static const char *const names[] = {
        "label", "purpose", "made_on", "worn", NULL};
    const char *made_on;
    int purpose;

    json_in_object(in, names);
    native_line(in, "label", 100, &pair->label);
    if (json_in_choice(json_in_get(in, "purpose"), RECORD_PURPOSES, &purpose))
        pair->purpose = RECORD_PURPOSES[purpose];
    if (json_in_date(json_in_get(in, "made_on"), &made_on))
        pair->made_on = arena_strdup(in.err->arena, made_on);
    pair->worn = read_yes(json_in_get(in, "worn"));
}

/* "removed", or {"mm": n}: power that is still in the figures. */
static void read_working(struct json_in in, struct record_reading *r)
{
    static const char *const names[] = {"mm", NULL};
    static const char *const removed[] = {"removed", NULL};
    static const double range_mm[] = {200, 3000};
    int word;

    if (!json_in_need(in))
        return;
    if (json_is_object(in.value)) {
        json_in_object(in, names);
        if (json_in_need(json_in_get(in, "mm")))
            json_in_scaled(json_in_get(in, "mm"), 0, range_mm, &r->working_mm);
    } else if (json_in_choice(in, removed, &word)) {
        r->working_removed = true;
    }
}

static void read_acuity_terms(struct json_in in, struct record_reading *r)
{
    int i;

    if (json_in_choice(json_in_get(in, "with"), RECORD_ACUITY_WITH, &i))
        r->acuity_with = RECORD_ACUITY_WITH[i];
    if (json_in_choice(json_in_get(in, "distance"), RECORD_DISTANCES, &i))
        r->acuity_distance = RECORD_DISTANCES[i];
}

static void read_lensometry(struct json_in in, struct record_reading *r)
{
    native_lens_type(in, &r->lens_type);
    if (json_in_here(json_in_get(in, "pair")))
        read_pair(json_in_get(in, "pair"), &r->pair);
}

static void read_worn(struct json_in in, const struct record_reading *r)
{
    struct json_in worn =
        json_in_get(json_in_get(in, "condition"), "lens_worn");

    if (!r->condition.lens_worn || strcmp(r->condition.lens_worn, "none") == 0)
        err_fault(in.err, worn.pointer,
            "must name the lens worn under an over-refraction");
}

/* What only some kinds have; of no known kind, as far as it is there. */
static void read_of_kind(
    struct json_in in, unsigned kinds, struct record_reading *r)
{
    struct json_in working = json_in_get(in, "working_distance");

    if (kinds & KIND(LENSOMETRY))
        read_lensometry(in, r);
    if (kinds & KIND(ACUITY))
        read_acuity_terms(in, r);
    if (kinds == KIND(RETINOSCOPY) ||
        (kinds == KINDS_ALL && json_in_here(working)))
        read_working(working, r);
    if (kinds == KIND(OVER_REFRACTION))
        read_worn(in, r);
}

static void read_eyes(
    struct json_in in, unsigned kinds, struct record_reading *r)
{
    bool unspecified;

    for (int i = 0; i < RECORD_SIDES; i++) {
        enum record_side side = (enum record_side)i;
        struct json_in eye = json_in_get(in, record_side_word(side));

        if (side == RECORD_BOTH && !(kinds & KIND(ACUITY)))
            continue; /* no field of the other kinds */
        if (json_in_here(eye))
            native_eye_read(eye, r, side, kinds);
    }
    unspecified = json_in_here(json_in_get(in, "unspecified"));
    if (!json_in_here(json_in_get(in, "right")) &&
        !json_in_here(json_in_get(in, "left")) && !unspecified &&
        !r->eyes[RECORD_BOTH].here)
        err_fault(in.err, in.pointer,
            "must have at least one of right, left, unspecified");
    if (unspecified &&
        (r->eyes[RECORD_RIGHT].here || r->eyes[RECORD_LEFT].here))
        err_fault(in.err, json_in_get(in, "unspecified").pointer,
            "can't stand beside right or left");
}

/* Taking the working distance off may leave what no record can hold. */
static void check_net(struct json_in in, const struct record_reading *r)
{
    for (int side = 0; side < RECORD_SIDES; side++)
        if (r->eyes[side].source == RECORD_FROM_NET &&
            optics_rx_check(r->eyes[side].power) != OPTICS_OK)
            err_fault(in.err,
                json_in_get(in, record_side_word((enum record_side)side))
                    .pointer,
                "is beyond 40.00 D without its working distance");
}

static void read_common(struct json_in in, struct record_reading *r)
{
    struct json_in taken = json_in_get(in, "taken_at");
    struct json_in device = json_in_get(in, "device");
    struct json_in pd = json_in_get(in, "pd_mm");

    if (json_in_need(taken))
        json_in_time(taken, &r->taken_us, &r->taken_offset_min);
    if (json_in_here(device))
        read_device(device, &r->device);
    read_patient(json_in_get(in, "patient"), &r->patient);
    read_condition(json_in_get(in, "condition"), &r->condition);
    read_vertex(in, r);
    if (json_in_here(pd))
        record_pd_read(pd, &r->pd);
    native_text(in, "comment", 2000, &r->comment);
}

enum rc instruments_native_read(
    struct json_in place, struct record_reading **ret, struct err *err)
{
    struct record_reading *r = record_reading_new(err->arena);
    struct json_in kind = json_in_get(place, "kind");
    unsigned kinds = KINDS_ALL;
    size_t before = err->n_faults;
    int word;

    if (!json_is_object(place.value)) {
        err_fault(err, place.pointer, "must be a reading (an object)");
        return err->rc;
    }
    read_common(place, r);
    if (json_in_need(kind) && json_in_choice(kind, RECORD_KIND_WORDS, &word)) {
        r->kind = (enum record_kind)word;
        kinds = 1u << r->kind;
    }
    check_fields(place, kinds);
    read_of_kind(place, kinds, r);
    read_eyes(place, kinds, r);
    if (err->n_faults > before)
        return err->rc;
    record_reading_compute(r);
    check_net(place, r);
    if (err->n_faults > before)
        return err->rc;
    *ret = r;
    return RC_OK;
}

enum rc instruments_native_decode(const struct instruments_input *in,
    struct instruments_readings *ret, struct err *err)
{
    json_auto_t *json = NULL;
    struct json_in root;
    struct record_reading **items;
    size_t n = 1;

    TRY(json_in_parse(in->bytes, in->len, &json, err));
    root = json_in_root(json, err);
    if (json_is_array(json) &&
        !json_in_array(root, 1, INSTRUMENTS_READINGS_MAX, &n))
        return err->rc;
    items = arena_calloc(err->arena, n, sizeof(struct record_reading *));
    for (size_t i = 0; i < n; i++)
        (void)instruments_native_read(
            json_is_array(json) ? json_in_item(root, i) : root, &items[i], err);
    if (err->rc != RC_OK)
        return err->rc;
    *ret = (struct instruments_readings){items, n};
    return RC_OK;
}

bool instruments_native_probe(const char *bytes, size_t len)
{
    return memmem(bytes, len, "\"kind\"", 6) &&
           memmem(bytes, len, "\"taken_at\"", 10);
}
