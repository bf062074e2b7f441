#pragma once
/*
 * record/check_word.h - a short word over all optical figures of an order, so
 * that a figure that was typed again wrongly is noticed, and the number that
 * people call an order by.
 *
 * Both are written in 19 symbols without look-alikes (no 0 O Q D, 1 I L, 2's
 * Z, 5's S, 6 G, 8 B, U V) and without vowels, so that no word comes out.
 *
 * The word.  Every figure becomes a whole number: hundredths of a dioptre, a
 * prism dioptre or a millimetre, whole degrees, the kind of lens 0 to 4 (power,
 * balance, occluder, prosthesis, none); base in and base up count above 0, base
 * out and base down below.  To a figure 16384 is added; one that is absent
 * counts 0; no prism is a prism of 0.  The 29 figures, in the order of struct
 * record_figures (all of the right eye, all of the left, then both), are
 * weighted with 101^0, 101^1 ... 101^28 and added modulo the prime 43427: h.
 * t is 0 when the right eye's figures equal the left's, 1 when the first that
 * differs is greater at the right, else 2.  The word is 3 h + t in base 19,
 * four symbols, the greatest first.
 *
 * It catches with certainty: any change of any one figure (a wrong digit,
 * digits exchanged, a lost or wrong sign, base or decimal place, a figure left
 * out), any two figures exchanged, the exchange of the eyes, whole or their
 * powers alone, and any two figures wrong together by usual steps (each power
 * and prism by up to 12 quarters, axis by up to 20 or by 90 degrees, length by
 * up to 8 halves).  Of other changes it misses one in 43427.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/num.h"
#include "record/side.h"

extern const char RECORD_SYMBOLS[]; /* the 19 */

/* Figures of one eye as they stand on an order, NUM_ABSENT where there is
 * none.  Powers in the cylinder form in which the order is written. */
struct record_eye_figures {
    int32_t lens; /* enum record_lens */
    int32_t sph_cd, cyl_cd, axis_deg;
    int32_t add_cd, intermediate_add_cd;
    int32_t prism_in_cd, prism_up_cd; /* 0: none */
    int32_t near_prism_in_cd, near_prism_up_cd;
    int32_t pd_far_mm100, pd_near_mm100; /* monocular */
    int32_t fitting_height_mm100;
};

struct record_figures {
    struct record_eye_figures eye[2];    /* RECORD_RIGHT, RECORD_LEFT */
    int32_t vertex_mm100;                /* that the powers refer to */
    int32_t pd_far_mm100, pd_near_mm100; /* binocular */
};

/* The most a figure may be in size, in its unit (record's ranges are less). */
#define RECORD_FIGURE_MAX 16383

/* An eye of which nothing is ordered. */
struct record_eye_figures record_eye_figures_none(void);

#define RECORD_CHECK_WORD_SIZE 5 /* four symbols and NUL */

/* Writes the word; every figure must be absent or within RECORD_FIGURE_MAX. */
void record_check_word(
    const struct record_figures *figures, char ret[RECORD_CHECK_WORD_SIZE]);

#define RECORD_ORDER_NUMBER_SIZE 10 /* "2KF7-R3TW" and NUL */

/*
 * The number of the order whose id (a UUID of version 7) has these bytes:
 * three symbols for the day the id was made (days since 2020-01-01, modulo
 * 19^3, so about 18 years without a repeat), four from the last 32 random bits
 * (modulo 19^4), and one that makes the sum of position times value a multiple
 * of 19, which catches every wrong symbol and every exchange of neighbours.
 * Two orders of a day have the same number once in 130321 times; the database
 * refuses the second, and its maker takes another id.
 */
void record_order_number(
    const uint8_t id[16], char ret[RECORD_ORDER_NUMBER_SIZE]);

/* True when s is such a number as people type it: any case, hyphens and blanks
 * anywhere or nowhere.  *ret is its written form. */
bool record_order_number_read(
    const char *s, char ret[RECORD_ORDER_NUMBER_SIZE]);
