/* http/docs.c - the description of the API, as JSON and as a page. */
#include "http/handlers.h"
#include "http/inside.h"
#include "http/pages.h"

/* GET /v1/openapi.json */
enum rc http_openapi_get(struct http_req *rq, struct err *err)
{
    (void)err;
    return page_reply_file(rq, rq->srv->parts.config->schema_dir,
        "openapi.json", "application/json");
}

/* GET /schema/{word}: a JSON Schema that the description refers to. */
enum rc http_schema_get(struct http_req *rq, struct err *err)
{
    if (!page_name_plain(rq->ids[0]))
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such schema");
    return page_reply_file(rq, rq->srv->parts.config->schema_dir, rq->ids[0],
        "application/schema+json");
}

/* GET /docs/api: the same to be read by people. */
enum rc http_docs_get(struct http_req *rq, struct err *err)
{
    (void)err;
    http_header(rq, "Content-Security-Policy",
        "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; "
        "frame-ancestors 'none'");
    return page_reply_file(rq, rq->srv->parts.config->schema_dir, "api.html",
        "text/html; charset=utf-8");
}
