/* http/readings.c - readings that are stored: one, the tray, claims. */
#include <sodium.h>
#include <string.h>

#include "http/handlers.h"
#include "http/reading_answer.h"
#include "http/reading_doubts.h"
#include "http/reading_tray.h"
#include "http/view_form.h"
#include "record/power.h"

enum rc http_cylinder_view(struct http_req *rq, bool *ret_plus, struct err *err)
{
    const char *form = http_query(rq, "cylinder");

    *ret_plus = form && strcmp(form, "plus") == 0;
    if (form && !*ret_plus && strcmp(form, "minus") != 0)
        return err_set(err, RC_INVALID, "/cylinder",
            "cylinder must be minus or plus, not \"%s\"", form);
    return RC_OK;
}

const char *http_in_form(struct http_req *rq, const char *json, bool plus)
{
    TEXT_AUTO turned = {0};

    if (!plus)
        return json;
    record_power_view(json, strlen(json), OPTICS_PLUS_CYL, &turned);
    return arena_memdup(rq->arena, turned.data, turned.len);
}

/* One reading on its way to an answer. */
struct shown {
    struct reading_answer answer;
    struct reading_doubts about;
    int64_t version;
    bool plus;
};

static enum rc show(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct shown *s = rq->state;
    const char *tag = reading_doubts_tag(rq, s->about.doubts);
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    (void)reply;
    (void)err;
    s->answer.doubts = s->about.doubts;
    s->answer.body = http_in_form(rq, s->answer.body, s->plus);
    reading_answer_write(&o, &s->answer);
    if (s->plus)
        tag = tag ? arena_printf(rq->arena, "plus.%s", tag) : "plus";
    http_etag(rq, s->version, tag);
    http_viewed(rq, "reading", s->answer.id, s->answer.patient_id);
    return http_reply_json(rq, 200, &body);
}

static struct reading_answer kept_answer(
    struct http_req *rq, const struct db_rows *rows)
{
    struct reading_answer a = reading_answer_of(rows, 0);

    a.id = arena_strdup(rq->arena, a.id);
    a.matched = arena_strdup(rq->arena, a.matched);
    a.body = arena_strdup(rq->arena, a.body);
    if (a.patient_id)
        a.patient_id = arena_strdup(rq->arena, a.patient_id);
    return a;
}

static enum rc reading_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct shown *s = arena_calloc(rq->arena, 1, sizeof(*s));

    if (db_rows_count(rows) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such reading");
    TRY(http_cylinder_view(rq, &s->plus, err));
    s->answer = kept_answer(rq, rows);
    s->version = db_rows_int(rows, 0, 2);
    s->about = (struct reading_doubts){.reading_id = s->answer.id,
        .body = s->answer.body,
        .patient_id = s->answer.patient_id};
    rq->state = s;
    return reading_doubts(rq, &s->about, show);
}

static struct db_call *get_call(struct http_req *rq)
{
    struct db_call *call = db_call_new(rq->arena, &DB_READING_GET);

    db_put_text(call, rq->ids[0]);
    return call;
}

/* GET /v1/readings/{id} */
enum rc http_reading_get(struct http_req *rq, struct err *err)
{
    struct db_call *call = get_call(rq);

    (void)err;
    return http_read(rq, &call, 1, reading_read);
}

static enum rc original_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    const char *base64;
    struct text bytes = {0};
    size_t len = 0;
    char *room;

    if (db_rows_count(rows) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such reading");
    base64 = db_rows_text(rows, 0, 1);
    room = text_space(&bytes, strlen(base64));
    if (sodium_base642bin((unsigned char *)room, strlen(base64) + 1, base64,
            strlen(base64), "\n", &len, NULL,
            sodium_base64_VARIANT_ORIGINAL) != 0) {
        text_free(&bytes);
        return err_set(err, RC_INTERNAL, NULL, "the original can't be read");
    }
    text_added(&bytes, len);
    http_viewed(rq, "reading", rq->ids[0], db_rows_text(rows, 0, 2));
    http_etag(rq, 1, NULL);
    return http_reply_bytes(rq, 200, db_rows_text(rows, 0, 0), &bytes);
}

/* GET /v1/readings/{id}/original: the bytes as they arrived. */
enum rc http_reading_original(struct http_req *rq, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_READING_ORIGINAL);

    (void)err;
    db_put_text(call, rq->ids[0]);
    return http_read(rq, &call, 1, original_read);
}

/* ---- lists ------------------------------------------------------------ */

static enum rc list_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    size_t n = db_rows_count(rows);
    const int *limit = rq->state;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);
    const char *last = NULL;

    (void)err;
    json_out_object(&o, NULL);
    json_out_array(&o, "items");
    for (size_t i = 0; i < n && i < (size_t)*limit; i++) {
        struct reading_answer a = reading_answer_of(rows, i);

        reading_answer_write(&o, &a);
        http_viewed(rq, "reading", a.id, a.patient_id);
        last = a.id;
    }
    http_list_end(rq, &o, n > (size_t)*limit ? last : NULL);
    return http_reply_json(rq, 200, &body);
}

