#pragma once
/*
 * db/conn.h - inside db: one connection in pipeline mode.
 *
 * A segment is what stands between two syncs, one implicit transaction.  Its
 * end is the sync marker, not the last result: a failure of the commit comes
 * between the two.
 */
#include <libpq-fe.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "db/db.h"

struct db_conn;
struct loop;

enum req_kind { REQ_READ, REQ_OPEN, REQ_WRITE, REQ_CHECK, REQ_BATCH };

/* One request's statements on their way. */
struct db_req {
    struct db_req *next;
    enum req_kind kind;
    struct db_who who;
    struct db_act act;
    struct db_call *const *calls;
    size_t n;
    db_done *done;
    void *arg;
    PGresult **results; /* n, NULL until they arrive */
    PGresult *error;    /* the first error of its statements */
    bool unknown;       /* a sent attempt's outcome was never told */
    int attempts;
    int64_t give_up_ms;
    struct db_req *parent; /* of a REQ_CHECK: the write in doubt */
};

struct req_queue {
    struct db_req *first, **last;
    size_t n;
};

void req_queue_init(struct req_queue *q);
void req_queue_put(struct req_queue *q, struct db_req *req);
void req_queue_put_first(struct req_queue *q, struct db_req *req);
struct db_req *req_queue_take(struct req_queue *q);

/* How a segment ended, for each of its requests, in order. */
enum seg_end {
    SEG_DONE,    /* committed, without a warning */
    SEG_DOUBT,   /* committed with a warning */
    SEG_REFUSED, /* an error: of the request itself when req->error */
    SEG_LOST,    /* the connection went away: nobody knows */
};

struct conn_owner {
    void *arg;
    /* Takes over every request of the list. */
    void (*ended)(
        void *arg, struct db_conn *conn, struct db_req *reqs, enum seg_end end);
    db_tell *tell;
    void *tell_arg;
    const char *name; /* of the connection, for the operator */
};

struct db_conn *conn_new(
    struct loop *loop, const char *conninfo, const struct conn_owner *owner);
void conn_free(struct db_conn *conn); /* nothing may be in flight */
/* Closes it; what is in flight goes back as lost. */
void conn_drop(struct db_conn *conn);

bool conn_up(const struct db_conn *conn);
size_t conn_segments(const struct db_conn *conn); /* in flight */

/* Sends the list as one segment.  REQ_READ of one network must be neighbours.
 */
void conn_send(struct db_conn *conn, struct db_req *reqs);

/* Connects again when it is time, and drops what hangs too long. */
void conn_tick(struct db_conn *conn, int64_t now_ms);

int64_t conn_clock_ms(void); /* monotonic */
