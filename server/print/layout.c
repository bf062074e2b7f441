#include "print/layout.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/arena.h"
#include "print/cells.h"

#define CODE_SIDE 104.0 /* of the square code, its white margin beside it */

static void put_rule(struct layout *lay)
{
    lay->y += lay->level.gap * 0.5;
    sheet_put_shape(lay->sheet, SHEET_RULE,
        (struct sheet_box){layout_left(lay), lay->y, layout_width(lay), 0},
        0.8);
    lay->y += lay->level.gap * 0.5;
}

/* A frame with a loud first line and what belongs to it; filled: in white on
 * black. */
static void put_loud(struct layout *lay, const char *loud, const char *more,
    double width, bool filled)
{
    double x = layout_left(lay), inset = 7;
    struct sheet_text first = {loud, 14, true, width - 2 * inset, 0};
    struct sheet_text then = {
        more, layout_body(lay), true, width - 2 * inset, 0};
    double first_height = sheet_measure(lay->sheet, &first).height;
    double height = first_height + 5;

    if (more)
        height += sheet_measure(lay->sheet, &then).height;
    sheet_put_shape(lay->sheet, filled ? SHEET_RECTANGLE_FILL : SHEET_RECTANGLE,
        (struct sheet_box){x + 1.25, lay->y + 1.25, width - 2.5, height - 2.5},
        2.5);
    sheet_put_text(lay->sheet, &first, x + inset, lay->y + 2, filled);
    if (more)
        sheet_put_text(
            lay->sheet, &then, x + inset, lay->y + 2 + first_height, filled);
    lay->y += height + 2;
}

static void put_head(struct layout *lay)
{
    const struct print_view *view = lay->view;
    double x = layout_left(lay), top = lay->y;
    double width = layout_width(lay) - CODE_SIDE - 24;
    struct sheet_box code = {
        x + layout_width(lay) - CODE_SIDE, top + 4, CODE_SIDE, CODE_SIDE};
    static const int LEAST[] = {24, 24, 24, 24, 48};
    double name =
        layout_measure(lay, "Lens order", layout_body(lay), false).width + 12;
    double size = 24;

    while (size > 14 &&
           layout_measure(lay, view->number, size, true).width > width - name)
        size -= 1;
    layout_put_label(lay, "Lens order", x, top, size);
    lay->y += layout_put(lay, view->number, size, true,
        (struct sheet_box){x + name, top, width - name, 0});
    lay->y += layout_put(
        lay, view->version, 14, true, (struct sheet_box){x, lay->y, width, 0});
    if (view->not_to_be_made)
        put_loud(lay, "NOT TO BE MADE", view->not_to_be_made, width, true);
    if (view->replaces_any)
        put_loud(lay, view->replaces, view->changes, width, false);
    else
        lay->y += layout_put(lay, view->replaces, layout_body(lay), false,
            (struct sheet_box){x, lay->y, width, 0});
    lay->y += 2;
    layout_put_cells(lay, &view->head,
        &(struct layout_grid){x, width, LEAST, layout_body(lay) * 4.4});
    if (lay->code)
        sheet_put_code(lay->sheet, lay->code, code);
    else
        sheet_put_shape(lay->sheet, SHEET_STRUCK, code, 0.8);
    lay->y = fmax(lay->y, code.y + code.height + 4);
}

static void put_people(struct layout *lay)
{
    const struct print_cells *people = &lay->view->people;
    static const int LEAST[] = {24, 24, 24, 24, 48, 24, 24, 24, 24};
    struct print_cells rest = *people;
    struct sheet_box at = {layout_left(lay), lay->y, layout_width(lay), 0};

    lay->y += layout_put_cell(
        lay, &people->of[0], lay->level.name, at, layout_gutter(lay));
    rest.n--;
    memmove(rest.of, rest.of + 1, rest.n * sizeof(rest.of[0]));
    layout_put_cells(lay, &rest,
        &(struct layout_grid){at.x, at.width, LEAST, layout_gutter(lay)});
}

/* Shares of an eye's width: sphere, cylinder, axis, add, and the dial. */
static const double SHARE[] = {0.265, 0.26, 0.15, 0.195, 0.13};

static const struct print_cell *eye_figure(
    const struct print_eye_view *eye, size_t i)
{
    const struct print_cell *figures[] = {
        &eye->sphere, &eye->cylinder, &eye->axis, &eye->add};

    return figures[i];
}

/* The largest size at which every figure of both eyes has its place. */
static double figure_size(struct layout *lay, double width)
{
    double size = lay->level.figure;

    for (int side = PRINT_RIGHT; side <= PRINT_LEFT; side++)
        for (size_t i = 0; i < 4; i++) {
            const char *text = eye_figure(&lay->view->eye[side], i)->text;

            while (text && size > 18 &&
                   layout_measure(lay, text, size, true).width >
                       width * SHARE[i] - 9)
                size -= 0.5;
        }
    return size;
}

