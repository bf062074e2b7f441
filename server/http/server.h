#pragma once
/*
 * http/server.h - the service on its port: libmicrohttpd without a thread of
 * its own, in the same loop as the database.
 */
#include <stdbool.h>

#include "base/config.h"
#include "base/err.h"

struct http_server;
struct loop;
struct db;
struct worker_pool;

struct http_parts {
    const struct config *config;
    struct loop *loop;
    struct db *db;
    struct worker_pool *workers;    /* short jobs: files, prints */
    struct worker_pool *passwords;  /* one at a time, each takes 64 MiB */
    struct worker_pool *deliveries; /* posting to webhooks waits */
    struct worker_pool *programs;   /* wait for other programs, for seconds */
};

/* Listens; RC_INVALID with the reason when it can't. */
enum rc http_server_new(
    const struct http_parts *parts, struct http_server **ret, struct err *err);
void http_server_free(struct http_server *srv);

/* One turn after loop_wait: resumes, reads and answers what can be. */
void http_server_turn(struct http_server *srv);
/* Milliseconds until libmicrohttpd wants a turn, -1: none. */
int http_server_wait_ms(struct http_server *srv);

/* No new connections; those there are answered with Connection: close. */
void http_server_drain(struct http_server *srv);
/* True when nothing is at work any more; to be asked only once draining. */
bool http_server_idle(struct http_server *srv);
