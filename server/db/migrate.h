#pragma once
/*
 * db/migrate.h - brings a database to the schema of the numbered files.
 *
 * Forward only, each file in a transaction of its own under an advisory lock;
 * a file whose first lines say "outside a transaction" runs without one.  A
 * file that was applied and then edited is an error.  Blocks; for the command
 * line.
 */
#include "base/err.h"

/* tell is called for each file applied.  conninfo is the owner's. */
enum rc migrate_run(const char *conninfo, const char *dir,
    void (*tell)(const char *name), struct err *err);

/* RC_OK when the daemon's role is bound by row security, owns nothing and
 * every tenant table is guarded; RC_FORBIDDEN with the reason otherwise. */
enum rc migrate_check_role(const char *conninfo, struct err *err);
