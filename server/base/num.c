#include "base/num.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const int64_t POW10[] = {
    1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000};

bool num_scaled(double x, int places, double limit, int64_t *ret)
{
    double whole;

    if (!isfinite(x) || fabs(x) > limit)
        return false;
    /* Text of so many places reads as the double nearest to the quotient. */
    whole = round(x * (double)POW10[places]);
    if (whole / (double)POW10[places] != x)
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

/* Digits of s[*i..len) behind *value, while it stays within limit; how many,
 * -1 above the limit. */
static int take_digits(
    const char *s, size_t len, size_t *i, int64_t limit, int64_t *value)
{
    int n = 0;

    for (; *i < len && is_digit(s[*i]); (*i)++, n++) {
        int digit = s[*i] - '0';

        if (*value > (limit - digit) / 10)
            return -1;
        *value = *value * 10 + digit;
    }
    return n;
}

bool num_parse(
    const char *s, size_t len, int places, int64_t limit, int64_t *ret)
{
    size_t i = 0;
    int behind = 0;
    int64_t value = 0, scale;
    bool minus = len > 0 && s[0] == '-';

    i += num_has_sign(s, len);
    if (take_digits(s, len, &i, limit, &value) < 1)
        return false;
    if (i < len && s[i] == '.') {
        i++;
        behind = take_digits(s, len, &i, limit, &value);
        if (behind < 1 || behind > places)
            return false;
    }
    scale = POW10[places - behind];
    if (i < len || value > limit / scale)
        return false;
    *ret = minus ? -value * scale : value * scale;
    return true;
}

double num_read(const char *s)
{
    return strtod(s, NULL);
}
