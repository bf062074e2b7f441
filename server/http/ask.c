/* http/ask.c - what a handler asks of its request and of the database. */
#include <string.h>

#include "base/hash.h"
#include "base/instant.h"
#include "base/num.h"
#include "http/inside.h"
#include "http/url.h"

#define LIST_PRESET 50
#define LIST_MOST 500
#define UNITS_MOST 64 /* of one request in the group writer; half a batch */

const char *http_query(struct http_req *rq, const char *name)
{
    return url_argument(rq->arena, rq->life->query, name);
}

enum rc http_page(struct http_req *rq, int *ret_limit, const char **ret_after,
    struct err *err)
{
    const char *limit = http_query(rq, "limit");
    int64_t n = LIST_PRESET;

    if (limit && (!num_parse(limit, strlen(limit), 0, LIST_MOST, &n) || n < 1))
        return err_set(err, RC_INVALID, "/limit",
            "limit must be from 1 to %d, not \"%s\"", LIST_MOST, limit);
    *ret_limit = (int)n;
    *ret_after = http_query(rq, "after");
    return RC_OK;
}

/* True when a strong tag of the list (RFC 9110, 13.1.1) names version; what
 * stands behind a dash of a tag is the view, which no change is about. */
static bool tag_names(const char *list, int64_t version)
{
    for (const char *at = list; *at; at++) {
        bool weak = strncmp(at, "W/", 2) == 0;
        const char *tag = strchr(at, '"');
        size_t digits = tag ? strspn(tag + 1, "0123456789") : 0;
        int64_t named;

        if (!tag)
            return false;
        at = strchr(tag + 1, '"');
        if (!weak && at && (tag[1 + digits] == '"' || tag[1 + digits] == '-') &&
            num_parse(tag + 1, digits, 0, INT32_MAX, &named) &&
            named == version)
            return true;
        if (!at)
            return false;
        at += strspn(at + 1, ", \t");
    }
    return false;
}

enum rc http_match(struct http_req *rq, int64_t version, struct err *err)
{
    if (!rq->match && rq->route->flags & HTTP_MATCH)
        return err_set(err, RC_NEED_MATCH, NULL,
            "send If-Match with the ETag that this change is based on");
    if (!rq->match || strcmp(rq->match, "*") == 0 ||
        tag_names(rq->match, version))
        return RC_OK;
    return err_set(err, RC_STALE, NULL,
        "it was changed meanwhile: version %lld stands, not %s",
        (long long)version, rq->match);
}

/* ---- the database ----------------------------------------------------- */

static void asked(void *arg, const struct db_reply *reply)
{
    struct http_req *rq = arg;
    struct http_life *life = rq->life;
    http_next *next = life->next;

    life->state = LIFE_RUNNING;
    life->next = NULL;
    if (reply->rc == RC_OK) {
        life_outcome(life, next(rq, reply, &life->err));
        return;
    }
    if (reply->key_taken && rq->key) {
        key_look(life, life_handle); /* its twin came first */
        return;
    }
    life->fault = reply->server ? arena_strdup(rq->arena, reply->server) : NULL;
    life_outcome(life,
        err_set(&life->err, reply->rc, reply->pointer, "%s", reply->detail));
}

static void read_in(struct http_req *rq, enum db_lane lane,
    struct db_call *const *calls, size_t n)
{
    struct db_query query = {
        .lane = lane, .who = rq->who.db, .calls = calls, .n = n};

    db_read(rq->srv->parts.db, &query, asked, rq);
}

enum rc http_read(struct http_req *rq, struct db_call *const *calls, size_t n,
    http_next *next)
{
    rq->life->next = next;
    rq->life->state = LIFE_WAITING;
    read_in(rq, DB_QUICK, calls, n);
    return RC_OK;
}

enum rc http_read_slow(struct http_req *rq, struct db_call *const *calls,
    size_t n, http_next *next)
{
    rq->life->next = next;
    rq->life->state = LIFE_WAITING;
    read_in(rq, DB_SLOW, calls, n);
    return RC_OK;
}

enum rc http_read_open(
    struct http_req *rq, struct db_call *call, http_next *next)
{
    rq->life->next = next;
    rq->life->state = LIFE_WAITING;
    db_read_open(rq->srv->parts.db, call, asked, rq);
    return RC_OK;
}

enum rc http_write(struct http_req *rq, struct db_call *const *calls, size_t n,
    http_next *next)
{
    struct db_write write = {
        .who = rq->who.db, .act = rq->act, .calls = calls, .n = n};

    /* Each attempt of a handler is an act of its own. */
    uuid_text(uuid_new(instant_now_us()), write.act.audit_id);
    rq->life->next = next;
    rq->life->state = LIFE_WAITING;
    db_write(rq->srv->parts.db, &write, asked, rq);
    return RC_OK;
}

