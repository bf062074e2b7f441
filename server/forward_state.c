#include "forward_state.h"

#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include "base/arena.h"
#include "base/instant.h"
#include "base/json_in.h"
#include "base/json_out.h"
#include "forward_file.h"
#include "forward_spool.h"

/* ---- the file --------------------------------------------------------- */

static void put_trouble(
    struct json_out *o, const char *name, const struct forward_trouble *t)
{
    if (!*t->text)
        return;
    json_out_object(o, name);
    json_out_text(o, "text", t->text);
    json_out_int(o, "since_us", t->since_us);
    json_out_object_end(o);
}

static void put_words(struct json_out *o, const char *name, const char *text)
{
    if (*text)
        json_out_text(o, name, text);
}

void forward_state_write(int fd, const struct forward_state *state)
{
    TEXT_AUTO text = {0};
    struct json_out o = JSON_OUT(&text);

    json_out_object(&o, NULL);
    json_out_bool(&o, "once", state->once);
    json_out_int(&o, "pid", state->pid);
    put_words(&o, "refused", state->refused);
    json_out_int(&o, "sent", state->sent);
    json_out_int(&o, "success_us", state->success_us);
    json_out_int(&o, "error_us", state->error_us);
    put_words(&o, "error", state->error);
    put_trouble(&o, "source", &state->source);
    put_trouble(&o, "sending", &state->sending);
    json_out_object_end(&o);
    text_putc(&text, '\n');
    while (text.len < FORWARD_STATE_SIZE)
        text_putc(&text, ' ');
    /* A state that can't be written is no reason to stop. */
    if (text.len == FORWARD_STATE_SIZE)
        forward_file_write(fd, text.data, text.len, 0);
}

static void get_words(struct json_in in, const char *name, char *ret)
{
    const char *text = "";

    json_in_text(json_in_get(in, name), FORWARD_TEXT_SIZE - 1, &text);
    snprintf(ret, FORWARD_TEXT_SIZE, "%s", text);
}

static void get_us(struct json_in in, const char *name, int64_t *ret)
{
    json_in_int(json_in_get(in, name), 0, INT64_MAX, ret);
}

static void get_trouble(
    struct json_in in, const char *name, struct forward_trouble *ret)
{
    struct json_in at = json_in_get(in, name);

    if (!json_in_here(at))
        return;
    get_words(at, "text", ret->text);
    get_us(at, "since_us", &ret->since_us);
}

static bool state_parse(
    const char *bytes, size_t len, struct forward_state *ret)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    json_t *json = NULL;
    bool well = json_in_parse(bytes, len, &json, &err) == RC_OK;

    if (well) {
        struct json_in in = json_in_root(json, &err);
        int64_t pid = 0;

        json_in_bool(json_in_get(in, "once"), &ret->once);
        json_in_int(json_in_get(in, "pid"), 0, INT32_MAX, &pid);
        ret->pid = (int)pid;
        get_words(in, "refused", ret->refused);
        get_us(in, "sent", &ret->sent);
        get_us(in, "success_us", &ret->success_us);
        get_us(in, "error_us", &ret->error_us);
        get_words(in, "error", ret->error);
        get_trouble(in, "source", &ret->source);
        get_trouble(in, "sending", &ret->sending);
    }
    json_decref(json);
    arena_free(arena);
    return well;
}

/* Read while it is written it may be half and half: then once more. */
static bool state_read(int fd, struct forward_state *ret)
{
    char bytes[FORWARD_STATE_SIZE];

    *ret = (struct forward_state){0};
    for (int i = 0; i < 5; i++) {
        ssize_t n = pread(fd, bytes, sizeof(bytes), 0);

        if (n > 0 && state_parse(bytes, (size_t)n, ret))
            return true;
        *ret = (struct forward_state){0};
    }
    return false;
}

static int state_fd(const char *spool, int flags)
{
    TEXT_AUTO path = {0};

    text_printf(&path, "%s/state", spool);
    return open(path.data, flags | O_CLOEXEC, 0600);
}

int forward_state_open(const char *spool, struct forward_state *ret)
{
    int fd = state_fd(spool, O_RDWR | O_CREAT);

    *ret = (struct forward_state){0};
    if (fd < 0)
        return -1;
    state_read(fd, ret);
    /* Its room is taken while there is some. */
    posix_fallocate(fd, 0, FORWARD_STATE_SIZE);
    return fd;
}

bool forward_state_trouble(struct forward_state *state,
    struct forward_trouble *trouble, const char *text, int64_t now_us)
{
    bool news;

    if (!text) {
        news = *trouble->text != '\0';
        *trouble = (struct forward_trouble){0};
        return news;
    }
    state->error_us = now_us;
    snprintf(state->error, sizeof(state->error), "%s", text);
    news = strncmp(trouble->text, text, sizeof(trouble->text) - 1) != 0;
    if (!*trouble->text)
        trouble->since_us = now_us;
    snprintf(trouble->text, sizeof(trouble->text), "%s", text);
    return news;
}

/* ---- what it says ----------------------------------------------------- */

