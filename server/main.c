/*
 * main.c - starts and stops everything.
 */
#include <curl/curl.h>
#include <getopt.h>
#include <signal.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/resource.h>
#include <sys/signalfd.h>
#include <time.h>
#include <unistd.h>

#include "admin.h"
#include "base/arena.h"
#include "base/config.h"
#include "base/log.h"
#include "base/loop.h"
#include "base/worker.h"
#include "db/db.h"
#include "db/migrate.h"
#include "http/server.h"
#include "verify.h"

#define STOP_MS 20000 /* what is at work gets this long to end */

static const char USAGE[] =
    "usage: lensclerkd COMMAND [--config FILE] [options]\n"
    "\n"
    "  serve          answer requests until SIGTERM\n"
    "  migrate        bring the database to this version's schema\n"
    "                 [--migrations DIR]\n"
    "  network add    make a network\n"
    "  user add       make a user of a network; user password: set a new one\n"
    "  device add     make a device of a network, with its token\n"
    "  verify         tell if a signed prescription or order is as it was\n"
    "                 signed: FILE --keys FILE\n"
    "  check-config   read the configuration and say what is wrong\n"
    "  version        print the version\n"
    "\n"
    "COMMAND --help tells more.  The configuration is an INI file; variables\n"
    "LENSCLERK_<GROUP>_<KEY> stand over it.\n";

static const struct {
    const char *command, *text;
} HELP[] = {
    {"serve", "usage: lensclerkd serve [--config FILE]\n"
              "\n"
              "Answers requests until SIGTERM, then ends what is at work.  It\n"
              "refuses to serve as a database role that could bypass row\n"
              "security.  Log lines are JSON on standard error.\n"},
    {"migrate",
        "usage: lensclerkd migrate [--config FILE] [--migrations DIR]\n"
        "\n"
        "Applies the numbered files that this database has not had yet, as\n"
        "the owner ([database] owner_conninfo), under a lock.\n"},
    {"check-config", "usage: lensclerkd check-config [--config FILE]\n"
                     "\n"
                     "Reads the configuration and says what is wrong.\n"},
    {"version", "usage: lensclerkd version\n"},
    {"verify", VERIFY_USAGE},
};

/* True when help was asked for and given. */
static bool gave_help(int argc, char **argv)
{
    for (size_t i = 0; i < ARRAY_LEN(HELP); i++) {
        if (strcmp(HELP[i].command, argv[1]) != 0)
            continue;
        for (int k = 2; k < argc; k++) {
            if (strcmp(argv[k], "--help") != 0)
                continue;
            fputs(HELP[i].text, stdout);
            return true;
        }
    }
    return false;
}

/* ---- serve ------------------------------------------------------------ */

struct service {
    struct loop *loop;
    struct db *db;
    struct worker_pool *workers, *passwords, *programs, *deliveries;
    struct http_server *http;
    int signal_fd;
    struct loop_watch *signals;
    bool stopping;
};

static void on_signal(void *arg, uint32_t events)
{
    struct service *s = arg;
    struct signalfd_siginfo info;

    (void)events;
    if (read(s->signal_fd, &info, sizeof(info)) == sizeof(info))
        s->stopping = true;
}

static void take_signals(struct service *s)
{
    sigset_t set;

    sigemptyset(&set);
    sigaddset(&set, SIGTERM);
    sigaddset(&set, SIGINT);
    sigprocmask(SIG_BLOCK, &set, NULL);
    signal(SIGPIPE, SIG_IGN);
    s->signal_fd = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
    s->signals = loop_watch_add(s->loop, s->signal_fd, EPOLLIN, on_signal, s);
}

static void tell_database(void *arg, const char *event, const char *detail)
{
    (void)arg;
    log_event(LOG_WARNING, event, "connection", detail, NULL);
}

static void turn(struct service *s)
{
    db_turn(s->db);
    loop_wait(s->loop, http_server_wait_ms(s->http));
    http_server_turn(s->http);
}

static int64_t clock_ms(void)
{
    struct timespec ts;

    clock_gettime(CLOCK_MONOTONIC, &ts);
    return (int64_t)ts.tv_sec * 1000 + ts.tv_nsec / 1000000;
}

static void run(struct service *s)
{
    int64_t until;

    while (!s->stopping)
        turn(s);
    log_event(LOG_INFO, "stopping", NULL);
    http_server_drain(s->http);
    until = clock_ms() + STOP_MS;
    while (!http_server_idle(s->http) && clock_ms() < until)
        turn(s);
    /* Whatever still waits is answered: not now. */
    worker_pool_free(s->workers);
    worker_pool_free(s->passwords);
    worker_pool_free(s->programs);
    worker_pool_free(s->deliveries);
    db_give_up(s->db);
    http_server_turn(s->http);
    http_server_turn(s->http); /* the last answers leave */
}

static void raise_limits(void)
{
    struct rlimit limit;

    if (getrlimit(RLIMIT_NOFILE, &limit) == 0) {
        limit.rlim_cur = limit.rlim_max;
        setrlimit(RLIMIT_NOFILE, &limit);
    }
}

