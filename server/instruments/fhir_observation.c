/*
 * instruments/fhir_observation.c - an Observation of a refraction, a cornea or
 * an acuity, of one eye or both.
 *
 * Codes: those of the HL7 drafts cda-eyecare (2025-08) and fhir-eyecare-ig
 * (2022-06), of LOINC's panel 62706-7, and their check digits. No code of a
 * keratometry or of a side of the body was found there; these go by text.
 */
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/arena.h"
#include "base/num.h"
#include "base/text.h"
#include "instruments/fhir_inside.h"

enum sort { REFRACTION, KERATOMETRY, ACUITY };

/* What an observation is of. */
static const struct subject {
    const char *system, *code;
    enum sort sort;
    const char *kind;  /* NULL: its method says */
    const char *with;  /* acuity */
    const char *range; /* acuity: far, near */
    const char *side;
} SUBJECTS[] = {
    {FHIR_SNOMED, "251794006", REFRACTION, NULL, NULL, NULL, NULL},
    {FHIR_LOINC, "79895-9", REFRACTION, NULL, NULL, NULL, NULL},
    {FHIR_LOINC, "62706-7", REFRACTION, NULL, NULL, NULL, NULL},
    {FHIR_SNOMED, "397277005", REFRACTION, "subjective", NULL, NULL, NULL},
    {FHIR_SNOMED, "419759001", REFRACTION, "over-refraction", NULL, NULL, NULL},
    {FHIR_SNOMED, "251739003", ACUITY, "acuity", NULL, "far", NULL},
    {FHIR_SNOMED, "251743004", ACUITY, "acuity", NULL, "near", NULL},
    {FHIR_SNOMED, "363983007", ACUITY, "acuity", NULL, NULL, NULL},
    {FHIR_SNOMED, "420050001", ACUITY, "acuity", "nothing", NULL, NULL},
    {FHIR_SNOMED, "397536007", ACUITY, "acuity", NULL, NULL, NULL},
    {FHIR_SNOMED, "419775003", ACUITY, "acuity", "best-corrected", NULL, NULL},
    {FHIR_SNOMED, "419475002", ACUITY, "acuity", "pinhole", NULL, NULL},
    {FHIR_LOINC, "98499-7", ACUITY, "acuity", "nothing", NULL, "right"},
    {FHIR_LOINC, "98505-1", ACUITY, "acuity", "nothing", "far", "right"},
};
static const struct subject CORNEA = {
    NULL, NULL, KERATOMETRY, "keratometry", NULL, NULL, NULL};

/* What a component is; side NULL: the observation's. */
static const struct part {
    enum sort sort;
    const char *system, *code; /* system NULL: the text in lower case */
    const char *to, *unit, *side;
} PARTS[] = {
    {REFRACTION, FHIR_SNOMED, "251795007", "sphere", "[diop]", NULL},
    {REFRACTION, FHIR_SNOMED, "251797004", "cylinder", "[diop]", NULL},
    {REFRACTION, FHIR_SNOMED, "251799001", "axis", "deg", NULL},
    {REFRACTION, FHIR_SNOMED, "397282003", "add", "[diop]", NULL},
    {REFRACTION, FHIR_LOINC, "65890-6", "sphere", "[diop]", "right"},
    {REFRACTION, FHIR_LOINC, "65892-2", "cylinder", "[diop]", "right"},
    {REFRACTION, FHIR_LOINC, "65891-4", "axis", "deg", "right"},
    {REFRACTION, FHIR_LOINC, "65894-8", "sphere", "[diop]", "left"},
    {REFRACTION, FHIR_LOINC, "65896-3", "cylinder", "[diop]", "left"},
    {REFRACTION, FHIR_LOINC, "65895-5", "axis", "deg", "left"},
    {KERATOMETRY, NULL, "flat meridian power", "flat/power", "[diop]", NULL},
    {KERATOMETRY, NULL, "flat meridian radius", "flat/radius_mm", "mm", NULL},
    {KERATOMETRY, NULL, "flat meridian axis", "flat/axis", "deg", NULL},
    {KERATOMETRY, NULL, "steep meridian power", "steep/power", "[diop]", NULL},
    {KERATOMETRY, NULL, "steep meridian radius", "steep/radius_mm", "mm", NULL},
    {KERATOMETRY, NULL, "steep meridian axis", "steep/axis", "deg", NULL},
    {KERATOMETRY, NULL, "keratometric index", "index", "1", NULL},
};

