#include "base/json_in.h"

#include <math.h>
#include <string.h>

#include "base/arena.h"
#include "base/instant.h"
#include "base/num.h"
#include "base/text.h"
#include "base/uuid.h"

enum rc json_in_parse(
    const char *bytes, size_t len, json_t **ret_json, struct err *err)
{
    json_error_t why;
    json_t *json;

    if (len == 0)
        return err_set(err, RC_SYNTAX, "", "the body is empty");
    json = json_loadb(bytes, len,
        JSON_REJECT_DUPLICATES | JSON_ALLOW_NUL | JSON_DECODE_ANY, &why);
    if (!json)
        return err_set(err, RC_SYNTAX, "", "not JSON at line %d, column %d: %s",
            why.line, why.column, why.text);
    *ret_json = json;
    return RC_OK;
}

struct json_in json_in_root(const json_t *value, struct err *err)
{
    return (struct json_in){.value = value, .pointer = "", .err = err};
}

/* RFC 6901: ~ and / of a name are written ~0 and ~1.  Made for every member
 * that is read, so without printf. */
static const char *pointer_add(struct json_in in, const char *name)
{
    size_t before = strlen(in.pointer);
    char *whole = arena_alloc(in.err->arena, before + 2 * strlen(name) + 2);
    char *to = whole + before;

    memcpy(whole, in.pointer, before);
    *to++ = '/';
    for (; *name; name++) {
        if (*name == '~' || *name == '/') {
            *to++ = '~';
            *to++ = *name == '~' ? '0' : '1';
        } else {
            *to++ = *name;
        }
    }
    *to = '\0';
    return whole;
}

struct json_in json_in_get(struct json_in in, const char *name)
{
    struct json_in child = {.err = in.err};

    child.value = in.value ? json_object_get(in.value, name) : NULL;
    if (child.value && json_is_null(child.value))
        child.value = NULL;
    child.pointer = pointer_add(in, name);
    return child;
}

struct json_in json_in_item(struct json_in in, size_t i)
{
    struct json_in child = {.err = in.err};
    char place[NUM_TEXT_MAX];

    child.value = in.value ? json_array_get(in.value, i) : NULL;
    if (child.value && json_is_null(child.value))
        child.value = NULL;
    child.pointer = pointer_add(in, num_text((int64_t)i, 0, place));
    return child;
}

static const char *type_word(const json_t *v)
{
    switch (json_typeof(v)) {
    case JSON_OBJECT:
        return "an object";
    case JSON_ARRAY:
        return "an array";
    case JSON_STRING:
        return "a text";
    case JSON_INTEGER:
    case JSON_REAL:
        return "a number";
    case JSON_TRUE:
    case JSON_FALSE:
        return "true or false";
    default:
        return "null";
    }
}

static bool wrong_type(struct json_in in, const char *want)
{
    err_fault(
        in.err, in.pointer, "must be %s, not %s", want, type_word(in.value));
    return false;
}

static bool known(const char *const names[], const char *name)
{
    for (; *names; names++)
        if (strcmp(*names, name) == 0)
            return true;
    return false;
}

bool json_in_object(struct json_in in, const char *const names[])
{
    const char *name;
    json_t *child;
    bool good = true;

    if (!in.value)
        return false;
    if (!json_is_object(in.value))
        return wrong_type(in, "an object");
    json_object_foreach ((json_t *)in.value, name, child) {
        if (known(names, name))
            continue;
        err_fault(in.err, pointer_add(in, name), "no such field here");
        good = false;
    }
    return good;
}

bool json_in_array(struct json_in in, size_t min, size_t max, size_t *ret_n)
{
    size_t n;

    if (!in.value)
        return false;
    if (!json_is_array(in.value))
        return wrong_type(in, "an array");
    n = json_array_size(in.value);
    if (n < min || n > max) {
        err_fault(in.err, in.pointer, "must hold %zu to %zu items, not %zu",
            min, max, n);
        return false;
    }
    *ret_n = n;
    return true;
}

bool json_in_need(struct json_in in)
{
    if (!in.value)
        err_fault(in.err, in.pointer, "is required");
    return in.value != NULL;
}

/* Code points of valid UTF-8 (jansson checked it), or -1 on a character that
 * no text of ours may hold. */
static long code_points(const char *s, size_t len)
{
    long n = 0;

    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char)s[i];

        if ((c < 0x20 && c != '\n' && c != '\t') || c == 0x7f)
            return -1;
        if (c == 0xc2 && (unsigned char)s[i + 1] < 0xa0)
            return -1; /* U+0080 to U+009F */
        if ((c & 0xc0) != 0x80)
            n++;
    }
    return n;
}

