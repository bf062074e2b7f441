#include "http/lines.h"

#include <string.h>

#include "base/hash.h"
#include "http/inside.h"
#include "http/intake.h"
#include "http/reading_answer.h"
#include "http/reading_row.h"
#include "http/spool.h"
#include "instruments/native_lines.h"

#define RING 128         /* lines from their reading to their answer */
#define HELD_MOST 131072 /* bytes of them as they came; one may have more */
#define ROWS_MOST 256    /* readings in them; the same */
#define UNITS_MOST 32    /* of one body in the group writer: a quarter batch */
#define UNITS_LEAST 8    /* when many bodies come at once */
#define LINES_MOST 1000000
#define ANSWER_MOST (256 << 20) /* bytes */

/* A line, or the rows of a group, on its way from bytes to answer. */
struct line {
    struct lines *in;
    struct arena *arena; /* emptied once it is answered */
    size_t number, last_number;
    struct err err;
    struct db_readings unit;
    bool done;
};

struct lines {
    struct http_req *rq;
    struct http_req one; /* the same for a line at a time */
    struct lines_source source;
    bool preview;
    bool ended;   /* the body is complete */
    bool full;    /* no more lines are taken */
    bool lost;    /* the database didn't answer: the rest isn't tried */
    bool refused; /* all of it, by its key */
    bool any_key; /* the request's own was given to a line, */
    bool key_out; /* and the others wait to hear what it is worth */
    size_t held, rows, running;
    /* Lines are counted: answered <= begun <= read. */
    uint64_t answered, begun, read;
    struct line ring[RING];
    struct spool answer;
};

/* ---- a line is read --------------------------------------------------- */

/* A repeat is told by all that came up to and with its line. */
static void add_to_hash(struct lines *in, const struct profile_group *group)
{
    TEXT_AUTO all = {0};

    text_put(&all, in->one.body_hash, HASH_SIZE);
    text_put(&all, group->bytes, group->len);
    hash_bytes(all.data, all.len, in->one.body_hash);
}

/* The key of a line: the first that can be read has the request's own; no
 * client's key holds a line feed. */
static const char *key_of(struct lines *in, size_t number)
{
    if (!in->rq->key)
        return NULL;
    if (in->any_key)
        return arena_printf(in->one.arena, "%s\n%zu", in->rq->key, number);
    in->any_key = in->key_out = true;
    return in->rq->key;
}

static struct line *next_line(struct lines *in)
{
    struct line *line = &in->ring[in->read % RING];

    if (!line->arena)
        line->arena = arena_new();
    line->in = in;
    line->done = false;
    line->unit = (struct db_readings){0};
    line->err = (struct err)ERR_INIT(line->arena);
    return line;
}

static void keep_line(
    struct lines *in, struct line *line, const struct profile_group *group)
{
    struct http_req *one = &in->one;

    line->number = group->line;
    line->last_number = group->last_line;
    if (in->rq->key)
        add_to_hash(in, group);
    if (line->err.rc != RC_OK) {
        line->done = true;
        return;
    }
    one->arena = line->arena;
    one->body = arena_memdup(line->arena, group->bytes, group->len);
    one->body_len = group->len;
    one->key = key_of(in, group->line);
    line->unit = *reading_unit_of(one, &group->readings, in->source.format);
    line->done = in->preview;
    in->held += line->unit.len;
    in->rows += line->unit.n;
}

/* Neither this line nor what is behind it is read. */
static void close_lines(struct lines *in, struct line *line, size_t number)
{
    in->full = true;
    line->number = line->last_number = number;
    line->done = true;
    line->err = (struct err)ERR_INIT(line->arena);
    err_set(&line->err, RC_TOO_LARGE, "",
        "a body may have at most %d lines, and its answer %d bytes; this line "
        "and those behind it were not read",
        LINES_MOST, ANSWER_MOST);
}

