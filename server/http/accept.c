#include "http/accept.h"

#include <string.h>
#include <strings.h>

static size_t trimmed(const char **s, const char *end)
{
    while (*s < end && (**s == ' ' || **s == '\t'))
        (*s)++;
    while (end > *s && (end[-1] == ' ' || end[-1] == '\t'))
        end--;
    return (size_t)(end - *s);
}

/* 3: the word itself, 2: its type with any subtype, 1: anything, 0: another. */
static int fit(const char *name, size_t len, const char *word)
{
    const char *slash = strchr(word, '/');
    size_t type = slash ? (size_t)(slash - word) + 1 : 0;

    if (len == strlen(word) && strncasecmp(name, word, len) == 0)
        return 3;
    if (type && len == type + 1 && name[type] == '*' &&
        strncasecmp(name, word, type) == 0)
        return 2;
    if ((len == 3 && memcmp(name, "*/*", 3) == 0) || (len == 1 && *name == '*'))
        return 1;
    return 0;
}

/* A weight is 0 when it has no digit but 0 (q=0, q=0.000). */
static bool refused(const char *s, const char *end)
{
    while (s < end) {
        const char *stop = memchr(s, ';', (size_t)(end - s));
        const char *param = s;
        size_t len = trimmed(&param, stop ? stop : end);

        if (len > 2 && (*param == 'q' || *param == 'Q') && param[1] == '=')
            return strspn(param + 2, "0.") == len - 2;
        s = stop ? stop + 1 : end;
    }
    return false;
}

/* How specific the entry is that takes word, 0: none does. */
static int weigh(const char *list, const char *word)
{
    int best = 0;
    bool takes = false;

    while (*list) {
        const char *end = strchrnul(list, ',');
        const char *semicolon = memchr(list, ';', (size_t)(end - list));
        const char *name = list;
        size_t len = trimmed(&name, semicolon ? semicolon : end);
        int how = fit(name, len, word);

        if (how > best) {
            best = how;
            takes = !semicolon || !refused(semicolon + 1, end);
        }
        list = *end ? end + 1 : end;
    }
    return takes ? best : 0;
}

bool accept_takes(const char *list, const char *word)
{
    return weigh(list, word) > 0;
}

bool accept_names(const char *list, const char *word)
{
    return weigh(list, word) == 3;
}
