/* http/server.c - libmicrohttpd in our loop. */
#include "http/server.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netdb.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <unistd.h>

#include "base/instant.h"
#include "base/log.h"
#include "http/inside.h"

#define CONNECTIONS_MAX 8000
/* Of a connection's request line and headers (431, 414 beyond), and twice a
 * block of its body.  2,000 that are open and idle take 79 MB with
 * libmicrohttpd's own 32768, 47 MB with this. */
#define CONNECTION_BYTES 16384
/* From the connection to its first request line, from a request line to the
 * body's last byte, and between two requests. */
#define FIRST_US INT64_C(30000000)
#define UPLOAD_US INT64_C(60000000)
#define QUIET_US INT64_C(120000000)

/* Only inactivity is limited by libmicrohttpd; who sends a byte now and then
 * would stay for ever. */
struct watched {
    struct watched *next, **back;
    int fd;
    int64_t since_us;
    bool fresh;             /* no request was begun yet */
    struct http_life *life; /* the request at work, or NULL */
};

/* ---- libmicrohttpd's callbacks ---------------------------------------- */

static void *on_uri(void *cls, const char *uri, struct MHD_Connection *con)
{
    struct http_server *srv = cls;
    struct http_life *life = life_new(srv, uri, con);
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(con, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    struct watched *w = info ? info->socket_context : NULL;

    if (w) {
        w->life = life;
        life->watched = w;
        w->fresh = false;
        w->since_us = life->rq.now_us;
    }
    return life;
}

static enum MHD_Result on_request(void *cls, struct MHD_Connection *con,
    const char *url, const char *method, const char *version,
    const char *upload, size_t *upload_len, void **con_cls)
{
    struct http_life *life = *con_cls;

    (void)cls;
    (void)con;
    (void)url;
    (void)version;
    if (life->state == LIFE_READY && !*upload_len)
        return reply_send(life);
    if (!life->method) {
        if (life_headers(life, method))
            return MHD_YES;
        return reply_send(life);
    }
    if (life->by_lines) {
        bool body = *upload_len > 0;

        intake_step(life, upload, upload_len);
        return life->state == LIFE_READY && !body ? reply_send(life) : MHD_YES;
    }
    if (*upload_len) {
        life_body(life, upload, *upload_len);
        *upload_len = 0;
        return MHD_YES;
    }
    life_run(life);
    if (life->state == LIFE_READY)
        return reply_send(life);
    life->suspended = true;
    MHD_suspend_connection(life->con);
    return MHD_YES;
}

static void log_request(struct http_life *life)
{
    struct json_out o = JSON_OUT(&life->srv->log);
    const struct http_req *rq = &life->rq;
    char at[INSTANT_TEXT_MAX];
    int64_t took = instant_now_us() - rq->now_us;

    life->srv->counts.requests[life->status / 100 % 6]++;
    if (!life->listener)
        life->srv->counts.seconds_us += (uint64_t)took;
    if (life->srv->parts.config->log_level > LOG_INFO && life->status < 500)
        return;
    json_out_object(&o, NULL);
    json_out_text(&o, "at", instant_text(rq->now_us, 0, at));
    json_out_text(&o, "level", life->status >= 500 ? "error" : "info");
    json_out_text(&o, "event", "request");
    json_out_text(&o, "request", rq->id);
    json_out_text(&o, "method", life->method ? life->method : "");
    json_out_text(&o, "route", rq->route ? rq->route->path : "");
    json_out_int(&o, "status", life->status);
    json_out_int(&o, "us", took);
    if (*rq->who.db.network_id)
        json_out_text(&o, "network", rq->who.db.network_id);
    if (*rq->who.owner_id)
        json_out_text(&o, "owner", rq->who.owner_id);
    if (life->fault)
        json_out_text(&o, "fault", life->fault);
    json_out_object_end(&o);
    text_putc(&life->srv->log, '\n');
}

static void on_completed(void *cls, struct MHD_Connection *con, void **con_cls,
    enum MHD_RequestTerminationCode why)
{
    struct http_life *life = *con_cls;
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(con, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    struct watched *w = info ? info->socket_context : NULL;

    (void)cls;
    (void)why;
    if (w) {
        w->life = NULL;
        w->since_us = instant_now_us();
    }
    if (!life)
        return;
    log_request(life);
    life->gone = true;
    if (!life->holds)
        life_free(life);
    *con_cls = NULL;
}

static void on_connection(void *cls, struct MHD_Connection *con,
    void **socket_context, enum MHD_ConnectionNotificationCode what)
{
    struct http_server *srv = cls;
    struct watched *w = *socket_context;

    if (what == MHD_CONNECTION_NOTIFY_STARTED) {
        const union MHD_ConnectionInfo *info =
            MHD_get_connection_info(con, MHD_CONNECTION_INFO_CONNECTION_FD);

        w = xcalloc(1, sizeof(*w));
        w->fd = info->connect_fd;
        w->fresh = true;
        w->since_us = instant_now_us();
        w->next = srv->connections;
        w->back = &srv->connections;
        if (w->next)
            w->next->back = &w->next;
        srv->connections = w;
        srv->n_connections++;
        *socket_context = w;
        return;
    }
    *w->back = w->next;
    if (w->next)
        w->next->back = w->back;
    srv->n_connections--;
    free(w);
}

/* ---- deadlines -------------------------------------------------------- */

void server_moved(struct http_life *life)
{
    if (life->watched)
        life->watched->since_us = instant_now_us();
}

static void watch_connections(struct http_server *srv)
{
    int64_t now = instant_now_us();

    for (struct watched *w = srv->connections; w; w = w->next) {
        bool reading = w->life && (w->life->state == LIFE_READING ||
                                      w->life->state == LIFE_TAKING ||
                                      w->life->state == LIFE_READY);
        bool waiting =
            w->life && w->life->suspended && w->life->state != LIFE_SENT;
        int64_t most = w->fresh ? FIRST_US : reading ? UPLOAD_US : QUIET_US;

        /* Only shut down: the descriptor is libmicrohttpd's to close. */
        if (!waiting && now - w->since_us > most)
            shutdown(w->fd, SHUT_RDWR);
    }
}

static void every_second(void *arg)
{
    struct http_server *srv = arg;

    watch_connections(srv);
    token_poll(srv->tokens);
}

static void every_half_minute(void *arg)
{
    struct http_server *srv = arg;

    view_tick(srv->views, false);
}

static void every_hour(void *arg)
{
    key_forget_old(arg);
}

/* ---- start and stop --------------------------------------------------- */

static enum rc listen_on(
    const char *address, int port, int *ret_fd, struct err *err)
{
    struct addrinfo hints = {
        .ai_socktype = SOCK_STREAM, .ai_flags = AI_NUMERICHOST | AI_PASSIVE};
    struct addrinfo *found;
    char service[8];
    int fd, one = 1;

    snprintf(service, sizeof(service), "%d", port);
    if (getaddrinfo(address, service, &hints, &found) != 0)
        return err_set(err, RC_INVALID, NULL,
            "[server] listen must be an IP address, not \"%s\"", address);
    fd =
        socket(found->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof(one));
    if (bind(fd, found->ai_addr, found->ai_addrlen) || listen(fd, 1024)) {
        int why = errno;

        close(fd);
        freeaddrinfo(found);
        return err_set(err, RC_INVALID, NULL, "can't listen on %s port %d: %s",
            address, port, strerror(why));
    }
    freeaddrinfo(found);
    *ret_fd = fd;
    return RC_OK;
}

static void on_ready(void *arg, uint32_t events)
{
    (void)arg; /* the turn that follows runs libmicrohttpd */
    (void)events;
}

static struct loop_watch *watch_daemon(
    struct loop *loop, struct MHD_Daemon *mhd)
{
    const union MHD_DaemonInfo *info =
        MHD_get_daemon_info(mhd, MHD_DAEMON_INFO_EPOLL_FD);

    return loop_watch_add(loop, info->epoll_fd, EPOLLIN, on_ready, NULL);
}

static char *read_file(const char *path, struct err *err)
{
    FILE *f = fopen(path, "re");
    struct text t = {0};
    char buf[4096];
    size_t n;

    if (!f) {
        err_set(
            err, RC_INVALID, NULL, "can't read %s: %s", path, strerror(errno));
        return NULL;
    }
    while ((n = fread(buf, 1, sizeof(buf), f)) > 0)
        text_put(&t, buf, n);
    fclose(f);
    return text_take(&t, NULL);
}

/* Measured with a scanner: only TLS 1.2 and 1.3 with AEAD ciphers are left. */
#define TLS_PRIORITIES                                                         \
    "SECURE128:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2:-RSA:-SHA1:"                \
    "-AES-128-CBC:-AES-256-CBC:-CAMELLIA-256-CBC:-CAMELLIA-128-CBC:"           \
    "-AES-128-CCM:-AES-256-CCM:%SERVER_PRECEDENCE"

static enum rc start_mhd(struct http_server *srv, int fd, struct err *err)
{
    const struct config *c = srv->parts.config;
    bool tls = *c->tls_key != '\0';
    char *key = NULL, *cert = NULL;
    struct MHD_OptionItem with_tls[] = {{MHD_OPTION_HTTPS_MEM_KEY, 0, NULL},
        {MHD_OPTION_HTTPS_MEM_CERT, 0, NULL},
        {MHD_OPTION_HTTPS_PRIORITIES, 0, (void *)(uintptr_t)TLS_PRIORITIES},
        {MHD_OPTION_END, 0, NULL}};

    if (tls && (!(key = read_file(c->tls_key, err)) ||
                   !(cert = read_file(c->tls_certificate, err)))) {
        free(key);
        return err->rc;
    }
    with_tls[0].ptr_value = key;
    with_tls[1].ptr_value = cert;
    if (!tls)
        with_tls[0].option = MHD_OPTION_END;
    srv->mhd = MHD_start_daemon(
        MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME | (tls ? MHD_USE_TLS : 0), 0,
        NULL, NULL, on_request, srv, MHD_OPTION_LISTEN_SOCKET, fd,
        MHD_OPTION_URI_LOG_CALLBACK, on_uri, srv, MHD_OPTION_NOTIFY_COMPLETED,
        on_completed, srv, MHD_OPTION_NOTIFY_CONNECTION, on_connection, srv,
        MHD_OPTION_CONNECTION_LIMIT, (unsigned)CONNECTIONS_MAX,
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)CONNECTION_BYTES,
        MHD_OPTION_CONNECTION_TIMEOUT, 120u, MHD_OPTION_STRICT_FOR_CLIENT, 1,
        MHD_OPTION_ARRAY, with_tls, MHD_OPTION_END);
    free(key);
    free(cert);
    if (!srv->mhd)
        return err_set(err, RC_INVALID, NULL,
            tls ? "can't start: is the certificate fit for its key?"
                : "can't start the HTTP server");
    return RC_OK;
}

static enum rc start_metrics(struct http_server *srv, struct err *err)
{
    int fd = -1;

    if (srv->parts.config->metrics_port < 0)
        return RC_OK;
    TRY(listen_on("127.0.0.1", srv->parts.config->metrics_port, &fd, err));
    srv->metrics =
        MHD_start_daemon(MHD_USE_EPOLL, 0, NULL, NULL, metrics_answer, srv,
            MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_CONNECTION_LIMIT, 16u,
            MHD_OPTION_CONNECTION_TIMEOUT, 10u, MHD_OPTION_END);
    if (!srv->metrics)
        return err_set(err, RC_INVALID, NULL, "can't start the metrics port");
    srv->metrics_watch = watch_daemon(srv->parts.loop, srv->metrics);
    return RC_OK;
}

enum rc http_server_new(
    const struct http_parts *parts, struct http_server **ret, struct err *err)
{
    struct http_server *srv = xcalloc(1, sizeof(*srv));
    int fd = -1;
    enum rc rc;

    srv->parts = *parts;
    srv->started_us = instant_now_us();
    route_compile();
    srv->has_root = *parts->config->key_file != '\0';
    rc = srv->has_root ? sign_root_read(parts->config->key_file, srv->root, err)
                       : RC_OK;
    if (rc == RC_OK)
        rc = listen_on(parts->config->listen, parts->config->port, &fd, err);
    if (rc == RC_OK)
        rc = start_mhd(srv, fd, err);
    if (rc == RC_OK)
        rc = start_metrics(srv, err);
    if (rc != RC_OK) {
        free(srv);
        return rc;
    }
    srv->watch = watch_daemon(parts->loop, srv->mhd);
    srv->tokens = token_table_new(srv);
    srv->views = view_table_new(srv);
    srv->events = event_table_new(srv);
    srv->deliver = deliver_new(srv);
    loop_every(parts->loop, 1000, every_second, srv);
    loop_every(parts->loop, 30000, every_half_minute, srv);
    loop_every(parts->loop, 3600000, every_hour, srv);
    *ret = srv;
    return RC_OK;
}

void http_server_free(struct http_server *srv)
{
    if (!srv)
        return;
    loop_watch_remove(srv->watch);
    loop_watch_remove(srv->metrics_watch);
    MHD_stop_daemon(srv->mhd);
    if (srv->metrics)
        MHD_stop_daemon(srv->metrics);
    token_table_free(srv->tokens);
    view_table_free(srv->views);
    event_table_free(srv->events);
    deliver_free(srv->deliver);
    if (srv->log.len)
        fwrite(srv->log.data, 1, srv->log.len, stderr);
    text_free(&srv->log);
    free(srv);
}

/* ---- a turn ----------------------------------------------------------- */

static void resume_ready(struct http_server *srv)
{
    while (srv->ready) {
        struct http_life *life = srv->ready;

        srv->ready = life->next_ready;
        life->suspended = life->resuming = false;
        if (life->state == LIFE_TAKING)
            server_moved(life);           /* the pause was ours */
        MHD_resume_connection(life->con); /* life may be gone after this */
    }
}

void http_server_turn(struct http_server *srv)
{
    resume_ready(srv);
    MHD_run(srv->mhd);
    if (srv->metrics)
        MHD_run(srv->metrics);
    if (srv->log.len) {
        fwrite(srv->log.data, 1, srv->log.len, stderr);
        srv->log.len = 0;
    }
}

int http_server_wait_ms(struct http_server *srv)
{
    MHD_UNSIGNED_LONG_LONG ms;

    if (srv->ready)
        return 0;
    if (MHD_get_timeout(srv->mhd, &ms) != MHD_YES)
        return -1;
    return ms > 1000 ? 1000 : (int)ms;
}

void http_server_drain(struct http_server *srv)
{
    MHD_socket fd;

    if (srv->draining)
        return;
    srv->draining = true;
    event_table_drain(srv->events);
    fd = MHD_quiesce_daemon(srv->mhd);
    if (fd != MHD_INVALID_SOCKET)
        close(fd);
}

bool http_server_idle(struct http_server *srv)
{
    if (srv->n_lives == 0)
        view_tick(srv->views, true); /* what was only counted is written */
    return srv->n_lives == 0 && db_busy(srv->parts.db) == 0;
}
