#pragma once
/*
 * record/acuity.h - acuity as entered and as logMAR where that exists.
 */
#include <stdbool.h>

#include "base/json_in.h"
#include "base/json_out.h"

struct record_acuity {
    const char *notation; /* one of the notation words; NULL: no acuity */
    const char *text;     /* as entered */
    bool has_logmar;      /* CF, HM, LP and NLP have none */
    double logmar;
};

/*
 * {"notation","text","logmar"?}.  logMAR is computed from the text; a logmar
 * that was sent is refused when it is off by over 0.02 (a letter).  Texts are
 * borrowed from the document.  True when *ret was written.
 */
bool record_acuity_read(struct json_in in, struct record_acuity *ret);

/* Writes the object under key; nothing when there is no acuity. */
void record_acuity_write(
    struct json_out *o, const char *key, const struct record_acuity *acuity);
