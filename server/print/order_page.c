/* What a page may hold, and what its file is called. */
#include "print/order_page.h"

#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "print/figure.h"
#include "print/view.h"

/* Wider than anything an order may hold, so that every figure fits its place
 * on the page; the ranges themselves are record's business. */
#define POWER_MAX_CD 9999
#define LENGTH_MAX_MM100 99999
#define ANGLE_MAX_CDEG 9000
#define CODE_MAX 2000 /* bytes; a square code of 10 cm^2 reads no more */

void print_order_page_init(struct print_order_page *page)
{
    static const struct print_eye blank = {.sphere_cd = PRINT_ABSENT,
        .cylinder_cd = PRINT_ABSENT,
        .axis_deg = PRINT_ABSENT,
        .add_cd = PRINT_ABSENT,
        .intermediate_add_cd = PRINT_ABSENT,
        .pd_far_mm100 = PRINT_ABSENT,
        .pd_near_mm100 = PRINT_ABSENT,
        .fitting_height_mm100 = PRINT_ABSENT};

    *page = (struct print_order_page){.version = 1,
        .eye = {blank, blank},
        .vertex_mm100 = PRINT_ABSENT,
        .pd_far_mm100 = PRINT_ABSENT,
        .pd_near_mm100 = PRINT_ABSENT,
        .index_milli = PRINT_ABSENT,
        .a_mm100 = PRINT_ABSENT,
        .b_mm100 = PRINT_ABSENT,
        .dbl_mm100 = PRINT_ABSENT,
        .ed_mm100 = PRINT_ABSENT,
        .worn_vertex_mm100 = PRINT_ABSENT,
        .tilt_cdeg = PRINT_ABSENT,
        .wrap_cdeg = PRINT_ABSENT};
}

struct limit {
    const char *where;
    int32_t value, least, most;
};

static void check_limits(
    const struct limit *limits, size_t n, const char *at, struct err *err)
{
    for (size_t i = 0; i < n; i++) {
        const struct limit *l = &limits[i];

        if (l->value != PRINT_ABSENT &&
            (l->value < l->least || l->value > l->most))
            err_fault(err, arena_printf(err->arena, "%s/%s", at, l->where),
                "\"%d\" is not between %d and %d", (int)l->value, (int)l->least,
                (int)l->most);
    }
}

static void check_prisms(const struct print_prisms *prisms, const char *at,
    const char *where, struct err *err)
{
    bool used[2] = {false, false}; /* horizontal, vertical */

    if (prisms->n > PRINT_PRISMS_MAX) {
        err_fault(err, arena_printf(err->arena, "%s/%s", at, where),
            "\"%zu\" prisms are more than %d", prisms->n, PRINT_PRISMS_MAX);
        return;
    }
    for (size_t i = 0; i < prisms->n; i++) {
        const char *here = arena_printf(err->arena, "%s/%s/%zu", at, where, i);
        bool upright = prisms->of[i].base >= PRINT_UP;

        if (prisms->of[i].amount_cd <= 0 ||
            prisms->of[i].amount_cd > POWER_MAX_CD)
            err_fault(err, here, "amount \"%d\" is not between 1 and %d",
                (int)prisms->of[i].amount_cd, POWER_MAX_CD);
        if (used[upright])
            err_fault(err, here, "a second prism along the same line");
        used[upright] = true;
    }
}

static void check_power(
    const struct print_eye *eye, const char *at, struct err *err)
{
    bool cylinder = eye->cylinder_cd != PRINT_ABSENT && eye->cylinder_cd;
    const char *axis = arena_printf(err->arena, "%s/axis_deg", at);

    if (cylinder && eye->axis_deg == PRINT_ABSENT)
        err_fault(err, axis, "a cylinder without an axis");
    if (!cylinder && eye->axis_deg != PRINT_ABSENT)
        err_fault(err, axis, "an axis without a cylinder");
    if (cylinder && eye->sphere_cd == PRINT_ABSENT)
        err_fault(err, arena_printf(err->arena, "%s/sphere_cd", at),
            "a cylinder without a sphere");
    if (eye->lens != PRINT_POWER &&
        (eye->sphere_cd != PRINT_ABSENT || eye->add_cd != PRINT_ABSENT))
        err_fault(err, at, "a power beside a lens that has none");
}

