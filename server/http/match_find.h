#pragma once
/*
 * http/match_find.h - looks for the patients that readings or records could be
 * of, and ranks them.
 */
#include "http/http.h"
#include "record/history.h"
#include "record/match.h"

#define MATCH_SHOWN 10 /* candidates of one */

/* Somebody of the record. */
struct match_person {
    const char *id; /* the survivor, where one was merged */
    struct record_known known;
};

struct match_found {
    struct match_person person;
    struct record_known own; /* of the record that fits best */
    bool visited;
    struct record_match match;
};

/* Who is looked for.  Texts live as long as the request. */
struct match_wanted {
    struct record_known said;
    bool refracted; /* past holds a refraction */
    struct record_past past;
    int64_t at_us;
    const char *clinic_id; /* where visits count; NULL: they say nothing */
    const char *not_id;    /* who isn't asked about, or NULL */
    double on_record;      /* see record/match.h */

    /* Filled: best first. */
    struct match_found *found[MATCH_SHOWN];
    size_t n;
};

/* Fills in what wanted asks for and then runs next, with reply NULL.  The
 * handler's rq->state is as it was. */
enum rc match_find(struct http_req *rq, struct match_wanted *wanted, size_t n,
    http_next *next);

/* A row of match_refractions; copied. */
void match_take_past(struct http_req *rq, const struct db_rows *rows,
    size_t row, struct record_past *past);

/* Writes "candidates": [...] into an open object. */
void match_write(struct json_out *o, const struct match_wanted *wanted);
