/* instruments/fhir_refer.c - drafts, and what resources refer to. */
#include <string.h>

#include "base/arena.h"
#include "base/instant.h"
#include "base/text.h"
#include "base/uuid.h"
#include "instruments/fhir_inside.h"

/* ---- drafts ------------------------------------------------------------ */

static void keep_from(
    struct fhir_draft *draft, const char *to, const char *from)
{
    draft->from = arena_grow(draft->arena, draft->from, draft->n, &draft->room,
        sizeof(*draft->from));
    draft->from[draft->n++] =
        (struct fhir_from){arena_strdup(draft->arena, to), from};
}

void fhir_put(struct fhir_draft *draft, const char *to, json_t *value,
    struct json_in from)
{
    char *rest = arena_strdup(draft->arena, to + 1);
    json_t *at = draft->doc;
    const char *name = strsep(&rest, "/");

    keep_from(draft, to, from.pointer);
    while (rest) {
        if (!json_object_get(at, name))
            json_object_set_new(at, name, json_object());
        at = json_object_get(at, name);
        name = strsep(&rest, "/");
    }
    if (json_object_get(at, name)) {
        err_fault(from.err, from.pointer, "is said twice in this resource");
        json_decref(value);
        return;
    }
    json_object_set_new(at, name, value);
}

void fhir_put_text(struct fhir_draft *draft, const char *to, const char *text,
    struct json_in from)
{
    fhir_put(draft, to, json_string(text), from);
}

void fhir_put_time(struct fhir_draft *draft, struct json_in at)
{
    const char *s = json_string_value(at.value);

    if (!s)
        return;
    if (strchr(s, 'T')) {
        fhir_put_text(draft, "/taken_at", s, at);
    } else if (strlen(s) == 10) {
        draft->day_only = true;
        fhir_put_text(draft, "/taken_at",
            arena_printf(draft->arena, "%sT00:00:00Z", s), at);
    } else {
        err_fault(at.err, at.pointer, "must name a day, not \"%s\" alone", s);
    }
}

/* ---- concepts ---------------------------------------------------------- */

const char *fhir_text_at(struct json_in in, const char *name)
{
    const char *s = json_string_value(json_in_get(in, name).value);

    return s ? s : "";
}

bool fhir_has_code(struct json_in concept, const char *system, const char *code)
{
    struct json_in list = json_in_get(concept, "coding");
    size_t n = json_array_size(list.value);

    for (size_t i = 0; i < n; i++) {
        struct json_in one = json_in_item(list, i);

        if (strcmp(fhir_text_at(one, "code"), code) == 0 &&
            strcmp(fhir_text_at(one, "system"), system) == 0)
            return true;
    }
    return false;
}

const char *fhir_concept_text(struct json_in concept)
{
    char *s = arena_strdup(concept.err->arena, fhir_text_at(concept, "text"));

    for (char *c = s; *c; c++)
        if (*c >= 'A' && *c <= 'Z')
            *c = (char)(*c + ('a' - 'A'));
    return s;
}

/* ---- references -------------------------------------------------------- */

/* True when reference, "Patient/7" or a URL, means the resource at item. */
static bool means(
    struct json_in item, const char *full_url, const char *reference)
{
    const char *type = fhir_text_at(item, "resourceType");
    const char *id = fhir_text_at(item, "id");
    size_t n = strlen(type);

    if (full_url && strcmp(full_url, reference) == 0)
        return true;
    return *id && strncmp(reference, type, n) == 0 && reference[n] == '/' &&
           strcmp(reference + n + 1, id) == 0;
}

/* The resource that is referred to; without value where it isn't here. */
static struct json_in find(struct json_in resource, struct json_in reference,
    const struct fhir_pool *pool)
{
    const char *s = fhir_text_at(reference, "reference");
    struct json_in contained = json_in_get(resource, "contained");
    struct json_in none = {NULL, reference.pointer, reference.err};

    for (size_t i = 0; *s == '#' && i < json_array_size(contained.value); i++) {
        struct json_in one = json_in_item(contained, i);

        if (strcmp(fhir_text_at(one, "id"), s + 1) == 0)
            return one;
    }
    for (size_t i = 0; *s && *s != '#' && i < pool->n; i++)
        if (means(pool->items[i], pool->full_urls[i], s))
            return pool->items[i];
    return none;
}

