#include "forward_answer.h"

#include <string.h>

#include "base/arena.h"
#include "base/json_in.h"
#include "forward_rules.h"

void forward_answer_begin(struct forward_answer *a)
{
    forward_answer_free(a);
    *a = (struct forward_answer){0};
}

void forward_answer_free(struct forward_answer *a)
{
    text_free(&a->part);
    text_free(&a->reasons);
}

/* "/right/axis: must be ...", a line each, behind before. */
static void put_errors(
    struct text *to, const json_t *errors, const char *before)
{
    const json_t *error;
    size_t i;

    json_array_foreach (errors, i, error) {
        const char *pointer =
            json_string_value(json_object_get(error, "pointer"));
        const char *detail =
            json_string_value(json_object_get(error, "detail"));

        text_puts(to, before);
        if (pointer && *pointer)
            text_printf(to, "%s: ", pointer);
        text_printf(to, "%s\n", detail ? detail : "no reason was given");
    }
}

static json_t *parse(const struct text *part)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    json_t *json = NULL;

    if (json_in_parse(part->data ? part->data : "", part->len, &json, &err) !=
        RC_OK)
        json = NULL;
    arena_free(arena);
    return json;
}

static void refuse_line(
    struct forward_answer *a, const json_t *json, long long number)
{
    char before[40];

    a->refused++;
    if (a->reasons.len >= FORWARD_REASON_MOST) {
        a->unsaid++;
        return;
    }
    snprintf(before, sizeof(before), "line %lld: ", number);
    put_errors(&a->reasons, json_object_get(json, "errors"), before);
}

static void line_end(struct forward_answer *a)
{
    json_t *json = parse(&a->part);
    const json_t *line = json_object_get(json, "line");
    const json_t *status = json_object_get(json, "status");
    int said = (int)json_integer_value(status);

    if (!json_is_integer(line) || !json_is_integer(status)) {
        a->garbled = true;
    } else if (forward_verdict_of(said) == FORWARD_TAKEN) {
        a->taken++;
    } else if (forward_verdict_of(said) == FORWARD_REFUSED) {
        refuse_line(a, json, json_integer_value(line));
    } else {
        a->worst = said;
    }
    json_decref(json);
    a->part.len = 0;
}

static void part_add(struct forward_answer *a, const char *bytes, size_t n)
{
    size_t room = FORWARD_ANSWER_MOST - a->part.len;

    if (n > room) {
        a->garbled = a->garbled || a->lines;
        n = room;
    }
    text_put(&a->part, bytes, n);
}

void forward_answer_add(struct forward_answer *a, const char *bytes, size_t n)
{
    const char *end = bytes + n, *stop;

    while (a->lines && (stop = memchr(bytes, '\n', (size_t)(end - bytes)))) {
        part_add(a, bytes, (size_t)(stop - bytes));
        line_end(a);
        bytes = stop + 1;
    }
    part_add(a, bytes, (size_t)(end - bytes));
}

void forward_answer_end(struct forward_answer *a)
{
    if (a->lines && a->part.len > 0)
        line_end(a);
}

bool forward_answer_names(const struct forward_answer *a, const char *pointer)
{
    json_t *json = parse(&a->part);
    const json_t *error;
    bool names = false;
    size_t i;

    json_array_foreach (json_object_get(json, "errors"), i, error) {
        const char *at = json_string_value(json_object_get(error, "pointer"));

        names = names || (at && strcmp(at, pointer) == 0);
    }
    json_decref(json);
    return names;
}

static void lines_reason(const struct forward_answer *a, struct text *to)
{
    text_printf(to,
        "%zu of %zu lines were refused. The others are on record; leave them "
        "out, or\nsend them again: they are known.\n\n",
        a->refused, a->refused + a->taken);
    text_put(to, a->reasons.data ? a->reasons.data : "", a->reasons.len);
    if (a->unsaid > 0)
        text_printf(to, "and %zu more lines\n", a->unsaid);
}

void forward_answer_reason(
    const struct forward_answer *a, int status, struct text *to)
{
    json_t *json;
    const char *title, *detail;

    if (a->lines && status < 400) {
        lines_reason(a, to);
        return;
    }
    json = parse(&a->part);
    title = json_string_value(json_object_get(json, "title"));
    detail = json_string_value(json_object_get(json, "detail"));
    text_printf(to, "The service refused this file: %d%s%s\n", status,
        title ? " " : "", title ? title : "");
    if (detail)
        text_printf(to, "%s\n", detail);
    text_puts(to, "\n");
    put_errors(to, json_object_get(json, "errors"), "");
    if (to->len > FORWARD_REASON_MOST) {
        to->len = FORWARD_REASON_MOST;
        text_puts(to, "\nand more\n");
    }
    json_decref(json);
}
