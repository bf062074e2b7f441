#pragma once
/*
 * base/instant.h - instants and dates as text, without the system's time zone.
 *
 * An instant is microseconds since 1970-01-01T00:00:00Z; the proleptic
 * Gregorian calendar, years 1800 to 2200.
 */
#include <stdbool.h>
#include <stdint.h>

#define INSTANT_TEXT_MAX 40

/* Now, from the system's clock. */
int64_t instant_now_us(void);

/* Milliseconds on a clock that counts from anywhere and never back. */
int64_t instant_clock_ms(void);

/* RFC 3339 with an offset or Z; at most six decimals of a second are kept.
 * A real date only; second 60 is refused.  False otherwise. */
bool instant_parse(const char *s, int64_t *ret_us, int *ret_offset_min);

/* 2026-03-02T09:14:05+01:00, with .ffffff only where it isn't zero; offset 0
 * is written Z.  Returns buf. */
char *instant_text(int64_t us, int offset_min, char buf[INSTANT_TEXT_MAX]);

/* A FHIR date: YYYY, YYYY-MM or YYYY-MM-DD, real, 1800 to 2200. */
bool instant_date_valid(const char *s);

/* Days since 1970-01-01 of a real date, and back. */
int64_t instant_days(int year, int month, int day);
void instant_civil(int64_t days, int *ret_year, int *ret_month, int *ret_day);
