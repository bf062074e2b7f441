#include "http/reading_tray.h"

#include <string.h>

#include "base/instant.h"
#include "http/reading_answer.h"

struct tray {
    struct reading_answer *answers;
    struct match_wanted *wanted;
    size_t n;
    bool more;
};

static const char *text_of(
    struct http_req *rq, const json_t *object, const char *name)
{
    const char *s = json_string_value(json_object_get(object, name));

    return s ? arena_strdup(rq->arena, s) : NULL;
}

/* From the power, of which every digit is there. */
static void take_eye(const json_t *eye, struct record_past *past, int side)
{
    json_t *sphere = json_object_get(eye, "sphere");

    past->has[side] = json_is_number(sphere);
    if (past->has[side])
        past->eyes[side] = optics_vector_of(
            optics_power_normal((struct optics_power){json_number_value(sphere),
                json_number_value(json_object_get(eye, "cylinder")),
                json_number_value(json_object_get(eye, "axis"))}));
}

void reading_wanted(
    struct http_req *rq, const char *body, struct match_wanted *ret)
{
    const char *whole = arena_printf(rq->arena, "{%s}", body);
    json_auto_t *json = json_loads(whole, JSON_ALLOW_NUL, NULL);
    const json_t *sent = json_object_get(json, "patient_as_sent");
    struct record_past *past = &ret->past;
    const char *taken;
    int offset_min;

    ret->said = (struct record_known){
        .record_number = text_of(rq, sent, "record_number"),
        .family = text_of(rq, sent, "family"),
        .given = text_of(rq, sent, "given"),
        .born = text_of(rq, sent, "born")};
    past->kind = text_of(rq, json, "kind");
    past->condition_key = text_of(rq, json, "condition_key");
    taken = json_string_value(json_object_get(json, "taken_at"));
    if (taken)
        instant_parse(taken, &ret->at_us, &offset_min);
    past->at_us = ret->at_us;
    take_eye(json_object_get(json, "right"), past, 0);
    take_eye(json_object_get(json, "left"), past, 1);
    ret->refracted = (past->has[0] || past->has[1]) &&
                     strcmp(past->kind, "over-refraction") != 0;
}

static enum rc tray_ranked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct tray *tray = rq->state;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    (void)reply;
    (void)err;
    json_out_object(&o, NULL);
    json_out_array(&o, "items");
    for (size_t i = 0; i < tray->n; i++) {
        TEXT_AUTO members = {0};
        struct json_out more = JSON_OUT(&members);

        match_write(&more, &tray->wanted[i]);
        tray->answers[i].more = members.data;
        reading_answer_write(&o, &tray->answers[i]);
        for (size_t k = 0; k < tray->wanted[i].n; k++)
            http_viewed(rq, "patient", tray->wanted[i].found[k]->person.id,
                tray->wanted[i].found[k]->person.id);
    }
    http_list_end(rq, &o, tray->more ? tray->answers[tray->n - 1].id : NULL);
    return http_reply_json(rq, 200, &body);
}

static void take_row(struct http_req *rq, struct tray *tray,
    const struct db_rows *rows, size_t i)
{
    struct reading_answer *a = &tray->answers[i];
    struct match_wanted *w = &tray->wanted[i];

    *a = reading_answer_of(rows, i);
    a->id = arena_strdup(rq->arena, a->id);
    a->matched = arena_strdup(rq->arena, a->matched);
    a->body = arena_strdup(rq->arena, a->body);
    w->on_record = RECORD_ON_RECORD;
    w->clinic_id = http_kept(rq, rows, i, 7);
    reading_wanted(rq, a->body, w);
}

static enum rc tray_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const int *limit = rq->state;
    const struct db_rows *rows = reply->rows[0];
    struct tray *tray = arena_calloc(rq->arena, 1, sizeof(*tray));

    (void)err;
    tray->n = db_rows_count(rows);
    tray->more = tray->n > (size_t)*limit;
    if (tray->more)
        tray->n = (size_t)*limit;
    tray->answers =
        arena_calloc(rq->arena, tray->n + 1, sizeof(*tray->answers));
    tray->wanted = arena_calloc(rq->arena, tray->n + 1, sizeof(*tray->wanted));
    for (size_t i = 0; i < tray->n; i++)
        take_row(rq, tray, rows, i);
    rq->state = tray;
    if (tray->n == 0)
        return tray_ranked(rq, NULL, NULL);
    return match_find(rq, tray->wanted, tray->n, tray_ranked);
}

enum rc reading_tray(struct http_req *rq, int limit, const char *after)
{
    int *kept = arena_alloc(rq->arena, sizeof(*kept));
    struct db_call *call = db_call_new(rq->arena, &DB_READING_TRAY);

    *kept = limit;
    rq->state = kept;
    db_put_text(call, after);
    db_put_int(call, limit + 1);
    return http_read(rq, &call, 1, tray_read);
}
