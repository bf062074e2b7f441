/*
 * http/users.c - who signs in.
 *
 * A password goes in and never comes out.  The routes that take one take no
 * Idempotency-Key: the body's fast hash would be kept with it.
 */
#include <string.h>

#include "base/instant.h"
#include "base/secret.h"
#include "http/handlers.h"
#include "http/shape.h"
#include "record/user.h"

#define DISPLAY_MAX 120
#define LICENCE_MAX 60
#define ADDRESS_MAX 400

static const char *const FIXED[] = {"id", "may_sign_in", "created_at", NULL};

struct user {
    const char *id, *name, *display, *role;
    const char *clinic, *lab; /* NULL: none */
    const char *licence_number, *practice_address;
    bool disabled, may_sign_in;
    int64_t created_us;
};

static void take_row(struct user *u, const struct db_rows *rows, size_t row)
{
    *u = (struct user){
        .id = db_rows_text(rows, row, 0),
        .name = db_rows_text(rows, row, 2),
        .display = db_rows_text(rows, row, 3),
        .role = db_rows_text(rows, row, 4),
        .clinic = db_rows_text(rows, row, 5),
        .lab = db_rows_text(rows, row, 6),
        .licence_number = db_rows_text(rows, row, 7),
        .practice_address = db_rows_text(rows, row, 8),
        .disabled = db_rows_bool(rows, row, 9),
        .may_sign_in = db_rows_bool(rows, row, 10),
        .created_us = db_rows_int(rows, row, 11),
    };
}

/* Who only needs to know with whom they work. */
static bool brief(const struct http_req *rq)
{
    return rq->who.role != HTTP_ADMIN && rq->who.role != HTTP_AUDITOR;
}

static void write_user(
    struct http_req *rq, struct json_out *o, const struct user *u)
{
    char created[INSTANT_TEXT_MAX];

    json_out_text(o, "id", u->id);
    json_out_text(o, "display", u->display);
    json_out_text(o, "role", u->role);
    shape_text(o, "clinic", u->clinic);
    shape_text(o, "lab", u->lab);
    if (brief(rq))
        return;
    json_out_text(o, "name", u->name);
    shape_text(o, "licence_number", u->licence_number);
    shape_text(o, "practice_address", u->practice_address);
    json_out_bool(o, "disabled", u->disabled);
    json_out_bool(o, "may_sign_in", u->may_sign_in);
    json_out_text(o, "created_at", instant_text(u->created_us, 0, created));
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    struct user u;

    take_row(&u, rows, row);
    write_user(rq, o, &u);
}

/* ---- reading one ------------------------------------------------------ */

static void read_name(struct json_in in, const char **ret)
{
    if (json_in_line(in, RECORD_USER_NAME_MAX, ret) &&
        !record_user_name_valid(*ret))
        err_fault(in.err, in.pointer,
            "must be of a-z, 0-9, dot, dash and underscore, and begin with a "
            "letter or digit");
}

static void read_password(struct json_in in, const char **ret)
{
    if (json_in_line(in, SECRET_PASSWORD_MAX, ret) &&
        !secret_password_fits(*ret))
        err_fault(in.err, in.pointer, "must have at least %d characters",
            SECRET_PASSWORD_MIN);
}

static void check_lab(struct json_in in, const struct user *u)
{
    bool needs = u->role && strcmp(u->role, "lab") == 0;
    struct json_in lab = json_in_get(in, "lab");

    if (needs && !json_in_here(lab))
        err_fault(in.err, lab.pointer, "is required for the role lab");
    if (u->role && !needs && json_in_here(lab))
        err_fault(in.err, lab.pointer, "goes with the role lab only");
}

static enum rc read_user(struct json_in in, struct arena *arena, struct user *u,
    const char **ret_password)
{
    static const char *const names[] = {"name", "display", "role", "clinic",
        "lab", "licence_number", "practice_address", "password", "disabled",
        NULL};
    struct json_in name = json_in_get(in, "name");
    struct json_in role = json_in_get(in, "role");
    const char *address = "";
    int i;

    *u = (struct user){.licence_number = ""};
    json_in_object(in, names);
    if (json_in_need(name))
        read_name(name, &u->name);
    u->display = u->name;
    json_in_line(json_in_get(in, "display"), DISPLAY_MAX, &u->display);
    if (json_in_need(role) && json_in_choice(role, RECORD_ROLES, &i))
        u->role = RECORD_ROLES[i];
    json_in_uuid(json_in_get(in, "clinic"), &u->clinic);
    json_in_uuid(json_in_get(in, "lab"), &u->lab);
    check_lab(in, u);
    json_in_line(
        json_in_get(in, "licence_number"), LICENCE_MAX, &u->licence_number);
    json_in_text(json_in_get(in, "practice_address"), ADDRESS_MAX, &address);
    u->practice_address = arena_strdup(arena, address);
    read_password(json_in_get(in, "password"), ret_password);
    json_in_bool(json_in_get(in, "disabled"), &u->disabled);
    return in.err->rc;
}

/* ---- writing ---------------------------------------------------------- */

struct writing {
    struct user user;
    const char *password; /* the new one, or NULL */
    char hash[SECRET_HASH_SIZE];
    bool hashed;
    bool revokes; /* the tokens, which carry what the user was */
    const char *before;
    struct shape_write write;
};

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct writing *w = rq->state;

    return shape_written(rq, reply, &w->write, err);
}

