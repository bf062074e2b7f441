#include "reading_case.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/instant.h"
#include "base/text.h"
#include "instruments/format.h"
#include "instruments/profile.h"
#include "profile_case.h"
#include "record/caution.h"
#include "record/reading_json.h"

static const char *why; /* of the running row */

static void read_file(const char *path, struct text *to)
{
    char name[400], buf[4096];
    size_t n;
    FILE *f;

    snprintf(name, sizeof(name), "%s/%s", TEST_DATA, path);
    f = fopen(name, "rb");
    if (!f) {
        perror(name);
        exit(2);
    }
    while ((n = fread(buf, 1, sizeof(buf), f)) > 0)
        text_put(to, buf, n);
    fclose(f);
}

static json_t *parse(const char *text)
{
    json_error_t e;
    json_t *json = json_loads(text, JSON_DECODE_ANY | JSON_ALLOW_NUL, &e);

    if (!json) {
        fprintf(
            stderr, "%s at %d:%d in %.80s\n", e.text, e.line, e.column, text);
        exit(2);
    }
    return json;
}

json_t **reading_cases(const char *path, size_t *ret_n)
{
    TEXT_AUTO t = {0};
    json_t **rows = xcalloc(1000, sizeof(json_t *));
    char *end;

    read_file(path, &t);
    *ret_n = 0;
    for (char *line = t.data; *ret_n < 1000 && (end = strchr(line, '\n'));
         line = end + 1) {
        *end = '\0';
        rows[(*ret_n)++] = parse(line);
    }
    return rows;
}

static json_t *step(json_t *at, const char *token)
{
    if (json_is_array(at))
        return json_array_get(at, (size_t)strtoul(token, NULL, 10));
    return json_object_get(at, token);
}

/* The value that holds what pointer names, and the pointer's last token. */
static json_t *parent(json_t *root, const char *pointer, char last[100])
{
    json_t *at = root;
    const char *p = pointer;

    for (;;) {
        size_t len = strcspn(++p, "/");

        snprintf(last, 100, "%.*s", (int)len, p);
        p += len;
        if (!*p)
            return at;
        at = step(at, last);
    }
}

json_t *reading_case_at(json_t *root, const char *pointer)
{
    char last[100];

    return *pointer ? step(parent(root, pointer, last), last) : root;
}

static void set_at(json_t *root, const char *pointer, json_t *value)
{
    char last[100];
    json_t *at = parent(root, pointer, last);

    if (json_is_array(at) && strcmp(last, "-") == 0)
        json_array_append(at, value);
    else if (json_is_array(at))
        json_array_set(at, (size_t)strtoul(last, NULL, 10), value);
    else
        ck_assert_msg(json_object_set(at, last, value) == 0,
            "%s: nothing to set at %s", why, pointer);
}

static void remove_at(json_t *root, const char *pointer)
{
    char last[100];
    json_t *at = parent(root, pointer, last);

    ck_assert_msg(
        json_object_del(at, last) == 0, "%s: nothing at %s", why, pointer);
}

/* The payload: the row's own text, or its base with the row's changes. */
static void make_payload(const json_t *row, bool changed, struct text *to)
{
    const char *text = json_string_value(json_object_get(row, "text"));
    const char *base = json_string_value(json_object_get(row, "base"));
    const char *pointer;
    json_t *json, *value;
    size_t i;
    char *out;

    if (text) {
        text_puts(to, text);
        return;
    }
    if (profile_case_bytes(row, to))
        return;
    read_file(base, to);
    if (!changed || json_object_get(row, "profile"))
        return;
    json = parse(to->data);
    json_object_foreach (json_object_get(row, "set"), pointer, value)
        set_at(json, pointer, value);
    json_array_foreach (json_object_get(row, "remove"), i, value)
        remove_at(json, json_string_value(value));
    if (json_is_true(json_object_get(row, "in_array"))) {
        json_t *array = json_pack("[O,o]", json, json);

        json = array;
    }
    text_free(to);
    out = json_dumps(json, JSON_ENCODE_ANY);
    text_puts(to, out);
    free(out);
    json_decref(json);
}

