#pragma once
/*
 * db/db.h - a loop's connections to PostgreSQL.
 *
 * Everything is asynchronous: a function queues work and returns; the done
 * callback runs later on the loop's thread, once, also on failure.  Rows live
 * until it returns.  Statements of one request run in one transaction, whose
 * network is set in the same round trip.  A 2xx may be answered only from a
 * callback with RC_OK: for writes that means a commit without error or notice
 * (a lost connection is resolved by the write's audit id before).
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "base/uuid.h"
#include "db/call.h"

struct db;
struct loop;

/* For whom statements run.  Texts are borrowed until done. */
struct db_who {
    char network_id[UUID_TEXT_SIZE];
    char token_id[UUID_TEXT_SIZE];
    char user_id[UUID_TEXT_SIZE];   /* "" for a device */
    char device_id[UUID_TEXT_SIZE]; /* "" for a user */
};

/* What a write tells the audit log, and its idempotency key. */
struct db_act {
    const char *action; /* "patient-added" */
    char audit_id[UUID_TEXT_SIZE];
    int64_t at_us; /* app_at() in SQL */
    const char *request_id;
    const char *idempotency_key; /* NULL or "": none */
    const char *body_hash_hex;   /* with a key */
};

struct db_rows; /* the rows of one statement */

size_t db_rows_count(const struct db_rows *rows);
/* Text of a column, NULL for null; lives as long as the rows. */
const char *db_rows_text(const struct db_rows *rows, size_t row, int col);
size_t db_rows_len(const struct db_rows *rows, size_t row, int col);
int64_t db_rows_int(const struct db_rows *rows, size_t row, int col);
/* NUM_ABSENT for null. */
int32_t db_rows_cd(const struct db_rows *rows, size_t row, int col);
double db_rows_real(const struct db_rows *rows, size_t row, int col); /* NaN */
bool db_rows_bool(const struct db_rows *rows, size_t row, int col);

struct db_reply {
    enum rc rc;          /* RC_OK, or why not */
    const char *pointer; /* of the input that a constraint refused, or NULL */
    const char *detail;  /* for the client; static */
    const char *server;  /* what PostgreSQL said, for the log; or NULL */
    bool key_taken;      /* refused, as its idempotency key stands there now */
    size_t n;            /* statements */
    const struct db_rows *const *rows; /* one a statement, on RC_OK */
};

typedef void db_done(void *arg, const struct db_reply *reply);

/* Something the operator should know (a connection lost, found again). */
typedef void db_tell(void *arg, const char *event, const char *detail);

/* Connects in the background; works are queued until connections stand. */
struct db *db_new(
    struct loop *loop, const char *conninfo, db_tell *tell, void *arg);
/* Closes all connections and answers what still waits with RC_BUSY. */
void db_give_up(struct db *db);
void db_free(struct db *db); /* everything must be done */

/* Starts idle connections on what waits; the last act of a loop's turn. */
void db_turn(struct db *db);

/* True when a reader and both writers stand. */
bool db_ready(const struct db *db);
/* How many requests wait or run. */
size_t db_busy(const struct db *db);

enum db_lane {
    DB_QUICK, /* shares pipelines with other reads */
    DB_SLOW,  /* searches, reports: a connection apart */
};

/* Calls of one request, in one transaction. */
struct db_query {
    enum db_lane lane;
    struct db_who who;
    struct db_call *const *calls;
    size_t n;
};

void db_read(
    struct db *db, const struct db_query *query, db_done *done, void *arg);

/* Reads before a network is known (who is this token, this name). */
void db_read_open(
    struct db *db, struct db_call *call, db_done *done, void *arg);

struct db_write {
    struct db_who who;
    struct db_act act;
    struct db_call *const *calls;
    size_t n;
};

/*
 * Writes: a transaction of its own, pipelined.  The calls find who and act in
 * app.* settings (migration 0002).  One of them must insert the audit row
 * when, and only when, it does its work: by that row a write whose
 * connection was lost is found again, and *then* rows of the first attempt
 * are gone: reply->n is 0 on such an RC_OK, so a handler takes nothing from
 * rows that it could not know before (use db_reply_did).  An act without an
 * audit id only looks, as durably as a write: it is sent again when lost.
 */
void db_write(
    struct db *db, const struct db_write *write, db_done *done, void *arg);

/* True when the write's call i did something: it returned rows, or was found
 * committed after a lost connection. */
bool db_reply_did(const struct db_reply *reply, size_t i);
