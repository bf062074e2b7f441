#pragma once
/*
 * forward_post.h - sends one item at a time to POST /v1/readings (by libcurl).
 *
 * Never blocks but in forward_poster_wait.  Content is sent from its file and
 * answers are read as they come, so memory doesn't grow with either.  Nothing
 * is redirected; the token goes nowhere but to the address.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "base/text.h"
#include "forward_rules.h"
#include "forward_spool.h"

struct forward_target {
    const char *url; /* of the service, without /v1 */
    const char *token_file;
    const char *ca_file; /* NULL: the system's authorities */
    bool plain;          /* http:// beyond this machine is allowed */
    int64_t silence_s;   /* without a byte: given up */
};

struct forward_outcome {
    enum forward_verdict verdict;
    int status;             /* 0: there was no answer */
    int64_t retry_after_ms; /* 0: the server named none */
    bool no_profile;        /* the service doesn't know the item's profile */
    const char *trouble; /* for log and state: no personal data; NULL: none */
    const char *reason;  /* for the file's owner, when it is refused */
};

struct forward_poster;

/* The base address is one that a token may be sent to. */
enum rc forward_target_check(
    const struct forward_target *target, struct err *err);

/* target stays the caller's and outlives the poster. */
struct forward_poster *forward_poster_new(const struct forward_target *target);
void forward_poster_free(struct forward_poster *poster);

/* Begins to send item, which stays the caller's until the outcome is known.
 * The token is read from its file each time. */
enum rc forward_poster_start(struct forward_poster *poster,
    const struct forward_item *item, struct err *err);
bool forward_poster_busy(const struct forward_poster *poster);

/* Waits up to ms for the network or for one of n descriptors to be readable
 * (*ret_ready says which; negative ones are left out), and works on. */
void forward_poster_wait(struct forward_poster *poster, const int *fds,
    bool *ret_ready, size_t n, int ms);

/* True once for each start: its outcome, whose texts live until the next. */
bool forward_poster_outcome(
    struct forward_poster *poster, struct forward_outcome *ret);
