#pragma once
/*
 * http/lines.h - readings one a line, taken in while they arrive.
 *
 * Each line stands or falls alone and is answered by one line, in order, once
 * what it says is durable.  What is held at any time is a few lines that wait
 * for their commit, and the answer in a spool.
 */
#include "http/http.h"

struct native_lines;
struct profile_rows;

/* Where lines come from: native, or rows. */
struct lines_source {
    struct native_lines *native;
    struct profile_rows *rows;
    const char *format; /* the rows' word for it */
};

/* The handler's, or a next function's, last word: takes the body as it comes;
 * with preview nothing is stored.  The source is taken over, its format is
 * borrowed. */
enum rc http_lines(
    struct http_req *rq, struct lines_source source, bool preview);
