#pragma once
/*
 * forward_text.h - messages from standard input or a serial line become items
 * of the queue.
 *
 * A message ends where its pattern has come, when the line has been silent for
 * idle_ms, or with the input; blank ones are dropped.  Bytes go to the draft of
 * an item as they come, so memory doesn't grow with a message.  What can't be
 * written (a full disk) is kept, and nothing more is read until it can.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "forward_rules.h"
#include "forward_spool.h"

#define FORWARD_PATTERN_MOST 32

struct forward_text_options {
    const char *device; /* a serial line; NULL: standard input */
    struct forward_line line;
    char pattern[FORWARD_PATTERN_MOST];
    size_t pattern_len; /* 0: none */
    int64_t idle_ms;    /* 0: silence ends nothing */
    struct forward_label label;
};

struct forward_text;

/* options stays the caller's and outlives the text. */
struct forward_text *forward_text_new(
    const struct forward_text_options *options);
/* A message that hasn't ended is dropped. */
void forward_text_free(struct forward_text *text);

/* To be waited for; -1 while there is nothing to read from. */
int forward_text_fd(const struct forward_text *text);

struct forward_text_news {
    unsigned taken; /* messages that went into the queue */
    int64_t due_ms; /* the next step, on the same clock as now_ms */
    bool ended;     /* the input has ended, and all of it is in the queue */
    bool between;   /* no message has begun */
};

/* Reads what is there, at most once.  In a failure nothing is lost while the
 * process lives; *ret says when to try again. */
enum rc forward_text_step(struct forward_text *text,
    struct forward_spool *spool, int64_t now_ms, struct forward_text_news *ret,
    struct err *err);
