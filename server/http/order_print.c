/* http/order_print.c - an order on paper: /v1/orders/{id}.pdf and .html. */
#include <stdlib.h>
#include <string.h>

#include "base/hash.h"
#include "base/num.h"
#include "http/handlers.h"
#include "http/order_row.h"
#include "print/order_page.h"

struct printing {
    struct order_row x;
    struct print_order_page page;
    enum print_paper paper;
    bool html;
    struct text out; /* malloc'ed by the worker, handed to the reply */
    struct err err;
    enum rc rc;
};

/* ---- the page's parts --------------------------------------------------- */

static struct print_prisms prisms_of(int32_t in_cd, int32_t up_cd)
{
    struct print_prisms p = {0};

    if (in_cd != 0) {
        p.of[p.n].amount_cd = abs(in_cd);
        p.of[p.n++].base = in_cd > 0 ? PRINT_IN : PRINT_OUT;
    }
    if (up_cd != 0) {
        p.of[p.n].amount_cd = abs(up_cd);
        p.of[p.n++].base = up_cd > 0 ? PRINT_UP : PRINT_DOWN;
    }
    return p;
}

static struct print_eye eye_of(const struct record_eye_figures *f)
{
    static const enum print_lens lenses[] = {[RECORD_LENS_POWER] = PRINT_POWER,
        [RECORD_LENS_BALANCE] = PRINT_BALANCE,
        [RECORD_LENS_OCCLUDER] = PRINT_OCCLUDER,
        [RECORD_LENS_PROSTHESIS] = PRINT_PROSTHESIS,
        [RECORD_LENS_NONE] = PRINT_NO_LENS};

    return (struct print_eye){.lens = lenses[f->lens],
        .sphere_cd = f->sph_cd,
        .cylinder_cd = f->cyl_cd,
        .axis_deg = f->axis_deg,
        .add_cd = f->add_cd,
        .intermediate_add_cd = f->intermediate_add_cd,
        .prism = prisms_of(f->prism_in_cd, f->prism_up_cd),
        .near_prism = prisms_of(f->near_prism_in_cd, f->near_prism_up_cd),
        .pd_far_mm100 = f->pd_far_mm100,
        .pd_near_mm100 = f->pd_near_mm100,
        .fitting_height_mm100 = f->fitting_height_mm100};
}

static int32_t digits(const char *s, size_t n)
{
    int64_t value;

    return num_parse(s, n, 0, 9999, &value) ? (int32_t)value : 0;
}

/* Of "2026-03-02" or a time that begins so. */
static struct print_date date_of(const char *text)
{
    if (!text || strlen(text) < 10)
        return (struct print_date){0};
    return (struct print_date){
        digits(text, 4), digits(text + 5, 2), digits(text + 8, 2)};
}

static const char *word_of(const char *const words[], int word)
{
    return word == RECORD_UNSAID ? NULL : words[word];
}

static const char *joined(struct http_req *rq, const char *const texts[],
    size_t n, const char *between)
{
    const char *all = NULL;

    for (size_t i = 0; i < n; i++)
        all = all ? arena_printf(rq->arena, "%s%s%s", all, between, texts[i])
                  : texts[i];
    return all;
}

static void put_people(struct http_req *rq, struct print_order_page *page,
    const struct order_row *x)
{
    const char *names[2];
    size_t n = 0;

    if (x->given)
        names[n++] = x->given;
    if (x->family)
        names[n++] = x->family;
    page->patient = joined(rq, names, n, " ");
    page->record_number = x->record_number;
    page->prescriber = x->signer;
    page->licence = x->licence;
    page->address = x->address;
    page->clinic = x->clinic;
    page->network = x->network;
    page->lab = x->lab;
    page->deliver_to = x->order.deliver_to;
    page->signed_on = date_of(x->signed_at);
    page->expires_on = date_of(x->expires_on);
}

