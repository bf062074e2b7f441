#include "db/append.h"

#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "db/fault.h"
#include "db/inside.h"
#include "db/rows.h"
#include "db/sql.h"

#define BATCH_MOST 128
#define WAIT_MS 8000
#define ATTEMPTS_MOST 4

static void put(struct append_queue *q, struct append_unit *unit)
{
    unit->next = NULL;
    *q->last = unit;
    q->last = &unit->next;
    q->n++;
}

static struct append_unit *take(struct append_queue *q)
{
    struct append_unit *unit = q->first;

    q->first = unit->next;
    if (!q->first)
        q->last = &q->first;
    unit->next = NULL;
    q->n--;
    return unit;
}

void append_init(struct db *db)
{
    db->appends = (struct append_queue){.last = &db->appends.first};
    db->batch_arena = arena_new();
}

void append_end(struct db *db)
{
    arena_free(db->batch_arena);
}

static void add_unit(struct db *db, struct append_unit unit)
{
    struct append_unit *copy = xmalloc(sizeof(*copy));

    *copy = unit;
    copy->give_up_ms = conn_clock_ms() + WAIT_MS;
    db->busy++;
    put(&db->appends, copy);
}

void db_append_readings(
    struct db *db, struct db_readings *readings, db_done *done, void *arg)
{
    add_unit(db,
        (struct append_unit){.readings = readings, .done = done, .arg = arg});
}

void db_append_view(
    struct db *db, struct db_view *view, db_done *done, void *arg)
{
    add_unit(db, (struct append_unit){.view = view, .done = done, .arg = arg});
}

/* ---- batches ---------------------------------------------------------- */

static size_t unit_rows(const struct append_unit *unit)
{
    return unit->view ? 1 : unit->readings->n;
}

static struct append_unit *take_batch(struct append_queue *q)
{
    struct append_unit *list = NULL, **last = &list;
    size_t rows = 0;

    while (q->first) {
        if (list && (q->first->alone || list->alone ||
                        rows + unit_rows(q->first) > BATCH_MOST))
            break;
        *last = take(q);
        rows += unit_rows(*last);
        last = &(*last)->next;
    }
    return list;
}

struct db_req *append_batch(struct db *db)
{
    struct append_unit *list = take_batch(&db->appends);
    struct db_call *calls[2];
    bool views = false, readings = false;
    size_t n = 0;
    struct db_req *req;

    if (!list)
        return NULL;
    for (const struct append_unit *u = list; u; u = u->next) {
        views = views || u->view;
        readings = readings || u->readings;
    }
    arena_reset(db->batch_arena); /* one batch is in flight at a time */
    if (readings)
        calls[n++] = append_readings_call(db->batch_arena, list);
    if (views)
        calls[n++] = append_views_call(db->batch_arena, list);
    req = req_new(db, NULL, calls, n);
    req->kind = REQ_BATCH;
    req->arg = list;
    return req;
}

static enum db_outcome outcome_of(const char *word)
{
    static const char *const words[] = {[DB_DEAD_TOKEN] = "",
        [DB_CREATED] = "created",
        [DB_PRESENT] = "present",
        [DB_REPLAYED] = "replayed",
        [DB_KEY_REUSED] = "key-reused"};

    for (size_t i = 0; i < ARRAY_LEN(words); i++)
        if (strcmp(words[i], word) == 0)
            return (enum db_outcome)i;
    return DB_DEAD_TOKEN;
}

static void copy_text(char *to, size_t room, const char *from)
{
    size_t len = from ? strlen(from) : 0;

    if (len >= room)
        len = room - 1;
    if (len)
        memcpy(to, from, len);
    to[len] = '\0';
}

static void take_outcome(
    struct db_reading *row, const struct db_rows *rows, size_t i)
{
    row->outcome = outcome_of(db_rows_text(rows, i, 1));
    copy_text(row->stored_id, UUID_TEXT_SIZE, db_rows_text(rows, i, 2));
    copy_text(row->patient_id, UUID_TEXT_SIZE, db_rows_text(rows, i, 3));
    copy_text(row->matched, sizeof(row->matched), db_rows_text(rows, i, 4));
    row->first_status = (int)db_rows_int(rows, i, 5);
    /* Ours from an attempt whose answer was lost. */
    if (row->outcome == DB_PRESENT &&
        strcmp(row->stored_id, row->reading_id) == 0) {
        row->outcome = DB_CREATED;
        row->first_status = 201;
    }
}

static void finish(
    struct db *db, struct append_unit *unit, struct db_reply *reply)
{
    if (unit->readings) {
        unit->readings->rc = reply->rc;
        unit->readings->detail = reply->detail;
    }
    unit->done(unit->arg, reply);
    free(unit);
    db->busy--;
}

