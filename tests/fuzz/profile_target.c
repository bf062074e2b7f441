#include "profile_target.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/arena.h"
#include "base/json_in.h"
#include "instruments/profile.h"
#include "reading_target.h"

static struct arena *arena; /* of the profile */

static void forget(void)
{
    arena_free(arena);
}

/* Read once; kept until the process ends. */
static const struct profile *load(const char *name)
{
    static const struct profile *profile;
    struct err err;
    char path[400];
    json_error_t e;
    json_t *doc;

    if (profile)
        return profile;
    arena = arena_new();
    atexit(forget);
    err = (struct err)ERR_INIT(arena);
    snprintf(path, sizeof(path), "%s/%s.json", PROFILES, name);
    doc = json_load_file(path, 0, &e);
    if (!doc || profile_read(json_in_root(doc, &err), &profile) != RC_OK) {
        fprintf(stderr, "%s: can't be read\n", path);
        abort();
    }
    json_decref(doc);
    return profile;
}

static void check(enum rc rc, const struct instruments_readings *readings,
    const struct err *err)
{
    PROMISE(rc == err->rc);
    PROMISE((rc == RC_OK) == (err->n_faults == 0));
    PROMISE(rc == RC_OK || rc == RC_INVALID || rc == RC_SYNTAX);
    PROMISE((rc == RC_OK) == (readings->n > 0));
    for (size_t i = 0; i < readings->n; i++)
        reading_target_check(readings->items[i]);
}

/* How many readings and faulty groups come of bytes in pieces. */
static void count_rows(const struct profile *profile, const uint8_t *bytes,
    size_t len, size_t counts[2])
{
    struct profile_rows *rows =
        profile_rows_new(profile, (struct instruments_zone){0});
    struct arena *one = arena_new();
    size_t at = 0, piece = 1;

    for (bool ended = false;; ended = at == len) {
        struct err err = ERR_INIT(one);
        struct profile_group group;

        if (ended)
            profile_rows_end(rows);
        while (profile_rows_next(rows, &group, &err)) {
            PROMISE(group.len <= PROFILE_GROUP_MAX + 2 * PROFILE_LINE_MAX);
            counts[err.rc != RC_OK] += err.rc == RC_OK ? group.readings.n : 1;
            check(err.rc, &group.readings, &err);
            arena_reset(one);
            err = (struct err)ERR_INIT(one);
        }
        if (ended)
            break;
        if (piece > len - at)
            piece = len - at;
        if (piece)
            profile_rows_add(rows, (const char *)bytes + at, piece);
        at += piece;
        piece = piece % 97 * 3 + 1;
    }
    arena_free(one);
    profile_rows_free(rows);
}

void profile_target(const char *name, const uint8_t *bytes, size_t len)
{
    const struct profile *profile = load(name);
    struct instruments_input in = {.bytes = (const char *)bytes, .len = len};
    struct instruments_readings readings = {0};
    struct arena *one = arena_new();
    struct err err = ERR_INIT(one);
    enum rc rc = profile_decode(profile, &in, &readings, &err);

    check(rc, &readings, &err);
    if (profile_by_rows(profile) && len) {
        size_t counts[2] = {0, 0};

        count_rows(profile, bytes, len, counts);
        PROMISE(rc != RC_OK || counts[1] == 0);
        PROMISE(rc != RC_OK || counts[0] == readings.n);
    }
    arena_free(one);
}