/* Two hours east in summer, one in winter (by the month of the local time). */
static int test_zone(const void *zone, int64_t local_us)
{
    int year, month, day;

    (void)zone;
    instant_civil(local_us / 86400000000LL, &year, &month, &day);
    return month >= 4 && month <= 10 ? 120 : 60;
}

static enum rc decode(const json_t *row, const struct text *payload,
    struct instruments_readings *ret, struct err *err)
{
    const char *media = json_string_value(json_object_get(row, "media"));
    const struct profile *profile = profile_case(row, err->arena);
    const struct instruments_format *format =
        media ? instruments_format_of(media)
              : instruments_format_probe(payload->data, payload->len);
    struct instruments_input in = {
        .bytes = payload->data, .len = payload->len, .zone = {test_zone, 0}};

    if (profile)
        return profile_decode(profile, &in, ret, err);
    if (!format)
        format = instruments_format_of("application/json");
    return format->decode(&in, ret, err);
}

static bool listed(const json_t *list, const char *text)
{
    json_t *item;
    size_t i;

    json_array_foreach (list, i, item)
        if (strcmp(json_string_value(item), text) == 0)
            return true;
    return false;
}

/* Pieces of the details, in the order of the faults. */
static void want_details(const json_t *want, const struct err *err)
{
    const struct err_fault *f = err->faults;
    json_t *item;
    size_t i;

    json_array_foreach ((json_t *)want, i, item) {
        ck_assert_msg(f && strstr(f->detail, json_string_value(item)),
            "%s: no \"%s\" in \"%s\"", why, json_string_value(item),
            f ? f->detail : "");
        f = f->next;
    }
}

static void want_faults(const json_t *want, const struct err *err)
{
    size_t i = 0;

    for (struct err_fault *f = err->faults; f; f = f->next, i++)
        ck_assert_msg(listed(want, f->pointer), "%s: unexpected fault %s: %s",
            why, f->pointer, f->detail);
    ck_assert_msg(i == json_array_size(want), "%s: %zu faults, not %zu", why, i,
        json_array_size(want));
}

static void want_cautions(const json_t *want, const struct record_reading *r)
{
    size_t n = 0;

    for (struct record_caution *c = r->cautions; c; c = c->next, n++) {
        char text[100];

        snprintf(text, sizeof(text), "%s%s%s", c->code, c->side < 0 ? "" : "@",
            c->side < 0 ? "" : record_side_word((enum record_side)c->side));
        ck_assert_msg(listed(want, text), "%s: unexpected caution %s: %s", why,
            text, c->text);
    }
    ck_assert_msg(n == json_array_size(want), "%s: %zu cautions, not %zu", why,
        n, json_array_size(want));
}

/* Equal by value: 0 and 0.0 are, at any depth. */
static bool same(const json_t *a, const json_t *b)
{
    const char *name;
    json_t *value;
    size_t i;

    if (json_is_number(a) && json_is_number(b))
        return fabs(json_number_value(a) - json_number_value(b)) < 1e-9;
    if (json_is_array(a) && json_is_array(b)) {
        json_array_foreach ((json_t *)a, i, value)
            if (!same(value, json_array_get(b, i)))
                return false;
        return json_array_size(a) == json_array_size(b);
    }
    if (json_is_object(a) && json_is_object(b)) {
        json_object_foreach ((json_t *)a, name, value)
            if (!same(value, json_object_get(b, name)))
                return false;
        return json_object_size(a) == json_object_size(b);
    }
    return a && b && json_equal(a, b);
}

static void want_equal(json_t *got, json_t *want, const char *pointer)
{
    char *text = json_dumps(got, JSON_ENCODE_ANY);

    ck_assert_msg(
        same(got, want), "%s: %s is %s", why, pointer, text ? text : "absent");
    free(text);
}

