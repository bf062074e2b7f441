#pragma once
/* http/inside.h - inside the engine: the server's own state. */
#include <microhttpd.h>

#include "base/loop.h"
#include "base/sign.h"
#include "base/worker.h"
#include "http/deliver.h"
#include "http/events.h"
#include "http/life.h"
#include "http/server.h"

struct watched; /* a connection and its deadline */

struct http_counts {
    uint64_t requests[6]; /* by hundreds of the status */
    uint64_t seconds_us;  /* time taken by all */
    uint64_t readings;
};

struct http_server {
    struct http_parts parts;
    struct MHD_Daemon *mhd, *metrics;
    struct loop_watch *watch, *metrics_watch;
    struct http_life *ready; /* to be resumed */
    struct watched *connections;
    size_t n_connections, n_lives;
    size_t n_lines; /* bodies that are taken line by line */
    bool draining;
    struct token_table *tokens;
    struct view_table *views;
    struct event_table *events;
    struct deliver *deliver;
    uint8_t root[SIGN_ROOT_SIZE]; /* see base/sign.h */
    bool has_root;
    struct text log; /* lines of this turn */
    struct http_counts counts;
    int64_t started_us;
};

/* metrics.c */
enum MHD_Result metrics_answer(void *cls, struct MHD_Connection *con,
    const char *url, const char *method, const char *version,
    const char *upload, size_t *upload_len, void **con_cls);
