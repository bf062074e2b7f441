#pragma once
/*
 * optics/solve.h - the root of a rising function.
 */
#include <stdbool.h>

/* A function of x that rises wherever it has a value; INFINITY for every x
 * above those, -INFINITY for every x below. */
typedef double optics_rising(double x, const void *of);

/*
 * The x in low..high where f is 0, to the last few bits; low < high.  False
 * when f is above 0 at low, below 0 at high, or has no value where it would
 * change sign.  At most 200 calls, usually about ten.
 */
bool optics_solve(
    optics_rising *f, const void *of, const double range[2], double *ret_x);