static void put_glasses(struct http_req *rq, struct print_order_page *page,
    const struct order_row *x)
{
    const struct record_order_lens *lens = &x->order.lens;
    const struct record_order_frame *frame = &x->order.frame;

    page->purpose = x->order.purpose ? x->order.purpose : x->rx.purpose;
    page->priority = word_of(RECORD_PRIORITIES, x->order.priority);
    page->design = word_of(RECORD_DESIGNS, lens->design);
    page->material = word_of(RECORD_MATERIALS, lens->material);
    page->index_milli = lens->index_milli;
    page->treatments = joined(rq, lens->treatments, lens->n_treatments, ", ");
    page->tint = lens->tint;
    page->a_mm100 = frame->a_mm100;
    page->b_mm100 = frame->b_mm100;
    page->dbl_mm100 = frame->dbl_mm100;
    page->ed_mm100 = frame->ed_mm100;
    page->worn_vertex_mm100 = frame->worn_vertex_mm100;
    page->tilt_cdeg = frame->tilt_cdeg;
    page->wrap_cdeg = frame->wrap_cdeg;
    page->supply = word_of(RECORD_SUPPLIES, frame->supply);
}

static void put_figures(struct print_order_page *page,
    const struct record_figures *figures, enum record_side only)
{
    page->make = only == RECORD_RIGHT  ? PRINT_RIGHT_ONLY
                 : only == RECORD_LEFT ? PRINT_LEFT_ONLY
                                       : PRINT_PAIR;
    for (int side = 0; side < 2; side++)
        page->eye[side] = eye_of(&figures->eye[side]);
    page->vertex_mm100 = figures->vertex_mm100;
    page->pd_far_mm100 = figures->pd_far_mm100;
    page->pd_near_mm100 = figures->pd_near_mm100;
}

/* ---- cautions and notes -------------------------------------------------- */

/* A hyphen before a digit as the page's minus sign (U+2212). */
static const char *with_minus(struct http_req *rq, const char *text)
{
    TEXT_AUTO t = {0};

    for (const char *p = text; *p; p++) {
        bool minus = *p == '-' && p[1] >= '0' && p[1] <= '9' &&
                     (p == text || p[-1] == ' ');

        if (minus)
            text_puts(&t, "\xe2\x88\x92");
        else
            text_putc(&t, *p);
    }
    return order_take(rq, &t);
}

static struct print_strings cautions_of(
    struct http_req *rq, const struct order_row *x)
{
    struct record_order_caution cautions[RECORD_ORDER_CAUTIONS_MAX];
    struct record_gap gaps[RECORD_GAPS_MAX];
    size_t n = order_cautions(rq, x, cautions), n_gaps = 0, all = 0;
    const char **of;

    if (x->state.status == RECORD_ORDER_DRAFT)
        n_gaps = record_order_gaps(&x->order, &x->rx, rq->arena, gaps);
    of = arena_calloc(rq->arena, n + 1, sizeof(*of));
    for (size_t i = 0; i < n; i++)
        of[all++] = with_minus(rq, cautions[i].text);
    if (n_gaps > 0) {
        const char *fields[RECORD_GAPS_MAX];

        for (size_t i = 0; i < n_gaps; i++)
            fields[i] =
                gaps[i].side == RECORD_BOTH
                    ? gaps[i].field
                    : arena_printf(rq->arena, "%s %s",
                          record_side_word(gaps[i].side), gaps[i].field);
        of[all++] = arena_printf(
            rq->arena, "missing: %s", joined(rq, fields, n_gaps, ", "));
    }
    return (struct print_strings){.n = all, .of = of};
}

static struct print_strings notes_of(
    struct http_req *rq, const struct order_row *x)
{
    const char **of = arena_calloc(rq->arena, 2, sizeof(*of));
    size_t n = 0;

    if (x->order.previous && x->previous_number)
        of[n++] = arena_printf(
            rq->arena, "the order before this one: %s", x->previous_number);
    if (x->order.notes)
        of[n++] = x->order.notes;
    return (struct print_strings){.n = n, .of = of};
}

/* What is loud on an amended order: each field that differs. */
static struct print_strings changes_of(
    struct http_req *rq, const struct order_row *x)
{
    const char *text = x->more.edition.changes;
    json_auto_t *list = text ? json_loads(text, 0, NULL) : NULL;
    size_t n = json_array_size(list);
    const char **of = arena_calloc(rq->arena, n + 1, sizeof(*of));

    for (size_t i = 0; i < n; i++)
        of[i] = with_minus(rq, json_string_value(json_object_get(
                                   json_array_get(list, i), "text")));
    return (struct print_strings){.n = n, .of = of};
}

