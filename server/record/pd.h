#pragma once
/*
 * record/pd.h - distances between pupils, and their JSON.
 *
 * Hundredths of a millimetre; NUM_ABSENT where nothing was said.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "base/num.h"

struct record_pd_set {
    int32_t right_mm100; /* 12 to 48 mm */
    int32_t left_mm100;
    int32_t binocular_mm100; /* 30 to 90 mm */
};

struct record_pd {
    struct record_pd_set far;
    struct record_pd_set near;
};

#define RECORD_PD_NONE                                                         \
    {                                                                          \
        {NUM_ABSENT, NUM_ABSENT, NUM_ABSENT},                                  \
        {                                                                      \
            NUM_ABSENT, NUM_ABSENT, NUM_ABSENT                                 \
        }                                                                      \
    }

/* {"right","left","binocular","near":{the same} or a number, which is
 * binocular}, all optional.  *ret is written whole, with what was good; false
 * when a fault was added. */
bool record_pd_read(struct json_in in, struct record_pd *ret);

/* Writes the object under key; nothing when all is absent. */
void record_pd_write(
    struct json_out *o, const char *key, const struct record_pd *pd);

bool record_pd_here(const struct record_pd *pd);

/* One eye's distance, right or left, in mm: half of what is told of both where
 * its own isn't; NAN without. */
double record_pd_eye_mm(const struct record_pd_set *set, int side);
