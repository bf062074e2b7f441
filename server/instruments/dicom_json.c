#include "instruments/dicom_json.h"

#include <string.h>

#include "base/arena.h"
#include "instruments/dicom_attr.h"
#include "instruments/dicom_eye.h"
#include "instruments/dicom_head.h"
#include "instruments/dicom_report.h"
#include "record/reading.h"

struct side_tag {
    enum record_side side;
    const char *tag;
};

/* The storage classes of Supplement 130: the modality that goes with each, the
 * sequences of its sides, what reads an item. */
static const struct storage {
    const char *uid, *modality;
    enum record_kind kind;
    struct side_tag sides[4]; /* ended by a tag NULL */
    void (*read)(struct json_in, enum record_side, struct record_reading *);
    /* Of a report, which has no such sequences. */
    void (*read_report)(struct json_in, struct record_reading *);
} STORAGE[] = {
    {"1.2.840.10008.5.1.4.1.1.78.1", "LEN", RECORD_LENSOMETRY,
        {{RECORD_RIGHT, "00460014"}, {RECORD_LEFT, "00460015"},
            {RECORD_UNSPECIFIED, "00460016"}},
        dicom_power_read, NULL},
    {"1.2.840.10008.5.1.4.1.1.78.2", "AR", RECORD_AUTOREFRACTION,
        {{RECORD_RIGHT, "00460050"}, {RECORD_LEFT, "00460052"}},
        dicom_power_read, NULL},
    {"1.2.840.10008.5.1.4.1.1.78.3", "KER", RECORD_KERATOMETRY,
        {{RECORD_RIGHT, "00460070"}, {RECORD_LEFT, "00460071"}},
        dicom_cornea_read, NULL},
    {"1.2.840.10008.5.1.4.1.1.78.4", "SRF", RECORD_SUBJECTIVE,
        {{RECORD_RIGHT, "00460097"}, {RECORD_LEFT, "00460098"}},
        dicom_power_read, NULL},
    {"1.2.840.10008.5.1.4.1.1.78.5", "VA", RECORD_ACUITY,
        {{RECORD_RIGHT, "00460122"}, {RECORD_LEFT, "00460123"},
            {RECORD_BOTH, "00460124"}},
        dicom_acuity_read, NULL},
    {"1.2.840.10008.5.1.4.1.1.78.6", "SR", RECORD_SUBJECTIVE, {{0}}, NULL,
        dicom_report_read},
};

/* Codes of CID 4216 (kinds of visual acuity), old ones included, as words of
 * RECORD_ACUITY_WITH. */
static const struct {
    const char *scheme, *code, *with;
} ACUITY_TYPES[] = {
    {"DCM", "111685", "autorefraction"},
    {"DCM", "111686", "habitual"},
    {"DCM", "111687", "final"},
    {"SCT", "420050001", "nothing"},
    {"SCT", "419775003", "best-corrected"},
    {"SCT", "419475002", "pinhole"},
    {"SCT", "424622008", "potential-acuity"},
    {"SCT", "425141002", "brightness-test"},
    {"SRT", "F-04D53", "nothing"},
    {"SRT", "F-04D54", "best-corrected"},
    {"SRT", "F-04D55", "pinhole"},
    {"SRT", "F-04ECE", "potential-acuity"},
    {"SRT", "F-04ECF", "brightness-test"},
};

static void read_acuity_type(struct json_in set, struct record_reading *r)
{
    const char *code, *scheme;
    struct json_in item;

    if (!dicom_need(set, "00460121", "VisualAcuityTypeCodeSequence") ||
        !dicom_item(set, "00460121", &item))
        return;
    if (!dicom_need(item, "00080100", "CodeValue") ||
        !dicom_need(item, "00080102", "CodingSchemeDesignator") ||
        !dicom_text(item, "00080100", 64, &code) ||
        !dicom_text(item, "00080102", 64, &scheme))
        return;
    for (size_t i = 0; i < ARRAY_LEN(ACUITY_TYPES); i++)
        if (strcmp(ACUITY_TYPES[i].code, code) == 0 &&
            strcmp(ACUITY_TYPES[i].scheme, scheme) == 0)
            r->acuity_with = ACUITY_TYPES[i].with;
    if (!r->acuity_with)
        err_fault(set.err, dicom_value(item, "00080100", 0).pointer,
            "is no kind of visual acuity (CID 4216): \"%s\" of \"%s\"", code,
            scheme);
}

static void read_of_kind(struct json_in set, struct record_reading *r)
{
    static const double pd_mm[] = {30, 90};
    static const char *const distances[] = {
        "DISTANCE", "INTERMEDIATE", "NEAR", "OTHER", NULL};
    int i;

    switch (r->kind) {
    case RECORD_LENSOMETRY:
        dicom_text(set, "00460012", 100, &r->pair.label);
        break;
    case RECORD_AUTOREFRACTION:
    case RECORD_SUBJECTIVE:
        dicom_scaled(set, "00460060", 2, pd_mm, &r->pd.far.binocular_mm100);
        dicom_scaled(set, "00460062", 2, pd_mm, &r->pd.near.binocular_mm100);
        break;
    case RECORD_ACUITY:
        read_acuity_type(set, r);
        if (dicom_need(set, "00460125", "ViewingDistanceType") &&
            dicom_word(set, "00460125", distances, &i) && i < 3)
            r->acuity_distance = RECORD_DISTANCES[i];
        break;
    default:
        break;
    }
}

static void read_sides(
    struct json_in set, const struct storage *storage, struct record_reading *r)
{
    bool right_left, unknown;
    struct json_in item;

