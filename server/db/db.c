#include "db/db.h"

#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/loop.h"
#include "db/append.h"
#include "db/conn.h"
#include "db/fault.h"
#include "db/inside.h"
#include "db/rows.h"
#include "db/sql.h"

#define SEGMENT_MOST 128 /* measured: more makes the tail longer */
#define WRITES_IN_FLIGHT 16
#define WAIT_MS 8000
#define ATTEMPTS_MOST 4

static void ended(
    void *arg, struct db_conn *conn, struct db_req *reqs, enum seg_end end);

struct db_req *req_new(struct db *db, const struct db_who *who,
    struct db_call *const *calls, size_t n)
{
    struct db_req *req = xcalloc(1, sizeof(*req));
    struct db_call **copy = xcalloc(n, sizeof(*copy));

    if (who)
        req->who = *who;
    memcpy(copy, calls, n * sizeof(*copy));
    req->calls = copy;
    req->n = n;
    req->results = xcalloc(n, sizeof(*req->results));
    req->give_up_ms = conn_clock_ms() + WAIT_MS;
    db->busy++;
    return req;
}

static void forget_results(struct db_req *req)
{
    for (size_t i = 0; i < req->n; i++) {
        PQclear(req->results[i]);
        req->results[i] = NULL;
    }
    PQclear(req->error);
    req->error = NULL;
}

static void req_free(struct db *db, struct db_req *req)
{
    forget_results(req);
    free(req->results);
    free((void *)(uintptr_t)req->calls);
    free(req);
    db->busy--;
}

static void answer(struct db *db, struct db_req *req, struct db_reply *reply)
{
    req->done(req->arg, reply);
    req_free(db, req);
}

static void answer_rows(struct db *db, struct db_req *req)
{
    struct db_reply reply = {.rc = RC_OK, .n = req->n};

    reply.rows = (const struct db_rows *const *)(const void *)req->results;
    answer(db, req, &reply);
}

static void answer_error(struct db *db, struct db_req *req)
{
    struct db_reply reply = {0};

    fault_tell(req->error, &reply);
    answer(db, req, &reply);
}

static void answer_busy(struct db *db, struct db_req *req)
{
    struct db_reply reply = {.rc = RC_BUSY};

    reply.detail =
        req->unknown
            ? "the database was lost meanwhile and it is not known if this "
              "was stored; send it again with the same Idempotency-Key"
            : "the database can't be reached now; nothing was stored";
    answer(db, req, &reply);
}

static void answer_committed(struct db *db, struct db_req *req)
{
    struct db_reply reply = {.rc = RC_OK};

    answer(db, req, &reply);
}

/* ---- what the ends of segments mean ----------------------------------- */

/* A write whose outcome is in doubt is found by its audit row. */
static void check(struct db *db, struct db_req *write)
{
    struct db_call *call = db_call_new(db->arena, &DB_WRITE_WAS_COMMITTED);
    struct db_req *req;

    db_put_text(call, write->act.audit_id);
    req = req_new(db, &write->who, &call, 1);
    req->kind = REQ_CHECK;
    req->parent = write;
    req->give_up_ms = write->give_up_ms;
    req_queue_put(&db->writes, req);
}

static void send_again(
    struct db *db, struct req_queue *q, struct db_req *req, bool unknown)
{
    forget_results(req);
    req->unknown = req->unknown || unknown;
    req->attempts++;
    if (conn_clock_ms() > req->give_up_ms) {
        if (req->kind == REQ_CHECK) {
            answer_busy(db, req->parent);
            req_free(db, req);
        } else {
            answer_busy(db, req);
        }
        return;
    }
    req_queue_put(q, req);
}

static void check_ended(struct db *db, struct db_req *req, enum seg_end end)
{
    struct db_req *write = req->parent;

    if (end != SEG_DONE) {
        send_again(db, &db->writes, req, true);
        return;
    }
    if (PQntuples(req->results[0]) > 0)
        answer_committed(db, write);
    else if (write->error)
        answer_error(db, write);
    else
        answer_rows(db, write);
    req_free(db, req);
}

static bool did_nothing(const struct db_req *req)
{
    for (size_t i = 0; i < req->n; i++)
        if (req->results[i] && PQntuples(req->results[i]) > 0)
            return false;
    return true;
}

