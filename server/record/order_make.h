#pragma once
/*
 * record/order_make.h - the power that a lab makes: as signed, or so that the
 * lens acts as signed where and how it is worn; and whether it can be made for
 * this frame.
 */
#include <stdbool.h>

#include "optics/make.h"
#include "record/order.h"

/*
 * The lens that, at the worn vertex and with the frame's tilt and wrap, acts as
 * what was signed does at the vertex that the powers refer to: optics/vertex.h,
 * then optics/worn.h.  A tilt or wrap that wasn't told is 0, a vertex that
 * wasn't told is not moved.  *ret is minus form.  False when the eye has no
 * lens with a power, the index isn't told, or there is no such lens.
 */
bool record_order_worn_power(const struct record_order *order,
    const struct record_order_rx *rx, int side, struct optics_power *ret);

/* True when the order says to make that one; *ret to hundredths. */
bool record_order_compensated(const struct record_order *order,
    const struct record_order_rx *rx, int side, struct optics_rx *ret);

/* The power to make: signed, with its add for near glasses, or compensated.
 * The eye must have a lens with a power. */
struct optics_rx record_order_make_power(const struct record_order *order,
    const struct record_order_rx *rx, int side);

/* True for lenses with a segment: their fitting height is its top's, and that
 * of others the reference point's. */
bool record_order_has_segment(const struct record_order *order);

/*
 * The PD in mm that an eye's lens is centred for: of the distance that the
 * glasses are for, else of the other one; half of what is told of both eyes.
 * NAN where none is told.
 */
double record_order_centre_mm(const struct record_order *order,
    const struct record_order_rx *rx, int side);

/* The prism to make: of near glasses the near one, where there is one. */
struct optics_prism record_order_prism(const struct record_order *order,
    const struct record_order_rx *rx, int side);

/* What an order doesn't tell and an estimate needs (common practice). */
struct record_make_assumed {
    double front_power; /* Vogel's rule */
    double min_centre_mm, min_edge_mm, allowance_mm;
    double blank_mm; /* the largest that is common */
    double edge_mm;  /* from here on a thinner lens is proposed */
    double corridor_mm, near_zone_mm; /* of a lens that changes its power */
};

enum record_make_finding {
    RECORD_MAKE_BLANK,     /* needs a larger blank than there is */
    RECORD_MAKE_THICK,     /* a thick edge or centre */
    RECORD_MAKE_HEIGHT,    /* too little room for the near zone */
    RECORD_MAKE_IMPOSSIBLE /* the figures allow no such lens */
};
#define RECORD_MAKE_FINDINGS 4

struct record_make {
    bool asked; /* every figure that it needs was told */
    struct record_make_assumed assumed;
    enum optics_fault fault; /* OPTICS_OK: made is good */
    struct optics_make lens;
    struct optics_made made;
    double least_height_mm; /* 0: the design needs none */
    bool found[RECORD_MAKE_FINDINGS];
};

/* An estimate for one eye; some milliseconds. */
void record_order_make(const struct record_order *order,
    const struct record_order_rx *rx, int side, struct record_make *ret);
