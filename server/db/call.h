#pragma once
/*
 * db/call.h - one statement with its parameters.
 *
 * Parameters are added in order, $1 first.  Text is borrowed until the call
 * is done; everything else is copied into the arena.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "db/stmt.h"

struct arena;

struct db_call {
    const struct db_stmt *stmt;
    struct arena *arena;
    int n;
    const char **values;
    int *lengths; /* of binary values */
    int *formats; /* 0 text, 1 binary */
};

struct db_call *db_call_new(struct arena *arena, const struct db_stmt *stmt);

void db_put_text(struct db_call *call, const char *s); /* NULL: null */
void db_put_int(struct db_call *call, int64_t value);
void db_put_cd(struct db_call *call, int32_t value);  /* NUM_ABSENT: null */
void db_put_real(struct db_call *call, double value); /* NaN: null */
void db_put_bool(struct db_call *call, bool value);
void db_put_time(struct db_call *call, int64_t us); /* timestamptz */
void db_put_null(struct db_call *call);
/* bytea or a binary array, as PostgreSQL's binary form; NULL: null */
void db_put_binary(struct db_call *call, const void *bytes, size_t len);
/* text[] from n texts (any may be NULL) */
void db_put_texts(struct db_call *call, const char *const *texts, size_t n);
