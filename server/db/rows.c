#include "db/rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/num.h"

static const PGresult *res_of(const struct db_rows *rows)
{
    return (const PGresult *)(const void *)rows;
}

size_t db_rows_count(const struct db_rows *rows)
{
    return rows ? (size_t)PQntuples(res_of(rows)) : 0;
}

const char *db_rows_text(const struct db_rows *rows, size_t row, int col)
{
    if (PQgetisnull(res_of(rows), (int)row, col))
        return NULL;
    return PQgetvalue(res_of(rows), (int)row, col);
}

size_t db_rows_len(const struct db_rows *rows, size_t row, int col)
{
    return (size_t)PQgetlength(res_of(rows), (int)row, col);
}

int64_t db_rows_int(const struct db_rows *rows, size_t row, int col)
{
    const char *s = db_rows_text(rows, row, col);

    return s ? strtoll(s, NULL, 10) : 0;
}

int32_t db_rows_cd(const struct db_rows *rows, size_t row, int col)
{
    const char *s = db_rows_text(rows, row, col);

    return s ? (int32_t)strtol(s, NULL, 10) : NUM_ABSENT;
}

double db_rows_real(const struct db_rows *rows, size_t row, int col)
{
    const char *s = db_rows_text(rows, row, col);

    return s ? num_read(s) : (double)NAN;
}

bool db_rows_bool(const struct db_rows *rows, size_t row, int col)
{
    const char *s = db_rows_text(rows, row, col);

    return s && *s == 't';
}

bool db_reply_did(const struct db_reply *reply, size_t i)
{
    if (reply->rc != RC_OK)
        return false;
    return reply->n == 0 || db_rows_count(reply->rows[i]) > 0;
}
