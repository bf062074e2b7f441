/* instruments/profile_value.c - what stands in a cell becomes a JSON value. */
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/num.h"
#include "instruments/profile_inside.h"

#define MINUS_SIGN "\xe2\x88\x92" /* U+2212 */
#define DIGITS_MAX 12
#define PLACES_MAX 6

struct task {
    const struct profile *p;
    const struct profile_field *field;
    struct arena *arena;
    const char *why;
    bool local;
};

static json_t *refuse(struct task *t, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));

static json_t *refuse(struct task *t, const char *fmt, ...)
{
    va_list ap;

    va_start(ap, fmt);
    t->why = arena_vprintf(t->arena, fmt, ap);
    va_end(ap);
    return NULL;
}

json_t *profile_scalar_json(const struct profile_scalar *scalar)
{
    switch (scalar->type) {
    case PROFILE_STRING:
        return json_string(scalar->text);
    case PROFILE_DOUBLE:
        return json_real(scalar->number);
    case PROFILE_BOOL:
        return json_boolean(scalar->yes);
    default:
        return NULL;
    }
}

/* Blanks around it don't count. */
static const char *trimmed(const char *s, size_t len, struct arena *arena)
{
    while (len && (*s == ' ' || *s == '\t')) {
        s++;
        len--;
    }
    while (len && (s[len - 1] == ' ' || s[len - 1] == '\t'))
        len--;
    return arena_memdup(arena, s, len);
}

const char *profile_cell_text(
    const struct profile_cell *cell, struct arena *arena)
{
    char buf[NUM_TEXT_MAX];

    if (cell->s)
        return trimmed(cell->s, cell->len, arena);
    if (json_is_string(cell->json))
        return trimmed(json_string_value(cell->json),
            json_string_length(cell->json), arena);
    if (json_is_number(cell->json))
        return arena_strdup(
            arena, num_shortest(json_number_value(cell->json), buf));
    if (json_is_boolean(cell->json))
        return json_is_true(cell->json) ? "true" : "false";
    return "";
}

/* 10^n for n of 0 to 15 is exact, so one operation on it rounds once. */
static double shifted(double x, int shift)
{
    double power = 1;

    for (int i = shift < 0 ? -shift : shift; i > 0; i--)
        power *= 10;
    return shift < 0 ? x / power : x * power;
}

struct decimal {
    int sign; /* -1, 1, or 0: none was written */
    int64_t digits;
    int places;
};

/* [+-]digits[.digits] or [+-].digits, and nothing else. */
static bool read_decimal(const char *s, char point, struct decimal *ret)
{
    int n = 0, places = -1;

    *ret = (struct decimal){0, 0, 0};
    if (*s == '+' || *s == '-') {
        ret->sign = *s++ == '-' ? -1 : 1;
    } else if (strncmp(s, MINUS_SIGN, strlen(MINUS_SIGN)) == 0) {
        ret->sign = -1;
        s += strlen(MINUS_SIGN);
    }
    for (; *s; s++) {
        if (*s == point && places < 0) {
            places = 0;
        } else if (*s >= '0' && *s <= '9' && n < DIGITS_MAX) {
            ret->digits = ret->digits * 10 + (*s - '0');
            n++;
            places += places >= 0;
        } else {
            return false;
        }
    }
    ret->places = places > 0 ? places : 0;
    return n > 0 && places != 0 && ret->places <= PLACES_MAX;
}

static bool optical(enum profile_want want)
{
    return want == PROFILE_POWER || want == PROFILE_AMOUNT ||
           want == PROFILE_NUMBER || want == PROFILE_MM ||
           want == PROFILE_METRE;
}

static json_t *number_of(struct task *t, const char *text)
{
    const struct profile_field *f = t->field;
    char point = t->p->comma ? ',' : '.';
    struct decimal d;

    if (!read_decimal(text, point, &d))
        return refuse(t, "is no number as 1%c25: \"%s\"", point, text);
    if (d.sign == 0 && d.digits != 0 && f->want == PROFILE_POWER) {
        if (f->unsigned_means == PROFILE_UNSIGNED_REFUSE)
            return refuse(
                t, "has no sign: \"%s\"; a power that isn't 0 needs one", text);
        d.sign = f->unsigned_means == PROFILE_UNSIGNED_MINUS ? -1 : 1;
    }
    return json_real(shifted(
        (double)(d.sign < 0 ? -d.digits : d.digits), f->shift - d.places));
}

