#pragma once
/*
 * http/spool.h - an answer that may grow long: put together piece by piece,
 * then sent.
 *
 * A short one stays in memory.  A longer one goes to a file without a name in
 * $TMPDIR (or /tmp), which is gone with the request.
 */
#include <microhttpd.h>
#include <stdbool.h>
#include <stdint.h>

#include "base/err.h"
#include "base/text.h"

struct http_req;

#define SPOOL_MEMORY 65536 /* bytes that are kept in memory */

struct spool {
    struct text text; /* what comes next is put here */
    int fd;           /* -1: all is in text */
    uint64_t size;    /* bytes in the file */
    bool failed;      /* the file can't be made or is full */
};

#define SPOOL_INIT                                                             \
    {                                                                          \
        .fd = -1                                                               \
    }

/* After each piece in text: moves a long text to the file. */
void spool_settle(struct spool *s);
/* Nothing more comes.  What isn't failed and has a file has all in it. */
void spool_end(struct spool *s);
void spool_free(struct spool *s);

/* The whole of an ended file; closes it when it has gone.  moved(arg) is
 * called with each block that is read, while the answer is being sent. */
struct MHD_Response *spool_response(
    struct spool *s, void (*moved)(void *arg), void *arg);

/* The request's answer: what was ended and isn't failed; taken over. */
enum rc http_reply_spool(
    struct http_req *rq, int status, const char *type, struct spool *s);
