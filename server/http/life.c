/* http/life.c - a request from its first byte to its answer. */
#include "http/life.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/hash.h"
#include "base/instant.h"
#include "base/log.h"
#include "base/num.h"
#include "http/accept.h"
#include "http/inside.h"
#include "http/intake.h"
#include "http/url.h"

#define BUSY_MOST 4096   /* requests at the database before we say no */
#define PARSE_MOST 65536 /* bytes of a body that are parsed at once */

struct http_life *life_new(
    struct http_server *srv, const char *uri, struct MHD_Connection *con)
{
    struct http_life *life = xcalloc(1, sizeof(*life));
    struct http_req *rq = &life->rq;
    char id[UUID_TEXT_SIZE];

    life->srv = srv;
    life->con = con;
    rq->srv = srv;
    rq->life = life;
    rq->arena = arena_new();
    rq->now_us = instant_now_us();
    rq->id = arena_strdup(rq->arena, uuid_text(uuid_new(rq->now_us), id));
    life->err = (struct err)ERR_INIT(rq->arena);
    life->uri = arena_strdup(rq->arena, uri);
    life->path = life->uri;
    life->query = strchr(life->uri, '?');
    if (life->query)
        *life->query++ = '\0';
    life->spool = (struct spool)SPOOL_INIT;
    life->limit = (size_t)srv->parts.config->body_limit_mb << 20;
    srv->n_lives++;
    return life;
}

void life_free(struct http_life *life)
{
    if (!life)
        return;
    if (life->intake)
        life->intake->drop(&life->rq);
    life->srv->n_lives--;
    event_forget(life);
    json_decref(life->rq.json);
    text_free(&life->body);
    text_free(&life->out);
    spool_free(&life->spool);
    arena_free(life->rq.arena);
    free(life);
}

/* ---- headers ---------------------------------------------------------- */

static bool cut_path(struct http_life *life)
{
    const char *s = life->path;

    while (*s == '/') {
        const char *end = strchrnul(++s, '/');
        char *part = url_decode(life->rq.arena, s, (size_t)(end - s), false);

        if (!part || life->n_segments == ARRAY_LEN(life->segments))
            return false;
        life->segments[life->n_segments++] = part;
        s = end;
    }
    return *s == '\0' && life->n_segments > 0;
}

static enum rc check_key(struct http_life *life)
{
    const char *key = reply_header_in(life, "Idempotency-Key");
    size_t len = key ? strlen(key) : 0;

    if (!key)
        return RC_OK;
    for (size_t i = 0; i < len; i++)
        if (key[i] < 0x20 || key[i] > 0x7e)
            len = 0;
    if (len < 1 || len > 200)
        return err_set(&life->err, RC_SYNTAX, NULL,
            "Idempotency-Key must be 1 to 200 visible ASCII characters");
    if (life->rq.route->flags & HTTP_KEYED)
        life->rq.key = arena_strdup(life->rq.arena, key);
    return RC_OK;
}

static bool media_is(const char *media, const char *word)
{
    return strcmp(media, word) == 0;
}

/* Bodies are UTF-8 and come as they are. */
static enum rc check_coding(struct http_life *life, const char *media)
{
    const char *coding = reply_header_in(life, "Content-Encoding");
    const char *charset = media ? strcasestr(media, "charset=") : NULL;

    if (coding && strcasecmp(coding, "identity") != 0)
        return err_set(&life->err, RC_MEDIA_TYPE, NULL,
            "no Content-Encoding is taken, not \"%s\"", coding);
    if (!charset)
        return RC_OK;
    charset += strlen("charset=");
    charset += *charset == '"';
    if (strncasecmp(charset, "utf-8", 5) == 0 && strchr("\"; \t", charset[5]))
        return RC_OK;
    return err_set(&life->err, RC_MEDIA_TYPE, NULL,
        "the body must be UTF-8, not \"%s\"", media);
}

static enum rc check_media(struct http_life *life)
{
    const char *value = reply_header_in(life, "Content-Type");
    unsigned flags = life->rq.route->flags;
    char *media = arena_strdup(life->rq.arena, value ? value : "");

