/* instruments/profile_time.c - times and dates by a template. */
#include <string.h>

#include "base/instant.h"
#include "instruments/profile_inside.h"

enum part { YEAR, MONTH, DAY, HOUR, MINUTE, SECOND, HALF, PARTS };

static const struct {
    const char *word;
    int digits; /* at most; HALF has none */
} TOKENS[PARTS] = {
    [YEAR] = {"YYYY", 4},
    [MONTH] = {"MM", 2},
    [DAY] = {"DD", 2},
    [HOUR] = {"hh", 2},
    [MINUTE] = {"mm", 2},
    [SECOND] = {"ss", 2},
    [HALF] = {"AM", 0},
};

static int token_at(const char *s)
{
    for (int i = 0; i < PARTS; i++)
        if (strncmp(s, TOKENS[i].word, strlen(TOKENS[i].word)) == 0)
            return i;
    return -1;
}

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

const char *profile_time_refusal(const char *format, bool date_only)
{
    unsigned seen = 0, date = 1u << YEAR | 1u << MONTH | 1u << DAY;
    unsigned need = date_only ? date : date | 1u << HOUR | 1u << MINUTE;

    for (const char *s = format; *s;) {
        int part = token_at(s);

        if (part < 0) {
            if (is_letter(*s) && *s != 'T')
                return "holds a letter that is none of YYYY MM DD hh mm ss AM";
            if (*s >= '0' && *s <= '9')
                return "must not hold digits";
            s++;
            continue;
        }
        if (seen & 1u << part)
            return "holds a part twice";
        if (date_only && part > DAY)
            return "must be of YYYY MM DD alone";
        seen |= 1u << part;
        s += strlen(TOKENS[part].word);
    }
    if ((seen & need) != need)
        return date_only ? "must hold YYYY MM DD"
                         : "must hold YYYY MM DD hh mm";
    return NULL;
}

/* As many digits as the token has; one may be missing (3.5.2026) unless
 * exact. */
static bool read_digits(const char **text, int most, bool exact, int *ret)
{
    int n = 0;

    *ret = 0;
    for (; n < most && **text >= '0' && **text <= '9'; n++, (*text)++)
        *ret = *ret * 10 + (**text - '0');
    return n == most || (!exact && n > 0);
}

static bool read_half(const char **text, int *ret)
{
    char first = (char)(**text & ~0x20);

    if ((first != 'A' && first != 'P') || ((*text)[1] & ~0x20) != 'M')
        return false;
    *ret = first == 'P';
    *text += 2;
    return true;
}

static bool read_parts(const char *format, const char *text, int value[PARTS])
{
    bool joined = false; /* to the part before */

    while (*format) {
        int part = token_at(format);
        bool exact = joined;

        joined = part >= 0;
        if (part < 0) {
            if (*format++ != *text++)
                return false;
            continue;
        }
        format += strlen(TOKENS[part].word);
        exact = exact || part == YEAR || token_at(format) >= 0;
        if (part == HALF
                ? !read_half(&text, &value[HALF])
                : !read_digits(&text, TOKENS[part].digits, exact, &value[part]))
            return false;
    }
    return *text == '\0';
}

/* 12 AM is midnight, 12 PM noon. */
static bool turn_hour(int value[PARTS])
{
    if (value[HALF] < 0)
        return value[HOUR] < 24;
    if (value[HOUR] < 1 || value[HOUR] > 12)
        return false;
    value[HOUR] = value[HOUR] % 12 + 12 * value[HALF];
    return true;
}

bool profile_time_read(const char *format, const char *text, bool date_only,
    const char **ret, struct arena *arena)
{
    int v[PARTS] = {0};
    char *date;

    v[HALF] = -1;
    if (!read_parts(format, text, v) || !turn_hour(v) || v[MINUTE] > 59 ||
        v[SECOND] > 59)
        return false;
    date = arena_printf(arena, "%04d-%02d-%02d", v[YEAR], v[MONTH], v[DAY]);
    if (!instant_date_valid(date))
        return false;
    *ret = date_only ? date
                     : arena_printf(arena, "%sT%02d:%02d:%02d", date, v[HOUR],
                           v[MINUTE], v[SECOND]);
    return true;
}
