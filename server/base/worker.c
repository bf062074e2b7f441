#include "base/worker.h"

#include <pthread.h>
#include <signal.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/epoll.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include "base/arena.h"
#include "base/loop.h"

#define THREADS_MAX 8

struct job {
    struct job *next;
    void (*work)(void *arg);
    void (*done)(void *arg);
    void *arg;
};

struct queue {
    struct job *first, **last;
    size_t n;
};

struct worker_pool {
    pthread_mutex_t lock;
    pthread_cond_t more;
    struct queue waiting, finished;
    bool stopping;
    size_t waiting_max, running;
    pthread_t threads[THREADS_MAX];
    int n_threads;
    int event_fd;
    struct loop_watch *watch;
};

static void put(struct queue *q, struct job *job)
{
    job->next = NULL;
    *q->last = job;
    q->last = &job->next;
    q->n++;
}

static struct job *take(struct queue *q)
{
    struct job *job = q->first;

    if (!job)
        return NULL;
    q->first = job->next;
    if (!q->first)
        q->last = &q->first;
    q->n--;
    return job;
}

static void *run(void *arg)
{
    struct worker_pool *pool = arg;

    pthread_mutex_lock(&pool->lock);
    for (;;) {
        struct job *job;
        uint64_t one = 1;

        while (!pool->waiting.first && !pool->stopping)
            pthread_cond_wait(&pool->more, &pool->lock);
        if (pool->stopping)
            break;
        job = take(&pool->waiting);
        pool->running++;
        pthread_mutex_unlock(&pool->lock);
        job->work(job->arg);
        pthread_mutex_lock(&pool->lock);
        pool->running--;
        put(&pool->finished, job);
        if (write(pool->event_fd, &one, sizeof(one)) < 0)
            abort();
    }
    pthread_mutex_unlock(&pool->lock);
    return NULL;
}

static void finish(struct worker_pool *pool)
{
    for (;;) {
        struct job *job;

        pthread_mutex_lock(&pool->lock);
        job = take(&pool->finished);
        pthread_mutex_unlock(&pool->lock);
        if (!job)
            return;
        job->done(job->arg);
        free(job);
    }
}

static void on_event(void *arg, uint32_t events)
{
    struct worker_pool *pool = arg;
    uint64_t n;

    (void)events;
    if (read(pool->event_fd, &n, sizeof(n)) > 0)
        finish(pool);
}

struct worker_pool *worker_pool_new(
    struct loop *loop, int threads, size_t waiting_max)
{
    struct worker_pool *pool = xcalloc(1, sizeof(*pool));
    sigset_t all, before;

    pthread_mutex_init(&pool->lock, NULL);
    pthread_cond_init(&pool->more, NULL);
    pool->waiting.last = &pool->waiting.first;
    pool->finished.last = &pool->finished.first;
    pool->waiting_max = waiting_max;
    pool->event_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    if (pool->event_fd < 0 || threads > THREADS_MAX)
        abort();
    pool->watch = loop_watch_add(loop, pool->event_fd, EPOLLIN, on_event, pool);
    /* Signals are the loop's business. */
    sigfillset(&all);
    pthread_sigmask(SIG_BLOCK, &all, &before);
    for (int i = 0; i < threads; i++)
        if (pthread_create(&pool->threads[pool->n_threads++], NULL, run, pool))
            abort();
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return pool;
}

void worker_pool_free(struct worker_pool *pool)
{
    struct job *job;

    if (!pool)
        return;
    pthread_mutex_lock(&pool->lock);
    pool->stopping = true;
    pthread_cond_broadcast(&pool->more);
    pthread_mutex_unlock(&pool->lock);
    for (int i = 0; i < pool->n_threads; i++)
        pthread_join(pool->threads[i], NULL);
    while ((job = take(&pool->waiting)))
        put(&pool->finished, job);
    finish(pool);
    loop_watch_remove(pool->watch);
    close(pool->event_fd);
    pthread_cond_destroy(&pool->more);
    pthread_mutex_destroy(&pool->lock);
    free(pool);
}

bool worker_start(struct worker_pool *pool, void (*work)(void *arg),
    void (*done)(void *arg), void *arg)
{
    struct job *job;
    bool room;

    pthread_mutex_lock(&pool->lock);
    room = pool->waiting.n < pool->waiting_max;
    if (room) {
        job = xcalloc(1, sizeof(*job));
        *job = (struct job){.work = work, .done = done, .arg = arg};
        put(&pool->waiting, job);
        pthread_cond_signal(&pool->more);
    }
    pthread_mutex_unlock(&pool->lock);
    return room;
}

size_t worker_busy(const struct worker_pool *pool)
{
    struct worker_pool *p = (struct worker_pool *)(uintptr_t)pool;
    size_t n;

    pthread_mutex_lock(&p->lock);
    n = p->waiting.n + p->running + p->finished.n;
    pthread_mutex_unlock(&p->lock);
    return n;
}
