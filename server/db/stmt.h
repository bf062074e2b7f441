#pragma once
/*
 * db/stmt.h - a prepared statement, embedded from server/db/sql at build time.
 */
struct db_stmt {
    int index; /* 0 .. DB_STATEMENTS - 1 */
    int params;
    const char *name;
    const char *sql;
};
