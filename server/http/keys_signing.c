/* http/keys_signing.c - the network's keys: what signs, and what others check
 * with (JWK: RFC 7517, RFC 8037). */
#include <sodium.h>
#include <string.h>

#include "base/canon.h"
#include "base/hash.h"
#include "http/handlers.h"
#include "http/inside.h"
#include "http/shape.h"
#include "http/signer.h"

/* ---- signing ---------------------------------------------------------------
 */

/* How often another daemon may be first to make a key. */
#define TRIES 4

struct finding {
    struct http_signer signer;
    http_next *next;
    const char *action;
    int tries;
};

static enum rc look(struct http_req *rq);

static enum rc added(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct finding *f = rq->finding;

    (void)reply;
    rq->act.action = f->action;
    if (++f->tries >= TRIES)
        return err_set(
            err, RC_BUSY, NULL, "no signing key could be made; try again");
    return look(rq);
}

static struct db_call *add_call(struct http_req *rq, const char *key_id)
{
    struct db_call *call = db_call_new(rq->arena, &DB_SIGNING_KEY_ADD);
    struct sign_key key;
    char *hex = arena_alloc(rq->arena, 2 * SIGN_PUBLIC_SIZE + 1);

    sign_key_derive(rq->srv->root, key_id, &key);
    db_put_text(call, key_id);
    db_put_text(call, hash_hex(key.public_key, SIGN_PUBLIC_SIZE, hex));
    sodium_memzero(&key, sizeof(key));
    return call;
}

/* Nobody asked for it: no answer to keep, no reason. */
static struct db_call *first_call(struct http_req *rq)
{
    struct db_call *call = add_call(rq, http_new_id(rq));

    db_put_null(call);
    db_put_null(call);
    return call;
}

static enum rc found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct finding *f = rq->finding;
    uint8_t told[SIGN_PUBLIC_SIZE];
    struct db_call *call;

    if (db_rows_count(rows) > 0) {
        f->signer.key_id = arena_strdup(rq->arena, db_rows_text(rows, 0, 0));
        sign_key_derive(rq->srv->root, f->signer.key_id, &f->signer.key);
        if (hash_from_hex(db_rows_text(rows, 0, 1), told, sizeof(told)) &&
            memcmp(told, f->signer.key.public_key, sizeof(told)) == 0) {
            rq->signer = &f->signer;
            return f->next(rq, NULL, err);
        }
    }
    call = first_call(rq);
    f->action = rq->act.action;
    rq->act.action = "key-added";
    return http_write(rq, &call, 1, added);
}

static enum rc look(struct http_req *rq)
{
    struct db_call *call = db_call_new(rq->arena, &DB_SIGNING_KEY_NOW);

    return http_read(rq, &call, 1, found);
}

enum rc http_signer_find(struct http_req *rq, http_next *next)
{
    struct finding *f;

    if (!rq->srv->has_root)
        return next(rq, NULL, &rq->life->err);
    f = arena_calloc(rq->arena, 1, sizeof(*f));
    f->next = next;
    rq->finding = f;
    return look(rq);
}

const char *http_signed(struct http_req *rq, const char *json)
{
    char value[SIGN_TEXT_SIZE];
    TEXT_AUTO canonical = {0};
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);
    json_auto_t *doc = NULL;

    if (!rq->signer)
        return json;
    doc = json_loads(json, JSON_ALLOW_NUL, NULL);
    canon_write(doc, "signature", &canonical);
    sign_text(&rq->signer->key, canonical.data, canonical.len, value);
    text_put(&t, json, strlen(json) - 1); /* without its last brace */
    text_putc(&t, ',');
    json_out_object(&o, "signature");
    json_out_text(&o, "algorithm", "Ed25519");
    json_out_text(&o, "key", rq->signer->key_id);
    json_out_text(&o, "value", value);
    json_out_object_end(&o);
    text_putc(&t, '}');
    return arena_memdup(rq->arena, t.data, t.len);
}

const char *http_signed_lines(struct http_req *rq, const char *text)
{
    char value[SIGN_TEXT_SIZE];
    const char *all;

    if (!rq->signer)
        return text;
    all = arena_printf(rq->arena, "%sKEY %s\n", text, rq->signer->key_id);
    sign_text(&rq->signer->key, all, strlen(all), value);
    return arena_printf(rq->arena, "%sSIGNATURE %s\n", all, value);
}