    for (const struct side_tag *s = storage->sides; s->tag; s++) {
        r->eyes[s->side].here = json_in_here(json_in_get(set, s->tag));
        if (dicom_item(set, s->tag, &item))
            storage->read(item, s->side, r);
    }
    unknown = r->eyes[RECORD_UNSPECIFIED].here;
    right_left = r->eyes[RECORD_RIGHT].here || r->eyes[RECORD_LEFT].here;
    if (!right_left && !unknown && !r->eyes[RECORD_BOTH].here)
        err_fault(set.err, set.pointer, "holds the measurement of no eye");
    if (right_left && unknown)
        err_fault(set.err, json_in_get(set, "00460016").pointer,
            "of unknown side can't stand beside the right or left side");
}

static const struct storage *find_storage(struct json_in set)
{
    const char *uid;

    if (!dicom_need(set, "00080016", "SOPClassUID") ||
        !dicom_text(set, "00080016", 64, &uid))
        return NULL;
    for (size_t i = 0; i < ARRAY_LEN(STORAGE); i++)
        if (strcmp(STORAGE[i].uid, uid) == 0)
            return &STORAGE[i];
    err_fault(set.err, dicom_value(set, "00080016", 0).pointer,
        "is not the class of a refractive measurement or prescription: \"%s\"",
        uid);
    return NULL;
}

static void check_modality(struct json_in set, const struct storage *storage)
{
    const char *modality;

    if (!dicom_need(set, "00080060", "Modality") ||
        !dicom_text(set, "00080060", 16, &modality))
        return;
    if (strcmp(modality, storage->modality) != 0)
        err_fault(set.err, dicom_value(set, "00080060", 0).pointer,
            "must be \"%s\" in this class, not \"%s\"", storage->modality,
            modality);
}

static void read_measurement(
    struct json_in set, const struct storage *storage, struct record_reading *r)
{
    dicom_vertex_read(set, r);
    read_of_kind(set, r);
    read_sides(set, storage, r);
    dicom_laterality_check(set, r);
}

static struct record_reading *read_instance(
    struct json_in set, const struct instruments_zone *zone)
{
    struct record_reading *r = record_reading_new(set.err->arena);
    size_t before = set.err->n_faults;
    const struct storage *storage;

    if (!json_is_object(set.value)) {
        err_fault(set.err, set.pointer, "must be an instance (an object)");
        return NULL;
    }
    storage = find_storage(set);
    dicom_head_read(set, zone, r);
    if (storage) {
        r->kind = storage->kind;
        check_modality(set, storage);
        if (storage->read_report)
            storage->read_report(set, r);
        else
            read_measurement(set, storage, r);
    }
    if (set.err->n_faults > before)
        return NULL;
    record_reading_compute(r);
    return r;
}

/* *ret_root is json's, *ret_n how many instances it holds. */
static enum rc parse(const struct instruments_input *in, json_t **json,
    struct json_in *ret_root, size_t *ret_n, struct err *err)
{
    *ret_n = 1;
    TRY(json_in_parse(in->bytes, in->len, json, err));
    *ret_root = json_in_root(*json, err);
    if (json_is_array(*json) &&
        !json_in_array(*ret_root, 1, INSTRUMENTS_READINGS_MAX, ret_n))
        return err->rc;
    return RC_OK;
}

static struct json_in instance(struct json_in root, size_t i)
{
    return json_is_array(root.value) ? json_in_item(root, i) : root;
}

enum rc instruments_dicom_decode(const struct instruments_input *in,
    struct instruments_readings *ret, struct err *err)
{
    json_auto_t *json = NULL;
    struct record_reading **items;
    struct json_in root;
    size_t n;

    TRY(parse(in, &json, &root, &n, err));
    items = arena_calloc(err->arena, n, sizeof(struct record_reading *));
    for (size_t i = 0; i < n; i++)
        items[i] = read_instance(instance(root, i), &in->zone);
    if (err->rc != RC_OK)
        return err->rc;
    *ret = (struct instruments_readings){items, n};
    return RC_OK;
}

/* What names an instance, where it can be read; its faults are told by
 * read_instance. */
static void read_names(struct json_in set, struct instruments_dicom_one *one)
{
    struct err scratch = ERR_INIT(set.err->arena);

    if (!json_is_object(set.value))
        return;
    set.err = &scratch;
    dicom_text(set, "00080016", 64, &one->sop_class);
    dicom_text(set, "00080018", 64, &one->sop_instance);
    dicom_text(set, "0020000D", 64, &one->study);
}

enum rc instruments_dicom_each(const struct instruments_input *in,
    struct instruments_dicom_one **ret, size_t *ret_n, struct err *err)
{
    json_auto_t *json = NULL;
    struct instruments_dicom_one *ones;
    struct json_in root;
    size_t n;

    TRY(parse(in, &json, &root, &n, err));
    ones = arena_calloc(err->arena, n, sizeof(*ones));
    for (size_t i = 0; i < n; i++) {
        struct json_in set = instance(root, i);

        ones[i].err = (struct err)ERR_INIT(err->arena);
        set.err = &ones[i].err;
        read_names(set, &ones[i]);
        ones[i].reading = read_instance(set, &in->zone);
    }
    *ret = ones;
    *ret_n = n;
    return RC_OK;
}

bool instruments_dicom_takes(const char *sop_class)
{
    for (size_t i = 0; i < ARRAY_LEN(STORAGE); i++)
        if (strcmp(STORAGE[i].uid, sop_class) == 0)
            return true;
    return false;
}

bool instruments_dicom_probe(const char *bytes, size_t len)
{
    return memmem(bytes, len, "\"00080016\"", 10) &&
           memmem(bytes, len, "\"vr\"", 4);
}
