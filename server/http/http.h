#pragma once
/*
 * http/http.h - what a resource sees of a request.
 *
 * A request is two short functions, because the loop's thread never waits:
 * the handler reads the body and names the statements, the next function
 * turns rows into the reply (or names more statements).  Both return RC_OK,
 * or an error set in err, which becomes an RFC 9457 problem.  Before the
 * handler runs, the engine has checked framing, route, method, token, role,
 * media type, size, JSON syntax, query names, If-Match's presence and a
 * repeated Idempotency-Key.
 */
#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/err.h"
#include "base/json_in.h"
#include "base/json_out.h"
#include "base/text.h"
#include "base/uuid.h"
#include "db/db.h"
#include "db/sql.h"

struct http_server;
struct http_req;

enum http_role {
    HTTP_DESK = 1,
    HTTP_PRESCRIBER = 2,
    HTTP_LAB = 4,
    HTTP_DEVICE = 8,
    HTTP_ADMIN = 16,
    HTTP_AUDITOR = 32,
    HTTP_STAFF = HTTP_DESK | HTTP_PRESCRIBER | HTTP_ADMIN | HTTP_AUDITOR,
    HTTP_ANYBODY = 63, /* any valid token */
    HTTP_OPEN = 64,    /* no token */
};

enum http_flag {
    HTTP_JSON = 1,   /* a JSON body is required and parsed */
    HTTP_MATCH = 2,  /* If-Match is required */
    HTTP_KEYED = 4,  /* Idempotency-Key is honoured */
    HTTP_MERGE = 8,  /* JSON or merge-patch+json */
    HTTP_RAW = 16,   /* the handler reads the body and its media type */
    HTTP_MAYBE = 32, /* a JSON body may be absent */
    HTTP_LINES = 64, /* application/x-ndjson and text/csv go to the handler as
                        they come: see intake.h */
};

typedef enum rc http_handler(struct http_req *rq, struct err *err);
typedef enum rc http_next(
    struct http_req *rq, const struct db_reply *reply, struct err *err);

struct http_route {
    const char *method;
    const char *path; /* "/v1/patients/{id}/timeline"; {id} must be a UUID,
                         {word} any single segment */
    http_handler *handler;
    unsigned roles;
    unsigned flags;
    const char *action; /* the audit log's word for a write, or NULL */
    const char *query;  /* names allowed, blank between: "q born limit" */
};

#define HTTP_TEXT 484 /* 120 characters of any script and NUL */

/* Who asks; "" where a text has no value. */
struct http_who {
    struct db_who db; /* network, token, user or device */
    uint8_t token_hash[32];
    char owner_id[UUID_TEXT_SIZE]; /* the user or the device */
    char clinic_id[UUID_TEXT_SIZE];
    char lab_id[UUID_TEXT_SIZE];
    enum http_role role;
    char name[64];
    char network_name[64];
    char time_zone[64]; /* of the clinic; "" without one */
    char serial[HTTP_TEXT], model[HTTP_TEXT], maker[HTTP_TEXT]; /* device's */
    int64_t expires_us;
    bool session; /* a browser's, not a bearer token */
};

struct http_req {
    struct http_server *srv;
    struct arena *arena; /* everything of the request; gone with it */
    const char *id;      /* request id, also answered as X-Request-Id */
    const struct http_route *route;
    const char *ids[3]; /* {id} and {word} of the path, in order */
    struct http_who who;
    int64_t now_us; /* when it arrived */
    const char *body;
    size_t body_len;
    const char *media; /* content type without parameters, lower case */
    json_t *json;      /* the parsed body, or NULL; borrowed */
    const char *match; /* If-Match as it came, or NULL; see http_match */
    const char *key;   /* Idempotency-Key, or NULL */
    uint8_t body_hash[32];
    void *state;                      /* the handler's own, in the arena */
    struct db_act act;                /* what a write tells the audit log */
    const struct http_signer *signer; /* see http/signer.h */
    void *finding;                    /* while it is looked for */
    struct http_life *life;           /* the engine's part */
};

