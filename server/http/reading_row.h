#pragma once
/*
 * http/reading_row.h - decoded readings become rows to be appended.
 */
#include "db/append.h"
#include "http/http.h"
#include "instruments/format.h"

/* The zone of the clinic of who asks, for payloads with a local time only. */
struct instruments_zone reading_zone(const struct http_req *rq);

/* One row: reading with its cautions, rendered; ids are new.  format is the
 * word of the instrument format, borrowed. */
void reading_row_fill(struct http_req *rq, struct record_reading *reading,
    const char *format, struct db_reading *row);

/* The unit's head for bytes as they arrived (borrowed); it has no rows yet. */
void reading_unit_fill(struct http_req *rq, const char *bytes, size_t len,
    struct db_readings *unit);

/* The whole body as one unit: all of its readings or none. */
struct db_readings *reading_unit_of(struct http_req *rq,
    const struct instruments_readings *found, const char *format);

/* What became of a unit: 201 when any of it is new, else 200; or why not. */
int reading_unit_status(const struct db_readings *unit);
enum rc reading_unit_fault(const struct db_readings *unit, struct err *err);
