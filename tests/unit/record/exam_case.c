#include "exam_case.h"

#include <check.h>
#include <string.h>

#include "base/arena.h"
#include "base/text.h"

#define TREES_MAX 64

struct arena *ARENA;
static json_t *trees[TREES_MAX];
static size_t n_trees;

void exam_case_begin(void)
{
    ARENA = arena_new();
}

void exam_case_end(void)
{
    while (n_trees)
        json_decref(trees[--n_trees]);
    arena_free(ARENA);
}

static char *swapped(const char *text, char from, char to)
{
    char *copy = arena_strdup(ARENA, text);

    for (char *c = copy; *c; c++)
        if (*c == from)
            *c = to;
    return copy;
}

json_t *exam_json(const char *text)
{
    const char *json = strchr(text, '"') ? text : swapped(text, '\'', '"');
    json_t *tree = json_loads(json, JSON_DECODE_ANY, NULL);

    ck_assert_msg(tree != NULL, "not JSON: %s", text);
    ck_assert(n_trees < TREES_MAX);
    return trees[n_trees++] = tree;
}

struct record_refraction exam_refraction(const char *text)
{
    struct err err = ERR_INIT(ARENA);
    struct record_refraction r;

    ck_assert_msg(
        record_refraction_read(json_in_root(exam_json(text), &err), &r), "%s",
        exam_faults(&err));
    return r;
}

struct record_entry exam_entry(const char *kind, const char *text)
{
    struct err err = ERR_INIT(ARENA);
    struct record_entry e = {.id = "e", .origin = "reading", .kind = kind};

    record_entry_read(json_in_root(exam_json(text), &err), &e);
    return e;
}

const char *exam_written(const struct record_refraction *r)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    record_refraction_write(&o, r);
    json_out_object_end(&o);
    return swapped(t.data, '"', '\'');
}

const char *exam_faults(const struct err *err)
{
    TEXT_AUTO t = {0};

    for (const struct err_fault *f = err->faults; f; f = f->next)
        text_printf(&t, "%s %s\n", f->pointer, f->detail);
    return arena_strdup(ARENA, t.data ? t.data : "");
}