static bool next_group(
    struct lines *in, struct profile_group *group, struct err *err)
{
    if (in->source.rows)
        return profile_rows_next(in->source.rows, group, err);
    return native_lines_next(in->source.native, group, err);
}

static bool has_room(const struct lines *in)
{
    return in->read - in->answered < RING && in->held < HELD_MOST &&
           in->rows < ROWS_MOST && !in->key_out;
}

/* Afterwards either there is no room or all that came was read. */
static void read_lines(struct lines *in)
{
    while (!in->full && has_room(in)) {
        struct line *line = next_line(in);
        struct profile_group group;

        if (!next_group(in, &group, &line->err))
            return;
        if (group.line > LINES_MOST || in->answer.size > ANSWER_MOST)
            close_lines(in, line, group.line);
        else
            keep_line(in, line, &group);
        in->full = in->full || group.last;
        in->read++;
    }
}

/* ---- a line is answered ----------------------------------------------- */

static void put_ids(struct json_out *o, const struct db_readings *unit)
{
    json_out_text(o, "id", unit->rows->stored_id);
    json_out_text(
        o, "patient", *unit->rows->patient_id ? unit->rows->patient_id : NULL);
    if (unit->n == 1)
        return;
    json_out_array(o, "ids");
    for (size_t i = 0; i < unit->n; i++)
        json_out_text(o, NULL, unit->rows[i].stored_id);
    json_out_array_end(o);
}

static void put_preview(struct json_out *o, const struct db_readings *unit)
{
    text_puts(o->to, unit->n > 1 ? ",\"readings\":[" : ",\"reading\":");
    o->comma = false;
    for (size_t i = 0; i < unit->n; i++) {
        struct reading_answer a = {.body = unit->rows[i].body};

        reading_answer_write(o, &a);
    }
    if (unit->n > 1)
        json_out_array_end(o);
}

static void put_line(struct lines *in, struct line *line)
{
    struct json_out o = JSON_OUT(&in->answer.text);
    const struct db_readings *unit = &line->unit;
    bool bad;

    if (unit->n && !in->preview)
        reading_unit_fault(unit, &line->err);
    bad = line->err.rc != RC_OK;
    json_out_object(&o, NULL);
    json_out_int(&o, "line", (int64_t)line->number);
    if (line->last_number > line->number)
        json_out_int(&o, "last_line", (int64_t)line->last_number);
    json_out_int(&o, "status",
        bad           ? problem_status(line->err.rc)
        : in->preview ? 200
                      : reading_unit_status(unit));
    if (bad)
        problem_faults(&o, &line->err);
    else if (in->preview)
        put_preview(&o, unit);
    else
        put_ids(&o, unit);
    json_out_object_end(&o);
    text_putc(o.to, '\n');
    spool_settle(&in->answer);
}

static void answer_lines(struct lines *in)
{
    while (in->answered < in->begun) {
        struct line *line = &in->ring[in->answered % RING];

        if (!line->done)
            return;
        put_line(in, line);
        in->held -= line->unit.len;
        in->rows -= line->unit.n;
        arena_reset(line->arena);
        in->answered++;
    }
}

static enum rc answer_all(struct lines *in)
{
    struct err *err = &in->rq->life->err;

    if (in->refused)
        return err_set(err, RC_INVALID, NULL,
            "this Idempotency-Key was used with another request");
    if (in->answered == 0)
        return err_set(err, RC_SYNTAX, "", "the body is empty");
    spool_end(&in->answer);
    if (in->answer.failed)
        return err_set(err, RC_BUSY, NULL,
            "there is no room for the answer; some was stored: send it again, "
            "a repeat does no harm");
    return http_reply_spool(in->rq, 200, "application/x-ndjson", &in->answer);
}

/* ---- between both ----------------------------------------------------- */

static void stored(void *arg, const struct db_reply *reply);

/* Who sends many lines shares each batch with the others. */
static size_t share(const struct lines *in)
{
    size_t most = UNITS_MOST / in->rq->srv->n_lines;

    return most > UNITS_LEAST ? most : UNITS_LEAST;
}

