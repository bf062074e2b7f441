#include "base/num.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const int64_t POW10[] = {
    1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000};

bool num_scaled(double x, int places, double limit, int64_t *ret)
{
    double scaled, whole;

    if (!isfinite(x) || fabs(x) > limit)
        return false;
    scaled = x * (double)POW10[places];
    whole = round(scaled);
    if (fabs(scaled - whole) > 1e-6)
        return false;
    *ret = (int64_t)whole;
    return true;
}

int64_t num_round(double x, int places)
{
    double scaled = x * (double)POW10[places];

    /* 1.005 is stored as 1.00499...: lean a hair outward, as people round. */
    return (int64_t)round(scaled + (scaled < 0 ? -1e-9 : 1e-9));
}

char *num_text(int64_t value, int places, char *buf)
{
    char digits[24];
    uint64_t size = value < 0 ? 0 - (uint64_t)value : (uint64_t)value;
    int n = 0;
    char *to = buf;

    /* Backwards, with at least one digit before the point. */
    while (size || n <= places) {
        digits[n++] = (char)('0' + size % 10);
        size /= 10;
    }
    if (value < 0)
        *to++ = '-';
    while (n > 0) {
        if (n == places)
            *to++ = '.';
        *to++ = digits[--n];
    }
    *to = '\0';
    return buf;
}

char *num_trim(double x, int places, char *buf)
{
    size_t len;

    num_text(num_round(x, places), places, buf);
    if (!places)
        return buf;
    len = strlen(buf);
    while (buf[len - 1] == '0')
        len--;
    if (buf[len - 1] == '.')
        len--;
    buf[len] = '\0';
    return buf;
}

char *num_shortest(double x, char *buf)
{
    if (x == 0)
        x = 0; /* -0 never leaves us */
    for (int digits = 15; digits <= 17; digits++) {
        snprintf(buf, NUM_TEXT_MAX, "%.*g", digits, x);
        if (strtod(buf, NULL) == x)
            break;
    }
    return buf;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

bool num_parse(const char *s, size_t len, int places, int64_t limit,
    int64_t *ret, bool *ret_signed)
{
    size_t i = 0, digits = 0;
    int behind = -1; /* places read behind the point, -1 before it */
    int64_t value = 0, scale;
    bool minus = false;

    *ret_signed = len > 0 && (s[0] == '+' || s[0] == '-');
    if (*ret_signed)
        minus = s[i++] == '-';
    for (; i < len; i++) {
        if (s[i] == '.' && behind < 0 && digits > 0) {
            behind = 0;
            continue;
        }
        if (!is_digit(s[i]) || (behind >= 0 && behind >= places))
            return false;
        if (value > (limit - (s[i] - '0')) / 10)
            return false;
        value = value * 10 + (s[i] - '0');
        digits++;
        if (behind >= 0)
            behind++;
    }
    if (!digits || behind == 0)
        return false;
    scale = POW10[places - (behind < 0 ? 0 : behind)];
    if (value > limit / scale)
        return false;
    value *= scale;
    *ret = minus ? -value : value;
    return true;
}

double num_read(const char *s)
{
    return strtod(s, NULL);
}