/* Words of a method, as people write it, and the kind that it makes. */
static const struct {
    const char *word, *kind;
} METHODS[] = {
    {"autorefract", "autorefraction"},
    {"subjective", "subjective"},
    {"lensmeter", "lensometry"},
    {"lensometer", "lensometry"},
    {"lensometry", "lensometry"},
};

static const struct {
    const char *text, *side;
} SIDES[] = {
    {"right eye", "right"},
    {"right", "right"},
    {"od", "right"},
    {"left eye", "left"},
    {"left", "left"},
    {"os", "left"},
    {"both eyes", "both"},
    {"both", "both"},
    {"ou", "both"},
};

/* Units as people write them, beside UCUM's. */
static const struct {
    const char *ucum, *text;
} UNITS[] = {
    {"[diop]", "diopter"},
    {"[diop]", "dioptre"},
    {"[diop]", "diopters"},
    {"[diop]", "dioptres"},
    {"[diop]", "D"},
    {"deg", "degree"},
    {"deg", "degrees"},
    {"mm", "millimeter"},
    {"mm", "millimetre"},
};

/* ---- what, how, whose -------------------------------------------------- */

static const struct subject *subject_of(struct json_in in)
{
    struct json_in code = json_in_get(in, "code");

    for (size_t i = 0; i < ARRAY_LEN(SUBJECTS); i++)
        if (fhir_has_code(code, SUBJECTS[i].system, SUBJECTS[i].code))
            return &SUBJECTS[i];
    if (strcmp(fhir_concept_text(code), "keratometry") == 0)
        return &CORNEA;
    err_fault(in.err, code.pointer,
        "is no refraction, visual acuity or keratometry that is read here");
    return NULL;
}

/* A measurement without its method can't be compared with anything. */
static const char *kind_of(struct json_in in, const struct subject *subject)
{
    struct json_in method = json_in_get(in, "method");
    const char *text = fhir_concept_text(method), *kind = subject->kind;

    for (size_t i = 0; !subject->kind && i < ARRAY_LEN(METHODS); i++) {
        if (!strstr(text, METHODS[i].word))
            continue;
        if (kind && strcmp(kind, METHODS[i].kind) != 0) {
            err_fault(in.err, method.pointer, "names more than one method");
            return NULL;
        }
        kind = METHODS[i].kind;
    }
    if (!kind)
        err_fault(in.err, method.pointer,
            "must say how it was measured: a text with autorefractor, "
            "subjective or lensmeter in it");
    return kind;
}

static const char *side_of(struct json_in in)
{
    struct json_in site = json_in_get(in, "bodySite");
    const char *text = fhir_concept_text(site);

    for (size_t i = 0; i < ARRAY_LEN(SIDES); i++)
        if (strcmp(SIDES[i].text, text) == 0)
            return SIDES[i].side;
    if (json_in_here(site))
        err_fault(in.err, site.pointer,
            "must have one of the texts right eye, left eye, both eyes");
    return NULL;
}

static void check_status(struct json_in in)
{
    static const char *const states[] = {"registered", "preliminary", "final",
        "amended", "corrected", "cancelled", "entered-in-error", "unknown",
        NULL};
    struct json_in at = json_in_get(in, "status");
    int word;

    if (json_in_choice(at, states, &word) && (word < 1 || word > 4))
        err_fault(in.err, at.pointer,
            "is \"%s\": only what was measured and still holds is taken",
            states[word]);
}

