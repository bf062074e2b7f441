#pragma once
/*
 * instruments/native_eye.h - inside this folder: one eye of a native reading,
 * and small readers that both halves use.
 */
#include "base/json_in.h"
#include "record/reading.h"

/* A set of kinds, one bit each. */
#define NATIVE_KIND(kind) (1u << RECORD_##kind)
#define NATIVE_KINDS_ALL ((1u << RECORD_KINDS) - 1)

/*
 * Reads the eye at in into reading's place for side.  kinds holds the
 * reading's kind; or all of them when it isn't known, and then only what is
 * wrong for every kind is a fault.
 */
void native_eye_read(struct json_in in, struct record_reading *reading,
    enum record_side side, unsigned kinds);

/* The member name of in, one line or any text, copied into the arena, if a
 * good one is there. */
void native_line(
    struct json_in in, const char *name, size_t max, const char **ret);
void native_text(
    struct json_in in, const char *name, size_t max, const char **ret);

/* The member lens_type of in, if there. */
void native_lens_type(struct json_in in, const char **ret);
