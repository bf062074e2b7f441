#pragma once
/*
 * record/order_field.h - the fields of an order as the lab is told it: what a
 * question can be attached to, and what differs between two editions.
 */
#include <jansson.h>
#include <stdbool.h>

#include "base/arena.h"
#include "base/json_out.h"
#include "record/side.h"

/* How a field's value is written. */
enum record_field_kind {
    RECORD_FIELD_POWER, /* dioptres, two decimals */
    RECORD_FIELD_PRISM, /* a list of amount and base */
    RECORD_FIELD_AXIS,  /* whole degrees */
    RECORD_FIELD_MM,
    RECORD_FIELD_DEG,
    RECORD_FIELD_PLAIN /* a text, a number or a list of texts */
};

struct record_order_field {
    const char *pointer; /* into the order, "/right/sphere" */
    const char *name;    /* for people: "sphere" */
    enum record_side side;
    enum record_field_kind kind;
    bool optical; /* stands in the check word */
};

/* The field at pointer, NULL when there is none. */
const struct record_order_field *record_order_field_at(const char *pointer);

/* One field that two editions tell differently; values are borrowed from
 * them, NULL where nothing stood. */
struct record_order_change {
    const struct record_order_field *field;
    const json_t *before, *after;
};

#define RECORD_ORDER_CHANGES_MAX 64

/* Every field in which what was told differs, in the order of the page. */
size_t record_order_changes(const json_t *before, const json_t *after,
    struct record_order_change ret[RECORD_ORDER_CHANGES_MAX]);

/* Writes {"pointer","field","eye"?,"optical","before","after","text"}. */
void record_order_change_write(struct json_out *o,
    const struct record_order_change *change, struct arena *arena);
