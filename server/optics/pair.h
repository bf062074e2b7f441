#pragma once
/*
 * optics/pair.h - a finished pair of glasses held to what was ordered.
 *
 * Delivered less ordered is one sphero-cylinder per eye, the residual lens,
 * and one prism where the eye was said to be.  A verdict is an aid for whoever
 * releases or refuses the pair; the standard itself and local rules come
 * first.
 */
#include "optics/prism.h"
#include "optics/tolerance.h"

/* Which of a glass's figures were given. */
enum {
    OPTICS_SAYS_ADD = 1,
    OPTICS_SAYS_PD = 2,
    OPTICS_SAYS_HEIGHT = 4,
    OPTICS_SAYS_SEGMENT = 8,
};

/* One lens, as ordered or as measured in the finished pair. */
struct optics_glass {
    struct optics_power power;
    struct optics_prism prism; /* at its reference point */
    double add;                /* D, 0 to 20 */
    double pd_mm;              /* nose to reference point, 0 to 100 */
    double height_mm; /* lower boxed edge to reference point, 0 to 100 */
    double segment_height_mm; /* to the top of the segment, 0 to 100 */
    unsigned says;
};

/* The glass that both are of, for what depends on the side it is read from. */
struct optics_body {
    double front_power, index, thickness_mm;
};

struct optics_finished {
    bool there;
    struct optics_glass ordered, delivered;
    bool has_body;
    struct optics_body body;
};

/* OPTICS_BAD_FRONT_POWER, _INDEX, _THICKNESS_MM; _FRONT_FOCAL where the front's
 * focal point is at the back. */
enum optics_fault optics_body_check(struct optics_body body);

/*
 * OPTICS_OK, or what is wrong with a lens that is there; *ret_delivered tells
 * in which of the two.  pd_mm and height_mm are given for both or for neither
 * (OPTICS_BAD_ONE_PD, _ONE_HEIGHT, at the one that lacks it): with neither,
 * the delivered prism is what was read at the ordered place.
 */
enum optics_fault optics_finished_check(
    const struct optics_finished *lens, bool *ret_delivered);

struct optics_pair {
    enum optics_profile profile;
    enum optics_lens_type type;
    bool mounted; /* else loose lenses: reference points instead of a pair */
    struct optics_finished eyes[2]; /* by enum optics_eye */
};

struct optics_glass_verdict {
    struct optics_power residual;    /* delivered less ordered, minus form */
    double add_error;                /* 0 where an add is missing */
    struct optics_shift shift;       /* of the reference point from its place */
    struct optics_prism centring;    /* that the shift makes at that place */
    struct optics_prism prism_error; /* there, all in all */
    /* shift, and what prism that wasn't ordered amounts to, where placed. */
    struct optics_shift place;
    bool placed;
    struct optics_power_ruling power;
    struct optics_ruling add, point, segment;
};

/* Something that no line judged. */
enum optics_open_what {
    OPTICS_OPEN_ALL, /* no line at all */
    OPTICS_OPEN_POWER,
    OPTICS_OPEN_ADD,
    OPTICS_OPEN_POINT, /* of a loose lens, or of one alone in its frame */
    OPTICS_OPEN_PLACE, /* of a progressive's reference point */
    OPTICS_OPEN_SEGMENT,
    OPTICS_OPEN_HORIZONTAL,
    OPTICS_OPEN_VERTICAL,
    OPTICS_OPEN_SEGMENTS,
};

enum optics_open_why {
    OPTICS_OPEN_NO_RULE, /* an error of over 0.005 (D, cm/m, mm) without one */
    OPTICS_OPEN_NO_FIGURE, /* a rule without its figure */
    OPTICS_OPEN_CANCELS,   /* each lens alone is off by more than the pair may
                            * be, and no rule holds one lens */
};

struct optics_open {
    bool pair; /* of both together; else of eye */
    enum optics_eye eye;
    enum optics_open_what what;
    enum optics_open_why why;
};

#define OPTICS_OPEN_MAX 16

/* "add", "horizontal imbalance", … and "no rule in this profile", … */
const char *optics_open_what_word(enum optics_open_what what);
const char *optics_open_why_word(enum optics_open_why why);

struct optics_pair_verdict {
    /* Fail or at the limit when any line is, in this order; not judged when
     * something is open: also an error of prism or place of one lens alone in
     * its frame, and of a progressive whose reference point is over 1 mm off
     * without a rule for each lens (chosen by us); else pass. */
    enum optics_verdict verdict;
    size_t n_open;
    struct optics_open open[OPTICS_OPEN_MAX];
    struct optics_glass_verdict eyes[2]; /* zeros for one that isn't there */
    /* Of both eyes, 0 unless both are there. */
    double horizontal; /* base-in parts of the prism errors added, cm/m */
    double vertical;   /* right base-up less left base-up, cm/m */
    double thinning;   /* base up that both have and nobody ordered, cm/m */
    struct optics_ruling horizontal_line, vertical_line, segments;
};

/*
 * Centring prism is p = F r of the delivered lens.  The pair's rows are picked
 * by the ordered power along 90 and along 180; where the two lenses differ so
 * that their rows do, both rules stand in the line.  Rules in mm are held to
 * the displacement that was measured and the one that prism not ordered
 * amounts to, 10 prism / power; below 1 D that isn't known.  Equal vertical
 * prism of over 0.33 cm/m (chosen by us) in lenses with an add thins them
 * (common practice): it is no displacement, and open.  Errors of both
 * lenses that cancel pass a rule of the pair; they are judged where a rule is
 * of each lens, and open where one lens alone is off by more than the pair may
 * be.  OPTICS_BAD_NO_LENS when no lens is there; else the fault of the first
 * wrong one, or of its body.
 */
enum optics_fault optics_pair_check(
    const struct optics_pair *pair, struct optics_pair_verdict *ret);
