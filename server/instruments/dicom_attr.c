#include "instruments/dicom_attr.h"

#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "instruments/decimal.h"

size_t dicom_count(struct json_in set, const char *tag)
{
    struct json_in at = json_in_get(set, tag);
    struct json_in values = json_in_get(at, "Value");
    size_t n;

    if (!json_in_here(at))
        return 0;
    if (!json_is_object(at.value)) {
        err_fault(set.err, at.pointer, "must be an object with vr and Value");
        return 0;
    }
    if (!json_in_array(values, 0, 1000, &n))
        return 0;
    /* Nulls stand for values that are missing inside a list. */
    return n == 1 && !json_in_here(json_in_item(values, 0)) ? 0 : n;
}

struct json_in dicom_value(struct json_in set, const char *tag, size_t i)
{
    return json_in_item(json_in_get(json_in_get(set, tag), "Value"), i);
}

bool dicom_need(struct json_in set, const char *tag, const char *keyword)
{
    size_t before = set.err->n_faults;
    bool here = dicom_count(set, tag) > 0;

    if (!here && set.err->n_faults == before)
        err_fault(set.err, json_in_get(set, tag).pointer, "is required (%s)",
            keyword);
    return here;
}

static bool one_value(struct json_in set, const char *tag, struct json_in *ret)
{
    size_t n = dicom_count(set, tag);

    if (n == 0)
        return false;
    if (n > 1) {
        err_fault(set.err, json_in_get(set, tag).pointer,
            "must have one value, not %zu", n);
        return false;
    }
    *ret = dicom_value(set, tag, 0);
    return true;
}

bool dicom_item(struct json_in set, const char *tag, struct json_in *ret)
{
    struct json_in item, at = json_in_get(set, tag);
    size_t before = set.err->n_faults;

    if (!json_in_here(at))
        return false;
    if (!one_value(set, tag, &item)) {
        if (set.err->n_faults == before)
            err_fault(set.err, at.pointer, "must have one item, not none");
        return false;
    }
    if (!json_is_object(item.value)) {
        err_fault(set.err, item.pointer, "must be an item (an object)");
        return false;
    }
    *ret = item;
    return true;
}

/* Without the spaces that DICOM pads texts with. */
static const char *trimmed(struct arena *arena, const char *s, size_t len)
{
    while (len && *s == ' ') {
        s++;
        len--;
    }
    while (len && s[len - 1] == ' ')
        len--;
    return arena_memdup(arena, s, len);
}

bool dicom_text(
    struct json_in set, const char *tag, size_t max, const char **ret)
{
    struct json_in at;
    const char *text;

    if (dicom_count(set, tag) == 0)
        return false;
    at = dicom_value(set, tag, 0);
    if (json_is_string(at.value) && json_string_length(at.value) == 0)
        return false;
    if (!json_in_text(at, max, &text))
        return false;
    text = trimmed(set.err->arena, text, strlen(text));
    if (!*text)
        return false;
    *ret = text;
    return true;
}

bool dicom_word(
    struct json_in set, const char *tag, const char *const words[], int *ret)
{
    struct json_in at;
    const char *text;

    if (!one_value(set, tag, &at) || !dicom_text(set, tag, 64, &text))
        return false;
    for (int i = 0; words[i]; i++) {
        if (strcmp(words[i], text) == 0) {
            *ret = i;
            return true;
        }
    }
    err_fault(set.err, at.pointer, "has an unknown value: \"%s\"", text);
    return false;
}

/* A number of any numeric VR; DS and IS may be text. */
static bool any_number(
    struct json_in set, const char *tag, struct json_in at, double *ret)
{
    const json_t *vr = json_in_get(json_in_get(set, tag), "vr").value;
    const char *word = json_is_string(vr) ? json_string_value(vr) : "";

    if (json_is_number(at.value)) {
        *ret = json_number_value(at.value);
        return true;
    }
    if (json_is_string(at.value) &&
        (strcmp(word, "DS") == 0 || strcmp(word, "IS") == 0)) {
        if (instruments_decimal_read(
                json_string_value(at.value), json_string_length(at.value), ret))
            return true;
        err_fault(set.err, at.pointer, "must be a decimal of 16 characters");
        return false;
    }
    err_fault(set.err, at.pointer, "must be a number");
    return false;
}

bool dicom_number(
    struct json_in set, const char *tag, const double range[2], double *ret)
{
    char low[NUM_TEXT_MAX], high[NUM_TEXT_MAX], got[NUM_TEXT_MAX];
    struct json_in at;
    double x;

    if (!one_value(set, tag, &at) || !any_number(set, tag, at, &x))
        return false;
    if (!(x >= range[0] && x <= range[1])) {
        err_fault(set.err, at.pointer, "must be from %s to %s, not %s",
            num_shortest(range[0], low), num_shortest(range[1], high),
            num_shortest(x, got));
        return false;
    }
    *ret = x;
    return true;
}

bool dicom_scaled(struct json_in set, const char *tag, int places,
    const double range[2], int32_t *ret)
{
    double x;

    if (!dicom_number(set, tag, range, &x))
        return false;
    *ret = (int32_t)num_round(x, places);
    return true;
}
