/*
 * http/readings_in.c - POST /v1/readings and its preview.
 *
 * One reading, an array (all or nothing) or lines (each on its own); what
 * arrived is kept beside what it was normalized to.
 */
#include <string.h>

#include "base/hash.h"
#include "db/append.h"
#include "http/handlers.h"
#include "http/inside.h"
#include "http/reading_answer.h"
#include "http/reading_row.h"
#include "instruments/format.h"
#include "instruments/native.h"

#define INLINE_MOST 32768 /* bytes; takes a millisecond or so */

enum shape { ONE, ARRAY, LINES };

/* One line of a body of lines. */
struct line {
    const char *bytes;
    size_t len;
    size_t number;  /* in the body, from 1; empty ones count */
    struct err err; /* what is wrong with it */
    int unit;       /* which unit it became, -1: none */
};

struct ingest {
    enum shape shape;
    const char *format;
    struct db_readings *units;
    size_t n_units;
    struct line *lines;
    size_t n_lines;
    int64_t version; /* of one that stood there already; 0: it is new */
};

/* The key of a line: the first that can be read has the request's own; no
 * client's key holds a line feed. */
static const char *line_key(struct http_req *rq, size_t unit)
{
    if (!rq->key || unit == 0)
        return rq->key;
    return arena_printf(rq->arena, "%s\n%zu", rq->key, unit);
}

/* ---- reading the body ------------------------------------------------- */

static bool body_is_array(const struct http_req *rq)
{
    size_t blank = strspn(rq->body, " \t\r\n");

    return rq->body[blank] == '[';
}

static enum rc read_whole(
    struct http_req *rq, struct ingest *in, struct err *err)
{
    const struct instruments_format *format = instruments_format_of(rq->media);
    struct instruments_input input = {.bytes = rq->body, .len = rq->body_len};
    struct instruments_readings found = {0};

    input.zone = reading_zone(rq);
    TRY(format->decode(&input, &found, err));
    in->shape = body_is_array(rq) ? ARRAY : ONE;
    in->format = format->name;
    in->units = reading_unit_of(rq, &found, format->name);
    in->n_units = 1;
    return RC_OK;
}

static void cut_lines(struct http_req *rq, struct ingest *in)
{
    const char *at = rq->body, *end = rq->body + rq->body_len;
    size_t room = 1, number = 0;

    for (const char *c = at; c < end; c++)
        room += *c == '\n';
    in->lines = arena_calloc(rq->arena, room, sizeof(*in->lines));
    while (at < end) {
        const char *stop = memchr(at, '\n', (size_t)(end - at));
        struct line *line = &in->lines[in->n_lines];

        if (!stop)
            stop = end;
        line->bytes = at;
        line->len = (size_t)(stop - at);
        line->number = ++number;
        in->n_lines += strspn(at, " \t\r") < line->len;
        at = stop + 1;
    }
}

static void read_line(struct http_req *rq, struct ingest *in, struct line *line)
{
    struct db_readings *unit = &in->units[in->n_units];
    struct record_reading *reading;
    json_t *json = NULL;

    line->err = (struct err)ERR_INIT(rq->arena);
    line->unit = -1;
    if (json_in_parse(line->bytes, line->len, &json, &line->err) != RC_OK)
        return;
    if (instruments_native_read(
            json_in_root(json, &line->err), &reading, &line->err) == RC_OK) {
        reading_unit_fill(rq, line->bytes, line->len, unit);
        unit->rows = arena_calloc(rq->arena, 1, sizeof(*unit->rows));
        unit->n = 1;
        reading_row_fill(rq, reading, "native", unit->rows);
        unit->rows->key = line_key(rq, in->n_units);
        line->unit = (int)in->n_units++;
    }
    json_decref(json);
}

static void read_lines(struct http_req *rq, struct ingest *in)
{
    in->shape = LINES;
    in->format = "native";
    cut_lines(rq, in);
    in->units = arena_calloc(rq->arena, in->n_lines, sizeof(*in->units));
    for (size_t i = 0; i < in->n_lines; i++)
        read_line(rq, in, &in->lines[i]);
}

static enum rc read_body(
    struct http_req *rq, struct ingest **ret, struct err *err)
{
    struct ingest *in = arena_calloc(rq->arena, 1, sizeof(*in));

    *ret = in;
    if (strcmp(rq->media, "application/x-ndjson") == 0) {
        read_lines(rq, in);
        if (in->n_lines == 0)
            return err_set(err, RC_SYNTAX, "", "the body is empty");
        return RC_OK;
    }
    if (!instruments_format_of(rq->media))
        return err_set(err, RC_MEDIA_TYPE, NULL,
            "readings come as application/json, application/x-ndjson or "
            "application/dicom+json, not \"%s\"",
            rq->media);
    return read_whole(rq, in, err);
}

