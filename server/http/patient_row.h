#pragma once
/* http/patient_row.h - a patient as the database gave it, and its answer. */
#include "http/http.h"
#include "record/patient.h"

/* A patient that was merged into the one that is shown. */
struct patient_merged {
    const char *id, *into; /* into: the survivor, or another merged one */
    const char *record_number, *family, *given, *born;
    int64_t at_us;
};

struct patient_row {
    struct record_patient patient; /* the survivor */
    int64_t version;
    struct patient_merged *merged;
    size_t n_merged;
};

/* A doubt that stands with the answer to a write. */
struct patient_doubt {
    const char *code, *text;
    const char *other_id;
};

/* Columns of patient_get and the lists, from first on; borrowed. */
void patient_take(struct record_patient *p, const struct db_rows *rows,
    size_t row, int first);

/* The calls that patient_load reads, for the patient of an id. */
#define PATIENT_CALLS 2
void patient_calls(
    struct http_req *rq, const char *id, struct db_call *ret[PATIENT_CALLS]);

/* From PATIENT_CALLS replies at rows; copied.  False: there is no such one. */
bool patient_load(struct http_req *rq, const struct db_rows *const *rows,
    struct patient_row *ret);

/* The answer: the patient, "merged" when there are any, and doubts; in the
 * arena. */
const char *patient_json(struct http_req *rq, const struct patient_row *p,
    const struct patient_doubt *doubts, size_t n);
