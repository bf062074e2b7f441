/* http/reading_row.c - what is kept of a reading: its text, its figures, what
 * it says of its patient. */
#include "http/reading_row.h"

#include <string.h>

#include "base/fold.h"
#include "base/zone.h"
#include "record/caution.h"
#include "record/reading_json.h"

/* The clinic's zone, looked up only for a payload with a local time. */
static int clinic_offset(const void *name, int64_t local_us)
{
    struct zone *zone = zone_new(name);
    int offset = zone ? zone_offset_local(zone, local_us) : 0;

    zone_free(zone);
    return offset;
}

struct instruments_zone reading_zone(const struct http_req *rq)
{
    struct instruments_zone zone = {0};

    if (*rq->who.time_zone) {
        zone.offset_min = clinic_offset;
        zone.zone = rq->who.time_zone;
    }
    return zone;
}

static char *folded(struct http_req *rq, const char *name)
{
    return name ? fold_text(rq->arena, name) : NULL;
}

/* What a device's token says of it, where the payload says nothing. */
static void fill_device(struct http_req *rq, struct record_device *device)
{
    const struct http_who *who = &rq->who;

    if (device->serial || !*who->serial)
        return;
    device->serial = who->serial;
    if (!device->model && *who->model)
        device->model = who->model;
    if (!device->manufacturer && *who->maker)
        device->manufacturer = who->maker;
}

void reading_row_fill(struct http_req *rq, struct record_reading *reading,
    const char *format, struct db_reading *row)
{
    TEXT_AUTO body = {0};
    TEXT_AUTO brief = {0};

    fill_device(rq, &reading->device);
    record_reading_caution(reading, rq->now_us);
    record_reading_json(reading, &body);
    record_reading_brief(reading, &brief);
    row->reading = reading;
    memcpy(row->reading_id, http_new_id(rq), UUID_TEXT_SIZE);
    memcpy(row->audit_id, http_new_id(rq), UUID_TEXT_SIZE);
    row->condition_key = record_reading_key(reading);
    row->format = format;
    row->body = arena_memdup(rq->arena, body.data, body.len);
    row->brief = arena_memdup(rq->arena, brief.data, brief.len);
    row->family_fold = folded(rq, reading->patient.family);
    row->given_fold = folded(rq, reading->patient.given);
    record_reading_hash(reading, row->content_hash);
}

void reading_unit_fill(struct http_req *rq, const char *bytes, size_t len,
    struct db_readings *unit)
{
    memcpy(unit->token_hash, rq->who.token_hash, 32);
    unit->request_id = rq->id;
    unit->received_us = rq->now_us;
    memcpy(unit->original_id, http_new_id(rq), UUID_TEXT_SIZE);
    unit->media_type = rq->media;
    unit->bytes = bytes;
    unit->len = len;
    memcpy(unit->body_hash, rq->body_hash, 32);
}

struct db_readings *reading_unit_of(struct http_req *rq,
    const struct instruments_readings *found, const char *format)
{
    struct db_readings *unit = arena_calloc(rq->arena, 1, sizeof(*unit));

    reading_unit_fill(rq, rq->body, rq->body_len, unit);
    unit->rows = arena_calloc(rq->arena, found->n, sizeof(*unit->rows));
    unit->n = found->n;
    for (size_t i = 0; i < found->n; i++) {
        reading_row_fill(rq, found->items[i], format, &unit->rows[i]);
        unit->rows[i].part = (int)i;
        unit->rows[i].key = rq->key;
    }
    return unit;
}

int reading_unit_status(const struct db_readings *unit)
{
    int status = 200;

    for (size_t i = 0; i < unit->n; i++)
        if (unit->rows[i].first_status == 201)
            status = 201;
    return status;
}

enum rc reading_unit_fault(const struct db_readings *unit, struct err *err)
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
