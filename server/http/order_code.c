/* http/order_code.c - the square code of an order on paper. */
#include <stdlib.h>

#include "base/num.h"
#include "http/order_row.h"
#include "http/signer.h"
#include "record/order_make.h"

static void code_figure(
    struct text *t, const char *name, int32_t value, int places, bool is_signed)
{
    char text[NUM_TEXT_MAX];

    if (value == NUM_ABSENT)
        return;
    text_printf(t, " %s %s%s", name, is_signed && value > 0 ? "+" : "",
        num_text(value, places, text));
}

static void code_prism(struct text *t, const char *name, int32_t value_cd,
    const char *above, const char *below)
{
    char text[NUM_TEXT_MAX];

    if (value_cd != 0)
        text_printf(t, " %s %s %s", name, num_text(abs(value_cd), 2, text),
            value_cd > 0 ? above : below);
}

static void code_eye(
    struct text *t, const char *eye, const struct record_eye_figures *f)
{
    text_printf(t, "\n%s", eye);
    if (f->lens != RECORD_LENS_POWER)
        text_printf(t, " LENS %s", RECORD_LENS_WORDS[f->lens]);
    code_figure(t, "SPH", f->sph_cd, 2, true);
    code_figure(t, "CYL", f->cyl_cd, 2, true);
    code_figure(t, "AXIS", f->axis_deg, 0, false);
    code_figure(t, "ADD", f->add_cd, 2, true);
    code_figure(t, "MIDDLE-ADD", f->intermediate_add_cd, 2, true);
    code_prism(t, "PRISM", f->prism_in_cd, "IN", "OUT");
    code_prism(t, "PRISM", f->prism_up_cd, "UP", "DOWN");
    code_prism(t, "NEAR-PRISM", f->near_prism_in_cd, "IN", "OUT");
    code_prism(t, "NEAR-PRISM", f->near_prism_up_cd, "UP", "DOWN");
    code_figure(t, "PD", f->pd_far_mm100, 2, false);
    code_figure(t, "NEAR-PD", f->pd_near_mm100, 2, false);
    code_figure(t, "HEIGHT", f->fitting_height_mm100, 2, false);
}

/* A compensated power, by the words of the lines above. */
static void code_made(
    struct text *t, const char *eye, const struct order_row *x, int side)
{
    struct optics_rx rx;

    if (!record_order_compensated(&x->order, &x->rx, side, &rx))
        return;
    rx = record_written_as(rx, x->order.form);
    text_printf(t, "\nMAKE-%s", eye);
    code_figure(t, "SPH", rx.sph_cd, 2, true);
    code_figure(t, "CYL", rx.cyl_cd, 2, true);
    if (rx.cyl_cd != 0)
        code_figure(t, "AXIS", rx.axis_cdeg / 100, 0, false);
}

const char *order_code(struct http_req *rq, const struct order_row *x)
{
    struct record_figures figures =
        record_order_figures(&x->order, &x->rx, x->order.form);
    const struct record_figures *f = &figures;
    TEXT_AUTO t = {0};

    text_printf(&t, "ORDER %s\nEDITION %d\nCHECK %s", x->number, x->edition,
        x->order.check_word);
    code_eye(&t, "RIGHT", &f->eye[RECORD_RIGHT]);
    code_eye(&t, "LEFT", &f->eye[RECORD_LEFT]);
    code_made(&t, "RIGHT", x, RECORD_RIGHT);
    code_made(&t, "LEFT", x, RECORD_LEFT);
    text_puts(&t, "\nBOTH");
    code_figure(&t, "VERTEX", f->vertex_mm100, 2, false);
    code_figure(&t, "PD", f->pd_far_mm100, 2, false);
    code_figure(&t, "NEAR-PD", f->pd_near_mm100, 2, false);
    text_putc(&t, '\n');
    return order_take(rq, &t);
}

const char *order_code_signed(struct http_req *rq, const struct order_row *x)
{
    return http_signed_lines(rq, order_code(rq, x));
}
