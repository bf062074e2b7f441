#include "db/call.h"

#include <arpa/inet.h>
#include <assert.h>
#include <math.h>
#include <string.h>

#include "base/arena.h"
#include "base/instant.h"
#include "base/num.h"

struct db_call *db_call_new(struct arena *arena, const struct db_stmt *stmt)
{
    struct db_call *call = arena_alloc(arena, sizeof(*call));
    size_t room = (size_t)(stmt->params ? stmt->params : 1);

    *call = (struct db_call){.stmt = stmt, .arena = arena};
    call->values = arena_calloc(arena, room, sizeof(*call->values));
    call->lengths = arena_calloc(arena, room, sizeof(*call->lengths));
    call->formats = arena_calloc(arena, room, sizeof(*call->formats));
    return call;
}

void db_put_text(struct db_call *call, const char *s)
{
    assert(call->n < call->stmt->params);
    call->values[call->n++] = s;
}

void db_put_null(struct db_call *call)
{
    db_put_text(call, NULL);
}

void db_put_int(struct db_call *call, int64_t value)
{
    char buf[NUM_TEXT_MAX];

    db_put_text(call, arena_strdup(call->arena, num_text(value, 0, buf)));
}

void db_put_cd(struct db_call *call, int32_t value)
{
    if (value == NUM_ABSENT)
        db_put_null(call);
    else
        db_put_int(call, value);
}

void db_put_real(struct db_call *call, double value)
{
    char buf[NUM_TEXT_MAX];

    if (isfinite(value))
        db_put_text(call, arena_strdup(call->arena, num_shortest(value, buf)));
    else
        db_put_null(call);
}

void db_put_bool(struct db_call *call, bool value)
{
    db_put_text(call, value ? "t" : "f");
}

void db_put_time(struct db_call *call, int64_t us)
{
    char buf[INSTANT_TEXT_MAX];

    db_put_text(call, arena_strdup(call->arena, instant_text(us, 0, buf)));
}

void db_put_binary(struct db_call *call, const void *bytes, size_t len)
{
    assert(call->n < call->stmt->params);
    call->values[call->n] = bytes;
    call->lengths[call->n] = (int)len;
    call->formats[call->n] = 1;
    call->n++;
}

void db_put_texts(struct db_call *call, const char *const *texts, size_t n)
{
    size_t len = 3; /* braces, NUL */
    char *to, *array;

    for (size_t i = 0; i < n; i++)
        len += texts[i] ? 2 * strlen(texts[i]) + 3 : 5;
    to = array = arena_alloc(call->arena, len);
    *to++ = '{';
    for (size_t i = 0; i < n; i++) {
        if (i)
            *to++ = ',';
        if (!texts[i]) {
            memcpy(to, "NULL", 4);
            to += 4;
            continue;
        }
        *to++ = '"';
        for (const char *s = texts[i]; *s; s++) {
            if (*s == '"' || *s == '\\')
                *to++ = '\\';
            *to++ = *s;
        }
        *to++ = '"';
    }
    *to++ = '}';
    *to = '\0';
    db_put_text(call, array);
}