/* ---- answering -------------------------------------------------------- */

static struct reading_answer answer_of(const struct db_reading *row)
{
    return (struct reading_answer){.id = row->stored_id,
        .patient_id = row->patient_id,
        .matched = row->matched,
        .body = row->body};
}

static int status_of(const struct db_readings *unit)
{
    int status = 200;

    for (size_t i = 0; i < unit->n; i++)
        if (unit->rows[i].first_status == 201)
            status = 201;
    return status;
}

static enum rc unit_fault(const struct db_readings *unit, struct err *err)
{
    if (unit->rc != RC_OK)
        return err_set(err, unit->rc, NULL, "%s", unit->detail);
    for (size_t i = 0; i < unit->n; i++) {
        if (unit->rows[i].outcome == DB_DEAD_TOKEN)
            return err_set(err, RC_UNAUTHORIZED, NULL,
                "the token is not valid any more; nothing was stored");
        if (unit->rows[i].outcome == DB_KEY_REUSED)
            return err_set(err, RC_INVALID, NULL,
                "this Idempotency-Key was used with another request");
    }
    return RC_OK;
}

static enum rc answer_whole(struct http_req *rq, const struct ingest *in)
{
    const struct db_readings *unit = in->units;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    if (in->shape == ARRAY)
        json_out_array(&o, NULL);
    for (size_t i = 0; i < unit->n; i++) {
        struct reading_answer a = answer_of(&unit->rows[i]);

        reading_answer_write(&o, &a);
    }
    if (in->shape == ARRAY) {
        json_out_array_end(&o);
    } else {
        http_etag(rq, in->version ? in->version : 1, NULL);
        http_location(rq, "/v1/readings/%s", unit->rows->stored_id);
    }
    return http_reply_json(rq, status_of(unit), &body);
}

/* What stood there already is answered as it stands. */
static enum rc read_back(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct ingest *in = rq->state;
    struct db_readings *unit = in->units;
    size_t k = 0;

    (void)err;
    for (size_t i = 0; i < unit->n; i++) {
        struct db_reading *row = &unit->rows[i];
        const struct db_rows *rows;

        if (row->outcome == DB_CREATED)
            continue;
        rows = reply->rows[k++];
        if (db_rows_count(rows) == 0)
            continue;
        row->body = arena_strdup(rq->arena, db_rows_text(rows, 0, 4));
        if (row->outcome == DB_PRESENT) {
            const char *patient = db_rows_text(rows, 0, 1);

            memset(row->patient_id, 0, sizeof(row->patient_id));
            if (patient)
                memcpy(row->patient_id, patient, UUID_TEXT_SIZE);
            in->version = db_rows_int(rows, 0, 2);
        }
    }
    return answer_whole(rq, in);
}

static enum rc whole_stored(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct ingest *in = rq->state;
    struct db_readings *unit = in->units;
    struct db_call **calls = arena_calloc(rq->arena, unit->n, sizeof(*calls));
    size_t n = 0;

    (void)reply;
    TRY(unit_fault(unit, err));
    for (size_t i = 0; i < unit->n; i++) {
        if (unit->rows[i].outcome == DB_CREATED) {
            rq->srv->counts.readings++;
            continue;
        }
        calls[n] = db_call_new(rq->arena, &DB_READING_GET);
        db_put_text(calls[n++], unit->rows[i].stored_id);
    }
    if (n == 0)
        return answer_whole(rq, in);
    return http_read(rq, calls, n, read_back);
}

