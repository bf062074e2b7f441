/*
 * http/readings_in.c - POST /v1/readings and its preview.
 *
 * One reading or an array (all or nothing); lines, which stand alone, are
 * taken in by lines.c.  What arrived is kept beside what it was normalized to.
 */
#include <string.h>

#include "db/append.h"
#include "http/dicom_unpack.h"
#include "http/handlers.h"
#include "http/inside.h"
#include "http/lines.h"
#include "http/profile_find.h"
#include "http/reading_answer.h"
#include "http/reading_row.h"
#include "instruments/format.h"
#include "instruments/native_lines.h"

#define INLINE_MOST 32768 /* bytes; takes a millisecond or so */

struct ingest {
    http_next *next;          /* once the body was read */
    struct profile_used used; /* by ?profile=, or none */
    bool array;
    struct db_readings *unit;
    int64_t version; /* of one that stood there already; 0: it is new */
};

/* ---- reading the body ------------------------------------------------- */

/* A DICOM file is one, and may begin with any byte. */
static bool is_file(const struct http_req *rq)
{
    return strcmp(rq->media, "application/dicom") == 0;
}

/* A bundle may hold any number, so that the answer is a list. */
static bool is_fhir(const struct http_req *rq)
{
    return strcmp(rq->media, "application/fhir+json") == 0;
}

static bool body_is_array(const struct http_req *rq)
{
    size_t blank = strspn(rq->body, " \t\r\n");

    return rq->body[blank] == '[' && !is_file(rq);
}

/* What a profile makes of a payload is a list, however long. */
static enum rc read_profiled(struct http_req *rq, struct ingest *in,
    const struct instruments_input *input, struct err *err)
{
    struct instruments_readings found = {0};

    TRY(profile_decode(in->used.profile, input, &found, err));
    in->array = true;
    in->unit = reading_unit_of(rq, &found, in->used.format);
    return RC_OK;
}

static enum rc read_body(
    struct http_req *rq, struct ingest *in, struct err *err)
{
    const struct instruments_format *format = instruments_format_of(rq->media);
    struct instruments_input input = {.bytes = rq->body, .len = rq->body_len};
    struct instruments_readings found = {0};

    input.zone = reading_zone(rq);
    input.unpack = http_dicom_unpack;
    if (in->used.profile)
        return read_profiled(rq, in, &input, err);
    TRY(format->decode(&input, &found, err));
    in->array = body_is_array(rq) || is_fhir(rq);
    in->unit = reading_unit_of(rq, &found, format->name);
    return RC_OK;
}

/* ---- answering -------------------------------------------------------- */

static struct reading_answer answer_of(const struct db_reading *row)
{
    return (struct reading_answer){.id = row->stored_id,
        .patient_id = row->patient_id,
        .matched = row->matched,
        .body = row->body};
}

static enum rc answer_whole(struct http_req *rq, const struct ingest *in)
{
    const struct db_readings *unit = in->unit;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    if (in->array)
        json_out_array(&o, NULL);
    for (size_t i = 0; i < unit->n; i++) {
        struct reading_answer a = answer_of(&unit->rows[i]);

        reading_answer_write(&o, &a);
    }
    if (in->array) {
        json_out_array_end(&o);
    } else {
        http_etag(rq, in->version ? in->version : 1, NULL);
        http_location(rq, "/v1/readings/%s", unit->rows->stored_id);
    }
    return http_reply_json(rq, reading_unit_status(unit), &body);
}

/* What stood there already is answered as it stands. */
static enum rc read_back(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct ingest *in = rq->state;
    struct db_readings *unit = in->unit;
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
    struct db_readings *unit = in->unit;
    struct db_call **calls = arena_calloc(rq->arena, unit->n, sizeof(*calls));
    size_t n = 0;

    (void)reply;
    TRY(reading_unit_fault(unit, err));
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

/* Long bodies, and any by a profile, are read in a worker, so that they hold
 * nobody up. */
static void read_in_worker(struct http_req *rq)
{
    (void)read_body(rq, rq->state, &rq->life->err);
}

static enum rc read_now(struct http_req *rq, struct err *err)
{
    struct ingest *in = rq->state;

    if (is_file(rq))
        return http_program_work(rq, read_in_worker, in->next);
    if (rq->body_len > INLINE_MOST || in->used.profile)
        return http_work(rq, read_in_worker, in->next);
    TRY(read_body(rq, in, err));
    return in->next(rq, NULL, err);
}

static enum rc profile_known(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct ingest *in = rq->state;

    TRY(profile_found(rq, reply, &in->used, err));
    return read_now(rq, err);
}

static enum rc with_body(struct http_req *rq, http_next *next, struct err *err)
{
    struct ingest *in = arena_calloc(rq->arena, 1, sizeof(*in));

    rq->state = in;
    in->next = next;
    if (http_query(rq, "profile") || profile_needed(rq->media))
        return profile_ask(rq, profile_known, err);
    if (!instruments_format_of(rq->media))
        return err_set(err, RC_MEDIA_TYPE, NULL,
            "readings come as application/json, application/x-ndjson, "
            "application/dicom+json, application/dicom or "
            "application/fhir+json, and with ?profile= as text, XML or JSON "
            "of any shape, not \"%s\"",
            rq->media);
    return read_now(rq, err);
}

static enum rc body_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct ingest *in = rq->state;

    (void)reply;
    if (err->rc != RC_OK)
        return err->rc;
    return http_append(rq, in->unit, 1, whole_stored);
}

static enum rc take_rows(struct http_req *rq, const struct db_reply *reply,
    bool preview, struct err *err)
{
    struct profile_used used;
    struct lines_source source = {0};

    TRY(profile_found(rq, reply, &used, err));
    source.rows = profile_rows_new(used.profile, reading_zone(rq));
    source.format = used.format;
    return http_lines(rq, source, preview);
}

static enum rc store_rows(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return take_rows(rq, reply, false, err);
}

static enum rc preview_rows(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return take_rows(rq, reply, true, err);
}

static enum rc take_lines(struct http_req *rq, bool preview, struct err *err)
{
    struct lines_source source = {.format = "native"};

    if (http_query(rq, "profile") || profile_needed(rq->media))
        return profile_ask(rq, preview ? preview_rows : store_rows, err);
    source.native = native_lines_new();
    return http_lines(rq, source, preview);
}

/* POST /v1/readings */
enum rc http_readings_post(struct http_req *rq, struct err *err)
{
    if (rq->life->by_lines)
        return take_lines(rq, false, err);
    return with_body(rq, body_read, err);
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
    if (in->array)
        json_out_array(&o, NULL);
    for (size_t i = 0; i < in->unit->n; i++) {
        struct reading_answer a = {.body = in->unit->rows[i].body};

        reading_answer_write(&o, &a);
    }
    if (in->array)
        json_out_array_end(&o);
    return http_reply_json(rq, 200, &body);
}

/* POST /v1/readings/preview: the same, and nothing is stored. */
enum rc http_readings_preview(struct http_req *rq, struct err *err)
{
    if (rq->life->by_lines)
        return take_lines(rq, true, err);
    return with_body(rq, preview_read, err);
}