/* ---- /v1/keys and the well-known place
 * ----------------------------------------- */

static void write_key(struct json_out *o, const char *key, const char *id,
    const char *hex, const char *made_at)
{
    uint8_t public_key[SIGN_PUBLIC_SIZE] = {0};
    char x[SIGN_PUBLIC_TEXT_SIZE];

    hash_from_hex(hex, public_key, sizeof(public_key));
    sign_public_text(public_key, x);
    json_out_object(o, key);
    json_out_text(o, "kty", "OKP");
    json_out_text(o, "crv", "Ed25519");
    json_out_text(o, "kid", id);
    json_out_text(o, "x", x);
    json_out_text(o, "use", "sig");
    json_out_text(o, "alg", "EdDSA");
    json_out_text(o, "made_at", made_at);
    json_out_object_end(o);
}

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    (void)err;
    json_out_object(&o, NULL);
    json_out_array(&o, "keys");
    for (size_t i = 0; i < db_rows_count(rows); i++)
        write_key(&o, NULL, db_rows_text(rows, i, 0), db_rows_text(rows, i, 1),
            http_time(rq, db_rows_int(rows, i, 3)));
    json_out_array_end(&o);
    json_out_object_end(&o);
    return http_reply_json(rq, 200, &t);
}

/* GET /v1/keys: the network's, the one that signs now first. */
enum rc http_key_list(struct http_req *rq, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_SIGNING_KEY_LIST);

    (void)err;
    return http_read(rq, &call, 1, listed);
}

static enum rc one_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "key", rq->ids[0]);
    write_key(&o, NULL, db_rows_text(rows, 0, 0), db_rows_text(rows, 0, 1),
        http_time(rq, db_rows_int(rows, 0, 2)));
    return http_reply_json(rq, 200, &t);
}

/* GET /.well-known/rx-keys/{id}: for whoever holds something signed. */
enum rc http_key_get(struct http_req *rq, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_SIGNING_KEY_BY_ID);

    (void)err;
    db_put_text(call, rq->ids[0]);
    return http_read_open(rq, call, one_found);
}

#define REASON_MAX 400 /* characters */

struct rotation {
    const char *id, *reason, *answer;
};

static enum rc rotated(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct rotation *in = rq->state;

    if (!db_reply_did(reply, 0))
        return err_set(err, RC_CONFLICT, NULL,
            "another key was made at the same time; look before making more");
    http_location(rq, "/.well-known/rx-keys/%s", in->id);
    http_etag(rq, 1, NULL);
    return http_reply_ready(rq, 201, in->answer);
}

static const char *rotation_answer(
    struct http_req *rq, const struct rotation *in)
{
    struct sign_key key;
    char hex[2 * SIGN_PUBLIC_SIZE + 1];
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    sign_key_derive(rq->srv->root, in->id, &key);
    write_key(&o, NULL, in->id, hash_hex(key.public_key, SIGN_PUBLIC_SIZE, hex),
        http_time(rq, rq->now_us));
    sodium_memzero(&key, sizeof(key));
    return arena_strdup(rq->arena, t.data);
}

static const char *rotation_detail(
    struct http_req *rq, const struct rotation *in)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    json_out_text(&o, "reason", in->reason);
    json_out_object_end(&o);
    return arena_strdup(rq->arena, t.data);
}

/* POST /v1/keys: from now on the network signs with another key. */
enum rc http_key_post(struct http_req *rq, struct err *err)
{
    static const char *const names[] = {"reason", NULL};
    struct rotation *in = arena_calloc(rq->arena, 1, sizeof(*in));
    struct json_in doc = json_in_root(rq->json, err);
    struct json_in reason = json_in_get(doc, "reason");
    struct db_call *call;

    json_in_object(doc, names);
    if (json_in_need(reason))
        json_in_text(reason, REASON_MAX, &in->reason);
    if (err->rc != RC_OK)
        return err->rc;
    if (!rq->srv->has_root)
        return err_set(err, RC_CONFLICT, NULL,
            "the operator has named no key file, so nothing is signed here");
    in->id = http_new_id(rq);
    in->answer = rotation_answer(rq, in);
    rq->state = in;
    call = add_call(rq, in->id);
    db_put_text(call, in->answer);
    db_put_text(call, rotation_detail(rq, in));
    return http_write(rq, &call, 1, rotated);
}
