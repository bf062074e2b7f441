/* http/docs.c - the description of the API, as JSON and as a page. */
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "http/handlers.h"
#include "http/inside.h"

#define FILE_MOST (4 << 20)

/* Names come from our own table or are checked here: no path leaves dir. */
static bool plain_name(const char *name)
{
    for (const char *c = name; *c; c++)
        if (!strchr("abcdefghijklmnopqrstuvwxyz0123456789-.", *c))
            return false;
    return *name && *name != '.' && !strstr(name, "..");
}

static enum rc reply_file(
    struct http_req *rq, const char *dir, const char *name, const char *type)
{
    const char *path = arena_printf(rq->arena, "%s/%s", dir, name);
    struct text t = {0};
    char buf[8192];
    size_t n;
    FILE *f = fopen(path, "re");

    if (!f)
        return err_set(
            &rq->life->err, RC_NOT_FOUND, NULL, "there is no \"%s\"", name);
    while ((n = fread(buf, 1, sizeof(buf), f)) > 0 && t.len < FILE_MOST)
        text_put(&t, buf, n);
    fclose(f);
    return http_reply_bytes(rq, 200, type, &t);
}

/* GET /v1/openapi.json */
enum rc http_openapi_get(struct http_req *rq, struct err *err)
{
    (void)err;
    return reply_file(rq, rq->srv->parts.config->schema_dir, "openapi.json",
        "application/json");
}

/* GET /schema/{word}: a JSON Schema that the description refers to. */
enum rc http_schema_get(struct http_req *rq, struct err *err)
{
    if (!plain_name(rq->ids[0]))
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such schema");
    return reply_file(rq, rq->srv->parts.config->schema_dir, rq->ids[0],
        "application/schema+json");
}

/* GET /docs/api: the same to be read by people. */
enum rc http_docs_get(struct http_req *rq, struct err *err)
{
    (void)err;
    http_header(rq, "Content-Security-Policy",
        "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; "
        "frame-ancestors 'none'");
    return reply_file(rq, rq->srv->parts.config->schema_dir, "api.html",
        "text/html; charset=utf-8");
}
