#pragma once
/*
 * print/figure.h - figures as the page writes and says them.
 *
 * Whole numbers in, text out, whatever the locale.  Each takes PRINT_ABSENT
 * and then returns NULL, the empty field.  The texts live in the arena.
 * Written: U+2212 for minus, a sign on every power but 0, which is "plano".
 * Said, for screen readers: "minus 2.50", "axis 0 0 5".
 */
#include <stdbool.h>

#include "print/order_page.h"

struct arena;

const char *print_figure_power(struct arena *arena, int32_t power_cd);
const char *print_figure_axis(struct arena *arena, int32_t axis_deg);
const char *print_figure_length(struct arena *arena, int32_t mm100);
const char *print_figure_angle(struct arena *arena, int32_t cdeg);
const char *print_figure_index(struct arena *arena, int32_t index_milli);
/* "2.00 base in, 1.00 base up" */
const char *print_figure_prisms(
    struct arena *arena, const struct print_prisms *prisms);
/* "2 March 2026", "March 2026", "2026" */
const char *print_figure_date(struct arena *arena, struct print_date date);

const char *print_said_power(struct arena *arena, int32_t power_cd);
const char *print_said_axis(struct arena *arena, int32_t axis_deg);
const char *print_said_length(struct arena *arena, int32_t mm100);

/*
 * The same lens with the cylinder's other sign.  Powers written .12 .37 .62
 * .87 stand for eighths when sphere and cylinder are both multiples of 0.125:
 * -2.12 -0.62 is -2.75 +0.62, not -2.74.  cylinder_cd is not 0.
 */
struct print_form {
    int32_t sphere_cd, cylinder_cd, axis_deg;
};
struct print_form print_figure_other(struct print_form form);

/* "+1.25 −0.50 × 090", and as it is said. */
const char *print_figure_form(struct arena *arena, struct print_form form);
const char *print_said_form(struct arena *arena, struct print_form form);

/* True for NULL and "". */
bool print_empty(const char *text);
