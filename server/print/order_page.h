#pragma once
/*
 * print/order_page.h - a finished order as one page, for paper and browser.
 *
 * The caller fills a struct print_order_page with what stands on the page;
 * nothing is looked up, defaulted or rounded here.  Strings are UTF-8 and
 * borrowed until the call returns; NULL and "" are empty fields, which are
 * struck through.  Powers and prisms are in hundredths (_cd), lengths in
 * hundredths of a millimetre (_mm100), angles of the frame in hundredths of a
 * degree (_cdeg), the axis in whole degrees.  PRINT_ABSENT marks a figure that
 * is not there; 0 is a figure.
 *
 * No file, clock, locale or network; one thread at a time (the fonts are found
 * once per thread).  The same page and the same fonts give the same bytes.
 */
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"
#include "base/num.h"
#include "base/text.h"

#define PRINT_ABSENT NUM_ABSENT

enum print_paper { PRINT_A4, PRINT_LETTER };
enum print_side { PRINT_RIGHT, PRINT_LEFT };
enum print_make { PRINT_PAIR, PRINT_RIGHT_ONLY, PRINT_LEFT_ONLY };
enum print_base { PRINT_IN, PRINT_OUT, PRINT_UP, PRINT_DOWN };
enum print_lens {
    PRINT_POWER,
    PRINT_BALANCE,
    PRINT_OCCLUDER,
    PRINT_PROSTHESIS,
    PRINT_NO_LENS
};

/* A plain date; year 0: absent; month or day 0: only what stands before it is
 * known, as FHIR dates allow. */
struct print_date {
    int32_t year, month, day;
};

#define PRINT_PRISMS_MAX 2 /* one horizontal, one vertical */

struct print_prisms {
    size_t n;
    struct {
        int32_t amount_cd; /* above 0, hundredths of a prism dioptre */
        enum print_base base;
    } of[PRINT_PRISMS_MAX];
};

/* The power stands as it is ordered; the other cylinder form is made here.
 * Beside any lens but PRINT_POWER the powers are absent. */
struct print_eye {
    enum print_lens lens;
    int32_t sphere_cd, cylinder_cd, axis_deg; /* axis 1..180, or absent */
    int32_t add_cd, intermediate_add_cd;
    struct print_prisms prism, near_prism;
    int32_t pd_far_mm100, pd_near_mm100; /* monocular */
    int32_t fitting_height_mm100;        /* from the lower boxed edge */
};

struct print_strings {
    size_t n;
    const char *const *of;
};

struct print_order_page {
    const char *order_id;     /* required; also names the file */
    const char *order_number; /* what people say; NULL: order_id is shown */
    int32_t version;          /* from 1 */
    const char *replaces;     /* "version 1 of 2 March 2026"; NULL: nothing */
    struct print_strings changes; /* since what it replaces, one each */
    const char *not_to_be_made;   /* why: "cancelled"; NULL: a valid order */
    int32_t page, pages;          /* n of m; 0: 1 of 1 */
    struct print_date signed_on, expires_on;

    const char *patient, *record_number;
    struct print_date born; /* absent when the lab need not know */
    const char *prescriber, *licence, *address;
    const char *clinic, *network;
    const char *lab, *deliver_to;
    const char *purpose, *priority;

    enum print_make make;
    struct print_eye eye[2];             /* by enum print_side */
    int32_t vertex_mm100;                /* that the powers refer to */
    int32_t pd_far_mm100, pd_near_mm100; /* binocular */

    const char *design, *material, *treatments, *tint;
    int32_t index_milli; /* thousandths: 1498 */
    int32_t a_mm100, b_mm100, dbl_mm100, ed_mm100, worn_vertex_mm100;
    int32_t tilt_cdeg, wrap_cdeg;
    const char *supply;

    const char *check_word; /* over all optical figures */
    const char *code;       /* what the square code holds; NULL: none */
    struct print_strings cautions, notes;
    const char *legal; /* what the rules of the place want said */
};

/* An empty page: every figure absent, a pair, version 1. */
void print_order_page_init(struct print_order_page *page);

/* RC_OK when page can be printed; else every fault, with pointers into the
 * members' names ("/eye/left/axis_deg"). */
enum rc print_order_check(const struct print_order_page *page, struct err *err);

/*
 * Appends the page as a PDF of one page.  RC_INVALID with every fault when
 * the page is not valid, RC_TOO_LARGE when the texts do not fit on one page at
 * 12 points: nothing is left out in silence.  Notes (nothing else) are cut to
 * what fits, and the page says how many are missing.  Nothing is appended on
 * any code but RC_OK.
 */
enum rc print_order_pdf(const struct print_order_page *page,
    enum print_paper paper, struct text *out, struct err *err);

/*
 * Appends the page as one HTML document, for any paper.  It needs nothing
 * else: no script, no link, one <style>, no style attribute.  A strict
 * Content-Security-Policy admits it by style-src with the hash of
 * print_order_style(), which is what stands between the style tags.
 */
enum rc print_order_html(
    const struct print_order_page *page, struct text *out, struct err *err);
const char *print_order_style(void);

/* Appends "order-<id>-v<version>.<suffix>"; nothing personal stands in it. */
void print_order_file_name(
    const struct print_order_page *page, const char *suffix, struct text *out);
