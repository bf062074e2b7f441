#pragma once
/*
 * optics/prism.h - prism of a lens and between the eyes.
 *
 * Prism dioptres (cm/m).  Base-in and base-up positive, out and down negative,
 * whichever the eye.  As an angle the base is counted anticlockwise from the
 * examiner's right: right eye base-in 0, left eye base-in 180, up 90, down
 * 270.  Prentice: P = c F, in matrix form p = F r (Long 1976), so an oblique
 * cylinder turns a horizontal shift into vertical prism.
 */
#include "optics/power.h"

enum optics_eye { OPTICS_RIGHT, OPTICS_LEFT };

struct optics_prism {
    double base_in, base_up;
};

struct optics_base {
    double amount; /* cm/m, never negative; under 1e-9 it is 0 */
    double angle;  /* degrees, [0, 360); 0 and without meaning for amount 0 */
};

/* OPTICS_OK, or OPTICS_BAD_BASE_IN, _BASE_UP: not finite, beyond 1000. */
enum optics_fault optics_prism_check(struct optics_prism prism);

/* The two parts as one prism, and back.  prism must pass optics_prism_check;
 * amount is 0 to 1000, angle 0 to 360 (OPTICS_BAD_AMOUNT, _ANGLE). */
struct optics_base optics_prism_compose(
    enum optics_eye eye, struct optics_prism prism);
enum optics_fault optics_prism_resolve(
    enum optics_eye eye, struct optics_base base, struct optics_prism *ret);

struct optics_prism_pair {
    struct optics_prism right, left;
};

/*
 * The same prism between the eyes, share_right (0 to 1) of it before the right
 * one.  Base-in of one eye adds to base-in of the other; base-up of one equals
 * base-down of the other.
 */
enum optics_fault optics_prism_split(struct optics_prism_pair total,
    double share_right, struct optics_prism_pair *ret);

struct optics_shift {
    double in_mm, up_mm; /* of the optical centre, inwards and up positive */
};

/* Prism at the point where the optical centre would have been; shift within
 * 100 mm. */
enum optics_fault optics_prism_of_shift(enum optics_eye eye,
    struct optics_power power, struct optics_shift shift,
    struct optics_prism *ret);

/*
 * The least shift of the optical centre that makes prism.  OPTICS_BAD_NO_SPHERE
 * or _NO_MERIDIAN when prism is asked for along a principal meridian of under
 * 1e-6 D, where no shift makes any.
 */
enum optics_fault optics_shift_of_prism(enum optics_eye eye,
    struct optics_power power, struct optics_prism prism,
    struct optics_shift *ret);

struct optics_imbalance {
    struct optics_prism right, left; /* met by each eye, looking down */
    double vertical; /* right base-up less left base-up; 0 is balance */
};

/*
 * Prism that the eyes meet when they look through points down_mm (within 100)
 * below the optical centres of the distance lenses.  Equal adds cancel in it;
 * unequal ones don't, and then this is not the imbalance.
 */
enum optics_fault optics_prism_imbalance(struct optics_power right,
    struct optics_power left, double down_mm, struct optics_imbalance *ret);

/*
 * Prism from optical centres that stand centre_mm from the middle of the nose
 * before an eye at pd_mm, 0 to 100 each.  The total between the eyes is the
 * sum of the base-in parts.
 */
enum optics_fault optics_prism_of_pd(enum optics_eye eye,
    struct optics_power power, double centre_mm, double pd_mm,
    struct optics_prism *ret);
