#pragma once
/*
 * optics/frame.h - the lens in its frame: decentration, blank, sag, edge and
 * centre thickness.
 *
 * Boxing measures and thickness in mm, powers in dioptres.  A curvature is
 * positive when its centre lies behind the surface, on the eye's side; so is
 * the sag.  Surfaces are spheres here, and their sag is exact; thickness is
 * along the axis.
 */
#include "optics/fault.h"

/* Sag of a curvature (1/mm) at y_mm from the vertex: c y^2 / (1 + sqrt(1 - c^2
 * y^2)), 0 for a flat one.  |c y| must not exceed 1. */
double optics_sag_of(double curvature, double y_mm);

struct optics_boxing {
    double a_mm, dbl_mm, ed_mm;
    double pd_mm;        /* of both eyes, split evenly */
    double allowance_mm; /* for chipping, 0 to 2 (common practice) */
};

struct optics_blank {
    double frame_pd_mm;          /* A + DBL */
    double decentration_each_mm; /* (A + DBL - PD) / 2, inwards positive */
    double minimum_blank_mm;     /* ED + 2 |decentration| + allowance */
};

/* Twice the decentration of one lens is added, not of both.
 * OPTICS_BAD_ED_SMALL when ED is under A: no shape has that. */
enum optics_fault optics_blank_size(
    struct optics_boxing frame, struct optics_blank *ret);

struct optics_sag {
    double radius_mm;     /* negative for a concave surface; 0: flat */
    double sag_mm;        /* exact */
    double sag_approx_mm; /* y^2 F / (2000 (n - 1)) */
};

/* Of a surface of that power over diameter_mm; under 1e-6 D it is flat.
 * OPTICS_BAD_WIDE when the sphere isn't that wide. */
enum optics_fault optics_sag(double surface_power, double index,
    double diameter_mm, struct optics_sag *ret);

struct optics_blank_lens {
    double back_vertex_power, front_power, index, diameter_mm;
};

/*
 * Edge thickness of a lens, and the back surface that its back vertex power
 * asks for: F2 = Fv - F1 / (1 - (t/n) F1).  An edge under 0 says that the
 * centre is too thin for this diameter.  OPTICS_BAD_FRONT_FOCAL, or _WIDE for
 * either surface.
 */
enum optics_fault optics_edge_thickness(struct optics_blank_lens lens,
    double centre_mm, double *ret_edge_mm, double *ret_back_power);

/*
 * Centre thickness that leaves min_edge_mm.  OPTICS_BAD_THIN when the edge is
 * thicker than that at any centre thickness, as a minus lens's is; _WIDE when
 * the surfaces don't reach as far as such a lens would.
 */
enum optics_fault optics_centre_thickness(
    struct optics_blank_lens lens, double min_edge_mm, double *ret_centre_mm);

/* (n - 1)(1/r1 + 1/r2), both radii in metres and positive for a convex
 * surface, INFINITY for a flat one, none within a millimetre of 0. */
enum optics_fault optics_nominal_power(
    double index, double front_radius_m, double back_radius_m, double *ret);

/* Datum line less segment (or fitting-cross) height: B/2 - height, below the
 * datum positive.  OPTICS_BAD_SEGMENT_HIGH when it is above the frame. */
enum optics_fault optics_segment_drop(
    double b_mm, double segment_height_mm, double *ret_mm);

/* Centre less front sag and back sag added; curvatures in 1/mm. */
enum optics_fault optics_edge_of_curvatures(double front_curvature,
    double back_curvature, double centre_mm, double semi_diameter_mm,
    double *ret_mm);
