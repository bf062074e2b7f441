#include <cairo-pdf.h>

#include "base/arena.h"
#include "print/code.h"
#include "print/figure.h"
#include "print/layout.h"

/* From roomy to tight; text stays at 12 points or more in all of them. */
static const struct layout_level LEVELS[] = {
    {34, 10, 14, 18, 38, 1.0, true},
    {34, 8, 13, 17, 36, 1.0, true},
    {32, 8, 13, 17, 36, 0.95, true},
    {34, 8, 12, 16, 34, 1.0, true},
    {32, 7, 12, 16, 34, 0.95, true},
    {30, 6, 12, 15, 32, 0.92, true},
    {26, 4, 12, 13, 28, 0.88, true},
    {26, 4, 12, 13, 28, 0.88, false},
    {20, 2, 12, 12, 24, 0.84, false},
};

struct paper {
    double width, height; /* points */
};

static const struct paper PAPERS[] = {
    [PRINT_A4] = {595.276, 841.89}, [PRINT_LETTER] = {612, 792}};

struct job {
    struct arena *arena;
    const struct print_view *view;
    struct paper paper;
    struct sheet sheet;
    cairo_surface_t *code;
};

/* True when all of it, with so many notes, fits; the sheet is then filled. */
static bool fits(
    struct job *job, const struct layout_level *level, size_t notes)
{
    struct layout layout = {.sheet = &job->sheet,
        .view = job->view,
        .level = *level,
        .paper_width = job->paper.width,
        .code = job->code,
        .notes = notes};

    sheet_clear(&job->sheet);
    job->sheet.pitch = level->pitch;
    return layout_place(&layout) <= job->paper.height;
}

/* The roomiest level that holds all of it, ARRAY_LEN(LEVELS) for none; a
 * tighter level never needs more height. */
static size_t roomiest(struct job *job)
{
    size_t from = 0, to = ARRAY_LEN(LEVELS);

    while (from < to) {
        size_t middle = from + (to - from) / 2;

        if (fits(job, &LEVELS[middle], job->view->notes.n))
            to = middle;
        else
            from = middle + 1;
    }
    return from;
}

/* Fills the sheet: all of it in the roomiest way that fits, else tightly with
 * as many notes as fit.  False when it is too much even without a note. */
static bool fill(struct job *job)
{
    const struct layout_level *tight = &LEVELS[ARRAY_LEN(LEVELS) - 1];
    size_t level = roomiest(job);
    size_t few = 0, many = job->view->notes.n;

    if (level < ARRAY_LEN(LEVELS))
        return fits(job, &LEVELS[level], many);
    while (many - few > 1) {
        size_t half = few + (many - few) / 2;

        if (fits(job, tight, half))
            few = half;
        else
            many = half;
    }
    return fits(job, tight, few);
}

static cairo_status_t append(
    void *closure, const unsigned char *bytes, unsigned int len)
{
    text_put(closure, bytes, len);
    return CAIRO_STATUS_SUCCESS;
}

/* The date of signing stands for the date of making, which would differ from
 * one copy of the same page to the next. */
static void put_metadata(
    cairo_surface_t *pdf, struct job *job, const struct print_order_page *page)
{
    struct print_date on = page->signed_on;

    cairo_pdf_surface_set_metadata(
        pdf, CAIRO_PDF_METADATA_TITLE, job->view->title);
    cairo_pdf_surface_set_metadata(pdf, CAIRO_PDF_METADATA_CREATE_DATE,
        arena_printf(job->arena, "%04d-%02d-%02dT00:00:00Z",
            on.year ? (int)on.year : 2000, on.month ? (int)on.month : 1,
            on.day ? (int)on.day : 1));
}

static enum rc draw(struct job *job, const struct print_order_page *page,
    struct text *out, struct err *err)
{
    TEXT_AUTO bytes = {0};
    cairo_surface_t *pdf = cairo_pdf_surface_create_for_stream(
        append, &bytes, job->paper.width, job->paper.height);
    cairo_t *cr = cairo_create(pdf);
    cairo_status_t status;

    put_metadata(pdf, job, page);
    sheet_draw(&job->sheet, cr);
    cairo_show_page(cr);
    status = cairo_status(cr);
    cairo_destroy(cr);
    cairo_surface_finish(pdf);
    if (status == CAIRO_STATUS_SUCCESS)
        status = cairo_surface_status(pdf);
    cairo_surface_destroy(pdf);
    if (status != CAIRO_STATUS_SUCCESS)
        return err_set(err, RC_INTERNAL, NULL,
            "order \"%s\" cannot be drawn: %s", page->order_id,
            cairo_status_to_string(status));
    text_put(out, bytes.data, bytes.len);
    return RC_OK;
}

static enum rc run(struct job *job, const struct print_order_page *page,
    struct text *out, struct err *err)
{
    if (!fill(job))
        return err_set(err, RC_TOO_LARGE, NULL,
            "order \"%s\" cannot be printed on one page: its texts are too "
            "long",
            page->order_id);
    return draw(job, page, out, err);
}

/* For paper: letters stand where the font puts them, not on whole points. */
static PangoContext *context_new(void)
{
    PangoContext *context =
        pango_font_map_create_context(pango_cairo_font_map_get_default());
    cairo_font_options_t *options = cairo_font_options_create();

    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(context, options);
    pango_context_set_round_glyph_positions(context, FALSE);
    cairo_font_options_destroy(options);
    return context;
}

enum rc print_order_pdf(const struct print_order_page *page,
    enum print_paper paper, struct text *out, struct err *err)
{
    struct print_code *code = NULL;
    struct job job = {.paper = PAPERS[paper]};
    enum rc rc;

    TRY(print_order_check(page, err));
    job.arena = arena_new();
    job.view = print_view_new(job.arena, page);
    job.sheet.arena = job.arena;
    job.sheet.pango = context_new();
    if (job.view->code)
        code = print_code_new(job.view->code);
    if (code)
        job.code = print_code_mask(code);
    if (job.view->code && !code)
        rc = err_set(err, RC_INVALID, "/code", "too much for a square code");
    else
        rc = run(&job, page, out, err);
    sheet_free(&job.sheet);
    if (job.code)
        cairo_surface_destroy(job.code);
    print_code_free(code);
    g_object_unref(job.sheet.pango);
    arena_free(job.arena);
    return rc;
}