    if (flags & (HTTP_JSON | HTTP_MERGE | HTTP_RAW))
        TRY(check_coding(life, value));
    media[strcspn(media, "; \t")] = '\0';
    for (char *c = media; *c; c++)
        if (*c >= 'A' && *c <= 'Z')
            *c = (char)(*c - 'A' + 'a');
    life->rq.media = media;
    if (reply_header_in(life, "Content-Encoding"))
        return err_set(&life->err, RC_MEDIA_TYPE, NULL,
            "a body is taken as it is, without a content coding");
    if (!(flags & (HTTP_JSON | HTTP_MERGE)))
        return RC_OK;
    if (media_is(media, "application/json") ||
        (flags & HTTP_MERGE && media_is(media, "application/merge-patch+json")))
        return RC_OK;
    if (flags & HTTP_MAYBE && !*media)
        return RC_OK;
    return err_set(&life->err, RC_MEDIA_TYPE, NULL,
        "the body must be %s, not \"%s\"",
        flags & HTTP_MERGE ? "application/merge-patch+json or application/json"
                           : "application/json",
        media);
}

/* What a path makes, by its end; the rest is JSON. */
static const char *makes(const char *path)
{
    static const struct {
        const char *end, *type;
    } ends[] = {{".pdf", "application/pdf"}, {".html", "text/html"},
        {"/fhir", "application/fhir+json"}, {"/original", NULL},
        {"/docs/api", "text/html"}, {"/v1/events", "text/event-stream"},
        {"/", "text/html"}, {"/assets/{word}", NULL},
        {"/studies", "application/dicom+json"},
        {"/dicom", "application/dicom+json"},
        {"/studies/{word}", "application/dicom+json"}};
    size_t len = strlen(path);

    for (size_t i = 0; i < ARRAY_LEN(ends); i++) {
        size_t n = strlen(ends[i].end);

        if (len >= n && strcmp(path + len - n, ends[i].end) == 0)
            return ends[i].type;
    }
    return "application/json";
}

static enum rc check_accept(struct http_life *life)
{
    const char *accept = reply_header_in(life, "Accept");
    const char *type = makes(life->rq.route->path);

    if (!accept || !*accept || !type || accept_takes(accept, type))
        return RC_OK;
    if (strstr(type, "+json") && accept_names(accept, "application/json"))
        return RC_OK;
    if (strcmp(type, "application/json") == 0 &&
        (accept_names(accept, "application/problem+json") ||
            accept_names(accept, "application/x-ndjson")))
        return RC_OK;
    return err_set(
        &life->err, RC_NOT_ACCEPTABLE, NULL, "only %s can be given here", type);
}

static enum rc check_query(struct http_life *life)
{
    const char *bad;

    if (url_names_known(
            life->rq.arena, life->query, life->rq.route->query, &bad))
        return RC_OK;
    return err_set(&life->err, RC_INVALID,
        arena_printf(life->rq.arena, "/%s", bad),
        "no query argument \"%s\" is known here, or it stands twice", bad);
}

static enum rc find_route(struct http_life *life)
{
    const char *allow = NULL;
    const char *why = guard_fault(life);

    if (!why && !cut_path(life))
        why = "the path is broken";
    if (why) {
        life->close = true;
        return err_set(&life->err, RC_SYNTAX, NULL, "%s", why);
    }
    life->rq.route = route_find(life, &allow);
    if (life->rq.route)
        return RC_OK;
    if (!allow)
        return err_set(&life->err, RC_NOT_FOUND, NULL, "no such path");
    http_header(
        &life->rq, "Allow", arena_printf(life->rq.arena, "%s, OPTIONS", allow));
    if (strcmp(life->method, "OPTIONS") == 0)
        return http_reply_empty(&life->rq, 204);
    return err_set(&life->err, RC_METHOD, NULL,
        "%s does not work here, only %s, OPTIONS", life->method, allow);
}

/* A body that is a little too large is read to its end, because a client that
 * is still sending would not see the answer. */
static enum rc check_length(struct http_life *life)
{
    const char *value = reply_header_in(life, "Content-Length");
    int64_t len;

