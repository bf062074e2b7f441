/*
 * http/dicom_store.c - DICOMweb's Store Transaction (PS3.18, 10.5): instances
 * of measurements as parts of one body.
 *
 * Each instance stands or falls alone.  Part bytes are kept as they came; the
 * answer names what was stored and what was not, with every fault.
 */
#include <string.h>
#include <time.h>

#include "base/multipart.h"
#include "http/dicom_out.h"
#include "http/dicom_unpack.h"
#include "http/handlers.h"
#include "http/inside.h"
#include "http/reading_row.h"
#include "instruments/dicom_json.h"

#define DICOM "application/dicom"
#define DICOM_JSON "application/dicom+json"

/* What all files of one request may take before the rest is sent back; one
 * takes 30 ms. */
#define UNPACK_SECONDS 20

/* Failure Reason (0008,1197), as in PS3.4 (C-STORE) and PS3.18; from memory. */
enum failure {
    STORED = 0,
    NOT_SUPPORTED = 0x0122,
    NO_RESOURCES = 0xA700,
    NOT_OF_ITS_CLASS = 0xA900,
    NOT_UNDERSTOOD = 0xC000
};

struct instance {
    const char *sop_class, *sop_instance;
    enum failure failure;
    const struct err *err; /* why */
    struct db_reading *row;
};

struct store {
    const char *study; /* the only one that is taken, or NULL */
    struct instance instances[INSTRUMENTS_READINGS_MAX];
    size_t n;
    struct db_readings units[INSTRUMENTS_READINGS_MAX];
    size_t n_units;
    time_t until_s; /* monotonic */
};

/* ---- reading the parts ------------------------------------------------- */

static time_t clock_s(void)
{
    struct timespec ts;

    clock_gettime(CLOCK_MONOTONIC, &ts);
    return ts.tv_sec;
}

static struct err *new_err(struct http_req *rq)
{
    struct err *err = arena_alloc(rq->arena, sizeof(*err));

    *err = (struct err)ERR_INIT(rq->arena);
    return err;
}

static enum rc add(struct store *store, struct instance instance,
    const struct err *err, struct err *request)
{
    if (store->n == INSTRUMENTS_READINGS_MAX)
        return err_set(request, RC_INVALID, "", "holds more than %d instances",
            INSTRUMENTS_READINGS_MAX);
    instance.err = err;
    store->instances[store->n++] = instance;
    return RC_OK;
}

/* Whether an instance may be stored; its faults go to its err. */
static enum failure judge(
    const struct store *store, struct instruments_dicom_one *one)
{
    if (one->sop_class && !instruments_dicom_takes(one->sop_class))
        return NOT_SUPPORTED;
    if (one->reading && store->study && strcmp(store->study, one->study) != 0)
        err_fault(&one->err, "/0020000D/Value/0",
            "is of another study than the one that is stored to: \"%s\"",
            one->study);
    return one->err.rc == RC_OK ? STORED : NOT_OF_ITS_CLASS;
}

/* The instances of a part as rows of one unit, refused ones left out. */
static enum rc add_all(struct http_req *rq, struct store *store,
    const struct multipart_part *part, struct instruments_dicom_one *ones,
    size_t n)
{
    struct db_readings *unit = &store->units[store->n_units];
    bool file = strcmp(part->type, DICOM) == 0;
    const char *format = file ? "dicom" : "dicom-json";

    reading_unit_fill(rq, part->bytes, part->len, unit);
    unit->media_type = file ? DICOM : DICOM_JSON;
    unit->rows = arena_calloc(rq->arena, n, sizeof(*unit->rows));
    for (size_t i = 0; i < n; i++) {
        struct instance it = {.sop_class = ones[i].sop_class,
            .sop_instance = ones[i].sop_instance,
            .failure = judge(store, &ones[i])};

        if (it.failure == STORED) {
            it.row = &unit->rows[unit->n++];
            reading_row_fill(rq, ones[i].reading, format, it.row);
            it.row->part = (int)i;
        }
        TRY(add(store, it, &ones[i].err, &rq->life->err));
    }
    store->n_units += unit->n > 0;
    return RC_OK;
}

/* A part that isn't even an instance. */
static enum rc add_unreadable(
    struct http_req *rq, struct store *store, const struct err *err)
{
    struct instance it = {
        .failure = err->rc == RC_BUSY ? NO_RESOURCES : NOT_UNDERSTOOD};

