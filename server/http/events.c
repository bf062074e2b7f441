/* http/events.c - GET /v1/events: what changed, told as it happens. */
#include "http/events.h"

#include <stdlib.h>
#include <string.h>

#include "base/instant.h"
#include "base/num.h"
#include "http/handlers.h"
#include "http/inside.h"

#define LOOK_MS 250
#define SHORT_US INT64_C(2000000) /* how far back a look goes, */
#define LONG_US INT64_C(12000000) /* and each eighth one */
#define LONG_EACH 8
#define KEPT_US INT64_C(30000000) /* how long told ids are known */
#define BEAT_US INT64_C(15000000) /* a sign of life where there is no news */
#define ROWS_MOST 5000
#define AGAIN_MOST 2000 /* events told to one who comes back */
#define STREAMS_MOST 2000
#define WAIT_MOST_S 86400

/* ---- ids that were told ------------------------------------------------- */

#define CHAINS 1024

struct told {
    struct told *next;
    char id[UUID_TEXT_SIZE];
    int64_t at_us;
};

struct told_set {
    struct told *chains[CHAINS];
};

static struct told **chain_of(struct told_set *set, const char *id)
{
    uint32_t h = 2166136261u; /* FNV-1a; ids are ours */

    for (; *id; id++)
        h = (h ^ (uint8_t)*id) * 16777619u;
    return &set->chains[h % CHAINS];
}

/* True when it wasn't there yet. */
static bool told_add(struct told_set *set, const char *id, int64_t now_us)
{
    struct told **chain = chain_of(set, id), *one;

    for (one = *chain; one; one = one->next)
        if (strcmp(one->id, id) == 0)
            return false;
    one = xcalloc(1, sizeof(*one));
    memcpy(one->id, id, UUID_TEXT_SIZE);
    one->at_us = now_us;
    one->next = *chain;
    *chain = one;
    return true;
}

static void told_forget(struct told_set *set, int64_t before_us)
{
    for (size_t i = 0; i < CHAINS; i++) {
        struct told **at = &set->chains[i];

        while (*at) {
            struct told *one = *at;

            if (one->at_us >= before_us) {
                at = &one->next;
                continue;
            }
            *at = one->next;
            free(one);
        }
    }
}

/* ---- feeds and who listens ------------------------------------------------
 */

enum phase {
    NEW,      /* until its feed has looked once */
    CATCHING, /* what it missed is being read */
    LIVE
};

struct listener {
    struct listener *next, **back;
    struct http_life *life;
    struct feed *feed;
    struct event_stream *stream;
    enum phase phase;
    const char *after;      /* the last id it knows, or NULL */
    int64_t until_us;       /* 0: no end */
    int64_t beat_us;        /* when it was last written to */
    struct told_set *again; /* told while it caught up, or NULL */
    struct text held;       /* found meanwhile: id and message, in turn */
    bool reading;           /* a statement still points here */
    struct arena *arena;    /* of that statement */
};

struct feed {
    struct feed *next;
    struct event_table *table;
    char network_id[UUID_TEXT_SIZE];
    struct listener *listeners;
    struct told_set told;
    struct arena *arena;
    bool looking, primed;
    unsigned looks;
};

struct event_table {
    struct http_server *srv;
    struct feed *feeds;
    size_t n; /* listeners */
};

/* An id below those of that instant (RFC 9562: 48 bits of milliseconds). */
static const char *id_at(struct arena *arena, int64_t us)
{
    uint64_t ms = us > 0 ? (uint64_t)us / 1000 : 0;

    return arena_printf(arena, "%08llx-%04llx-7000-8000-000000000000",
        (unsigned long long)(ms >> 16), (unsigned long long)(ms & 0xffff));
}

static int64_t id_us(const char *id)
{
    struct uuid uuid = uuid_from_text(id);
    int64_t ms = 0;

    for (size_t i = 0; i < 6; i++)
        ms = ms << 8 | uuid.bytes[i];
    return ms * 1000;
}

/* ---- one event ------------------------------------------------------------
 */

static const char *col(const struct db_rows *rows, size_t i, int n)
{
    return db_rows_text(rows, i, n);
}

