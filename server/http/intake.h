#pragma once
/*
 * http/intake.h - a body that its handler takes in while it arrives.
 */
#include "http/http.h"

/*
 * For routes with HTTP_LINES and such a body the handler runs before it.
 * take says how many of the bytes it took; after less than all, http_more is
 * due.  end is called behind the last byte and answers, or returns http_wait
 * and calls http_done later.  drop comes when nothing uses the request any
 * more.  A client that goes away midway brings no end.
 */
struct http_intake {
    size_t (*take)(struct http_req *rq, const char *bytes, size_t len);
    enum rc (*end)(struct http_req *rq);
    void (*drop)(struct http_req *rq);
};

/* The handler's, or a next function's, last word. */
enum rc http_take(struct http_req *rq, const struct http_intake *intake);
enum rc http_wait(struct http_req *rq);
void http_more(struct http_req *rq);
/* From a callback: how it ended; with RC_OK an answer was made.  Before the
 * end of the body too: the rest is then passed over. */
void http_done(struct http_req *rq, enum rc rc);

/* What is held outlives its connection; http_gone tells that it did. */
void http_hold(struct http_req *rq);
void http_let_go(struct http_req *rq);
bool http_gone(const struct http_req *rq);
