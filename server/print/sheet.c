#include "print/sheet.h"

#include <math.h>

#include "base/arena.h"

/* Noto Sans, then the Arabic family whose text is read back whole from the
 * PDF (seen with pdftotext; others lost it); all else by fontconfig. */
#define FAMILIES "Noto Sans,Noto Naskh Arabic"

#define CORNER 11.0 /* of a panel */
#define PLAIN_SIZE 12.0

enum mark_kind { MARK_TEXT, MARK_SHAPE, MARK_DIAL, MARK_CODE };

struct sheet_mark {
    struct sheet_mark *next;
    enum mark_kind kind;
    enum sheet_shape shape;
    struct sheet_box box;
    double stroke;
    int axis_deg;
    bool white;
    struct sheet_text text;
    cairo_surface_t *code;
};

/* A text set at one size and width, kept: the same text is measured and
 * placed again at every try. */
struct sheet_face {
    struct sheet_face *next;
    struct sheet_text text;
    PangoLayout *layout;
    double width, height, baseline, line; /* line: height of the first */
    int unknown;
};

static struct sheet_mark *mark_add(
    struct sheet *sheet, enum mark_kind kind, struct sheet_box box)
{
    struct sheet_mark *mark = arena_calloc(sheet->arena, 1, sizeof(*mark));

    mark->kind = kind;
    mark->box = box;
    if (sheet->last)
        sheet->last->next = mark;
    else
        sheet->first = mark;
    sheet->last = mark;
    return mark;
}

static PangoAttrList *text_attributes(const struct sheet_text *text)
{
    PangoAttrList *list = pango_attr_list_new();

    /* Figures of one width, standing on the line. */
    pango_attr_list_insert(list, pango_attr_font_features_new("tnum,lnum"));
    if (text->spacing > 0)
        pango_attr_list_insert(
            list, pango_attr_letter_spacing_new(
                      pango_units_from_double(text->spacing)));
    return list;
}

static PangoLayout *text_layout(
    struct sheet *sheet, const struct sheet_text *text)
{
    PangoLayout *layout = pango_layout_new(sheet->pango);
    PangoFontDescription *font = pango_font_description_new();
    PangoAttrList *attributes = text_attributes(text);

    pango_font_description_set_family_static(font, FAMILIES);
    pango_font_description_set_absolute_size(font, text->size * PANGO_SCALE);
    pango_font_description_set_weight(
        font, text->bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_layout_set_font_description(layout, font);
    pango_layout_set_attributes(layout, attributes);
    pango_layout_set_single_paragraph_mode(layout, TRUE);
    if (text->width > 0) {
        pango_layout_set_width(layout, pango_units_from_double(text->width));
        pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    }
    pango_layout_set_text(layout, text->text, -1);
    /* Every text starts at the left, beside its label, whatever its script. */
    if (pango_layout_get_direction(layout, 0) == PANGO_DIRECTION_RTL)
        pango_layout_set_alignment(layout, PANGO_ALIGN_RIGHT);
    pango_attr_list_unref(attributes);
    pango_font_description_free(font);
    return layout;
}

static struct sheet_face *face_new(
    struct sheet *sheet, const struct sheet_text *text)
{
    struct sheet_face *face = arena_alloc(sheet->arena, sizeof(*face));
    PangoRectangle all, line;

    face->text = *text;
    face->layout = text_layout(sheet, text);
    pango_layout_get_extents(face->layout, NULL, &all);
    pango_layout_line_get_extents(
        pango_layout_get_line_readonly(face->layout, 0), NULL, &line);
    face->width = pango_units_to_double(all.width);
    face->height = pango_units_to_double(all.height);
    face->line = pango_units_to_double(line.height);
    face->baseline =
        pango_units_to_double(pango_layout_get_baseline(face->layout));
    face->unknown = pango_layout_get_unknown_glyphs_count(face->layout);
    return face;
}

static bool same_text(const struct sheet_text *a, const struct sheet_text *b)
{
    return a->text == b->text && a->bold == b->bold &&
           !islessgreater(a->size, b->size) &&
           !islessgreater(a->width, b->width) &&
           !islessgreater(a->spacing, b->spacing);
}

static struct sheet_face *face_get(
    struct sheet *sheet, const struct sheet_text *text)
{
    size_t bucket = ((uintptr_t)text->text >> 3) % SHEET_BUCKETS;
    struct sheet_face *face = sheet->faces[bucket];

