/*
 * forward.c - lensclerk-forward, which sends what an instrument writes.
 *
 * One thread.  What comes in is made durable in the queue on disk before it is
 * taken from its source, and goes out of the queue when the service has it on
 * record; each item is sent under a key made from its content, so that sending
 * it twice has no effect.
 */
#include <curl/curl.h>
#include <errno.h>
#include <signal.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <sys/signalfd.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/arena.h"
#include "base/instant.h"
#include "base/log.h"
#include "forward_options.h"
#include "forward_post.h"
#include "forward_spool.h"
#include "forward_state.h"
#include "forward_text.h"
#include "forward_watch.h"

enum {
    WAIT_MS = 5000,      /* when nothing is due */
    LAST_WAIT_MS = 5000, /* for an answer after SIGTERM */
    ONCE_QUIETS = 4      /* --once: times of quiet that files are waited for */
};

struct forwarder {
    const struct forward_options *options;
    struct arena *arena; /* of one turn */
    struct forward_spool *spool;
    struct forward_watch *watch; /* one of these or none */
    struct forward_text *text;
    struct forward_poster *poster;
    struct forward_item item; /* while it is sent */
    struct forward_state state;
    int state_fd, signal_fd;
    unsigned failures;      /* in a row */
    int64_t source_due_ms;  /* the next look at the source */
    int64_t sending_due_ms; /* the next try to send */
    int64_t until_ms;       /* --once: nothing more is waited for beyond */
    bool source_over;       /* nothing more will come */
    bool tried;             /* --once: sending has failed */
    bool queue_empty, stopping;
    bool well; /* nothing went wrong in this run */
};

/* text NULL: it works (again). */
static void trouble(
    struct forwarder *f, struct forward_trouble *what, const char *text)
{
    const char *event =
        what == &f->state.source ? "not-spooling" : "not-sending";

    if (text)
        f->well = false;
    if (!forward_state_trouble(&f->state, what, text, instant_now_us()))
        return;
    if (text)
        log_event(LOG_WARNING, event, "why", text, NULL);
    else
        log_event(LOG_INFO, "works-again", "what", event, NULL);
}

/* ---- what comes in ---------------------------------------------------- */

static void came(struct forwarder *f, unsigned taken)
{
    char n[16];

    if (taken == 0)
        return;
    f->queue_empty = false;
    snprintf(n, sizeof(n), "%u", taken);
    log_event(LOG_INFO, "spooled", "items", n, NULL);
}

static void step_watch(struct forwarder *f, int64_t now_ms)
{
    struct err err = ERR_INIT(f->arena);
    struct forward_watch_news news;
    enum rc rc = forward_watch_step(f->watch, f->spool, now_ms, &news, &err);

    came(f, news.taken);
    f->source_due_ms = news.due_ms;
    trouble(f, &f->state.source, rc == RC_OK ? NULL : err.detail);
    if (news.taken + news.removed > 0)
        f->until_ms =
            instant_clock_ms() + ONCE_QUIETS * f->options->watch.quiet_ms;
    if (f->options->once)
        f->source_over =
            news.settled || instant_clock_ms() >= f->until_ms || rc == RC_BUSY;
}

static void step_text(struct forwarder *f, int64_t now_ms)
{
    struct err err = ERR_INIT(f->arena);
    struct forward_text_news news;
    enum rc rc = forward_text_step(f->text, f->spool, now_ms, &news, &err);

    came(f, news.taken);
    f->source_due_ms = news.due_ms;
    trouble(f, &f->state.source, rc == RC_OK ? NULL : err.detail);
    f->source_over = news.ended;
    if (f->stopping && news.between)
        f->source_over = true;
    if (f->options->once && f->options->text.device)
        f->source_over = news.between && now_ms >= f->until_ms;
}

static void step_source(struct forwarder *f, int64_t now_ms)
{
    if (f->source_over)
        return;
    if (f->watch)
        step_watch(f, now_ms);
    else if (f->text)
        step_text(f, now_ms);
    else
        f->source_over = true;
}

/* ---- what goes out ---------------------------------------------------- */

static void pause_sending(struct forwarder *f, int64_t at_least_ms)
{
    int64_t pause = forward_pause_ms(
        f->options->pauses, ++f->failures, randombytes_random());

    if (pause < at_least_ms)
        pause = at_least_ms;
    f->sending_due_ms = instant_clock_ms() + pause;
    f->tried = true;
}

static void item_taken(struct forwarder *f)
{
    forward_spool_done(f->spool, &f->item);
    f->failures = 0;
    f->state.sent++;
    f->state.success_us = instant_now_us();
    trouble(f, &f->state.sending, NULL);
}

static void item_refused(
    struct forwarder *f, const struct forward_outcome *outcome)
{
    struct err err = ERR_INIT(f->arena);
    char status[16];