static bool may_see(
    const struct http_who *who, const struct db_rows *rows, size_t i)
{
    const char *clinic = col(rows, i, 5), *lab = col(rows, i, 6);

    if (who->role == HTTP_LAB)
        return lab && strcmp(lab, who->lab_id) == 0;
    /* A draft is its clinic's own. */
    return !clinic || lab || strcmp(clinic, who->clinic_id) == 0;
}

static void write_message(struct text *t, const struct http_who *who,
    const struct db_rows *rows, size_t i)
{
    struct json_out o = JSON_OUT(t);
    const char *body = col(rows, i, 7);
    char at[INSTANT_TEXT_MAX];

    text_printf(
        t, "id: %s\nevent: %s\ndata: ", col(rows, i, 0), col(rows, i, 1));
    json_out_object(&o, NULL);
    json_out_text(&o, "id", col(rows, i, 0));
    json_out_text(&o, "at", instant_text(db_rows_int(rows, i, 8), 0, at));
    json_out_text(&o, "kind", col(rows, i, 1));
    json_out_object(&o, "subject");
    json_out_text(&o, "kind", col(rows, i, 2));
    json_out_text(&o, "id", col(rows, i, 3));
    json_out_object_end(&o);
    if (col(rows, i, 4) && who->role != HTTP_LAB)
        json_out_text(&o, "patient", col(rows, i, 4));
    if (body)
        json_out_raw(&o, "order", body, strlen(body));
    json_out_object_end(&o);
    text_puts(t, "\n\n");
}

static void say(struct listener *l, const char *bytes, size_t len)
{
    l->beat_us = instant_now_us();
    event_stream_put(l->stream, bytes, len);
}

/* An event that its feed has just found. */
static void hear(struct listener *l, const struct db_rows *rows, size_t i)
{
    const struct http_who *who = &l->life->rq.who;
    TEXT_AUTO t = {0};

    if (!may_see(who, rows, i))
        return;
    write_message(&t, who, rows, i);
    if (l->phase == LIVE) {
        if (!l->again || told_add(l->again, col(rows, i, 0), l->beat_us))
            say(l, t.data, t.len);
        return;
    }
    text_put(&l->held, col(rows, i, 0), UUID_TEXT_SIZE);
    text_put(&l->held, t.data, t.len + 1);
}

/* ---- catching up ------------------------------------------------------------
 */

static void forget_again(struct listener *l)
{
    if (l->again)
        told_forget(l->again, INT64_MAX);
    free(l->again);
    l->again = NULL;
}

static void listener_free(struct listener *l)
{
    forget_again(l);
    text_free(&l->held);
    arena_free(l->arena);
    free(l);
}

static void say_held(struct listener *l)
{
    const char *at = l->held.data, *end = at + l->held.len;

    while (at < end) {
        const char *message = at + UUID_TEXT_SIZE;

        if (!l->again || told_add(l->again, at, l->beat_us))
            say(l, message, strlen(message));
        at = message + strlen(message) + 1;
    }
    text_free(&l->held);
}

static void go_live(struct listener *l)
{
    l->phase = LIVE;
    say_held(l);
    if (l->until_us && l->until_us <= instant_now_us())
        event_stream_end(l->stream);
}

static void caught_up(void *arg, const struct db_reply *reply)
{
    static const char gap[] = "event: gap\ndata: {}\n\n";
    struct listener *l = arg;
    size_t n = reply->rc == RC_OK ? db_rows_count(reply->rows[0]) : 0;

    l->reading = false;
    if (!l->life) {
        listener_free(l);
        return;
    }
    if (reply->rc != RC_OK || n > AGAIN_MOST)
        say(l, gap, sizeof(gap) - 1);
    l->again = xcalloc(1, sizeof(*l->again));
    for (size_t i = 0; n <= AGAIN_MOST && i < n; i++) {
        TEXT_AUTO t = {0};

        told_add(l->again, col(reply->rows[0], i, 0), l->beat_us);
        if (!may_see(&l->life->rq.who, reply->rows[0], i) ||
            strcmp(col(reply->rows[0], i, 0), l->after) == 0)
            continue;
        write_message(&t, &l->life->rq.who, reply->rows[0], i);
        say(l, t.data, t.len);
    }
    go_live(l);
}

