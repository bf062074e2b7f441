#include <math.h>
#include <string.h>

#include "base/arena.h"
#include "print/code.h"
#include "print/figure.h"
#include "print/markup.h"
#include "print/view.h"

/* Where this page's texts are longer than this in all, it is set tighter, so
 * that it stays one printed page (tried with names of 120 characters). */
#define TIGHT_BYTES 700

static void put_said(struct text *out, const char *written, const char *said)
{
    text_puts(out, "<span aria-hidden=\"true\">");
    markup_text(out, written);
    text_puts(out, "</span><span class=\"said\">");
    markup_text(out, said);
    text_puts(out, "</span>");
}

/* A value, as it is written and, where that differs, as it is said. */
static void put_value(struct text *out, const struct print_cell *cell)
{
    if (!cell->text) {
        put_said(out, "//////", "empty");
    } else if (cell->said && strcmp(cell->said, cell->text) != 0) {
        put_said(out, cell->text, cell->said);
    } else {
        text_puts(out, "<bdi>");
        markup_text(out, cell->text);
        text_puts(out, "</bdi>");
    }
}

static void put_cell(struct text *out, const struct print_cell *cell)
{
    text_puts(out, "<div><dt>");
    markup_text(out, cell->label);
    text_printf(out, "</dt> <dd%s>", cell->text ? "" : " class=\"no\"");
    put_value(out, cell);
    text_puts(out, "</dd></div>\n");
}

static void put_cells(
    struct text *out, const char *class, const struct print_cells *cells)
{
    text_printf(out, "<dl class=\"%s\">\n", class);
    for (size_t i = 0; i < cells->n; i++)
        put_cell(out, &cells->of[i]);
    text_puts(out, "</dl>\n");
}

static void put_paragraph(struct text *out, const char *class, const char *text)
{
    text_printf(out, "<p class=\"%s\"><bdi>", class);
    markup_text(out, text);
    text_puts(out, "</bdi></p>\n");
}

static void put_code(struct text *out, const char *payload)
{
    struct print_code *code = payload ? print_code_new(payload) : NULL;
    int side;

    if (!code) {
        text_puts(out, "<p class=\"code no\">");
        put_said(out, "//////", "no square code");
        text_puts(out, "</p>\n");
        return;
    }
    side = print_code_width(code);
    text_printf(out,
        "<svg class=\"code\" role=\"img\" aria-label=\"square code for "
        "scanners: the same order\" viewBox=\"-4 -4 %d %d\" "
        "shape-rendering=\"crispEdges\"><path d=\"",
        side + 8, side + 8);
    print_code_path(code, out);
    text_puts(out, "\"/></svg>\n");
    print_code_free(code);
}

static void put_head(struct text *out, const struct print_view *view)
{
    text_puts(out, "<header>\n<div>\n<h1><span>Lens order</span> <bdi>");
    markup_text(out, view->number);
    text_puts(out, "</bdi></h1>\n");
    put_paragraph(out, "version", view->version);
    if (view->not_to_be_made) {
        text_puts(out, "<div class=\"loud not\">\n");
        put_paragraph(out, "first", "NOT TO BE MADE");
        put_paragraph(out, "then", view->not_to_be_made);
        text_puts(out, "</div>\n");
    }
    if (view->replaces_any) {
        text_puts(out, "<div class=\"loud\">\n");
        put_paragraph(out, "first", view->replaces);
        if (view->changes)
            put_paragraph(out, "then", view->changes);
        text_puts(out, "</div>\n");
    } else {
        put_paragraph(out, "first-version", view->replaces);
    }
    put_cells(out, "cells two", &view->head);
    text_puts(out, "</div>\n");
    put_code(out, view->code);
    text_puts(out, "</header>\n");
}

/* The half dial of the axis, in hundredths of its radius. */
static void put_dial(struct text *out, int32_t axis_deg)
{
    double turn = axis_deg * M_PI / 180;

    if (axis_deg == PRINT_ABSENT) {
        text_puts(out, "<span class=\"dial blank\"></span>\n");
        return;
    }
    text_puts(out, "<svg class=\"dial\" aria-hidden=\"true\" viewBox=\"-104 "
                   "-104 208 112\"><path d=\"M100 0A100 100 0 0 0-100 0z");
    for (int deg = 30; deg < 180; deg += 30) {
        double a = deg * M_PI / 180, in = deg == 90 ? 78 : 86;

        text_printf(out, "M%ld %ldL%ld %ld", lround(100 * cos(a)),
            lround(-100 * sin(a)), lround(in * cos(a)), lround(-in * sin(a)));
    }
    text_printf(out, "\"/><path class=\"needle\" d=\"M0 0L%ld %ld\"/></svg>\n",
        lround(100 * cos(turn)), lround(-100 * sin(turn)));
}

