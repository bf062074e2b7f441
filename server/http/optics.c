/*
 * http/optics.c - POST /v1/optics/{function}: the optics core, stateless.
 *
 * One object in, one out; an array in, an array out in the same order.  One
 * senseless item fails the whole array, with every fault at its pointer.
 * Nothing is stored and nothing rounded, but that an axis within 1e-6 of 0 is
 * 180 (and what goes into an order, nearest-orderable).
 */
#include "http/handlers.h"
#include "http/optics_answer.h"

/* A long body between the loop, the worker and the loop again. */
struct job {
    const struct http_optics *f;
    struct err err;
    const char *json; /* the answer, in the request's arena */
};

static void job_work(struct http_req *rq)
{
    struct job *job = rq->state;
    TEXT_AUTO to = {0};

    if (http_optics_answer(job->f, rq->json, &to, &job->err) == RC_OK)
        job->json = arena_memdup(rq->arena, to.data, to.len);
}

static enum rc job_done(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct job *job = rq->state;

    (void)reply;
    if (job->json)
        return http_reply_ready(rq, 200, job->json);
    *err = job->err;
    return err->rc;
}

enum rc http_optics_post(struct http_req *rq, struct err *err)
{
    const struct http_optics *f = http_optics_find(rq->ids[0]);
    TEXT_AUTO to = {0};

    if (!f)
        return err_set(err, RC_NOT_FOUND, NULL,
            "there is no optics function \"%s\"", rq->ids[0]);
    /* A longer body is computed by a worker. */
    if (rq->body_len > http_optics_loop_bytes(f)) {
        struct job *job = arena_calloc(rq->arena, 1, sizeof(*job));

        job->f = f;
        job->err = (struct err)ERR_INIT(rq->arena);
        rq->state = job;
        return http_work(rq, job_work, job_done);
    }
    TRY(http_optics_answer(f, rq->json, &to, err));
    return http_reply_json(rq, 200, &to);
}