    if (!value || life->by_lines)
        return RC_OK;
    /* libmicrohttpd has seen to it that the value is a number. */
    if (num_parse(value, strlen(value), 0, 4 * (int64_t)life->limit, &len)) {
        life->too_large = len > (int64_t)life->limit;
        return RC_OK;
    }
    life->close = true;
    return err_set(&life->err, RC_TOO_LARGE, NULL,
        "the body may have at most %zu bytes", life->limit);
}

/* Media types whose lines stand alone. */
static bool comes_by_lines(struct http_life *life)
{
    static const char *const types[] = {"application/x-ndjson", "text/csv"};
    const char *type = reply_header_in(life, "Content-Type");
    size_t len = type ? strcspn(type, "; \t") : 0;

    if (!(life->rq.route->flags & HTTP_LINES))
        return false;
    for (size_t i = 0; i < ARRAY_LEN(types); i++)
        if (len == strlen(types[i]) && strncasecmp(type, types[i], len) == 0)
            return true;
    return false;
}

bool life_headers(struct http_life *life, const char *method)
{
    enum rc rc;

    life->head = strcmp(method, "HEAD") == 0;
    life->method = life->head ? "GET" : arena_strdup(life->rq.arena, method);
    rc = find_route(life);
    life->by_lines = rc == RC_OK && !life->status && comes_by_lines(life);
    if (rc == RC_OK && !life->status)
        rc = check_length(life);
    if (rc == RC_OK)
        return life->status == 0;
    /* Who isn't known learns nothing of what there is: 401 comes first. */
    if ((rc == RC_NOT_FOUND || rc == RC_METHOD) &&
        strncmp(life->path, "/v1/", 4) == 0)
        return true;
    problem_write(life);
    return false;
}

void life_body(struct http_life *life, const char *bytes, size_t len)
{
    if (life->body.len + len > life->limit)
        life->too_large = true;
    if (!life->too_large)
        text_put(&life->body, bytes, len);
    else
        text_free(&life->body);
}

/* ---- the handler ------------------------------------------------------ */

void life_handle(struct http_life *life)
{
    life->state = LIFE_RUNNING;
    life_outcome(life, life->rq.route->handler(&life->rq, &life->err));
}

static enum rc parse_body(struct http_life *life)
{
    struct http_req *rq = &life->rq;
    struct text whole = {0};

    rq->body = life->body.data ? life->body.data : "";
    rq->body_len = life->body.len;
    if (rq->key) {
        text_printf(&whole, "%s %s\n", life->method, life->path);
        text_put(&whole, rq->body, rq->body_len);
        hash_bytes(whole.data, whole.len, rq->body_hash);
        text_free(&whole);
        rq->act.body_hash_hex =
            hash_hex(rq->body_hash, 32, arena_alloc(rq->arena, 65));
        rq->act.idempotency_key = rq->key;
    }
    if (!(rq->route->flags & (HTTP_JSON | HTTP_MERGE)))
        return RC_OK;
    if (rq->route->flags & HTTP_MAYBE && rq->body_len == 0)
        return RC_OK;
    TRY(json_in_parse(rq->body, rq->body_len, &rq->json, &life->err));
    if (!json_is_object(rq->json) && !(rq->route->flags & HTTP_RAW))
        return err_set(
            &life->err, RC_INVALID, "", "the body must be a JSON object");
    return RC_OK;
}

static enum rc check_request(struct http_life *life)
{
    struct http_req *rq = &life->rq;

    if (!(rq->route->roles & HTTP_OPEN) &&
        !(rq->route->roles & (unsigned)rq->who.role))
        return err_set(&life->err, RC_FORBIDDEN, NULL,
            "the role %s may not do this", http_role_word(rq->who.role));
    TRY(check_media(life));
    TRY(check_accept(life));
    if (life->too_large) {
        life->close = true;
        return err_set(&life->err, RC_TOO_LARGE, NULL,
            "the body may have at most %zu bytes", life->limit);
    }
    TRY(check_key(life));
    rq->match = reply_header_in(life, "If-Match");
    TRY(check_query(life));
    if (db_busy(life->srv->parts.db) > BUSY_MOST)
        return err_set(&life->err, RC_BUSY, NULL, "too much waits already");
    return RC_OK;
}

