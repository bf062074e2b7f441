/*
 * http/reading_side.c - the side of a lens that came without one, and whose a
 * reading was.
 *
 * Both only grow: an assignment is a row, the latest decides.
 */
#include "http/handlers.h"
#include "http/reading_answer.h"
#include "http/reading_doubts.h"
#include "http/shape.h"

#define REASON_MAX 500

/* Columns of reading_side_look beyond those of every reading. */
enum { C_SIDE = 5, C_AS_IT_CAME };

struct siding {
    struct err body; /* what is wrong with the request */
    int side;        /* 1 right, 2 left; 0: none again */
    const char *reason;
    int64_t version;
    struct reading_answer answer;
    struct reading_doubts about;
};

static enum rc sided(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct siding *s = rq->state;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    if (!db_reply_did(reply, 0))
        return shape_lost(err);
    s->answer.doubts = s->about.doubts;
    reading_answer_write(&o, &s->answer);
    http_etag(rq, s->version + 1, reading_doubts_tag(rq, s->about.doubts));
    return http_reply_json(rq, 200, &body);
}

static enum rc store(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct siding *s = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_READING_SIDE_SET);

    (void)reply;
    (void)err;
    db_put_text(call, rq->ids[0]);
    db_put_int(call, s->version);
    if (s->side)
        db_put_int(call, s->side);
    else
        db_put_null(call);
    db_put_text(call, http_new_id(rq));
    db_put_text(call, s->reason);
    return http_write(rq, &call, 1, sided);
}

/* No format has room for a lens of unknown side beside one of a known side. */
static enum rc check_lens(struct http_req *rq, const struct siding *s,
    const struct db_rows *rows, struct err *err)
{
    const char *whole =
        arena_printf(rq->arena, "{%s}", db_rows_text(rows, 0, C_AS_IT_CAME));
    json_auto_t *json = json_loads(whole, JSON_ALLOW_NUL, NULL);

    if (!json_object_get(json, "unspecified"))
        return err_set(
            err, RC_CONFLICT, NULL, "it holds no lens whose side was not told");
    if (!s->side && !db_rows_text(rows, 0, C_SIDE))
        return err_set(err, RC_CONFLICT, NULL, "nobody has assigned a side");
    return RC_OK;
}

static enum rc looked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct siding *s = rq->state;
    const struct db_rows *rows = reply->rows[0];

    if (db_rows_count(rows) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such reading");
    s->version = db_rows_int(rows, 0, 2);
    TRY(http_match(rq, s->version, err));
    if (s->body.rc != RC_OK) {
        *err = s->body;
        return err->rc;
    }
    TRY(check_lens(rq, s, rows, err));
    s->answer = (struct reading_answer){.id = rq->ids[0],
        .patient_id = http_kept(rq, rows, 0, 1),
        .matched = http_kept(rq, rows, 0, 3),
        .body = http_kept(rq, rows, 0, 4)};
    s->about = (struct reading_doubts){.reading_id = rq->ids[0],
        .body = s->answer.body,
        .patient_id = s->answer.patient_id};
    return reading_doubts(rq, &s->about, store);
}

static enum rc look(struct http_req *rq, struct siding *s)
{
    struct db_call *call = db_call_new(rq->arena, &DB_READING_SIDE_LOOK);

    rq->state = s;
    db_put_text(call, rq->ids[0]);
    if (s->side)
        db_put_int(call, s->side);
    else
        db_put_null(call);
    return http_read(rq, &call, 1, looked);
}

static struct siding *begin(struct http_req *rq)
{
    struct siding *s = arena_calloc(rq->arena, 1, sizeof(*s));

    s->body.arena = rq->arena;
    return s;
}

/* POST /v1/readings/{id}/side {"eye", "reason"?} */
enum rc http_reading_side(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {"eye", "reason", NULL};
    static const char *const eyes[] = {"right", "left", NULL};
    struct siding *s = begin(rq);
    struct json_in in = json_in_root(rq->json, &s->body);
    struct json_in eye = json_in_get(in, "eye");
    int word;

    (void)err;
    json_in_object(in, names);
    if (json_in_need(eye) && json_in_choice(eye, eyes, &word))
        s->side = word + 1;
    json_in_text(json_in_get(in, "reason"), REASON_MAX, &s->reason);
    return look(rq, s);
}

/* DELETE /v1/readings/{id}/side: nobody knows it again. */
enum rc http_reading_unside(struct http_req *rq, struct err *err)
{
    (void)err;
    return look(rq, begin(rq));
}

/* ---- claims ----------------------------------------------------------- */

static void write_claim(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t i)
{
    const char *matched = db_rows_text(rows, i, 2);
    const char *reason = db_rows_text(rows, i, 5);

    json_out_text(o, "at", http_time(rq, db_rows_int(rows, i, 0)));
    json_out_text(o, "patient", db_rows_text(rows, i, 1));
    if (matched)
        json_out_text(o, "matched", matched);
    if (db_rows_text(rows, i, 3)) {
        json_out_object(o, "by");
        json_out_text(o, "id", db_rows_text(rows, i, 3));
        json_out_text(o, "name", db_rows_text(rows, i, 4));
        json_out_object_end(o);
    }
    if (reason)
        json_out_text(o, "reason", reason);
}

static enum rc claims_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];

    if (db_rows_count(rows) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such reading");
    for (size_t i = 0; i < db_rows_count(rows); i++)
        http_viewed(rq, "reading", rq->ids[0], db_rows_text(rows, i, 1));
    return shape_list(rq, rows, (int)db_rows_count(rows), false, write_claim);
}

/* GET /v1/readings/{id}/claims: whose it was, newest first. */
enum rc http_reading_claims(struct http_req *rq, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_READING_CLAIMS);

    (void)err;
    db_put_text(call, rq->ids[0]);
    return http_read(rq, &call, 1, claims_read);
}
