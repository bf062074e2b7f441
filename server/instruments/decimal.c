#include "instruments/decimal.h"

#include <stdint.h>

#define DECIMAL_MAX 16

struct scan {
    const char *at, *end;
    int64_t value;
    int digits;
};

/* Digits into value; 16 characters can't overflow it. */
static int scan_digits(struct scan *s)
{
    int n = 0;

    for (; s->at < s->end && *s->at >= '0' && *s->at <= '9'; s->at++, n++)
        s->value = s->value * 10 + (*s->at - '0');
    s->digits += n;
    return n;
}

static bool scan_letter(struct scan *s, char a, char b)
{
    if (s->at == s->end || (*s->at != a && *s->at != b))
        return false;
    s->at++;
    return true;
}

/* 1 or -1, and the sign, if one stands there, is passed. */
static int scan_sign(struct scan *s)
{
    if (scan_letter(s, '-', '-'))
        return -1;
    (void)scan_letter(s, '+', '+');
    return 1;
}

static bool scan_exponent(struct scan *s, int *ret)
{
    struct scan exponent;
    int sign;

    *ret = 0;
    if (!scan_letter(s, 'e', 'E'))
        return true;
    sign = scan_sign(s);
    exponent = (struct scan){s->at, s->end, 0, 0};
    if (!scan_digits(&exponent) || exponent.value > 99)
        return false;
    s->at = exponent.at;
    *ret = sign * (int)exponent.value;
    return true;
}

/* One multiplication or division by an exact power of ten (up to 10^22) of an
 * exact whole number (below 2^53) rounds once, so it is the nearest double. */
static double scaled(int64_t value, int exponent)
{
    double x = (double)value, power = 1;

    for (int i = exponent < 0 ? -exponent : exponent; i > 0; i--)
        power *= 10;
    return exponent < 0 ? x / power : x * power;
}

bool instruments_decimal_read(const char *s, size_t len, double *ret)
{
    struct scan scan = {s, s + len, 0, 0};
    int sign, places = 0, exponent;

    while (scan.at < scan.end && *scan.at == ' ')
        scan.at++;
    while (scan.end > scan.at && scan.end[-1] == ' ')
        scan.end--;
    if (scan.end - scan.at > DECIMAL_MAX)
        return false;
    sign = scan_sign(&scan);
    scan_digits(&scan);
    if (scan_letter(&scan, '.', '.'))
        places = scan_digits(&scan);
    if (!scan.digits || !scan_exponent(&scan, &exponent) || scan.at != scan.end)
        return false;
    *ret = sign * scaled(scan.value, exponent - places);
    return true;
}
