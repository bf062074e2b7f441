/*
 * Whatever finite numbers go into a function, none but finite ones come out,
 * and no -0; a fault leaves the result alone.
 *
 * One trial a function of server/optics' basic chapters; finite_more.c has the
 * others.  Arguments are drawn within the range that the contract names and
 * now and then far outside; where a contract asks the caller to check, that is
 * checked here.
 */
#include "finite.h"

#include <math.h>
#include <string.h>

#include "properties.h"

#include "optics/acuity.h"
#include "optics/angle.h"
#include "optics/blur.h"
#include "optics/cornea.h"
#include "optics/magnify.h"
#include "optics/prism.h"
#include "optics/round.h"
#include "optics/vertex.h"

static enum optics_form draw_form(struct random *r)
{
    return random_below(r, 2) ? OPTICS_PLUS_CYL : OPTICS_MINUS_CYL;
}

enum optics_eye draw_eye(struct random *r)
{
    return random_below(r, 2) ? OPTICS_LEFT : OPTICS_RIGHT;
}

struct optics_vector draw_any_vector(struct random *r)
{
    struct optics_vector v;
    double most = random_below(r, 4) ? 30 : 1e6;

    do
        v = (struct optics_vector){draw_any(r, -most, most),
            draw_any(r, -most, most), draw_any(r, -most, most)};
    while (fabs(v.m) > 1e6 || fabs(v.j0) > 1e6 || fabs(v.j45) > 1e6);
    return v;
}

struct optics_prism draw_any_prism(struct random *r)
{
    struct optics_prism p;

    do
        p = (struct optics_prism){
            draw_any(r, -1000, 1000), draw_any(r, -1000, 1000)};
    while (optics_prism_check(p) != OPTICS_OK);
    return p;
}

/* A power as this folder gives it: axis 0 just where there is no cylinder. */
void expect_power_sound(const char *what, struct optics_power p)
{
    expect_all_sound(what, &p, sizeof(p));
    HOLDS((p.axis == 0) == (p.cyl == 0) && p.axis >= 0 && p.axis <= 180,
        "%s gives cylinder %g at axis %g", what, p.cyl, p.axis);
}

/* ---- angle.h, power.h, vector.h, vertex.h */

static void angles(struct random *r)
{
    double a = draw_any(r, 0, 180), b = draw_any(r, 0, 180), s, c;

    optics_sincos_deg(a, &s, &c);
    expect_sound("optics_sincos_deg", s);
    expect_sound("optics_sincos_deg", c);
    expect_sound("optics_axis_normal", optics_axis_normal(a));
    expect_sound("optics_axis_difference", optics_axis_difference(a, b));
    expect_sound("optics_base_normal", optics_base_normal(a));
    expect_sound("optics_clean", optics_clean(a));
}

static void rounding(struct random *r)
{
    static const double UNITS[] = {1e-4, 0.01, 0.25, 1};
    struct optics_quarter q;
    enum optics_step step;
    double x = draw_any(r, -1000, 1000);

    expect_sound(
        "optics_round_to", optics_round_to(x, UNITS[random_below(r, 4)]));
    (void)optics_step_find(x, &step);
    if (optics_round_quarter(x, &q) != OPTICS_OK)
        return;
    expect_sound("optics_round_quarter", q.half_away);
    expect_sound("optics_round_quarter", q.half_even);
}

static void powers(struct random *r)
{
    struct optics_power p = draw_any_power(r);
    struct optics_rx rx = optics_rx_of_power(p);

    expect_power_sound("optics_power_normal", optics_power_normal(p));
    expect_power_sound("optics_power_as", optics_power_as(p, draw_form(r)));
    expect_power_sound("optics_power_rounded", optics_power_rounded(p));
    expect_sound(
        "optics_power_meridian", optics_power_meridian(p, draw_any(r, 0, 180)));
    expect_sound("optics_power_equivalent", optics_power_equivalent(p));
    HOLDS((rx.axis_cdeg == 0) == (rx.cyl_cd == 0) && rx.axis_cdeg >= 0 &&
              rx.axis_cdeg <= 18000,
        "optics_rx_of_power: %d x %d", rx.cyl_cd, rx.axis_cdeg);
    expect_power_sound("optics_power_of_rx", optics_power_of_rx(rx));
}

