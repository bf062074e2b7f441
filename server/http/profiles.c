/* http/profiles.c - field profiles: versions, and trying one on a sample. */
#include <sodium.h>
#include <string.h>

#include "base/instant.h"
#include "http/handlers.h"
#include "http/life.h"
#include "http/reading_answer.h"
#include "http/reading_row.h"
#include "http/shape.h"
#include "instruments/profile.h"

/* ---- reading ---------------------------------------------------------- */

static void write_head(struct json_out *o, const struct db_rows *rows, size_t i)
{
    char at[INSTANT_TEXT_MAX];

    json_out_text(o, "id", db_rows_text(rows, i, 0));
    json_out_text(o, "name", db_rows_text(rows, i, 2));
    json_out_int(o, "version", db_rows_int(rows, i, 1));
    json_out_text(o, "title", db_rows_text(rows, i, 3));
    json_out_text(o, "form", db_rows_text(rows, i, 4));
    json_out_text(
        o, "created_at", instant_text(db_rows_int(rows, i, 5), 0, at));
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t i)
{
    (void)rq;
    write_head(o, rows, i);
}

static void write_version(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t i)
{
    (void)rq;
    write_head(o, rows, i);
    json_out_text(o, "created_by", db_rows_text(rows, i, 6));
}

static void write_whole(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t i)
{
    (void)rq;
    write_head(o, rows, i);
    json_out_raw(
        o, "profile", db_rows_text(rows, i, 6), db_rows_len(rows, i, 6));
}

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const int *limit = rq->state;

    (void)err;
    return shape_list(rq, reply->rows[0], *limit, false, write_item);
}

/* GET /v1/profiles: the newest version of each */
enum rc http_profile_list(struct http_req *rq, struct err *err)
{
    int *limit = arena_alloc(rq->arena, sizeof(*limit));
    const char *below;
    struct db_call *call = db_call_new(rq->arena, &DB_PROFILE_LIST);

    TRY(shape_page(rq, limit, &below, err));
    rq->state = limit;
    db_put_text(call, below);
    db_put_int(call, *limit + 1);
    return http_read(rq, &call, 1, listed);
}

static enum rc got(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_one(rq, reply->rows[0], "profile", write_whole, err);
}

static enum rc ask(struct http_req *rq, int64_t version, http_next *next)
{
    struct db_call *call = db_call_new(rq->arena, &DB_PROFILE_GET);

    db_put_text(call, rq->ids[0]);
    if (version)
        db_put_int(call, version);
    else
        db_put_null(call);
    return http_read(rq, &call, 1, next);
}

/* GET /v1/profiles/{word}?version= */
enum rc http_profile_get(struct http_req *rq, struct err *err)
{
    const char *text = http_query(rq, "version");
    int64_t version = 0;

    if (text && (!num_parse(text, strlen(text), 0, 1000000, &version) ||
                    num_has_sign(text, strlen(text)) || version == 0))
        return err_set(err, RC_INVALID, "/version",
            "version must be a whole number from 1 on, not \"%s\"", text);
    return ask(rq, version, got);
}

static enum rc versions_listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "profile", rq->ids[0]);
    return shape_list(rq, rows, 500, false, write_version);
}

/* GET /v1/profiles/{word}/versions, newest first */
enum rc http_profile_version_list(struct http_req *rq, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_PROFILE_VERSIONS);

    (void)err;
    db_put_text(call, rq->ids[0]);
    return http_read(rq, &call, 1, versions_listed);
}

/* ---- writing ---------------------------------------------------------- */

struct writing {
    const char *id, *name, *title, *form, *document;
    int64_t after; /* the version that it follows */
    struct shape_write write;
};

