#pragma once
/*
 * tests/unit/optics/finite.h - trials of "numbers in, numbers out", and what
 * they draw.
 */
#include "draw.h"

#include "optics/prism.h"
#include "optics/vector.h"

struct finite_trial {
    void (*run)(struct random *r);
    int count;
};

void finite_run(const struct finite_trial *trial, uint64_t seed);

/* A power as server/optics gives it: sound, and its axis is 0 just where it
 * has no cylinder. */
void expect_power_sound(const char *what, struct optics_power p);

enum optics_eye draw_eye(struct random *r);

/* Finite and within +-1e6 D; passes optics_prism_check. */
struct optics_vector draw_any_vector(struct random *r);
struct optics_prism draw_any_prism(struct random *r);