/* A key covers a whole body: where some of it is new, the rest can't be a
 * replay; its key was stored in this very call. */
static void settle_keys(struct db_readings *readings)
{
    bool created = false;

    for (size_t i = 0; i < readings->n; i++)
        created = created || readings->rows[i].outcome == DB_CREATED;
    for (size_t i = 0; created && i < readings->n; i++) {
        if (readings->rows[i].outcome != DB_REPLAYED)
            continue;
        readings->rows[i].outcome = DB_PRESENT;
        readings->rows[i].first_status = 200;
    }
}

/* Rows carry the place of theirs in the whole batch, from 1. */
static void spread_readings(
    struct append_unit *units, const struct db_rows *rows)
{
    struct db_reading **at;
    size_t n = 0, k = 0;

    for (struct append_unit *u = units; u; u = u->next)
        n += u->readings ? u->readings->n : 0;
    at = xcalloc(n, sizeof(struct db_reading *));
    for (struct append_unit *u = units; u; u = u->next)
        for (size_t i = 0; u->readings && i < u->readings->n; i++) {
            at[k] = &u->readings->rows[i];
            at[k++]->outcome = DB_DEAD_TOKEN;
        }
    for (size_t i = 0; i < db_rows_count(rows); i++) {
        size_t place = (size_t)db_rows_int(rows, i, 0);

        if (place >= 1 && place <= n)
            take_outcome(at[place - 1], rows, i);
    }
    for (struct append_unit *u = units; u; u = u->next)
        if (u->readings)
            settle_keys(u->readings);
    free(at);
}

static bool *seen_views(const struct db_rows *rows, size_t n)
{
    bool *seen = xcalloc(n + 1, sizeof(bool));

    for (size_t i = 0; i < db_rows_count(rows); i++) {
        size_t place = (size_t)db_rows_int(rows, i, 0);

        if (place >= 1 && place <= n)
            seen[place - 1] = true;
    }
    return seen;
}

static void committed(struct db *db, struct db_req *batch)
{
    struct append_unit *unit = batch->arg;
    bool first_is_readings = batch->calls[0]->stmt == &DB_STORE_READINGS;
    const PGresult *views = first_is_readings
                                ? (batch->n > 1 ? batch->results[1] : NULL)
                                : batch->results[0];
    size_t n_views = 0, k = 0;
    bool *seen;

    if (first_is_readings)
        spread_readings(unit, db_rows_of(batch->results[0]));
    for (const struct append_unit *u = unit; u; u = u->next)
        n_views += u->view != NULL;
    seen = seen_views(views ? db_rows_of(views) : NULL, n_views);
    while (unit) {
        struct append_unit *next = unit->next;
        struct db_reply reply = {.rc = RC_OK};

        if (unit->view && !seen[k++]) {
            reply.rc = RC_UNAUTHORIZED;
            reply.detail = "the token is not valid any more";
        }
        finish(db, unit, &reply);
        unit = next;
    }
    free(seen);
}

static void refuse(struct db *db, struct append_unit *unit, PGresult *error)
{
    struct db_reply reply = {0};

    fault_tell(error, &reply);
    finish(db, unit, &reply);
}

void append_ended(struct db *db, struct db_req *batch, enum seg_end end)
{
    struct append_unit *unit = batch->arg;
    bool several = unit && unit->next;
    bool again = !batch->error || fault_again(batch->error);
    /* Another daemon's request with the same key came first: look again. */
    bool key = batch->error && fault_key_taken(batch->error);

    if (end == SEG_DONE) {
        committed(db, batch);
        return;
    }
    while (unit) {
        struct append_unit *next = unit->next;

        if (end == SEG_REFUSED && !several &&
            ((!again && !key) || unit->attempts >= ATTEMPTS_MOST)) {
            refuse(db, unit, batch->error);
        } else {
            unit->attempts++;
            unit->alone = unit->alone || (end == SEG_REFUSED && !again);
            unit->unknown = unit->unknown || end != SEG_REFUSED;
            put(&db->appends, unit);
        }
        unit = next;
    }
}

void append_expire(struct db *db, int64_t now_ms)
{
    struct append_queue keep = {.last = &keep.first};
    struct append_queue *q = &db->appends;

    while (q->first) {
        struct append_unit *unit = take(q);
        struct db_reply reply = {.rc = RC_BUSY};

        if (now_ms <= unit->give_up_ms) {
            put(&keep, unit);
            continue;
        }
        reply.detail =
            unit->unknown
                ? "the database was lost meanwhile and it is not known if "
                  "this was stored; send it again, a repeat does no harm"
                : "the database can't be reached now; nothing was stored";
        finish(db, unit, &reply);
    }
    while (keep.first)
        put(q, take(&keep));
}