    snprintf(status, sizeof(status), "%d", outcome->status);
    if (forward_spool_refuse(f->spool, &f->item, outcome->reason, &err) !=
        RC_OK) {
        forward_item_close(&f->item);
        trouble(f, &f->state.sending, err.detail);
        pause_sending(f, 0);
        return;
    }
    f->well = false;
    f->failures = 0;
    log_event(LOG_WARNING, "refused", "status", status, "folder",
        forward_spool_refused(f->spool), NULL);
    trouble(f, &f->state.sending, NULL);
    f->state.error_us = instant_now_us();
    snprintf(f->state.error, sizeof(f->state.error),
        "%s: an item was refused and set aside", status);
}

/* A profile never goes away, so one that isn't known was a slip of whoever
 * started us; the present one is what was meant, if it is another. */
static bool relabelled(
    struct forwarder *f, const struct forward_outcome *outcome)
{
    const char *profile = f->options->watch.profile;
    struct err err = ERR_INIT(f->arena);

    if (!outcome->no_profile || !profile ||
        strcmp(profile, f->item.label.profile) == 0 ||
        forward_spool_relabel(f->spool, &f->item, profile, &err) != RC_OK)
        return false;
    log_event(LOG_INFO, "relabelled", "profile", profile, NULL);
    return true;
}

static void take_outcome(struct forwarder *f)
{
    struct forward_outcome outcome;

    if (!forward_poster_outcome(f->poster, &outcome))
        return;
    switch (outcome.verdict) {
    case FORWARD_TAKEN:
        item_taken(f);
        break;
    case FORWARD_REFUSED:
        item_refused(f, &outcome);
        break;
    case FORWARD_LATER:
        if (relabelled(f, &outcome))
            break;
        forward_spool_back(f->spool, &f->item);
        trouble(f, &f->state.sending, outcome.trouble);
        pause_sending(f, outcome.retry_after_ms);
        break;
    case FORWARD_ALL_LATER:
        forward_item_close(&f->item);
        trouble(f, &f->state.sending, outcome.trouble);
        pause_sending(f, outcome.retry_after_ms);
        break;
    }
}

static void start_sending(struct forwarder *f, int64_t now_ms)
{
    struct err err = ERR_INIT(f->arena);
    unsigned damaged = 0;

    if (forward_poster_busy(f->poster) || now_ms < f->sending_due_ms ||
        f->stopping || f->queue_empty || (f->options->once && f->tried))
        return;
    if (!forward_spool_next(f->spool, &f->item, &damaged))
        f->queue_empty = true;
    if (damaged > 0) {
        f->well = false;
        log_event(LOG_ERROR, "damaged", "folder",
            forward_spool_refused(f->spool), NULL);
    }
    if (f->queue_empty)
        return;
    if (forward_poster_start(f->poster, &f->item, &err) != RC_OK) {
        forward_item_close(&f->item);
        trouble(f, &f->state.sending, err.detail);
        pause_sending(f, 0);
    }
}

/* ---- one turn --------------------------------------------------------- */

static int wait_ms(const struct forwarder *f, int64_t now_ms)
{
    int64_t due = now_ms + WAIT_MS;

    if (!f->source_over && f->source_due_ms < due)
        due = f->source_due_ms;
    if (!f->queue_empty && !forward_poster_busy(f->poster) &&
        !(f->options->once && f->tried) && f->sending_due_ms < due)
        due = f->sending_due_ms;
    return due <= now_ms ? 0 : (int)(due - now_ms);
}

static int source_fd(const struct forwarder *f)
{
    if (f->source_over || f->stopping)
        return -1;
    if (f->watch)
        return forward_watch_fd(f->watch);
    return f->text ? forward_text_fd(f->text) : -1;
}

static void turn(struct forwarder *f)
{
    int64_t now_ms = instant_clock_ms();
    const int fds[] = {f->signal_fd, source_fd(f)};
    bool ready[ARRAY_LEN(fds)];

    forward_poster_wait(
        f->poster, fds, ready, ARRAY_LEN(fds), wait_ms(f, now_ms));
    arena_reset(f->arena);
    now_ms = instant_clock_ms();
    if (ready[0])
        f->stopping = true;
    if (!f->stopping && (ready[1] || now_ms >= f->source_due_ms))
        step_source(f, now_ms);
    take_outcome(f);
    start_sending(f, now_ms);
    forward_state_write(f->state_fd, &f->state);
}

/* With --once, and where the input has ended, it is over when the queue is
 * empty, or when sending has failed. */
static bool over(const struct forwarder *f)
{
    if (f->stopping)
        return true;
    if (!f->source_over || forward_poster_busy(f->poster))
        return false;
    return f->queue_empty || (f->options->once && f->tried);
}

/* A message on the line may end yet, an answer may come yet. */
static void finish(struct forwarder *f)
{
    int64_t until = instant_clock_ms() + LAST_WAIT_MS;

    f->stopping = true;
    while (instant_clock_ms() < until &&
           (forward_poster_busy(f->poster) || (f->text && !f->source_over))) {
        bool ready;
        const int fd = f->text ? forward_text_fd(f->text) : -1;

        forward_poster_wait(f->poster, &fd, &ready, 1, 20);
        arena_reset(f->arena);
        if (f->text && !f->source_over)
            step_text(f, instant_clock_ms());
        take_outcome(f);
    }
    if (forward_poster_busy(f->poster))
        forward_item_close(&f->item);
    forward_state_write(f->state_fd, &f->state);
}