static bool is_a(struct json_in resource, const char *type)
{
    return strcmp(fhir_text_at(resource, "resourceType"), type) == 0;
}

static void put_number(struct fhir_draft *draft, struct json_in identifier)
{
    struct json_in value = json_in_get(identifier, "value");

    if (json_in_here(value))
        fhir_put_text(draft, "/patient/record_number",
            json_string_value(value.value), value);
}

/* Of several identifiers none is more the record number than another. */
static void put_person(struct fhir_draft *draft, struct json_in patient)
{
    struct json_in numbers = json_in_get(patient, "identifier");
    struct json_in name = json_in_item(json_in_get(patient, "name"), 0);
    struct json_in family = json_in_get(name, "family");
    struct json_in given = json_in_get(name, "given");
    struct json_in born = json_in_get(patient, "birthDate");
    TEXT_AUTO all = {0};

    if (json_array_size(numbers.value) == 1)
        put_number(draft, json_in_item(numbers, 0));
    if (json_in_here(family))
        fhir_put_text(
            draft, "/patient/family", json_string_value(family.value), family);
    for (size_t i = 0; i < json_array_size(given.value); i++)
        text_printf(&all, "%s%s", i ? " " : "",
            json_string_value(json_in_item(given, i).value));
    if (all.len)
        fhir_put_text(draft, "/patient/given", all.data, given);
    if (json_in_here(born))
        fhir_put_text(
            draft, "/patient/born", json_string_value(born.value), born);
}

void fhir_put_patient(struct fhir_draft *draft, struct json_in resource,
    struct json_in reference, const struct fhir_pool *pool)
{
    struct json_in patient = find(resource, reference, pool);
    struct json_in number = json_in_get(reference, "identifier");
    const char *s = fhir_text_at(reference, "reference");
    const char *slash = strrchr(s, '/');
    char lower[UUID_TEXT_SIZE];

    if (is_a(patient, "Patient") && fhir_shape_check(patient, FHIR_PATIENT))
        put_person(draft, patient);
    else if (json_in_here(number))
        put_number(draft, number);
    else if (slash && uuid_parse(slash + 1, strlen(slash + 1), lower))
        fhir_put_text(draft, "/patient/id", lower, reference);
}

void fhir_put_device(struct fhir_draft *draft, struct json_in resource,
    struct json_in reference, const struct fhir_pool *pool)
{
    static const struct {
        const char *element, *to;
    } TEXTS[] = {
        {"serialNumber", "/device/serial"},
        {"modelNumber", "/device/model"},
        {"manufacturer", "/device/manufacturer"},
    };
    struct json_in device = find(resource, reference, pool);
    struct json_in version = json_in_item(json_in_get(device, "version"), 0);

    if (!is_a(device, "Device") || !fhir_shape_check(device, FHIR_DEVICE))
        return;
    for (size_t i = 0; i < ARRAY_LEN(TEXTS); i++) {
        struct json_in at = json_in_get(device, TEXTS[i].element);

        if (json_in_here(at))
            fhir_put_text(draft, TEXTS[i].to, json_string_value(at.value), at);
    }
    if (json_in_here(version))
        fhir_put_text(draft, "/device/software", fhir_text_at(version, "value"),
            json_in_get(version, "value"));
}

const char *fhir_name_of(struct json_in resource, struct json_in reference,
    const struct fhir_pool *pool)
{
    struct json_in person = find(resource, reference, pool);
    struct json_in name = json_in_item(json_in_get(person, "name"), 0);
    const char *display = fhir_text_at(reference, "display");
    const char *given = "";

    if (*display)
        return display;
    if (*fhir_text_at(name, "text"))
        return fhir_text_at(name, "text");
    if (json_is_string(json_in_item(json_in_get(name, "given"), 0).value))
        given = json_string_value(
            json_in_item(json_in_get(name, "given"), 0).value);
    if (!*given && !*fhir_text_at(name, "family"))
        return NULL;
    return arena_printf(resource.err->arena, "%s%s%s", given,
        *given && *fhir_text_at(name, "family") ? " " : "",
        fhir_text_at(name, "family"));
}