static void parsed(void *arg)
{
    struct http_life *life = arg;
    const struct http_req *rq = &life->rq;

    life->state = LIFE_RUNNING;
    if (life->err.rc != RC_OK)
        life_outcome(life, life->err.rc);
    else if (rq->key && !(rq->route->flags & HTTP_RAW))
        key_look(life, life_handle);
    else
        life_handle(life);
}

static void parse_in_worker(void *arg)
{
    parse_body(arg); /* life->err keeps the outcome */
}

/* A long body is parsed in a worker, so that it holds nobody up. */
static void parse(struct http_life *life)
{
    if (life->body.len <= PARSE_MOST) {
        parse_body(life);
        parsed(life);
        return;
    }
    life->state = LIFE_WAITING;
    if (worker_start(life->srv->parts.workers, parse_in_worker, parsed, life))
        return;
    life->state = LIFE_RUNNING;
    life_outcome(life, err_set(&life->err, RC_BUSY, NULL,
                           "too many such requests wait already"));
}

static void known(struct http_life *life)
{
    struct http_req *rq = &life->rq;
    enum rc rc;

    life->state = LIFE_RUNNING;
    rq->act.action = rq->route->action;
    rq->act.at_us = rq->now_us;
    rq->act.request_id = rq->id;
    rc = check_request(life);
    if (rc != RC_OK)
        life_outcome(life, rc);
    else if (life->by_lines)
        life_handle(life);
    else
        parse(life);
}

/* No such path or method, told to somebody known. */
static void tell_missing(struct http_life *life)
{
    life->state = LIFE_RUNNING;
    life_outcome(life, life->err.rc);
}

void life_run(struct http_life *life)
{
    life->started = true;
    life->state = LIFE_RUNNING;
    if (!life->rq.route)
        token_find(life, tell_missing);
    else if (life->rq.route->roles & HTTP_OPEN)
        known(life);
    else
        token_find(life, known);
}

/* ---- the answer ------------------------------------------------------- */

static void viewed(void *arg, const struct db_reply *reply)
{
    struct http_view *view = arg;
    struct http_life *life = view->life;

    if (reply->rc == RC_OK)
        view_kept(life->srv->views, view);
    else
        err_set(&life->err, reply->rc, NULL, "%s", reply->detail);
    if (--life->views_waiting > 0)
        return;
    if (life->err.rc != RC_OK)
        problem_write(life);
    life_ready(life);
}

static void log_view(struct http_view *view)
{
    struct http_life *life = view->life;
    struct db_view *row = &view->view;

    memcpy(row->token_hash, life->rq.who.token_hash, 32);
    uuid_text(uuid_new(life->rq.now_us), row->audit_id);
    row->at_us = life->rq.now_us;
    row->action = "viewed";
    row->request_id = life->rq.id;
    life->views_waiting++;
    db_append_view(life->srv->parts.db, row, viewed, view);
}

/* True when the answer has to wait for its audit rows. */
static bool view_waits(struct http_life *life)
{
    if (life->views_done || life->status >= 300)
        return false;
    life->views_done = true;
    for (struct http_view *view = life->views; view; view = view->next)
        if (view_is_first(life->srv->views, view))
            log_view(view);
    if (!life->views_waiting)
        return false;
    life->state = LIFE_WAITING;
    return true;
}

void life_outcome(struct http_life *life, enum rc rc)
{
    if (rc == RC_OK && life->state == LIFE_WAITING)
        return; /* more statements are on their way */
    if (rc == RC_OK && life->state == LIFE_TAKING) {
        life_resume(life);
        return;
    }
    if (rc != RC_OK) {
        if (!life->err.detail)
            err_set(&life->err, rc, NULL, "the request can't be done");
        problem_write(life);
    } else if (life->status == 0) {
        err_set(&life->err, RC_INTERNAL, NULL, "no answer was made");
        problem_write(life);
    } else if (view_waits(life)) {
        return;
    }
    life_ready(life);
}

void life_ready(struct http_life *life)
{
    life->state = LIFE_READY;
    life_resume(life);
}

void life_resume(struct http_life *life)
{
    if (!life->suspended || life->resuming)
        return;
    life->resuming = true;
    life->next_ready = life->srv->ready;
    life->srv->ready = life;
}