/* In the form of file names and URLs. */
static void read_name(struct json_in in, const char **ret)
{
    static const char good[] = "abcdefghijklmnopqrstuvwxyz0123456789";
    const char *name;

    if (!json_in_need(in) || !json_in_line(in, 63, &name))
        return;
    *ret = name;
    if (!strchr(good, *name) ||
        name[strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789.-")])
        err_fault(in.err, in.pointer,
            "must be of a to z, 0 to 9, point and hyphen, and begin with a "
            "letter or digit");
    else if (strcmp(name, "preview") == 0)
        err_fault(in.err, in.pointer, "is taken: \"preview\"");
}

static void read_profile(struct json_in in, struct writing *w)
{
    const struct profile *profile;
    char *text;

    if (!json_in_need(in) || profile_read(in, &profile) != RC_OK)
        return;
    text = json_dumps(in.value, JSON_COMPACT | JSON_REAL_PRECISION(15));
    if (strlen(text) > PROFILE_BYTES_MAX)
        err_fault(in.err, in.pointer, "must have at most %d bytes, not %zu",
            PROFILE_BYTES_MAX, strlen(text));
    w->form = profile_form(profile);
    w->document = arena_strdup(in.err->arena, text);
    free(text);
    (void)json_in_line(json_in_get(in, "title"), 200, &w->title);
}

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct writing *w = rq->state;

    if (!db_reply_did(reply, 0))
        return err_set(err, w->after ? RC_STALE : RC_CONFLICT,
            w->after ? NULL : "/name",
            w->after ? "another version was added meanwhile"
                     : "another profile has this name");
    http_etag(rq, w->after + 1, NULL);
    http_location(rq, "/v1/profiles/%s", w->name);
    return http_reply_ready(rq, 201, w->write.answer);
}

static enum rc store(struct http_req *rq, struct writing *w)
{
    struct db_call *call = db_call_new(rq->arena, &DB_PROFILE_ADD);
    char at[INSTANT_TEXT_MAX];
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "id", w->id);
    json_out_text(&o, "name", w->name);
    json_out_int(&o, "version", w->after + 1);
    json_out_text(&o, "title", w->title);
    json_out_text(&o, "form", w->form);
    json_out_text(&o, "created_at", instant_text(rq->now_us, 0, at));
    json_out_raw(&o, "profile", w->document, strlen(w->document));
    json_out_object_end(&o);
    w->write.answer = arena_strdup(rq->arena, t.data);
    rq->state = w;
    db_put_text(call, w->id);
    db_put_text(call, w->name);
    db_put_text(call, w->title);
    db_put_text(call, w->form);
    db_put_text(call, w->document);
    db_put_int(call, w->after);
    db_put_text(call, w->write.answer);
    return http_write(rq, &call, 1, written);
}

/* POST /v1/profiles {"name", "profile"} */
enum rc http_profile_post(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {"name", "profile", NULL};
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));
    struct json_in in = json_in_root(rq->json, err);

    json_in_object(in, names);
    read_name(json_in_get(in, "name"), &w->name);
    read_profile(json_in_get(in, "profile"), w);
    if (err->rc != RC_OK)
        return err->rc;
    w->id = http_new_id(rq);
    return store(rq, w);
}

static enum rc follow(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    static const char *const names[] = {"profile", NULL};
    const struct db_rows *rows = reply->rows[0];
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));
    struct json_in in = json_in_root(rq->json, err);

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "profile", rq->ids[0]);
    w->after = db_rows_int(rows, 0, 1);
    TRY(http_match(rq, w->after, err));
    json_in_object(in, names);
    read_profile(json_in_get(in, "profile"), w);
    if (err->rc != RC_OK)
        return err->rc;
    w->id = arena_strdup(rq->arena, db_rows_text(rows, 0, 0));
    w->name = arena_strdup(rq->arena, db_rows_text(rows, 0, 2));
    return store(rq, w);
}

/* POST /v1/profiles/{word}/versions {"profile"} */
enum rc http_profile_version_post(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask(rq, 0, follow);
}

/* ---- trying ----------------------------------------------------------- */

struct trial {
    const struct profile *profile;
    const char *sample;
    size_t len;
    struct text answer;
    struct json_out o;
};

static void put_readings(struct http_req *rq, struct trial *t,
    const struct instruments_readings *readings)
{
    for (size_t i = 0; i < readings->n; i++) {
        struct db_reading row = {0};
        struct reading_answer a;

        reading_row_fill(rq, readings->items[i], "preview", &row);
        a = (struct reading_answer){.body = row.body};
        reading_answer_write(&t->o, &a);
    }
}

