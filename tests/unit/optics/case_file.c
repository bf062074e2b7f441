#include "case_file.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *row_id(const struct case_row *c)
{
    return json_string_value(json_object_get(c->row, "id"));
}

/* The value at a dotted path below at, or NULL. */
static const json_t *find(const json_t *at, const char *path)
{
    char word[64];

    while (at && *path) {
        size_t len = strcspn(path, ".");

        ck_assert(len < sizeof(word));
        memcpy(word, path, len);
        word[len] = '\0';
        if (json_is_array(at))
            at = json_array_get(at, (size_t)strtoul(word, NULL, 10));
        else
            at = json_object_get(at, word);
        path += len + (path[len] == '.');
    }
    return at;
}

static const json_t *request(const struct case_row *c, const char *path)
{
    return find(json_object_get(c->row, "request"), path);
}

bool case_has(const struct case_row *c, const char *path)
{
    return request(c, path) != NULL;
}

bool case_is_null(const struct case_row *c, const char *path)
{
    return json_is_null(request(c, path));
}

double case_number(const struct case_row *c, const char *path)
{
    const json_t *v = request(c, path);

    ck_assert_msg(json_is_number(v), "%s: no number %s", row_id(c), path);
    return json_number_value(v);
}

const char *case_text(const struct case_row *c, const char *path)
{
    const json_t *v = request(c, path);

    ck_assert_msg(json_is_string(v), "%s: no text %s", row_id(c), path);
    return json_string_value(v);
}

size_t case_count(const struct case_row *c, const char *path)
{
    return json_array_size(request(c, path));
}

struct optics_power case_power(const struct case_row *c, const char *prefix)
{
    struct optics_power p = {0};
    char path[64];

    snprintf(path, sizeof(path), "%ssphere", prefix);
    p.sph = case_number(c, path);
    snprintf(path, sizeof(path), "%scylinder", prefix);
    p.cyl = case_number(c, path);
    snprintf(path, sizeof(path), "%saxis", prefix);
    if (!json_is_null(request(c, path)))
        p.axis = case_number(c, path);
    ck_assert_int_eq(optics_power_check(p), OPTICS_OK);
    return p;
}

enum optics_eye case_eye(const struct case_row *c)
{
    return strcmp(case_text(c, "eye"), "right") == 0 ? OPTICS_RIGHT
                                                     : OPTICS_LEFT;
}

/* The expected value at path, or NULL when the row doesn't expect it. */
static const json_t *expected(struct case_row *c, const char *path)
{
    const json_t *v = find(json_object_get(c->row, "expect"), path);

    c->seen += v != NULL;
    return v;
}

double case_expected(struct case_row *c, const char *path)
{
    const json_t *v = expected(c, path);

    ck_assert_msg(json_is_number(v), "%s: expects no %s", row_id(c), path);
    return json_number_value(v);
}

/* The turn after which the figure at path begins anew, 0 if it doesn't. */
static double turn_of(const struct case_row *c, const char *path)
{
    const json_t *angles = json_object_get(c->row, "angles"), *pair;
    size_t i;

    json_array_foreach (angles, i, pair)
        if (strcmp(json_string_value(json_array_get(pair, 0)), path) == 0)
            return json_number_value(json_array_get(pair, 1));
    return 0;
}

static double tolerance_of(
    const struct case_row *c, const char *path, bool angle)
{
    const json_t *own =
        json_object_get(json_object_get(c->row, "tolerances"), path);
    const json_t *of_angles = json_object_get(c->row, "angle_tolerance");

    if (angle && json_is_number(of_angles))
        return json_number_value(of_angles);
    if (!own)
        own = json_object_get(c->row, "tolerance");
    ck_assert(json_is_number(own));
    return json_number_value(own);
}

void want_number(struct case_row *c, const char *path, double got)
{
    const json_t *v = expected(c, path);
    double turn = turn_of(c, path);
    double off;

    if (!v)
        return;
    ck_assert_msg(json_is_number(v), "%s: %s: got %.12g, want no number",
        row_id(c), path, got);
    off = fabs(json_number_value(v) - got);
    if (turn > 0) {
        off = fmod(off, turn);
        off = fmin(off, turn - off);
    }
    ck_assert_msg(off <= tolerance_of(c, path, turn > 0) + 1e-9,
        "%s: %s: got %.12g, want %.12g", row_id(c), path, got,
        json_number_value(v));
}