    return add(store, it, err, &rq->life->err);
}

static enum rc unpack(struct store *store, const struct multipart_part *part,
    struct text *json, struct err *err)
{
    if (clock_s() >= store->until_s)
        return err_set(err, RC_BUSY, NULL,
            "the files before took too long to read; send it again");
    return http_dicom_unpack(part->bytes, part->len, json, err);
}

static enum rc read_part(
    struct http_req *rq, struct store *store, const struct multipart_part *part)
{
    struct instruments_input in = {
        .bytes = part->bytes, .len = part->len, .zone = reading_zone(rq)};
    struct instruments_dicom_one *ones;
    struct err *err = new_err(rq);
    TEXT_AUTO json = {0};
    size_t n;

    if (strcmp(part->type, DICOM) == 0) {
        if (unpack(store, part, &json, err) != RC_OK)
            return add_unreadable(rq, store, err);
        in.bytes = json.data ? json.data : "";
        in.len = json.len;
    }
    if (instruments_dicom_each(&in, &ones, &n, err) != RC_OK)
        return add_unreadable(rq, store, err);
    return add_all(rq, store, part, ones, n);
}

/* Bulk data beside the instances is passed over: nothing of a measurement is
 * kept there. */
static bool is_bulk(const char *type, const struct multipart_part *part)
{
    return strcmp(type, DICOM) != 0 && strcmp(part->type, DICOM) != 0 &&
           strcmp(part->type, DICOM_JSON) != 0;
}

static enum rc read_parts(struct http_req *rq, struct store *store,
    const char *type, struct multipart *m)
{
    struct err *err = &rq->life->err;
    struct multipart_part part;
    enum multipart_step step;
    int number = 0;

    while ((step = multipart_next(m, &part)) == MULTIPART_PART) {
        number++;
        if (is_bulk(type, &part))
            continue;
        if (part.encoded)
            return err_set(err, RC_MEDIA_TYPE, NULL,
                "part %d has a Content-Transfer-Encoding; parts come as they "
                "are",
                number);
        if (strcmp(part.type, DICOM) != 0 && strcmp(part.type, DICOM_JSON) != 0)
            return err_set(err, RC_MEDIA_TYPE, NULL,
                "part %d must be " DICOM " or " DICOM_JSON ", not \"%s\"",
                number, part.type);
        TRY(read_part(rq, store, &part));
    }
    if (step == MULTIPART_BROKEN)
        return err_set(err, RC_SYNTAX, "",
            "part %d has no end, no boundary before it or no good headers",
            number + 1);
    if (store->n == 0)
        return err_set(err, RC_SYNTAX, "", "holds no instance");
    return RC_OK;
}

static enum rc read_store(struct http_req *rq, struct store *store)
{
    const char *value = reply_header_in(rq->life, "Content-Type");
    char boundary[MULTIPART_BOUNDARY_MAX + 1], type[MULTIPART_TYPE_MAX];
    struct err *err = &rq->life->err;
    struct multipart m;

    if (!multipart_parameter(value, "type", type, sizeof(type)))
        memcpy(type, DICOM, sizeof(DICOM)); /* what its parts are says more */
    if (!multipart_parameter(value, "boundary", boundary, sizeof(boundary)) ||
        !multipart_start(&m, boundary, rq->body, rq->body_len))
        return err_set(err, RC_SYNTAX, NULL,
            "Content-Type has no good boundary: \"%s\"", value);
    store->until_s = clock_s() + UNPACK_SECONDS;
    return read_parts(rq, store, type, &m);
}

/* ---- the answer (PS3.18, Store Instances Response) --------------------- */

/* Elements of ours, in a private block: no standard one says as much. */
static void put_ours(
    struct json_out *o, const char *tag, const char *vr, const char *text)
{
    dicom_out_text(o, "00090010", "LO", "LENSCLERK");
    dicom_out_text(o, tag, vr, text);
}

static const char *why(struct http_req *rq, const struct err *err)
{
    TEXT_AUTO t = {0};

    if (!err->faults)
        return err->detail ? err->detail : "";
    for (const struct err_fault *f = err->faults; f; f = f->next)
        text_printf(&t, "%s%s%s%s", t.len ? "\n" : "", f->pointer,
            *f->pointer ? " " : "", f->detail);
    return arena_memdup(rq->arena, t.data, t.len);
}

