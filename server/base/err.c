#include "base/err.h"

#include <stdarg.h>

#include "base/arena.h"

const char *rc_word(enum rc rc)
{
    static const char *const words[] = {
#define RC(name, word) [RC_##name] = word,
#include "base/rc.def"
#undef RC
    };

    return words[rc];
}

static void add_fault(struct err *err, const char *pointer, const char *detail)
{
    struct err_fault *fault;

    if (err->n_faults++ >= ERR_FAULTS_MAX)
        return;
    fault = arena_alloc(err->arena, sizeof(*fault));
    fault->next = NULL;
    fault->pointer = arena_strdup(err->arena, pointer);
    fault->detail = detail;
    if (err->last)
        err->last->next = fault;
    else
        err->faults = fault;
    err->last = fault;
}

enum rc err_set(
    struct err *err, enum rc rc, const char *pointer, const char *fmt, ...)
{
    va_list ap;

    va_start(ap, fmt);
    err->detail = arena_vprintf(err->arena, fmt, ap);
    va_end(ap);
    err->rc = rc;
    if (pointer)
        add_fault(err, pointer, err->detail);
    return rc;
}

void err_fault(struct err *err, const char *pointer, const char *fmt, ...)
{
    va_list ap;
    const char *detail = NULL;

    /* Those that aren't kept take no memory. */
    va_start(ap, fmt);
    if (err->n_faults < ERR_FAULTS_MAX)
        detail = arena_vprintf(err->arena, fmt, ap);
    va_end(ap);
    if (err->rc == RC_OK) {
        err->rc = RC_INVALID;
        err->detail = "the input can be read, but parts of it are wrong";
    }
    add_fault(err, pointer, detail);
}
