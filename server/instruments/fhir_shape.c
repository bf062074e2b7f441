#include "instruments/fhir_shape.h"

#include <string.h>

#include "base/arena.h"
#include "base/instant.h"

static const struct element {
    const char *name;
    enum fhir_type of;
    enum fhir_type type;
    int least;
    bool many;
} ELEMENTS[] = {
#define ELEMENT(of, name, type, least, many) {name, of, type, least, many},
#include "instruments/fhir_shapes.def"
#undef ELEMENT
};

static bool is_resource(enum fhir_type type)
{
    return type >= FHIR_VISION_PRESCRIPTION && type <= FHIR_BUNDLE;
}

static const struct element *find(enum fhir_type of, const char *name)
{
    for (size_t i = 0; i < ARRAY_LEN(ELEMENTS); i++)
        if (ELEMENTS[i].of == of && strcmp(ELEMENTS[i].name, name) == 0)
            return &ELEMENTS[i];
    return NULL;
}

/* What all elements may have, and all resources. */
static bool is_common(const char *name, bool resource)
{
    static const char *const anywhere[] = {"id", "extension", NULL};
    static const char *const there[] = {
        "resourceType", "meta", "language", "text", "contained", NULL};

    for (int i = 0; anywhere[i]; i++)
        if (strcmp(name, anywhere[i]) == 0)
            return true;
    for (int i = 0; resource && there[i]; i++)
        if (strcmp(name, there[i]) == 0)
            return true;
    return false;
}

static void check_name(struct json_in in, enum fhir_type type, const char *name)
{
    struct json_in at = json_in_get(in, name);

    if (find(type, name) || is_common(name, is_resource(type)))
        return;
    if (strcmp(name, "modifierExtension") == 0 ||
        (is_resource(type) && strcmp(name, "implicitRules") == 0))
        err_fault(in.err, at.pointer,
            "may change the meaning of the rest, and isn't understood here");
    else if (*name != '_' || !find(type, name + 1))
        err_fault(in.err, at.pointer, "no such element of FHIR R4 here");
}

static void check_date_time(struct json_in in)
{
    const char *s = json_string_value(in.value);
    int64_t us;
    int offset;

    if (!s || (!instant_date_valid(s) && !instant_parse(s, &us, &offset)))
        err_fault(in.err, in.pointer,
            "must be a date, or a time with an offset, as 2026-09-10 or "
            "2026-09-10T10:45:00Z");
}

static void check_code(struct json_in in)
{
    const char *s = json_string_value(in.value);

    if (!s || !*s || strlen(s) != json_string_length(in.value) ||
        s[strcspn(s, "\t\r\n")] || *s == ' ' || s[strlen(s) - 1] == ' ')
        err_fault(in.err, in.pointer,
            "must be a code (a text without blanks "
            "around it)");
}

static void check_one(struct json_in in, enum fhir_type type)
{
    const char *text;

    switch (type) {
    case FHIR_ANYTHING:
        if (!json_is_object(in.value))
            err_fault(in.err, in.pointer, "must be an object");
        break;
    case FHIR_TEXT:
        json_in_text(in, 100000, &text);
        break;
    case FHIR_CODE:
        check_code(in);
        break;
    case FHIR_BOOLEAN:
        json_in_bool(in, &(bool){false});
        break;
    case FHIR_DECIMAL:
        if (!json_is_number(in.value))
            err_fault(in.err, in.pointer, "must be a number");
        break;
    case FHIR_INTEGER:
        if (!json_is_integer(in.value))
            err_fault(in.err, in.pointer, "must be a whole number");
        break;
    case FHIR_DATE_TIME:
        check_date_time(in);
        break;
    case FHIR_DATE:
        json_in_date(in, &text);
        break;
    default:
        fhir_shape_check(in, type);
    }
}

static void check_element(struct json_in in, const struct element *element)
{
    struct json_in at = json_in_get(in, element->name);
    size_t n;

    if (!json_in_here(at)) {
        if (element->least)
            json_in_need(at);
    } else if (!element->many) {
        check_one(at, element->type);
    } else if (json_in_array(at, 1, 10000, &n)) {
        for (size_t i = 0; i < n; i++)
            if (json_in_need(json_in_item(at, i)))
                check_one(json_in_item(at, i), element->type);
    }
}

bool fhir_shape_check(struct json_in in, enum fhir_type type)
{
    size_t before = in.err->n_faults;
    const char *name;
    json_t *value;

    if (!json_is_object(in.value)) {
        err_fault(in.err, in.pointer, "must be an object");
        return false;
    }
    json_object_foreach ((json_t *)in.value, name, value) {
        check_name(in, type, name);
    }
    for (size_t i = 0; i < ARRAY_LEN(ELEMENTS); i++)
        if (ELEMENTS[i].of == type)
            check_element(in, &ELEMENTS[i]);
    return in.err->n_faults == before;
}

const char *fhir_resource_type(struct json_in in)
{
    struct json_in at = json_in_get(in, "resourceType");

    if (!json_is_object(in.value)) {
        err_fault(in.err, in.pointer, "must be a resource (an object)");
        return NULL;
    }
    if (!json_in_need(at))
        return NULL;
    if (!json_is_string(at.value)) {
        err_fault(in.err, at.pointer, "must be a text");
        return NULL;
    }
    return json_string_value(at.value);
}
