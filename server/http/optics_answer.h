#pragma once
/*
 * http/optics_answer.h - a body of POST /v1/optics/{function} computed.
 *
 * Knows JSON and the optics core, and nothing of requests.
 */
#include <jansson.h>

#include "base/err.h"
#include "base/text.h"

struct http_optics;

/* The function of that name in the path, or NULL. */
const struct http_optics *http_optics_find(const char *name);

/* A body of so many bytes is answered in under 1 ms or so. */
size_t http_optics_loop_bytes(const struct http_optics *f);

/*
 * Appends the answer to body to to: an object to an object, an array in the
 * same order to an array of up to 100,000 (of 30 where an answer is long or
 * takes long: cross-cylinder, point-spread).  RC_INVALID, with every fault at
 * its pointer (up to ERR_FAULTS_MAX), when any item is wrong; what was
 * appended then is of no use.  Thread-safe for different err.
 */
enum rc http_optics_answer(const struct http_optics *f, const json_t *body,
    struct text *to, struct err *err);
