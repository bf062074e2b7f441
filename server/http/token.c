/*
 * http/token.c - who asks: tokens seen lately, by their hash.
 *
 * A token not in the table is looked up in the database; one in the table is
 * dropped within a second of its revocation (token_poll).
 */
#include <stdlib.h>
#include <string.h>

#include "base/hash.h"
#include "base/instant.h"
#include "http/inside.h"

#define ROOM 4096 /* slots; a power of two */
#define KEPT_MAX 3072
#define OVERLAP_S 10 /* a poll looks this far behind the one before */

struct slot {
    bool used;
    struct http_who who;
};

struct token_table {
    struct http_server *srv;
    struct slot *slots;
    size_t n;
    struct arena *poll_arena;
    bool polling;
    int64_t polled_us; /* when a poll last came through */
    int64_t asked_us;
};

struct token_table *token_table_new(struct http_server *srv)
{
    struct token_table *t = xcalloc(1, sizeof(*t));

    t->srv = srv;
    t->slots = xcalloc(ROOM, sizeof(*t->slots));
    t->poll_arena = arena_new();
    t->polled_us = instant_now_us();
    return t;
}

void token_table_free(struct token_table *t)
{
    if (!t)
        return;
    arena_free(t->poll_arena);
    free(t->slots);
    free(t);
}

static size_t place(const uint8_t hash[32])
{
    uint32_t start;

    memcpy(&start, hash, sizeof(start));
    return start & (ROOM - 1);
}

static struct slot *find(struct token_table *t, const uint8_t hash[32])
{
    size_t i = place(hash);

    while (
        t->slots[i].used && memcmp(t->slots[i].who.token_hash, hash, 32) != 0)
        i = (i + 1) & (ROOM - 1);
    return &t->slots[i];
}

void token_remember(struct token_table *t, const struct http_who *who)
{
    struct slot *slot;

    if (t->n >= KEPT_MAX) {
        memset(t->slots, 0, ROOM * sizeof(*t->slots));
        t->n = 0;
    }
    slot = find(t, who->token_hash);
    t->n += !slot->used;
    slot->used = true;
    slot->who = *who;
}

void token_forget(struct token_table *t, const uint8_t hash[32])
{
    struct slot *slot = find(t, hash);
    size_t i;

    if (!slot->used)
        return;
    slot->used = false;
    t->n--;
    /* Whoever stood behind it may have to move up. */
    for (i = ((size_t)(slot - t->slots) + 1) & (ROOM - 1); t->slots[i].used;
         i = (i + 1) & (ROOM - 1)) {
        struct slot moved = t->slots[i];

        t->slots[i].used = false;
        *find(t, moved.who.token_hash) = moved;
    }
}

/* ---- a request's token ------------------------------------------------ */

static const char *cookie_token(struct http_life *life)
{
    const char *value = MHD_lookup_connection_value(
        life->con, MHD_COOKIE_KIND, "lensclerk_session");

    return value && *value ? value : NULL;
}

static bool read_hash(struct http_life *life, bool *ret_cookie)
{
    const char *header = reply_header_in(life, "Authorization");
    const char *token = NULL;

    *ret_cookie = false;
    if (header && strncasecmp(header, "Bearer ", 7) == 0)
        token = header + 7;
    else if (!header && (token = cookie_token(life)))
        *ret_cookie = true;
    if (!token || strlen(token) < 20 || strlen(token) > 200)
        return false;
    hash_bytes(token, strlen(token), life->rq.who.token_hash);
    return true;
}

static void put(char *to, size_t room, const char *from)
{
    size_t len = from ? strlen(from) : 0;

    if (len >= room)
        len = room - 1;
    while (len && ((unsigned char)from[len] & 0xc0) == 0x80)
        len--; /* no half character */
    if (len)
        memcpy(to, from, len);
    to[len] = '\0';
}

static enum http_role role_of(const char *word)
{
    for (unsigned role = HTTP_DESK; role <= HTTP_AUDITOR; role <<= 1)
        if (strcmp(http_role_word((enum http_role)role), word) == 0)
            return (enum http_role)role;
    return 0;
}

