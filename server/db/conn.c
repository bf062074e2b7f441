#include "db/conn.h"

#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <time.h>

#include "base/arena.h"
#include "base/instant.h"
#include "base/loop.h"
#include "db/sql.h"

#define CONNECT_MS 5000
#define HANG_MS 60000
#define REPLAN_FIRST 32  /* segments until plans are thrown away, */
#define REPLAN_EACH 4096 /* later always after so many */
#define BACKOFF_FIRST_MS 20
#define BACKOFF_MOST_MS 1000

struct step {
    struct db_req *req; /* NULL for a setting shared by several */
    int call;           /* index of the result, -1: none is kept */
    int preparing;      /* index of the statement, -1: it is no prepare */
};

struct segment {
    struct segment *next;
    struct db_req *reqs;
    struct step *steps;
    size_t n_steps, room, at;
    bool failed, warned;
    int64_t sent_ms;
};

struct db_conn {
    struct loop *loop;
    const char *conninfo;
    struct conn_owner owner;
    PGconn *pg;
    struct loop_watch *watch;
    int watched_fd;
    enum { DOWN, CONNECTING, UP } state;
    struct segment *first, **last;
    size_t n_segments;
    bool prepared[DB_STATEMENTS];
    uint64_t sent, replan_at; /* segments of this connection */
    int64_t due_ms;           /* DOWN: try again; CONNECTING: give up */
    int backoff_ms;
    bool told_down;
};

int64_t conn_clock_ms(void)
{
    struct timespec ts;

    clock_gettime(CLOCK_MONOTONIC, &ts);
    return (int64_t)ts.tv_sec * 1000 + ts.tv_nsec / 1000000;
}

/* ---- queues ---------------------------------------------------------- */

void req_queue_init(struct req_queue *q)
{
    *q = (struct req_queue){.last = &q->first};
}

void req_queue_put(struct req_queue *q, struct db_req *req)
{
    req->next = NULL;
    *q->last = req;
    q->last = &req->next;
    q->n++;
}

void req_queue_put_first(struct req_queue *q, struct db_req *req)
{
    req->next = q->first;
    q->first = req;
    if (q->last == &q->first)
        q->last = &req->next;
    q->n++;
}

struct db_req *req_queue_take(struct req_queue *q)
{
    struct db_req *req = q->first;

    if (!req)
        return NULL;
    q->first = req->next;
    if (!q->first)
        q->last = &q->first;
    req->next = NULL;
    q->n--;
    return req;
}

/* ---- the connection's life ------------------------------------------- */

static void on_ready(void *arg, uint32_t events);

static void watch_fd(struct db_conn *conn, uint32_t events)
{
    int fd = PQsocket(conn->pg);

    if (conn->watch && conn->watched_fd == fd) {
        loop_watch_set(conn->watch, events);
        return;
    }
    loop_watch_remove(conn->watch);
    conn->watched_fd = fd;
    conn->watch = loop_watch_add(conn->loop, fd, events, on_ready, conn);
}

static void tell_down(struct db_conn *conn)
{
    if (!conn->told_down && conn->owner.tell)
        conn->owner.tell(
            conn->owner.tell_arg, "database-lost", conn->owner.name);
    conn->told_down = true;
}

/* Everything in flight goes back with an unknown outcome. */
static void drop(struct db_conn *conn)
{
    struct segment *seg = conn->first;

    tell_down(conn);
    loop_watch_remove(conn->watch);
    conn->watch = NULL;
    PQfinish(conn->pg);
    conn->pg = NULL;
    conn->state = DOWN;
    conn->first = NULL;
    conn->last = &conn->first;
    conn->n_segments = 0;
    memset(conn->prepared, 0, sizeof(conn->prepared));
    conn->due_ms = conn_clock_ms() + conn->backoff_ms;
    conn->backoff_ms *= 2;
    if (conn->backoff_ms > BACKOFF_MOST_MS)
        conn->backoff_ms = BACKOFF_MOST_MS;
    while (seg) {
        struct segment *next = seg->next;

        conn->owner.ended(conn->owner.arg, conn, seg->reqs, SEG_LOST);
        free(seg->steps);
        free(seg);
        seg = next;
    }
}

static void on_notice(void *arg, const PGresult *res)
{
    struct db_conn *conn = arg;
    const char *code = PQresultErrorField(res, PG_DIAG_SQLSTATE);

    /* Class 01 is a warning; at a commit it means "not everywhere yet". */
    if (conn->first && code && strncmp(code, "01", 2) == 0)
        conn->first->warned = true;
}

static void start(struct db_conn *conn)
{
    conn->pg = PQconnectStart(conn->conninfo);
    conn->state = CONNECTING;
    conn->due_ms = conn_clock_ms() + CONNECT_MS;
    if (!conn->pg)
        abort();
    if (PQstatus(conn->pg) == CONNECTION_BAD)
        drop(conn);
    else
        watch_fd(conn, EPOLLOUT);
}

