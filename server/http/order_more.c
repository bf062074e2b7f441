/* http/order_more.c - what happened to an order beside its moves. */
#include "http/order_more.h"

#include <string.h>

static struct order_by keep_by(
    struct http_req *rq, const struct db_rows *rows, size_t row, int col)
{
    return (struct order_by){
        http_kept(rq, rows, row, col), http_kept(rq, rows, row, col + 1)};
}

void order_more_calls(struct http_req *rq, const char *order_id,
    struct db_call *ret[ORDER_MORE_CALLS])
{
    static const struct db_stmt *const statements[ORDER_MORE_CALLS] = {
        &DB_ORDER_EDITION_NOW, &DB_ORDER_QUESTION_LIST, &DB_ORDER_REMAKE_LIST,
        &DB_BENCH_CHECK_LIST};

    for (size_t i = 0; i < ORDER_MORE_CALLS; i++) {
        ret[i] = db_call_new(rq->arena, statements[i]);
        db_put_text(ret[i], order_id);
    }
    /* A lab learns nothing of orders that went to another. */
    db_put_text(ret[2], rq->who.role == HTTP_LAB ? rq->who.lab_id : NULL);
}

static void load_edition(
    struct http_req *rq, const struct db_rows *rows, struct order_edition *ret)
{
    if (db_rows_count(rows) == 0)
        return;
    *ret = (struct order_edition){.edition = (int)db_rows_int(rows, 0, 0),
        .at_us = db_rows_int(rows, 0, 1),
        .by = keep_by(rq, rows, 0, 2),
        .reason = http_kept(rq, rows, 0, 4),
        .changes = http_kept(rq, rows, 0, 5),
        .code = http_kept(rq, rows, 0, 6),
        .told = http_kept(rq, rows, 0, 7)};
}

static void load_questions(
    struct http_req *rq, const struct db_rows *rows, struct order_more *ret)
{
    ret->n_questions = db_rows_count(rows);
    ret->questions =
        arena_calloc(rq->arena, ret->n_questions, sizeof(*ret->questions));
    for (size_t i = 0; i < ret->n_questions; i++) {
        struct order_question *q = &ret->questions[i];

        *q = (struct order_question){.id = http_kept(rq, rows, i, 0),
            .edition = (int)db_rows_int(rows, i, 1),
            .at_us = db_rows_int(rows, i, 2),
            .by = keep_by(rq, rows, i, 3),
            .pointer = http_kept(rq, rows, i, 5),
            .text = http_kept(rq, rows, i, 6),
            .answer = http_kept(rq, rows, i, 7),
            .answered_by = keep_by(rq, rows, i, 9)};
        if (q->answer)
            q->answered_us = db_rows_int(rows, i, 8);
    }
}

static void load_remakes(
    struct http_req *rq, const struct db_rows *rows, struct order_more *ret)
{
    ret->n_remakes = db_rows_count(rows);
    ret->remakes =
        arena_calloc(rq->arena, ret->n_remakes, sizeof(*ret->remakes));
    for (size_t i = 0; i < ret->n_remakes; i++)
        ret->remakes[i] = (struct order_remake){.id = http_kept(rq, rows, i, 0),
            .number = http_kept(rq, rows, i, 1),
            .of_id = http_kept(rq, rows, i, 2),
            .of_number = http_kept(rq, rows, i, 3),
            .of_edition = (int)db_rows_int(rows, i, 4),
            .cause = http_kept(rq, rows, i, 5),
            .note = http_kept(rq, rows, i, 6),
            .is_new = db_rows_bool(rows, i, 7)};
}

static void load_checks(
    struct http_req *rq, const struct db_rows *rows, struct order_more *ret)
{
    ret->n_checks = db_rows_count(rows);
    ret->checks = arena_calloc(rq->arena, ret->n_checks, sizeof(*ret->checks));
    for (size_t i = 0; i < ret->n_checks; i++)
        ret->checks[i] = (struct order_check){.id = http_kept(rq, rows, i, 0),
            .at_us = db_rows_int(rows, i, 1),
            .edition = (int)db_rows_int(rows, i, 2),
            .profile = http_kept(rq, rows, i, 3),
            .verdict = http_kept(rq, rows, i, 4),
            .again = http_kept(rq, rows, i, 5)};
}

void order_more_load(struct http_req *rq, const struct db_rows *const *rows,
    struct order_more *ret)
{
    *ret = (struct order_more){0};
    load_edition(rq, rows[0], &ret->edition);
    load_questions(rq, rows[1], ret);
    load_remakes(rq, rows[2], ret);
    load_checks(rq, rows[3], ret);
}

