#include "http/shape.h"

#include <stdlib.h>
#include <string.h>

#include "base/json_merge.h"

enum rc shape_query_id(
    struct http_req *rq, const char *name, const char **ret, struct err *err)
{
    const char *text = http_query(rq, name);
    char *lower = arena_alloc(rq->arena, UUID_TEXT_SIZE);

    *ret = NULL;
    if (!text)
        return RC_OK;
    if (!uuid_parse(text, strlen(text), lower))
        return err_set(err, RC_INVALID, arena_printf(rq->arena, "/%s", name),
            "%s must be an id (a UUID), not \"%s\"", name, text);
    *ret = lower;
    return RC_OK;
}

enum rc shape_page(struct http_req *rq, int *ret_limit, const char **ret_below,
    struct err *err)
{
    const char *after;

    TRY(http_page(rq, ret_limit, &after, err));
    TRY(shape_query_id(rq, "after", ret_below, err));
    if (!*ret_below)
        *ret_below = SHAPE_LAST_ID;
    return RC_OK;
}

enum rc shape_list(struct http_req *rq, const struct db_rows *rows, int limit,
    bool limited, shape_item *item)
{
    struct text t = {0};
    struct json_out o = JSON_OUT(&t);
    size_t n = db_rows_count(rows);
    const char *next = NULL;

    if (n > (size_t)limit) {
        n = (size_t)limit;
        next = db_rows_text(rows, n - 1, 0);
    }
    json_out_object(&o, NULL);
    if (limited)
        json_out_bool(&o, "limited", true);
    json_out_array(&o, "items");
    for (size_t i = 0; i < n; i++) {
        json_out_object(&o, NULL);
        item(rq, &o, rows, i);
        json_out_object_end(&o);
    }
    http_list_end(rq, &o, next);
    return http_reply_json(rq, 200, &t);
}

enum rc shape_list_whole(struct http_req *rq, const struct db_rows *rows)
{
    struct text t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_array(&o, "items");
    for (size_t i = 0; i < db_rows_count(rows); i++)
        json_out_raw(
            &o, NULL, db_rows_text(rows, i, 0), db_rows_len(rows, i, 0));
    http_list_end(rq, &o, NULL);
    return http_reply_json(rq, 200, &t);
}

const char *shape_json(struct http_req *rq, const struct db_rows *rows,
    size_t row, shape_item *item)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    item(rq, &o, rows, row);
    json_out_object_end(&o);
    return arena_strdup(rq->arena, t.data);
}

static json_t *writable(const char *now, const char *const fixed[])
{
    json_t *doc = json_loads(now, 0, NULL);

    for (; *fixed; fixed++)
        json_object_del(doc, *fixed);
    return doc;
}

json_t *shape_merge(
    struct http_req *rq, const char *now, const char *const fixed[])
{
    json_auto_t *doc = writable(now, fixed);

    return json_merge(doc, rq->json);
}

const char *shape_before(struct http_req *rq, const char *now,
    const json_t *doc, const char *const fixed[])
{
    json_auto_t *old = writable(now, fixed);
    json_auto_t *before = json_object(), *detail = json_object();
    const char *name;
    json_t *value, *was;
    char *text, *kept;

    json_object_foreach (rq->json, name, value) {
        was = json_object_get(old, name);
        if (!was && !json_object_get(doc, name))
            continue;
        if (was && json_equal(was, json_object_get(doc, name)))
            continue;
        json_object_set_new(before, name, was ? json_incref(was) : json_null());
    }
    json_object_set(detail, "before", before);
    text = json_dumps(detail, JSON_COMPACT | JSON_REAL_PRECISION(6));
    kept = arena_strdup(rq->arena, text);
    free(text);
    return kept;
}

void shape_text(struct json_out *o, const char *key, const char *s)
{
    if (s && *s)
        json_out_text(o, key, s);
}

enum rc shape_missing(struct err *err, const char *what, const char *id)
{
    return err_set(
        err, RC_NOT_FOUND, NULL, "there is no %s \"%s\" here", what, id);
}

enum rc shape_lost(struct err *err)
{
    return err_set(
        err, RC_STALE, NULL, "somebody changed it meanwhile; read it again");
}

enum rc shape_one(struct http_req *rq, const struct db_rows *rows,
    const char *what, shape_item *item, struct err *err)
{
    if (db_rows_count(rows) == 0)
        return shape_missing(err, what, rq->ids[0]);
    http_etag(rq, db_rows_int(rows, 0, 1), NULL);
    return http_reply_ready(rq, 200, shape_json(rq, rows, 0, item));
}

enum rc shape_written(struct http_req *rq, const struct db_reply *reply,
    const struct shape_write *w, struct err *err)
{
    if (!db_reply_did(reply, 0))
        return shape_lost(err);
    if (w->version == 0)
        http_location(rq, "%s/%s", w->path, w->id);
    http_etag(rq, w->version + 1, NULL);
    return http_reply_ready(rq, w->version ? 200 : 201, w->answer);
}
