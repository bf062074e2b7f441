#include "instruments/fhir.h"

#include <string.h>

#include "base/arena.h"
#include "instruments/fhir_inside.h"
#include "instruments/native.h"

#define PARTS_MAX 2000 /* resources of a bundle */

/* ---- a draft becomes a reading ----------------------------------------- */

static bool begins(const char *pointer, const char *start, size_t n)
{
    return strncmp(pointer, start, n) == 0 &&
           (pointer[n] == '\0' || pointer[n] == '/');
}

/* Where what stands at pointer of the draft, or what it is part of or stands
 * beside, came from. */
static const char *place_of(const struct fhir_draft *draft, const char *pointer)
{
    const char *slash = strrchr(pointer, '/');
    size_t best = 0, parent = slash ? (size_t)(slash - pointer) : 0;
    const char *place = draft->place;

    for (size_t i = 0; i < draft->n; i++) {
        size_t n = strlen(draft->from[i].to);

        if (n > best && begins(pointer, draft->from[i].to, n)) {
            best = n;
            place = arena_printf(
                draft->arena, "%s%s", draft->from[i].from, pointer + n);
        }
    }
    for (size_t i = 0; !best && parent && i < draft->n; i++) {
        const struct fhir_from *from = &draft->from[i];
        const char *last = strrchr(from->from, '/');

        if (!last || !begins(from->to, pointer, parent) ||
            strcmp(last, strrchr(from->to, '/')) != 0)
            continue;
        best = 1; /* the same members of the same element */
        place = arena_printf(draft->arena, "%.*s%s", (int)(last - from->from),
            from->from, slash);
    }
    return place;
}

static struct record_reading *read_draft(const struct fhir_draft *draft,
    const struct instruments_zone *zone, struct err *err)
{
    struct err scratch = ERR_INIT(err->arena);
    struct record_reading *r = NULL;

    instruments_native_read(json_in_root(draft->doc, &scratch), &r, &scratch);
    for (const struct err_fault *f = scratch.faults; f; f = f->next)
        err_fault(
            err, place_of(draft, f->pointer), "%s (%s)", f->detail, f->pointer);
    if (scratch.rc != RC_OK)
        return NULL;
    r->prescription.here = draft->prescription;
    r->prescription.by = draft->by ? arena_strdup(err->arena, draft->by) : NULL;
    if (draft->day_only)
        instruments_zone_assume(zone, r);
    return r;
}

/* ---- resources --------------------------------------------------------- */

struct reader {
    struct err *err;
    struct fhir_pool pool;
    struct fhir_draft *drafts;
    size_t n;
};

static bool has_eye(const struct fhir_draft *draft, const char *side)
{
    return json_object_get(draft->doc, side) != NULL;
}

/* Observations of the two eyes that agree in all else are one reading. */
static bool join(struct reader *r, struct fhir_draft *other)
{
    const char *side = has_eye(other, "right") ? "right" : "left";

    for (size_t i = 0; other->key && i < r->n; i++) {
        struct fhir_draft *one = &r->drafts[i];
        struct fhir_from *both;

        if (!one->key || strcmp(one->key, other->key) != 0 ||
            has_eye(one, side) || has_eye(one, "both") ||
            has_eye(other, "both") ||
            has_eye(one, "right") == has_eye(one, "left") ||
            has_eye(other, "right") == has_eye(other, "left"))
            continue;
        json_object_set(one->doc, side, json_object_get(other->doc, side));
        both = arena_calloc(one->arena, one->n + other->n, sizeof(*both));
        memcpy(both, one->from, one->n * sizeof(*both));
        memcpy(both + one->n, other->from, other->n * sizeof(*both));
        one->from = both;
        one->n = one->room = one->n + other->n;
        return true;
    }
    return false;
}

static void read_resource(struct reader *r, struct json_in in)
{
    static const struct {
        const char *word;
        enum fhir_type type;
        bool (*read)(struct json_in in, const struct fhir_pool *pool,
            struct fhir_draft *draft);
    } MEASURES[] = {
        {"VisionPrescription", FHIR_VISION_PRESCRIPTION,
            fhir_prescription_read},
        {"Observation", FHIR_OBSERVATION, fhir_observation_read},
    };
    const char *word = fhir_resource_type(in);

    for (size_t i = 0; word && i < ARRAY_LEN(MEASURES); i++) {
        struct fhir_draft draft = {.arena = r->err->arena, .place = in.pointer};

        if (strcmp(word, MEASURES[i].word) != 0)
            continue;
        draft.doc = json_object();
        if (fhir_shape_check(in, MEASURES[i].type) &&
            MEASURES[i].read(in, &r->pool, &draft) && !join(r, &draft)) {
            r->drafts[r->n++] = draft;
            continue;
        }
        json_decref(draft.doc);
    }
}

/* What is referred to may stand behind what refers to it. */
static bool gather(struct reader *r, struct json_in bundle)
{
    struct json_in entries = json_in_get(bundle, "entry");
    size_t n;

    if (!fhir_shape_check(bundle, FHIR_BUNDLE) ||
        !json_in_array(entries, 1, PARTS_MAX, &n))
        return false;
    r->pool.items = arena_calloc(r->err->arena, n, sizeof(*r->pool.items));
    r->pool.full_urls =
        arena_calloc(r->err->arena, n, sizeof(*r->pool.full_urls));
    r->drafts = arena_calloc(r->err->arena, n, sizeof(*r->drafts));
    for (size_t i = 0; i < n; i++) {
        struct json_in entry = json_in_item(entries, i);

        r->pool.items[i] = json_in_get(entry, "resource");
        r->pool.full_urls[i] =
            json_string_value(json_in_get(entry, "fullUrl").value);
    }
    r->pool.n = n;
    return true;
}

static void read_all(struct reader *r, struct json_in root)
{
    const char *word = fhir_resource_type(root);

    if (!word)
        return;
    if (strcmp(word, "Bundle") == 0) {
        if (!gather(r, root))
            return;
        for (size_t i = 0; i < r->pool.n; i++)
            read_resource(r, r->pool.items[i]);
    } else {
        r->drafts = arena_calloc(r->err->arena, 1, sizeof(*r->drafts));
        read_resource(r, root);
    }
    if (r->n == 0 && r->err->rc == RC_OK)
        err_fault(r->err, "",
            "holds no VisionPrescription and no Observation, but \"%s\"", word);
}

enum rc instruments_fhir_decode(const struct instruments_input *in,
    struct instruments_readings *ret, struct err *err)
{
    json_auto_t *json = NULL;
    struct reader r = {.err = err};
    struct record_reading **items;

    TRY(json_in_parse(in->bytes, in->len, &json, err));
    read_all(&r, json_in_root(json, err));
    if (r.n > INSTRUMENTS_READINGS_MAX)
        err_fault(err, "", "holds %zu readings; %d at most", r.n,
            INSTRUMENTS_READINGS_MAX);
    items = arena_calloc(err->arena, r.n + 1, sizeof(struct record_reading *));
    for (size_t i = 0; i < r.n; i++) {
        items[i] = read_draft(&r.drafts[i], &in->zone, err);
        json_decref(r.drafts[i].doc);
    }
    if (err->rc != RC_OK)
        return err->rc;
    *ret = (struct instruments_readings){items, r.n};
    return RC_OK;
}

bool instruments_fhir_probe(const char *bytes, size_t len)
{
    return memmem(bytes, len, "\"resourceType\"", 14) != NULL;
}
