#pragma once
/*
 * optics/spread.h - the image of a point through an uncorrected error, as a
 * small picture to blur another with.
 *
 * Geometrical optics: an evenly lit ellipse (optics/blur.h).  Leaves out
 * diffraction, aberrations and the Stiles-Crawford effect.  For showing, not
 * for measuring.
 */
#include "optics/blur.h"

/* Pixels a side at most. */
#define OPTICS_SPREAD_MAX 129

struct optics_spread_grid {
    double arcmin_per_pixel; /* 0.001 to 1000 */
    int n;                   /* pixels a side, odd, 1 to OPTICS_SPREAD_MAX */
};

/*
 * The least n that holds all of ellipse.  OPTICS_BAD_ARCMIN_PER_PIXEL when it
 * is out of range, OPTICS_BAD_FINE when n would be over OPTICS_SPREAD_MAX.
 */
enum optics_fault optics_spread_size(
    struct optics_ellipse ellipse, double arcmin_per_pixel, int *ret_n);

/*
 * Writes n * n shares of light, which sum to 1 (within 1e-12), row by row from
 * the top, into ret.  major_axis is drawn anticlockwise from the right of the
 * picture: as an axis stands, that is the examiner's view; the patient, who
 * looks from behind the lens, sees optics_spread_mirrored of it.
 *
 * A pixel's share is that of the ellipse's area which lies in it, exactly; so
 * second moments are those of the ellipse, (major / 4)^2 and (minor / 4)^2,
 * plus a pixel's own twelfth.  An ellipse under a pixel long is one lit pixel,
 * one thinner than a thousandth of a pixel is as wide as that.
 *
 * Faults of optics_spread_size; OPTICS_BAD_N out of range, _N_EVEN, and
 * _N_SMALL when n is less than it says.  ellipse must come from
 * optics_blur_ellipse.
 */
enum optics_fault optics_spread_draw(
    struct optics_ellipse ellipse, struct optics_spread_grid grid, double *ret);

/* The same blur seen from the other side. */
struct optics_ellipse optics_spread_mirrored(struct optics_ellipse ellipse);
