#pragma once
/* db/rows.h - inside db: rows are libpq's results. */
#include <libpq-fe.h>

#include "db/db.h"

static inline const struct db_rows *db_rows_of(const PGresult *res)
{
    return (const struct db_rows *)(const void *)res;
}