static enum rc store(struct http_req *rq, struct writing *w)
{
    const struct user *u = &w->user;
    struct db_call *calls[] = {
        db_call_new(
            rq->arena, w->write.version ? &DB_USER_CHANGE : &DB_USER_ADD),
        db_call_new(rq->arena, &DB_USER_TOKENS_REVOKE)};
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    write_user(rq, &o, u);
    json_out_object_end(&o);
    w->write.path = "/v1/users";
    w->write.id = u->id;
    w->write.answer = arena_strdup(rq->arena, t.data);
    db_put_text(calls[0], u->id);
    if (w->write.version)
        db_put_int(calls[0], w->write.version);
    db_put_text(calls[0], u->name);
    db_put_text(calls[0], u->display);
    db_put_text(calls[0], u->role);
    db_put_text(calls[0], u->clinic);
    db_put_text(calls[0], u->lab);
    db_put_text(calls[0], u->licence_number);
    db_put_text(calls[0], u->practice_address);
    db_put_bool(calls[0], u->disabled);
    db_put_text(calls[0], w->hashed ? w->hash : NULL);
    if (w->write.version)
        db_put_text(calls[0], w->before);
    db_put_text(calls[1], u->id);
    return http_write(rq, calls, w->revokes ? 2 : 1, written);
}

static void hash_password(struct http_req *rq)
{
    struct writing *w = rq->state;

    w->hashed = secret_password_hash(w->password, w->hash);
}

static enum rc hashed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct writing *w = rq->state;

    (void)reply;
    if (!w->hashed)
        return err_set(err, RC_BUSY, NULL, "there is no memory for a password");
    w->user.may_sign_in = true;
    return store(rq, w);
}

static enum rc go_on(struct http_req *rq, struct writing *w)
{
    rq->state = w;
    if (w->password)
        return http_password_work(rq, hash_password, hashed);
    return store(rq, w);
}

/* POST /v1/users */
enum rc http_user_post(struct http_req *rq, struct err *err)
{
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));

    TRY(read_user(
        json_in_root(rq->json, err), rq->arena, &w->user, &w->password));
    w->user.id = http_new_id(rq);
    w->user.created_us = rq->now_us;
    return go_on(rq, w);
}

static bool differ(const char *a, const char *b)
{
    return strcmp(shape_or_empty(a), shape_or_empty(b)) != 0;
}

static enum rc check_self(struct http_req *rq, const struct user *was,
    const struct user *is, struct err *err)
{
    if (strcmp(rq->who.db.user_id, is->id) != 0)
        return RC_OK;
    if (is->disabled && !was->disabled)
        return err_set(
            err, RC_CONFLICT, "/disabled", "nobody can disable themselves");
    if (differ(is->role, was->role))
        return err_set(
            err, RC_CONFLICT, "/role", "nobody can change their own role");
    return RC_OK;
}

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));
    json_auto_t *doc = NULL;
    struct user was;
    const char *now;

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "user", rq->ids[0]);
    w->write.version = db_rows_int(rows, 0, 1);
    TRY(http_match(rq, w->write.version, err));
    take_row(&was, rows, 0);
    now = shape_json(rq, rows, 0, write_item);
    doc = shape_merge(rq, now, FIXED);
    TRY(read_user(json_in_root(doc, err), rq->arena, &w->user, &w->password));
    w->user.id = rq->ids[0];
    w->user.created_us = was.created_us;
    w->user.may_sign_in = was.may_sign_in;
    TRY(check_self(rq, &was, &w->user, err));
    w->revokes = w->password || differ(was.role, w->user.role) ||
                 differ(was.clinic, w->user.clinic) ||
                 differ(was.lab, w->user.lab) ||
                 was.disabled != w->user.disabled;
    w->before = shape_before(rq, now, doc, FIXED);
    return go_on(rq, w);
}

static enum rc ask_one(struct http_req *rq, http_next *next)
{
    struct db_call *call = db_call_new(rq->arena, &DB_USER_GET);

    db_put_text(call, rq->ids[0]);
    return http_read(rq, &call, 1, next);
}

/* PATCH /v1/users/{id} */
enum rc http_user_patch(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, change);
}

/* ---- reading ---------------------------------------------------------- */

static enum rc got(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "user", rq->ids[0]);
    http_etag(rq, db_rows_int(rows, 0, 1), brief(rq) ? "brief" : NULL);
    return http_reply_ready(rq, 200, shape_json(rq, rows, 0, write_item));
}

/* GET /v1/users/{id} */
enum rc http_user_get(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, got);
}

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const int *limit = rq->state;

    (void)err;
    return shape_list(rq, reply->rows[0], *limit, false, write_item);
}

/* GET /v1/users */
enum rc http_user_list(struct http_req *rq, struct err *err)
{
    int *limit = arena_alloc(rq->arena, sizeof(*limit));
    const char *below;
    struct db_call *call = db_call_new(rq->arena, &DB_USER_LIST);

    TRY(shape_page(rq, limit, &below, err));
    rq->state = limit;
    db_put_text(call, below);
    db_put_int(call, *limit + 1);
    return http_read(rq, &call, 1, listed);
}
