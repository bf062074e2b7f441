/* http/intake.c - a body that its handler takes while it arrives. */
#include "http/intake.h"

#include "http/inside.h"

#define MOVED_LEAST 65536 /* bytes in the time that an upload may take */

enum rc http_take(struct http_req *rq, const struct http_intake *intake)
{
    rq->life->intake = intake;
    rq->life->state = LIFE_TAKING;
    return RC_OK;
}

enum rc http_wait(struct http_req *rq)
{
    rq->life->state = LIFE_WAITING;
    return RC_OK;
}

void http_more(struct http_req *rq)
{
    life_resume(rq->life);
}

void http_done(struct http_req *rq, enum rc rc)
{
    rq->life->state = LIFE_RUNNING;
    life_outcome(rq->life, rc);
}

void http_hold(struct http_req *rq)
{
    rq->life->holds++;
}

void http_let_go(struct http_req *rq)
{
    if (--rq->life->holds == 0 && rq->life->gone)
        life_free(rq->life);
}

bool http_gone(const struct http_req *rq)
{
    return rq->life->gone;
}

static void take(struct http_life *life, const char *bytes, size_t *len)
{
    size_t n = life->intake->take(&life->rq, bytes, *len);

    *len -= n;
    life->moved += n;
    if (life->moved >= MOVED_LEAST) {
        life->moved = 0;
        server_moved(life);
    }
}

void intake_step(struct http_life *life, const char *bytes, size_t *len)
{
    bool body = *len > 0;

    if (!life->started)
        life_run(life);
    if (life->state == LIFE_TAKING && body) {
        take(life, bytes, len);
    } else if (life->state == LIFE_TAKING) {
        life->state = LIFE_RUNNING;
        life_outcome(life, life->intake->end(&life->rq));
    }
    if (life->state == LIFE_READY) {
        *len = 0; /* no answer can be sent before the body has ended */
    } else if (*len || !body) {
        life->suspended = true;
        MHD_suspend_connection(life->con);
    }
}