static void read_time(struct json_in in, struct fhir_draft *draft)
{
    struct json_in time = json_in_get(in, "effectiveDateTime");
    struct json_in instant = json_in_get(in, "effectiveInstant");

    if (json_in_here(instant) && !json_in_here(time))
        time = instant;
    if (json_in_need(time))
        fhir_put_time(draft, time);
}

/* ---- figures ----------------------------------------------------------- */

static bool is_unit(struct json_in quantity, const char *ucum)
{
    const char *system = fhir_text_at(quantity, "system");
    const char *code = fhir_text_at(quantity, "code");
    const char *unit = fhir_text_at(quantity, "unit");

    if (*code)
        return strcmp(code, ucum) == 0 && strcmp(system, FHIR_UCUM) == 0;
    if (strcmp(unit, ucum) == 0 || (!*unit && strcmp(ucum, "1") == 0))
        return true;
    for (size_t i = 0; i < ARRAY_LEN(UNITS); i++)
        if (strcmp(UNITS[i].ucum, ucum) == 0 &&
            strcmp(UNITS[i].text, unit) == 0)
            return true;
    return false;
}

/* The number of a quantity that is no bound; NULL after a fault. */
static const json_t *number_of(struct json_in quantity)
{
    struct json_in comparator = json_in_get(quantity, "comparator");
    struct json_in value = json_in_get(quantity, "value");

    if (json_in_here(comparator)) {
        err_fault(quantity.err, comparator.pointer,
            "makes a bound of the value, which is no measurement");
        return NULL;
    }
    return json_in_need(value) ? value.value : NULL;
}

static const struct part *part_of(struct json_in component, enum sort sort)
{
    struct json_in code = json_in_get(component, "code");

    for (size_t i = 0; i < ARRAY_LEN(PARTS); i++) {
        const struct part *part = &PARTS[i];

        if (part->sort == sort &&
            (part->system ? fhir_has_code(code, part->system, part->code)
                          : strcmp(fhir_concept_text(code), part->code) == 0))
            return part;
    }
    err_fault(component.err, code.pointer, "is no figure that is read here");
    return NULL;
}

static void read_component(struct json_in in, enum sort sort, const char *side,
    struct fhir_draft *draft)
{
    const struct part *part = part_of(in, sort);
    struct json_in quantity = json_in_get(in, "valueQuantity");
    const json_t *number;

    if (!part || (!json_in_here(quantity) &&
                     json_in_here(json_in_get(in, "dataAbsentReason"))))
        return;
    if (part->side && side && strcmp(part->side, side) != 0) {
        err_fault(in.err, json_in_get(in, "code").pointer,
            "is of the %s eye, and the observation of the %s", part->side,
            side);
        return;
    }
    if (!json_in_need(quantity))
        return;
    if (!is_unit(quantity, part->unit))
        err_fault(in.err, quantity.pointer, "must be in %s (UCUM)", part->unit);
    number = number_of(quantity);
    if (!number || (!part->side && !side))
        return;
    fhir_put(draft,
        arena_printf(
            draft->arena, "/%s/%s", part->side ? part->side : side, part->to),
        json_incref((json_t *)number), json_in_get(quantity, "value"));
}

static void read_components(struct json_in in, enum sort sort, const char *side,
    struct fhir_draft *draft)
{
    struct json_in list = json_in_get(in, "component");
    bool sided = side != NULL;

    if (!json_in_need(list))
        return;
    for (size_t i = 0; i < json_array_size(list.value); i++) {
        const struct part *part;
        struct err scratch = ERR_INIT(in.err->arena);
        struct json_in one = json_in_item(list, i);

        read_component(one, sort, side, draft);
        one.err = &scratch;
        part = part_of(one, sort);
        sided = sided || (part && part->side);
    }
    if (!sided)
        err_fault(in.err, json_in_get(in, "bodySite").pointer,
            "must say which eye: the text right eye or left eye");
}

static void read_acuity(
    struct json_in in, const char *side, struct fhir_draft *draft)
{
    struct json_in quantity = json_in_get(in, "valueQuantity");
    struct json_in text = json_in_get(in, "valueString");
    const char *unit = fhir_text_at(quantity, "unit"), *notation = NULL;
    struct json_in from = quantity;
    char buf[NUM_TEXT_MAX];
    const json_t *number;
    const char *value;

