#include "instruments/native_lines.h"

#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/json_in.h"
#include "base/text.h"
#include "instruments/native.h"

struct native_lines {
    struct text held;
    size_t at;     /* where in held the next line starts */
    size_t number; /* of the line before it */
    bool ended;
    bool passing; /* inside a line that was too long */
};

struct native_lines *native_lines_new(void)
{
    return xcalloc(1, sizeof(struct native_lines));
}

void native_lines_free(struct native_lines *lines)
{
    if (!lines)
        return;
    text_free(&lines->held);
    free(lines);
}

void native_lines_add(struct native_lines *lines, const char *bytes, size_t len)
{
    struct text *held = &lines->held;

    if (lines->at) {
        held->len -= lines->at;
        memmove(held->data, held->data + lines->at, held->len);
        lines->at = 0;
    }
    text_put(held, bytes, len);
}

void native_lines_end(struct native_lines *lines)
{
    lines->ended = true;
}

/* The next line without its end; false when it isn't complete. */
static bool cut(struct native_lines *lines, const char **ret, size_t *ret_len)
{
    size_t left = lines->held.len - lines->at;
    const char *start = left ? lines->held.data + lines->at : NULL;
    const char *stop = left ? memchr(start, '\n', left) : NULL;

    if (!stop && !(lines->ended && left))
        return false;
    *ret = start;
    *ret_len = stop ? (size_t)(stop - start) : left;
    lines->at += *ret_len + (stop != NULL);
    return true;
}

static bool blank(const char *line, size_t len)
{
    for (size_t i = 0; i < len; i++)
        if (!strchr(" \t\r", line[i]) || line[i] == '\0')
            return false;
    return true;
}

static void read_line(struct profile_group *group, struct err *err)
{
    struct record_reading *reading;
    json_t *json = NULL;

    if (json_in_parse(group->bytes, group->len, &json, err) != RC_OK)
        return;
    if (instruments_native_read(json_in_root(json, err), &reading, err) ==
        RC_OK) {
        group->readings.items =
            arena_alloc(err->arena, sizeof(struct record_reading *));
        group->readings.items[0] = reading;
        group->readings.n = 1;
    }
    json_decref(json);
}

static bool too_long(
    struct native_lines *lines, struct profile_group *group, struct err *err)
{
    group->line = group->last_line = ++lines->number;
    err_set(err, RC_TOO_LARGE, "", "a line may have at most %d bytes",
        NATIVE_LINE_MAX);
    return true;
}

bool native_lines_next(
    struct native_lines *lines, struct profile_group *ret, struct err *err)
{
    const char *line;
    size_t len;

    *ret = (struct profile_group){0};
    while (cut(lines, &line, &len)) {
        bool rest = lines->passing; /* of a line that was told already */

        lines->passing = false;
        if (rest)
            continue;
        if (len > NATIVE_LINE_MAX)
            return too_long(lines, ret, err);
        lines->number++;
        if (blank(line, len))
            continue;
        ret->line = ret->last_line = lines->number;
        ret->bytes = line;
        ret->len = len;
        read_line(ret, err);
        return true;
    }
    if (lines->passing) {
        lines->at = lines->held.len;
    } else if (lines->held.len - lines->at > NATIVE_LINE_MAX) {
        lines->passing = true;
        lines->at = lines->held.len;
        return too_long(lines, ret, err);
    }
    return false;
}