bool order_questions_open(const struct order_more *more)
{
    for (size_t i = 0; i < more->n_questions; i++)
        if (!more->questions[i].answer)
            return true;
    return false;
}

/* ---- written ------------------------------------------------------------ */

static void put_text(struct json_out *o, const char *key, const char *text)
{
    if (text && *text)
        json_out_text(o, key, text);
}

void order_by_write(struct json_out *o, const char *key, struct order_by by)
{
    json_out_object(o, key);
    put_text(o, "id", by.id);
    put_text(o, "name", by.name);
    json_out_object_end(o);
}

static void write_amendment(
    struct http_req *rq, struct json_out *o, const struct order_edition *e)
{
    if (!e->changes)
        return;
    json_out_object(o, "amendment");
    json_out_int(o, "edition", e->edition);
    json_out_int(o, "replaces", e->edition - 1);
    json_out_text(o, "at", http_time(rq, e->at_us));
    order_by_write(o, "by", e->by);
    json_out_text(o, "reason", e->reason);
    json_out_raw(o, "changes", e->changes, strlen(e->changes));
    json_out_object_end(o);
}

void order_question_write(struct http_req *rq, struct json_out *o,
    const char *key, const struct order_question *q)
{
    json_out_object(o, key);
    json_out_text(o, "id", q->id);
    json_out_int(o, "edition", q->edition);
    json_out_text(o, "at", http_time(rq, q->at_us));
    order_by_write(o, "by", q->by);
    json_out_text(o, "pointer", q->pointer);
    json_out_text(o, "text", q->text);
    if (q->answer) {
        json_out_object(o, "answer");
        json_out_text(o, "at", http_time(rq, q->answered_us));
        order_by_write(o, "by", q->answered_by);
        json_out_text(o, "text", q->answer);
        json_out_object_end(o);
    }
    json_out_object_end(o);
}

static void write_questions(
    struct http_req *rq, struct json_out *o, const struct order_more *more)
{
    if (more->n_questions == 0)
        return;
    json_out_array(o, "questions");
    for (size_t i = 0; i < more->n_questions; i++)
        order_question_write(rq, o, NULL, &more->questions[i]);
    json_out_array_end(o);
}

static void write_remake_of(struct json_out *o, const struct order_more *more)
{
    for (size_t i = 0; i < more->n_remakes; i++) {
        const struct order_remake *r = &more->remakes[i];

        if (!r->is_new)
            continue;
        json_out_object(o, "remake_of");
        json_out_text(o, "order", r->of_id);
        json_out_text(o, "number", r->of_number);
        json_out_int(o, "edition", r->of_edition);
        json_out_text(o, "cause", r->cause);
        put_text(o, "note", r->note);
        json_out_object_end(o);
    }
}

static void write_remade_by(struct json_out *o, const struct order_more *more)
{
    bool any = false;

    for (size_t i = 0; i < more->n_remakes; i++) {
        const struct order_remake *r = &more->remakes[i];

        if (r->is_new)
            continue;
        if (!any)
            json_out_array(o, "remade_by");
        any = true;
        json_out_object(o, NULL);
        json_out_text(o, "order", r->id);
        json_out_text(o, "number", r->number);
        json_out_int(o, "edition", r->of_edition);
        json_out_text(o, "cause", r->cause);
        put_text(o, "note", r->note);
        json_out_object_end(o);
    }
    if (any)
        json_out_array_end(o);
}

static void write_checks(
    struct http_req *rq, struct json_out *o, const struct order_more *more)
{
    if (more->n_checks == 0)
        return;
    json_out_array(o, "bench_checks");
    for (size_t i = 0; i < more->n_checks; i++) {
        const struct order_check *c = &more->checks[i];

        json_out_object(o, NULL);
        json_out_text(o, "id", c->id);
        json_out_text(o, "at", http_time(rq, c->at_us));
        json_out_int(o, "edition", c->edition);
        json_out_text(o, "profile", c->profile);
        json_out_text(o, "verdict", c->verdict);
        put_text(o, "again", c->again);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

void order_more_write(
    struct http_req *rq, struct json_out *o, const struct order_more *more)
{
    write_amendment(rq, o, &more->edition);
    write_questions(rq, o, more);
    write_remake_of(o, more);
    write_remade_by(o, more);
    write_checks(rq, o, more);
}
