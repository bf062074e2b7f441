#pragma once
/*
 * print/sheet.h - marks placed on a sheet of paper, then drawn at once.
 *
 * Placing measures and remembers; nothing is drawn before sheet_draw, so a
 * layout that turns out too tall is thrown away and tried again smaller.
 * Lengths are points (1/72 inch), y grows downwards.  Black on white only.
 */
#include <cairo.h>
#include <pango/pangocairo.h>
#include <stdbool.h>
#include <stdint.h>

struct arena;
struct sheet_mark;
struct sheet_face;

#define SHEET_BUCKETS 128

struct sheet {
    struct arena *arena; /* borrowed; owns the marks */
    PangoContext *pango; /* borrowed; its widths grow evenly with size */
    double pitch;        /* of a line's natural height, 0.8 to 1 */
    struct sheet_mark *first, *last;
    int unknown; /* characters placed that no font here can draw */
    struct sheet_face *faces[SHEET_BUCKETS]; /* texts that were set before */
};

/* A text and how it is set.  width 0: on one line, however long.  The text is
 * borrowed until sheet_free, which knows it again by its address. */
struct sheet_text {
    const char *text;
    double size; /* points, 12 or more */
    bool bold;
    double width;
    double spacing; /* extra points between letters */
};

struct sheet_size {
    double width, height;
    double baseline; /* of the first line, below the upper edge */
};

enum sheet_shape {
    SHEET_CUT,            /* corners cut */
    SHEET_ROUND,          /* corners round */
    SHEET_CUT_FILL,       /* the same, black */
    SHEET_RECTANGLE,      /* outline */
    SHEET_RECTANGLE_FILL, /* black */
    SHEET_RULE,           /* a line along the upper edge */
    SHEET_STRUCK,         /* slanted strokes: nothing stands here */
};

struct sheet_box {
    double x, y, width, height;
};

/* What a text takes, without placing it. */
struct sheet_size sheet_measure(
    struct sheet *sheet, const struct sheet_text *text);

/* Places text with its upper left corner at x, y, in black, or in white for a
 * black ground; returns its size. */
struct sheet_size sheet_put_text(struct sheet *sheet,
    const struct sheet_text *text, double x, double y, bool white);
/* stroke: the line's width. */
void sheet_put_shape(struct sheet *sheet, enum sheet_shape shape,
    struct sheet_box box, double stroke);
/* A half dial, 0 at the right, anticlockwise, and a needle at axis_deg. */
void sheet_put_dial(struct sheet *sheet, struct sheet_box box, int axis_deg);
/* One pixel a module; the surface is borrowed until sheet_free. */
void sheet_put_code(
    struct sheet *sheet, cairo_surface_t *code, struct sheet_box box);

void sheet_draw(struct sheet *sheet, cairo_t *cr);
/* Drops the marks; the sheet can be filled again. */
void sheet_clear(struct sheet *sheet);
void sheet_free(struct sheet *sheet);