static json_t *time_of(struct task *t, const char *text)
{
    const struct profile *p = t->p;
    char offset[8] = "Z";
    const char *local;
    int min = p->zone_min < 0 ? -p->zone_min : p->zone_min;

    if (!t->field->format)
        return json_string(text);
    if (!profile_time_read(t->field->format, text,
            t->field->want == PROFILE_DATE, &local, t->arena))
        return refuse(t, "is not as \"%s\": \"%s\"", t->field->format, text);
    if (t->field->want == PROFILE_DATE)
        return json_string(local);
    t->local = p->zone_clinic;
    if (!p->zone_clinic && p->zone_min)
        snprintf(offset, sizeof(offset), "%c%02d:%02d",
            p->zone_min < 0 ? '-' : '+', min / 60 % 100, min % 60);
    return json_string(arena_printf(t->arena, "%s%s", local, offset));
}

static json_t *text_of(struct task *t, const char *text)
{
    if (t->field->before)
        return json_string(
            arena_printf(t->arena, "%s%s", t->field->before, text));
    return json_string(text);
}

static json_t *value_of(struct task *t, const char *text)
{
    switch (t->field->want) {
    case PROFILE_TEXT:
        return text_of(t, text);
    case PROFILE_YES:
        return refuse(
            t, "is neither true nor false by \"values\": \"%s\"", text);
    case PROFILE_TIME:
    case PROFILE_DATE:
        return time_of(t, text);
    default:
        return number_of(t, text);
    }
}

/* What JSON says by its own types; NULL where its text has to be read. */
static json_t *native(const struct profile_field *f, const json_t *json)
{
    if (json_is_number(json) && optical(f->want))
        return json_real(shifted(json_number_value(json), f->shift));
    if (json_is_boolean(json) && f->want == PROFILE_YES)
        return json_boolean(json_is_true(json));
    return NULL;
}

/* The text without what may stand behind it. */
static const char *without(
    const char *text, const char *suffix, struct arena *arena)
{
    size_t n = strlen(text), m = suffix ? strlen(suffix) : 0;

    if (m && n >= m && strcmp(text + n - m, suffix) == 0)
        return trimmed(text, n - m, arena);
    return text;
}

static const char *field_text(struct task *t, const struct profile_row *row)
{
    const struct profile_field *f = t->field;
    const char *text = profile_cell_text(&row->cells[f->cells[0]], t->arena);

    if (f->cells[1] >= 0) {
        const char *more =
            profile_cell_text(&row->cells[f->cells[1]], t->arena);

        if (*text || *more)
            text = arena_printf(t->arena, "%s %s", text, more);
    }
    return without(text, f->suffix, t->arena);
}

/* The sign that the mapping's form of a cylinder has. */
static json_t *check_cylinder(
    struct task *t, enum profile_cylinder form, json_t *json)
{
    double x = json_number_value(json);

    if (!t->field->is_cylinder || form == PROFILE_CYLINDER_EITHER || x == 0 ||
        (form == PROFILE_CYLINDER_PLUS) == (x > 0))
        return json;
    json_decref(json);
    return refuse(t, "is a %s cylinder, where the profile says %s",
        x > 0 ? "plus" : "minus",
        form == PROFILE_CYLINDER_PLUS ? "plus" : "minus");
}

json_t *profile_value(const struct profile *p,
    const struct profile_mapping *mapping, const struct profile_field *field,
    const struct profile_row *row, struct profile_why *ret)
{
    struct task t = {p, field, ret->arena, NULL, false};
    const char *text = field_text(&t, row);
    json_t *json;

    ret->why = NULL;
    ret->local = false;
    if (!*text || profile_words_hold(&p->not_measured, text) ||
        profile_words_hold(&field->not_measured, text))
        return NULL;
    for (size_t i = 0; i < field->n_values; i++)
        if (strcmp(field->values[i].text, text) == 0)
            return profile_scalar_json(&field->values[i].becomes);
    json = native(field, row->cells[field->cells[0]].json);
    if (!json)
        json = value_of(&t, text);
    if (json)
        json = check_cylinder(&t, mapping->cylinder, json);
    ret->why = t.why;
    ret->local = t.local;
    if (!json && !t.why)
        ret->why = "is no text that can be kept";
    return json;
}
