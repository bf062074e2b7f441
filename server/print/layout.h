#pragma once
/*
 * print/layout.h - where each part of an order stands on the sheet.
 */
#include "print/sheet.h"
#include "print/view.h"

/* How roomy a page is set; from the first that fits.  Points. */
struct layout_level {
    double margin; /* around the page */
    double gap;    /* between parts */
    double body;   /* size of text, 12 or more */
    double name;   /* size of the patient's name */
    double figure; /* size of sphere, cylinder, axis, add */
    double pitch;  /* of lines, see struct sheet */
    bool aligned;  /* cells stand in columns, not packed */
};

struct layout {
    struct sheet *sheet;
    const struct print_view *view;
    struct layout_level level;
    double paper_width;
    cairo_surface_t *code; /* NULL: none */
    size_t notes;          /* how many of the view's notes are shown */
    double y;              /* where the next part starts */
};

/* Places everything; returns the height it needs, lower margin included. */
double layout_place(struct layout *layout);