static void want_members(json_t *entry, const json_t *want)
{
    const char *pointer;
    json_t *value;

    json_object_foreach ((json_t *)want, pointer, value)
        want_equal(reading_case_at(entry, pointer), value, pointer);
}

static json_t *whole(const struct text *inside)
{
    TEXT_AUTO t = {0};

    text_printf(&t, "{");
    text_put(&t, inside->data, inside->len);
    text_puts(&t, "}");
    return parse(t.data);
}

static void want_view(
    const struct text *inside, const json_t *want, enum optics_form form)
{
    TEXT_AUTO turned = {0};
    json_t *entry;

    record_power_view(inside->data, inside->len, form, &turned);
    entry = whole(&turned);
    want_members(entry, want);
    json_decref(entry);
}

static void want_entry(const json_t *row, const struct record_reading *r)
{
    TEXT_AUTO inside = {0};
    json_t *entry, *item;
    size_t i;

    record_reading_json(r, &inside);
    entry = whole(&inside);
    want_members(entry, json_object_get(row, "expect"));
    json_array_foreach (json_object_get(row, "absent"), i, item)
        ck_assert_msg(!reading_case_at(entry, json_string_value(item)),
            "%s: %s is there", why, json_string_value(item));
    json_array_foreach (json_object_get(row, "contains"), i, item)
        ck_assert_msg(strstr(inside.data, json_string_value(item)),
            "%s: no %s in %s", why, json_string_value(item), inside.data);
    want_view(&inside, json_object_get(row, "plus"), OPTICS_PLUS_CYL);
    json_decref(entry);
}

/* "same" or "other": the hash of the row's payload against its base's. */
static void want_hash(
    const json_t *row, const struct record_reading *r, struct arena *arena)
{
    const char *want = json_string_value(json_object_get(row, "hash"));
    struct err err = ERR_INIT(arena);
    struct instruments_readings readings;
    uint8_t a[RECORD_HASH_SIZE], b[RECORD_HASH_SIZE];
    TEXT_AUTO base = {0};

    if (!want)
        return;
    make_payload(row, false, &base);
    ck_assert_int_eq(decode(row, &base, &readings, &err), RC_OK);
    record_reading_hash(r, a);
    record_reading_hash(readings.items[0], b);
    ck_assert_msg((memcmp(a, b, sizeof(a)) == 0) == (*want == 's'),
        "%s: the hash isn't %s", why, want);
}

void reading_case_run(const json_t *row)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct instruments_readings readings = {0};
    const json_t *faults = json_object_get(row, "faults");
    const char *now = json_string_value(json_object_get(row, "now"));
    int64_t now_us = 4102444800000000LL; /* 2100, when all was long ago */
    TEXT_AUTO payload = {0};
    enum rc rc;
    int offset;

    why = json_string_value(json_object_get(row, "why"));
    make_payload(row, true, &payload);
    rc = decode(row, &payload, &readings, &err);
    ck_assert_msg(rc == (faults ? err.rc : RC_OK), "%s: refused: %s %s", why,
        err.faults ? err.faults->pointer : "",
        err.faults ? err.faults->detail : "");
    if (faults) {
        ck_assert_msg(rc != RC_OK, "%s: taken", why);
        ck_assert_int_eq(rc, json_is_true(json_object_get(row, "syntax"))
                                 ? RC_SYNTAX
                                 : RC_INVALID);
        want_faults(faults, &err);
        want_details(json_object_get(row, "details"), &err);
    } else {
        const json_t *item = json_object_get(row, "item");
        struct record_reading *r =
            readings.items[item ? (size_t)json_integer_value(item)
                                : readings.n - 1];

        if (json_object_get(row, "readings"))
            ck_assert_int_eq((json_int_t)readings.n,
                json_integer_value(json_object_get(row, "readings")));
        if (now)
            ck_assert(instant_parse(now, &now_us, &offset));
        record_reading_caution(r, now_us);
        want_cautions(json_object_get(row, "cautions"), r);
        want_entry(row, r);
        want_hash(row, r, arena);
    }
    arena_free(arena);
}
