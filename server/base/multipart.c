#include "base/multipart.h"

#include <string.h>
#include <strings.h>

#define HEADERS_MAX 8192

/* Characters of a boundary (RFC 2046, 5.1.1); it doesn't end in a blank. */
static const char BOUNDARY_CHARS[] = "0123456789'()+_,-./:=? "
                                     "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                     "abcdefghijklmnopqrstuvwxyz";
/* Of a token (RFC 9110, 5.6.2). */
#define TOKEN_CHARS                                                            \
    "!#$%&'*+-.^_`|~0123456789"                                                \
    "ABCDEFGHIJKLMNOPQRSTUVWXYZ"                                               \
    "abcdefghijklmnopqrstuvwxyz"

/* ---- parameters of a media type ---------------------------------------- */

/* A quoted string from its first quote on, unquoted; NULL: it doesn't end, or
 * doesn't fit. */
static const char *unquote(const char *at, char *ret, size_t room)
{
    size_t n = 0;

    for (at++; *at != '"'; at++) {
        if (*at == '\\')
            at++;
        if (!*at || n + 1 >= room)
            return NULL;
        ret[n++] = *at;
    }
    ret[n] = '\0';
    return at + 1;
}

/* The value at at; behind it, or NULL. */
static const char *read_value(const char *at, char *ret, size_t room)
{
    /* A media type without quotes is wrong, clear, and often met. */
    size_t n = strspn(at, "/" TOKEN_CHARS);

    if (*at == '"')
        return unquote(at, ret, room);
    if (n == 0 || n >= room)
        return NULL;
    memcpy(ret, at, n);
    ret[n] = '\0';
    return at + n;
}

bool multipart_parameter(
    const char *media_type, const char *name, char *ret, size_t room)
{
    const char *at = media_type + strcspn(media_type, ";");
    char other[256] = "";
    bool found = false;

    while (*at == ';') {
        size_t n;
        bool it;

        at += 1 + strspn(at + 1, " \t");
        n = strspn(at, TOKEN_CHARS);
        if (n == 0 && (*at == ';' || !*at))
            continue;
        it = n == strlen(name) && strncasecmp(at, name, n) == 0;
        if (n == 0 || at[n] != '=' || (it && found))
            return false;
        at =
            read_value(at + n + 1, it ? ret : other, it ? room : sizeof(other));
        if (!at)
            return false;
        found = found || it;
        at += strspn(at, " \t");
    }
    return found && !*at;
}

/* ---- parts ------------------------------------------------------------- */

bool multipart_start(
    struct multipart *m, const char *boundary, const char *bytes, size_t len)
{
    size_t n = strlen(boundary);

    if (n < 1 || n > MULTIPART_BOUNDARY_MAX ||
        strspn(boundary, BOUNDARY_CHARS) != n || boundary[n - 1] == ' ')
        return false;
    *m = (struct multipart){.at = bytes, .end = bytes + len};
    memcpy(m->delimiter, "--", 2);
    memcpy(m->delimiter + 2, boundary, n + 1);
    return true;
}

/* What stands behind the delimiter at at: *ret_close for the last one;
 * *ret_rest is behind its line.  False: only something that begins like it. */
static bool is_delimiter(const struct multipart *m, const char *at,
    bool *ret_close, const char **ret_rest)
{
    size_t n = strlen(m->delimiter);
    const char *s = at + n;

    if ((size_t)(m->end - at) < n || memcmp(at, m->delimiter, n) != 0)
        return false;
    *ret_close = m->end - s >= 2 && memcmp(s, "--", 2) == 0;
    if (*ret_close)
        s += 2;
    while (s < m->end && (*s == ' ' || *s == '\t'))
        s++;
    *ret_rest = s;
    if (*ret_close && s == m->end)
        return true;
    if (m->end - s < 2 || memcmp(s, "\r\n", 2) != 0)
        return false;
    *ret_rest = s + 2;
    return true;
}

/* The next line of its own that is a delimiter, from from on (the beginning of
 * a line), or NULL. */
static const char *find_delimiter(const struct multipart *m, const char *from,
    bool *ret_close, const char **ret_rest)
{
    const char *at = from;

    while (!is_delimiter(m, at, ret_close, ret_rest)) {
        at = memmem(at, (size_t)(m->end - at), "\r\n--", 4);
        if (!at)
            return NULL;
        at += 2;
    }
    return at;
}

static void lower(char *to, size_t room, const char *from, size_t len)
{
    size_t n = 0;

    for (; n < len && n + 1 < room && !strchr("; \t", from[n]); n++)
        to[n] =
            (char)(from[n] >= 'A' && from[n] <= 'Z' ? from[n] + 32 : from[n]);
    to[n] = '\0';
}

static bool named(const char *line, size_t name_len, const char *name)
{
    return name_len == strlen(name) && strncasecmp(line, name, name_len) == 0;
}

/* One header line without its end.  False: it is none. */
static bool read_header(
    const char *line, size_t len, struct multipart_part *part)
{
    size_t n = 0;
    char word[MULTIPART_TYPE_MAX];
    const char *value;

    while (n < len && line[n] && strchr(TOKEN_CHARS, line[n]))
        n++;
    if (n == 0 || n == len || line[n] != ':' || memchr(line, '\0', len))
        return false;
    value = line + n + 1;
    while (value < line + len && (*value == ' ' || *value == '\t'))
        value++;
    lower(word, sizeof(word), value, (size_t)(line + len - value));
    if (named(line, n, "Content-Type"))
        memcpy(part->type, word, sizeof(word));
    else if (named(line, n, "Content-Transfer-Encoding"))
        part->encoded = strcmp(word, "binary") != 0 &&
                        strcmp(word, "8bit") != 0 && strcmp(word, "7bit") != 0;
    return true;
}

/* The headers at at up to and with the empty line; behind them, or NULL. */
static const char *read_headers(
    const char *at, const char *end, struct multipart_part *part)
{
    const char *from = at;

    while (end - at >= 2 && at - from < HEADERS_MAX) {
        const char *stop = memmem(at, (size_t)(end - at), "\r\n", 2);

        if (stop == at)
            return at + 2;
        if (!stop || !read_header(at, (size_t)(stop - at), part))
            return NULL;
        at = stop + 2;
    }
    return NULL;
}

enum multipart_step multipart_next(
    struct multipart *m, struct multipart_part *ret)
{
    const char *body, *stop, *rest;
    bool close;

    if (!m->at)
        return MULTIPART_END;
    if (!m->inside) {
        if (!find_delimiter(m, m->at, &close, &m->at) || close)
            return MULTIPART_BROKEN;
        m->inside = true;
    }
    *ret = (struct multipart_part){.type = "text/plain"}; /* RFC 2045, 5.2 */
    body = read_headers(m->at, m->end, ret);
    if (!body)
        return MULTIPART_BROKEN;
    /* The CRLF before a delimiter belongs to it; that of the headers may be
     * it, for a part of nothing. */
    stop = find_delimiter(m, body, &close, &rest);
    if (!stop)
        return MULTIPART_BROKEN;
    ret->bytes = body;
    ret->len = stop == body ? 0 : (size_t)(stop - 2 - body);
    m->at = close ? NULL : rest;
    return MULTIPART_PART;
}
