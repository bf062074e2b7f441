#include "base/loop.h"

#include <errno.h>
#include <stdbool.h>
#include <stdlib.h>
#include <sys/epoll.h>
#include <unistd.h>

#include "base/arena.h"
#include "base/instant.h"

#define TICKS_MAX 8
#define EVENTS_MAX 64

struct loop_watch {
    struct loop *loop;
    struct loop_watch *next_gone;
    int fd;
    uint32_t events;
    loop_ready *ready;
    void *arg;
    bool gone;
};

struct loop_tick {
    void (*tick)(void *arg);
    void *arg;
    int64_t every_ms, due_ms;
};

struct loop {
    int epoll_fd;
    struct loop_watch *gone; /* freed when no event can still name them */
    struct loop_tick ticks[TICKS_MAX];
    int n_ticks;
};

struct loop *loop_new(void)
{
    struct loop *loop = xcalloc(1, sizeof(*loop));

    loop->epoll_fd = epoll_create1(EPOLL_CLOEXEC);
    if (loop->epoll_fd < 0)
        abort();
    return loop;
}

static void free_gone(struct loop *loop)
{
    while (loop->gone) {
        struct loop_watch *watch = loop->gone;

        loop->gone = watch->next_gone;
        free(watch);
    }
}

void loop_free(struct loop *loop)
{
    if (!loop)
        return;
    free_gone(loop);
    close(loop->epoll_fd);
    free(loop);
}

static void control(struct loop_watch *watch, int op)
{
    struct epoll_event ev = {.events = watch->events, .data.ptr = watch};

    if (epoll_ctl(watch->loop->epoll_fd, op, watch->fd, &ev) &&
        errno != EBADF && errno != ENOENT)
        abort();
}

struct loop_watch *loop_watch_add(
    struct loop *loop, int fd, uint32_t events, loop_ready *ready, void *arg)
{
    struct loop_watch *watch = xcalloc(1, sizeof(*watch));

    *watch = (struct loop_watch){
        .loop = loop, .fd = fd, .events = events, .ready = ready, .arg = arg};
    control(watch, EPOLL_CTL_ADD);
    return watch;
}

void loop_watch_set(struct loop_watch *watch, uint32_t events)
{
    if (watch->events == events)
        return;
    watch->events = events;
    control(watch, EPOLL_CTL_MOD);
}

void loop_watch_remove(struct loop_watch *watch)
{
    if (!watch)
        return;
    control(watch, EPOLL_CTL_DEL);
    watch->gone = true;
    watch->next_gone = watch->loop->gone;
    watch->loop->gone = watch;
}

void loop_every(struct loop *loop, int ms, void (*tick)(void *arg), void *arg)
{
    if (loop->n_ticks == TICKS_MAX)
        abort();
    loop->ticks[loop->n_ticks++] = (struct loop_tick){.tick = tick,
        .arg = arg,
        .every_ms = ms,
        .due_ms = instant_clock_ms() + ms};
}

static int wait_ms(const struct loop *loop, int ms)
{
    int64_t now = instant_clock_ms();

    for (int i = 0; i < loop->n_ticks; i++) {
        int64_t left = loop->ticks[i].due_ms - now;

        if (left < 0)
            left = 0;
        if (ms < 0 || left < ms)
            ms = (int)left;
    }
    return ms;
}

static void run_ticks(struct loop *loop)
{
    int64_t now = instant_clock_ms();

    for (int i = 0; i < loop->n_ticks; i++) {
        struct loop_tick *t = &loop->ticks[i];

        if (t->due_ms > now)
            continue;
        t->due_ms = now + t->every_ms;
        t->tick(t->arg);
    }
}

void loop_wait(struct loop *loop, int ms)
{
    struct epoll_event events[EVENTS_MAX];
    int n = epoll_wait(loop->epoll_fd, events, EVENTS_MAX, wait_ms(loop, ms));

    for (int i = 0; i < n; i++) {
        struct loop_watch *watch = events[i].data.ptr;

        if (!watch->gone)
            watch->ready(watch->arg, events[i].events);
    }
    free_gone(loop);
    run_ticks(loop);
    free_gone(loop);
}
