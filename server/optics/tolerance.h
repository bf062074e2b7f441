#pragma once
/*
 * optics/tolerance.h - the tolerances that finished lenses are held to.
 *
 * A profile is an edition or a rule of a place; its limits stand in
 * tolerance.def, each with its source.  There is no default profile.  Limits
 * are inclusive, and edges and limits are met within 1e-9, so that 0.13 at
 * exactly 6.50 D is what people mean by it.
 *
 * Where sources or wordings disagree a line has several rules; a line whose
 * rules don't agree is at the limit, and somebody has to read the standard.
 * A verdict is an aid: it releases nothing, and local rules come first.
 */
#include <stdbool.h>
#include <stddef.h>

#include "optics/power.h"

enum optics_profile {
#define PROFILE(name, word) OPTICS_PROFILE_##name,
#define LIMIT(...)
#include "optics/tolerance.def"
#undef PROFILE
#undef LIMIT
};

/* The profiles' names, NULL-ended, in the order of the enum. */
extern const char *const OPTICS_PROFILES[];

/* Lens designs; an occupational lens is held to what a progressive one is
 * (common practice). */
enum optics_lens_type {
    OPTICS_SINGLE_VISION,
    OPTICS_BIFOCAL,
    OPTICS_TRIFOCAL,
    OPTICS_PROGRESSIVE,
    OPTICS_OCCUPATIONAL,
};

/* "single-vision" and so on, NULL-ended. */
extern const char *const OPTICS_LENS_TYPES[];

/* What is held to a limit; in brackets the value that picks the row, always
 * without its sign. */
enum optics_group {
    OPTICS_GROUP_SPHERE,     /* sphere meridian in minus form (its power) */
    OPTICS_GROUP_STRONGEST,  /* meridian of highest power (its power) */
    OPTICS_GROUP_CYLINDER,   /* (cylinder ordered) */
    OPTICS_GROUP_AXIS,       /* (cylinder ordered) */
    OPTICS_GROUP_ADD,        /* (add ordered) */
    OPTICS_GROUP_POINT,      /* prism reference point of a loose lens (0) */
    OPTICS_GROUP_VERTICAL,   /* of the mounted pair (power along 90) */
    OPTICS_GROUP_HORIZONTAL, /* of the mounted pair (power along 180) */
    OPTICS_GROUP_SEGMENT,    /* its height (0) */
    OPTICS_GROUP_SEGMENTS,   /* difference of the two heights' errors (0) */
};

enum optics_unit {
    OPTICS_UNIT_D,
    OPTICS_UNIT_PERCENT, /* of the value, so a rule of it is in D */
    OPTICS_UNIT_DEG,
    OPTICS_UNIT_PRISM,   /* cm/m */
    OPTICS_UNIT_MM_EACH, /* of each lens */
    OPTICS_UNIT_MM_PAIR, /* of the pair */
};

/* "D", "deg", "prism", "mm". */
const char *optics_unit_word(enum optics_unit unit);

enum optics_verdict {
    OPTICS_NOT_JUDGED, /* no rule for it, or a figure is missing */
    OPTICS_PASS,
    OPTICS_AT_LIMIT, /* the rules disagree */
    OPTICS_FAIL,
};

/* "not-judged", "pass", "at-limit", "fail". */
const char *optics_verdict_word(enum optics_verdict verdict);

/* One row of a profile, held to one error. */
struct optics_rule {
    enum optics_group group;
    enum optics_unit unit; /* never PERCENT */
    double limit;
    double error;     /* without its sign; 0 before it is known */
    bool known, pass; /* is the error known; is it within */
    const char *source;
};

#define OPTICS_RULES_MAX 6

struct optics_ruling {
    enum optics_verdict verdict;
    size_t n; /* rules, the first is the profile's own answer */
    struct optics_rule rules[OPTICS_RULES_MAX];
};

/* What rules are chosen by. */
struct optics_rule_key {
    enum optics_profile profile;
    enum optics_lens_type type;
    enum optics_group group;
};

/*
 * Adds to *line the rules for value: each row that holds it, and between two
 * rows the one on either side.  A rule that stands there already (same group,
 * unit and limit) isn't added again.  value must be finite.
 */
void optics_rules_add(
    struct optics_ruling *line, struct optics_rule_key key, double value);

/* Holds error to each rule of that unit in the line; sign is ignored. */
void optics_rules_hold(
    struct optics_ruling *line, enum optics_unit unit, double error);

/* Sets the verdict: by the rules whose error is known fail when all of them
 * say so, at the limit when they disagree, and pass when all rules say so; not
 * judged without rules, and while none fails and an error isn't known. */
void optics_rules_judge(struct optics_ruling *line);

struct optics_power_ruling {
    struct optics_ruling sphere, cylinder, axis;
};

/*
 * A lens as ordered and as measured, either in either form.  The sphere is
 * judged by the sphere meridian in minus form, or where the profile has it so
 * (also) by the principal meridian of highest power; of two equally strong it
 * is the sphere's.  An axis is judged only where both have a cylinder.
 */
enum optics_fault optics_tolerance_power(enum optics_profile profile,
    enum optics_lens_type type, struct optics_power ordered,
    struct optics_power measured, struct optics_power_ruling *ret);

struct optics_pair_errors {
    double vertical_power, horizontal_power;         /* D, 0 to 1000 */
    double vertical_imbalance, horizontal_imbalance; /* cm/m, 0 to 1000 */
    double vertical_mm, horizontal_mm; /* of the reference points, 0 to 100 */
};

/* The mounted pair's imbalance, by prism or by place as the powers ask. */
enum optics_fault optics_tolerance_prism(enum optics_profile profile,
    enum optics_lens_type type, struct optics_pair_errors pair,
    struct optics_ruling *ret_vertical, struct optics_ruling *ret_horizontal);

/*
 * By how many degrees a cylinder may turn before the cylinder left over is
 * error: asin(error / (2 |C|)), the reasoning behind the axis rows (white
 * paper on Z80.1-2005).  90 when no turn leaves as much; OPTICS_BAD_NO_CYLINDER
 * without a cylinder.
 */
enum optics_fault optics_axis_tolerance(
    double cylinder, double error, double *ret_deg);