static void lose(struct line *line)
{
    line->unit.rc = RC_BUSY;
    line->unit.detail = "the database can't be reached now; nothing was stored";
    line->done = true;
}

static void begin_lines(struct lines *in)
{
    size_t most = share(in);

    while (in->begun < in->read && !http_gone(in->rq)) {
        struct line *line = &in->ring[in->begun % RING];

        if (!line->done && in->lost) {
            lose(line);
        } else if (!line->done) {
            if (in->running && in->running + line->unit.n > most)
                return;
            in->running += line->unit.n;
            http_hold(in->rq);
            db_append_readings(
                in->rq->srv->parts.db, &line->unit, stored, line);
        }
        in->begun++;
    }
}

static void go_on(struct lines *in)
{
    uint64_t before;

    do {
        before = in->answered;
        read_lines(in);
        begin_lines(in);
        answer_lines(in);
    } while (in->answered > before);
}

static bool all_answered(const struct lines *in)
{
    return in->ended && in->answered == in->read;
}

static void note_outcome(struct lines *in, const struct line *line)
{
    const struct db_readings *unit = &line->unit;

    in->running -= unit->n;
    in->lost = in->lost || unit->rc == RC_BUSY;
    for (size_t i = 0; unit->rc == RC_OK && i < unit->n; i++)
        in->rq->srv->counts.readings += unit->rows[i].outcome == DB_CREATED;
    if (!in->key_out)
        return;
    in->key_out = false;
    in->refused = unit->rc == RC_OK && unit->rows->outcome == DB_KEY_REUSED;
}

static void stored(void *arg, const struct db_reply *reply)
{
    struct line *line = arg;
    struct lines *in = line->in;
    struct http_req *rq = in->rq;

    if (reply->server && !rq->life->fault)
        rq->life->fault = arena_strdup(rq->arena, reply->server);
    line->done = true;
    note_outcome(in, line);
    if (!in->refused)
        go_on(in);
    if (in->refused || all_answered(in))
        http_done(rq, answer_all(in));
    else if (has_room(in))
        http_more(rq);
    http_let_go(rq);
}

/* ---- the engine's side ------------------------------------------------ */

static size_t take(struct http_req *rq, const char *bytes, size_t len)
{
    struct lines *in = rq->state;

    if (in->full)
        return len;
    if (!has_room(in))
        return 0;
    if (in->source.rows)
        profile_rows_add(in->source.rows, bytes, len);
    else
        native_lines_add(in->source.native, bytes, len);
    go_on(in);
    return len;
}

static enum rc end(struct http_req *rq)
{
    struct lines *in = rq->state;

    in->ended = true;
    if (in->source.rows)
        profile_rows_end(in->source.rows);
    else
        native_lines_end(in->source.native);
    go_on(in);
    return all_answered(in) ? answer_all(in) : http_wait(rq);
}

static void drop(struct http_req *rq)
{
    struct lines *in = rq->state;

    rq->srv->n_lines--;
    for (size_t i = 0; i < RING; i++)
        arena_free(in->ring[i].arena);
    profile_rows_free(in->source.rows);
    native_lines_free(in->source.native);
    spool_free(&in->answer);
}

enum rc http_lines(
    struct http_req *rq, struct lines_source source, bool preview)
{
    static const struct http_intake intake = {take, end, drop};
    struct lines *in = arena_calloc(rq->arena, 1, sizeof(*in));
    const char *start =
        arena_printf(rq->arena, "%s %s\n", rq->life->method, rq->life->path);

    in->rq = rq;
    in->one = *rq;
    in->source = source;
    in->preview = preview;
    in->answer = (struct spool)SPOOL_INIT;
    hash_bytes(start, strlen(start), in->one.body_hash);
    rq->srv->n_lines++;
    rq->state = in;
    return http_take(rq, &intake);
}
