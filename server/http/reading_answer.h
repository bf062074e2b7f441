#pragma once
/* http/reading_answer.h - a stored reading as the JSON of an answer. */
#include "base/json_out.h"
#include "db/db.h"

struct reading_answer {
    const char *id;         /* NULL: a preview */
    const char *patient_id; /* NULL or "": unclaimed */
    const char *matched;    /* how it found its patient, or why not */
    const char *body;       /* the members made at ingest */
    const char *doubts;     /* cautions that came later, NULL or objects with
                               commas between */
    const char *more;       /* members that came later, NULL or "a":1,"b":2 */
};

/* An object: id, status, patient, the body's members; while unclaimed for a
 * doubt about the patient that doubt stands with the cautions. */
void reading_answer_write(struct json_out *o, const struct reading_answer *a);

/* The answer of a row of DB_READING_GET and its like. */
struct reading_answer reading_answer_of(const struct db_rows *rows, size_t i);
