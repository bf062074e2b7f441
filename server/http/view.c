/*
 * http/view.c - who saw whose record in the last ten minutes.
 *
 * The first view is in the audit log before it is answered; further ones are
 * counted here and written as one row when the ten minutes are over.  Until
 * the first one's commit is known, each is a first one.
 */
#include <stdlib.h>
#include <string.h>

#include "base/instant.h"
#include "http/inside.h"

#define WINDOW_US INT64_C(600000000)
#define ROOM 16384 /* chains */
#define KEPT_MAX 200000

struct seen {
    struct seen *next;
    char owner_id[UUID_TEXT_SIZE], patient_id[UUID_TEXT_SIZE];
    uint8_t token_hash[32];
    int64_t first_us;
    unsigned more; /* views after the first */
};

struct view_table {
    struct http_server *srv;
    struct seen *chains[ROOM];
    size_t n;
};

struct view_table *view_table_new(struct http_server *srv)
{
    struct view_table *t = xcalloc(1, sizeof(*t));

    t->srv = srv;
    return t;
}

void view_table_free(struct view_table *t)
{
    if (!t)
        return;
    for (size_t i = 0; i < ROOM; i++) {
        while (t->chains[i]) {
            struct seen *gone = t->chains[i];

            t->chains[i] = gone->next;
            free(gone);
        }
    }
    free(t);
}

static size_t chain_of(const char *owner_id, const char *patient_id)
{
    uint32_t h = 2166136261u; /* FNV-1a; ids are ours, not a client's */

    for (; *owner_id; owner_id++)
        h = (h ^ (uint8_t)*owner_id) * 16777619u;
    for (; *patient_id; patient_id++)
        h = (h ^ (uint8_t)*patient_id) * 16777619u;
    return h & (ROOM - 1);
}

/* A row of views that were only counted, on its own way to the log. */
struct late {
    struct arena *arena;
    struct db_view view;
};

static void late_done(void *arg, const struct db_reply *reply)
{
    struct late *late = arg;

    (void)reply; /* a dead token's last counts are lost, its first is not */
    arena_free(late->arena);
}

static void write_late(struct view_table *t, const struct seen *seen)
{
    struct arena *arena = arena_new();
    struct late *late = arena_alloc(arena, sizeof(*late));
    int64_t now = instant_now_us();

    *late = (struct late){.arena = arena};
    memcpy(late->view.token_hash, seen->token_hash, 32);
    uuid_text(uuid_new(now), late->view.audit_id);
    late->view.at_us = now;
    late->view.action = "viewed-again";
    late->view.subject_kind = "patient";
    late->view.subject_id = arena_strdup(arena, seen->patient_id);
    late->view.patient_id = late->view.subject_id;
    late->view.request_id = "";
    late->view.detail = arena_printf(arena, "{\"views\":%u}", seen->more);
    db_append_view(t->srv->parts.db, &late->view, late_done, late);
}

void view_tick(struct view_table *t, bool all)
{
    int64_t now = instant_now_us();

    for (size_t i = 0; i < ROOM; i++) {
        struct seen **at = &t->chains[i];

        while (*at) {
            struct seen *seen = *at;

            if (!all && now - seen->first_us < WINDOW_US) {
                at = &seen->next;
                continue;
            }
            if (seen->more)
                write_late(t, seen);
            *at = seen->next;
            free(seen);
            t->n--;
        }
    }
}

static struct seen *find(
    struct view_table *t, const char *owner_id, const char *patient_id)
{
    struct seen *seen = t->chains[chain_of(owner_id, patient_id)];

    while (seen && (strcmp(seen->owner_id, owner_id) != 0 ||
                       strcmp(seen->patient_id, patient_id) != 0))
        seen = seen->next;
    return seen;
}

static struct seen *add(
    struct view_table *t, const char *owner_id, const char *patient_id)
{
    struct seen **chain = &t->chains[chain_of(owner_id, patient_id)];
    struct seen *seen = xcalloc(1, sizeof(*seen));

    memcpy(seen->owner_id, owner_id, UUID_TEXT_SIZE);
    memcpy(seen->patient_id, patient_id, strlen(patient_id) + 1);
    seen->next = *chain;
    *chain = seen;
    t->n++;
    return seen;
}

bool view_is_first(struct view_table *t, const struct http_view *view)
{
    const struct http_who *who = &view->life->rq.who;
    struct seen *seen = find(t, who->owner_id, view->view.patient_id);

    if (!seen || view->life->rq.now_us - seen->first_us >= WINDOW_US)
        return true;
    seen->more++;
    memcpy(seen->token_hash, who->token_hash, 32);
    return false;
}

void view_kept(struct view_table *t, const struct http_view *view)
{
    const struct http_who *who = &view->life->rq.who;
    const char *patient_id = view->view.patient_id;
    int64_t now_us = view->life->rq.now_us;
    struct seen *seen;

    if (t->n >= KEPT_MAX)
        view_tick(t, true);
    seen = find(t, who->owner_id, patient_id);
    if (seen && now_us - seen->first_us < WINDOW_US)
        return; /* two at once: both are in the log */
    if (seen && seen->more)
        write_late(t, seen);
    if (!seen)
        seen = add(t, who->owner_id, patient_id);
    memcpy(seen->token_hash, who->token_hash, 32);
    seen->first_us = now_us;
    seen->more = 0;
}