static void came_up(struct db_conn *conn)
{
    if (PQsetnonblocking(conn->pg, 1) != 0 ||
        PQenterPipelineMode(conn->pg) != 1) {
        drop(conn);
        return;
    }
    PQsetNoticeReceiver(conn->pg, on_notice, conn);
    conn->state = UP;
    conn->sent = 0;
    conn->replan_at = REPLAN_FIRST;
    conn->backoff_ms = BACKOFF_FIRST_MS;
    watch_fd(conn, EPOLLIN);
    if (conn->told_down && conn->owner.tell)
        conn->owner.tell(
            conn->owner.tell_arg, "database-found", conn->owner.name);
    conn->told_down = false;
}

static void connect_on(struct db_conn *conn)
{
    switch (PQconnectPoll(conn->pg)) {
    case PGRES_POLLING_READING:
        watch_fd(conn, EPOLLIN);
        break;
    case PGRES_POLLING_WRITING:
        watch_fd(conn, EPOLLOUT);
        break;
    case PGRES_POLLING_OK:
        came_up(conn);
        break;
    default:
        drop(conn);
        break;
    }
}

struct db_conn *conn_new(
    struct loop *loop, const char *conninfo, const struct conn_owner *owner)
{
    struct db_conn *conn = xcalloc(1, sizeof(*conn));

    conn->loop = loop;
    conn->conninfo = conninfo;
    conn->owner = *owner;
    conn->last = &conn->first;
    conn->backoff_ms = BACKOFF_FIRST_MS;
    start(conn);
    return conn;
}

void conn_drop(struct db_conn *conn)
{
    conn->told_down = true; /* that is no news */
    if (conn->state != DOWN)
        drop(conn);
}

void conn_free(struct db_conn *conn)
{
    if (!conn)
        return;
    loop_watch_remove(conn->watch);
    PQfinish(conn->pg);
    free(conn);
}

bool conn_up(const struct db_conn *conn)
{
    return conn->state == UP;
}

size_t conn_segments(const struct db_conn *conn)
{
    return conn->n_segments;
}

void conn_tick(struct db_conn *conn, int64_t now_ms)
{
    if (conn->state == DOWN && now_ms >= conn->due_ms)
        start(conn);
    else if ((conn->state == CONNECTING && now_ms >= conn->due_ms) ||
             (conn->first && now_ms - conn->first->sent_ms > HANG_MS))
        drop(conn);
}

/* ---- sending --------------------------------------------------------- */

static void add_step(struct segment *seg, struct step step)
{
    if (seg->n_steps == seg->room) {
        seg->room = seg->room ? seg->room * 2 : 8;
        seg->steps = xrealloc(seg->steps, seg->room * sizeof(*seg->steps));
    }
    seg->steps[seg->n_steps++] = step;
}

static bool send_stmt(struct db_conn *conn, struct segment *seg,
    const struct db_call *call, struct step step)
{
    const struct db_stmt *stmt = call->stmt;

    if (!conn->prepared[stmt->index]) {
        if (!PQsendPrepare(conn->pg, stmt->name, stmt->sql, 0, NULL))
            return false;
        add_step(seg, (struct step){step.req, -1, stmt->index});
        conn->prepared[stmt->index] = true;
    }
    if (!PQsendQueryPrepared(conn->pg, stmt->name, stmt->params,
            (const char *const *)call->values, call->lengths, call->formats, 0))
        return false;
    step.preparing = -1;
    add_step(seg, step);
    return true;
}

static bool send_setting(struct db_conn *conn, struct segment *seg,
    const struct db_req *req, struct db_req *owner)
{
    const char *one[] = {req->who.network_id};
    char at[INSTANT_TEXT_MAX];
    const struct db_act *act = &req->act;
    const char *all[] = {req->who.network_id, req->who.token_id,
        req->who.user_id, req->who.device_id,
        *req->who.user_id ? req->who.user_id : req->who.device_id,
        act->action ? act->action : "", act->audit_id,
        instant_text(act->at_us, 0, at), act->request_id ? act->request_id : "",
        act->idempotency_key ? act->idempotency_key : "",
        act->body_hash_hex ? act->body_hash_hex : ""};
    struct db_call call = {.stmt = &DB_FOR_NETWORK, .values = one};

    if (req->kind == REQ_WRITE) {
        call.stmt = &DB_FOR_WRITE;
        call.values = all;
    }
    return send_stmt(conn, seg, &call, (struct step){owner, -1, -1});
}

static bool needs_setting(const struct db_req *req, const struct db_req *prev)
{
    if (req->kind == REQ_OPEN || req->kind == REQ_BATCH)
        return false;
    if (req->kind == REQ_WRITE || !prev || prev->kind != req->kind)
        return true;
    return strcmp(req->who.network_id, prev->who.network_id) != 0;
}

