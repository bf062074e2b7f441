#include "print/cells.h"

#include <math.h>

#define STRUCK_WIDTH 46.0
#define COLUMNS 48 /* of a grid */

double layout_body(const struct layout *lay)
{
    return lay->level.body;
}

double layout_gutter(const struct layout *lay)
{
    return layout_body(lay) * 5.5;
}

double layout_left(const struct layout *lay)
{
    return lay->level.margin;
}

double layout_width(const struct layout *lay)
{
    return lay->paper_width - 2 * lay->level.margin;
}

struct sheet_size layout_measure(
    struct layout *lay, const char *text, double size, bool bold)
{
    struct sheet_text t = {.text = text, .size = size, .bold = bold};

    return sheet_measure(lay->sheet, &t);
}

double layout_line(struct layout *lay, double size)
{
    return layout_measure(lay, "0", size, false).height;
}

static double baseline(struct layout *lay, double size)
{
    return layout_measure(lay, "0", size, false).baseline;
}

double layout_put(struct layout *lay, const char *text, double size, bool bold,
    struct sheet_box at)
{
    struct sheet_text t = {
        .text = text, .size = size, .bold = bold, .width = at.width};

    return sheet_put_text(lay->sheet, &t, at.x, at.y, false).height;
}

void layout_put_label(
    struct layout *lay, const char *label, double x, double y, double size)
{
    double drop = baseline(lay, size) - baseline(lay, layout_body(lay));

    layout_put(lay, label, layout_body(lay), false,
        (struct sheet_box){x, y + drop, 0, 0});
}

static void put_struck(struct layout *lay, double x, double y, double width)
{
    double line = layout_line(lay, layout_body(lay));

    sheet_put_shape(lay->sheet, SHEET_STRUCK,
        (struct sheet_box){x, y + line * 0.24, width, line * 0.52}, 0.8);
}

double layout_put_cell(struct layout *lay, const struct print_cell *cell,
    double size, struct sheet_box at, double label_width)
{
    double x = at.x + label_width + LAYOUT_LABEL_GAP,
           room = at.x + at.width - x;
    double label = baseline(lay, layout_body(lay)), value;

    if (!cell->text) {
        layout_put(lay, cell->label, layout_body(lay), false,
            (struct sheet_box){at.x, at.y, 0, 0});
        put_struck(lay, x, at.y, fmin(STRUCK_WIDTH, room));
        return layout_line(lay, layout_body(lay));
    }
    value = layout_measure(lay, cell->text, size, true).baseline;
    layout_put(lay, cell->label, layout_body(lay), false,
        (struct sheet_box){at.x, at.y + fmax(value - label, 0), 0, 0});
    at = (struct sheet_box){x, at.y + fmax(label - value, 0), room, 0};
    return fmax(layout_line(lay, layout_body(lay)),
        fmax(label - value, 0) + layout_put(lay, cell->text, size, true, at));
}

static double label_width(struct layout *lay, const struct print_cell *cell,
    const struct layout_grid *grid)
{
    return grid->gutter > 0 && lay->level.aligned
               ? grid->gutter
               : layout_measure(lay, cell->label, layout_body(lay), false)
                     .width;
}

/* How many columns the cell takes. */
static int cell_span(struct layout *lay, const struct print_cell *cell,
    const struct layout_grid *grid, size_t i)
{
    double value =
        cell->text
            ? layout_measure(lay, cell->text, layout_body(lay), true).width
            : STRUCK_WIDTH;
    double width = label_width(lay, cell, grid) + LAYOUT_LABEL_GAP + value + 9;
    int span = (int)ceil(width * COLUMNS / grid->width);

    if (lay->level.aligned && span < grid->least[i])
        span = grid->least[i];
    return span < COLUMNS ? span : COLUMNS;
}

void layout_put_cells(struct layout *lay, const struct print_cells *cells,
    const struct layout_grid *grid)
{
    double column = grid->width / COLUMNS, tallest = 0;
    int used = 0;

    for (size_t i = 0; i < cells->n; i++) {
        const struct print_cell *cell = &cells->of[i];
        int span = cell_span(lay, cell, grid, i);
        struct sheet_box at;

        if (used + span > COLUMNS) {
            lay->y += tallest;
            used = 0;
            tallest = 0;
        }
        at = (struct sheet_box){
            grid->x + used * column, lay->y, span * column - 8, 0};
        tallest = fmax(tallest, layout_put_cell(lay, cell, layout_body(lay), at,
                                    label_width(lay, cell, grid)));
        used += span;
    }
    lay->y += tallest;
}
