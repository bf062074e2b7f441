#include "http/profile_find.h"

#include <string.h>

#include "base/json_in.h"
#include "base/num.h"
#include "db/sql.h"

bool profile_needed(const char *media_type)
{
    static const char *const types[] = {
        "text/csv", "text/plain", "application/xml", "text/xml"};

    for (size_t i = 0; i < ARRAY_LEN(types); i++)
        if (strcmp(types[i], media_type) == 0)
            return true;
    return false;
}

enum rc profile_ask(struct http_req *rq, http_next *next, struct err *err)
{
    struct db_call *call = db_call_new(rq->arena, &DB_PROFILE_GET);
    const char *text = http_query(rq, "profile");
    const char *at = text ? strchr(text, '@') : NULL;
    int64_t version = 0;

    if (!text)
        return err_set(err, RC_INVALID, "/profile",
            "\"%s\" comes with ?profile=, which says how it is read",
            rq->media);
    if (!at) {
        db_put_text(call, text);
        db_put_null(call);
        return http_read(rq, &call, 1, next);
    }
    if (!num_parse(at + 1, strlen(at + 1), 0, 1000000, &version) ||
        num_has_sign(at + 1, strlen(at + 1)))
        return err_set(err, RC_INVALID, "/profile",
            "must be a profile's name, or name@version, not \"%s\"", text);
    db_put_text(call, arena_memdup(rq->arena, text, (size_t)(at - text)));
    db_put_int(call, version);
    return http_read(rq, &call, 1, next);
}

/* A stored document was read before; one that can't be any more is our fault
 * (a profile of a later release). */
static enum rc read_stored(struct http_req *rq, const struct db_rows *rows,
    const struct profile **ret, struct err *err)
{
    struct err scratch = ERR_INIT(rq->arena);
    json_auto_t *json = NULL;

    if (json_in_parse(db_rows_text(rows, 0, 6), db_rows_len(rows, 0, 6), &json,
            &scratch) == RC_OK &&
        profile_read(json_in_root(json, &scratch), ret) == RC_OK)
        return RC_OK;
    return err_set(err, RC_CONFLICT, NULL,
        "the profile \"%s\" can't be read by this release: %s",
        db_rows_text(rows, 0, 2),
        scratch.faults ? scratch.faults->detail : scratch.detail);
}

enum rc profile_found(struct http_req *rq, const struct db_reply *reply,
    struct profile_used *ret, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];

    if (db_rows_count(rows) == 0)
        return err_set(err, RC_INVALID, "/profile",
            "there is no such profile: \"%s\"", http_query(rq, "profile"));
    TRY(read_stored(rq, rows, &ret->profile, err));
    if (!profile_takes(ret->profile, rq->media))
        return err_set(err, RC_MEDIA_TYPE, NULL,
            "the profile \"%s\" is of the form \"%s\" and doesn't read \"%s\"",
            db_rows_text(rows, 0, 2), profile_form(ret->profile), rq->media);
    ret->format = arena_printf(rq->arena, "profile:%s@%s",
        db_rows_text(rows, 0, 2), db_rows_text(rows, 0, 1));
    return RC_OK;
}
