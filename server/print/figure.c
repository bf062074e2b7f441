#include "print/figure.h"

#include <stdlib.h>

#include "base/arena.h"

#define MINUS "\xe2\x88\x92" /* U+2212 */
#define TIMES "\xc3\x97"     /* U+00D7 */

static const char *const MONTHS[] = {"January", "February", "March", "April",
    "May", "June", "July", "August", "September", "October", "November",
    "December"};
static const char *const BASES[] = {"in", "out", "up", "down"};

bool print_empty(const char *text)
{
    return !text || !*text;
}

/* Size of a figure as units and hundredths; the sign is the caller's. */
static const char *unsigned_text(
    struct arena *arena, const char *sign, int32_t hundredths)
{
    int32_t size = abs(hundredths);

    return arena_printf(
        arena, "%s%d.%02d", sign, (int)(size / 100), (int)(size % 100));
}

const char *print_figure_power(struct arena *arena, int32_t power_cd)
{
    if (power_cd == PRINT_ABSENT)
        return NULL;
    if (power_cd == 0)
        return "plano";
    return unsigned_text(arena, power_cd < 0 ? MINUS : "+", power_cd);
}

const char *print_said_power(struct arena *arena, int32_t power_cd)
{
    if (power_cd == PRINT_ABSENT)
        return NULL;
    if (power_cd == 0)
        return "plano";
    return unsigned_text(arena, power_cd < 0 ? "minus " : "plus ", power_cd);
}

const char *print_figure_axis(struct arena *arena, int32_t axis_deg)
{
    if (axis_deg == PRINT_ABSENT)
        return NULL;
    return arena_printf(arena, "%03d", (int)axis_deg);
}

/* Digit by digit, so that nobody hears "five" for 005 or 050. */
const char *print_said_axis(struct arena *arena, int32_t axis_deg)
{
    if (axis_deg == PRINT_ABSENT)
        return NULL;
    return arena_printf(arena, "axis %d %d %d", (int)(axis_deg / 100),
        (int)(axis_deg / 10 % 10), (int)(axis_deg % 10));
}

/* One place, or two when the second is not 0. */
static const char *measure(
    struct arena *arena, int32_t hundredths, const char *unit)
{
    const char *sign = hundredths < 0 ? MINUS : "";
    int32_t size;
    int part;

    if (hundredths == PRINT_ABSENT)
        return NULL;
    size = abs(hundredths);
    part = (int)(size % 100);
    if (part % 10)
        return arena_printf(
            arena, "%s%d.%02d %s", sign, (int)(size / 100), part, unit);
    return arena_printf(
        arena, "%s%d.%d %s", sign, (int)(size / 100), part / 10, unit);
}

const char *print_figure_length(struct arena *arena, int32_t mm100)
{
    return measure(arena, mm100, "mm");
}

const char *print_said_length(struct arena *arena, int32_t mm100)
{
    return measure(arena, mm100, "millimetres");
}

/* In a word: a small raised ring can be read as one more 0. */
const char *print_figure_angle(struct arena *arena, int32_t cdeg)
{
    return measure(arena, cdeg, "deg");
}

const char *print_figure_index(struct arena *arena, int32_t index_milli)
{
    if (index_milli == PRINT_ABSENT)
        return NULL;
    if (index_milli % 10)
        return arena_printf(arena, "%d.%03d", (int)(index_milli / 1000),
            (int)(index_milli % 1000));
    return arena_printf(arena, "%d.%02d", (int)(index_milli / 1000),
        (int)(index_milli % 1000 / 10));
}

const char *print_figure_prisms(
    struct arena *arena, const struct print_prisms *prisms)
{
    const char *text = NULL;

    for (size_t i = 0; i < prisms->n; i++)
        text = arena_printf(arena, "%s%s%s base %s", text ? text : "",
            text ? ", " : "", unsigned_text(arena, "", prisms->of[i].amount_cd),
            BASES[prisms->of[i].base]);
    return text;
}

const char *print_figure_date(struct arena *arena, struct print_date date)
{
    if (date.year == 0)
        return NULL;
    if (date.month == 0)
        return arena_printf(arena, "%d", (int)date.year);
    if (date.day == 0)
        return arena_printf(
            arena, "%s %d", MONTHS[date.month - 1], (int)date.year);
    return arena_printf(arena, "%d %s %d", (int)date.day,
        MONTHS[date.month - 1], (int)date.year);
}

static bool is_eighth(int32_t power_cd)
{
    int32_t part = abs(power_cd) % 25;

    return part == 0 || part == 12;
}

/* Thousandths of a power on the eighths grid: -212 stands for -2.125. */
static int32_t eighth_milli(int32_t power_cd)
{
    int32_t half = abs(power_cd) % 25 == 12 ? 5 : 0;

    return power_cd * 10 + (power_cd < 0 ? -half : half);
}

struct print_form print_figure_other(struct print_form form)
{
    struct print_form other = {.cylinder_cd = -form.cylinder_cd,
        .axis_deg =
            form.axis_deg > 90 ? form.axis_deg - 90 : form.axis_deg + 90};

    if (is_eighth(form.sphere_cd) && is_eighth(form.cylinder_cd))
        other.sphere_cd =
            (eighth_milli(form.sphere_cd) + eighth_milli(form.cylinder_cd)) /
            10; /* towards 0, as eighths are written */
    else
        other.sphere_cd = form.sphere_cd + form.cylinder_cd;
    return other;
}

const char *print_figure_form(struct arena *arena, struct print_form form)
{
    return arena_printf(arena, "%s %s " TIMES " %s",
        print_figure_power(arena, form.sphere_cd),
        print_figure_power(arena, form.cylinder_cd),
        print_figure_axis(arena, form.axis_deg));
}

const char *print_said_form(struct arena *arena, struct print_form form)
{
    return arena_printf(arena, "%s, %s, %s",
        print_said_power(arena, form.sphere_cd),
        print_said_power(arena, form.cylinder_cd),
        print_said_axis(arena, form.axis_deg));
}
