#pragma once
/* http/reading_doubts.h - what the patient's history says about a reading. */
#include "http/http.h"

struct reading_doubts {
    const char *reading_id, *body; /* its members as they are kept */
    const char *patient_id;        /* whose history; NULL or "": nobody's */

    /* Filled: cautions as objects with commas between, NULL for none. */
    const char *doubts;
};

/* Fills in the doubts, in a worker, and then runs next with reply NULL; the
 * handler's rq->state is as it was. */
enum rc reading_doubts(
    struct http_req *rq, struct reading_doubts *about, http_next *next);

/* A short text of doubts for an ETag; NULL for none. */
const char *reading_doubts_tag(struct http_req *rq, const char *doubts);