static void put_figures(struct text *out, const struct print_eye_view *eye)
{
    const struct print_cell *figures[] = {
        &eye->sphere, &eye->cylinder, &eye->axis, &eye->add};

    text_printf(out,
        "<div class=\"power\">\n<table>\n<caption>%s eye: power "
        "as ordered</caption>\n<thead><tr>",
        eye->word);
    for (size_t i = 0; i < ARRAY_LEN(figures); i++)
        text_printf(out, "<th scope=\"col\">%s</th>", figures[i]->label);
    text_puts(out, "</tr></thead>\n<tbody><tr>");
    for (size_t i = 0; i < ARRAY_LEN(figures); i++) {
        text_puts(out, figures[i]->text ? "<td>" : "<td class=\"no\">");
        put_value(out, figures[i]);
        text_puts(out, "</td>");
    }
    text_puts(out, "</tr></tbody>\n</table>\n");
    put_dial(out, eye->axis_deg);
    text_puts(out, "</div>\n");
}

static void put_eye(struct text *out, const struct print_eye_view *eye)
{
    text_printf(out,
        "<section class=\"eye %s\"><div class=\"inside\">\n<h2><span "
        "aria-hidden=\"true\">%s</span> %s</h2>\n<div class=\"of\">\n",
        eye->word, eye->letter, eye->word);
    if (eye->instead)
        put_paragraph(out, "instead", eye->instead);
    else
        put_figures(out, eye);
    if (eye->other.label) {
        text_printf(out, "<p class=\"other\">%s", eye->other.label);
        if (eye->other.text) {
            text_puts(out, " <strong>");
            put_value(out, &eye->other);
            text_puts(out, "</strong>");
        }
        text_puts(out, "</p>\n");
    }
    if (eye->details.n)
        put_cells(out, "cells details", &eye->details);
    text_puts(out, "</div>\n</div></section>\n");
}

static void put_part(struct text *out, const char *name, const char *class,
    const struct print_cells *cells)
{
    text_printf(out, "<section class=\"part\"><h2>%s</h2>\n", name);
    put_cells(out, class, cells);
    text_puts(out, "</section>\n");
}

static void put_check_word(struct text *out, const struct print_view *view)
{
    text_puts(out, "<section class=\"part check\"><h2>check word</h2>\n");
    text_printf(out, "<p class=\"word%s\">", view->check.text ? "" : " no");
    put_value(out, &view->check);
    text_puts(out, "</p>\n");
    if (view->check.text)
        put_paragraph(out, "note", view->check_note);
    text_puts(out, "</section>\n");
}

static void put_lines(struct text *out, const char *name, const char *class,
    const struct print_strings *lines)
{
    if (lines->n == 0)
        return;
    text_printf(
        out, "<section class=\"part %s\"><h2>%s</h2>\n<ul>\n", class, name);
    for (size_t i = 0; i < lines->n; i++) {
        text_puts(out, "<li><bdi>");
        markup_text(out, lines->of[i]);
        text_puts(out, "</bdi></li>\n");
    }
    text_puts(out, "</ul></section>\n");
}

static bool is_long(const struct print_view *view)
{
    size_t bytes = 0;

    for (size_t i = 0; i < view->people.n; i++)
        if (view->people.of[i].text)
            bytes += strlen(view->people.of[i].text);
    return bytes > TIGHT_BYTES;
}

static void put_body(struct text *out, const struct print_view *view)
{
    text_printf(
        out, "<body%s>\n<main>\n", is_long(view) ? " class=\"tight\"" : "");
    put_head(out, view);
    put_cells(out, "cells two people", &view->people);
    put_eye(out, &view->eye[PRINT_RIGHT]);
    put_eye(out, &view->eye[PRINT_LEFT]);
    put_part(out, "both", "cells", &view->both);
    put_check_word(out, view);
    put_part(out, "lens", "cells", &view->lens);
    put_part(out, "frame", "cells", &view->frame);
    put_lines(out, "caution", "caution", &view->cautions);
    put_lines(out, "notes", "notes", &view->notes);
    text_puts(out, "<footer>\n");
    put_paragraph(out, "aid", view->aid);
    if (view->legal)
        put_paragraph(out, "legal", view->legal);
    text_puts(out, "</footer>\n</main>\n</body>\n</html>\n");
}

enum rc print_order_html(
    const struct print_order_page *page, struct text *out, struct err *err)
{
    struct arena *arena;
    struct print_view *view;

    TRY(print_order_check(page, err));
    arena = arena_new();
    view = print_view_new(arena, page);
    text_puts(out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n"
                   "<meta charset=\"utf-8\">\n<title>");
    markup_text(out, view->title);
    text_puts(out, "</title>\n<meta name=\"viewport\" "
                   "content=\"width=device-width, initial-scale=1\">\n"
                   "<style>");
    text_puts(out, print_order_style());
    text_puts(out, "</style>\n</head>\n");
    put_body(out, view);
    arena_free(arena);
    return RC_OK;
}