/* GET /v1/readings: all, or ?unclaimed=true the tray; newest first. */
enum rc http_readings_get(struct http_req *rq, struct err *err)
{
    const char *tray = http_query(rq, "unclaimed"), *after;
    int *limit = arena_alloc(rq->arena, sizeof(*limit));
    char lower[UUID_TEXT_SIZE];
    struct db_call *call;
    bool yes = tray && strcmp(tray, "true") == 0;

    TRY(http_page(rq, limit, &after, err));
    if (tray && !yes && strcmp(tray, "false") != 0)
        err_fault(err, "/unclaimed", "must be true or false");
    if (after && !uuid_parse(after, strlen(after), lower))
        err_fault(err, "/after", "is no cursor of this list");
    if (err->rc != RC_OK)
        return err->rc;
    if (yes)
        return reading_tray(rq, *limit, after);
    rq->state = limit;
    call = db_call_new(rq->arena, &DB_READING_LIST);
    db_put_text(call, after);
    db_put_int(call, *limit + 1);
    return http_read(rq, &call, 1, list_read);
}

/* ---- claims ----------------------------------------------------------- */

struct claim {
    const char *patient_id; /* NULL: back to the tray */
    const char *reason;
    const char *before_id; /* whose it was */
    int64_t version;
    struct reading_answer answer;
    struct reading_doubts about; /* in the history of the new one */
};

static enum rc claim_done(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct claim *claim = rq->state;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_CONFLICT, NULL,
            "it was claimed by somebody else meanwhile, or the patient is "
            "gone");
    claim->answer.patient_id = claim->patient_id;
    claim->answer.doubts = claim->about.doubts;
    reading_answer_write(&o, &claim->answer);
    http_etag(
        rq, claim->version + 1, reading_doubts_tag(rq, claim->about.doubts));
    return http_reply_json(rq, 200, &body);
}

static void keep_answer(
    struct http_req *rq, struct claim *claim, const struct db_rows *rows)
{
    claim->version = db_rows_int(rows, 0, 2);
    claim->answer = kept_answer(rq, rows);
    claim->before_id = claim->answer.patient_id;
}

static enum rc claim_store(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct claim *claim = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_READING_CLAIM);

    (void)reply;
    (void)err;
    db_put_text(call, rq->ids[0]);
    db_put_text(call, claim->patient_id);
    db_put_int(call, claim->version);
    db_put_text(call, http_new_id(rq));
    db_put_text(call, claim->reason);
    return http_write(rq, &call, 1, claim_done);
}

static enum rc patient_looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct claim *claim = rq->state;

    if (db_rows_count(reply->rows[0]) == 0)
        return err_set(err, RC_INVALID, "/patient", "there is no such patient");
    claim->patient_id =
        arena_strdup(rq->arena, db_rows_text(reply->rows[0], 0, 0));
    claim->about = (struct reading_doubts){.reading_id = claim->answer.id,
        .body = claim->answer.body,
        .patient_id = claim->patient_id};
    return reading_doubts(rq, &claim->about, claim_store);
}

static enum rc claim_read(
    struct http_req *rq, struct claim *claim, struct err *err)
{
    static const char *const names[] = {"patient", "reason", NULL};
    struct json_in in = json_in_root(rq->json, err);
    struct json_in patient = json_in_get(in, "patient");

    json_in_object(in, names);
    if (json_in_need(patient))
        json_in_uuid(patient, &claim->patient_id);
    json_in_text(json_in_get(in, "reason"), 500, &claim->reason);
    return err->rc;
}

static enum rc claim_looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct claim *claim = rq->state;
    struct db_call *call;

    if (db_rows_count(reply->rows[0]) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such reading");
    keep_answer(rq, claim, reply->rows[0]);
    TRY(http_match(rq, claim->version, err));
    TRY(claim_read(rq, claim, err));
    call = db_call_new(rq->arena, &DB_PATIENT_EXISTS);
    db_put_text(call, claim->patient_id);
    return http_read(rq, &call, 1, patient_looked);
}

/* POST /v1/readings/{id}/claim {"patient", "reason"?}: gives or moves it. */
enum rc http_reading_claim(struct http_req *rq, struct err *err)
{
    struct db_call *call = get_call(rq);

    (void)err;
    rq->state = arena_calloc(rq->arena, 1, sizeof(struct claim));
    return http_read(rq, &call, 1, claim_looked);
}

static enum rc unclaim_looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct claim *claim = rq->state;
    struct db_call *call;

    if (db_rows_count(reply->rows[0]) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such reading");
    keep_answer(rq, claim, reply->rows[0]);
    TRY(http_match(rq, claim->version, err));
    if (!claim->before_id)
        return err_set(err, RC_CONFLICT, NULL, "nobody has claimed it");
    call = db_call_new(rq->arena, &DB_READING_UNCLAIM);
    db_put_text(call, rq->ids[0]);
    db_put_int(call, claim->version);
    db_put_text(call, http_new_id(rq));
    db_put_text(call, claim->before_id);
    db_put_null(call);
    return http_write(rq, &call, 1, claim_done);
}

/* DELETE /v1/readings/{id}/claim: back to the tray. */
enum rc http_reading_unclaim(struct http_req *rq, struct err *err)
{
    struct db_call *call = get_call(rq);

    (void)err;
    rq->state = arena_calloc(rq->arena, 1, sizeof(struct claim));
    return http_read(rq, &call, 1, unclaim_looked);
}
