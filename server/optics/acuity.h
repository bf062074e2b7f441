#pragma once
/*
 * optics/acuity.h - visual acuity in its notations.
 *
 * decimal = 1 / MAR, logMAR = log10 MAR, Snellen 20/(20 MAR) and 6/(6 MAR),
 * MAR in minutes of arc (M. Bach's page; DICOM PS3.17 RR).  0.02 logMAR a
 * letter on lines of five.  Two scores go by "letters": one has 20/20 = 85
 * (logMAR = 1.7 - 0.02 n, Beck 2003), the other 20/20 = 100 (logMAR = 2 -
 * 0.02 n); which one is always said.  Averages are taken in logMAR only.
 */
#include <stddef.h>

#include "optics/fault.h"

enum optics_scale {
    OPTICS_SNELLEN_20FT, /* the denominator under 20 */
    OPTICS_SNELLEN_6M,   /* the denominator under 6 */
    OPTICS_DECIMAL,
    OPTICS_LOGMAR,
    OPTICS_LETTERS_85,  /* 20/20 = 85 */
    OPTICS_LETTERS_100, /* 20/20 = 100 */
};

/* value of scale as logMAR; the fault of the scale's argument when value
 * makes no sense (ranges in fault.def). */
enum optics_fault optics_acuity_logmar(
    enum optics_scale scale, double value, double *ret_logmar);

/* logMAR, within -2.5 to 5, on another scale.  Letters may come out negative
 * or above the chart: the scale goes on where charts end. */
double optics_acuity_on(enum optics_scale scale, double logmar);

/*
 * logMAR of a line with letters_extra read of the next smaller line, or -n
 * missed on this one: one line is 0.1.
 */
enum optics_fault optics_acuity_partial_line(double line_logmar,
    double letters_extra, double letters_per_line, double *ret_logmar);

/* Below any number, in this order: counts fingers, hand motion, light
 * perception, none. */
enum optics_level {
    OPTICS_LEVEL_NUMBER,
    OPTICS_LEVEL_CF,
    OPTICS_LEVEL_HM,
    OPTICS_LEVEL_LP,
    OPTICS_LEVEL_NLP,
};

struct optics_acuity {
    enum optics_level level;
    double logmar; /* 0 where level isn't a number */
};

/* Negative when a is worse than b, 0 when equal, positive when better. */
int optics_acuity_compare(struct optics_acuity a, struct optics_acuity b);

/* "CF", "HM", "LP", "NLP"; "" for a number. */
const char *optics_level_word(enum optics_level level);

/* How an acuity was written down. */
enum optics_notation {
    OPTICS_WRITTEN_SNELLEN, /* "6/9", "20/40+2", "3/60" */
    OPTICS_WRITTEN_DECIMAL, /* "0.8", "1.25-1" */
    OPTICS_WRITTEN_LOGMAR,  /* "0.30", "-0.10" */
    OPTICS_WRITTEN_LETTERS_85,
    OPTICS_WRITTEN_LETTERS_100,
};

/* "snellen", "decimal", "logmar", "letters-85", "letters-100", NULL-ended, in
 * the order of the enum. */
extern const char *const OPTICS_NOTATIONS[];

/*
 * Reads text of len bytes as it was entered.  Behind a Snellen fraction or a
 * decimal may stand a sign and 1 to 9 letters of a line of five, with or
 * without a space before it.  In every notation CF, HM, LP and NLP stand for
 * themselves, alone or with more words behind a space ("CF 2 m").
 * OPTICS_BAD_TEXT for anything else and for values without sense.
 */
enum optics_fault optics_acuity_read(enum optics_notation notation,
    const char *text, size_t len, struct optics_acuity *ret);

/* Schemes that give low vision a logMAR for statistics; keep the entry. */
enum optics_low_scheme {
    OPTICS_LOW_BACH,     /* CF 1.9, HM 2.3; LP 2.7 and NLP 3.0 are imputed
                            (Schulze-Bonsel 2006, Lange 2009) */
    OPTICS_LOW_HOLLADAY, /* by distance: CF at 2 ft 2.0, HM at 2 ft 3.0
                            (Holladay's chart; other feet from memory: CF is
                            the 200 letter at that distance, HM ten times) */
};

/*
 * OPTICS_BAD_ENTRY when the scheme has no value for level (a number has none
 * in either); OPTICS_BAD_DISTANCE_FT where the scheme goes by distance.
 */
enum optics_fault optics_acuity_low(enum optics_level level,
    enum optics_low_scheme scheme, double distance_ft, double *ret_logmar);

struct optics_near {
    double logmar, decimal;
    double m_units;      /* 1 M subtends 5 minutes at 1 m (from memory) */
    double n_points;     /* 8 times M (common practice) */
    double height_mm;    /* of the lower-case letter: tan 5' * M metres */
    double reduced_14in; /* denominators under 14 and 35, at any distance */
    double reduced_35cm;
};

/* Near acuity from M units or from a reduced Snellen denominator (20/x as the
 * near chart prints it) read at near_cm, 1 to 1000. */
enum optics_fault optics_near_of_m(
    double m_units, double near_cm, struct optics_near *ret);
enum optics_fault optics_near_of_snellen(
    double snellen_20ft, double near_cm, struct optics_near *ret);