/* Units on their way for one request.  Not all at once: who sends thousands of
 * lines shares each batch with the others. */
struct append {
    struct http_req *rq;
    struct db_readings *units;
    size_t n, begun, running;
};

static void append_more(struct append *append);

static void appended(void *arg, const struct db_reply *reply)
{
    struct append *append = arg;
    struct db_reply all = {.rc = RC_OK};

    if (reply->server)
        append->rq->life->fault =
            arena_strdup(append->rq->arena, reply->server);
    append->running--;
    /* Each would wait as long for a database that isn't there. */
    while (reply->rc == RC_BUSY && append->begun < append->n) {
        append->units[append->begun].rc = RC_BUSY;
        append->units[append->begun++].detail =
            "the database can't be reached now; nothing was stored";
    }
    append_more(append);
    if (append->running == 0)
        asked(append->rq, &all);
}

static void append_more(struct append *append)
{
    struct db *db = append->rq->srv->parts.db;

    while (append->running < UNITS_MOST && append->begun < append->n) {
        append->running++;
        db_append_readings(
            db, &append->units[append->begun++], appended, append);
    }
}

enum rc http_append(
    struct http_req *rq, struct db_readings *units, size_t n, http_next *next)
{
    struct append *append = arena_alloc(rq->arena, sizeof(*append));

    *append = (struct append){.rq = rq, .units = units, .n = n};
    rq->life->next = next;
    rq->life->state = LIFE_WAITING;
    append_more(append);
    return RC_OK;
}

static void work_here(void *arg)
{
    struct http_req *rq = arg;

    rq->life->work(rq);
}

static void work_done(void *arg)
{
    struct db_reply reply = {.rc = RC_OK};

    asked(arg, &reply);
}

static enum rc work_in(struct worker_pool *pool, struct http_req *rq,
    void (*work)(struct http_req *rq), http_next *next)
{
    rq->life->next = next;
    rq->life->work = work;
    rq->life->state = LIFE_WAITING;
    if (worker_start(pool, work_here, work_done, rq))
        return RC_OK;
    rq->life->state = LIFE_RUNNING;
    return err_set(
        &rq->life->err, RC_BUSY, NULL, "too many such requests wait already");
}

enum rc http_work(
    struct http_req *rq, void (*work)(struct http_req *rq), http_next *next)
{
    return work_in(rq->srv->parts.workers, rq, work, next);
}

enum rc http_password_work(
    struct http_req *rq, void (*work)(struct http_req *rq), http_next *next)
{
    return work_in(rq->srv->parts.passwords, rq, work, next);
}

enum rc http_program_work(
    struct http_req *rq, void (*work)(struct http_req *rq), http_next *next)
{
    return work_in(rq->srv->parts.programs, rq, work, next);
}

/* ---- small things ----------------------------------------------------- */

const char *http_kept(
    struct http_req *rq, const struct db_rows *rows, size_t row, int col)
{
    const char *text = db_rows_text(rows, row, col);

    return text ? arena_strdup(rq->arena, text) : NULL;
}

const char *http_new_id(struct http_req *rq)
{
    char *text = arena_alloc(rq->arena, UUID_TEXT_SIZE);

    return uuid_text(uuid_new(instant_now_us()), text);
}

const char *http_time(struct http_req *rq, int64_t us)
{
    return instant_text(us, 0, arena_alloc(rq->arena, INSTANT_TEXT_MAX));
}

const char *http_role_word(enum http_role role)
{
    switch (role) {
    case HTTP_DESK:
        return "desk";
    case HTTP_PRESCRIBER:
        return "prescriber";
    case HTTP_LAB:
        return "lab";
    case HTTP_DEVICE:
        return "device";
    case HTTP_ADMIN:
        return "admin";
    case HTTP_AUDITOR:
        return "auditor";
    default:
        return "";
    }
}

void http_viewed(struct http_req *rq, const char *subject_kind,
    const char *subject_id, const char *patient_id)
{
    struct http_view *view;

    if (!patient_id || !*patient_id)
        return;
    for (view = rq->life->views; view; view = view->next)
        if (strcmp(view->view.patient_id, patient_id) == 0)
            return;
    view = arena_calloc(rq->arena, 1, sizeof(*view));
    view->life = rq->life;
    view->view.subject_kind = subject_kind;
    view->view.subject_id = arena_strdup(rq->arena, subject_id);
    view->view.patient_id = arena_strdup(rq->arena, patient_id);
    view->next = rq->life->views;
    rq->life->views = view;
}
