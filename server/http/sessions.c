/*
 * http/sessions.c - signing in and out, and who one is.
 *
 * A password is checked by libsodium's Argon2id in a worker, one at a time;
 * an unknown name costs the same time as a wrong password.
 */
#include <sodium.h>
#include <string.h>

#include "base/secret.h"
#include "http/handlers.h"
#include "http/inside.h"

#define SESSION_US INT64_C(43200000000) /* twelve hours */
#define PASSWORD_MOST 200

struct sign_in {
    const char *network, *user, *password;
    const char *hash; /* of the user found, or of nobody */
    bool found, right;
    char network_id[UUID_TEXT_SIZE], user_id[UUID_TEXT_SIZE];
    const char *role, *display;
    char token[SECRET_TOKEN_SIZE];
};

/* A hash that no password fits, made once: for names that don't exist. */
static const char *nobody(void)
{
    static char hash[crypto_pwhash_STRBYTES];

    if (!*hash) {
        char password[32];

        randombytes_buf(password, sizeof(password));
        if (crypto_pwhash_str(hash, password, sizeof(password),
                crypto_pwhash_OPSLIMIT_INTERACTIVE,
                crypto_pwhash_MEMLIMIT_INTERACTIVE) != 0)
            return "";
    }
    return hash;
}

static void check_password(struct http_req *rq)
{
    struct sign_in *in = rq->state;
    const char *hash = in->found ? in->hash : nobody();

    in->right = crypto_pwhash_str_verify(
                    hash, in->password, strlen(in->password)) == 0 &&
                in->found;
}

static enum rc session_stored(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct sign_in *in = rq->state;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);
    const char *secure = *rq->srv->parts.config->tls_key ? "; Secure" : "";

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_UNAUTHORIZED, NULL,
            "this user was changed meanwhile; sign in again");
    json_out_object(&o, NULL);
    json_out_text(&o, "token", in->token);
    json_out_text(&o, "expires_at", http_time(rq, rq->now_us + SESSION_US));
    json_out_text(&o, "user", in->user);
    json_out_text(&o, "display", in->display);
    json_out_text(&o, "role", in->role);
    json_out_text(&o, "network", in->network);
    json_out_object_end(&o);
    http_header(rq, "Set-Cookie",
        arena_printf(rq->arena,
            "lensclerk_session=%s; Path=/; HttpOnly; SameSite=Strict%s; "
            "Max-Age=%d",
            in->token, secure, (int)(SESSION_US / 1000000)));
    http_header(rq, "Cache-Control", "no-store");
    return http_reply_json(rq, 201, &body);
}

static enum rc password_checked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct sign_in *in = rq->state;
    struct db_call *call;
    uint8_t *hash = arena_alloc(rq->arena, 32);
    const char *id = http_new_id(rq);

    (void)reply;
    if (!in->right)
        return err_set(err, RC_UNAUTHORIZED, NULL,
            "network, user and password do not fit together");
    secret_token_new(in->token, hash);
    memcpy(rq->who.db.network_id, in->network_id, UUID_TEXT_SIZE);
    memcpy(rq->who.db.user_id, in->user_id, UUID_TEXT_SIZE);
    memcpy(rq->who.db.token_id, id, UUID_TEXT_SIZE);
    call = db_call_new(rq->arena, &DB_SESSION_ADD);
    db_put_text(call, id);
    db_put_binary(call, hash, 32);
    db_put_text(call, in->user_id);
    db_put_text(call, in->hash);
    db_put_time(call, rq->now_us + SESSION_US);
    return http_write(rq, &call, 1, session_stored);
}

static enum rc user_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct sign_in *in = rq->state;
    const struct db_rows *rows = reply->rows[0];

    (void)err;
    in->found = db_rows_count(rows) > 0;
    if (in->found) {
        memcpy(in->network_id, db_rows_text(rows, 0, 0), UUID_TEXT_SIZE);
        memcpy(in->user_id, db_rows_text(rows, 0, 1), UUID_TEXT_SIZE);
        in->role = http_kept(rq, rows, 0, 2);
        in->hash = http_kept(rq, rows, 0, 5);
        in->display = http_kept(rq, rows, 0, 6);
    }
    return http_password_work(rq, check_password, password_checked);
}

/* POST /v1/sessions */
enum rc http_session_post(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {"network", "user", "password", NULL};
    struct json_in in = json_in_root(rq->json, err);
    struct json_in network = json_in_get(in, "network");
    struct json_in user = json_in_get(in, "user");
    struct json_in password = json_in_get(in, "password");
    struct sign_in *sign = arena_calloc(rq->arena, 1, sizeof(*sign));
    struct db_call *call = db_call_new(rq->arena, &DB_USER_FOR_SIGN_IN);

    json_in_object(in, names);
    if (json_in_need(network))
        json_in_text(network, 63, &sign->network);
    if (json_in_need(user))
        json_in_text(user, 63, &sign->user);
    if (json_in_need(password))
        json_in_text(password, PASSWORD_MOST, &sign->password);
    if (err->rc != RC_OK)
        return err->rc;
    rq->state = sign;
    db_put_text(call, sign->network);
    db_put_text(call, sign->user);
    return http_read_open(rq, call, user_found);
}

static enum rc signed_out(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    (void)reply;
    (void)err;
    token_forget(rq->srv->tokens, rq->who.token_hash);
    http_header(rq, "Set-Cookie",
        "lensclerk_session=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0");
    return http_reply_empty(rq, 204);
}

/* DELETE /v1/sessions/current: this very token works no more. */
enum rc http_session_delete(struct http_req *rq, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_TOKEN_REVOKE);

    (void)err;
    db_put_text(call, rq->who.db.token_id);
    return http_write(rq, &call, 1, signed_out);
}

/* GET /v1/me */
enum rc http_me_get(struct http_req *rq, struct err *err)
{
    const struct http_who *who = &rq->who;
    TEXT_AUTO body = {0};
    struct json_out o = JSON_OUT(&body);

    (void)err;
    json_out_object(&o, NULL);
    json_out_text(&o, "id", who->owner_id);
    json_out_text(&o, *who->db.user_id ? "user" : "device", who->name);
    json_out_text(&o, "role", http_role_word(who->role));
    json_out_text(&o, "network", who->network_name);
    json_out_text(&o, "clinic", *who->clinic_id ? who->clinic_id : NULL);
    if (*who->lab_id)
        json_out_text(&o, "lab", who->lab_id);
    json_out_bool(&o, "session", who->session);
    json_out_text(&o, "expires_at", http_time(rq, who->expires_us));
    json_out_object_end(&o);
    return http_reply_json(rq, 200, &body);
}
