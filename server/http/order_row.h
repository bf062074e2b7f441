#pragma once
/*
 * http/order_row.h - an order as the database gave it, and its answer.
 *
 * Everything is copied into the request's arena, because a write's answer is
 * rendered before its rows are known.
 */
#include "http/http.h"
#include "http/order_more.h"
#include "record/order.h"
#include "record/order_needs.h"
#include "record/order_state.h"

/* One move of an order, as it is shown. */
struct order_event {
    int64_t at_us;
    const char *kind;                  /* "moved" */
    const char *status, *stage, *note; /* stage and note may be NULL */
    const char *user_id, *user;        /* user: the name, or NULL */
};

struct order_row {
    const char *id, *number;
    int64_t version;
    const char *exam_id, *prescription_id, *patient_id, *clinic_id;
    int64_t created_us, placed_us; /* placed_us 0: never placed */
    struct record_order_state state;
    int edition;
    const char *body;          /* what the clinic says, as it is stored */
    struct record_order order; /* the same, read */

    /* The Rx it stands on; rx_text is its JSON, NULL: nothing was signed. */
    struct record_order_rx rx;
    const char *rx_text;
    const char *signed_at, *signer_id, *signer, *licence, *address;
    const char *expires_on; /* NULL: not limited */

    /* How the Rx stands now. */
    int rx_edition;
    bool superseded; /* a newer edition was signed */
    bool amending;
    bool lab_closed;
    enum optics_form form; /* the clinic's */
    const char *exam_status;
    const char *newer_on; /* a later Rx of the patient is of this day */
    const char *today;    /* at the clinic */

    const char *clinic, *network;
    const char *record_number, *family, *given;
    const char *lab; /* its name; NULL: no such lab, or none asked for */
    const char *previous_number; /* NULL: no such order, or none */
    const char *previous_patient;
    const char *asker; /* the name of who asks, for a move */

    size_t n_events;
    struct order_event *events; /* oldest first; room for one more */
    struct order_more more;
};

/* What is looked up instead of the order's own: ids, or NULL. */
struct order_look {
    const char *lab, *previous;
    bool newest_rx;
};

/* The calls that read an order whole, as the asker may see it. */
#define ORDER_CALLS (2 + ORDER_MORE_CALLS)
void order_calls(struct http_req *rq, struct order_look look,
    struct db_call *ret[ORDER_CALLS]);

/* From those calls; RC_NOT_FOUND, also for an order of another lab. */
enum rc order_load(struct http_req *rq, const struct db_reply *reply,
    struct order_row *ret, struct err *err);

/* From order_begin: what a new order would stand on.  False without an exam. */
bool order_begun(
    struct http_req *rq, const struct db_rows *rows, struct order_row *ret);

enum record_party order_party(const struct http_req *rq);

/* RC_FORBIDDEN to write for users of another clinic, and to read what was
 * never placed for them. */
enum rc order_may_write(
    struct http_req *rq, const struct order_row *x, struct err *err);
enum rc order_may_read(
    struct http_req *rq, const struct order_row *x, struct err *err);

/* Adds a fault for the gap, or for each of x, unless its place has one. */
void order_refuse_gap(const struct record_gap *gap, struct err *err);
void order_refuse_gaps(
    struct http_req *rq, const struct order_row *x, struct err *err);

/* Faults of the lab and of the order before this one, when named. */
void order_check_named(const struct order_row *x, struct err *err);

/* RC_CONFLICT unless the Rx is signed and is the one that stands. */
enum rc order_check_rx(const struct order_row *x, struct err *err);

/* Makes the row what it is once placed: its form and check word. */
void order_place(struct http_req *rq, struct order_row *x);
/* The check word anew, in the form that stands. */
void order_fix(struct http_req *rq, struct order_row *x);

/* Appends what the asker does now; x stands in its status and stage then. */
void order_add_event(struct http_req *rq, struct order_row *x, const char *kind,
    const char *note);

/* Everything that deserves a second look; of record and of the Rx's state. */
size_t order_cautions(struct http_req *rq, const struct order_row *x,
    struct record_order_caution ret[RECORD_ORDER_CAUTIONS_MAX]);

/* The answer in the form of ?cylinder, which must have been checked. */
enum rc order_check_view(struct http_req *rq, struct err *err);
const char *order_json(struct http_req *rq, const struct order_row *x);
/* What the lab is told, as one signed object: kept with the edition. */
const char *order_told(struct http_req *rq, const struct order_row *x);
/* What the square code holds: figures, and nothing that tells whose they are;
 * signed when the order is placed, which is kept with the edition. */
const char *order_code(struct http_req *rq, const struct order_row *x);
const char *order_code_signed(struct http_req *rq, const struct order_row *x);
/* The clinic's own parts, as they are stored. */
const char *order_body(struct http_req *rq, const struct order_row *x);

/*
 * The text of an ETag: the version, and what the bytes are.  Names, and doubts
 * about the Rx, change without a new version of the order.
 */
const char *order_tag(
    struct http_req *rq, int64_t version, const char *bytes, size_t len);
/* Answers with order_json's text and its tag. */
enum rc order_reply(
    struct http_req *rq, int status, int64_t version, const char *json);

/* Text of t in the arena; t is emptied. */
const char *order_take(struct http_req *rq, struct text *t);
