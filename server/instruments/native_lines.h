#pragma once
/*
 * instruments/native_lines.h - readings in our own form, one a line, as they
 * arrive (application/x-ndjson).
 *
 * Holds the line that isn't complete yet and what was added behind it.  Used
 * as profile_rows is (profile.h): each line is a group of its own.  Empty
 * lines count and give no group.
 */
#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"
#include "instruments/profile.h"

#define NATIVE_LINE_MAX 65536 /* bytes of a line without its end */

struct native_lines;

struct native_lines *native_lines_new(void);
void native_lines_free(struct native_lines *lines); /* NULL is a no-op */

void native_lines_add(
    struct native_lines *lines, const char *bytes, size_t len);
void native_lines_end(struct native_lines *lines);

/* As profile_rows_next.  A line that is too long is told at once, and the
 * rest of it passed over: RC_TOO_LARGE without its bytes. */
bool native_lines_next(
    struct native_lines *lines, struct profile_group *ret, struct err *err);
