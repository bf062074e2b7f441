#pragma once
/*
 * record/order.h - an order of glasses: what a clinic says to a lab beside the
 * signed Rx, and the figures that the lab makes.
 *
 * Lengths in hundredths of a millimetre, angles of the frame in hundredths of
 * a degree, NUM_ABSENT where nothing was said; a word that wasn't said is
 * RECORD_UNSAID.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "optics/power.h"
#include "record/check_word.h"
#include "record/pd.h"
#include "record/refraction.h"
#include "record/side.h"

#define RECORD_UNSAID (-1)

enum record_design {
    RECORD_SINGLE_VISION,
    RECORD_BIFOCAL,
    RECORD_TRIFOCAL,
    RECORD_PROGRESSIVE,
    RECORD_OCCUPATIONAL
};

/* Words of the JSON, NULL-ended. */
extern const char *const RECORD_DESIGNS[];
extern const char *const RECORD_MATERIALS[];
extern const char *const RECORD_SUPPLIES[];
extern const char *const RECORD_PRIORITIES[]; /* FHIR request-priority */

/* Which power is made; as it was signed when nothing is said. */
enum record_make_choice { RECORD_MAKE_SIGNED, RECORD_MAKE_COMPENSATED };
extern const char *const RECORD_MAKE_CHOICES[];

#define RECORD_TREATMENTS_MAX 8

struct record_order_lens {
    int design;   /* enum record_design */
    int material; /* into RECORD_MATERIALS */
    int32_t index_milli;
    size_t n_treatments;
    const char *treatments[RECORD_TREATMENTS_MAX];
    const char *tint;
};

struct record_order_frame {
    int32_t a_mm100, b_mm100, dbl_mm100, ed_mm100;
    int32_t
        fitting_height_mm100[2]; /* right, left; from the lower boxed edge */
    int32_t worn_vertex_mm100, tilt_cdeg, wrap_cdeg;
    int supply; /* into RECORD_SUPPLIES */
};

/* Texts are NULL where nothing was said. */
struct record_order {
    struct record_order_lens lens;
    struct record_order_frame frame;
    const char *lab, *previous; /* ids */
    enum record_side only;      /* RECORD_RIGHT, RECORD_LEFT; BOTH: a pair */
    const char *purpose;        /* a word of RECORD_PURPOSES */
    int priority;               /* into RECORD_PRIORITIES */
    int make;                   /* enum record_make_choice */
    struct record_pd pd;        /* of this order; before what the Rx says */
    const char *deliver_to, *notes;
    /* Fixed when the order is placed; NULL before. */
    const char *check_word;
    enum optics_form form; /* in which the powers stand on it */
};

/* Names that a client may send, NULL-ended. */
extern const char *const RECORD_ORDER_FIELDS[];

/*
 * Reads the order's members of the object in, whose other members are the
 * caller's; also check_word and cylinder_form, which stand in a stored order
 * and which the caller refuses from a client (RECORD_ORDER_FIELDS).  Texts are
 * in err's arena.  *ret is written whole, with what was good; false when a
 * fault was added.
 */
bool record_order_read(struct json_in in, struct record_order *ret);

/* Writes lens, frame, only, purpose, priority, deliver_to and notes into an
 * open object, each if there is something. */
void record_order_write(struct json_out *o, const struct record_order *order);

/* What was signed, as far as glasses need it. */
struct record_order_rx {
    struct record_refraction figures;
    const char *purpose; /* a word of RECORD_PURPOSES, or NULL */
};

/* Reads the members of a signed Rx; others are left alone. */
bool record_order_rx_read(struct json_in in, struct record_order_rx *ret);

/* True when a lens for that eye (right or left) is to be made, and when it has
 * a power. */
bool record_order_makes(const struct record_order *order,
    const struct record_order_rx *rx, int side);
bool record_order_makes_power(const struct record_order *order,
    const struct record_order_rx *rx, int side);

/* The pupil distances that hold: the order's, else the Rx's. */
struct record_pd record_order_pd(
    const struct record_order *order, const struct record_order_rx *rx);

/* Every optical figure of the order, powers in form; a lens that isn't made
 * has none. */
struct record_figures record_order_figures(const struct record_order *order,
    const struct record_order_rx *rx, enum optics_form form);

/*
 * The same lens with the cylinder's other sign, as the trade writes it: where
 * both figures are eighths (.12 .37 .62 .87) the true eighths are added, so
 * that -2.12 -0.62 is -2.75 +0.62.
 */
struct optics_rx record_written_as(struct optics_rx rx, enum optics_form form);

/*
 * The power to make for single-vision glasses that are not for distance: the
 * signed sphere with the add of that distance, as written.  False when the
 * order isn't of that kind, the Rx's figures are for that distance already, or
 * the add is missing.
 */
bool record_order_near_power(const struct record_order *order,
    const struct record_order_rx *rx, int side, struct optics_rx *ret);

/* For which distance single-vision lenses are made. */
enum record_use {
    RECORD_USE_FAR,
    RECORD_USE_MIDDLE,        /* the sphere needs an add */
    RECORD_USE_NEAR,          /* likewise */
    RECORD_USE_MIDDLE_SIGNED, /* the Rx's figures are for that distance */
    RECORD_USE_NEAR_SIGNED
};

enum record_use record_order_use(
    const struct record_order *order, const struct record_order_rx *rx);