static void put_instance(
    struct http_req *rq, struct json_out *o, const struct instance *it)
{
    json_out_object(o, NULL);
    if (it->sop_class && it->sop_instance) {
        dicom_out_text(o, "00081150", "UI", it->sop_class);
        dicom_out_text(o, "00081155", "UI", it->sop_instance);
    }
    if (it->failure == STORED) {
        dicom_out_text(o, "00081190", "UR", NULL);
        put_ours(o, "00091002", "UR",
            arena_printf(rq->arena, "/v1/readings/%s", it->row->stored_id));
    } else {
        dicom_out_int(o, "00081197", "US", it->failure);
        put_ours(o, "00091001", "UT", why(rq, it->err));
    }
    json_out_object_end(o);
}

enum list { FAILED, REFERENCED, OTHERS };

static enum list list_of(const struct instance *it)
{
    if (it->failure == STORED)
        return REFERENCED;
    return it->sop_class && it->sop_instance ? FAILED : OTHERS;
}

/* How many stand in the list. */
static size_t put_list(struct http_req *rq, struct json_out *o, enum list list)
{
    static const char *const tags[] = {"00081198", "00081199", "0008119A"};
    const struct store *store = rq->state;
    size_t n = 0;

    for (size_t i = 0; i < store->n; i++)
        n += list_of(&store->instances[i]) == list;
    if (n == 0)
        return 0;
    dicom_out_sequence(o, tags[list]);
    for (size_t i = 0; i < store->n; i++)
        if (list_of(&store->instances[i]) == list)
            put_instance(rq, o, &store->instances[i]);
    dicom_out_sequence_end(o);
    return n;
}

static enum rc answer(struct http_req *rq)
{
    const struct store *store = rq->state;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);
    size_t stored;

    json_out_object(&o, NULL);
    dicom_out_text(&o, "00081190", "UR", NULL);
    put_list(rq, &o, FAILED);
    stored = put_list(rq, &o, REFERENCED);
    put_list(rq, &o, OTHERS);
    json_out_object_end(&o);
    return http_reply_bytes(rq,
        stored == store->n ? 200
        : stored           ? 202
                           : 409,
        DICOM_JSON, &body);
}

/* ---- the handlers ------------------------------------------------------ */

static enum rc stored(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct store *store = rq->state;

    (void)reply;
    for (size_t i = 0; i < store->n_units; i++) {
        TRY(reading_unit_fault(&store->units[i], err));
        for (size_t k = 0; k < store->units[i].n; k++)
            rq->srv->counts.readings +=
                store->units[i].rows[k].outcome == DB_CREATED;
    }
    return answer(rq);
}

static enum rc parts_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct store *store = rq->state;

    (void)reply;
    if (err->rc != RC_OK)
        return err->rc;
    /* Nothing could be read now: the sender is to come again with all. */
    if (store->instances[0].failure == NO_RESOURCES)
        return err_set(
            err, RC_BUSY, NULL, "%s", store->instances[0].err->detail);
    if (store->n_units == 0)
        return answer(rq);
    return http_append(rq, store->units, store->n_units, stored);
}

static void read_in_worker(struct http_req *rq)
{
    read_store(rq, rq->state); /* life's err keeps the outcome */
}

/* POST /dicomweb/studies: instances of any study. */
enum rc http_studies_post(struct http_req *rq, struct err *err)
{
    struct store *store;

    if (strcmp(rq->media, "multipart/related") != 0)
        return err_set(err, RC_MEDIA_TYPE, NULL,
            "instances come as multipart/related with parts of " DICOM
            " or " DICOM_JSON ", not \"%s\"",
            rq->media);
    store = arena_calloc(rq->arena, 1, sizeof(*store));
    store->study = rq->ids[0];
    rq->state = store;
    return http_program_work(rq, read_in_worker, parts_read);
}

/* POST /dicomweb/studies/{study}: of this one only. */
enum rc http_study_post(struct http_req *rq, struct err *err)
{
    const char *uid = rq->ids[0];

    if (strlen(uid) > 64 || uid[strspn(uid, "0123456789.")])
        return err_set(err, RC_INVALID, "/study",
            "must be a unique identifier of digits and points: \"%.100s\"",
            uid);
    return http_studies_post(rq, err);
}
