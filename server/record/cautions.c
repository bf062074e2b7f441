#include "record/cautions.h"

#include <stdarg.h>
#include <string.h>

#include "base/arena.h"

void record_cautions_add(struct record_cautions *list, const char *code,
    int side, const char *fmt, ...)
{
    struct record_caution *c = arena_calloc(list->arena, 1, sizeof(*c));
    va_list ap;

    va_start(ap, fmt);
    c->text = arena_vprintf(list->arena, fmt, ap);
    va_end(ap);
    c->code = code;
    c->side = side;
    if (list->last)
        list->last->next = c;
    else
        list->first = c;
    list->last = c;
}

bool record_cautions_have(
    const struct record_cautions *list, const char *code, int side)
{
    for (const struct record_caution *c = list->first; c; c = c->next)
        if (c->side == side && strcmp(c->code, code) == 0)
            return true;
    return false;
}

void record_cautions_write(
    struct json_out *o, const char *key, const struct record_cautions *list)
{
    json_out_array(o, key);
    for (const struct record_caution *c = list->first; c; c = c->next) {
        json_out_object(o, NULL);
        json_out_text(o, "code", c->code);
        json_out_text(o, "eye",
            c->side < 0 ? NULL : record_side_word((enum record_side)c->side));
        json_out_text(o, "text", c->text);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}
