/* http/audit.c - who saw or changed what. */
#include <string.h>

#include "base/instant.h"
#include "http/handlers.h"
#include "http/shape.h"

#define HOUR_US INT64_C(3600000000)
#define FIRST_US INT64_C(0)               /* ids tell times from 1970 on */
#define LAST_US INT64_C(7258118400000000) /* 2200-01-01 */

struct asking {
    const char *patient, *subject, *user;
    int64_t from_us, to_us;
    int limit;
    const char *below, *least; /* ids */
};

/* A row is at most an hour older or newer than its id tells. */
static const char *id_at(struct http_req *rq, int64_t us, bool last)
{
    struct uuid id = {{0}};
    int64_t ms;

    us += last ? HOUR_US : -HOUR_US;
    ms = us > 0 ? us / 1000 : 0;
    for (int i = 0; i < 6; i++)
        id.bytes[i] = (uint8_t)(ms >> (40 - 8 * i));
    for (int i = 6; last && i < 16; i++)
        id.bytes[i] = 0xff;
    return uuid_text(id, arena_alloc(rq->arena, UUID_TEXT_SIZE));
}

static enum rc read_time(
    struct http_req *rq, const char *name, int64_t *us, struct err *err)
{
    const char *text = http_query(rq, name);
    int offset;

    if (!text || instant_parse(text, us, &offset))
        return RC_OK;
    return err_set(err, RC_INVALID, arena_printf(rq->arena, "/%s", name),
        "%s must be a time with an offset, as 2026-03-02T09:14:05Z, not \"%s\"",
        name, text);
}

static enum rc read_asking(
    struct http_req *rq, struct asking *a, struct err *err)
{
    const char *newest;

    a->from_us = FIRST_US;
    a->to_us = LAST_US;
    TRY(shape_page(rq, &a->limit, &a->below, err));
    TRY(shape_query_id(rq, "patient", &a->patient, err));
    TRY(shape_query_id(rq, "subject", &a->subject, err));
    TRY(shape_query_id(rq, "user", &a->user, err));
    TRY(read_time(rq, "from", &a->from_us, err));
    TRY(read_time(rq, "to", &a->to_us, err));
    newest = id_at(rq, a->to_us, true);
    if (strcmp(newest, a->below) < 0)
        a->below = newest;
    a->least = id_at(rq, a->from_us, false);
    return RC_OK;
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    const char *detail = db_rows_text(rows, row, 12);
    char at[INSTANT_TEXT_MAX];

    (void)rq;
    json_out_text(o, "id", db_rows_text(rows, row, 0));
    json_out_text(o, "at", instant_text(db_rows_int(rows, row, 1), 0, at));
    shape_text(o, "user", db_rows_text(rows, row, 2));
    shape_text(o, "user_display", db_rows_text(rows, row, 3));
    shape_text(o, "device", db_rows_text(rows, row, 4));
    shape_text(o, "device_name", db_rows_text(rows, row, 5));
    shape_text(o, "token", db_rows_text(rows, row, 6));
    json_out_text(o, "action", db_rows_text(rows, row, 7));
    json_out_text(o, "subject_kind", db_rows_text(rows, row, 8));
    json_out_text(o, "subject", db_rows_text(rows, row, 9));
    shape_text(o, "patient", db_rows_text(rows, row, 10));
    json_out_text(o, "request", db_rows_text(rows, row, 11));
    if (detail)
        json_out_raw(o, "detail", detail, strlen(detail));
}

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct asking *a = rq->state;
    const struct db_rows *rows = reply->rows[0];

    (void)err;
    if (a->patient && db_rows_count(rows) > 0)
        http_viewed(rq, "audit", a->patient, a->patient);
    return shape_list(rq, rows, a->limit, false, write_item);
}

static const struct db_stmt *stmt_for(const struct asking *a)
{
    if (a->patient)
        return &DB_AUDIT_LIST_PATIENT;
    if (a->subject)
        return &DB_AUDIT_LIST_SUBJECT;
    return a->user ? &DB_AUDIT_LIST_USER : &DB_AUDIT_LIST;
}

/* GET /v1/audit */
enum rc http_audit_list(struct http_req *rq, struct err *err)
{
    struct asking *a = arena_calloc(rq->arena, 1, sizeof(*a));
    struct db_call *call;

    TRY(read_asking(rq, a, err));
    rq->state = a;
    call = db_call_new(rq->arena, stmt_for(a));
    db_put_text(call, a->below);
    db_put_text(call, a->least);
    db_put_time(call, a->to_us);
    db_put_time(call, a->from_us);
    db_put_int(call, a->limit + 1);
    db_put_text(call, a->patient);
    db_put_text(call, a->subject);
    db_put_text(call, a->user);
    return http_read_slow(rq, &call, 1, listed);
}
