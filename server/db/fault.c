#include "db/fault.h"

#include <string.h>

#include "base/arena.h"

static const struct {
    const char *name;
    enum rc rc;
    const char *pointer;
    const char *detail;
} CONSTRAINTS[] = {
#define CONSTRAINT(name, rc, pointer, text) {#name, rc, pointer, text},
#include "db/constraints.def"
#undef CONSTRAINT
    {"", RC_INTERNAL, NULL, ""},
};

static bool class_is(const char *code, const char *start)
{
    return strncmp(code, start, strlen(start)) == 0;
}

bool fault_again(const PGresult *res)
{
    const char *code = PQresultErrorField(res, PG_DIAG_SQLSTATE);

    /* serialization, deadlock, a statement that a lost prepare left out */
    return code && (strcmp(code, "40001") == 0 || strcmp(code, "40P01") == 0 ||
                       strcmp(code, "26000") == 0);
}

bool fault_key_taken(const PGresult *res)
{
    const char *name = PQresultErrorField(res, PG_DIAG_CONSTRAINT_NAME);

    return name && strcmp(name, "idempotency_pkey") == 0;
}

/* For the log: neither DETAIL, which quotes rows, nor what class 22 quotes of
 * its input. */
static const char *words_of(const PGresult *res, const char *code)
{
    const char *text = PQresultErrorField(res, PG_DIAG_MESSAGE_PRIMARY);

    if (code && (!text || class_is(code, "22")))
        return code;
    return text ? text : "the connection was lost";
}

void fault_tell(const PGresult *res, struct db_reply *reply)
{
    const char *code = res ? PQresultErrorField(res, PG_DIAG_SQLSTATE) : NULL;
    const char *name =
        res ? PQresultErrorField(res, PG_DIAG_CONSTRAINT_NAME) : NULL;

    reply->server = res ? words_of(res, code) : "no result";
    reply->rc = RC_INTERNAL;
    reply->key_taken = res && fault_key_taken(res);
    reply->detail = "the service could not do this; it is logged";
    if (!code)
        return;
    if (class_is(code, "53") || class_is(code, "57P")) {
        reply->rc = RC_BUSY;
        reply->detail = "the database can't take it now; nothing was stored";
        return;
    }
    for (size_t i = 0; name && i < ARRAY_LEN(CONSTRAINTS); i++) {
        if (strcmp(CONSTRAINTS[i].name, name) != 0)
            continue;
        reply->rc = CONSTRAINTS[i].rc;
        reply->pointer = CONSTRAINTS[i].pointer;
        reply->detail = CONSTRAINTS[i].detail;
        return;
    }
}
