#pragma once
/*
 * optics/fault.h - which argument made no sense, and why.
 *
 * A function that can be asked something without an answer returns an
 * optics_fault and writes its result only with OPTICS_OK: never a NaN, never
 * an infinity.  Where several arguments are wrong the first of them is named;
 * optics_fault_check tells about each alone.
 */
enum optics_fault {
    OPTICS_OK,
#define RANGE(name, arg, low, high, why) OPTICS_BAD_##name,
#define SENSE(name, arg, why) OPTICS_BAD_##name,
#include "optics/fault.def"
#undef RANGE
#undef SENSE
};

/* The argument at fault, spelled as in the JSON of POST /v1/optics ("index",
 * "from_mm"); "" for OPTICS_OK. */
const char *optics_fault_arg(enum optics_fault fault);

/* What is wrong, to be put behind the value: "is outside 0 to 180 degrees". */
const char *optics_fault_why(enum optics_fault fault);

/*
 * which, a fault that has a range, when value is not finite or outside that
 * range; else OPTICS_OK.
 */
enum optics_fault optics_fault_check(enum optics_fault which, double value);

struct optics_arg {
    enum optics_fault which;
    double value;
};

/* The fault of the first wrong one of args, which {OPTICS_OK} ends. */
enum optics_fault optics_fault_first(const struct optics_arg args[]);