static void check_eye(
    const struct print_eye *eye, const char *at, struct err *err)
{
    const struct limit limits[] = {
        {"sphere_cd", eye->sphere_cd, -POWER_MAX_CD, POWER_MAX_CD},
        {"cylinder_cd", eye->cylinder_cd, -POWER_MAX_CD, POWER_MAX_CD},
        {"axis_deg", eye->axis_deg, 1, 180},
        {"add_cd", eye->add_cd, 1, POWER_MAX_CD},
        {"intermediate_add_cd", eye->intermediate_add_cd, 1, POWER_MAX_CD},
        {"pd_far_mm100", eye->pd_far_mm100, 0, LENGTH_MAX_MM100},
        {"pd_near_mm100", eye->pd_near_mm100, 0, LENGTH_MAX_MM100},
        {"fitting_height_mm100", eye->fitting_height_mm100, 0,
            LENGTH_MAX_MM100}};

    check_limits(limits, ARRAY_LEN(limits), at, err);
    check_prisms(&eye->prism, at, "prism", err);
    check_prisms(&eye->near_prism, at, "near_prism", err);
    check_power(eye, at, err);
}

static void check_glasses(const struct print_order_page *page, struct err *err)
{
    const struct limit limits[] = {
        {"vertex_mm100", page->vertex_mm100, 0, LENGTH_MAX_MM100},
        {"pd_far_mm100", page->pd_far_mm100, 0, LENGTH_MAX_MM100},
        {"pd_near_mm100", page->pd_near_mm100, 0, LENGTH_MAX_MM100},
        {"index_milli", page->index_milli, 1000, 3000},
        {"a_mm100", page->a_mm100, 0, LENGTH_MAX_MM100},
        {"b_mm100", page->b_mm100, 0, LENGTH_MAX_MM100},
        {"dbl_mm100", page->dbl_mm100, 0, LENGTH_MAX_MM100},
        {"ed_mm100", page->ed_mm100, 0, LENGTH_MAX_MM100},
        {"worn_vertex_mm100", page->worn_vertex_mm100, 0, LENGTH_MAX_MM100},
        {"tilt_cdeg", page->tilt_cdeg, -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG},
        {"wrap_cdeg", page->wrap_cdeg, -ANGLE_MAX_CDEG, ANGLE_MAX_CDEG}};

    check_limits(limits, ARRAY_LEN(limits), "", err);
}

static void check_date(
    struct print_date date, const char *where, struct err *err)
{
    if (date.year < 0 || date.year > 9999 || date.month < 0 ||
        date.month > 12 || date.day < 0 || date.day > 31)
        err_fault(err, where, "\"%d-%d-%d\" is no date", (int)date.year,
            (int)date.month, (int)date.day);
}

static void check_head(const struct print_order_page *page, struct err *err)
{
    int32_t of = page->pages ? page->pages : 1;

    if (!print_text_clean(err->arena, page->order_id))
        err_fault(err, "/order_id", "an order without an id");
    if (page->version < 1)
        err_fault(err, "/version", "\"%d\" is below 1", (int)page->version);
    if (page->page < 0 || page->page > of)
        err_fault(err, "/page", "\"%d\" is not a page of %d", (int)page->page,
            (int)of);
    if (page->code && strlen(page->code) > CODE_MAX)
        err_fault(err, "/code", "\"%zu\" bytes are more than %d",
            strlen(page->code), CODE_MAX);
    check_date(page->signed_on, "/signed_on", err);
    check_date(page->expires_on, "/expires_on", err);
    check_date(page->born, "/born", err);
}

enum rc print_order_check(const struct print_order_page *page, struct err *err)
{
    int32_t right_cd = page->eye[PRINT_RIGHT].cylinder_cd;
    int32_t left_cd = page->eye[PRINT_LEFT].cylinder_cd;

    check_head(page, err);
    check_glasses(page, err);
    check_eye(&page->eye[PRINT_RIGHT], "/eye/right", err);
    check_eye(&page->eye[PRINT_LEFT], "/eye/left", err);
    /* One page speaks one form: a reader takes the second sign for granted. */
    if (right_cd != PRINT_ABSENT && left_cd != PRINT_ABSENT && right_cd &&
        left_cd && (right_cd < 0) != (left_cd < 0))
        err_fault(err, "/eye/left/cylinder_cd",
            "one eye is written in plus and one in minus cylinder");
    return err->rc;
}

#define FILE_NAME_SIGNS                                                        \
    "0123456789-abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"

void print_order_file_name(
    const struct print_order_page *page, const char *suffix, struct text *out)
{
    text_puts(out, "order-");
    for (const char *p = page->order_id; p && *p; p++) {
        const char *kept = strchr(FILE_NAME_SIGNS, *p);

        text_put(out, kept ? kept : "-", 1);
    }
    text_printf(out, "-v%d.%s", (int)page->version, suffix);
}