static void put_errors(struct json_out *o, const struct err *err)
{
    json_out_array(o, "errors");
    if (!err->faults) {
        json_out_object(o, NULL);
        json_out_text(o, "pointer", "");
        json_out_text(o, "detail", err->detail);
        json_out_object_end(o);
    }
    for (const struct err_fault *f = err->faults; f; f = f->next) {
        json_out_object(o, NULL);
        json_out_text(o, "pointer", f->pointer);
        json_out_text(o, "detail", f->detail);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

/* 401, 422 and the others of a single one; 0 while all is well. */
static int line_status(enum rc rc)
{
    switch (rc) {
    case RC_OK:
        return 0;
    case RC_SYNTAX:
        return 400;
    case RC_UNAUTHORIZED:
        return 401;
    case RC_INVALID:
        return 422;
    case RC_BUSY:
        return 503;
    default:
        return 500;
    }
}

static void put_line(struct http_req *rq, struct json_out *o,
    const struct ingest *in, struct line *line)
{
    const struct db_readings *unit =
        line->unit < 0 ? NULL : &in->units[line->unit];
    int status;

    if (unit)
        unit_fault(unit, &line->err);
    status = line_status(line->err.rc);
    o->comma = false;
    json_out_object(o, NULL);
    json_out_int(o, "line", (int64_t)line->number);
    json_out_int(o, "status", status || !unit ? status : status_of(unit));
    if (status || !unit) {
        put_errors(o, &line->err);
    } else {
        json_out_text(o, "id", unit->rows->stored_id);
        json_out_text(o, "patient",
            *unit->rows->patient_id ? unit->rows->patient_id : NULL);
        rq->srv->counts.readings += unit->rows->outcome == DB_CREATED;
    }
    json_out_object_end(o);
    text_putc(o->to, '\n');
}

static enum rc lines_stored(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct ingest *in = rq->state;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    (void)reply;
    (void)err;
    for (size_t i = 0; i < in->n_lines; i++)
        put_line(rq, &o, in, &in->lines[i]);
    return http_reply_bytes(rq, 200, "application/x-ndjson", &body);
}

static enum rc store(struct http_req *rq, struct ingest *in)
{
    if (in->shape == LINES && in->n_units == 0)
        return lines_stored(rq, NULL, NULL);
    return http_append(rq, in->units, in->n_units,
        in->shape == LINES ? lines_stored : whole_stored);
}

/* A key that was used with another body refuses all lines before any of them
 * is stored. */
static enum rc key_looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    char hex[65];

    hash_hex(rq->body_hash, 32, hex);
    if (reply->n && db_rows_count(reply->rows[0]) &&
        strcmp(db_rows_text(reply->rows[0], 0, 0), hex) != 0)
        return err_set(err, RC_INVALID, NULL,
            "this Idempotency-Key was used with another request");
    return store(rq, rq->state);
}

/* Long bodies are read in a worker, so that they hold nobody up. */
static void read_in_worker(struct http_req *rq)
{
    struct ingest *in;

    if (read_body(rq, &in, &rq->life->err) == RC_OK)
        rq->state = in;
}

static enum rc with_body(struct http_req *rq, http_next *next, struct err *err)
{
    struct ingest *in;

    if (rq->body_len > INLINE_MOST)
        return http_work(rq, read_in_worker, next);
    TRY(read_body(rq, &in, err));
    rq->state = in;
    return next(rq, NULL, err);
}

static enum rc body_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct ingest *in = rq->state;
    struct db_call *call;

    (void)reply;
    if (err->rc != RC_OK)
        return err->rc;
    if (!rq->key || in->shape != LINES)
        return store(rq, in);
    call = db_call_new(rq->arena, &DB_ANSWER_KEPT);
    db_put_text(call, rq->who.owner_id);
    db_put_text(call, rq->key);
    return http_read(rq, &call, 1, key_looked);
}

/* POST /v1/readings */
enum rc http_readings_post(struct http_req *rq, struct err *err)
{
    return with_body(rq, body_read, err);
}

static enum rc preview_lines(struct http_req *rq, const struct ingest *in)
{
    TEXT_AUTO body = {0};

    for (size_t i = 0; i < in->n_lines; i++) {
        const struct line *line = &in->lines[i];
        struct json_out o = JSON_OUT(&body);

        json_out_object(&o, NULL);
        json_out_int(&o, "line", (int64_t)line->number);
        json_out_int(
            &o, "status", line->unit < 0 ? line_status(line->err.rc) : 200);
        if (line->unit < 0) {
            put_errors(&o, &line->err);
        } else {
            struct reading_answer a = {
                .body = in->units[line->unit].rows->body};

            o.comma = true;
            text_puts(&body, ",\"reading\":");
            o.comma = false;
            reading_answer_write(&o, &a);
        }
        json_out_object_end(&o);
        text_putc(&body, '\n');
    }
    return http_reply_bytes(rq, 200, "application/x-ndjson", &body);
}

static enum rc preview_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct ingest *in = rq->state;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    (void)reply;
    if (err->rc != RC_OK)
        return err->rc;
    if (in->shape == LINES)
        return preview_lines(rq, in);
    if (in->shape == ARRAY)
        json_out_array(&o, NULL);
    for (size_t i = 0; i < in->units->n; i++) {
        struct reading_answer a = {.body = in->units->rows[i].body};

        reading_answer_write(&o, &a);
    }
    if (in->shape == ARRAY)
        json_out_array_end(&o);
    return http_reply_json(rq, 200, &body);
}

/* POST /v1/readings/preview: the same, and nothing is stored. */
enum rc http_readings_preview(struct http_req *rq, struct err *err)
{
    return with_body(rq, preview_read, err);
}