bool json_in_text(struct json_in in, size_t max, const char **ret)
{
    const char *s;
    long n;

    if (!in.value)
        return false;
    if (!json_is_string(in.value))
        return wrong_type(in, "a text");
    s = json_string_value(in.value);
    n = code_points(s, json_string_length(in.value));
    if (n < 0)
        err_fault(in.err, in.pointer, "holds a control character");
    else if (n == 0)
        err_fault(in.err, in.pointer, "must not be empty");
    else if ((size_t)n > max)
        err_fault(in.err, in.pointer,
            "must have at most %zu characters, not %ld", max, n);
    else
        *ret = s;
    return n > 0 && (size_t)n <= max;
}

bool json_in_line(struct json_in in, size_t max, const char **ret)
{
    const char *s;

    if (!json_in_text(in, max, &s))
        return false;
    if (strpbrk(s, "\n\t")) {
        err_fault(in.err, in.pointer, "must be one line without tabs");
        return false;
    }
    if (s[strspn(s, " ")] == '\0') {
        err_fault(in.err, in.pointer, "must not be blank");
        return false;
    }
    *ret = arena_strdup(in.err->arena, s);
    return true;
}

bool json_in_number(struct json_in in, double min, double max, double *ret)
{
    double x;

    if (!in.value)
        return false;
    if (!json_is_number(in.value))
        return wrong_type(in, "a number");
    x = json_number_value(in.value);
    if (!(x >= min && x <= max)) {
        char a[NUM_TEXT_MAX], b[NUM_TEXT_MAX], c[NUM_TEXT_MAX];

        err_fault(in.err, in.pointer, "must be from %s to %s, not %s",
            num_shortest(min, a), num_shortest(max, b), num_shortest(x, c));
        return false;
    }
    *ret = x;
    return true;
}

bool json_in_scaled(
    struct json_in in, int places, const double range[2], int32_t *ret)
{
    double x;
    int64_t whole;

    if (!json_in_number(in, range[0], range[1], &x))
        return false;
    if (!num_scaled(x, places, 1e6, &whole)) {
        err_fault(in.err, in.pointer,
            places ? "must have at most %d decimals" : "must be a whole number",
            places);
        return false;
    }
    *ret = (int32_t)whole;
    return true;
}

bool json_in_int(struct json_in in, int64_t min, int64_t max, int64_t *ret)
{
    double x;

    if (!json_in_number(in, (double)min, (double)max, &x))
        return false;
    if (x != floor(x)) {
        err_fault(in.err, in.pointer, "must be a whole number");
        return false;
    }
    *ret =
        json_is_integer(in.value) ? json_integer_value(in.value) : (int64_t)x;
    return true;
}

bool json_in_bool(struct json_in in, bool *ret)
{
    if (!in.value)
        return false;
    if (!json_is_boolean(in.value))
        return wrong_type(in, "true or false");
    *ret = json_is_true(in.value);
    return true;
}

bool json_in_choice(struct json_in in, const char *const words[], int *ret)
{
    TEXT_AUTO list = {0};

    if (!in.value)
        return false;
    if (!json_is_string(in.value))
        return wrong_type(in, "a text");
    for (int i = 0; words[i]; i++) {
        if (strcmp(words[i], json_string_value(in.value)) == 0 &&
            strlen(words[i]) == json_string_length(in.value)) {
            *ret = i;
            return true;
        }
        text_printf(&list, "%s%s", i ? ", " : "", words[i]);
    }
    err_fault(in.err, in.pointer, "must be one of %s", list.data);
    return false;
}

bool json_in_uuid(struct json_in in, const char **ret)
{
    char *lower;

    if (!in.value)
        return false;
    if (!json_is_string(in.value))
        return wrong_type(in, "a text");
    lower = arena_alloc(in.err->arena, UUID_TEXT_SIZE);
    if (!uuid_parse(
            json_string_value(in.value), json_string_length(in.value), lower)) {
        err_fault(in.err, in.pointer, "must be an id (a UUID)");
        return false;
    }
    *ret = lower;
    return true;
}

bool json_in_time(struct json_in in, int64_t *ret_us, int *ret_offset_min)
{
    int64_t us;
    int offset;

    if (!in.value)
        return false;
    if (!json_is_string(in.value))
        return wrong_type(in, "a text");
    if (strlen(json_string_value(in.value)) != json_string_length(in.value) ||
        !instant_parse(json_string_value(in.value), &us, &offset)) {
        err_fault(in.err, in.pointer,
            "must be a time with an offset, as 2026-03-02T09:14:05+01:00");
        return false;
    }
    if (ret_us)
        *ret_us = us;
    if (ret_offset_min)
        *ret_offset_min = offset;
    return true;
}

bool json_in_date(struct json_in in, const char **ret)
{
    if (!in.value)
        return false;
    if (!json_is_string(in.value))
        return wrong_type(in, "a text");
    if (strlen(json_string_value(in.value)) != json_string_length(in.value) ||
        !instant_date_valid(json_string_value(in.value))) {
        err_fault(in.err, in.pointer,
            "must be a date, as 1984-05-30, 1984-05 or 1984");
        return false;
    }
    *ret = json_string_value(in.value);
    return true;
}
