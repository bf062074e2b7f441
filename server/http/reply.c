/* http/reply.c - the answer, on its way out. */
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "http/accept.h"
#include "http/inside.h"

#define GZIP_FROM 1024 /* smaller ones gain nothing */

const char *reply_header_in(struct http_life *life, const char *name)
{
    return MHD_lookup_connection_value(life->con, MHD_HEADER_KIND, name);
}

static enum rc have(struct http_req *rq, int status, const char *type)
{
    rq->life->status = status;
    rq->life->type = type;
    return RC_OK;
}

enum rc http_reply_json(struct http_req *rq, int status, struct text *t)
{
    return http_reply_bytes(rq, status, "application/json", t);
}

enum rc http_reply_ready(struct http_req *rq, int status, const char *json)
{
    struct text t = {0};

    text_puts(&t, json);
    return http_reply_json(rq, status, &t);
}

enum rc http_reply_bytes(
    struct http_req *rq, int status, const char *type, struct text *t)
{
    text_free(&rq->life->out);
    rq->life->out = *t;
    *t = (struct text){0};
    return have(rq, status, arena_strdup(rq->arena, type));
}

enum rc http_reply_spool(
    struct http_req *rq, int status, const char *type, struct spool *s)
{
    TRY(http_reply_bytes(rq, status, type, &s->text));
    spool_free(&rq->life->spool);
    rq->life->spool = *s;
    *s = (struct spool)SPOOL_INIT;
    return RC_OK;
}

enum rc http_reply_empty(struct http_req *rq, int status)
{
    text_free(&rq->life->out);
    return have(rq, status, NULL);
}

void http_header(struct http_req *rq, const char *name, const char *value)
{
    struct http_header *h = arena_alloc(rq->arena, sizeof(*h));

    h->name = arena_strdup(rq->arena, name);
    h->value = arena_strdup(rq->arena, value);
    h->next = rq->life->headers;
    rq->life->headers = h;
}

void http_location(struct http_req *rq, const char *fmt, ...)
{
    va_list ap;
    char *path;

    va_start(ap, fmt);
    path = arena_vprintf(rq->arena, fmt, ap);
    va_end(ap);
    http_header(rq, "Location", path);
}

void http_etag_text(struct http_req *rq, const char *tag, const char *view)
{
    rq->life->etag = arena_strdup(rq->arena, tag);
    rq->life->etag_view = view ? arena_strdup(rq->arena, view) : NULL;
}

void http_etag(struct http_req *rq, int64_t version, const char *view)
{
    http_etag_text(
        rq, arena_printf(rq->arena, "%lld", (long long)version), view);
}

void http_list_end(struct http_req *rq, struct json_out *o, const char *next)
{
    json_out_array_end(o);
    json_out_text(o, "next", next);
    json_out_object_end(o);
    if (next) {
        TEXT_AUTO link = {0};
        const char *query = rq->life->query;

        /* The same list, from there on; a cursor needs no escaping. */
        text_printf(&link, "<%s?after=%s", rq->life->path, next);
        while (query && *query) {
            const char *end = strchrnul(query, '&');

            if (strncmp(query, "after=", 6) != 0) {
                text_putc(&link, '&');
                text_put(&link, query, (size_t)(end - query));
            }
            query = *end ? end + 1 : NULL;
        }
        text_puts(&link, ">; rel=\"next\"");
        http_header(rq, "Link", link.data);
    }
}

/* ---- sending ---------------------------------------------------------- */

static bool wants_gzip(struct http_life *life)
{
    const char *accept = reply_header_in(life, "Accept-Encoding");

    return !life->gzip && accept && accept_takes(accept, "gzip") &&
           life->out.len >= GZIP_FROM && life->type &&
           strcmp(life->type, "application/pdf") != 0;
}

static void zip(struct http_life *life)
{
    z_stream z = {0};
    struct text out = {0};
    size_t room;

    /* Level 1: a chart of 3.8 kB becomes 0.7 kB in 15 microseconds. */
    if (deflateInit2(&z, 1, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY))
        return;
    room = deflateBound(&z, life->out.len);
    z.next_in = (unsigned char *)life->out.data;
    z.avail_in = (uInt)life->out.len;
    z.next_out = (unsigned char *)text_space(&out, room);
    z.avail_out = (uInt)room;
    if (deflate(&z, Z_FINISH) == Z_STREAM_END) {
        text_added(&out, z.total_out);
        text_free(&life->out);
        life->out = out;
        life->gzip = true;
    } else {
        text_free(&out);
    }
    deflateEnd(&z);
}

