#pragma once
/*
 * optics/slab.h - prism between the eyes at the reading level, with oblique
 * cylinders, unequal adds and segments, and the slab-off that takes away its
 * vertical part.
 *
 * Prism dioptres (cm/m), mm.  The model: each lens is thin, and a segment is a
 * thin sphere of the add's power with an optical centre of its own, in contact
 * with it.  The eye meets p = -F r, r from the optical centre of the distance
 * lens to the reading point, and -A (r - c), c from there to the optical
 * centre of the segment; F the power matrix (Long 1976), A the add.
 * Prescribed prism is no part of it: it is wanted at every level.  Tilt,
 * vertex and thickness are left out.
 */
#include <stdbool.h>

#include "optics/prism.h"

/* From the optical centre of the distance lens, within 50 mm each way. */
struct optics_point {
    double down_mm, in_mm;
};

struct optics_reading_lens {
    struct optics_power power;
    double add; /* D; 0: none */
    struct optics_point read;
    bool segment_known;
    struct optics_point segment; /* its optical centre; 0 if not known */
};

/* Slab-off (bicentric grinding) takes base-down away. */
struct optics_slab {
    enum optics_eye eye;
    double amount;  /* cm/m, 0: no lens needs one */
    double rounded; /* to the nearest 0.5, a tie up */
};

struct optics_reading_level {
    struct optics_prism_pair distance; /* by the distance lenses alone */
    struct optics_prism_pair met;      /* with the segments */
    double vertical;                   /* right base-up less left base-up */
    double horizontal;                 /* base-in of both together */
    /* What can't be told without the segments' centres is 0.  met and
     * horizontal need those of all segments.  vertical without them needs
     * equal adds and reading points equally low: segments alike and equally
     * high then do the same to both eyes. */
    bool met_known, vertical_known;
    struct optics_slab slab; /* where vertical is known */
};

/*
 * The slab-off goes, by common practice, on the lens with more minus or less
 * plus in its vertical meridian at the reading level.  The reason: below its
 * centre that lens has more base-down (or less base-up) than the other, and
 * grinding a second centre gives base-up back; so the eye that meets less
 * base-up is named, by its prism and not by its power, for with oblique
 * cylinders and segments these may part.  A reverse slab-off, moulded base
 * down, is the same amount on the other lens.  Which amounts can be ground is
 * the lab's to say (about 1.5 to 6, from memory).
 *
 * The faults of optics_power_check, OPTICS_BAD_ADD_POWER, _POINT_DOWN_MM,
 * _POINT_IN_MM; _ONE_SEGMENT when both have an add and one centre is known.
 */
enum optics_fault optics_reading_check(struct optics_reading_lens lens);
enum optics_fault optics_reading_level(struct optics_reading_lens right,
    struct optics_reading_lens left, struct optics_reading_level *ret);
