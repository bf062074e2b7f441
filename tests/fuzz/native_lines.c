/* Lines are the same whether they come at once or in pieces: the first byte
 * says how long these are. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/arena.h"
#include "instruments/native_lines.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len);

/* What a body came to: its groups in order, as one number. */
struct sum {
    uint64_t hash; /* FNV-1a */
    size_t n;
};

static void add(struct sum *sum, uint64_t value)
{
    sum->hash = (sum->hash ^ value) * UINT64_C(1099511628211);
}

static void drain(struct native_lines *lines, struct sum *sum)
{
    struct arena *arena = arena_new();
    struct profile_group group;

    for (;;) {
        struct err err = ERR_INIT(arena);

        if (!native_lines_next(lines, &group, &err))
            break;
        if ((err.rc == RC_OK) != (group.readings.n == 1) ||
            group.len > NATIVE_LINE_MAX)
            abort();
        sum->n++;
        add(sum, group.line);
        add(sum, err.rc);
        for (size_t i = 0; i < group.len; i++)
            add(sum, (uint8_t)group.bytes[i]);
        arena_reset(arena);
    }
    arena_free(arena);
}

static struct sum sum_of(const uint8_t *bytes, size_t len, size_t piece)
{
    struct native_lines *lines = native_lines_new();
    struct sum sum = {.hash = UINT64_C(14695981039346656037)};

    for (size_t at = 0; at < len; at += piece) {
        native_lines_add(lines, (const char *)bytes + at,
            len - at < piece ? len - at : piece);
        drain(lines, &sum);
    }
    native_lines_end(lines);
    drain(lines, &sum);
    native_lines_free(lines);
    return sum;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len)
{
    struct sum whole, pieces;

    if (len == 0)
        return 0;
    whole = sum_of(bytes + 1, len - 1, len);
    pieces = sum_of(bytes + 1, len - 1, (size_t)bytes[0] + 1);
    if (whole.hash != pieces.hash || whole.n != pieces.n) {
        fprintf(stderr, "broken promise: %zu groups at once, %zu in pieces\n",
            whole.n, pieces.n);
        abort();
    }
    return 0;
}
