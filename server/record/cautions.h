#pragma once
/*
 * record/cautions.h - doubts about an exam, an Rx or a delta, for a person to
 * weigh.  They never block.
 */
#include <stdbool.h>

#include "base/json_out.h"
#include "record/reading.h"

struct arena;

struct record_cautions {
    struct arena *arena; /* borrowed; owns the texts */
    struct record_caution *first, *last;
};

/* side is enum record_side, or -1 for the whole; code is a stable word. */
void record_cautions_add(struct record_cautions *list, const char *code,
    int side, const char *fmt, ...) __attribute__((format(printf, 4, 5)));

bool record_cautions_have(
    const struct record_cautions *list, const char *code, int side);

/* Writes [{"code","eye","text"}] under key. */
void record_cautions_write(
    struct json_out *o, const char *key, const struct record_cautions *list);
