#include "instruments/encoding.h"

#include <stdint.h>
#include <string.h>

const char *const ENCODING_WORDS[] = {
    "utf-8", "utf-16le", "utf-16be", "latin-1", NULL};

size_t encoding_unit(enum encoding encoding)
{
    return encoding == ENCODING_UTF_16LE || encoding == ENCODING_UTF_16BE ? 2
                                                                          : 1;
}

size_t encoding_mark(const char *bytes, size_t len, enum encoding *encoding)
{
    static const struct {
        const char *mark;
        size_t len;
        enum encoding encoding;
    } MARKS[] = {
        {"\xef\xbb\xbf", 3, ENCODING_UTF_8},
        {"\xff\xfe", 2, ENCODING_UTF_16LE},
        {"\xfe\xff", 2, ENCODING_UTF_16BE},
    };

    for (size_t i = 0; i < ARRAY_LEN(MARKS); i++) {
        if (len >= MARKS[i].len &&
            memcmp(bytes, MARKS[i].mark, MARKS[i].len) == 0) {
            *encoding = MARKS[i].encoding;
            return MARKS[i].len;
        }
    }
    return 0;
}

/* Bytes of the UTF-8 sequence at s (RFC 3629), or 0 when there is none: no
 * overlong form, no surrogate, nothing over U+10FFFF, no NUL. */
static size_t sequence(const unsigned char *s, size_t len)
{
    unsigned char low = 0x80, high = 0xbf;
    size_t n;

    if (s[0] < 0x80)
        return s[0] != 0;
    if (s[0] < 0xc2 || s[0] > 0xf4)
        return 0;
    n = s[0] < 0xe0 ? 2 : s[0] < 0xf0 ? 3 : 4;
    if (len < n)
        return 0;
    if (s[0] == 0xe0)
        low = 0xa0;
    else if (s[0] == 0xf0)
        low = 0x90;
    else if (s[0] == 0xed)
        high = 0x9f;
    else if (s[0] == 0xf4)
        high = 0x8f;
    if (s[1] < low || s[1] > high)
        return 0;
    for (size_t i = 2; i < n; i++)
        if ((s[i] & 0xc0) != 0x80)
            return 0;
    return n;
}

static struct encoding_text read_utf_8(const char *bytes, size_t len)
{
    size_t at = 0;

    while (at < len) {
        size_t n = sequence((const unsigned char *)bytes + at, len - at);

        if (n == 0)
            return (struct encoding_text){.bad_at = at};
        at += n;
    }
    return (struct encoding_text){.s = bytes, .len = len};
}

/* Up to four bytes; returns how many. */
static size_t put_code(char *to, uint32_t code)
{
    if (code < 0x80) {
        to[0] = (char)code;
        return 1;
    }
    if (code < 0x800) {
        to[0] = (char)(0xc0 | code >> 6);
        to[1] = (char)(0x80 | (code & 0x3f));
        return 2;
    }
    if (code < 0x10000) {
        to[0] = (char)(0xe0 | code >> 12);
        to[1] = (char)(0x80 | (code >> 6 & 0x3f));
        to[2] = (char)(0x80 | (code & 0x3f));
        return 3;
    }
    to[0] = (char)(0xf0 | code >> 18);
    to[1] = (char)(0x80 | (code >> 12 & 0x3f));
    to[2] = (char)(0x80 | (code >> 6 & 0x3f));
    to[3] = (char)(0x80 | (code & 0x3f));
    return 4;
}

static struct encoding_text read_latin_1(
    const char *bytes, size_t len, struct arena *arena)
{
    char *to = arena_alloc(arena, 2 * len + 1);
    size_t n = 0;

    for (size_t i = 0; i < len; i++) {
        if (bytes[i] == '\0')
            return (struct encoding_text){.bad_at = i};
        n += put_code(to + n, (unsigned char)bytes[i]);
    }
    to[n] = '\0';
    return (struct encoding_text){.s = to, .len = n};
}

static uint32_t unit_at(const unsigned char *s, bool big)
{
    return big ? (uint32_t)s[0] << 8 | s[1] : (uint32_t)s[1] << 8 | s[0];
}

static struct encoding_text read_utf_16(
    bool big, const char *bytes, size_t len, struct arena *arena)
{
    const unsigned char *s = (const unsigned char *)bytes;
    char *to = arena_alloc(arena, len / 2 * 3 + 1);
    size_t n = 0;

    for (size_t i = 0; i < len; i += 2) {
        uint32_t code = i + 1 < len ? unit_at(s + i, big) : 0;
        size_t at = i;

        if (code >= 0xd800 && code < 0xdc00 && i + 3 < len) {
            uint32_t low = unit_at(s + i + 2, big);

            if (low >= 0xdc00 && low < 0xe000) {
                code = 0x10000 + ((code - 0xd800) << 10) + (low - 0xdc00);
                i += 2;
            }
        }
        if (code == 0 || code == 0xfffe || (code >= 0xd800 && code < 0xe000))
            return (struct encoding_text){.bad_at = at};
        n += put_code(to + n, code);
    }
    to[n] = '\0';
    return (struct encoding_text){.s = to, .len = n};
}

struct encoding_text encoding_read(
    enum encoding encoding, const char *bytes, size_t len, struct arena *arena)
{
    switch (encoding) {
    case ENCODING_LATIN_1:
        return read_latin_1(bytes, len, arena);
    case ENCODING_UTF_16LE:
    case ENCODING_UTF_16BE:
        return read_utf_16(encoding == ENCODING_UTF_16BE, bytes, len, arena);
    default:
        return read_utf_8(bytes, len);
    }
}