/* The role is checked before the first request; a database that isn't there
 * yet is waited for, a role that may bypass row security is not. */
static enum rc check_role(const struct config *c, struct err *err)
{
    enum rc rc = migrate_check_role(c->conninfo, err);

    for (int i = 0; rc == RC_BUSY && i < 100; i++) {
        usleep(100000);
        rc = migrate_check_role(c->conninfo, err);
    }
    return rc;
}

static int serve(const struct config *c, struct err *err)
{
    struct service s = {0};
    struct http_parts parts;
    char port[16];

    raise_limits();
    curl_global_init(CURL_GLOBAL_DEFAULT);
    if (check_role(c, err) != RC_OK) {
        log_event(LOG_ERROR, "not-started", "why", err->detail, NULL);
        return 1;
    }
    s.loop = loop_new();
    take_signals(&s);
    s.workers = worker_pool_new(s.loop, 1, 64);
    s.passwords = worker_pool_new(s.loop, 1, 20);
    s.programs = worker_pool_new(s.loop, 2, 64);
    s.deliveries = worker_pool_new(s.loop, 1, 4);
    s.db = db_new(s.loop, c->conninfo, tell_database, NULL);
    parts = (struct http_parts){.config = c,
        .loop = s.loop,
        .db = s.db,
        .workers = s.workers,
        .passwords = s.passwords,
        .programs = s.programs,
        .deliveries = s.deliveries};
    if (http_server_new(&parts, &s.http, err) != RC_OK) {
        log_event(LOG_ERROR, "not-started", "why", err->detail, NULL);
        return 1;
    }
    snprintf(port, sizeof(port), "%d", c->port);
    log_event(LOG_INFO, "started", "version", LENS_VERSION, "listen", c->listen,
        "port", port, NULL);
    run(&s);
    http_server_free(s.http);
    db_free(s.db);
    loop_watch_remove(s.signals);
    loop_free(s.loop);
    close(s.signal_fd);
    curl_global_cleanup();
    log_event(LOG_INFO, "stopped", NULL);
    return 0;
}

/* ---- the other commands ----------------------------------------------- */

static void tell_file(const char *name)
{
    printf("applied %s\n", name);
}

static int migrate(const struct config *c, const char *dir, struct err *err)
{
    if (!dir)
        dir = *c->migrations_dir ? c->migrations_dir : "migrations";
    if (!*c->owner_conninfo) {
        fprintf(stderr, "lensclerkd: [database] owner_conninfo is not set\n");
        return 1;
    }
    if (migrate_run(c->owner_conninfo, dir, tell_file, err) != RC_OK) {
        fprintf(stderr, "lensclerkd: %s\n", err->detail);
        return 1;
    }
    return 0;
}

static int check_config(const struct config *c)
{
    printf("the configuration can be read; it listens on %s port %d\n",
        c->listen, c->port);
    return 0;
}

/* Takes "--name VALUE" out of argv; NULL when it isn't there. */
static const char *take_option(int *argc, char **argv, const char *name)
{
    for (int i = 1; i + 1 < *argc; i++) {
        const char *value = argv[i + 1];

        if (strcmp(argv[i], name) != 0)
            continue;
        memmove(
            &argv[i], &argv[i + 2], (size_t)(*argc - i - 1) * sizeof(*argv));
        *argc -= 2;
        return value;
    }
    return NULL;
}

static int with_config(const char *command, const struct config *c, int argc,
    char **argv, struct err *err)
{
    if (strcmp(command, "serve") == 0)
        return serve(c, err);
    if (strcmp(command, "migrate") == 0)
        return migrate(c, take_option(&argc, argv, "--migrations"), err);
    if (strcmp(command, "check-config") == 0)
        return check_config(c);
    if (strcmp(command, "network") == 0 || strcmp(command, "user") == 0 ||
        strcmp(command, "device") == 0)
        return admin_main(c, argc - 1, argv + 1);
    fputs(USAGE, stderr);
    return 2;
}

int main(int argc, char **argv)
{
    struct arena *arena;
    struct err err;
    struct config *config;
    const char *path;
    int result;

    if (argc < 2 || strcmp(argv[1], "--help") == 0) {
        fputs(USAGE, argc < 2 ? stderr : stdout);
        return argc < 2 ? 2 : 0;
    }
    if (gave_help(argc, argv))
        return 0;
    if (strcmp(argv[1], "version") == 0) {
        puts("lensclerkd " LENS_VERSION);
        return 0;
    }
    if (sodium_init() < 0)
        return 1;
    if (strcmp(argv[1], "verify") == 0)
        return verify_main(argc - 1, argv + 1);
    arena = arena_new();
    err = (struct err)ERR_INIT(arena);
    path = take_option(&argc, argv, "--config");
    if (config_load(path, &config, &err) != RC_OK) {
        fprintf(stderr, "lensclerkd: %s\n", err.detail);
        return 1;
    }
    log_set_level(config->log_level);
    result = with_config(argv[1], config, argc, argv, &err);
    config_free(config);
    arena_free(arena);
    return result;
}
