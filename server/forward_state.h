#pragma once
/*
 * forward_state.h - how lensclerk-forward is doing, for --status.
 *
 * A file of FORWARD_STATE_SIZE bytes in the spool that is written in place:
 * it can be written on a full disk, too.  Not durable; the queue is the truth.
 * No personal data.
 */
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#include "base/err.h"

#define FORWARD_STATE_SIZE 4096
#define FORWARD_TEXT_SIZE 400

/* A trouble that stands has a text; "" is none. */
struct forward_trouble {
    char text[FORWARD_TEXT_SIZE];
    int64_t since_us;
};

struct forward_state {
    bool once; /* it was started with --once: nobody expects it to run */
    int pid;
    char refused[FORWARD_TEXT_SIZE]; /* that folder, when it was named */
    int64_t sent;                 /* items on record since the spool was made */
    int64_t success_us, error_us; /* 0: never */
    char error[FORWARD_TEXT_SIZE];
    struct forward_trouble source;  /* what comes in can't be spooled */
    struct forward_trouble sending; /* what is spooled can't be sent */
};

/* Makes the file where there is none; -1 on failure.  What it held goes to
 * *ret, or zeros. */
int forward_state_open(const char *spool, struct forward_state *ret);
void forward_state_write(int fd, const struct forward_state *state);

/* Notes a trouble, or with text NULL that there is none any more; true when
 * that is news. */
bool forward_state_trouble(struct forward_state *state,
    struct forward_trouble *trouble, const char *text, int64_t now_us);

#define FORWARD_OLD_US (15 * 60 * 1000000LL) /* waits too long; ours */

/* Prints the state of a spool, as text or JSON.  0: all is well, 1: a person
 * should look, 2: there is no such spool (said on standard error). */
int forward_status(const char *spool, bool json, int64_t now_us, FILE *to);
