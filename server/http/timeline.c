/*
 * http/timeline.c - GET /v1/patients/{id}/timeline, newest first, each item
 * with what changed since the one before of its kind and condition.
 *
 * Items were made at ingest and are only joined here.  Instances of one DICOM
 * series are one item with the mean and spread of the series.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/instant.h"
#include "base/num.h"
#include "http/handlers.h"
#include "http/view_form.h"
#include "optics/vector.h"
#include "record/power.h"
#include "record/reading.h"

/* Rows read beyond the page, to find what its last items follow. */
#define LOOK_BACK 100

/* Columns of DB_TIMELINE. */
enum {
    C_ID,
    C_VERSION,
    C_AT,
    C_ORIGIN,
    C_KIND,
    C_CONDITION,
    C_SERIES,
    C_RIGHT,
    C_LEFT = C_RIGHT + 3,
    C_BODY = C_LEFT + 3,
    C_FAMILY
};

struct item {
    size_t row;      /* the newest of the series */
    size_t n;        /* readings in the series, 1: no series */
    size_t *members; /* rows of the series */
    const char *kind, *condition, *series;
    struct optics_vector eyes[2]; /* mean of the series */
    double spread[2];             /* NAN: of one reading there is none */
    bool has[2];
};

struct page {
    int limit;
    bool plus;
    const char *after_id; /* the place to go on from; NULL: the start */
    int64_t after_us;
};

static bool same(const char *a, const char *b)
{
    return a && b && strcmp(a, b) == 0;
}

static bool vector_of(
    const struct db_rows *rows, size_t row, int col, struct optics_vector *ret)
{
    if (!db_rows_text(rows, row, col))
        return false;
    ret->m = db_rows_real(rows, row, col);
    ret->j0 = db_rows_real(rows, row, col + 1);
    ret->j45 = db_rows_real(rows, row, col + 2);
    return true;
}

/* ---- series ----------------------------------------------------------- */

static void mean_of(
    const struct db_rows *rows, struct item *item, int eye, struct arena *arena)
{
    int col = eye ? C_LEFT : C_RIGHT;
    struct optics_power *powers = arena_calloc(arena, item->n, sizeof(*powers));
    struct optics_mean mean;
    size_t n = 0;

    for (size_t i = 0; i < item->n; i++) {
        struct optics_vector v;

        if (vector_of(rows, item->members[i], col, &v))
            powers[n++] = optics_vector_power(v, OPTICS_MINUS_CYL);
    }
    item->has[eye] = n > 0 && optics_mean(powers, n, &mean) == OPTICS_OK;
    if (item->has[eye]) {
        item->eyes[eye] = mean.mean;
        item->spread[eye] = n > 1 ? mean.sd_total : (double)NAN;
    }
}

static void take_vectors(
    const struct db_rows *rows, struct item *item, struct arena *arena)
{
    for (int eye = 0; eye < 2; eye++) {
        if (item->n > 1)
            mean_of(rows, item, eye, arena);
        else
            item->has[eye] = vector_of(
                rows, item->row, eye ? C_LEFT : C_RIGHT, &item->eyes[eye]);
    }
}

static struct item *series_of(
    struct item *items, size_t n, const char *series, const char *kind)
{
    for (size_t i = n; series && i-- > 0;)
        if (same(items[i].series, series) && same(items[i].kind, kind))
            return &items[i];
    return NULL;
}

static size_t group(
    const struct db_rows *rows, struct item **ret_items, struct arena *arena)
{
    size_t n_rows = db_rows_count(rows), n = 0;
    struct item *items = arena_calloc(arena, n_rows, sizeof(*items));
    size_t *members = arena_calloc(arena, n_rows * 2, sizeof(*members));

    for (size_t row = 0; row < n_rows; row++) {
        const char *series = db_rows_text(rows, row, C_SERIES);
        const char *kind = db_rows_text(rows, row, C_KIND);
        struct item *old = series_of(items, n, series, kind);

        if (old) {
            size_t *more = arena_calloc(arena, old->n + 1, sizeof(*more));

            memcpy(more, old->members, old->n * sizeof(*more));
            more[old->n++] = row;
            old->members = more;
            continue;
        }
        members[row] = row;
        items[n++] = (struct item){.row = row,
            .n = 1,
            .members = &members[row],
            .kind = kind,
            .series = series,
            .condition = db_rows_text(rows, row, C_CONDITION)};
    }
    for (size_t i = 0; i < n; i++)
        take_vectors(rows, &items[i], arena);
    *ret_items = items;
    return n;
}

