#include "record/order_field.h"

#include <stdio.h>
#include <string.h>

#include "base/num.h"
#include "base/text.h"

#define OPTICAL true
#define BOTH RECORD_BOTH

/* Each field of both eyes, right before left. */
#define EYES(member, name, kind, optical)                                      \
    {"/right/" member, name, RECORD_RIGHT, RECORD_FIELD_##kind, optical},      \
    {                                                                          \
        "/left/" member, name, RECORD_LEFT, RECORD_FIELD_##kind, optical       \
    }
#define ONE(pointer, name, kind, optical)                                      \
    {                                                                          \
        pointer, name, BOTH, RECORD_FIELD_##kind, optical                      \
    }
/* A length of each eye: the parent's members are the eyes' words. */
#define LENGTHS(parent, name)                                                  \
    {parent "/right", name, RECORD_RIGHT, RECORD_FIELD_MM, OPTICAL},           \
    {                                                                          \
        parent "/left", name, RECORD_LEFT, RECORD_FIELD_MM, OPTICAL            \
    }

static const struct record_order_field FIELDS[] = {
    EYES("lens", "lens", PLAIN, OPTICAL),
    EYES("sphere", "sphere", POWER, OPTICAL),
    EYES("cylinder", "cylinder", POWER, OPTICAL),
    EYES("axis", "axis", AXIS, OPTICAL),
    EYES("add", "add", POWER, OPTICAL),
    EYES("intermediate_add", "intermediate add", POWER, OPTICAL),
    EYES("prism", "prism", PRISM, OPTICAL),
    EYES("near_prism", "near prism", PRISM, OPTICAL),
    ONE("/vertex_mm", "vertex distance of the powers", MM, OPTICAL),
    LENGTHS("/pd_mm", "far PD"),
    ONE("/pd_mm/binocular", "far PD of both eyes", MM, OPTICAL),
    LENGTHS("/pd_mm/near", "near PD"),
    ONE("/pd_mm/near/binocular", "near PD of both eyes", MM, OPTICAL),
    ONE("/only", "the one lens that is made", PLAIN, OPTICAL),
    ONE("/lens/design", "lens design", PLAIN, false),
    ONE("/lens/material", "lens material", PLAIN, false),
    ONE("/lens/index", "refractive index", PLAIN, false),
    ONE("/lens/treatments", "treatments", PLAIN, false),
    ONE("/lens/tint", "tint", PLAIN, false),
    ONE("/frame/a_mm", "frame size A", MM, false),
    ONE("/frame/b_mm", "frame size B", MM, false),
    ONE("/frame/dbl_mm", "frame size DBL", MM, false),
    ONE("/frame/ed_mm", "frame size ED", MM, false),
    LENGTHS("/frame/fitting_height_mm", "fitting height"),
    ONE("/frame/worn_vertex_mm", "worn vertex distance", MM, false),
    ONE("/frame/tilt_deg", "tilt", DEG, false),
    ONE("/frame/wrap_deg", "wrap", DEG, false),
    ONE("/frame/supply", "frame supply", PLAIN, false),
    ONE("/purpose", "purpose", PLAIN, false),
    ONE("/priority", "priority", PLAIN, false),
    ONE("/make_power", "which power is made", PLAIN, false),
    ONE("/deliver_to", "where to deliver", PLAIN, false),
    ONE("/notes", "notes", PLAIN, false),
    ONE("/cylinder_form", "written cylinder form", PLAIN, false),
    ONE("/rx/edition", "edition of the Rx", PLAIN, false),
    ONE("/rx/expires_on", "expiry of the Rx", PLAIN, false),
};
#define FIELD_COUNT (sizeof(FIELDS) / sizeof(FIELDS[0]))
_Static_assert(FIELD_COUNT <= RECORD_ORDER_CHANGES_MAX, "each can change");

const struct record_order_field *record_order_field_at(const char *pointer)
{
    for (size_t i = 0; i < FIELD_COUNT; i++)
        if (strcmp(FIELDS[i].pointer, pointer) == 0)
            return &FIELDS[i];
    return NULL;
}

/* Names of fields need no unescaping.  NULL for null and an empty list, too. */
static const json_t *value_at(const json_t *doc, const char *pointer)
{
    char name[40];

    while (doc && *pointer == '/') {
        size_t len = strcspn(++pointer, "/");

        snprintf(name, sizeof(name), "%.*s", (int)len, pointer);
        doc = json_object_get(doc, name);
        pointer += len;
    }
    if (json_is_null(doc) || (json_is_array(doc) && json_array_size(doc) == 0))
        return NULL;
    return doc;
}

/* Two decimals of one value can be told by an integer or a real. */
static bool same(const json_t *a, const json_t *b)
{
    if (!a || !b)
        return a == b;
    if (json_is_number(a) && json_is_number(b))
        return num_round(json_number_value(a), 3) ==
               num_round(json_number_value(b), 3);
    if (json_is_array(a) && json_is_array(b)) {
        if (json_array_size(a) != json_array_size(b))
            return false;
        for (size_t i = 0; i < json_array_size(a); i++)
            if (!same(json_array_get(a, i), json_array_get(b, i)))
                return false;
        return true;
    }
    if (json_is_object(a) && json_is_object(b)) {
        const char *key;
        const json_t *value;

        json_object_foreach ((json_t *)(uintptr_t)a, key, value) {
            if (!same(value, json_object_get(b, key)))
                return false;
        }
        return json_object_size(a) == json_object_size(b);
    }
    return json_equal(a, b) != 0;
}

size_t record_order_changes(const json_t *before, const json_t *after,
    struct record_order_change ret[RECORD_ORDER_CHANGES_MAX])
{
    size_t n = 0;

    for (size_t i = 0; i < FIELD_COUNT; i++) {
        const json_t *old = value_at(before, FIELDS[i].pointer);
        const json_t *now = value_at(after, FIELDS[i].pointer);

        if (!same(old, now))
            ret[n++] = (struct record_order_change){&FIELDS[i], old, now};
    }
    return n;
}

/* ---- written ------------------------------------------------------------ */

static void write_prism(
    struct json_out *o, const char *key, const json_t *value)
{
    json_out_array(o, key);
    for (size_t i = 0; i < json_array_size(value); i++) {
        const json_t *part = json_array_get(value, i);

        json_out_object(o, NULL);
        json_out_scaled(o, "amount",
            num_round(json_number_value(json_object_get(part, "amount")), 2),
            2);
        json_out_text(
            o, "base", json_string_value(json_object_get(part, "base")));
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

static void write_plain(
    struct json_out *o, const char *key, const json_t *value)
{
    if (json_is_array(value)) {
        json_out_array(o, key);
        for (size_t i = 0; i < json_array_size(value); i++)
            json_out_text(o, NULL, json_string_value(json_array_get(value, i)));
        json_out_array_end(o);
    } else if (json_is_number(value)) {
        json_out_number(o, key, json_number_value(value), 3);
    } else {
        json_out_text(o, key, json_string_value(value));
    }
}

static void write_value(struct json_out *o, const char *key,
    enum record_field_kind kind, const json_t *value)
{
    if (!value)
        json_out_null(o, key);
    else if (kind == RECORD_FIELD_POWER)
        json_out_scaled(o, key, num_round(json_number_value(value), 2), 2);
    else if (kind == RECORD_FIELD_PRISM)
        write_prism(o, key, value);
    else
        write_plain(o, key, value);
}

/* ---- in words ------------------------------------------------------------ */

static void say_power(struct text *t, const json_t *value)
{
    int64_t cd = num_round(json_number_value(value), 2);
    char text[NUM_TEXT_MAX];

    if (cd == 0)
        text_puts(t, "plano");
    else
        text_printf(t, "%s%s", cd > 0 ? "+" : "", num_text(cd, 2, text));
}

static void say_prism(struct text *t, const json_t *value)
{
    char text[NUM_TEXT_MAX];

    for (size_t i = 0; i < json_array_size(value); i++) {
        const json_t *part = json_array_get(value, i);
        double amount = json_number_value(json_object_get(part, "amount"));

        text_printf(t, "%s%s base %s", i ? " and " : "",
            num_text(num_round(amount, 2), 2, text),
            json_string_value(json_object_get(part, "base")));
    }
}

static void say_plain(struct text *t, const json_t *value, const char *unit)
{
    char text[NUM_TEXT_MAX];

    if (json_is_string(value))
        text_puts(t, json_string_value(value));
    else if (json_is_number(value))
        text_printf(
            t, "%s%s", num_trim(json_number_value(value), 3, text), unit);
    for (size_t i = 0; i < json_array_size(value); i++)
        text_printf(t, "%s%s", i ? ", " : "",
            json_string_value(json_array_get(value, i)));
}

static void say(
    struct text *t, const struct record_order_field *field, const json_t *value)
{
    if (!value)
        text_puts(t, "nothing");
    else if (field->kind == RECORD_FIELD_POWER &&
             strcmp(field->name, "cylinder") == 0 &&
             num_round(json_number_value(value), 2) == 0)
        text_puts(t, "none");
    else if (field->kind == RECORD_FIELD_POWER)
        say_power(t, value);
    else if (field->kind == RECORD_FIELD_PRISM)
        say_prism(t, value);
    else if (field->kind == RECORD_FIELD_AXIS)
        text_printf(t, "%03d", (int)json_number_value(value));
    else
        say_plain(t, value,
            field->kind == RECORD_FIELD_MM    ? " mm"
            : field->kind == RECORD_FIELD_DEG ? " degrees"
                                              : "");
}

void record_order_change_write(struct json_out *o,
    const struct record_order_change *change, struct arena *arena)
{
    const struct record_order_field *field = change->field;
    TEXT_AUTO t = {0};

    if (field->side != RECORD_BOTH)
        text_printf(&t, "%s ", record_side_word(field->side));
    text_printf(&t, "%s: ", field->name);
    say(&t, field, change->after);
    text_puts(&t, ", was ");
    say(&t, field, change->before);
    json_out_object(o, NULL);
    json_out_text(o, "pointer", field->pointer);
    json_out_text(o, "field", field->name);
    if (field->side != RECORD_BOTH)
        json_out_text(o, "eye", record_side_word(field->side));
    json_out_bool(o, "optical", field->optical);
    write_value(o, "before", field->kind, change->before);
    write_value(o, "after", field->kind, change->after);
    json_out_text(o, "text", arena_memdup(arena, t.data, t.len));
    json_out_object_end(o);
}
