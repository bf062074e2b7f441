#pragma once
/*
 * forward_spool.h - the queue on disk of lensclerk-forward.
 *
 * One folder: lock (held while a process uses it), queue/ and, unless another
 * is named, refused/.  An item is one file: a label of FORWARD_LABEL_SIZE bytes
 * with length and key, then the content as it came.  It is written under
 * another name, made durable, and only then renamed; so an item is whole or
 * isn't there, and one that isn't whole all the same (a broken disk) is known
 * by its length and key.  One process, one thread.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

#include "base/err.h"
#include "forward_rules.h"

#define FORWARD_LABEL_SIZE 2048
#define FORWARD_KEY_SIZE 65   /* 64 hex digits and NUL */
#define FORWARD_WORD_MOST 200 /* characters of a media type or profile name */

struct forward_spool;
struct forward_draft;

/* What is sent with an item's content. */
struct forward_label {
    char media[FORWARD_WORD_MOST + 1];
    char profile[FORWARD_WORD_MOST + 1]; /* "": none */
    char name[FORWARD_NAME_SIZE];        /* of the file that it came from */
};

struct forward_item {
    struct forward_label label;
    char key[FORWARD_KEY_SIZE]; /* of media, profile and content */
    uint64_t number;            /* its place in the queue */
    int fd;                     /* stands at the content's first byte */
    off_t length;               /* of the content */
};

/* Makes what is missing, takes the lock (RC_CONFLICT when another process has
 * it), removes what was never finished.  refused NULL: refused/ in dir. */
enum rc forward_spool_open(const char *dir, const char *refused,
    struct forward_spool **ret, struct err *err);
void forward_spool_free(struct forward_spool *spool); /* NULL is a no-op */
const char *forward_spool_refused(const struct forward_spool *spool);

/* ---- in ---- */

/* Begins an item; nothing of it is in the queue until it is committed. */
enum rc forward_draft_new(struct forward_spool *spool,
    const struct forward_label *label, struct forward_draft **ret,
    struct err *err);
/* All of bytes or none of them: after a failure it can be tried again. */
enum rc forward_draft_add(struct forward_draft *draft, const void *bytes,
    size_t len, struct err *err);
off_t forward_draft_length(const struct forward_draft *draft);
/* Durable and in the queue once this returns RC_OK, and draft is freed; after a
 * failure it can be tried again.  *ret_number may be NULL. */
enum rc forward_draft_commit(
    struct forward_draft *draft, uint64_t *ret_number, struct err *err);
void forward_draft_free(struct forward_draft *draft); /* drops it */

/* ---- out ---- */

/* The first of the queue, checked; false when there is none.  What can't be
 * read is set aside with the reason, and *ret_damaged counts it.  The caller
 * gives it back to one of the three below, or closes it. */
bool forward_spool_next(struct forward_spool *spool, struct forward_item *ret,
    unsigned *ret_damaged);
void forward_item_close(struct forward_item *item);

/* It is on record: out of the queue. */
void forward_spool_done(struct forward_spool *spool, struct forward_item *item);
/* To the queue's end. */
void forward_spool_back(struct forward_spool *spool, struct forward_item *item);
/* To the queue's end, to be sent by another profile, under another key.  After
 * a failure it stays as it was. */
enum rc forward_spool_relabel(struct forward_spool *spool,
    struct forward_item *item, const char *profile, struct err *err);
/* Content and reason into the refused folder, durable, then out of the queue.
 * After a failure it stays in the queue. */
enum rc forward_spool_refuse(struct forward_spool *spool,
    struct forward_item *item, const char *reason, struct err *err);

/* ---- from outside ---- */

struct forward_counts {
    bool running;      /* somebody has the lock */
    unsigned waiting;  /* items in the queue */
    int64_t oldest_us; /* when the oldest of them came; 0: none waits */
    unsigned refused;  /* reasons in the refused folder */
};

/* Looks without the lock.  refused as in forward_spool_open. */
enum rc forward_spool_count(const char *dir, const char *refused,
    struct forward_counts *ret, struct err *err);