static void take_row(struct http_who *who, const struct db_rows *rows)
{
    put(who->db.network_id, UUID_TEXT_SIZE, db_rows_text(rows, 0, 0));
    put(who->db.token_id, UUID_TEXT_SIZE, db_rows_text(rows, 0, 1));
    who->session = strcmp(db_rows_text(rows, 0, 2), "session") == 0;
    who->role = role_of(db_rows_text(rows, 0, 3));
    put(who->db.user_id, UUID_TEXT_SIZE, db_rows_text(rows, 0, 4));
    put(who->db.device_id, UUID_TEXT_SIZE, db_rows_text(rows, 0, 5));
    put(who->clinic_id, UUID_TEXT_SIZE, db_rows_text(rows, 0, 6));
    put(who->lab_id, UUID_TEXT_SIZE, db_rows_text(rows, 0, 7));
    who->expires_us = db_rows_int(rows, 0, 8);
    put(who->name, sizeof(who->name), db_rows_text(rows, 0, 9));
    put(who->network_name, sizeof(who->network_name),
        db_rows_text(rows, 0, 10));
    put(who->time_zone, sizeof(who->time_zone), db_rows_text(rows, 0, 11));
    put(who->serial, sizeof(who->serial), db_rows_text(rows, 0, 12));
    put(who->model, sizeof(who->model), db_rows_text(rows, 0, 13));
    put(who->maker, sizeof(who->maker), db_rows_text(rows, 0, 14));
    put(who->owner_id, UUID_TEXT_SIZE,
        *who->db.user_id ? who->db.user_id : who->db.device_id);
}

static enum rc refuse(struct http_life *life)
{
    return err_set(&life->err, RC_UNAUTHORIZED, NULL,
        "a valid token is needed: send Authorization: Bearer, or sign in");
}

struct lookup {
    struct http_life *life;
    void (*then)(struct http_life *life);
};

static void looked_up(void *arg, const struct db_reply *reply)
{
    struct lookup *look = arg;
    struct http_life *life = look->life;

    life->state = LIFE_RUNNING;
    if (reply->rc != RC_OK) {
        life_outcome(
            life, err_set(&life->err, reply->rc, NULL, "%s", reply->detail));
    } else if (db_rows_count(reply->rows[0]) == 0) {
        life_outcome(life, refuse(life));
    } else {
        take_row(&life->rq.who, reply->rows[0]);
        token_remember(life->srv->tokens, &life->rq.who);
        look->then(life);
    }
}

/* A browser sends its cookie also when another site asks it to. */
static bool foreign_origin(struct http_life *life)
{
    const char *origin = reply_header_in(life, "Origin");
    const char *host = reply_header_in(life, "Host");
    const char *ours = life->srv->parts.config->origin;
    const char *scheme;

    if (strcmp(life->method, "GET") == 0)
        return false;
    if (!origin)
        return true;
    if (*ours)
        return strcmp(origin, ours) != 0;
    scheme = *life->srv->parts.config->tls_key ? "https://" : "http://";
    return strncmp(origin, scheme, strlen(scheme)) != 0 ||
           strcmp(origin + strlen(scheme), host) != 0;
}

void token_find(struct http_life *life, void (*then)(struct http_life *life))
{
    struct token_table *t = life->srv->tokens;
    struct slot *slot;
    struct lookup *look;
    struct db_call *call;
    bool cookie;

    if (!read_hash(life, &cookie)) {
        life_outcome(life, refuse(life));
        return;
    }
    if (cookie && foreign_origin(life)) {
        life_outcome(life, err_set(&life->err, RC_FORBIDDEN, NULL,
                               "the request comes from another site"));
        return;
    }
    slot = find(t, life->rq.who.token_hash);
    if (slot->used && slot->who.expires_us > life->rq.now_us) {
        life->rq.who = slot->who;
        then(life);
        return;
    }
    look = arena_alloc(life->rq.arena, sizeof(*look));
    *look = (struct lookup){life, then};
    call = db_call_new(life->rq.arena, &DB_TOKEN_BY_HASH);
    db_put_binary(call, life->rq.who.token_hash, 32);
    life->state = LIFE_WAITING;
    db_read_open(life->srv->parts.db, call, looked_up, look);
}

/* ---- revocations ------------------------------------------------------ */

static void polled(void *arg, const struct db_reply *reply)
{
    struct token_table *t = arg;

    t->polling = false;
    if (reply->rc == RC_OK) {
        t->polled_us = t->asked_us;
        for (size_t i = 0; i < db_rows_count(reply->rows[0]); i++) {
            uint8_t hash[32];

            if (!hash_from_hex(db_rows_text(reply->rows[0], i, 0), hash, 32))
                continue;
            token_forget(t, hash);
            event_table_revoke(t->srv->events, hash);
        }
    }
    arena_reset(t->poll_arena);
}

void token_poll(struct token_table *t)
{
    struct db_call *call;

    if (t->polling || !db_ready(t->srv->parts.db))
        return;
    t->polling = true;
    call = db_call_new(t->poll_arena, &DB_TOKENS_REVOKED_SINCE);
    t->asked_us = instant_now_us();
    db_put_int(call, (t->asked_us - t->polled_us) / 1000000 + OVERLAP_S);
    db_read_open(t->srv->parts.db, call, polled, t);
}
