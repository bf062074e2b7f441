#pragma once
/*
 * forward_answer.h - what the service said, read as it comes.
 *
 * One answer is a problem (RFC 9457) or a reading; the answer to lines is a
 * line for each of them.  Keeps at most FORWARD_REASON_MOST bytes of either.
 */
#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"

#define FORWARD_REASON_MOST 32768
#define FORWARD_ANSWER_MOST 65536 /* of a problem, or of one line */

struct forward_answer {
    bool lines;            /* the answer is a line for each line */
    struct text part;      /* what has come of the answer or the line */
    struct text reasons;   /* of refused lines, for people */
    size_t taken, refused; /* lines */
    size_t unsaid;         /* refused lines whose reasons found no room */
    int worst;             /* status of a line that has to come again, or 0 */
    bool garbled;          /* a line is no answer of ours */
};

void forward_answer_begin(struct forward_answer *a);
void forward_answer_free(struct forward_answer *a);
void forward_answer_add(struct forward_answer *a, const char *bytes, size_t n);
void forward_answer_end(struct forward_answer *a);

/* True when a problem's error is about this place. */
bool forward_answer_names(const struct forward_answer *a, const char *pointer);

/* For the owner of a refused file: what was wrong with it. */
void forward_answer_reason(
    const struct forward_answer *a, int status, struct text *to);
