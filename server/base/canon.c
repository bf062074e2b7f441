#include "base/canon.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/num.h"

#define DIGITS_MAX 17
#define WHOLE_MAX 9007199254740992.0 /* 2^53: beyond, integers are rounded */

/* ---- numbers (ECMAScript, Number::toString) -------------------------------
 */

/* The fewest digits that read back as x: digits[0].digits[1..] 10^*ret_exp. */
static int shortest(double x, char digits[DIGITS_MAX + 1], int *ret_exp)
{
    char text[NUM_TEXT_MAX];
    int n = 0;

    for (int places = 0; places < DIGITS_MAX; places++) {
        snprintf(text, sizeof(text), "%.*e", places, x);
        if (num_read(text) == x)
            break;
    }
    for (const char *p = text; *p != 'e'; p++)
        if (*p != '.')
            digits[n++] = *p;
    digits[n] = '\0';
    *ret_exp = (int)strtol(strchr(text, 'e') + 1, NULL, 10);
    while (n > 1 && digits[n - 1] == '0')
        digits[--n] = '\0';
    return n;
}

static void put_digits(struct text *to, const char *digits, int len, int point)
{
    if (point > 0 && point < len) {
        text_put(to, digits, (size_t)point);
        text_putc(to, '.');
        text_puts(to, digits + point);
        return;
    }
    if (point <= 0) {
        text_puts(to, "0.");
        for (int i = point; i < 0; i++)
            text_putc(to, '0');
    }
    text_puts(to, digits);
    for (int i = len; i < point; i++)
        text_putc(to, '0');
}

static void put_real(struct text *to, double x)
{
    char digits[DIGITS_MAX + 1];
    int len, exponent, point;

    if (x == 0) {
        text_putc(to, '0');
        return;
    }
    if (x < 0)
        text_putc(to, '-');
    len = shortest(fabs(x), digits, &exponent);
    point = exponent + 1;
    if (point > -6 && point <= 21) {
        put_digits(to, digits, len, point);
        return;
    }
    text_putc(to, digits[0]);
    if (len > 1)
        text_printf(to, ".%s", digits + 1);
    text_printf(to, "e%+d", exponent);
}

/* ---- texts ------------------------------------------------------------------
 */

static void put_string(struct text *to, const char *s, size_t len)
{
    static const char plain[] = "\b\t\n\f\r", letters[] = "btnfr";

    text_putc(to, '"');
    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char)s[i];
        const char *at = c ? strchr(plain, c) : NULL;

        if (c == '"' || c == '\\')
            text_printf(to, "\\%c", c);
        else if (at)
            text_printf(to, "\\%c", letters[at - plain]);
        else if (c < 0x20)
            text_printf(to, "\\u%04x", c);
        else
            text_putc(to, (char)c);
    }
    text_putc(to, '"');
}

/* The code point at *s, which jansson checked to be UTF-8. */
static uint32_t take(const unsigned char **s)
{
    uint32_t c = *(*s)++;
    int more = c < 0x80 ? 0 : c < 0xe0 ? 1 : c < 0xf0 ? 2 : 3;

    if (more)
        c &= 0x3fU >> more;
    for (; more > 0; more--)
        c = c << 6 | (*(*s)++ & 0x3f);
    return c;
}

/* The first of the code units that UTF-16 writes a code point with. */
static uint32_t unit(uint32_t c)
{
    return c < 0x10000 ? c : 0xd800 + ((c - 0x10000) >> 10);
}

static int by_units(const void *a, const void *b)
{
    const unsigned char *s = *(const unsigned char *const *)a;
    const unsigned char *t = *(const unsigned char *const *)b;

    while (*s && *t) {
        uint32_t c = take(&s), d = take(&t);

        if (unit(c) != unit(d))
            return unit(c) < unit(d) ? -1 : 1;
        if (c != d)
            return c < d ? -1 : 1;
    }
    return (*s != 0) - (*t != 0);
}

/* ---- values -----------------------------------------------------------------
 */

static void put_object(
    const json_t *value, const char *without, struct text *to)
{
    size_t n = 0;
    const char **names = xcalloc(json_object_size(value) + 1, sizeof(*names));
    const char *name;
    json_t *member;

    json_object_foreach ((json_t *)(uintptr_t)value, name, member) {
        if (!without || strcmp(name, without) != 0)
            names[n++] = name;
    }
    qsort(names, n, sizeof(*names), by_units);
    text_putc(to, '{');
    for (size_t i = 0; i < n; i++) {
        if (i)
            text_putc(to, ',');
        put_string(to, names[i], strlen(names[i]));
        text_putc(to, ':');
        canon_write(json_object_get(value, names[i]), NULL, to);
    }
    text_putc(to, '}');
    free(names);
}

static void put_array(const json_t *value, struct text *to)
{
    text_putc(to, '[');
    for (size_t i = 0; i < json_array_size(value); i++) {
        if (i)
            text_putc(to, ',');
        canon_write(json_array_get(value, i), NULL, to);
    }
    text_putc(to, ']');
}

static void put_number(const json_t *value, struct text *to)
{
    double x = json_number_value(value);

    if (json_is_integer(value) && fabs(x) <= WHOLE_MAX)
        text_printf(to, "%lld", (long long)json_integer_value(value));
    else
        put_real(to, x);
}

void canon_write(const json_t *value, const char *without, struct text *to)
{
    if (json_is_object(value))
        put_object(value, without, to);
    else if (json_is_array(value))
        put_array(value, to);
    else if (json_is_string(value))
        put_string(to, json_string_value(value), json_string_length(value));
    else if (json_is_number(value))
        put_number(value, to);
    else
        text_puts(to, json_is_true(value)    ? "true"
                      : json_is_false(value) ? "false"
                                             : "null");
}
