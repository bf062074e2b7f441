#pragma once
/*
 * base/num.h - decimals without floating point surprises, whatever the locale.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Marks an int32 figure that is not there. */
#define NUM_ABSENT INT32_MIN

/*
 * The whole multiple of 10^-places that x stands for: true if x is finite, at
 * most limit in size, and what text with so many places reads as.  Judged by
 * value, so -2.250 is -225 hundredths.
 */
bool num_scaled(double x, int places, double limit, int64_t *ret);

/* The nearest multiple of 10^-places, ties away from zero; x must be finite
 * and within +-9e12 units. */
int64_t num_round(double x, int places);

/*
 * Text of value * 10^-places with all its places: -225, 2 -> "-2.25", 0 ->
 * "0.00".  Never "-0.00".  buf holds NUM_TEXT_MAX bytes; returns buf.
 */
char *num_text(int64_t value, int places, char *buf);

/* x rounded to places, trailing zeros cut: 0.5, -12.3456, 7, never -0.
 * x must be finite and within +-9e12 / 10^places. */
char *num_trim(double x, int places, char *buf);

#define NUM_TEXT_MAX 32

/* Shortest text that reads back as x ("%.17g" at worst); x must be finite. */
char *num_shortest(double x, char *buf);

/*
 * Reads a decimal from text: [+-]digits[.digits], nothing else, the whole of
 * it.  places is the most that may stand behind the point.  *ret_signed tells
 * if a sign was written.  False when it is no such number or above limit.
 */
bool num_parse(
    const char *s, size_t len, int places, int64_t limit, int64_t *ret);

/* True when a sign stands before the digits. */
static inline bool num_has_sign(const char *s, size_t len)
{
    return len > 0 && (s[0] == '+' || s[0] == '-');
}

/* A double from text that num_shortest or PostgreSQL wrote (C locale). */
double num_read(const char *s);
