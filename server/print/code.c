#include "print/code.h"

#include <qrencode.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"

struct print_code {
    QRcode *qr;
};

struct print_code *print_code_new(const char *payload)
{
    QRcode *qr = QRcode_encodeData(
        (int)strlen(payload), (const unsigned char *)payload, 0, QR_ECLEVEL_M);
    struct print_code *code;

    if (!qr)
        return NULL;
    code = xmalloc(sizeof(*code));
    code->qr = qr;
    return code;
}

void print_code_free(struct print_code *code)
{
    if (!code)
        return;
    QRcode_free(code->qr);
    free(code);
}

int print_code_width(const struct print_code *code)
{
    return code->qr->width;
}

bool print_code_dark(const struct print_code *code, int x, int y)
{
    return code->qr->data[y * code->qr->width + x] & 1;
}

/* Rows of 32-bit words whose first pixel is the lowest bit on little-endian
 * machines and the highest on others (cairo_format_t). */
static void mask_set(unsigned char *row, int x)
{
    uint32_t *words = (uint32_t *)(void *)row;
    int bit = x % 32;

#if __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
    words[x / 32] |= UINT32_C(1) << bit;
#else
    words[x / 32] |= UINT32_C(1) << (31 - bit);
#endif
}

cairo_surface_t *print_code_mask(const struct print_code *code)
{
    int width = code->qr->width;
    cairo_surface_t *mask =
        cairo_image_surface_create(CAIRO_FORMAT_A1, width, width);
    unsigned char *bits;
    int stride;

    if (cairo_surface_status(mask) != CAIRO_STATUS_SUCCESS)
        return mask;
    cairo_surface_flush(mask);
    bits = cairo_image_surface_get_data(mask);
    stride = cairo_image_surface_get_stride(mask);
    for (int y = 0; y < width; y++)
        for (int x = 0; x < width; x++)
            if (print_code_dark(code, x, y))
                mask_set(bits + (ptrdiff_t)y * stride, x);
    cairo_surface_mark_dirty(mask);
    return mask;
}

void print_code_path(const struct print_code *code, struct text *out)
{
    int width = code->qr->width;

    for (int y = 0; y < width; y++)
        for (int x = 0, run; x < width; x += run ? run : 1) {
            for (run = 0; x + run < width && print_code_dark(code, x + run, y);)
                run++;
            if (run)
                text_printf(out, "M%d %dh%dv1h-%dz", x, y, run, run);
        }
}
