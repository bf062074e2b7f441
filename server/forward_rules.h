#pragma once
/*
 * forward_rules.h - what lensclerk-forward decides without looking at anything:
 * pauses, verdicts, media types, names.
 *
 * Pure; times are milliseconds.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* What becomes of an item after an answer. */
enum forward_verdict {
    FORWARD_TAKEN,    /* it is on record */
    FORWARD_REFUSED,  /* this item is wrong; sending it again won't help */
    FORWARD_LATER,    /* this item's turn comes again, others go on */
    FORWARD_ALL_LATER /* the server takes nothing from us now */
};

/* Of an HTTP status; 0 stands for no answer. */
enum forward_verdict forward_verdict_of(int status);

struct forward_pauses {
    int64_t first_ms, most_ms; /* 1 <= first_ms <= most_ms */
};

/*
 * The pause after so many failures in a row (from 1): first_ms, doubled each
 * time up to most_ms, of which a random part of up to a half is left out, so
 * that clients that failed together don't come back together.  random: any
 * bits.
 */
int64_t forward_pause_ms(
    struct forward_pauses pauses, unsigned failures, uint32_t random);

#define FORWARD_RETRY_AFTER_MOST_S                                             \
    3600 /* a server's slip holds us no longer                                 \
          */

/* The media type of a file by the end of its name, in any case. */
const char *forward_media_of(const char *name);

#define FORWARD_NAME_SIZE 181 /* leaves room for a count and .reason.txt */

/* A file name that is safe to make: printable UTF-8 without a slash, not
 * hidden, cut at its front when it is too long; "item" when nothing is left. */
void forward_name_safe(const char *name, char ret[FORWARD_NAME_SIZE]);

/* The bytes that "\r", "\n", "\t", "\\" and "\x04" in text stand for; false
 * when another backslash stands there or ret is too small. */
bool forward_unescape(
    const char *text, char *ret, size_t size, size_t *ret_len);

struct forward_line {
    int bits;    /* a second */
    int data;    /* 7 or 8 */
    char parity; /* 'N', 'E' or 'O' */
    int stop;    /* 1 or 2 */
};

/* "9600,8N1" and the like; false for anything else. */
bool forward_line_parse(const char *text, struct forward_line *ret);
