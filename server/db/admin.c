#include "db/admin.h"

#include <libpq-fe.h>
#include <string.h>

#include "base/arena.h"
#include "base/instant.h"
#include "base/num.h"
#include "db/fault.h"
#include "db/sql.h"

static void free_result(PGresult **res)
{
    PQclear(*res);
}

static void free_conn(PGconn **pg)
{
    PQfinish(*pg);
}

#define RESULT_AUTO __attribute__((cleanup(free_result))) PGresult
#define CONN_AUTO __attribute__((cleanup(free_conn))) PGconn

/* libpq's texts end with a line feed. */
static const char *line(struct err *err, const char *s)
{
    return arena_memdup(err->arena, s, strcspn(s, "\n"));
}

static enum rc connect_owner(
    const char *conninfo, PGconn **ret, struct err *err)
{
    *ret = PQconnectdb(conninfo);
    if (PQstatus(*ret) == CONNECTION_OK)
        return RC_OK;
    return err_set(err, RC_BUSY, NULL, "can't connect to the database: %s",
        line(err, PQerrorMessage(*ret)));
}

static enum rc run(PGconn *pg, const struct db_stmt *stmt,
    const char *const *params, PGresult **ret, struct err *err)
{
    struct db_reply reply = {.rc = RC_OK};

    *ret =
        PQexecParams(pg, stmt->sql, stmt->params, NULL, params, NULL, NULL, 0);
    if (PQresultStatus(*ret) == PGRES_TUPLES_OK)
        return RC_OK;
    fault_tell(*ret, &reply);
    if (reply.pointer)
        return err_set(err, reply.rc, NULL, "%s", reply.detail);
    return err_set(err, RC_INTERNAL, NULL, "the database refused it: %s",
        line(err, PQerrorMessage(pg)));
}

static const char *new_id(struct err *err)
{
    return uuid_text(
        uuid_new(instant_now_us()), arena_alloc(err->arena, UUID_TEXT_SIZE));
}

static const char *hex(struct err *err, const struct admin_token *token)
{
    if (!token->hash)
        return NULL;
    return hash_hex(
        token->hash, HASH_SIZE, arena_alloc(err->arena, 2 * HASH_SIZE + 1));
}

static const char *decimal(struct err *err, int n)
{
    return num_text(n, 0, arena_alloc(err->arena, NUM_TEXT_MAX));
}

static void give_id(const char *id, char ret[UUID_TEXT_SIZE])
{
    memcpy(ret, id, UUID_TEXT_SIZE);
}

enum rc admin_network_add(const char *conninfo, const char *name,
    const char *display, char ret_id[UUID_TEXT_SIZE], struct err *err)
{
    const char *id = new_id(err);
    const char *params[] = {id, name, display, new_id(err)};
    CONN_AUTO *pg = NULL;
    RESULT_AUTO *res = NULL;

    TRY(connect_owner(conninfo, &pg, err));
    TRY(run(pg, &DB_ADMIN_NETWORK_ADD, params, &res, err));
    give_id(id, ret_id);
    return RC_OK;
}

struct place {
    const char *network, *clinic, *lab; /* names */
    const char *network_id, *clinic_id, *lab_id;
};

static const char *value(struct err *err, const PGresult *res, int col)
{
    if (PQgetisnull(res, 0, col))
        return NULL;
    return arena_strdup(err->arena, PQgetvalue(res, 0, col));
}

static enum rc find_place(PGconn *pg, struct place *p, struct err *err)
{
    const char *params[] = {p->network, p->clinic, p->lab};
    RESULT_AUTO *res = NULL;

    TRY(run(pg, &DB_ADMIN_PLACE, params, &res, err));
    if (PQntuples(res) == 0)
        return err_set(err, RC_NOT_FOUND, NULL,
            "there is no network \"%s\"; make it with: network add",
            p->network);
    p->network_id = value(err, res, 0);
    p->clinic_id = value(err, res, 1);
    p->lab_id = value(err, res, 2);
    if (p->clinic && !p->clinic_id)
        return err_set(err, RC_NOT_FOUND, NULL,
            "network \"%s\" has no clinic \"%s\"", p->network, p->clinic);
    if (p->lab && !p->lab_id)
        return err_set(err, RC_NOT_FOUND, NULL,
            "network \"%s\" has no lab \"%s\"", p->network, p->lab);
    return RC_OK;
}

enum rc admin_user_add(const char *conninfo, const struct admin_user *user,
    char ret_id[UUID_TEXT_SIZE], struct err *err)
{
    struct place place = {
        .network = user->network, .clinic = user->clinic, .lab = user->lab};
    const char *id = new_id(err);
    CONN_AUTO *pg = NULL;
    RESULT_AUTO *res = NULL;

    TRY(connect_owner(conninfo, &pg, err));
    TRY(find_place(pg, &place, err));
    {
        const char *params[] = {place.network_id, id, user->name, user->display,
            user->role, place.clinic_id, place.lab_id, user->password_hash,
            new_id(err), hex(err, &user->token), decimal(err, user->token.days),
            new_id(err)};

        TRY(run(pg, &DB_ADMIN_USER_ADD, params, &res, err));
    }
    give_id(id, ret_id);
    return RC_OK;
}

enum rc admin_user_password(const char *conninfo, const char *network,
    const char *name, const char *password_hash, struct err *err)
{
    const char *params[] = {network, name, password_hash, new_id(err)};
    CONN_AUTO *pg = NULL;
    RESULT_AUTO *res = NULL;

    TRY(connect_owner(conninfo, &pg, err));
    TRY(run(pg, &DB_ADMIN_USER_PASSWORD, params, &res, err));
    if (PQntuples(res) == 0)
        return err_set(err, RC_NOT_FOUND, NULL,
            "there is no user \"%s\" in a network \"%s\"", name, network);
    return RC_OK;
}

enum rc admin_device_add(const char *conninfo,
    const struct admin_device *device, char ret_id[UUID_TEXT_SIZE],
    struct err *err)
{
    struct place place = {.network = device->network, .clinic = device->clinic};
    const char *id = new_id(err);
    CONN_AUTO *pg = NULL;
    RESULT_AUTO *res = NULL;

    TRY(connect_owner(conninfo, &pg, err));
    TRY(find_place(pg, &place, err));
    {
        const char *params[] = {place.network_id, id, device->name,
            place.clinic_id, device->serial, new_id(err),
            hex(err, &device->token), decimal(err, device->token.days),
            new_id(err)};

        TRY(run(pg, &DB_ADMIN_DEVICE_ADD, params, &res, err));
    }
    give_id(id, ret_id);
    return RC_OK;
}
