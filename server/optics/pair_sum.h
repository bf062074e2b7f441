#pragma once
/*
 * optics/pair_sum.h - what a checked pair's lines come to: its verdict, and
 * all that no line judged.
 */
#include "optics/pair.h"

/* Errors and lines of *v stand already; sets verdict, open and n_open. */
void optics_pair_sum_up(
    const struct optics_pair *pair, struct optics_pair_verdict *v);

/* True when both the ordered and the delivered lens say all of what. */
bool optics_finished_says(const struct optics_finished *lens, unsigned what);

/* Delivered less ordered height of the segment, mm. */
double optics_segment_error(const struct optics_finished *lens);

/* True for an error in D, cm/m or mm that isn't of the figures' last place. */
bool optics_error_matters(double error);