/* A look that goes the writers' way leaves no row to be found by. */
static void look_ended(struct db *db, struct db_req *req, enum seg_end end)
{
    bool again = !req->error || fault_again(req->error);

    if (end == SEG_DONE)
        answer_rows(db, req);
    else if (end == SEG_REFUSED && (!again || req->attempts >= ATTEMPTS_MOST))
        answer_error(db, req);
    else
        send_again(db, &db->writes, req, false);
}

static void write_ended(struct db *db, struct db_req *req, enum seg_end end)
{
    if (!*req->act.audit_id) {
        look_ended(db, req, end);
    } else if (end == SEG_LOST) {
        send_again(db, &db->writes, req, true);
    } else if (end == SEG_DOUBT) {
        req->unknown = true;
        check(db, req);
    } else if (end == SEG_REFUSED && (!req->error || fault_again(req->error)) &&
               req->attempts < ATTEMPTS_MOST) {
        send_again(db, &db->writes, req, false);
    } else if (req->unknown && (end == SEG_REFUSED || did_nothing(req))) {
        check(db, req);
    } else if (end == SEG_REFUSED) {
        answer_error(db, req);
    } else {
        answer_rows(db, req);
    }
}

static void read_ended(
    struct db *db, struct req_queue *q, struct db_req *req, enum seg_end end)
{
    bool mine = req->error && !fault_again(req->error);

    if (end == SEG_DONE || end == SEG_DOUBT)
        answer_rows(db, req);
    else if (end == SEG_REFUSED && (mine || req->attempts >= ATTEMPTS_MOST))
        answer_error(db, req);
    else
        send_again(db, q, req, false);
}

static void ended(
    void *arg, struct db_conn *conn, struct db_req *reqs, enum seg_end end)
{
    struct db *db = arg;

    while (reqs) {
        struct db_req *req = reqs;

        reqs = req->next;
        req->next = NULL;
        switch (req->kind) {
        case REQ_WRITE:
            write_ended(db, req, end);
            break;
        case REQ_CHECK:
            check_ended(db, req, end);
            break;
        case REQ_BATCH:
            append_ended(db, req, end);
            req_free(db, req);
            break;
        default:
            read_ended(
                db, conn == db->slow ? &db->slows : &db->reads, req, end);
            break;
        }
    }
}

/* ---- a turn ----------------------------------------------------------- */

static int by_network(const void *a, const void *b)
{
    const struct db_req *x = *(struct db_req *const *)a;
    const struct db_req *y = *(struct db_req *const *)b;
    int kind = (x->kind == REQ_OPEN) - (y->kind == REQ_OPEN);

    return kind ? kind : strcmp(x->who.network_id, y->who.network_id);
}

static void start_reads(struct db *db, struct db_conn *conn, size_t most)
{
    struct db_req *list[SEGMENT_MOST];
    size_t n = 0;

    while (n < most && n < SEGMENT_MOST && db->reads.first)
        list[n++] = req_queue_take(&db->reads);
    if (!n)
        return;
    /* A request that failed before travels alone: it spoils no neighbours. */
    for (size_t i = 0; n > 1 && i < n; i++) {
        if (list[i]->attempts == 0)
            continue;
        for (size_t k = n; k-- > 0;)
            if (k != i)
                req_queue_put_first(&db->reads, list[k]);
        list[0] = list[i];
        n = 1;
    }
    qsort(list, n, sizeof(list[0]), by_network);
    for (size_t i = 0; i < n; i++)
        list[i]->next = i + 1 < n ? list[i + 1] : NULL;
    conn_send(conn, list[0]);
}

static void turn_reads(struct db *db)
{
    size_t idle = 0;

    for (int i = 0; i < DB_READERS; i++)
        idle += conn_up(db->readers[i]) && !conn_segments(db->readers[i]);
    for (int i = 0; i < DB_READERS && db->reads.n && idle; i++) {
        if (!conn_up(db->readers[i]) || conn_segments(db->readers[i]))
            continue;
        start_reads(db, db->readers[i], (db->reads.n + idle - 1) / idle);
        idle--;
    }
}

void db_turn(struct db *db)
{
    turn_reads(db);
    if (db->slows.n && conn_up(db->slow) && !conn_segments(db->slow))
        conn_send(db->slow, req_queue_take(&db->slows));
    while (db->writes.n && conn_up(db->writer) &&
           conn_segments(db->writer) < WRITES_IN_FLIGHT)
        conn_send(db->writer, req_queue_take(&db->writes));
    if (conn_up(db->appender) && !conn_segments(db->appender)) {
        struct db_req *batch = append_batch(db);

        if (batch)
            conn_send(db->appender, batch);
    }
    if (!db->writes.n && !conn_segments(db->writer))
        arena_reset(db->arena); /* only checks live there */
}

