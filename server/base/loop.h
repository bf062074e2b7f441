#pragma once
/*
 * base/loop.h - one thread waiting for many things (epoll).
 *
 * Callbacks run inside loop_wait, on its thread.  A watch may be removed in
 * any callback, its own included.
 */
#include <stdint.h>

struct loop;
struct loop_watch;

typedef void loop_ready(void *arg, uint32_t epoll_events);

struct loop *loop_new(void);
void loop_free(struct loop *loop);

/* fd stays the caller's.  events as for epoll_ctl. */
struct loop_watch *loop_watch_add(
    struct loop *loop, int fd, uint32_t events, loop_ready *ready, void *arg);
void loop_watch_set(struct loop_watch *watch, uint32_t events);
void loop_watch_remove(struct loop_watch *watch); /* NULL is a no-op */

/* Calls tick every ms milliseconds or a little later, for ever. */
void loop_every(struct loop *loop, int ms, void (*tick)(void *arg), void *arg);

/* Waits at most ms (-1: no limit but the next tick) and calls back. */
void loop_wait(struct loop *loop, int ms);
