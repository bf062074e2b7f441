/* http/health.c - alive, and ready to serve. */
#include "http/handlers.h"
#include "http/inside.h"

/* GET /healthz: the process runs. */
enum rc http_health_get(struct http_req *rq, struct err *err)
{
    (void)err;
    return http_reply_ready(rq, 200, "{\"status\":\"alive\"}");
}

/* GET /readyz: the database answers and no stop is under way. */
enum rc http_ready_get(struct http_req *rq, struct err *err)
{
    if (rq->srv->draining)
        return err_set(err, RC_BUSY, NULL, "the service is stopping");
    if (!db_ready(rq->srv->parts.db))
        return err_set(err, RC_BUSY, NULL, "the database can't be reached");
    return http_reply_ready(
        rq, 200, "{\"status\":\"ready\",\"version\":\"" LENS_VERSION "\"}");
}