/* ---- start and end ---------------------------------------------------- */

static void take_signals(struct forwarder *f)
{
    sigset_t set;

    sigemptyset(&set);
    sigaddset(&set, SIGTERM);
    sigaddset(&set, SIGINT);
    sigprocmask(SIG_BLOCK, &set, NULL);
    signal(SIGPIPE, SIG_IGN);
    signal(SIGXFSZ, SIG_IGN); /* a limit of file size is a failed write */
    signal(SIGIO, SIG_IGN);   /* somebody wants to write what we look at */
    f->signal_fd = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
}

static bool same_folder(const char *a, const char *b)
{
    struct stat a_st, b_st;

    return a && b && stat(a, &a_st) == 0 && stat(b, &b_st) == 0 &&
           a_st.st_dev == b_st.st_dev && a_st.st_ino == b_st.st_ino;
}

/* Else what goes there would come in again. */
static enum rc check_folders(const struct forward_options *o, struct err *err)
{
    const char *dir = o->watch.dir;

    if (same_folder(dir, o->spool) || same_folder(dir, o->refused) ||
        same_folder(dir, o->watch.keep))
        return err_set(err, RC_INVALID, NULL,
            "what is watched can't be the same folder as the spool, "
            "--refused or --keep");
    return RC_OK;
}

static enum rc open_parts(struct forwarder *f, struct err *err)
{
    const struct forward_options *o = f->options;

    TRY(forward_spool_open(o->spool, o->refused, &f->spool, err));
    f->state_fd = forward_state_open(o->spool, &f->state);
    if (f->state_fd < 0)
        return err_set(err, RC_INTERNAL, NULL, "can't open %s/state: %s",
            o->spool, strerror(errno));
    f->state.once = o->once;
    f->state.pid = (int)getpid();
    snprintf(f->state.refused, sizeof(f->state.refused), "%s",
        o->refused ? o->refused : "");
    if (o->source == FORWARD_FOLDER)
        TRY(forward_watch_new(&o->watch, &f->watch, err));
    TRY(check_folders(o, err));
    if (o->source == FORWARD_LINES)
        f->text = forward_text_new(&o->text);
    f->poster = forward_poster_new(&o->target);
    forward_state_write(f->state_fd, &f->state);
    return RC_OK;
}

static void close_parts(struct forwarder *f)
{
    forward_watch_free(f->watch);
    forward_text_free(f->text);
    forward_poster_free(f->poster);
    if (f->state_fd >= 0)
        close(f->state_fd);
    if (f->signal_fd >= 0)
        close(f->signal_fd);
    forward_spool_free(f->spool);
    arena_free(f->arena);
}

static int run(const struct forward_options *options, struct err *err)
{
    struct forwarder f = {.options = options,
        .arena = arena_new(),
        .state_fd = -1,
        .signal_fd = -1,
        .well = true};
    int64_t quiet = options->source == FORWARD_FOLDER ? options->watch.quiet_ms
                                                      : options->text.idle_ms;

    umask(077);
    take_signals(&f);
    if (open_parts(&f, err) != RC_OK) {
        log_event(LOG_ERROR, "not-started", "why", err->detail, NULL);
        close_parts(&f);
        return 1;
    }
    f.until_ms = instant_clock_ms() + ONCE_QUIETS * quiet;
    log_event(LOG_INFO, "started", "version", LENS_VERSION, NULL);
    while (!over(&f))
        turn(&f);
    finish(&f);
    log_event(LOG_INFO, "stopped", NULL);
    close_parts(&f);
    return f.well || !options->once ? 0 : 1;
}

static int tell_faults(const struct err *err)
{
    for (const struct err_fault *f = err->faults; f; f = f->next)
        fprintf(stderr, "lensclerk-forward: %s %s\n", f->pointer, f->detail);
    if (!err->faults)
        fprintf(stderr, "lensclerk-forward: %s\n", err->detail);
    fputs("lensclerk-forward --help tells more\n", stderr);
    return 2;
}

static int command(const struct forward_options *o, struct err *err)
{
    switch (o->command) {
    case FORWARD_HELP:
        fputs(FORWARD_USAGE, stdout);
        return 0;
    case FORWARD_VERSION:
        puts("lensclerk-forward " LENS_VERSION);
        return 0;
    case FORWARD_STATUS:
        return forward_status(o->spool, o->json, instant_now_us(), stdout);
    case FORWARD_RUN:
        return run(o, err);
    }
    return 2;
}

int main(int argc, char **argv)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct forward_options options;
    int result;

    if (sodium_init() < 0 || curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK)
        return 1;
    if (forward_options_read(argc, argv, &options, &err) != RC_OK)
        result = tell_faults(&err);
    else
        result = command(&options, &err);
    curl_global_cleanup();
    arena_free(arena);
    return result;
}