/* Label above, figure below; returns the height of both. */
static double put_figure(struct layout *lay, const struct print_cell *cell,
    double size, struct sheet_box at)
{
    double low = layout_line(lay, layout_body(lay)) * 0.82;
    double height = layout_line(lay, size);

    layout_put(lay, cell->label, layout_body(lay), false,
        (struct sheet_box){at.x, at.y, 0, 0});
    if (cell->text)
        layout_put(lay, cell->text, size, true,
            (struct sheet_box){at.x, at.y + low, 0, 0});
    else
        sheet_put_shape(lay->sheet, SHEET_STRUCK,
            (struct sheet_box){at.x, at.y + low + height * 0.24,
                fmin(at.width, 84), height * 0.5},
            0.8);
    return low + height * 0.9;
}

static double put_figures(struct layout *lay, const struct print_eye_view *eye,
    double x, double width)
{
    double height = 0, at = x, dial = width * SHARE[4];
    double size = figure_size(lay, width);

    for (size_t i = 0; i < 4; i++) {
        height = fmax(height,
            put_figure(lay, eye_figure(eye, i), size,
                (struct sheet_box){at, lay->y, width * SHARE[i] - 9, 0}));
        at += width * SHARE[i];
    }
    if (eye->axis_deg != PRINT_ABSENT)
        sheet_put_dial(lay->sheet,
            (struct sheet_box){
                at, lay->y + (height - dial / 2) / 2, dial, dial / 2 + 2},
            (int)eye->axis_deg);
    return height;
}

static void put_other_form(
    struct layout *lay, const struct print_cell *other, double x, double width)
{
    double label;

    if (!other->label)
        return;
    label = layout_measure(lay, other->label, layout_body(lay), false).width;
    layout_put(lay, other->label, layout_body(lay), false,
        (struct sheet_box){x, lay->y + 2, 0, 0});
    if (other->text)
        layout_put(lay, other->text, 14, true,
            (struct sheet_box){x + label + 10, lay->y, width, 0});
    lay->y += layout_line(lay, 14);
}

/* The block with the eye's letter and word, at the panel's left end. */
static void put_eye_name(struct layout *lay, const struct print_eye_view *eye,
    enum print_side side, struct sheet_box panel)
{
    struct sheet_text letter = {.text = eye->letter, .size = 46, .bold = true};
    struct sheet_text word = {.text = eye->word, .size = 16, .bold = true};
    struct sheet_size l = sheet_measure(lay->sheet, &letter);
    struct sheet_size w = sheet_measure(lay->sheet, &word);
    double block = layout_gutter(lay) - 4;
    double y = panel.y + (panel.height - l.height * 0.8 - w.height) / 2 -
               l.height * 0.1;
    double lx = panel.x + (block - l.width) / 2;
    double wx = panel.x + (block - w.width) / 2;

    if (side == PRINT_RIGHT) {
        sheet_put_shape(lay->sheet, SHEET_CUT_FILL,
            (struct sheet_box){panel.x, panel.y, block, panel.height}, 0);
        sheet_put_text(lay->sheet, &letter, lx, y, true);
        sheet_put_text(lay->sheet, &word, wx, y + l.height * 0.84, true);
    } else {
        sheet_put_shape(lay->sheet, SHEET_ROUND,
            (struct sheet_box){panel.x, panel.y, block, panel.height}, 2);
        sheet_put_text(lay->sheet, &letter, lx, y, false);
        sheet_put_text(lay->sheet, &word, wx, y + l.height * 0.84, false);
    }
}

static void put_eye(struct layout *lay, enum print_side side)
{
    const struct print_eye_view *eye = &lay->view->eye[side];
    struct sheet_box panel = {layout_left(lay), lay->y, layout_width(lay), 0};
    double x = panel.x + layout_gutter(lay) + 6,
           width = panel.width - layout_gutter(lay) - 14;
    static const int LEAST[] = {24, 24, 16, 16, 16, 16};
    double pad = lay->level.gap * 0.5;

    lay->y += pad;
    if (eye->instead)
        lay->y += layout_put(lay, eye->instead, lay->level.figure, true,
            (struct sheet_box){x, lay->y, width, 0});
    else
        lay->y += put_figures(lay, eye, x, width);
    put_other_form(lay, &eye->other, x, width);
    layout_put_cells(
        lay, &eye->details, &(struct layout_grid){x, width, LEAST, 0});
    lay->y += pad;
    panel.height = fmax(lay->y - panel.y, 70);
    lay->y = panel.y + panel.height;
    sheet_put_shape(lay->sheet, side == PRINT_RIGHT ? SHEET_CUT : SHEET_ROUND,
        (struct sheet_box){
            panel.x + 1, panel.y + 1, panel.width - 2, panel.height - 2},
        2);
    put_eye_name(lay, eye, side,
        (struct sheet_box){panel.x + 1, panel.y + 1, 0, panel.height - 2});
    lay->y += lay->level.gap;
}

