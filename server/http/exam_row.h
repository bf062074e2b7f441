#pragma once
/*
 * http/exam_row.h - an exam as the database gave it, and its answer.
 *
 * Everything is copied into the request's arena, because a write's answer is
 * rendered before its rows are known.
 */
#include "http/http.h"
#include "record/cautions.h"
#include "record/entry.h"
#include "record/rx.h"
#include "record/step.h"

struct exam_row {
    const char *id, *visit_id, *patient_id, *clinic_id;
    int64_t version, performed_us, created_us;
    int offset_min; /* of the clinic at performed_us */
    bool catch_up;
    const char *status;
    int edition;
    bool amending;
    const char *amend_reason;
    const char *habitual_own; /* the entry that it names, or NULL */
    const char *habitual;     /* or else the patient's now, or NULL */
    const char *body;         /* one JSON object */
    const char *created_by;
    struct record_grid grid;
    int32_t vertex_needed_cd;
    int64_t steps;
    const char *last_steps; /* JSON array, or NULL */

    /* The newest signed edition; prescription_id NULL: none. */
    const char *prescription_id;
    int signed_edition;
    const char *signed_body;
    int64_t signed_us;
    const char *signed_by, *signer, *expires_on;
};

/* A calls' worth of reading: the exam and its last steps, in this order. */
#define EXAM_CALLS 2
void exam_calls(
    struct http_req *rq, const char *exam_id, struct db_call *ret[EXAM_CALLS]);

/* From the first EXAM_CALLS of reply; RC_NOT_FOUND. */
enum rc exam_load(struct http_req *rq, const struct db_reply *reply,
    struct exam_row *ret, struct err *err);

/* True when the asker works at the exam's clinic. */
bool exam_own(const struct http_req *rq, const struct exam_row *x);

/* True when it can be written: a draft, or opened again. */
bool exam_is_draft(const struct exam_row *x);

/* RC_FORBIDDEN to write for another clinic's users. */
enum rc exam_may_write(
    struct http_req *rq, const struct exam_row *x, struct err *err);

/* A draft is its clinic's own: others see what was signed (*x is made that),
 * or RC_FORBIDDEN. */
enum rc exam_may_read(struct http_req *rq, struct exam_row *x, struct err *err);

/* RC_CONFLICT unless it can be written. */
enum rc exam_need_draft(const struct exam_row *x, struct err *err);

/* Members of the answer, into an open object. */
void exam_write(
    struct http_req *rq, struct json_out *o, const struct exam_row *x);

/* ?cylinder=minus|plus; *ret_view is NULL or "plus", for the ETag. */
enum rc exam_form(struct http_req *rq, enum optics_form *ret_form,
    const char **ret_view, struct err *err);

/* Answers with json (taken over) in that form. */
enum rc exam_reply(
    struct http_req *rq, int64_t version, struct text *json, struct err *err);

/* Parsed body; the caller's (json_decref).  Ours, so never NULL. */
json_t *exam_body(const struct exam_row *x);

/* What stands as the working refraction of a parsed body, and its source as
 * JSON in the arena (NULL: none). */
void exam_working(struct http_req *rq, const json_t *body,
    struct record_refraction *ret, const char **ret_source);

/* A body of these parts; sections are checked already.  In the arena. */
const char *exam_body_text(struct http_req *rq,
    const struct record_refraction *working, const char *source,
    const json_t *sections);

/* A row of exam_step_list as JSON, and the members of a new one. */
void exam_step_write(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t i, int offset_min);

/* An entry of entry_named by its id; NULL when it isn't there. *ret_json is
 * the caller's. */
struct exam_entry {
    const char *patient_id; /* NULL: in the tray */
    struct record_entry entry;
};

bool exam_entry_find(struct http_req *rq, const struct db_rows *rows,
    const char *id, struct exam_entry *ret);

/* RC_INVALID at pointer unless it is a power of the exam's own patient. */
enum rc exam_entry_check(const struct exam_entry *found,
    const struct exam_row *x, const char *pointer, struct err *err);

/* {"id","origin","kind","at","method"} under key. */
void exam_entry_write(struct http_req *rq, struct json_out *o, const char *key,
    const struct record_entry *entry);

/* Text of t in the arena; t is emptied. */
const char *exam_take(struct http_req *rq, struct text *t);
