#include "db/migrate.h"

#include <dirent.h>
#include <errno.h>
#include <libpq-fe.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/hash.h"
#include "base/text.h"
#include "db/sql.h"

/* Any number that nobody else locks: "lensclrk" in ASCII. */
#define LOCK_KEY "7810772197430225515"

static void free_result(PGresult **res)
{
    PQclear(*res);
}

static void free_conn(PGconn **pg)
{
    PQfinish(*pg);
}

#define DB_RESULT __attribute__((cleanup(free_result))) PGresult *
#define DB_CONN __attribute__((cleanup(free_conn))) PGconn *

static enum rc failed(struct err *err, const char *what, const char *why)
{
    return err_set(err, RC_INTERNAL, NULL, "%s: %s", what, why);
}

/* One or more statements; every result is looked at, the tag of a COMMIT
 * too: after an unseen error it says ROLLBACK and still "ok". */
static enum rc run(
    PGconn *pg, const char *sql, const char *what, struct err *err)
{
    DB_RESULT
    res = PQexec(pg, sql);
    ExecStatusType status = PQresultStatus(res);

    if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK)
        return failed(err, what, PQerrorMessage(pg));
    if (strcmp(PQcmdStatus(res), "ROLLBACK") == 0)
        return failed(err, what, "it was rolled back");
    return RC_OK;
}

static int is_migration(const struct dirent *d)
{
    size_t len = strlen(d->d_name);

    return strspn(d->d_name, "0123456789") == 4 && d->d_name[4] == '_' &&
           len > 9 && strcmp(d->d_name + len - 4, ".sql") == 0;
}

static enum rc read_whole(const char *path, struct text *ret, struct err *err)
{
    FILE *f = fopen(path, "re");
    char buf[8192];
    size_t n;

    if (!f)
        return failed(err, path, strerror(errno));
    while ((n = fread(buf, 1, sizeof(buf), f)) > 0)
        text_put(ret, buf, n);
    fclose(f);
    return RC_OK;
}

/* RC_OK and *ret_there when the file was applied, with the same content. */
static enum rc was_applied(PGconn *pg, const char *name, const char *sum,
    bool *ret_there, struct err *err)
{
    const char *params[] = {name};
    DB_RESULT
    res = PQexecParams(pg,
        "SELECT checksum FROM schema_migration WHERE name = $1", 1, NULL,
        params, NULL, NULL, 0);

    if (PQresultStatus(res) != PGRES_TUPLES_OK)
        return failed(err, name, PQerrorMessage(pg));
    *ret_there = PQntuples(res) > 0;
    if (*ret_there && strcmp(PQgetvalue(res, 0, 0), sum) != 0)
        return err_set(err, RC_CONFLICT, NULL,
            "%s was edited after it had been applied", name);
    return RC_OK;
}

static enum rc note_applied(
    PGconn *pg, const char *name, const char *sum, struct err *err)
{
    const char *params[] = {name, sum};
    DB_RESULT
    res = PQexecParams(pg,
        "INSERT INTO schema_migration (name, checksum) VALUES ($1, $2)", 2,
        NULL, params, NULL, NULL, 0);

    if (PQresultStatus(res) != PGRES_COMMAND_OK)
        return failed(err, name, PQerrorMessage(pg));
    return RC_OK;
}

static bool outside_transaction(const char *sql)
{
    const char *said = strstr(sql, "outside a transaction");

    return said && said < sql + 800 && strncmp(sql, "-- ", 3) == 0;
}

static enum rc apply(PGconn *pg, const char *name, const char *sql,
    const char *sum, struct err *err)
{
    bool outside = outside_transaction(sql);

    if (!outside)
        TRY(run(pg, "BEGIN", name, err));
    TRY(run(pg, sql, name, err));
    TRY(note_applied(pg, name, sum, err));
    if (!outside)
        TRY(run(pg, "COMMIT", name, err));
    return RC_OK;
}

static enum rc one_file(PGconn *pg, const char *dir, const char *name,
    void (*tell)(const char *name), struct err *err)
{
    TEXT_AUTO sql = {0};
    uint8_t hash[HASH_SIZE];
    char sum[2 * HASH_SIZE + 1];
    bool there = false;

    TRY(read_whole(arena_printf(err->arena, "%s/%s", dir, name), &sql, err));
    hash_bytes(sql.data, sql.len, hash);
    hash_hex(hash, HASH_SIZE, sum);
    TRY(was_applied(pg, name, sum, &there, err));
    if (there)
        return RC_OK;
    TRY(apply(pg, name, sql.data ? sql.data : "", sum, err));
    tell(name);
    return RC_OK;
}

static enum rc all_files(PGconn *pg, const char *dir,
    void (*tell)(const char *name), struct err *err)
{
    struct dirent **list;
    int n = scandir(dir, &list, is_migration, alphasort);
    enum rc rc = RC_OK;

    if (n < 0)
        return failed(err, dir, strerror(errno));
    if (n == 0)
        rc = failed(err, dir, "no migrations are there");
    for (int i = 0; i < n; i++) {
        if (rc == RC_OK)
            rc = one_file(pg, dir, list[i]->d_name, tell, err);
        free(list[i]);
    }
    free(list);
    return rc;
}

enum rc migrate_run(const char *conninfo, const char *dir,
    void (*tell)(const char *name), struct err *err)
{
    DB_CONN pg = PQconnectdb(conninfo);

    if (PQstatus(pg) != CONNECTION_OK)
        return failed(err, "can't connect", PQerrorMessage(pg));
    TRY(run(pg, "SET client_min_messages = warning", "migrate", err));
    TRY(run(pg, "SELECT pg_advisory_lock(" LOCK_KEY ")", "migrate", err));
    TRY(run(pg,
        "CREATE TABLE IF NOT EXISTS schema_migration ("
        " name text PRIMARY KEY,"
        " checksum text NOT NULL,"
        " applied_at timestamptz NOT NULL DEFAULT now())",
        "migrate", err));
    return all_files(pg, dir, tell, err);
}

enum rc migrate_check_role(const char *conninfo, struct err *err)
{
    static const char *const why[] = {
        "it is a superuser or may bypass row security", "it owns tables",
        "a table of networks has no forced row security"};
    DB_CONN pg = PQconnectdb(conninfo);

    if (PQstatus(pg) != CONNECTION_OK)
        return err_set(
            err, RC_BUSY, NULL, "can't connect: %s", PQerrorMessage(pg));
    DB_RESULT
    res = PQexec(pg, DB_DAEMON_MAY_SERVE.sql);

    if (PQresultStatus(res) != PGRES_TUPLES_OK || PQntuples(res) != 1)
        return failed(err, "can't check the role", PQerrorMessage(pg));
    for (int i = 0; i < 3; i++)
        if (*PQgetvalue(res, 0, i) == 't')
            return err_set(err, RC_FORBIDDEN, NULL,
                "refusing to serve as database role \"%s\": %s", PQuser(pg),
                why[i]);
    return RC_OK;
}