/* Those that waited too long for a connection. */
static void expire(struct db *db, struct req_queue *q, int64_t now_ms)
{
    struct req_queue keep;
    struct db_req *req;

    req_queue_init(&keep);
    while ((req = req_queue_take(q))) {
        if (now_ms <= req->give_up_ms) {
            req_queue_put(&keep, req);
        } else if (req->kind == REQ_CHECK) {
            answer_busy(db, req->parent);
            req_free(db, req);
        } else {
            answer_busy(db, req);
        }
    }
    while ((req = req_queue_take(&keep)))
        req_queue_put(q, req);
}

static void tick(void *arg)
{
    struct db *db = arg;
    int64_t now_ms = conn_clock_ms();

    for (int i = 0; i < DB_READERS; i++)
        conn_tick(db->readers[i], now_ms);
    conn_tick(db->slow, now_ms);
    conn_tick(db->writer, now_ms);
    conn_tick(db->appender, now_ms);
    expire(db, &db->reads, now_ms);
    expire(db, &db->slows, now_ms);
    expire(db, &db->writes, now_ms);
    append_expire(db, now_ms);
}

struct db *db_new(
    struct loop *loop, const char *conninfo, db_tell *tell, void *arg)
{
    struct db *db = xcalloc(1, sizeof(*db));
    struct conn_owner owner = {
        .arg = db, .ended = ended, .tell = tell, .tell_arg = arg};

    db->conninfo = xstrdup(conninfo);
    db->arena = arena_new();
    req_queue_init(&db->reads);
    req_queue_init(&db->slows);
    req_queue_init(&db->writes);
    append_init(db);
    owner.name = "reader";
    for (int i = 0; i < DB_READERS; i++)
        db->readers[i] = conn_new(loop, db->conninfo, &owner);
    owner.name = "slow reader";
    db->slow = conn_new(loop, db->conninfo, &owner);
    owner.name = "writer";
    db->writer = conn_new(loop, db->conninfo, &owner);
    owner.name = "appender";
    db->appender = conn_new(loop, db->conninfo, &owner);
    loop_every(loop, 20, tick, db);
    return db;
}

void db_give_up(struct db *db)
{
    for (int i = 0; i < DB_READERS; i++)
        conn_drop(db->readers[i]);
    conn_drop(db->slow);
    conn_drop(db->writer);
    conn_drop(db->appender);
    expire(db, &db->reads, INT64_MAX);
    expire(db, &db->slows, INT64_MAX);
    expire(db, &db->writes, INT64_MAX);
    append_expire(db, INT64_MAX);
}

void db_free(struct db *db)
{
    if (!db)
        return;
    for (int i = 0; i < DB_READERS; i++)
        conn_free(db->readers[i]);
    conn_free(db->slow);
    conn_free(db->writer);
    conn_free(db->appender);
    append_end(db);
    arena_free(db->arena);
    free(db->conninfo);
    free(db);
}

bool db_ready(const struct db *db)
{
    return conn_up(db->readers[0]) && conn_up(db->writer) &&
           conn_up(db->appender);
}

size_t db_busy(const struct db *db)
{
    return db->busy;
}

/* ---- asking ----------------------------------------------------------- */

void db_read(
    struct db *db, const struct db_query *query, db_done *done, void *arg)
{
    struct db_req *req = req_new(db, &query->who, query->calls, query->n);

    req->kind = REQ_READ;
    req->done = done;
    req->arg = arg;
    req_queue_put(query->lane == DB_SLOW ? &db->slows : &db->reads, req);
}

void db_read_open(struct db *db, struct db_call *call, db_done *done, void *arg)
{
    struct db_req *req = req_new(db, NULL, &call, 1);

    req->kind = REQ_OPEN;
    req->done = done;
    req->arg = arg;
    req_queue_put(&db->reads, req);
}

void db_write(
    struct db *db, const struct db_write *write, db_done *done, void *arg)
{
    struct db_req *req = req_new(db, &write->who, write->calls, write->n);

    req->kind = REQ_WRITE;
    req->act = write->act;
    req->done = done;
    req->arg = arg;
    req_queue_put(&db->writes, req);
}
