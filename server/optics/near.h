#pragma once
/*
 * optics/near.h - accommodation, and the addition that makes up for it.
 *
 * Dioptres, years, cm from the spectacle plane.  Everything here is a start
 * for a person's own measurement: amplitudes of one age differ by dioptres
 * (a survey of 5,444 children found lower means than the formula, abstract).
 */
#include "optics/fault.h"

struct optics_amplitude {
    double minimum, average, maximum; /* D, never below 0 */
};

/*
 * Hofstetter 1950, as quoted on several pages: 15 - 0.25 a, 18.5 - 0.3 a,
 * 25 - 0.4 a; 0 where they cross it, at 60, 61.7 and 62.5 years.
 * OPTICS_BAD_AGE_YEARS.
 */
enum optics_fault optics_amplitude_hofstetter(
    double age_years, struct optics_amplitude *ret);

/* Donders' table as a class handout prints it, straight between its rows of
 * five years, 10 to 75; OPTICS_BAD_DONDERS_AGE outside. */
enum optics_fault optics_amplitude_donders(double age_years, double *ret);

struct optics_band {
    double low, high;
};

/*
 * The usual near addition of an age (Millodot's dictionary, 7th ed. 2009): 45
 * to 50 years 1.00 to 1.25, to 55 1.50 to 1.75, to 60 2.00 to 2.25, older 2.50
 * to 3.00.  Its bands share their ends: there the answer is low of the one and
 * high of the other.  OPTICS_BAD_ADD_AGE under 45, where the table has none.
 */
enum optics_fault optics_add_by_age(double age_years, struct optics_band *ret);

/*
 * 1 / distance - fraction * amplitude, not below 0: fraction of the amplitude
 * is used, 1/2 for older and 2/3 for younger presbyopes (Millodot).
 * OPTICS_BAD_DISTANCE_CM, _AMPLITUDE, _FRACTION.
 */
enum optics_fault optics_add_from_amplitude(
    double distance_cm, double amplitude, double fraction, double *ret);

struct optics_add_moved {
    double shift; /* 1 / new distance - 1 / old one, D */
    double add;   /* add + shift, not below 0 */
};

/* The add that asks as much of the eye at new_distance_cm.
 * OPTICS_BAD_ADD_POWER, _DISTANCE_CM, _NEW_DISTANCE_CM. */
enum optics_fault optics_add_at_distance(double add, double distance_cm,
    double new_distance_cm, struct optics_add_moved *ret);

struct optics_clear_range {
    double far_cm, near_cm; /* 0: without limit, under 1e-6 D */
};

/* Where a corrected eye sees clearly through its add: from 1 / add to
 * 1 / (add + amplitude).  OPTICS_BAD_ADD_POWER, _AMPLITUDE. */
enum optics_fault optics_clear_range(
    double add, double amplitude, struct optics_clear_range *ret);
