#include "http/reading_doubts.h"

#include <string.h>

#include "http/match_find.h"
#include "http/reading_tray.h"
#include "optics/cornea.h"
#include "record/history_caution.h"

struct job {
    struct reading_doubts *about;
    struct record_story story;
    http_next *next;
    void *state; /* the handler's */
};

static enum rc finished(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct job *job = rq->state;

    (void)reply;
    rq->state = job->state;
    return job->next(rq, NULL, err);
}

static void doubt(struct http_req *rq)
{
    struct job *job = rq->state;
    struct record_cautions list = {.arena = rq->arena};
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    record_history_caution(&job->story, &list);
    if (!list.first)
        return;
    record_cautions_write(&o, NULL, &list);
    job->about->doubts = arena_memdup(rq->arena, t.data + 1, t.len - 2);
}

static void take_cornea(struct job *job, const struct db_rows *rows, size_t row)
{
    int eye = db_rows_int(rows, row, 0) == 2;

    if (job->story.has_cornea[eye])
        return; /* of an older reading */
    job->story.has_cornea[eye] =
        optics_cornea_astigmatism((double)db_rows_int(rows, row, 1) / 100,
            (double)db_rows_int(rows, row, 2) / 100,
            (double)db_rows_int(rows, row, 3) / 100,
            &job->story.cornea[eye]) == OPTICS_OK;
}

static enum rc history_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct job *job = rq->state;
    const struct db_rows *rows = reply->rows[0];
    size_t n = db_rows_count(rows);
    struct record_past *past = arena_calloc(rq->arena, n + 1, sizeof(*past));

    (void)err;
    for (size_t i = 0; i < n; i++)
        match_take_past(rq, rows, i, &past[i]);
    job->story.history = past;
    job->story.n = n;
    for (size_t i = 0; i < db_rows_count(reply->rows[1]); i++)
        take_cornea(job, reply->rows[1], i);
    if (db_rows_count(reply->rows[2]))
        job->story.born = http_kept(rq, reply->rows[2], 0, 5);
    return http_work(rq, doubt, finished);
}

enum rc reading_doubts(
    struct http_req *rq, struct reading_doubts *about, http_next *next)
{
    struct job *job = arena_calloc(rq->arena, 1, sizeof(*job));
    struct match_wanted wanted = {0};
    struct db_call *calls[3];

    reading_wanted(rq, about->body, &wanted);
    *job = (struct job){.about = about, .next = next, .state = rq->state};
    job->story.now = wanted.past;
    rq->state = job;
    if (!about->patient_id || !*about->patient_id || !wanted.refracted)
        return finished(rq, NULL, NULL);
    calls[0] = db_call_new(rq->arena, &DB_MATCH_REFRACTIONS);
    db_put_texts(calls[0], &about->patient_id, 1);
    db_put_text(calls[0], about->reading_id);
    calls[1] = db_call_new(rq->arena, &DB_READING_CORNEAS);
    db_put_text(calls[1], about->patient_id);
    db_put_text(calls[1], about->reading_id);
    calls[2] = db_call_new(rq->arena, &DB_PATIENT_OWN);
    db_put_text(calls[2], about->patient_id);
    return http_read(rq, calls, 3, history_read);
}

/* FNV-1a. */
const char *reading_doubts_tag(struct http_req *rq, const char *doubts)
{
    uint64_t h = UINT64_C(14695981039346656037);

    if (!doubts)
        return NULL;
    for (; *doubts; doubts++)
        h = (h ^ (uint8_t)*doubts) * UINT64_C(1099511628211);
    return arena_printf(rq->arena, "h%08x", (unsigned)(h ^ h >> 32));
}
