#include "base/instant.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

int64_t instant_now_us(void)
{
    struct timespec ts;

    clock_gettime(CLOCK_REALTIME, &ts);
    return (int64_t)ts.tv_sec * 1000000 + ts.tv_nsec / 1000;
}

int64_t instant_clock_ms(void)
{
    struct timespec ts;

    clock_gettime(CLOCK_MONOTONIC, &ts);
    return (int64_t)ts.tv_sec * 1000 + ts.tv_nsec / 1000000;
}

/* Days from the civil calendar: years counted from March, so that the leap
 * day ends the year; eras of 400 years have 146097 days. */
int64_t instant_days(int year, int month, int day)
{
    int y = month <= 2 ? year - 1 : year;
    int era = (y >= 0 ? y : y - 399) / 400;
    int yoe = y - era * 400;
    int doy = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    int doe = yoe * 365 + yoe / 4 - yoe / 100 + doy;

    return (int64_t)era * 146097 + doe - 719468;
}

void instant_civil(int64_t days, int *ret_year, int *ret_month, int *ret_day)
{
    int64_t z = days + 719468;
    int64_t era = (z >= 0 ? z : z - 146096) / 146097;
    int doe = (int)(z - era * 146097);
    int yoe = (doe - doe / 1460 + doe / 36524 - doe / 146096) / 365;
    int doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    int mp = (5 * doy + 2) / 153;

    *ret_day = doy - (153 * mp + 2) / 5 + 1;
    *ret_month = mp < 10 ? mp + 3 : mp - 9;
    *ret_year = yoe + (int)era * 400 + (*ret_month <= 2);
}

static bool leap(int year)
{
    return (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
}

static bool real_date(int year, int month, int day)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};

    if (year < 1800 || year > 2200 || month < 1 || month > 12 || day < 1)
        return false;
    return day <= days[month - 1] + (month == 2 && leap(year));
}

/* n digits at *s as a number, or -1; moves *s behind them. */
static int digits(const char **s, int n)
{
    int value = 0;

    for (int i = 0; i < n; i++, (*s)++) {
        if (**s < '0' || **s > '9')
            return -1;
        value = value * 10 + (**s - '0');
    }
    return value;
}

static bool letter(const char **s, char c)
{
    if (**s != c)
        return false;
    (*s)++;
    return true;
}

static bool read_date(const char **s, int *y, int *m, int *d)
{
    *y = digits(s, 4);
    if (*y < 0 || !letter(s, '-') || (*m = digits(s, 2)) < 0)
        return false;
    if (!letter(s, '-') || (*d = digits(s, 2)) < 0)
        return false;
    return real_date(*y, *m, *d);
}

static bool read_fraction(const char **s, int *ret_us)
{
    int us = 0, n = 0;

    for (; **s >= '0' && **s <= '9'; (*s)++, n++)
        if (n < 6)
            us = us * 10 + (**s - '0');
    if (n == 0)
        return false;
    for (; n < 6; n++)
        us *= 10;
    *ret_us = us;
    return true;
}

static bool read_offset(const char **s, int *ret_min)
{
    int sign, hours, minutes;

    if (**s == 'Z' || **s == 'z') {
        (*s)++;
        *ret_min = 0;
        return true;
    }
    if (**s != '+' && **s != '-')
        return false;
    sign = *(*s)++ == '-' ? -1 : 1;
    hours = digits(s, 2);
    if (hours < 0 || !letter(s, ':') || (minutes = digits(s, 2)) < 0)
        return false;
    *ret_min = sign * (hours * 60 + minutes);
    return hours <= 14 && minutes < 60;
}

/* hh:mm:ss and its fraction, as microseconds of the day. */
static bool read_clock(const char **s, int64_t *ret_us)
{
    int h, mi, sec, us = 0;

    h = digits(s, 2);
    if (h < 0 || h > 23 || !letter(s, ':'))
        return false;
    mi = digits(s, 2);
    if (mi < 0 || mi > 59 || !letter(s, ':'))
        return false;
    sec = digits(s, 2);
    if (sec < 0 || sec > 59)
        return false;
    if (letter(s, '.') && !read_fraction(s, &us))
        return false;
    *ret_us = ((int64_t)h * 3600 + mi * 60 + sec) * 1000000 + us;
    return true;
}

bool instant_parse(const char *s, int64_t *ret_us, int *ret_offset_min)
{
    int y, mo, d, offset;
    int64_t clock_us;

    if (!read_date(&s, &y, &mo, &d) || (*s != 'T' && *s != 't'))
        return false;
    s++;
    if (!read_clock(&s, &clock_us) || !read_offset(&s, &offset) || *s != '\0')
        return false;
    *ret_us =
        (instant_days(y, mo, d) * 86400 - offset * 60) * 1000000 + clock_us;
    *ret_offset_min = offset;
    return true;
}

char *instant_text(int64_t us, int offset_min, char buf[INSTANT_TEXT_MAX])
{
    int64_t local = us + (int64_t)offset_min * 60000000;
    int64_t secs = local / 1000000;
    int part = (int)(local % 1000000);
    int64_t days;
    int y, mo, d, rest, at;
    int size = offset_min < 0 ? -offset_min : offset_min;

    if (part < 0) {
        part += 1000000;
        secs--;
    }
    days = secs / 86400 - (secs % 86400 < 0);
    rest = (int)(secs - days * 86400);
    instant_civil(days, &y, &mo, &d);
    at = snprintf(buf, INSTANT_TEXT_MAX, "%04d-%02d-%02dT%02d:%02d:%02d", y, mo,
        d, rest / 3600, rest / 60 % 60, rest % 60);
    if (part)
        at +=
            snprintf(buf + at, (size_t)(INSTANT_TEXT_MAX - at), ".%06d", part);
    if (offset_min == 0)
        snprintf(buf + at, (size_t)(INSTANT_TEXT_MAX - at), "Z");
    else
        snprintf(buf + at, (size_t)(INSTANT_TEXT_MAX - at), "%c%02d:%02d",
            offset_min < 0 ? '-' : '+', size / 60, size % 60);
    return buf;
}

bool instant_date_valid(const char *s)
{
    size_t len = strlen(s);
    int y, m = 1, d = 1;

    if (len != 4 && len != 7 && len != 10)
        return false;
    y = digits(&s, 4);
    if (len > 4 && (!letter(&s, '-') || (m = digits(&s, 2)) < 0))
        return false;
    if (len > 7 && (!letter(&s, '-') || (d = digits(&s, 2)) < 0))
        return false;
    return y >= 0 && real_date(y, m, d);
}
