/* http/metrics.c - counts for a Prometheus scraper, on a port of its own. */
#include <string.h>

#include "base/instant.h"
#include "http/inside.h"

static void gauge(
    struct text *t, const char *name, const char *help, uint64_t value)
{
    text_printf(t, "# HELP lensclerk_%s %s\n# TYPE lensclerk_%s gauge\n", name,
        help, name);
    text_printf(t, "lensclerk_%s %llu\n", name, (unsigned long long)value);
}

static void write_metrics(struct http_server *srv, struct text *t)
{
    text_puts(t, "# HELP lensclerk_requests_total Requests answered.\n"
                 "# TYPE lensclerk_requests_total counter\n");
    for (int i = 2; i <= 5; i++)
        text_printf(t, "lensclerk_requests_total{status=\"%dxx\"} %llu\n", i,
            (unsigned long long)srv->counts.requests[i]);
    text_printf(t,
        "# HELP lensclerk_request_seconds_total Time spent on requests.\n"
        "# TYPE lensclerk_request_seconds_total counter\n"
        "lensclerk_request_seconds_total %llu.%06llu\n",
        (unsigned long long)(srv->counts.seconds_us / 1000000),
        (unsigned long long)(srv->counts.seconds_us % 1000000));
    text_printf(t,
        "# HELP lensclerk_readings_stored_total Readings stored.\n"
        "# TYPE lensclerk_readings_stored_total counter\n"
        "lensclerk_readings_stored_total %llu\n",
        (unsigned long long)srv->counts.readings);
    gauge(t, "connections", "Open connections.", srv->n_connections);
    gauge(t, "requests_active", "Requests at work.", srv->n_lives);
    gauge(t, "database_waiting", "Requests at the database.",
        db_busy(srv->parts.db));
    gauge(t, "database_up", "1 when the database answers.",
        db_ready(srv->parts.db));
    gauge(t, "uptime_seconds", "Seconds since the start.",
        (uint64_t)((instant_now_us() - srv->started_us) / 1000000));
}

enum MHD_Result metrics_answer(void *cls, struct MHD_Connection *con,
    const char *url, const char *method, const char *version,
    const char *upload, size_t *upload_len, void **con_cls)
{
    static int seen;
    struct MHD_Response *response;
    struct text t = {0};
    enum MHD_Result result;
    bool found = strcmp(url, "/metrics") == 0 && strcmp(method, "GET") == 0;
    size_t len;
    char *bytes;

    (void)version;
    (void)upload;
    if (!*con_cls) {
        *con_cls = &seen;
        return MHD_YES;
    }
    if (*upload_len) {
        *upload_len = 0;
        return MHD_YES;
    }
    if (found)
        write_metrics(cls, &t);
    else
        text_puts(&t, "only GET /metrics is here\n");
    bytes = text_take(&t, &len);
    response =
        MHD_create_response_from_buffer(len, bytes, MHD_RESPMEM_MUST_FREE);
    if (!response)
        return MHD_NO;
    MHD_add_response_header(
        response, "Content-Type", "text/plain; version=0.0.4");
    result = MHD_queue_response(con, found ? 200 : 404, response);
    MHD_destroy_response(response);
    return result;
}
