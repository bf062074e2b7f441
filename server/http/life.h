#pragma once
/*
 * http/life.h - inside the engine: a request from its first byte to its end.
 *
 *   READING   headers and body arrive
 *   TAKING    the handler takes the body while it arrives
 *   RUNNING   the handler or a next function is on the stack
 *   WAITING   suspended until the database or a worker is done
 *   READY     the answer is made; the loop resumes the connection
 *   SENT      handed to libmicrohttpd
 */
#include <microhttpd.h>
#include <stdbool.h>
#include <stdint.h>

#include "db/append.h"
#include "http/http.h"
#include "http/spool.h"

enum life_state {
    LIFE_READING,
    LIFE_TAKING,
    LIFE_RUNNING,
    LIFE_WAITING,
    LIFE_READY,
    LIFE_SENT
};

struct http_header {
    struct http_header *next;
    const char *name, *value;
};

struct http_view {
    struct http_view *next;
    struct http_life *life;
    struct db_view view;
};

struct http_life {
    struct http_req rq;
    struct http_server *srv;
    struct MHD_Connection *con;
    struct http_life *next_ready;
    enum life_state state;
    char *uri;         /* raw, as sent */
    const char *path;  /* raw, without the query */
    char *segments[8]; /* decoded */
    size_t n_segments;
    char *query; /* raw, or NULL */
    const char *method;
    bool head; /* HEAD: answered as GET, without the body */
    struct text body;
    size_t limit;
    bool too_large, started, suspended, close, gzip;
    bool resuming; /* stands in the list of those to be resumed */
    bool by_lines; /* the body goes to the handler as it arrives, */
    const struct http_intake *intake; /* once that has said how */
    size_t moved;                     /* bytes of it since server_moved */
    size_t holds;                     /* what still uses this life */
    bool gone;                        /* its connection is */
    struct watched *watched;
    struct err err;
    const char *fault; /* PostgreSQL's own words, for the log */
    http_next *next;
    void (*work)(struct http_req *rq);
    /* the answer */
    int status; /* 0: none yet */
    const char *type;
    struct text out;
    struct spool spool;        /* instead of out, when it has a file */
    struct listener *listener; /* instead of both, while it listens */
    struct http_header *headers;
    const char *etag, *etag_view;
    /* views of patients' records, to be in the log before answering */
    struct http_view *views;
    size_t views_waiting;
    bool views_done;
};

struct http_life *life_new(
    struct http_server *srv, const char *uri, struct MHD_Connection *con);
void life_free(struct http_life *life);

/* Headers are there: framing, route, limits.  False: an answer is made. */
bool life_headers(struct http_life *life, const char *method);
void life_body(struct http_life *life, const char *bytes, size_t len);
/* The body is complete: authenticates and runs the handler. */
void life_run(struct http_life *life);

/* The handler, from the beginning. */
void life_handle(struct http_life *life);

/* Makes the answer from an outcome, or leaves the life waiting. */
void life_outcome(struct http_life *life, enum rc rc);
/* The answer is complete: resume when suspended. */
void life_ready(struct http_life *life);
/* Lets a suspended connection go on in this turn. */
void life_resume(struct http_life *life);

/* intake.c: bytes of the body, or its end (*len 0), to the handler; what is
 * left in *len comes again. */
void intake_step(struct http_life *life, const char *bytes, size_t *len);

/* server.c: the deadline of its connection begins anew. */
void server_moved(struct http_life *life);

/* guard.c: why the framing of a request can't be trusted, or NULL. */
const char *guard_fault(struct http_life *life);

/* problem.c: writes the RFC 9457 body of life->err. */
void problem_write(struct http_life *life);
int problem_status(enum rc rc);
/* "errors": every fault, with the whole input's where none has a place. */
void problem_faults(struct json_out *o, const struct err *err);

/* route.c */
const struct http_route *route_find(
    struct http_life *life, const char **ret_allow);
void route_compile(void);
const struct http_route *route_table(size_t *ret_n);

/* token.c: who asks.  True when known; false: looked up, or refused. */
struct token_table;
struct token_table *token_table_new(struct http_server *srv);
void token_table_free(struct token_table *table);
void token_find(struct http_life *life, void (*then)(struct http_life *life));
void token_forget(struct token_table *table, const uint8_t hash[32]);
void token_remember(struct token_table *table, const struct http_who *who);
void token_poll(struct token_table *table);

/* view.c: who saw whose record lately. */
struct view_table;
struct view_table *view_table_new(struct http_server *srv);
void view_table_free(struct view_table *table);
/* True when this view must be written before the answer, and then, once that
 * is committed, kept. */
bool view_is_first(struct view_table *table, const struct http_view *view);
void view_kept(struct view_table *table, const struct http_view *view);
void view_tick(struct view_table *table, bool all);

/* keys.c: a repeated Idempotency-Key. */
void key_look(struct http_life *life, void (*then)(struct http_life *life));
/* Deletes answers that were kept long enough. */
void key_forget_old(struct http_server *srv);

/* reply.c */
enum MHD_Result reply_send(struct http_life *life);
const char *reply_header_in(struct http_life *life, const char *name);
