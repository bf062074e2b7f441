#pragma once
/*
 * base/child.h - another program as a confined child: bytes in, bytes out.
 *
 * It gets no file of ours but its input, which is memory, and no environment
 * but PATH.  It stands in an empty folder that is gone already, can make no
 * socket, no process and no file (seccomp; where the kernel refuses that, a
 * network of its own), and is killed when it takes more than it may.
 * Blocks: for a worker's thread.
 */
#include <stddef.h>

#include "base/text.h"

struct child_program {
    const char *name;        /* looked for along PATH */
    const char *const *args; /* behind the name, NULL-ended; at most 14 */
};

struct child_limits {
    int cpu_s;
    int wall_ms;
    size_t memory;     /* address space, bytes */
    size_t output_max; /* bytes */
};

enum child_end {
    CHILD_OK,      /* it ended with status 0 */
    CHILD_MISSING, /* there is no such program */
    CHILD_UNABLE,  /* no process, pipe or memory was to be had */
    CHILD_FAILED,  /* it said so, or broke down */
    CHILD_SLOW,    /* killed: too much time */
    CHILD_LONG,    /* killed: too much output */
};

/* in is what it reads from its standard input; what it writes to its standard
 * output is put to out, which is of use with CHILD_OK only. */
enum child_end child_run(const struct child_program *program,
    const struct child_limits *limits, const void *in, size_t len,
    struct text *out);