static void sums(struct random *r)
{
    struct optics_power a = draw_any_power(r), b = draw_any_power(r);

    expect_power_sound("optics_power_sum", optics_power_sum(a, b));
    expect_power_sound("optics_power_change", optics_power_change(a, b));
    expect_sound("optics_power_distance", optics_power_distance(a, b));
}

static void vectors(struct random *r)
{
    struct optics_vector v = draw_any_vector(r), w = draw_any_vector(r), got;
    struct optics_matrix f = optics_matrix_of(draw_any_power(r));

    (void)optics_vector_check(v);
    expect_power_sound(
        "optics_vector_power", optics_vector_power(v, draw_form(r)));
    expect_sound("optics_vector_blur", optics_vector_blur(v));
    expect_sound("optics_vector_astigmatism", optics_vector_astigmatism(v));
    got = optics_vector_sum(v, w);
    expect_all_sound("optics_vector_sum", &got, sizeof(got));
    got = optics_vector_difference(v, w);
    expect_all_sound("optics_vector_difference", &got, sizeof(got));
    got = optics_vector_rounded(v);
    expect_all_sound("optics_vector_rounded", &got, sizeof(got));
    got = optics_vector_of(draw_any_power(r));
    expect_all_sound("optics_vector_of", &got, sizeof(got));
    expect_all_sound("optics_matrix_of", &f, sizeof(f));
    got = optics_matrix_vector(f);
    expect_all_sound("optics_matrix_vector", &got, sizeof(got));
}

static void means(struct random *r)
{
    struct optics_power p[12];
    struct optics_mean m;
    size_t n = (size_t)random_below(r, ROWS(p) + 1);

    for (size_t i = 0; i < n; i++)
        p[i] = draw_any_power(r);
    if (optics_mean(p, n, &m) == OPTICS_OK)
        expect_all_sound("optics_mean", &m, sizeof(m));
}

static void orderable(struct random *r)
{
    struct optics_orderable o = optics_round_orderable(draw_any_power(r),
        random_below(r, 2) ? OPTICS_STEP_QUARTER : OPTICS_STEP_EIGHTH);

    expect_power_sound("optics_round_orderable", o.exact);
    expect_all_sound("optics_round_orderable", &o.residual, sizeof(o.residual));
    expect_sound("optics_round_orderable", o.distance);
}

static void vertex(struct random *r)
{
    struct optics_power got;

    if (optics_vertex_move(draw_any_power(r), draw_any(r, 0, 100),
            draw_any(r, 0, 100), &got) == OPTICS_OK)
        expect_power_sound("optics_vertex_move", got);
}

/* ---- prism.h */

static void prisms(struct random *r)
{
    struct optics_base base =
        optics_prism_compose(draw_eye(r), draw_any_prism(r));
    struct optics_prism_pair pair = {draw_any_prism(r), draw_any_prism(r)};
    struct optics_prism got;

    expect_all_sound("optics_prism_compose", &base, sizeof(base));
    base = (struct optics_base){draw_any(r, 0, 1000), draw_any(r, 0, 360)};
    if (optics_prism_resolve(draw_eye(r), base, &got) == OPTICS_OK)
        expect_all_sound("optics_prism_resolve", &got, sizeof(got));
    if (optics_prism_split(pair, draw_any(r, 0, 1), &pair) == OPTICS_OK)
        expect_all_sound("optics_prism_split", &pair, sizeof(pair));
}