static const char *why_not(const struct order_row *x)
{
    switch (x->state.status) {
    case RECORD_ORDER_DRAFT:
        return "a draft";
    case RECORD_ORDER_REJECTED:
        return "rejected by the lab";
    case RECORD_ORDER_CANCELLED:
        return "cancelled";
    case RECORD_ORDER_FAILED:
        return "failed";
    default:
        return NULL;
    }
}

static void fill(struct http_req *rq, struct printing *p)
{
    const struct order_row *x = &p->x;
    struct print_order_page *page = &p->page;
    struct record_figures figures = record_order_figures(
        &x->order, &x->rx, x->order.check_word ? x->order.form : x->form);

    print_order_page_init(page);
    page->order_id = x->id;
    page->order_number = x->number;
    page->version = x->edition;
    page->not_to_be_made = why_not(x);
    put_people(rq, page, x);
    put_glasses(rq, page, x);
    put_figures(page, &figures, x->order.only);
    page->cautions = cautions_of(rq, x);
    page->changes = changes_of(rq, x);
    if (page->changes.n > 0)
        page->replaces =
            arena_printf(rq->arena, "version %d", x->more.edition.edition - 1);
    page->notes = notes_of(rq, x);
    if (!x->order.check_word)
        return;
    page->check_word = x->order.check_word;
    page->code =
        x->more.edition.code ? x->more.edition.code : order_code(rq, x);
}

/* ---- answering ------------------------------------------------------------
 */

static void draw(struct http_req *rq)
{
    struct printing *p = rq->state;

    p->rc = p->html ? print_order_html(&p->page, &p->out, &p->err)
                    : print_order_pdf(&p->page, p->paper, &p->out, &p->err);
}

/* The page is one document: its own style, and nothing from elsewhere. */
static void allow_style(struct http_req *rq)
{
    const char *style = print_order_style();
    char text[HASH_BASE64_SIZE];
    uint8_t hash[HASH_SIZE];

    hash_bytes(style, strlen(style), hash);
    http_header(rq, "Content-Security-Policy",
        arena_printf(rq->arena,
            "default-src 'none'; style-src 'sha256-%s'; base-uri 'none'; "
            "form-action 'none'; frame-ancestors 'self'",
            hash_base64(hash, text)));
}

static void name_file(struct http_req *rq, const struct printing *p)
{
    TEXT_AUTO name = {0};

    print_order_file_name(&p->page, p->html ? "html" : "pdf", &name);
    http_header(rq, "Content-Disposition",
        arena_printf(rq->arena, "inline; filename=\"%s\"", name.data));
}

static enum rc drawn(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct printing *p = rq->state;

    (void)reply;
    if (p->rc == RC_TOO_LARGE)
        return err_set(err, RC_CONFLICT, "/notes",
            "the texts of this order don't fit on one page: %s", p->err.detail);
    if (p->rc != RC_OK)
        return err_set(err, RC_INTERNAL, NULL, "the page can't be drawn");
    name_file(rq, p);
    if (p->html)
        allow_style(rq);
    http_etag_text(
        rq, order_tag(rq, p->x.version, p->out.data, p->out.len), NULL);
    http_viewed(rq, "order", p->x.id, p->x.patient_id);
    return http_reply_bytes(rq, 200,
        p->html ? "text/html; charset=utf-8" : "application/pdf", &p->out);
}

static enum rc order_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct printing *p = rq->state;

    TRY(order_load(rq, reply, &p->x, err));
    TRY(order_may_read(rq, &p->x, err));
    fill(rq, p);
    return http_work(rq, draw, drawn);
}

static enum rc start(struct http_req *rq, bool html, struct err *err)
{
    struct printing *p = arena_calloc(rq->arena, 1, sizeof(*p));
    const char *paper = http_query(rq, "paper");
    struct db_call *calls[ORDER_CALLS];

    p->html = html;
    p->err = (struct err)ERR_INIT(rq->arena);
    p->paper = PRINT_A4;
    if (paper && strcmp(paper, "letter") == 0)
        p->paper = PRINT_LETTER;
    else if (paper && strcmp(paper, "a4") != 0)
        return err_set(err, RC_INVALID, "/paper",
            "paper must be a4 or letter, not \"%s\"", paper);
    rq->state = p;
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, order_found);
}

enum rc http_order_pdf(struct http_req *rq, struct err *err)
{
    return start(rq, false, err);
}

enum rc http_order_html(struct http_req *rq, struct err *err)
{
    return start(rq, true, err);
}
