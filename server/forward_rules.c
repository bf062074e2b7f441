#include "forward_rules.h"

#include <glib.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "base/arena.h"
#include "base/num.h"

enum forward_verdict forward_verdict_of(int status)
{
    if (status >= 200 && status <= 299)
        return FORWARD_TAKEN;
    switch (status) {
    case 500: /* may be the fault of one item: others must not wait for it */
        return FORWARD_LATER;
    case 401: /* the token or the address is wrong, and no item is to blame */
    case 403:
    case 404:
    case 405:
    case 408:
    case 425:
    case 429:
        return FORWARD_ALL_LATER;
    default:
        return status >= 400 && status <= 499 ? FORWARD_REFUSED
                                              : FORWARD_ALL_LATER;
    }
}

int64_t forward_pause_ms(
    struct forward_pauses pauses, unsigned failures, uint32_t random)
{
    int64_t pause = pauses.first_ms;

    for (unsigned i = 1; i < failures && pause < pauses.most_ms; i++)
        pause *= 2;
    if (pause > pauses.most_ms)
        pause = pauses.most_ms;
    return pause - (int64_t)((uint64_t)(pause / 2) * random / UINT32_MAX);
}

const char *forward_media_of(const char *name)
{
    static const char *const types[][2] = {
        {".json", "application/json"},
        {".ndjson", "application/x-ndjson"},
        {".jsonl", "application/x-ndjson"},
        {".csv", "text/csv"},
        {".xml", "application/xml"},
        {".dcm", "application/dicom"},
        {".txt", "text/plain"},
    };
    const char *dot = strrchr(name, '.');

    for (size_t i = 0; dot && i < ARRAY_LEN(types); i++)
        if (strcasecmp(dot, types[i][0]) == 0)
            return types[i][1];
    return "application/octet-stream";
}

void forward_name_safe(const char *name, char ret[FORWARD_NAME_SIZE])
{
    char *valid = g_utf8_make_valid(name, -1);
    const char *at = valid;
    size_t len = 0;

    while (strlen(at) >= FORWARD_NAME_SIZE)
        at = g_utf8_next_char(at);
    while (*at == '.')
        at++;
    for (; *at; at = g_utf8_next_char(at)) {
        size_t n = (size_t)(g_utf8_next_char(at) - at);

        if (*at == '/' || !g_unichar_isprint(g_utf8_get_char(at))) {
            ret[len++] = '_';
            continue;
        }
        memcpy(ret + len, at, n);
        len += n;
    }
    ret[len] = '\0';
    if (len == 0)
        snprintf(ret, FORWARD_NAME_SIZE, "item");
    g_free(valid);
}

/* One escape behind its backslash; 0 when there is none such, else how many
 * characters it takes. */
static size_t unescape_one(const char *at, char *ret)
{
    static const char from[] = "rnt\\", to[] = "\r\n\t\\";
    const char *found = *at ? strchr(from, *at) : NULL;
    int high, low;

    if (found) {
        *ret = to[found - from];
        return 1;
    }
    if (*at != 'x')
        return 0;
    high = g_ascii_xdigit_value(at[1]);
    low = high < 0 ? -1 : g_ascii_xdigit_value(at[2]);
    if (low < 0)
        return 0;
    *ret = (char)(high * 16 + low);
    return 3;
}

bool forward_unescape(const char *text, char *ret, size_t size, size_t *ret_len)
{
    size_t len = 0;

    for (const char *at = text; *at;) {
        size_t took = 0;

        if (len == size)
            return false;
        if (*at != '\\') {
            ret[len++] = *at++;
            continue;
        }
        took = unescape_one(at + 1, &ret[len++]);
        if (took == 0)
            return false;
        at += took + 1;
    }
    *ret_len = len;
    return len > 0;
}

bool forward_line_parse(const char *text, struct forward_line *ret)
{
    const char *comma = strchr(text, ',');
    int64_t bits;

    if (!comma || strlen(comma) != 4 ||
        !num_parse(text, (size_t)(comma - text), 0, 1000000, &bits) ||
        bits < 1 || num_has_sign(text, 1))
        return false;
    if ((comma[1] != '7' && comma[1] != '8') || !strchr("NEO", comma[2]) ||
        (comma[3] != '1' && comma[3] != '2'))
        return false;
    *ret = (struct forward_line){
        (int)bits, comma[1] - '0', comma[2], comma[3] - '0'};
    return true;
}
