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
/* The handler's last word: takes the body as it comes; with preview nothing is
 * stored.  source is taken over. */
enum rc http_lines(
    struct http_req *rq, struct native_lines *source, bool preview);
