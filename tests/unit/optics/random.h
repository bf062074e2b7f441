#pragma once
/*
 * tests/unit/optics/random.h - numbers that look random and are the same in
 * every run: a linear congruential generator with Knuth's constants (MMIX),
 * from memory, its high half taken.
 */
#include <stdint.h>

struct random {
    uint64_t state; /* any seed */
};

static inline uint32_t random_next(struct random *r)
{
    r->state = r->state * 6364136223846793005u + 1442695040888963407u;
    return (uint32_t)(r->state >> 32);
}

/* 0 to n - 1; n is small beside 2^32. */
static inline int random_below(struct random *r, int n)
{
    return (int)((uint64_t)random_next(r) * (uint64_t)n >> 32);
}

/* Evenly in low to high. */
static inline double random_in(struct random *r, double low, double high)
{
    return low + (high - low) * (random_next(r) / 4294967295.0);
}
