#pragma once
/*
 * print/cells.h - texts, and labels with their values, at the layout's sizes.
 */
#include "print/layout.h"

#define LAYOUT_LABEL_GAP 6.0 /* points between a label and its value */

/* Cells in a row of 48 columns, and the next row when it is full. */
struct layout_grid {
    double x, width;
    const int *least; /* columns of each cell, when the level is aligned */
    double gutter;    /* width kept for each label; 0: as wide as it is */
};

double layout_body(const struct layout *lay);
/* Width of the parts' names and of the block that names an eye. */
double layout_gutter(const struct layout *lay);
double layout_left(const struct layout *lay);
double layout_width(const struct layout *lay);

struct sheet_size layout_measure(
    struct layout *lay, const char *text, double size, bool bold);
double layout_line(struct layout *lay, double size);

/* Places text, broken into lines when at has a width; returns its height. */
double layout_put(struct layout *lay, const char *text, double size, bool bold,
    struct sheet_box at);
/* A label in body size whose line stands on that of a larger text at y. */
void layout_put_label(
    struct layout *lay, const char *label, double x, double y, double size);
/* Places one cell, label and value on one line; returns its height. */
double layout_put_cell(struct layout *lay, const struct print_cell *cell,
    double size, struct sheet_box at, double label_width);
/* Cells from left to right and then below; moves y on. */
void layout_put_cells(struct layout *lay, const struct print_cells *cells,
    const struct layout_grid *grid);
