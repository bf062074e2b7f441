#pragma once
/*
 * print/code.h - the square code (QR, ISO/IEC 18004, level M) of a payload.
 *
 * Without the white margin of four modules, which the page leaves.
 */
#include <cairo.h>
#include <stdbool.h>

#include "base/text.h"

struct print_code; /* modules, row by row */

/* NULL when payload is too long for a code (2331 bytes at level M). */
struct print_code *print_code_new(const char *payload);
void print_code_free(struct print_code *code); /* NULL is a no-op */

int print_code_width(const struct print_code *code);
bool print_code_dark(const struct print_code *code, int x, int y);

/* One pixel a module, format A1; the caller destroys it. */
cairo_surface_t *print_code_mask(const struct print_code *code);
/* Appends the dark modules as the data of one SVG path, a unit a module. */
void print_code_path(const struct print_code *code, struct text *out);
