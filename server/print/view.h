#pragma once
/*
 * print/view.h - what stands on the page and in which order, already in words.
 *
 * Made once and drawn twice: PDF and HTML show the same labels, texts and
 * order because both take them from here.  Lives in the arena it was made in.
 */
#include <stdbool.h>
#include <stddef.h>

#include "print/order_page.h"

struct arena;

struct print_cell {
    const char *label;
    const char *text; /* NULL: empty, struck through */
    const char *said; /* NULL: as written */
};

#define PRINT_CELLS_MAX 12

struct print_cells {
    size_t n;
    struct print_cell of[PRINT_CELLS_MAX];
};

struct print_eye_view {
    const char *letter, *word; /* "R", "right" */
    const char *instead;       /* "balance lens"; NULL: figures follow */
    struct print_cell sphere, cylinder, axis, add;
    struct print_cell other; /* the other form; label only: no cylinder */
    struct print_cells details;
    int32_t axis_deg; /* for the dial; PRINT_ABSENT: nothing to draw */
};

struct print_view {
    const char *title; /* of the document; nothing personal */
    const char *number;
    const char *version; /* "version 2, page 1 of 1" */
    const char *not_to_be_made;
    const char *replaces; /* a sentence, always there */
    bool replaces_any;
    const char *changes; /* all of them in one text, or NULL */
    struct print_cells head, people, both, lens, frame;
    struct print_eye_view eye[2];
    struct print_cell check;
    const char *check_note;
    const char *code;
    struct print_strings cautions, notes;
    const char *aid; /* what computed values are and are not */
    const char *legal;
};

struct print_view *print_view_new(
    struct arena *arena, const struct print_order_page *page);

/* s with broken UTF-8 made whole and every control character as a blank; NULL
 * for NULL, "" and nothing but blanks. */
const char *print_text_clean(struct arena *arena, const char *s);
