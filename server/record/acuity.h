#pragma once
/*
 * record/acuity.h - acuity as entered and as logMAR where that exists.
 */
#include <stdbool.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "optics/acuity.h"

struct record_acuity {
    const char *notation; /* a word; NULL: no acuity */
    const char *text;     /* as entered */
    bool has_logmar;      /* CF, HM, LP, NLP and near print sizes have none */
    struct optics_acuity value; /* good when has_logmar or level says so */
};

/*
 * {"notation","text","logmar"?}.  Notations: those of optics_acuity_read, and
 * n-points, m-units, jaeger for near print, which are kept as text alone.
 * logMAR is computed; one that was sent is refused when it is off by over a
 * line.  Texts are in err's arena.  True when *ret was written.
 */
bool record_acuity_read(struct json_in in, struct record_acuity *ret);

/* The same from a text that a decoder made, in a notation of optics; at is
 * the place that a fault names.  text must live as long as *ret. */
bool record_acuity_of(struct json_in at, enum optics_notation notation,
    const char *text, struct record_acuity *ret);

/* Writes the object under key; nothing when there is no acuity. */
void record_acuity_write(
    struct json_out *o, const char *key, const struct record_acuity *acuity);
