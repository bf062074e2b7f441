#pragma once
/*
 * tests/unit/optics/draw.h - made-up arguments, and what must be true of every
 * result.
 */
#include <check.h>
#include <stddef.h>

#include "optics/power.h"
#include "optics/vector.h"
#include "random.h"

#define MILLION 1000000

/* As ck_assert_msg, which is too slow for millions. */
#define HOLDS(what, ...)                                                       \
    do {                                                                       \
        if (!(what))                                                           \
            ck_abort_msg(__VA_ARGS__);                                         \
    } while (0)

#define ROWS(a) ((int)(sizeof(a) / sizeof((a)[0])))

/* A lens of +-most that passes optics_power_check: either sign of cylinder,
 * now and then none, or along 45, 90, 135 or 180. */
struct optics_power draw_power(struct random *r, double most);

/* The same in the steps of a quarter dioptre and whole degrees. */
struct optics_power draw_quarters(struct random *r, double most);

/* Any finite number; most often within low to high, its ends or 0, else close
 * outside, tiny, huge, -0. */
double draw_any(struct random *r, double low, double high);

/* A lens that passes optics_power_check, up to its limits, of any numbers. */
struct optics_power draw_any_power(struct random *r);

/* Finite, and not -0. */
void expect_sound(const char *what, double x);

/* The same of a structure of doubles and nothing else. */
void expect_all_sound(const char *what, const void *of, size_t size);