struct report {
    struct forward_state state;
    struct forward_counts counts;
    bool known; /* the state could be read */
    int64_t now_us;
    const char *health[6]; /* words; none: all is well */
    size_t n_health;
};

static void judge(struct report *r)
{
    const struct forward_counts *c = &r->counts;

    if (!c->running && !r->state.once)
        r->health[r->n_health++] = "not-running";
    if (c->running && !r->known)
        r->health[r->n_health++] = "state-unknown";
    if (*r->state.source.text)
        r->health[r->n_health++] = "not-spooling";
    if (*r->state.sending.text)
        r->health[r->n_health++] = "not-sending";
    if (c->waiting > 0 && r->now_us - c->oldest_us > FORWARD_OLD_US)
        r->health[r->n_health++] = "waiting-long";
    if (c->refused > 0)
        r->health[r->n_health++] = "refused";
}

static void put_time(struct json_out *o, const char *name, int64_t us)
{
    char at[INSTANT_TEXT_MAX];

    json_out_text(o, name, us ? instant_text(us, 0, at) : NULL);
}

static void put_standing(
    struct json_out *o, const char *name, const struct forward_trouble *t)
{
    if (!*t->text) {
        json_out_null(o, name);
        return;
    }
    json_out_object(o, name);
    json_out_text(o, "text", t->text);
    put_time(o, "since", t->since_us);
    json_out_object_end(o);
}

static void print_json(const struct report *r, FILE *to)
{
    TEXT_AUTO text = {0};
    struct json_out o = JSON_OUT(&text);

    json_out_object(&o, NULL);
    json_out_bool(&o, "running", r->counts.running);
    if (r->counts.running)
        json_out_int(&o, "pid", r->state.pid);
    json_out_int(&o, "waiting", r->counts.waiting);
    put_time(&o, "oldest_at", r->counts.oldest_us);
    json_out_int(&o, "refused", r->counts.refused);
    json_out_int(&o, "sent", r->state.sent);
    put_time(&o, "last_success_at", r->state.success_us);
    put_time(&o, "last_error_at", r->state.error_us);
    json_out_text(&o, "last_error", *r->state.error ? r->state.error : NULL);
    put_standing(&o, "not_spooling", &r->state.source);
    put_standing(&o, "not_sending", &r->state.sending);
    json_out_array(&o, "health");
    for (size_t i = 0; i < r->n_health; i++)
        json_out_text(&o, NULL, r->health[i]);
    json_out_array_end(&o);
    json_out_object_end(&o);
    fprintf(to, "%s\n", text.data);
}

static const char *time_or(int64_t us, char buf[INSTANT_TEXT_MAX])
{
    return us ? instant_text(us - us % 1000000, 0, buf) : "never";
}

static void print_standing(
    const char *name, const struct forward_trouble *t, FILE *to)
{
    char at[INSTANT_TEXT_MAX];

    if (*t->text)
        fprintf(
            to, "%-14s%s, since %s\n", name, t->text, time_or(t->since_us, at));
}

static void print_text(const struct report *r, const char *spool, FILE *to)
{
    const struct forward_state *s = &r->state;
    char at[INSTANT_TEXT_MAX];

    if (r->counts.running)
        fprintf(to, "running       yes, process %d\n", s->pid);
    else
        fprintf(to, "running       no%s\n", s->once ? " (--once)" : "");
    fprintf(to, "waiting       %u", r->counts.waiting);
    if (r->counts.waiting > 0)
        fprintf(to, ", the oldest since %s", time_or(r->counts.oldest_us, at));
    fprintf(to, "\nrefused       %u", r->counts.refused);
    if (r->counts.refused > 0)
        fprintf(to, ", in %s%s", *s->refused ? s->refused : spool,
            *s->refused ? "" : "/refused");
    fprintf(to, "\nsent          %lld\n", (long long)s->sent);
    fprintf(to, "last success  %s\n", time_or(s->success_us, at));
    fprintf(to, "last error    %s", time_or(s->error_us, at));
    fprintf(to, "%s%s\n", *s->error ? ": " : "", s->error);
    print_standing("not spooling", &s->source, to);
    print_standing("not sending", &s->sending, to);
    fputs("health        ", to);
    for (size_t i = 0; i < r->n_health; i++)
        fprintf(to, "%s%s", i ? ", " : "", r->health[i]);
    fputs(r->n_health ? "\n" : "well\n", to);
}

int forward_status(const char *spool, bool json, int64_t now_us, FILE *to)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct report r = {.now_us = now_us};
    int fd = state_fd(spool, O_RDONLY);
    enum rc rc;

    if (fd >= 0) {
        r.known = state_read(fd, &r.state);
        close(fd);
    }
    rc = forward_spool_count(
        spool, *r.state.refused ? r.state.refused : NULL, &r.counts, &err);
    if (rc == RC_OK) {
        judge(&r);
        if (json)
            print_json(&r, to);
        else
            print_text(&r, spool, to);
    } else {
        fprintf(stderr, "lensclerk-forward: %s\n", err.detail);
    }
    arena_free(arena);
    return rc != RC_OK ? 2 : r.n_health > 0;
}