static void shifts(struct random *r)
{
    struct optics_shift shift = {
        draw_any(r, -100, 100), draw_any(r, -100, 100)};
    struct optics_power p = draw_any_power(r);
    struct optics_imbalance imbalance;
    struct optics_prism got;

    if (optics_prism_of_shift(draw_eye(r), p, shift, &got) == OPTICS_OK)
        expect_all_sound("optics_prism_of_shift", &got, sizeof(got));
    if (optics_shift_of_prism(draw_eye(r), p, draw_any_prism(r), &shift) ==
        OPTICS_OK)
        expect_all_sound("optics_shift_of_prism", &shift, sizeof(shift));
    if (optics_prism_imbalance(p, draw_any_power(r), draw_any(r, -100, 100),
            &imbalance) == OPTICS_OK)
        expect_all_sound(
            "optics_prism_imbalance", &imbalance, sizeof(imbalance));
    if (optics_prism_of_pd(draw_eye(r), p, draw_any(r, 0, 100),
            draw_any(r, 0, 100), &got) == OPTICS_OK)
        expect_all_sound("optics_prism_of_pd", &got, sizeof(got));
}

/* ---- cornea.h */

static void corneas(struct random *r)
{
    struct optics_cornea_mean mean;
    struct optics_power corneal, got;
    double x;

    if (optics_cornea_power(draw_any(r, 3, 14), draw_any(r, 1.3, 1.4), &x) ==
        OPTICS_OK)
        expect_sound("optics_cornea_power", x);
    if (optics_cornea_radius(draw_any(r, 20, 90), draw_any(r, 1.3, 1.4), &x) ==
        OPTICS_OK)
        expect_sound("optics_cornea_radius", x);
    if (optics_cornea_average(draw_any(r, 3, 14), draw_any(r, 3, 14),
            draw_any(r, 1.3, 1.4), &mean) == OPTICS_OK)
        expect_all_sound("optics_cornea_average", &mean, sizeof(mean));
    (void)optics_rule_of(draw_any_power(r));
    if (optics_cornea_astigmatism(draw_any(r, 30, 50), draw_any(r, 0, 180),
            draw_any(r, 40, 60), &corneal) != OPTICS_OK)
        return;
    expect_power_sound("optics_cornea_astigmatism", corneal);
    if (optics_cornea_expected(corneal, draw_any(r, 0, 10),
            draw_any(r, -10, 10), &got) == OPTICS_OK)
        expect_power_sound("optics_cornea_expected", got);
}

/* ---- acuity.h */

static void acuities(struct random *r)
{
    enum optics_scale scale = (enum optics_scale)random_below(r, 6);
    double x, logmar = random_in(r, -2.5, 5);

    if (optics_acuity_logmar(scale, draw_any(r, 0, 100), &x) == OPTICS_OK)
        expect_sound("optics_acuity_logmar", x);
    expect_sound("optics_acuity_on", optics_acuity_on(scale, logmar));
    if (optics_acuity_partial_line(draw_any(r, -2.5, 5), draw_any(r, -100, 100),
            draw_any(r, 1, 20), &x) == OPTICS_OK)
        expect_sound("optics_acuity_partial_line", x);
    if (optics_acuity_low((enum optics_level)random_below(r, 5),
            (enum optics_low_scheme)random_below(r, 2), draw_any(r, 0.1, 20),
            &x) == OPTICS_OK)
        expect_sound("optics_acuity_low", x);
}

/* Texts of the letters that acuities are made of, in any order. */
static void acuity_texts(struct random *r)
{
    static const char LETTERS[] = "0123456789./+- 26CFHMLPN";
    char text[12];
    size_t len = (size_t)random_below(r, ROWS(text));
    struct optics_acuity a;

    for (size_t i = 0; i < len; i++)
        text[i] = LETTERS[random_below(r, ROWS(LETTERS) - 1)];
    if (optics_acuity_read((enum optics_notation)random_below(r, 5), text, len,
            &a) == OPTICS_OK)
        expect_sound("optics_acuity_read", a.logmar);
}

static void near_acuities(struct random *r)
{
    struct optics_near near;

    if (optics_near_of_m(draw_any(r, 0.01, 100), draw_any(r, 1, 1000), &near) ==
        OPTICS_OK)
        expect_all_sound("optics_near_of_m", &near, sizeof(near));
    if (optics_near_of_snellen(
            draw_any(r, 0.1, 1000), draw_any(r, 1, 1000), &near) == OPTICS_OK)
        expect_all_sound("optics_near_of_snellen", &near, sizeof(near));
}

