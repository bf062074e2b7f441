#pragma once
/*
 * base/json_out.h - writes JSON as text, in order, without a tree.
 *
 * Numbers keep the places they are given (-2.50), which a tree of doubles
 * could not.  key is NULL inside an array
 * and for the outermost value.  The caller closes what it opens; json_out
 * never checks nesting.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/text.h"

struct json_out {
    struct text *to; /* borrowed */
    bool comma;      /* a value was written at this level */
};

#define JSON_OUT(text_)                                                        \
    {                                                                          \
        .to = (text_)                                                          \
    }

void json_out_object(struct json_out *o, const char *key);
void json_out_object_end(struct json_out *o);
void json_out_array(struct json_out *o, const char *key);
void json_out_array_end(struct json_out *o);

/* s NULL writes null. */
void json_out_text(struct json_out *o, const char *key, const char *s);
void json_out_int(struct json_out *o, const char *key, int64_t value);
void json_out_bool(struct json_out *o, const char *key, bool value);
void json_out_null(struct json_out *o, const char *key);

/* value * 10^-places with all its places: -250, 2 -> -2.50. */
void json_out_scaled(
    struct json_out *o, const char *key, int64_t value, int places);

/* Hundredths: a power, a prism. */
void json_out_cd(struct json_out *o, const char *key, int32_t value_cd);

/* x rounded to places, zeros cut; x not finite writes null. */
void json_out_number(struct json_out *o, const char *key, double x, int places);

/* x with every digit that matters; not finite writes null. */
void json_out_exact(struct json_out *o, const char *key, double x);

/* Ready JSON, as it stands. */
void json_out_raw(
    struct json_out *o, const char *key, const char *json, size_t len);
