#pragma once
/*
 * record/side.h - which eye, and what stands before it.
 */

/* The places of a reading or an exam that hold one eye's figures. */
enum record_side { RECORD_RIGHT, RECORD_LEFT, RECORD_BOTH, RECORD_UNSPECIFIED };
#define RECORD_SIDES 4

/* right, left, both, unspecified */
const char *record_side_word(enum record_side side);

/* A lens with a power, or one of the values of an eye that are never 0.00. */
enum record_lens {
    RECORD_LENS_POWER,
    RECORD_LENS_BALANCE,
    RECORD_LENS_OCCLUDER,
    RECORD_LENS_PROSTHESIS,
    RECORD_LENS_NONE
};

/* power, balance, occluder, prosthesis, none; NULL-ended */
extern const char *const RECORD_LENS_WORDS[];

/* What a pair is for; NULL-ended. */
extern const char *const RECORD_PURPOSES[];