/* ---- magnify.h, blur.h */

static struct optics_worn draw_worn(struct random *r)
{
    return (struct optics_worn){draw_any(r, -100, 100), draw_any(r, -100, 100),
        draw_any(r, 1.4, 2), draw_any(r, 0, 20), draw_any(r, 0, 100)};
}

static void magnification(struct random *r)
{
    struct optics_surfaces lens = {draw_any(r, -100, 100),
        draw_any(r, -100, 100), draw_any(r, 1.4, 2), draw_any(r, 0, 100)};
    struct optics_magnification m;
    struct optics_thick thick;
    double percent;

    if (optics_thick_lens(lens, &thick) == OPTICS_OK)
        expect_all_sound("optics_thick_lens", &thick, sizeof(thick));
    if (optics_magnify(draw_worn(r), &m) == OPTICS_OK)
        expect_all_sound("optics_magnify", &m, sizeof(m));
    if (optics_image_ratio(draw_worn(r), draw_worn(r), &percent) == OPTICS_OK)
        expect_sound("optics_image_ratio", percent);
    if (optics_image_ratio_estimate(draw_any_power(r), draw_any_power(r),
            draw_any(r, 0, 100), &percent) == OPTICS_OK)
        expect_sound("optics_image_ratio_estimate", percent);
}

static void blurs(struct random *r)
{
    struct optics_vector v = draw_any_vector(r);
    struct optics_ellipse ellipse;
    struct optics_noise noise;
    double x;

    if (optics_blur_angle(draw_any(r, 0.1, 20), draw_any(r, -1000, 1000), &x) ==
        OPTICS_OK)
        expect_sound("optics_blur_angle", x);
    if (optics_blur_ellipse(
            draw_any_power(r), draw_any(r, 0.1, 20), &ellipse) == OPTICS_OK)
        expect_all_sound("optics_blur_ellipse", &ellipse, sizeof(ellipse));
    expect_sound("optics_relative_mar", optics_relative_mar(v));
    expect_sound("optics_predicted_logmar",
        optics_predicted_logmar(random_in(r, -2.5, 5), v));
    if (optics_retinal_image(draw_any(r, 0, 5000), draw_any(r, 1, 200), &x) ==
        OPTICS_OK)
        expect_sound("optics_retinal_image", x);
    if (optics_change_noise(draw_any_power(r), draw_any_power(r),
            draw_any(r, 0, 100), draw_any(r, 0, 100), &noise) != OPTICS_OK)
        return;
    expect_sound("optics_change_noise", noise.delta_m);
    expect_sound("optics_change_noise", noise.delta_j);
}

static const struct finite_trial BASIC[] = {
    {angles, MILLION / 2},
    {rounding, MILLION / 2},
    {powers, MILLION / 4},
    {sums, MILLION / 4},
    {vectors, MILLION / 4},
    {means, MILLION / 10},
    {orderable, MILLION / 10},
    {vertex, MILLION / 2},
    {prisms, MILLION / 4},
    {shifts, MILLION / 4},
    {corneas, MILLION / 4},
    {acuities, MILLION / 4},
    {acuity_texts, MILLION / 2},
    {near_acuities, MILLION / 4},
    {magnification, MILLION / 4},
    {blurs, MILLION / 4},
};

START_TEST(basic_functions_give_numbers)
{
    finite_run(&BASIC[_i], (uint64_t)(300 + _i));
}
END_TEST

void finite_run(const struct finite_trial *trial, uint64_t seed)
{
    struct random r = {.state = seed};

    for (int i = 0; i < trial->count; i++)
        trial->run(&r);
}

Suite *suite_finite(void)
{
    TCase *tc = tcase_create("finite");
    Suite *s = suite_create("finite");

    suite_add_tcase(s, tc);
    tcase_set_timeout(tc, 120);
    tcase_add_loop_test(tc, basic_functions_give_numbers, 0, ROWS(BASIC));
    return s;
}
