#pragma once
/*
 * base/worker.h - threads for work that would hold up the loop.
 *
 * work runs on a worker's thread and touches only its own argument; done runs
 * later on the loop's thread.  Jobs of one pool start in order.
 */
#include <stdbool.h>
#include <stddef.h>

struct loop;
struct worker_pool;

struct worker_pool *worker_pool_new(
    struct loop *loop, int threads, size_t waiting_max);
/* Waits for running jobs; waiting ones are dropped with their done called. */
void worker_pool_free(struct worker_pool *pool);

/* False when waiting_max jobs wait already. */
bool worker_start(struct worker_pool *pool, void (*work)(void *arg),
    void (*done)(void *arg), void *arg);
size_t worker_busy(const struct worker_pool *pool);