    while (face && !same_text(&face->text, text))
        face = face->next;
    if (!face) {
        face = face_new(sheet, text);
        face->next = sheet->faces[bucket];
        sheet->faces[bucket] = face;
    }
    return face;
}

/* The text on one line at the size that most of the page has. */
static struct sheet_face *face_plain(
    struct sheet *sheet, const struct sheet_text *text)
{
    struct sheet_text plain = *text;

    plain.size = PLAIN_SIZE;
    plain.width = 0;
    plain.spacing = 0;
    return face_get(sheet, &plain);
}

static bool breaks(struct sheet *sheet, const struct sheet_text *text)
{
    double width = face_plain(sheet, text)->width * text->size / PLAIN_SIZE;

    return text->width > 0 && width > text->width - 0.5;
}

struct sheet_size sheet_measure(
    struct sheet *sheet, const struct sheet_text *text)
{
    struct sheet_face *face = face_plain(sheet, text);
    double scale = text->size / PLAIN_SIZE;

    if (text->spacing > 0 || breaks(sheet, text)) {
        face = face_get(sheet, text);
        scale = 1;
    }
    return (struct sheet_size){.width = face->width * scale,
        .height = face->height * scale * sheet->pitch,
        .baseline =
            scale * (face->baseline - face->line * (1 - sheet->pitch) / 2)};
}

struct sheet_size sheet_put_text(struct sheet *sheet,
    const struct sheet_text *text, double x, double y, bool white)
{
    struct sheet_size size = sheet_measure(sheet, text);
    struct sheet_mark *mark = mark_add(
        sheet, MARK_TEXT, (struct sheet_box){x, y, size.width, size.height});

    sheet->unknown += face_plain(sheet, text)->unknown;
    mark->text = *text;
    if (!breaks(sheet, text))
        mark->text.width = 0;
    mark->white = white;
    return size;
}

void sheet_put_shape(struct sheet *sheet, enum sheet_shape shape,
    struct sheet_box box, double stroke)
{
    struct sheet_mark *mark = mark_add(sheet, MARK_SHAPE, box);

    mark->shape = shape;
    mark->stroke = stroke;
}

void sheet_put_dial(struct sheet *sheet, struct sheet_box box, int axis_deg)
{
    mark_add(sheet, MARK_DIAL, box)->axis_deg = axis_deg;
}

void sheet_put_code(
    struct sheet *sheet, cairo_surface_t *code, struct sheet_box box)
{
    mark_add(sheet, MARK_CODE, box)->code = code;
}

/* Line by line, so that the pitch can be tighter than the fonts ask for. */
static void draw_text(
    struct sheet *sheet, cairo_t *cr, const struct sheet_mark *mark)
{
    PangoLayoutIter *iter =
        pango_layout_get_iter(face_get(sheet, &mark->text)->layout);