void want_null(struct case_row *c, const char *path)
{
    const json_t *v = expected(c, path);

    ck_assert_msg(!v || json_is_null(v), "%s: %s: got nothing, want %.12g",
        row_id(c), path, json_number_value(v));
}

void want_text(struct case_row *c, const char *path, const char *got)
{
    const json_t *v = expected(c, path);

    if (v)
        ck_assert_str_eq(got, json_string_value(v));
}

void want_bool(struct case_row *c, const char *path, bool got)
{
    const json_t *v = expected(c, path);

    if (v)
        ck_assert_msg(json_is_boolean(v) && json_is_true(v) == got,
            "%s: %s: got %d", row_id(c), path, got);
}

void want_power(struct case_row *c, const char *prefix, struct optics_power got)
{
    char path[64];

    snprintf(path, sizeof(path), "%ssphere", prefix);
    want_number(c, path, got.sph);
    snprintf(path, sizeof(path), "%scylinder", prefix);
    want_number(c, path, got.cyl);
    snprintf(path, sizeof(path), "%saxis", prefix);
    if (got.axis == 0)
        want_null(c, path);
    else
        want_number(c, path, got.axis);
}

/* One figure of an answer, of whatever kind it is. */
static void want_value(struct case_row *c, const char *path, const json_t *got)
{
    ck_assert_msg(got != NULL, "%s: no %s in the answer", row_id(c), path);
    if (json_is_number(got))
        want_number(c, path, json_number_value(got));
    else if (json_is_string(got))
        want_text(c, path, json_string_value(got));
    else if (json_is_boolean(got))
        want_bool(c, path, json_is_true(got));
    else
        want_null(c, path);
}

static void want_members(struct case_row *c, const json_t *expect,
    const json_t *answer, const char *prefix)
{
    const char *key;
    const json_t *v;

    json_object_foreach ((json_t *)expect, key, v) {
        const json_t *got = json_object_get(answer, key);
        char path[64];

        snprintf(path, sizeof(path), "%s%s%s", prefix, key,
            json_is_object(v) ? "." : "");
        if (json_is_object(v))
            want_members(c, v, got, path);
        else
            want_value(c, path, got);
    }
}

void want_answer(struct case_row *c, const json_t *answer)
{
    want_members(c, json_object_get(c->row, "expect"), answer, "");
}

static size_t leaves(const json_t *v)
{
    const char *key;
    const json_t *child;
    size_t n = 0;

    if (!json_is_object(v))
        return 1;
    json_object_foreach ((json_t *)v, key, child)
        n += leaves(child);
    return n;
}

json_t *case_file_load(const char *name)
{
    json_t *rows = json_array();
    char path[512];
    FILE *f;

    snprintf(path, sizeof(path), "%s/%s.jsonl", TEST_DATA, name);
    f = fopen(path, "r");
    ck_assert_msg(f != NULL, "cannot open %s", path);
    for (;;) {
        json_error_t why;
        json_t *row = json_loadf(f, JSON_DISABLE_EOF_CHECK, &why);

        if (!row)
            break;
        json_array_append_new(rows, row);
    }
    ck_assert_msg(feof(f), "%s: a row that is no JSON", name);
    fclose(f);
    return rows;
}

void case_file_run(
    const char *name, size_t rows, void (*run)(struct case_row *c))
{
    json_t *all = case_file_load(name);
    json_t *row;
    size_t i;

    json_array_foreach (all, i, row) {
        struct case_row c = {row, 0};

        run(&c);
        ck_assert_msg(c.seen == leaves(json_object_get(row, "expect")),
            "%s: looked at %zu of its figures", row_id(&c), c.seen);
    }
    ck_assert_msg(json_array_size(all) == rows, "%s: %zu rows, not %zu", name,
        json_array_size(all), rows);
    json_decref(all);
}