static void put_check_word(struct layout *lay)
{
    const struct print_cell *check = &lay->view->check;
    double x = layout_left(lay), width = layout_width(lay);
    struct sheet_text word = {
        .text = check->text, .size = 20, .bold = true, .spacing = 2};
    struct sheet_size size;
    double at = x + layout_gutter(lay) + LAYOUT_LABEL_GAP, note;

    if (!check->text) {
        lay->y += layout_put_cell(lay, check, layout_body(lay),
            (struct sheet_box){x, lay->y, width, 0}, layout_gutter(lay));
        return;
    }
    layout_put_label(lay, check->label, x, lay->y, word.size);
    size = sheet_put_text(lay->sheet, &word, at, lay->y, false);
    at += size.width + 14;
    note = layout_put(lay, lay->view->check_note, layout_body(lay), false,
        (struct sheet_box){at, lay->y + 1, x + width - at, 0});
    lay->y += fmax(size.height, note);
}

static void put_part(struct layout *lay, const char *name,
    const struct print_cells *cells, const int *least)
{
    double x = layout_left(lay);

    layout_put(
        lay, name, layout_body(lay), true, (struct sheet_box){x, lay->y, 0, 0});
    layout_put_cells(lay, cells,
        &(struct layout_grid){x + layout_gutter(lay) + LAYOUT_LABEL_GAP,
            layout_width(lay) - layout_gutter(lay) - LAYOUT_LABEL_GAP, least,
            0});
}

static void put_lines(struct layout *lay, const char *name,
    const struct print_strings *lines, size_t n, bool bold)
{
    double x = layout_left(lay), at = x + layout_gutter(lay) + LAYOUT_LABEL_GAP;
    double width = layout_width(lay) - layout_gutter(lay) - LAYOUT_LABEL_GAP;

    if (lines->n)
        layout_put(lay, name, layout_body(lay), true,
            (struct sheet_box){x, lay->y, 0, 0});
    for (size_t i = 0; i < n; i++)
        lay->y += layout_put(lay, lines->of[i], layout_body(lay), bold,
            (struct sheet_box){at, lay->y, width, 0});
    if (n < lines->n)
        lay->y += layout_put(lay,
            arena_printf(lay->sheet->arena,
                "%zu more do not fit on this page: read them in the order "
                "itself",
                lines->n - n),
            layout_body(lay), true, (struct sheet_box){at, lay->y, width, 0});
}

static void put_foot(struct layout *lay)
{
    const struct print_view *view = lay->view;
    struct sheet_box at = {layout_left(lay), lay->y, layout_width(lay), 0};

    at.y += layout_put(lay, view->aid, layout_body(lay), false, at);
    if (view->legal)
        at.y += layout_put(lay, view->legal, layout_body(lay), false, at);
    lay->y = at.y;
    if (lay->sheet->unknown > 0)
        lay->y += layout_put(lay,
            arena_printf(lay->sheet->arena,
                "CAUTION: %d characters on this page cannot be drawn with the "
                "fonts at hand and stand as small boxes: read those words on "
                "the screen.",
                lay->sheet->unknown),
            layout_body(lay), true,
            (struct sheet_box){at.x, lay->y, at.width, 0});
}

double layout_place(struct layout *lay)
{
    static const int BOTH[] = {16, 12, 12};
    static const int LENS[] = {16, 16, 10, 24, 24};
    static const int FRAME[] = {12, 12, 12, 12, 14, 10, 10, 13};
    const struct print_view *view = lay->view;

    lay->y = lay->level.margin;
    put_head(lay);
    put_rule(lay);
    put_people(lay);
    lay->y += lay->level.gap * 0.6;
    put_eye(lay, PRINT_RIGHT);
    put_eye(lay, PRINT_LEFT);
    put_part(lay, "both", &view->both, BOTH);
    put_rule(lay);
    put_check_word(lay);
    put_rule(lay);
    put_part(lay, "lens", &view->lens, LENS);
    put_rule(lay);
    put_part(lay, "frame", &view->frame, FRAME);
    put_rule(lay);
    put_lines(lay, "caution", &view->cautions, view->cautions.n, true);
    put_lines(lay, "notes", &view->notes, lay->notes, false);
    if (view->cautions.n + view->notes.n)
        put_rule(lay);
    put_foot(lay);
    return lay->y + lay->level.margin;
}
