#pragma once
/*
 * record/order_needs.h - what an order of each lens design must hold before a
 * lab can make it, and what deserves a second look.
 *
 * One table (order_needs.c) is all there is to know; placing, drafts and the
 * printed page ask it.  The four omissions that made three quarters of labs'
 * call-backs in one survey (add, PD, axis, sign) are answered here and by the
 * reading of an Rx, which lets no cylinder in without an axis.
 */
#include <stddef.h>

#include "record/order.h"

struct record_gap {
    const char *pointer;   /* into the order, "/frame/a_mm" */
    const char *field;     /* for people: "fitting height" */
    enum record_side side; /* RECORD_BOTH: of no one eye */
    const char *detail;    /* a sentence */
};

#define RECORD_GAPS_MAX 32

/* Every gap of the order, in the order of the page; texts are in arena.
 * Returns how many. */
size_t record_order_gaps(const struct record_order *order,
    const struct record_order_rx *rx, struct arena *arena,
    struct record_gap ret[RECORD_GAPS_MAX]);

struct record_order_caution {
    const char *code;
    enum record_side side; /* RECORD_BOTH: of no one eye */
    const char *text;
};

#define RECORD_ORDER_CAUTIONS_MAX 16

/* Doubts that never block: adds-differ, add-not-made, make-sum,
 * make-compensated,
 * purpose-differs, vertex-differs, pd-sum-differs, ed-under-a.  Returns how
 * many; texts are in arena. */
size_t record_order_cautions(const struct record_order *order,
    const struct record_order_rx *rx, struct arena *arena,
    struct record_order_caution ret[RECORD_ORDER_CAUTIONS_MAX]);