    if (mark->white)
        cairo_set_source_rgb(cr, 1, 1, 1);
    do {
        PangoLayoutLine *line = pango_layout_iter_get_line_readonly(iter);
        PangoRectangle logical;
        double baseline, slack;

        pango_layout_iter_get_line_extents(iter, NULL, &logical);
        baseline = pango_units_to_double(pango_layout_iter_get_baseline(iter));
        slack = pango_units_to_double(logical.height) * (1 - sheet->pitch) / 2;
        baseline -= pango_units_to_double(logical.y) * (1 - sheet->pitch);
        cairo_move_to(cr, mark->box.x + pango_units_to_double(logical.x),
            mark->box.y + baseline - slack);
        pango_cairo_show_layout_line(cr, line);
    } while (pango_layout_iter_next_line(iter));
    pango_layout_iter_free(iter);
    cairo_set_source_rgb(cr, 0, 0, 0);
}

static void path_cut(cairo_t *cr, struct sheet_box b)
{
    double right = b.x + b.width, bottom = b.y + b.height;

    cairo_move_to(cr, b.x + CORNER, b.y);
    cairo_line_to(cr, right - CORNER, b.y);
    cairo_line_to(cr, right, b.y + CORNER);
    cairo_line_to(cr, right, bottom - CORNER);
    cairo_line_to(cr, right - CORNER, bottom);
    cairo_line_to(cr, b.x + CORNER, bottom);
    cairo_line_to(cr, b.x, bottom - CORNER);
    cairo_line_to(cr, b.x, b.y + CORNER);
    cairo_close_path(cr);
}

static void path_round(cairo_t *cr, struct sheet_box b)
{
    double left = b.x + CORNER, right = b.x + b.width - CORNER;
    double top = b.y + CORNER, bottom = b.y + b.height - CORNER;

    cairo_new_sub_path(cr);
    cairo_arc(cr, right, top, CORNER, -M_PI / 2, 0);
    cairo_arc(cr, right, bottom, CORNER, 0, M_PI / 2);
    cairo_arc(cr, left, bottom, CORNER, M_PI / 2, M_PI);
    cairo_arc(cr, left, top, CORNER, M_PI, M_PI * 3 / 2);
    cairo_close_path(cr);
}

/* Slanted, never level: a level stroke would be a minus. */
static void path_struck(cairo_t *cr, struct sheet_box b)
{
    double lean = b.height * 0.6, step = 7;
    int strokes = 1 + (int)((b.width - lean) / step);

    for (int i = 0; i < strokes; i++) {
        cairo_move_to(cr, b.x + i * step, b.y + b.height);
        cairo_line_to(cr, b.x + i * step + lean, b.y);
    }
}

static void draw_shape(cairo_t *cr, const struct sheet_mark *mark)
{
    cairo_set_line_width(cr, mark->stroke);
    switch (mark->shape) {
    case SHEET_CUT:
    case SHEET_CUT_FILL:
        path_cut(cr, mark->box);
        break;
    case SHEET_ROUND:
        path_round(cr, mark->box);
        break;
    case SHEET_RECTANGLE:
    case SHEET_RECTANGLE_FILL:
        cairo_rectangle(
            cr, mark->box.x, mark->box.y, mark->box.width, mark->box.height);
        break;
    case SHEET_RULE:
        cairo_move_to(cr, mark->box.x, mark->box.y);
        cairo_line_to(cr, mark->box.x + mark->box.width, mark->box.y);
        break;
    case SHEET_STRUCK:
        path_struck(cr, mark->box);
        break;
    }
    if (mark->shape == SHEET_CUT_FILL || mark->shape == SHEET_RECTANGLE_FILL)
        cairo_fill(cr);
    else
        cairo_stroke(cr);
}

static void draw_dial(cairo_t *cr, const struct sheet_mark *mark)
{
    struct sheet_box b = mark->box;
    double r = fmin(b.width / 2, b.height) - 1;
    double x = b.x + b.width / 2, y = b.y + b.height - 1;
    double turn = mark->axis_deg * M_PI / 180;

    cairo_set_line_width(cr, 0.8);
    cairo_move_to(cr, x + r, y);
    cairo_arc_negative(cr, x, y, r, 0, -M_PI);
    cairo_close_path(cr);
    for (int deg = 30; deg < 180; deg += 30) {
        double a = deg * M_PI / 180, in = deg == 90 ? 0.78 : 0.86;

        cairo_move_to(cr, x + r * cos(a), y - r * sin(a));
        cairo_line_to(cr, x + r * in * cos(a), y - r * in * sin(a));
    }
    cairo_stroke(cr);
    cairo_set_line_width(cr, 2.4);
    cairo_move_to(cr, x, y);
    cairo_line_to(cr, x + r * cos(turn), y - r * sin(turn));
    cairo_stroke(cr);
}

/* A mask of one bit a module: small, and sharp at any scale. */
static void draw_code(cairo_t *cr, const struct sheet_mark *mark)
{
    double modules = cairo_image_surface_get_width(mark->code);
    cairo_pattern_t *pattern = cairo_pattern_create_for_surface(mark->code);

    cairo_save(cr);
    cairo_translate(cr, mark->box.x, mark->box.y);
    cairo_scale(cr, mark->box.width / modules, mark->box.height / modules);
    cairo_pattern_set_filter(pattern, CAIRO_FILTER_NEAREST);
    cairo_mask(cr, pattern);
    cairo_restore(cr);
    cairo_pattern_destroy(pattern);
}

void sheet_draw(struct sheet *sheet, cairo_t *cr)
{
    for (const struct sheet_mark *m = sheet->first; m; m = m->next) {
        switch (m->kind) {
        case MARK_TEXT:
            draw_text(sheet, cr, m);
            break;
        case MARK_SHAPE:
            draw_shape(cr, m);
            break;
        case MARK_DIAL:
            draw_dial(cr, m);
            break;
        case MARK_CODE:
            draw_code(cr, m);
            break;
        }
    }
}

void sheet_clear(struct sheet *sheet)
{
    sheet->first = sheet->last = NULL;
    sheet->unknown = 0;
}

void sheet_free(struct sheet *sheet)
{
    sheet_clear(sheet);
    for (size_t i = 0; i < SHEET_BUCKETS; i++) {
        for (struct sheet_face *f = sheet->faces[i]; f; f = f->next)
            g_object_unref(f->layout);
        sheet->faces[i] = NULL;
    }
}
