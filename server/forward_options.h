#pragma once
/*
 * forward_options.h - the command line of lensclerk-forward.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/err.h"
#include "forward_post.h"
#include "forward_text.h"
#include "forward_watch.h"

enum forward_source {
    FORWARD_NOTHING, /* only what is in the queue already */
    FORWARD_FOLDER,
    FORWARD_LINES
};

struct forward_options {
    enum { FORWARD_RUN, FORWARD_STATUS, FORWARD_HELP, FORWARD_VERSION } command;
    const char *spool, *refused; /* refused NULL: in the spool */
    enum forward_source source;
    struct forward_watch_options watch;
    struct forward_text_options text;
    struct forward_target target;
    struct forward_pauses pauses;
    bool once, json;
};

extern const char FORWARD_USAGE[];

/* Texts of *ret are argv's and the environment's.  RC_INVALID says what is
 * wrong. */
enum rc forward_options_read(
    int argc, char **argv, struct forward_options *ret, struct err *err);
