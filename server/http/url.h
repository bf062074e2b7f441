#pragma once
/* http/url.h - percent-encoding (RFC 3986). */
#include <stdbool.h>
#include <stddef.h>

struct arena;

/* Decodes s[0..len); NULL on a broken escape, a NUL, control characters or
 * bytes that are no UTF-8.  plus: + stands for a blank (in queries). */
char *url_decode(struct arena *arena, const char *s, size_t len, bool plus);

/* The decoded value of a name in a raw query; NULL when it isn't there. */
const char *url_argument(
    struct arena *arena, const char *query, const char *name);

/* True when every name of query stands in the blank-separated list; else
 * *ret_bad is the first that doesn't (or is written twice, or is broken). */
bool url_names_known(struct arena *arena, const char *query, const char *list,
    const char **ret_bad);
