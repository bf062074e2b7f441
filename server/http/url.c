#include "http/url.h"

#include <glib.h>
#include <string.h>

#include "base/arena.h"

static int hex(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    c = (char)(c | 0x20);
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

char *url_decode(struct arena *arena, const char *s, size_t len, bool plus)
{
    char *out = arena_alloc(arena, len + 1), *to = out;

    for (size_t i = 0; i < len; i++) {
        char c = s[i];

        if (c == '%') {
            if (len - i < 3 || hex(s[i + 1]) < 0 || hex(s[i + 2]) < 0)
                return NULL;
            c = (char)(hex(s[i + 1]) << 4 | hex(s[i + 2]));
            i += 2;
        } else if (plus && c == '+') {
            c = ' ';
        }
        if ((unsigned char)c < 0x20 || c == 0x7f)
            return NULL;
        *to++ = c;
    }
    *to = '\0';
    return g_utf8_validate(out, -1, NULL) ? out : NULL;
}

/* The next name and value of a query; false at its end. */
struct pair {
    const char *name, *value;
    size_t name_len, value_len;
};

static bool next_pair(const char **query, struct pair *ret)
{
    const char *s = *query, *end, *eq;

    if (!s || !*s)
        return false;
    end = strchrnul(s, '&');
    eq = memchr(s, '=', (size_t)(end - s));
    ret->name = s;
    ret->name_len = (size_t)((eq ? eq : end) - s);
    ret->value = eq ? eq + 1 : end;
    ret->value_len = (size_t)(end - ret->value);
    *query = *end ? end + 1 : end;
    return true;
}

const char *url_argument(
    struct arena *arena, const char *query, const char *name)
{
    struct pair p;

    while (next_pair(&query, &p))
        if (p.name_len == strlen(name) && memcmp(p.name, name, p.name_len) == 0)
            return url_decode(arena, p.value, p.value_len, true);
    return NULL;
}

static bool in_list(const char *list, const char *name, size_t len)
{
    while (*list) {
        const char *end = strchrnul(list, ' ');

        if ((size_t)(end - list) == len && memcmp(list, name, len) == 0)
            return true;
        list = *end ? end + 1 : end;
    }
    return false;
}

bool url_names_known(struct arena *arena, const char *query, const char *list,
    const char **ret_bad)
{
    const char *rest = query;
    struct pair p, again;

    while (next_pair(&rest, &p)) {
        const char *later = rest;
        bool good = in_list(list, p.name, p.name_len) &&
                    url_decode(arena, p.value, p.value_len, true);

        while (good && next_pair(&later, &again))
            good = again.name_len != p.name_len ||
                   memcmp(again.name, p.name, p.name_len) != 0;
        if (good)
            continue;
        *ret_bad = url_decode(arena, p.name, p.name_len, true);
        if (!*ret_bad)
            *ret_bad = "?";
        return false;
    }
    return true;
}