/* ---- writing ---------------------------------------------------------- */

static void put_vector(
    struct json_out *o, const char *key, struct optics_vector v)
{
    json_out_object(o, key);
    json_out_number(o, "m", v.m, 4);
    json_out_number(o, "j0", v.j0, 4);
    json_out_number(o, "j45", v.j45, 4);
    json_out_number(o, "blur", optics_vector_blur(v), 4);
    json_out_object_end(o);
}

static void put_change(struct json_out *o, const char *eye,
    struct optics_vector now, struct optics_vector before)
{
    struct optics_vector change = optics_vector_difference(now, before);

    json_out_object(o, eye);
    record_computed_write(o, optics_vector_power(change, OPTICS_MINUS_CYL));
    put_vector(o, "power_vector", change);
    json_out_object_end(o);
}

/* An over-refraction stands on a lens on the eye: it is shown, and compared
 * with nothing. */
static const struct item *before(const struct item *items, size_t n, size_t i)
{
    if (same(items[i].kind, RECORD_KIND_WORDS[RECORD_OVER_REFRACTION]))
        return NULL;
    for (size_t k = i + 1; k < n; k++)
        if (same(items[k].kind, items[i].kind) &&
            same(items[k].condition, items[i].condition))
            return &items[k];
    return NULL;
}

static void put_delta(struct json_out *o, const struct db_rows *rows,
    const struct item *now, const struct item *old)
{
    if (!old || !((now->has[0] && old->has[0]) || (now->has[1] && old->has[1])))
        return;
    json_out_object(o, "delta");
    json_out_text(o, "to", db_rows_text(rows, old->row, C_ID));
    if (now->has[0] && old->has[0])
        put_change(o, "right", now->eyes[0], old->eyes[0]);
    if (now->has[1] && old->has[1])
        put_change(o, "left", now->eyes[1], old->eyes[1]);
    json_out_object_end(o);
}

static void put_series(
    struct json_out *o, const struct db_rows *rows, const struct item *item)
{
    static const char *const words[] = {"right", "left"};

    if (item->n < 2)
        return;
    json_out_object(o, "series");
    json_out_text(o, "uid", item->series);
    json_out_array(o, "readings");
    for (size_t i = 0; i < item->n; i++)
        json_out_text(o, NULL, db_rows_text(rows, item->members[i], C_ID));
    json_out_array_end(o);
    for (int eye = 0; eye < 2; eye++) {
        if (!item->has[eye])
            continue;
        json_out_object(o, words[eye]);
        record_computed_write(
            o, optics_vector_power(item->eyes[eye], OPTICS_MINUS_CYL));
        put_vector(o, "power_vector", item->eyes[eye]);
        if (!isnan(item->spread[eye]))
            json_out_number(o, "spread", item->spread[eye], 4);
        json_out_object_end(o);
    }
    json_out_object_end(o);
}

static void put_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, const struct item *item)
{
    const struct page *page = rq->state;
    char at[INSTANT_TEXT_MAX];
    const char *body;

    json_out_object(o, NULL);
    json_out_text(o, "id", db_rows_text(rows, item->row, C_ID));
    json_out_text(
        o, "at", instant_text(db_rows_int(rows, item->row, C_AT), 0, at));
    json_out_text(o, "origin", db_rows_text(rows, item->row, C_ORIGIN));
    body = http_in_form(rq, db_rows_text(rows, item->row, C_BODY), page->plus);
    text_putc(o->to, ',');
    text_puts(o->to, body);
    put_series(o, rows, item);
}

/* The tag changes with every row that is shown, and with every one's state:
 * FNV-1a over ids and versions. */
static const char *tag_of(struct http_req *rq, const struct db_rows *rows)
{
    uint64_t h = UINT64_C(14695981039346656037);

    for (size_t i = 0; i < db_rows_count(rows); i++)
        for (int col = C_ID; col <= C_VERSION; col++)
            for (const char *c = db_rows_text(rows, i, col); *c; c++)
                h = (h ^ (uint8_t)*c) * UINT64_C(1099511628211);
    return arena_printf(
        rq->arena, "%zu.%016llx", db_rows_count(rows), (unsigned long long)h);
}

/* Room for the items: their JSON, and what is added to each. */
static size_t room_of(const struct db_rows *rows, size_t shown)
{
    size_t room = 600 * (shown + 1);

    for (size_t i = 0; i < shown; i++)
        room += db_rows_len(rows, i, C_BODY);
    return room;
}

