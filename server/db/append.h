#pragma once
/*
 * db/append.h - rows that only add: readings and views, of all networks, in
 * one statement and one commit for as many requests as wait.
 *
 * A request's rows stand or fall together and on their own: a bad one never
 * fails its neighbours.  The token of each row decides its network (migration
 * 0005 and 0009).  Sending the same again is harmless.
 */
#include <stddef.h>
#include <stdint.h>

#include "base/uuid.h"
#include "db/db.h"
#include "record/reading.h"

enum db_outcome {
    DB_DEAD_TOKEN, /* revoked or expired meanwhile: nothing was stored */
    DB_CREATED,
    DB_PRESENT,    /* the same reading stood there already */
    DB_REPLAYED,   /* the same idempotency key with the same body */
    DB_KEY_REUSED, /* the same idempotency key with another body */
};

struct db_reading {
    const struct record_reading *reading;
    char reading_id[UUID_TEXT_SIZE];
    char audit_id[UUID_TEXT_SIZE];
    const char *condition_key;
    const char *format; /* word of the instrument format */
    const char *body;   /* the reading's JSON members */
    const char *brief;  /* those of its item in the timeline */
    const char *family_fold, *given_fold; /* of the patient reference */
    const char *key;                      /* idempotency key, NULL: none */
    uint8_t content_hash[32];
    int part; /* which reading of the body it is, from 0 */

    /* Filled before done: */
    enum db_outcome outcome;
    char stored_id[UUID_TEXT_SIZE];
    char patient_id[UUID_TEXT_SIZE]; /* "" while unclaimed */
    char matched[16];
    int first_status; /* of DB_REPLAYED and the others */
};

struct db_readings {
    uint8_t token_hash[32];
    const char *request_id;
    int64_t received_us;
    char original_id[UUID_TEXT_SIZE];
    const char *media_type;
    const void *bytes; /* the body as it arrived */
    size_t len;
    uint8_t body_hash[32]; /* beside an idempotency key */
    struct db_reading *rows;
    size_t n;

    /* Filled before done: */
    enum rc rc;
    const char *detail; /* why it isn't RC_OK; static */
};

/* All is borrowed until done; see rc and, on RC_OK, the rows' outcomes. */
void db_append_readings(
    struct db *db, struct db_readings *readings, db_done *done, void *arg);

struct db_view {
    uint8_t token_hash[32];
    char audit_id[UUID_TEXT_SIZE];
    int64_t at_us;
    const char *action, *subject_kind, *subject_id, *patient_id;
    const char *request_id, *detail; /* detail may be NULL */
};

/* Borrowed until done.  RC_UNAUTHORIZED when the token died meanwhile. */
void db_append_view(
    struct db *db, struct db_view *view, db_done *done, void *arg);