static struct db_call *list_call(
    struct arena *arena, const char *above, int most)
{
    struct db_call *call = db_call_new(arena, &DB_EVENT_LIST);

    db_put_text(call, above);
    db_put_int(call, most);
    return call;
}

/* After its feed has looked, so that nothing falls between the two. */
static void catch_up(struct listener *l)
{
    struct db_call *call;
    struct db_query query = {.lane = DB_SLOW, .calls = &call, .n = 1};

    if (!l->after) {
        go_live(l);
        return;
    }
    l->phase = CATCHING;
    l->reading = true;
    l->arena = arena_new();
    call = list_call(
        l->arena, id_at(l->arena, id_us(l->after) - LONG_US), AGAIN_MOST + 1);
    query.who = l->life->rq.who.db;
    db_read(l->feed->table->srv->parts.db, &query, caught_up, l);
}

/* ---- a look
 * ------------------------------------------------------------------ */

static void feed_free(struct feed *feed)
{
    struct feed **at = &feed->table->feeds;

    while (*at != feed)
        at = &(*at)->next;
    *at = feed->next;
    told_forget(&feed->told, INT64_MAX);
    arena_free(feed->arena);
    free(feed);
}

static void looked(void *arg, const struct db_reply *reply)
{
    struct feed *feed = arg;
    int64_t now = instant_now_us();

    feed->looking = false;
    for (size_t i = 0; reply->rc == RC_OK && i < db_rows_count(reply->rows[0]);
         i++)
        if (told_add(&feed->told, col(reply->rows[0], i, 0), now) &&
            feed->primed)
            for (struct listener *l = feed->listeners; l; l = l->next)
                hear(l, reply->rows[0], i);
    arena_reset(feed->arena);
    if (!feed->listeners) {
        feed_free(feed);
        return;
    }
    if (reply->rc != RC_OK)
        return;
    feed->primed = true;
    for (struct listener *l = feed->listeners; l; l = l->next)
        if (l->phase == NEW)
            catch_up(l);
}

static void look(struct feed *feed, int64_t now_us)
{
    bool far = !feed->primed || feed->looks % LONG_EACH == 0;
    struct db_call *call;
    struct db_query query = {.lane = DB_QUICK, .calls = &call, .n = 1};

    if (far)
        told_forget(&feed->told, now_us - KEPT_US);
    feed->looks++;
    feed->looking = true;
    call = list_call(feed->arena,
        id_at(feed->arena, now_us - (far ? LONG_US : SHORT_US)), ROWS_MOST);
    memcpy(query.who.network_id, feed->network_id, UUID_TEXT_SIZE);
    db_read(feed->table->srv->parts.db, &query, looked, feed);
}

static void tend(struct listener *l, int64_t now_us)
{
    if (l->life->rq.who.expires_us <= now_us ||
        (l->phase == LIVE && l->until_us && l->until_us <= now_us))
        event_stream_end(l->stream);
    if (now_us - l->beat_us > BEAT_US)
        say(l, ":\n\n", 3);
    if (l->again && now_us - l->life->rq.now_us > KEPT_US)
        forget_again(l);
}

static void tick(void *arg)
{
    struct event_table *table = arg;
    int64_t now = instant_now_us();

    for (struct feed *feed = table->feeds, *next; feed; feed = next) {
        next = feed->next;
        for (struct listener *l = feed->listeners; l; l = l->next)
            tend(l, now);
        if (!feed->looking && db_ready(table->srv->parts.db))
            look(feed, now);
    }
}

/* ---- life
 * --------------------------------------------------------------------- */

struct event_table *event_table_new(struct http_server *srv)
{
    struct event_table *table = xcalloc(1, sizeof(*table));

    table->srv = srv;
    loop_every(srv->parts.loop, LOOK_MS, tick, table);
    return table;
}

