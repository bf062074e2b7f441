#pragma once
/* db/inside.h - inside db: what its files share. */
#include "db/append.h"
#include "db/conn.h"
#include "db/db.h"

#define DB_READERS 2 /* measured: more are slower on two cores */

/* One request's rows. */
struct append_unit {
    struct append_unit *next;
    struct db_readings *readings; /* or */
    struct db_view *view;
    db_done *done;
    void *arg;
    bool alone;   /* a batch with it failed: send it by itself */
    bool unknown; /* an attempt's outcome was never told */
    int attempts;
    int64_t give_up_ms;
};

struct append_queue {
    struct append_unit *first, **last;
    size_t n;
};

struct db {
    char *conninfo;
    struct arena *arena; /* of checks */
    struct db_conn *readers[DB_READERS], *slow, *writer, *appender;
    struct req_queue reads, slows, writes;
    struct append_queue appends;
    struct arena *batch_arena;
    size_t busy;
};

struct db_req *req_new(struct db *db, const struct db_who *who,
    struct db_call *const *calls, size_t n);

void append_init(struct db *db);
void append_end(struct db *db);
/* What waits, as one request; NULL when nothing does. */
struct db_req *append_batch(struct db *db);
void append_ended(struct db *db, struct db_req *batch, enum seg_end end);
void append_expire(struct db *db, int64_t now_ms);

/* The units' readings, or views, as one call; in arena. */
struct db_call *append_readings_call(
    struct arena *arena, const struct append_unit *units);
struct db_call *append_views_call(
    struct arena *arena, const struct append_unit *units);
