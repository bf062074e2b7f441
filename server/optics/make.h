#pragma once
/*
 * optics/make.h - can this lens be made for this frame, how thick and how
 * heavy will it be.
 *
 * An estimate before an order is placed: a spherical front of known power, a
 * toric back that the back vertex power asks for, no bevel, no coating, no
 * prism thinning.  The frame's shape is a model of ours, the curve |x/a|^p +
 * |y/b|^p = 1 in the box A, B with the p that gives it the ED.  The back is
 * the torus that the circle along the cylinder's axis makes when it is turned
 * about the other meridian's centre; other toric forms differ from it in the
 * fourth order.  The lab's own computation comes first.
 *
 * Lengths in mm; x to the examiner's right and y up, as the examiner sees the
 * patient; thickness is along the axis.
 */
#include "optics/prism.h"

/* Generic materials. */
enum optics_material {
    OPTICS_RESIN,
    OPTICS_POLYCARBONATE,
    OPTICS_POLYURETHANE,
    OPTICS_MINERAL,
};

/* "resin", "polycarbonate", "polyurethane", "mineral", NULL-ended. */
extern const char *const OPTICS_MATERIALS[];

/*
 * Density of a material, g/cm3 (common practice): resin 1.32 at index 1.49 to
 * 1.57, polycarbonate 1.20 at 1.58 to 1.60, polyurethane 1.11 at 1.52 to 1.54
 * and 1.35 at 1.59 to 1.68, mineral 2.54 at 1.50 to 1.54.
 * OPTICS_BAD_NO_DENSITY at another index, where it differs too much to guess.
 */
enum optics_fault optics_density(
    enum optics_material material, double index, double *ret_g_cm3);

struct optics_make {
    enum optics_eye eye;
    struct optics_power power; /* back vertex, to be made */
    struct optics_prism prism; /* to be made, at the reference point */
    double front_power, index;
    double density; /* g/cm3 */
    double a_mm, b_mm, dbl_mm, ed_mm;
    double pd_mm;     /* of this eye */
    double height_mm; /* of the reference point, from the lower boxed edge */
    double min_centre_mm, min_edge_mm, allowance_mm;
};

/* A place at the edge, or inside, and the thickness there. */
struct optics_spot {
    double mm;
    double x_mm, y_mm; /* from the boxed centre */
};

struct optics_made {
    struct optics_shift decentration; /* reference point from boxed centre */
    double least_blank_mm;            /* ED + 2 |decentration| + allowance */
    double shape_blank_mm; /* twice the way to the modelled shape's farthest
                              point, and the allowance */
    double centre_mm;      /* at the reference point */
    struct optics_spot thinnest, thickest; /* edge */
    /* Edge in the principal meridians, seen from the reference point: towards
     * the axis (180 without a cylinder), then 90, 180 and 270 degrees on. */
    struct optics_spot meridians[4];
    struct optics_spot least; /* of the whole lens; prism may move it inside */
    double volume_mm3, weight_g;
    /* What the lens has at the boxed centre; the opposite is what the eye
     * meets when the blank isn't decentred. */
    struct optics_prism at_boxed_centre;
    /* Where the optical centre would have to stand from the boxed centre to
     * make the prism by decentration alone; false when power can't. */
    bool by_decentration;
    struct optics_shift optical_centre;
    double by_decentration_blank_mm;
};

/*
 * The least centre that leaves min_centre_mm at the reference point and
 * min_edge_mm everywhere.  Besides ranges: OPTICS_BAD_ED_SMALL, _ED_UNDER_B,
 * _ED_WIDE for an ED that no shape in the box has, _OUTSIDE_PD, _OUTSIDE_HEIGHT
 * for a reference point outside the shape, _TOO_STEEP when a surface is
 * narrower than the lens or the centre would exceed 100 mm.
 */
enum optics_fault optics_make_lens(
    const struct optics_make *lens, struct optics_made *ret);

/* Fitting cross to the middle of the near zone, and what of that zone has to
 * stand below it inside the frame (common practice). */
enum optics_fault optics_least_fitting_height(
    double corridor_mm, double near_zone_mm, double *ret_mm);