static const char *etag_of(struct http_life *life)
{
    return arena_printf(life->rq.arena, "\"%s%s%s%s\"", life->etag,
        life->etag_view ? "-" : "", life->etag_view ? life->etag_view : "",
        life->gzip ? "-gz" : "");
}

/* RFC 9110, 13.1.2: the list of tags may be weak, or a star. */
static bool tag_listed(const char *list, const char *tag)
{
    size_t len = strlen(tag);

    if (strcmp(list, "*") == 0)
        return true;
    for (const char *at = list; (at = strstr(at, tag)); at += len)
        if (at[len] == '\0' || at[len] == ',' || at[len] == ' ')
            return true;
    return false;
}

static bool not_modified(struct http_life *life, const char *etag)
{
    const char *list = reply_header_in(life, "If-None-Match");

    return list && strcmp(life->method, "GET") == 0 && life->status == 200 &&
           tag_listed(list, etag);
}

static void add_headers(struct http_life *life, struct MHD_Response *r)
{
    MHD_add_response_header(r, "X-Request-Id", life->rq.id);
    MHD_add_response_header(r, "X-Content-Type-Options", "nosniff");
    MHD_add_response_header(r, "Referrer-Policy", "no-referrer");
    for (const struct http_header *h = life->headers; h; h = h->next)
        MHD_add_response_header(r, h->name, h->value);
    if (life->type)
        MHD_add_response_header(r, "Content-Type", life->type);
    if (life->gzip)
        MHD_add_response_header(r, "Content-Encoding", "gzip");
    if (life->type || life->status == 304)
        MHD_add_response_header(r, "Vary", "Accept-Encoding, Authorization");
    if (life->rq.route && !(life->rq.route->roles & HTTP_OPEN))
        MHD_add_response_header(r, "Cache-Control", "private, no-cache");
    if (life->close || life->srv->draining)
        MHD_add_response_header(r, "Connection", "close");
}

/* What has no version of its own is told apart by its bytes: FNV-1a. */
static void tag_bytes(struct http_life *life)
{
    uint64_t h = UINT64_C(14695981039346656037);

    if (life->etag || life->status != 200 || life->listener ||
        strcmp(life->method, "GET") != 0 || life->rq.route->roles & HTTP_OPEN)
        return;
    for (size_t i = 0; i < life->out.len; i++)
        h = (h ^ (uint8_t)life->out.data[i]) * UINT64_C(1099511628211);
    http_etag_text(&life->rq,
        arena_printf(life->rq.arena, "%zu.%016llx", life->out.len,
            (unsigned long long)h),
        NULL);
}

static void block_read(void *life)
{
    server_moved(life);
}

static struct MHD_Response *make_response(struct http_life *life)
{
    struct MHD_Response *response;
    size_t len;
    char *bytes;

    if (life->listener)
        return event_response(life);
    if (life->spool.fd >= 0)
        return spool_response(&life->spool, block_read, life);
    bytes = text_take(&life->out, &len);
    response =
        MHD_create_response_from_buffer(len, bytes, MHD_RESPMEM_MUST_FREE);
    if (!response)
        free(bytes);
    return response;
}

enum MHD_Result reply_send(struct http_life *life)
{
    struct MHD_Response *response;
    enum MHD_Result result;
    const char *etag = NULL;

    tag_bytes(life);
    if (wants_gzip(life))
        zip(life);
    if (life->etag) {
        etag = etag_of(life);
        if (not_modified(life, etag)) {
            life->status = 304;
            life->type = NULL;
            life->gzip = false;
            text_free(&life->out);
        }
    }
    response = make_response(life);
    if (!response)
        return MHD_NO;
    if (etag)
        MHD_add_response_header(response, "ETag", etag);
    add_headers(life, response);
    life->state = LIFE_SENT;
    result = MHD_queue_response(life->con, (unsigned)life->status, response);
    MHD_destroy_response(response);
    return result;
}
