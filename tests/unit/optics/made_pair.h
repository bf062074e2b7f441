#pragma once
/* made_pair.h - a pair of glasses that is as ordered. */
#include "optics/pair.h"

/* A pair, made as ordered: single vision, in its frame. */
static inline struct optics_pair made_right(double sph, double cyl, double axis)
{
    struct optics_glass g = {
        .power = {sph, cyl, axis},
        .add = 2,
        .pd_mm = 31,
        .height_mm = 20,
        .segment_height_mm = 16,
        .says = OPTICS_SAYS_PD | OPTICS_SAYS_HEIGHT,
    };
    struct optics_finished lens = {.there = true, .ordered = g, .delivered = g};

    return (struct optics_pair){
        OPTICS_PROFILE_ANSI_2015, OPTICS_SINGLE_VISION, true, {lens, lens}};
}
