#pragma once
/*
 * optics/outline.h - a frame's shape when only its box and ED are known:
 * |x/a|^p + |y/b|^p = 1, a model of ours between ellipse and box.
 *
 * Half of A and B are a and b; its farthest point stands ED/2 from the boxed
 * centre, which for p > 2 is (a^2k + b^2k)^(1/2k) with k = p/(p - 2) (Hoelder).
 * Lengths in mm.
 */
#include "optics/fault.h"

struct optics_outline {
    double a_mm, b_mm; /* half the box */
    double p;          /* 2 to INFINITY (the box itself) */
};

/* OPTICS_BAD_A_MM, _B_MM, _ED_MM; _ED_SMALL, _ED_UNDER_B or _ED_WIDE when no
 * shape in the box has this ED. */
enum optics_fault optics_outline_of(
    double a_mm, double b_mm, double ed_mm, struct optics_outline *ret);

/* Below 1 inside, 1 on the shape, more outside; grows in proportion to the
 * distance from the boxed centre. */
double optics_outline_gauge(
    const struct optics_outline *o, double x_mm, double y_mm);