/* Plans that were made while tables were empty, those of foreign keys too,
 * read a whole network's rows once they have grown; only a later ANALYZE would
 * tell PostgreSQL.  So they are made again, ever more seldom. */
static bool replan(struct db_conn *conn, struct segment *seg)
{
    struct db_call call = {.stmt = &DB_REPLAN};

    if (++conn->sent < conn->replan_at)
        return true;
    conn->replan_at += conn->sent < REPLAN_EACH ? conn->sent : REPLAN_EACH;
    return send_stmt(conn, seg, &call, (struct step){NULL, -1, -1});
}

static bool send_all(struct db_conn *conn, struct segment *seg)
{
    const struct db_req *prev = NULL;

    if (!replan(conn, seg))
        return false;
    for (struct db_req *req = seg->reqs; req; req = req->next) {
        if (needs_setting(req, prev) &&
            !send_setting(conn, seg, req, req->kind == REQ_WRITE ? req : NULL))
            return false;
        for (size_t i = 0; i < req->n; i++)
            if (!send_stmt(
                    conn, seg, req->calls[i], (struct step){req, (int)i, -1}))
                return false;
        prev = req;
    }
    return PQpipelineSync(conn->pg) == 1;
}

static bool flush(struct db_conn *conn)
{
    int left = PQflush(conn->pg);

    if (left < 0)
        return false;
    watch_fd(conn, left ? EPOLLIN | EPOLLOUT : EPOLLIN);
    return true;
}

static void read_on(struct db_conn *conn);

void conn_send(struct db_conn *conn, struct db_req *reqs)
{
    struct segment *seg = xcalloc(1, sizeof(*seg));

    seg->reqs = reqs;
    seg->sent_ms = conn_clock_ms();
    *conn->last = seg;
    conn->last = &seg->next;
    conn->n_segments++;
    if (!send_all(conn, seg) || !flush(conn)) {
        drop(conn);
        return;
    }
    /* Sending may also have read: what libpq holds wakes no epoll. */
    read_on(conn);
}

/* ---- reading --------------------------------------------------------- */

static void end_segment(struct db_conn *conn)
{
    struct segment *seg = conn->first;
    enum seg_end end = seg->failed   ? SEG_REFUSED
                       : seg->warned ? SEG_DOUBT
                                     : SEG_DONE;

    conn->first = seg->next;
    if (!conn->first)
        conn->last = &conn->first;
    conn->n_segments--;
    conn->owner.ended(conn->owner.arg, conn, seg->reqs, end);
    free(seg->steps);
    free(seg);
}

static void take_error(struct db_conn *conn, struct segment *seg, PGresult *res)
{
    struct step *step = seg->at < seg->n_steps ? &seg->steps[seg->at] : NULL;

    seg->failed = true;
    if (step && step->preparing >= 0)
        conn->prepared[step->preparing] = false;
    if (step && step->req && !step->req->error &&
        PQresultStatus(res) == PGRES_FATAL_ERROR)
        step->req->error = res;
    else if (!step && !seg->reqs->next && !seg->reqs->error)
        seg->reqs->error = res; /* the commit itself, of one request */
    else
        PQclear(res);
    if (step)
        seg->at++;
}

static void take_rows(struct segment *seg, PGresult *res)
{
    struct step *step;

    if (seg->at >= seg->n_steps) {
        PQclear(res);
        return;
    }
    step = &seg->steps[seg->at++];
    if (step->req && step->call >= 0 && !step->req->results[step->call])
        step->req->results[step->call] = res;
    else
        PQclear(res);
}

static void take_result(struct db_conn *conn, PGresult *res)
{
    switch (PQresultStatus(res)) {
    case PGRES_PIPELINE_SYNC:
        PQclear(res);
        end_segment(conn);
        break;
    case PGRES_TUPLES_OK:
    case PGRES_COMMAND_OK:
        take_rows(conn->first, res);
        break;
    default:
        take_error(conn, conn->first, res);
        break;
    }
}

static void read_on(struct db_conn *conn)
{
    int nulls = 0;

    /* A callback may send, and so drop, this very connection. */
    while (conn->state == UP && conn->first && !PQisBusy(conn->pg)) {
        PGresult *res = PQgetResult(conn->pg);

        if (!res) {
            if (PQstatus(conn->pg) == CONNECTION_BAD || ++nulls > 2)
                break;
            continue;
        }
        nulls = 0;
        take_result(conn, res);
    }
    if (conn->state == UP && PQstatus(conn->pg) == CONNECTION_BAD)
        drop(conn);
}

static void on_ready(void *arg, uint32_t events)
{
    struct db_conn *conn = arg;

    if (conn->state == CONNECTING) {
        connect_on(conn);
        return;
    }
    if (conn->state != UP)
        return;
    if (events & ~(uint32_t)EPOLLOUT && !PQconsumeInput(conn->pg)) {
        drop(conn);
        return;
    }
    if (events & EPOLLOUT && !flush(conn)) {
        drop(conn);
        return;
    }
    read_on(conn);
}
