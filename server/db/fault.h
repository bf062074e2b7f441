#pragma once
/* db/fault.h - inside db: what an error of PostgreSQL means. */
#include <libpq-fe.h>
#include <stdbool.h>

#include "db/db.h"

/* Fills rc, pointer, detail and server of reply from an error result. */
void fault_tell(const PGresult *res, struct db_reply *reply);

/* The same statements may go through if they are sent again. */
bool fault_again(const PGresult *res);

/* A request with the same Idempotency-Key was committed meanwhile. */
bool fault_key_taken(const PGresult *res);
