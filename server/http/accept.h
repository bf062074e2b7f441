#pragma once
/* http/accept.h - lists of what a client takes (RFC 9110, 12.4 and 12.5). */
#include <stdbool.h>

/* True when an Accept or Accept-Encoding list takes word ("application/json",
 * "gzip"): the most specific entry decides, a weight of 0 refuses. */
bool accept_takes(const char *list, const char *word);

/* True when it takes word by its own name. */
bool accept_names(const char *list, const char *word);
