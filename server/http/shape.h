#pragma once
/*
 * http/shape.h - what resources have in common: lists and merge patches.
 */
#include "http/http.h"

/* ---- lists ------------------------------------------------------------ */

/* Above every version 7 id: a list from its start, newest first. */
#define SHAPE_LAST_ID "ffffffff-ffff-ffff-ffff-ffffffffffff"

/* ?limit, and ?after as the id to go on below (SHAPE_LAST_ID without one). */
enum rc shape_page(struct http_req *rq, int *ret_limit, const char **ret_below,
    struct err *err);

/* ?name as a UUID, NULL when it isn't asked for. */
enum rc shape_query_id(
    struct http_req *rq, const char *name, const char **ret, struct err *err);

/* Writes the members of one row's item; its braces are written around. */
typedef void shape_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row);

/*
 * Answers {"items", "next"}.  rows hold up to limit + 1; the cursor is the
 * first column.  limited: the list leaves out what is farther off.
 */
enum rc shape_list(struct http_req *rq, const struct db_rows *rows, int limit,
    bool limited, shape_item *item);

/* The same of rows that are JSON as a whole, in their first column, all of
 * them. */
enum rc shape_list_whole(struct http_req *rq, const struct db_rows *rows);

/* ---- one thing -------------------------------------------------------- */

/* The JSON of one row's item, in the arena. */
const char *shape_json(struct http_req *rq, const struct db_rows *rows,
    size_t row, shape_item *item);

/* 200 with the only row's item and the version of its second column, or 404
 * for a what. */
enum rc shape_one(struct http_req *rq, const struct db_rows *rows,
    const char *what, shape_item *item, struct err *err);

/* What a write that is under way will answer. */
struct shape_write {
    const char *path; /* "/v1/clinics" */
    const char *id;
    int64_t version; /* before it; 0: a new one */
    const char *answer;
};

/* 201 or 200 when the first statement did its work; 412 otherwise. */
enum rc shape_written(struct http_req *rq, const struct db_reply *reply,
    const struct shape_write *w, struct err *err);

/*
 * What the body, a merge patch (RFC 7396), makes of now, an answer's JSON,
 * without the members in fixed (NULL-ended), which no client may write.  The
 * caller's (json_decref).
 */
json_t *shape_merge(
    struct http_req *rq, const char *now, const char *const fixed[]);

/*
 * For the audit log: {"before":{...}} with those members of now that doc
 * changes, null where there was none.  In the arena.
 */
const char *shape_before(struct http_req *rq, const char *now,
    const json_t *doc, const char *const fixed[]);

/* "" where s is NULL. */
static inline const char *shape_or_empty(const char *s)
{
    return s ? s : "";
}

/* Writes a member unless there is none (NULL or ""). */
void shape_text(struct json_out *o, const char *key, const char *s);

/* RC_NOT_FOUND for a path's id. */
enum rc shape_missing(struct err *err, const char *what, const char *id);

/* RC_STALE after a write that changed nothing. */
enum rc shape_lost(struct err *err);
