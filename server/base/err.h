#pragma once
/*
 * base/err.h - how an operation ended, and every fault of its input.
 *
 * An err starts as RC_OK with an arena for its texts.  Texts are lower case,
 * without a full stop, say what could not be done and why, and quote values.
 * Faults carry a JSON Pointer (RFC 6901) into the input.
 */
#include <stddef.h>

struct arena;

enum rc {
#define RC(name, word) RC_##name,
#include "base/rc.def"
#undef RC
};

struct err_fault {
    struct err_fault *next;
    const char *pointer; /* "" names the whole input */
    const char *detail;
};

struct err {
    struct arena *arena; /* borrowed; owns every text below */
    enum rc rc;
    const char *detail; /* one sentence for people, NULL while RC_OK */
    const char *type;   /* last part of the problem type, NULL: the rc's word */
    struct err_fault *faults;
    struct err_fault *last;
    size_t n_faults;
};

#define ERR_INIT(arena_)                                                       \
    {                                                                          \
        .arena = (arena_)                                                      \
    }

/* Evaluates to nothing on RC_OK, returns any other code from the caller. */
#define TRY(call)                                                              \
    do {                                                                       \
        enum rc try_rc_ = (call);                                              \
        if (try_rc_ != RC_OK)                                                  \
            return try_rc_;                                                    \
    } while (0)

/* The short stable word of rc, as in problem types and logs. */
const char *rc_word(enum rc rc);

/*
 * Sets the outcome and its sentence, adds a fault when pointer is not NULL,
 * and returns rc, so that it can stand in a return.
 */
enum rc err_set(struct err *err, enum rc rc, const char *pointer,
    const char *fmt, ...) __attribute__((format(printf, 4, 5)));

/*
 * Adds one fault of the input and makes the outcome RC_INVALID unless an
 * outcome is already set.  At most ERR_FAULTS_MAX are kept, all are counted.
 */
void err_fault(struct err *err, const char *pointer, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));

#define ERR_FAULTS_MAX 100