/* ---- asking ---------------------------------------------------------- */

/* A decoded query argument, or NULL. */
const char *http_query(struct http_req *rq, const char *name);

/* ?limit (1..500, 50) and ?after (NULL: from the start). */
enum rc http_page(struct http_req *rq, int *ret_limit, const char **ret_after,
    struct err *err);

/* RC_STALE when If-Match named another version, RC_NEED_MATCH when a route
 * with HTTP_MATCH got none.  Every such handler asks, once it has found what
 * it is to change. */
enum rc http_match(struct http_req *rq, int64_t version, struct err *err);

/* ---- the database ---------------------------------------------------- */

/* Runs calls for the request's network, then next.  Errors of the database
 * are answered by the engine; next sees RC_OK only. */
enum rc http_read(struct http_req *rq, struct db_call *const *calls, size_t n,
    http_next *next);
enum rc http_read_slow(struct http_req *rq, struct db_call *const *calls,
    size_t n, http_next *next);

/* Before a network is known: who is this name. */
enum rc http_read_open(
    struct http_req *rq, struct db_call *call, http_next *next);

/* One transaction; route->action names it for the audit log.  See
 * db_write's contract: one call inserts the audit row iff it does its work. */
enum rc http_write(struct http_req *rq, struct db_call *const *calls, size_t n,
    http_next *next);

struct db_readings;

/* Stores n units of readings, each on its own, in the group writer; then next
 * runs once, with reply RC_OK: each unit's rc tells what became of it. */
enum rc http_append(
    struct http_req *rq, struct db_readings *units, size_t n, http_next *next);

/* Runs work(rq) on a worker's thread (it may touch rq->arena and rq->state,
 * no reply functions), then next on the loop's with reply NULL. */
enum rc http_work(
    struct http_req *rq, void (*work)(struct http_req *rq), http_next *next);

/* The same one at a time, for passwords; RC_BUSY when too many wait. */
enum rc http_password_work(
    struct http_req *rq, void (*work)(struct http_req *rq), http_next *next);

/* The same where work runs another program, so that jobs of our own needn't
 * wait for it. */
enum rc http_program_work(
    struct http_req *rq, void (*work)(struct http_req *rq), http_next *next);

/* ---- the answer ------------------------------------------------------ */

/* Text made by json_out; taken over (t is emptied). */
enum rc http_reply_json(struct http_req *rq, int status, struct text *t);
/* json is borrowed and copied. */
enum rc http_reply_ready(struct http_req *rq, int status, const char *json);
/* Any bytes; taken over. */
enum rc http_reply_bytes(
    struct http_req *rq, int status, const char *type, struct text *t);
enum rc http_reply_empty(struct http_req *rq, int status); /* 204 */

/* A header of the answer; value is copied. */
void http_header(struct http_req *rq, const char *name, const char *value);
void http_location(struct http_req *rq, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
/* Strong ETag "<version>[-view][-gz]"; view NULL for the plain one. */
void http_etag(struct http_req *rq, int64_t version, const char *view);
void http_etag_text(struct http_req *rq, const char *tag, const char *view);

/* The answer shows a patient's record, or several patients': one that
 * this user has not seen for ten minutes waits until the log has it.
 * subject_id is the thing seen ("exam", "reading", ...). */
void http_viewed(struct http_req *rq, const char *subject_kind,
    const char *subject_id, const char *patient_id);

/* Closes {"items":[...  with "next" (NULL: null) and the Link header. */
void http_list_end(struct http_req *rq, struct json_out *o, const char *next);

/* A column's text in the arena, NULL where it is null. */
const char *http_kept(
    struct http_req *rq, const struct db_rows *rows, size_t row, int col);
/* A new id of the request's instant, in its arena. */
const char *http_new_id(struct http_req *rq);
/* "2026-03-02T09:14:05Z" of us, in the arena. */
const char *http_time(struct http_req *rq, int64_t us);
const char *http_role_word(enum http_role role);
