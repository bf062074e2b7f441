#pragma once
/*
 * base/multipart.h - bodies of several parts (RFC 2046, 5.1).
 *
 * Pure: nothing is copied but names, parts point into the body.  Lines end in
 * CRLF.  A line that only begins like the boundary is no boundary.
 */
#include <stdbool.h>
#include <stddef.h>

#define MULTIPART_BOUNDARY_MAX 70 /* RFC 2046, 5.1.1 */
#define MULTIPART_TYPE_MAX 100

/* The value of a parameter of a media type ("boundary" of
 * multipart/related; boundary="x y"), unquoted, into ret[room]; false: it isn't
 * there, is written twice or badly, or doesn't fit. */
bool multipart_parameter(
    const char *media_type, const char *name, char *ret, size_t room);

struct multipart {
    const char *at, *end;                       /* the rest of the body */
    char delimiter[MULTIPART_BOUNDARY_MAX + 3]; /* --boundary */
    bool inside;                                /* a part begins at at */
};

/* False when boundary can't be one.  bytes are borrowed. */
bool multipart_start(
    struct multipart *m, const char *boundary, const char *bytes, size_t len);

struct multipart_part {
    char type[MULTIPART_TYPE_MAX]; /* lower case, without parameters */
    bool encoded; /* a Content-Transfer-Encoding other than none */
    const char *bytes;
    size_t len;
};

enum multipart_step {
    MULTIPART_PART,
    MULTIPART_END,
    MULTIPART_BROKEN /* no boundary, or none behind the part, or bad headers */
};

/* The next part, into *ret. */
enum multipart_step multipart_next(
    struct multipart *m, struct multipart_part *ret);
