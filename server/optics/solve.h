#pragma once
/*
 * optics/solve.h - where a function changes from negative to positive.
 */
#include <stdbool.h>

/* A function of x that is negative up to its one root and positive beyond it;
 * INFINITY or -INFINITY where it has no value but a sign. */
typedef double optics_rising(double x, const void *of);

/*
 * The root in range, low to high, to the last few bits.  False when f is above
 * 0 at low, below 0 at high, or has no value where it would change sign.  At
 * most 200 calls, usually about ten.
 */
bool optics_solve(
    optics_rising *f, const void *of, const double range[2], double *ret_x);
