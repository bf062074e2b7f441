#pragma once
/*
 * forward_watch.h - files of a folder become items of the queue.
 *
 * A file is taken when nobody has it open for writing (as far as the system
 * tells) and it hasn't changed for quiet_ms.  Once its content is durable in
 * the queue it is renamed to .taken-N-NAME, and removed (or moved to the keep
 * folder) when it hasn't changed for quiet_ms more: what writes to it meanwhile
 * makes it a new file.  Hidden files, empty ones, links and folders are left.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/err.h"
#include "forward_spool.h"

struct forward_watch_options {
    const char *dir;
    const char *keep;    /* where taken files go; NULL: they are removed */
    const char *media;   /* NULL: by the end of each name */
    const char *profile; /* NULL: none */
    int64_t quiet_ms;
};

struct forward_watch;

/* options stays the caller's and outlives the watch. */
enum rc forward_watch_new(const struct forward_watch_options *options,
    struct forward_watch **ret, struct err *err);
void forward_watch_free(struct forward_watch *watch);

/* Readable when something has changed. */
int forward_watch_fd(const struct forward_watch *watch);

struct forward_watch_news {
    unsigned taken;   /* files that went into the queue */
    unsigned removed; /* taken ones that went out of the folder */
    int64_t due_ms;   /* the next look, on the same clock as now_ms */
    bool settled;     /* no file waits for its time */
};

/*
 * Looks at the folder and takes what is ready, at most a few files a call.
 * now_ms counts from anywhere and never back.  In a failure (a full disk) the
 * files stay where they are and *ret says when to look again.
 */
enum rc forward_watch_step(struct forward_watch *watch,
    struct forward_spool *spool, int64_t now_ms, struct forward_watch_news *ret,
    struct err *err);