/* Of the items those that are whole: where rows were cut off, the last may be
 * the beginning of a series.  A page goes on with it, and no delta is to it. */
static size_t whole_of(size_t n_items, bool cut)
{
    return cut && n_items > 1 ? n_items - 1 : n_items;
}

static const char *cursor(
    struct http_req *rq, const struct db_rows *rows, size_t row)
{
    return arena_printf(rq->arena, "%lld.%s",
        (long long)db_rows_int(rows, row, C_AT), db_rows_text(rows, row, C_ID));
}

static enum rc answer(struct http_req *rq, const struct db_rows *rows)
{
    const struct page *page = rq->state;
    size_t limit = (size_t)page->limit, n_rows = db_rows_count(rows);
    bool cut = n_rows == limit + LOOK_BACK;
    struct item *items;
    size_t all = group(rows, &items, rq->arena), n = whole_of(all, cut);
    size_t shown = n < limit ? n : limit;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);
    const char *next = NULL;

    text_space(&body, room_of(rows, shown));
    json_out_object(&o, NULL);
    json_out_array(&o, "items");
    for (size_t i = 0; i < shown; i++) {
        put_item(rq, &o, rows, &items[i]);
        put_delta(&o, rows, &items[i], before(items, n, i));
        json_out_object_end(&o);
    }
    /* What stands before the first item of the next page is shown. */
    if (shown < all)
        next = cursor(rq, rows, items[shown].row - 1);
    else if (cut)
        next = cursor(rq, rows, n_rows - 1);
    http_list_end(rq, &o, next);
    http_etag_text(rq, tag_of(rq, rows), page->plus ? "plus" : NULL);
    http_viewed(rq, "timeline", rq->ids[0], rq->ids[0]);
    return http_reply_json(rq, 200, &body);
}

static void put_page(struct db_call *call, const char *patient_id,
    const struct page *page, bool from_start)
{
    db_put_text(call, patient_id);
    db_put_int(call, page->limit + LOOK_BACK);
    if (page->after_id) {
        db_put_time(call, page->after_us);
        db_put_text(call, page->after_id);
    } else if (from_start) {
        db_put_null(call);
        db_put_null(call);
    }
}

static enum rc family_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    (void)err;
    return answer(rq, reply->rows[0]);
}

/* Several records are one person's. */
static enum rc read_family(struct http_req *rq)
{
    const struct page *page = rq->state;
    struct db_call *call = db_call_new(rq->arena, &DB_TIMELINE_FAMILY);

    put_page(call, rq->ids[0], page, true);
    return http_read(rq, &call, 1, family_read);
}

static enum rc patient_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];

    if (db_rows_count(rows) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such patient");
    if (db_rows_bool(rows, 0, 1))
        return read_family(rq);
    return answer(rq, NULL);
}

static enum rc entries_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct db_call *call;

    (void)err;
    if (db_rows_count(rows) > 0)
        return db_rows_bool(rows, 0, C_FAMILY) ? read_family(rq)
                                               : answer(rq, rows);
    /* Nothing yet, or nobody. */
    call = db_call_new(rq->arena, &DB_PATIENT_EXISTS);
    db_put_text(call, rq->ids[0]);
    return http_read(rq, &call, 1, patient_read);
}

static bool read_cursor(const char *after, int64_t *ret_us, const char **ret_id)
{
    const char *dot = strchr(after, '.');
    char lower[UUID_TEXT_SIZE];

    if (!dot ||
        !num_parse(after, (size_t)(dot - after), 0, INT64_MAX / 20, ret_us) ||
        !uuid_parse(dot + 1, strlen(dot + 1), lower))
        return false;
    *ret_id = dot + 1;
    return true;
}

/* GET /v1/patients/{id}/timeline */
enum rc http_timeline_get(struct http_req *rq, struct err *err)
{
    struct page *page = arena_calloc(rq->arena, 1, sizeof(*page));
    struct db_call *call;
    const char *after;

    TRY(http_page(rq, &page->limit, &after, err));
    TRY(http_cylinder_view(rq, &page->plus, err));
    if (after && !read_cursor(after, &page->after_us, &page->after_id))
        return err_set(err, RC_INVALID, "/after", "is no cursor of this list");
    rq->state = page;
    call = db_call_new(rq->arena, after ? &DB_TIMELINE_AFTER : &DB_TIMELINE);
    put_page(call, rq->ids[0], page, false);
    return http_read(rq, &call, 1, entries_read);
}