static void put_refused(struct json_out *o, const struct profile_group *group,
    const struct err *err)
{
    json_out_object(o, NULL);
    if (group) {
        json_out_int(o, "line", (int64_t)group->line);
        json_out_int(o, "last_line", (int64_t)group->last_line);
    }
    problem_faults(o, err);
    json_out_object_end(o);
}

/* Readings of good groups and faults of the others, in one pass each, since
 * they stand in two lists. */
static void try_rows(struct http_req *rq, struct trial *t, bool refused)
{
    struct profile_rows *rows = profile_rows_new(t->profile, reading_zone(rq));
    struct err err = ERR_INIT(rq->arena);
    struct profile_group group;

    profile_rows_add(rows, t->sample, t->len);
    profile_rows_end(rows);
    while (profile_rows_next(rows, &group, &err)) {
        if (refused && err.rc != RC_OK)
            put_refused(&t->o, &group, &err);
        else if (!refused)
            put_readings(rq, t, &group.readings);
        err = (struct err)ERR_INIT(rq->arena);
    }
    profile_rows_free(rows);
}

static void try_whole(struct http_req *rq, struct trial *t)
{
    struct instruments_input input = {
        .bytes = t->sample, .len = t->len, .zone = reading_zone(rq)};
    struct instruments_readings found = {0};
    struct err err = ERR_INIT(rq->arena);
    enum rc rc = profile_decode(t->profile, &input, &found, &err);

    json_out_array(&t->o, "readings");
    put_readings(rq, t, &found);
    json_out_array_end(&t->o);
    json_out_array(&t->o, "refused");
    if (rc != RC_OK)
        put_refused(&t->o, NULL, &err);
    json_out_array_end(&t->o);
}

static void try(struct http_req *rq)
{
    struct trial *t = rq->state;

    t->o = (struct json_out)JSON_OUT(&t->answer);
    json_out_object(&t->o, NULL);
    if (profile_by_rows(t->profile)) {
        json_out_array(&t->o, "readings");
        try_rows(rq, t, false);
        json_out_array_end(&t->o);
        json_out_array(&t->o, "refused");
        try_rows(rq, t, true);
        json_out_array_end(&t->o);
    } else {
        try_whole(rq, t);
    }
    json_out_object_end(&t->o);
}

static enum rc tried(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct trial *t = rq->state;

    (void)reply;
    (void)err;
    return http_reply_json(rq, 200, &t->answer);
}

/* Bytes of a text, or of base64 (RFC 4648), of which the latter can hold any.
 */
static void read_sample(struct json_in in, struct trial *t)
{
    struct json_in text = json_in_get(in, "sample");
    struct json_in base64 = json_in_get(in, "sample_base64");
    unsigned char *bytes;
    const char *s;

    if (json_in_here(text) == json_in_here(base64)) {
        err_fault(in.err, "", "must have one of sample and sample_base64");
    } else if (json_in_here(text)) {
        if (!json_is_string(text.value)) {
            err_fault(in.err, text.pointer, "must be a text");
            return;
        }
        t->sample = json_string_value(text.value);
        t->len = json_string_length(text.value);
    } else if (json_is_string(base64.value)) {
        s = json_string_value(base64.value);
        bytes = arena_alloc(in.err->arena, strlen(s) + 1);
        t->sample = (const char *)bytes;
        if (sodium_base642bin(bytes, strlen(s), s, strlen(s), " \r\n", &t->len,
                NULL, sodium_base64_VARIANT_ORIGINAL) != 0)
            err_fault(in.err, base64.pointer, "must be base64");
    } else {
        err_fault(in.err, base64.pointer, "must be a text");
    }
}

/* POST /v1/profiles/preview {"profile", "sample"}: nothing is stored. */
enum rc http_profile_preview(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {
        "profile", "sample", "sample_base64", NULL};
    struct trial *t = arena_calloc(rq->arena, 1, sizeof(*t));
    struct json_in in = json_in_root(rq->json, err);
    struct json_in profile = json_in_get(in, "profile");

    json_in_object(in, names);
    if (json_in_need(profile))
        profile_read(profile, &t->profile);
    read_sample(in, t);
    if (err->rc != RC_OK)
        return err->rc;
    rq->state = t;
    return http_work(rq, try, tried);
}
