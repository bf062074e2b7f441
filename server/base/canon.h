#pragma once
/*
 * base/canon.h - the one way to write a JSON value (RFC 8785), so that two who
 * hold the same value hash and sign the same bytes.
 */
#include <jansson.h>

#include "base/text.h"

/* Appends value: members by the UTF-16 code units of their names, numbers as
 * ECMAScript writes doubles, no blanks.  An object's member called without
 * (outermost only; NULL: none) is left out. */
void canon_write(const json_t *value, const char *without, struct text *to);
