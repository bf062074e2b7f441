/* http/keys.c - the same request sent again with its Idempotency-Key. */
#include <string.h>

#include "base/hash.h"
#include "http/inside.h"

struct key_look {
    struct http_life *life;
    void (*then)(struct http_life *life);
};

static void replay(struct http_life *life, const struct db_rows *rows)
{
    const char *body = db_rows_text(rows, 0, 2);
    const char *etag = db_rows_text(rows, 0, 4);

    if (etag)
        http_etag_text(&life->rq, etag, NULL);
    http_header(&life->rq, "Idempotency-Replayed", "true");
    life_outcome(life, http_reply_ready(&life->rq, (int)db_rows_int(rows, 0, 1),
                           body ? body : "{}"));
}

static void looked(void *arg, const struct db_reply *reply)
{
    struct key_look *look = arg;
    struct http_life *life = look->life;
    char hex[65];

    life->state = LIFE_RUNNING;
    if (reply->rc != RC_OK) {
        life_outcome(
            life, err_set(&life->err, reply->rc, NULL, "%s", reply->detail));
        return;
    }
    if (reply->n == 0 || db_rows_count(reply->rows[0]) == 0) {
        look->then(life);
        return;
    }
    hash_hex(life->rq.body_hash, 32, hex);
    if (strcmp(hex, db_rows_text(reply->rows[0], 0, 0)) == 0)
        replay(life, reply->rows[0]);
    else
        life_outcome(
            life, err_set(&life->err, RC_INVALID, NULL,
                      "this Idempotency-Key was used with another request"));
}

/* Asked on the writers' connection: what it finds is then as durable as a
 * new row would be. */
void key_look(struct http_life *life, void (*then)(struct http_life *life))
{
    struct key_look *look = arena_alloc(life->rq.arena, sizeof(*look));
    struct db_call *call = db_call_new(life->rq.arena, &DB_ANSWER_KEPT);
    struct db_write write = {.who = life->rq.who.db, .calls = &call, .n = 1};

    *look = (struct key_look){life, then};
    db_put_text(call, life->rq.who.owner_id);
    db_put_text(call, life->rq.key);
    write.act = life->rq.act;
    write.act.idempotency_key = NULL;
    life->state = LIFE_WAITING;
    db_write(life->srv->parts.db, &write, looked, look);
}

static void forgotten(void *arg, const struct db_reply *reply)
{
    (void)reply; /* what is left now goes the next time */
    arena_free(arg);
}

void key_forget_old(struct http_server *srv)
{
    struct arena *arena = arena_new();

    db_read_open(srv->parts.db, db_call_new(arena, &DB_FORGET_OLD_ANSWERS),
        forgotten, arena);
}