void event_table_free(struct event_table *table)
{
    if (!table)
        return;
    while (table->feeds)
        feed_free(table->feeds);
    free(table);
}

void event_table_revoke(struct event_table *table, const uint8_t hash[32])
{
    for (struct feed *feed = table->feeds; feed; feed = feed->next)
        for (struct listener *l = feed->listeners; l; l = l->next)
            if (memcmp(l->life->rq.who.token_hash, hash, 32) == 0)
                event_stream_end(l->stream);
}

void event_table_drain(struct event_table *table)
{
    for (struct feed *feed = table->feeds; feed; feed = feed->next)
        for (struct listener *l = feed->listeners; l; l = l->next)
            event_stream_end(l->stream);
}

static struct feed *feed_of(struct event_table *table, const char *network_id)
{
    struct feed *feed = table->feeds;

    while (feed && strcmp(feed->network_id, network_id) != 0)
        feed = feed->next;
    if (feed)
        return feed;
    feed = xcalloc(1, sizeof(*feed));
    feed->table = table;
    memcpy(feed->network_id, network_id, UUID_TEXT_SIZE);
    feed->arena = arena_new();
    feed->next = table->feeds;
    table->feeds = feed;
    return feed;
}

void event_forget(struct http_life *life)
{
    struct listener *l = life->listener;

    if (!l)
        return;
    life->listener = NULL;
    *l->back = l->next;
    if (l->next)
        l->next->back = l->back;
    l->feed->table->n--;
    if (!l->feed->listeners && !l->feed->looking)
        feed_free(l->feed);
    event_stream_free(l->stream);
    l->life = NULL;
    if (!l->reading)
        listener_free(l);
}

struct MHD_Response *event_response(struct http_life *life)
{
    return event_stream_response(life->listener->stream);
}

static void listen_to(struct http_req *rq, const char *after, int64_t wait_s)
{
    static const char hello[] = "retry: 2000\n\n";
    struct feed *feed = feed_of(rq->srv->events, rq->who.db.network_id);
    struct listener *l = xcalloc(1, sizeof(*l));

    l->life = rq->life;
    l->feed = feed;
    l->after = after;
    l->stream = event_stream_new(rq->life);
    l->until_us = wait_s < 0 ? 0 : rq->now_us + wait_s * 1000000;
    l->next = feed->listeners;
    l->back = &feed->listeners;
    if (l->next)
        l->next->back = &l->next;
    feed->listeners = l;
    feed->table->n++;
    rq->life->listener = l;
    say(l, hello, sizeof(hello) - 1);
    if (feed->primed && !feed->looking)
        catch_up(l);
}

/* The last id that the client knows: a browser's own header when it comes
 * back, else ?after. */
static enum rc read_after(
    struct http_req *rq, const char **ret, struct err *err)
{
    const char *header = reply_header_in(rq->life, "Last-Event-ID");
    const char *text = header && *header ? header : http_query(rq, "after");
    char *lower = arena_alloc(rq->arena, UUID_TEXT_SIZE);

    *ret = NULL;
    if (!text)
        return RC_OK;
    if (!uuid_parse(text, strlen(text), lower))
        return err_set(err, RC_INVALID, "/after",
            "the last event's id must be a UUID, not \"%s\"", text);
    *ret = lower;
    return RC_OK;
}

/* GET /v1/events */
enum rc http_event_list(struct http_req *rq, struct err *err)
{
    const char *wait = http_query(rq, "wait"), *after;
    struct text none = {0};
    int64_t wait_s = -1;

    TRY(read_after(rq, &after, err));
    if (wait && !num_parse(wait, strlen(wait), 0, WAIT_MOST_S, &wait_s))
        wait_s = -2;
    if (wait && wait_s < 0)
        return err_set(err, RC_INVALID, "/wait",
            "wait must be from 0 to %d seconds, not \"%s\"", WAIT_MOST_S, wait);
    if (rq->srv->events->n >= STREAMS_MOST || rq->srv->draining)
        return err_set(err, RC_BUSY, NULL, "too many listen already");
    listen_to(rq, after, wait_s);
    return http_reply_bytes(rq, 200, "text/event-stream", &none);
}