    if (!side) {
        err_fault(in.err, json_in_get(in, "bodySite").pointer,
            "must say which eye: the text right eye, left eye or both eyes");
        return;
    }
    if (json_in_here(text)) {
        notation = "snellen";
        value = json_string_value(text.value);
        from = text;
    } else {
        if (!json_in_need(quantity) || !(number = number_of(quantity)))
            return;
        value = num_shortest(json_number_value(number), buf);
        if (strcmp(unit, "decimal acuity") == 0 || strcmp(unit, "decimal") == 0)
            notation = "decimal";
        if (strcasecmp(unit, "logmar") == 0)
            notation = "logmar";
    }
    if (!notation) {
        err_fault(in.err, json_in_get(quantity, "unit").pointer,
            "must be decimal acuity or logMAR");
        return;
    }
    fhir_put_text(draft, arena_printf(draft->arena, "/%s/acuity/text", side),
        value, from);
    fhir_put_text(draft,
        arena_printf(draft->arena, "/%s/acuity/notation", side), notation,
        from);
}

static void read_acuity_terms(
    struct json_in in, const struct subject *subject, struct fhir_draft *draft)
{
    struct json_in code = json_in_get(in, "code");
    const char *with = subject->with;

    if (!with &&
        fhir_has_code(json_in_get(in, "method"), FHIR_SNOMED, "419475002"))
        with = "pinhole";
    if (with)
        fhir_put_text(draft, "/with", with, code);
    if (subject->range)
        fhir_put_text(draft, "/distance", subject->range, code);
}

/* ---- all of it --------------------------------------------------------- */

static void read_note(struct json_in in, struct fhir_draft *draft)
{
    struct json_in note = json_in_item(json_in_get(in, "note"), 0);
    struct json_in text = json_in_get(note, "text");

    if (json_in_here(text))
        fhir_put_text(draft, "/comment", json_string_value(text.value), text);
}

/* Equal for the two eyes of one measurement. */
static const char *key_of(struct json_in in, const char *kind)
{
    static const char *const names[] = {
        "effectiveDateTime", "effectiveInstant", NULL};
    static const char *const objects[] = {
        "code", "subject", "device", "method", "note", NULL};
    TEXT_AUTO key = {0};

    text_puts(&key, kind);
    for (int i = 0; names[i]; i++)
        text_printf(&key, "\n%s", fhir_text_at(in, names[i]));
    for (int i = 0; objects[i]; i++) {
        const json_t *value = json_in_get(in, objects[i]).value;
        char *text =
            value ? json_dumps(value, JSON_COMPACT | JSON_SORT_KEYS) : NULL;

        text_printf(&key, "\n%s", text ? text : "");
        free(text);
    }
    return arena_strdup(in.err->arena, key.data);
}

bool fhir_observation_read(
    struct json_in in, const struct fhir_pool *pool, struct fhir_draft *draft)
{
    size_t before = in.err->n_faults;
    const struct subject *subject = subject_of(in);
    const char *side = side_of(in), *kind;

    check_status(in);
    read_time(in, draft);
    fhir_put_patient(draft, in, json_in_get(in, "subject"), pool);
    fhir_put_device(draft, in, json_in_get(in, "device"), pool);
    read_note(in, draft);
    if (!subject)
        return false;
    kind = kind_of(in, subject);
    if (!side && subject->side && !json_in_here(json_in_get(in, "bodySite")))
        side = subject->side;
    if (kind)
        fhir_put_text(draft, "/kind", kind, json_in_get(in, "code"));
    if (subject->sort == ACUITY) {
        read_acuity_terms(in, subject, draft);
        read_acuity(in, side, draft);
    } else {
        read_components(in, subject->sort, side, draft);
    }
    if (kind)
        draft->key = key_of(in, kind);
    return in.err->n_faults == before;
}
