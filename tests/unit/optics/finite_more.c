/* Numbers in, numbers out, for the chapters beyond the basic ones; see
 * finite.c. */
#include <math.h>
#include <string.h>

#include "finite.h"
#include "properties.h"

#include "optics/binocular.h"
#include "optics/frame.h"
#include "optics/look.h"
#include "optics/make.h"
#include "optics/near.h"
#include "optics/outline.h"
#include "optics/pair_why.h"
#include "optics/slab.h"
#include "optics/spread.h"
#include "optics/tolerance.h"
#include "optics/worn.h"

#define SOUND(what, of) expect_all_sound((what), &(of), sizeof(of))

/* ---- near.h, binocular.h */

static void near_adds(struct random *r)
{
    struct optics_amplitude amplitude;
    struct optics_add_moved moved;
    struct optics_clear_range range;
    struct optics_band band;
    double x;

    if (optics_amplitude_hofstetter(draw_any(r, 0, 130), &amplitude) ==
        OPTICS_OK)
        SOUND("optics_amplitude_hofstetter", amplitude);
    if (optics_amplitude_donders(draw_any(r, 10, 75), &x) == OPTICS_OK)
        expect_sound("optics_amplitude_donders", x);
    if (optics_add_by_age(draw_any(r, 45, 130), &band) == OPTICS_OK)
        SOUND("optics_add_by_age", band);
    if (optics_add_from_amplitude(draw_any(r, 1, 1000), draw_any(r, 0, 100),
            draw_any(r, 0, 1), &x) == OPTICS_OK)
        expect_sound("optics_add_from_amplitude", x);
    if (optics_add_at_distance(draw_any(r, 0, 20), draw_any(r, 1, 1000),
            draw_any(r, 1, 1000), &moved) == OPTICS_OK)
        SOUND("optics_add_at_distance", moved);
    if (optics_clear_range(draw_any(r, 0, 20), draw_any(r, 0, 100), &range) ==
        OPTICS_OK)
        SOUND("optics_clear_range", range);
}

static void both_eyes(struct random *r)
{
    struct optics_expected expected;
    int n = 0;
    double x;

    if (optics_sheard(draw_any(r, 0, 100), draw_any(r, 0, 100), &x) ==
        OPTICS_OK)
        expect_sound("optics_sheard", x);
    if (optics_percival(draw_any(r, 0, 100), draw_any(r, 0, 100), &x) ==
        OPTICS_OK)
        expect_sound("optics_percival", x);
    if (optics_one_to_one(draw_any(r, 0, 100), draw_any(r, -100, 100), &x) ==
        OPTICS_OK)
        expect_sound("optics_one_to_one", x);
    if (optics_aca_calculated(draw_any(r, 1, 15), draw_any(r, 0.05, 10),
            draw_any(r, -100, 100), draw_any(r, -100, 100), &x) == OPTICS_OK)
        expect_sound("optics_aca_calculated", x);
    if (optics_aca_gradient(draw_any(r, -20, 20), draw_any(r, -100, 100),
            draw_any(r, -100, 100), &x) == OPTICS_OK)
        expect_sound("optics_aca_gradient", x);
    if (optics_sphere_for_prism(
            draw_any(r, -100, 100), draw_any(r, 0.1, 30), &x) == OPTICS_OK)
        expect_sound("optics_sphere_for_prism", x);
    while (OPTICS_FINDINGS[n])
        n++;
    if (optics_finding_expected(
            random_below(r, n), draw_any(r, -100, 100), &expected) == OPTICS_OK)
        SOUND("optics_finding_expected", expected);
}

/* ---- worn.h, slab.h */

static void tilts(struct random *r)
{
    struct optics_tilt tilt = {draw_any(r, 1.4, 2), draw_any(r, -60, 60),
        random_below(r, 2) ? OPTICS_WRAP : OPTICS_PANTOSCOPIC};
    struct optics_stand stand = {draw_eye(r), draw_any(r, 1.4, 2),
        draw_any(r, -60, 60), draw_any(r, -60, 60)};
    double sphere = draw_any(r, -30, 30), a, b;
    struct optics_power got;

    if (optics_tilt_martin(sphere, tilt.index, tilt.tilt_deg, &a, &b) ==
        OPTICS_OK) {
        expect_sound("optics_tilt_martin", a);
        expect_sound("optics_tilt_martin", b);
    }
    if (optics_tilt_sphere(sphere, tilt.index, tilt.tilt_deg, &a, &b) ==
        OPTICS_OK) {
        expect_sound("optics_tilt_sphere", a);
        expect_sound("optics_tilt_sphere", b);
    }
    if (optics_tilt_power(draw_any_power(r), tilt, &got) == OPTICS_OK)
        expect_power_sound("optics_tilt_power", got);
    if (optics_tilt_compensate(draw_any_power(r), tilt, &got) == OPTICS_OK)
        expect_power_sound("optics_tilt_compensate", got);
    if (optics_stand_power(draw_any_power(r), stand, &got) == OPTICS_OK)
        expect_power_sound("optics_stand_power", got);
    if (optics_stand_compensate(draw_any_power(r), stand, &got) == OPTICS_OK)
        expect_power_sound("optics_stand_compensate", got);
}

static struct optics_reading_lens draw_reading_lens(struct random *r)
{
    struct optics_reading_lens lens = {.power = draw_any_power(r),
        .add = draw_any(r, 0, 20),
        .read = {draw_any(r, -50, 50), draw_any(r, -50, 50)},
        .segment_known = random_below(r, 2)};

    if (lens.segment_known)
        lens.segment =
            (struct optics_point){draw_any(r, -50, 50), draw_any(r, -50, 50)};
    return lens;
}

static void reading_level(struct random *r)
{
    struct optics_reading_level level;

    if (optics_reading_level(
            draw_reading_lens(r), draw_reading_lens(r), &level) != OPTICS_OK)
        return;
    SOUND("optics_reading_level", level.distance);
    SOUND("optics_reading_level", level.met);
    expect_sound("optics_reading_level", level.vertical);
    expect_sound("optics_reading_level", level.horizontal);
    expect_sound("optics_reading_level", level.slab.amount);
    expect_sound("optics_reading_level", level.slab.rounded);
}

/* ---- frame.h, outline.h, make.h */

static void frames(struct random *r)
{
    struct optics_boxing frame = {draw_any(r, 40, 60), draw_any(r, 10, 25),
        draw_any(r, 45, 70), draw_any(r, 50, 80), draw_any(r, 0, 2)};
    struct optics_blank blank;
    struct optics_sag sag;
    double x;

    if (optics_blank_size(frame, &blank) == OPTICS_OK)
        SOUND("optics_blank_size", blank);
    if (optics_sag(draw_any(r, -100, 100), draw_any(r, 1.4, 2),
            draw_any(r, 0, 80), &sag) == OPTICS_OK)
        SOUND("optics_sag", sag);
    x = draw_any(r, -0.05, 0.05);
    if (fabs(x) <= 0.05)
        expect_sound("optics_sag_of", optics_sag_of(x, random_in(r, -20, 20)));
    if (optics_nominal_power(draw_any(r, 1.4, 2), draw_any(r, -1, 1),
            draw_any(r, -1, 1), &x) == OPTICS_OK)
        expect_sound("optics_nominal_power", x);
    if (optics_segment_drop(draw_any(r, 20, 60), draw_any(r, 0, 60), &x) ==
        OPTICS_OK)
        expect_sound("optics_segment_drop", x);
    if (optics_edge_of_curvatures(draw_any(r, -0.03, 0.03),
            draw_any(r, -0.03, 0.03), draw_any(r, 0, 20), draw_any(r, 0, 40),
            &x) == OPTICS_OK)
        expect_sound("optics_edge_of_curvatures", x);
    if (optics_least_fitting_height(
            draw_any(r, 1, 50), draw_any(r, 0, 50), &x) == OPTICS_OK)
        expect_sound("optics_least_fitting_height", x);
}

static void thicknesses(struct random *r)
{
    struct optics_blank_lens lens = {draw_any(r, -20, 20), draw_any(r, 0, 15),
        draw_any(r, 1.4, 2), draw_any(r, 10, 80)};
    double edge, back;

    if (optics_edge_thickness(lens, draw_any(r, 0, 20), &edge, &back) ==
        OPTICS_OK) {
        expect_sound("optics_edge_thickness", edge);
        expect_sound("optics_edge_thickness", back);
    }
    if (optics_centre_thickness(lens, draw_any(r, 0, 5), &edge) == OPTICS_OK)
        expect_sound("optics_centre_thickness", edge);
}

static void outlines(struct random *r)
{
    struct optics_outline o;

    if (optics_outline_of(draw_any(r, 40, 60), draw_any(r, 25, 50),
            draw_any(r, 45, 75), &o) != OPTICS_OK)
        return;
    /* p may be infinite: that is the box. */
    HOLDS(isfinite(o.a_mm) && isfinite(o.b_mm) && o.p >= 2, "p is %g", o.p);
    expect_sound("optics_outline_gauge",
        optics_outline_gauge(
            &o, random_in(r, -100, 100), random_in(r, -100, 100)));
}

static void spots(const struct optics_spot *s, size_t n)
{
    expect_all_sound("optics_make_lens", s, n * sizeof(*s));
}

static void made(struct random *r)
{
    struct optics_make lens = {random_below(r, 2) ? OPTICS_LEFT : OPTICS_RIGHT,
        draw_power(r, 8), {random_in(r, -3, 3), random_in(r, -3, 3)},
        random_in(r, 2, 8), random_in(r, 1.5, 1.74), random_in(r, 1, 3), 52, 36,
        18, random_in(r, 52, 60), random_in(r, 28, 35), random_in(r, 14, 24), 2,
        1, 2};
    struct optics_made got;
    double *figures[] = {&lens.front_power, &lens.a_mm, &lens.ed_mm,
        &lens.pd_mm, &lens.height_mm, &lens.min_centre_mm, &lens.prism.base_in};

    if (random_below(r, 2))
        *figures[random_below(r, ROWS(figures))] = draw_any(r, 0, 60);
    if (optics_make_lens(&lens, &got) != OPTICS_OK)
        return;
    SOUND("optics_make_lens", got.decentration);
    expect_sound("optics_make_lens", got.least_blank_mm);
    expect_sound("optics_make_lens", got.shape_blank_mm);
    expect_sound("optics_make_lens", got.centre_mm);
    spots(&got.thinnest, 1);
    spots(&got.thickest, 1);
    spots(got.meridians, 4);
    spots(&got.least, 1);
    expect_sound("optics_make_lens", got.volume_mm3);
    expect_sound("optics_make_lens", got.weight_g);
    SOUND("optics_make_lens", got.at_boxed_centre);
    SOUND("optics_make_lens", got.optical_centre);
    expect_sound("optics_make_lens", got.by_decentration_blank_mm);
}

/* ---- tolerance.h, pair.h */

static int words(const char *const *list)
{
    int n = 0;

    while (list[n])
        n++;
    return n;
}

static void expect_ruling(const char *what, const struct optics_ruling *line)
{
    HOLDS(line->n <= OPTICS_RULES_MAX, "%s gives %zu rules", what, line->n);
    for (size_t i = 0; i < line->n; i++) {
        expect_sound(what, line->rules[i].limit);
        expect_sound(what, line->rules[i].error);
    }
}

static enum optics_profile draw_profile(struct random *r)
{
    return (enum optics_profile)random_below(r, words(OPTICS_PROFILES));
}

static enum optics_lens_type draw_type(struct random *r)
{
    return (enum optics_lens_type)random_below(r, words(OPTICS_LENS_TYPES));
}

static void tolerances(struct random *r)
{
    struct optics_pair_errors errors = {draw_any(r, 0, 30), draw_any(r, 0, 30),
        draw_any(r, 0, 5), draw_any(r, 0, 5), draw_any(r, 0, 5),
        draw_any(r, 0, 5)};
    struct optics_power_ruling power;
    struct optics_ruling a, b;
    double deg;

    if (optics_tolerance_power(draw_profile(r), draw_type(r), draw_any_power(r),
            draw_any_power(r), &power) == OPTICS_OK) {
        expect_ruling("optics_tolerance_power", &power.sphere);
        expect_ruling("optics_tolerance_power", &power.cylinder);
        expect_ruling("optics_tolerance_power", &power.axis);
    }
    if (optics_tolerance_prism(draw_profile(r), draw_type(r), errors, &a, &b) ==
        OPTICS_OK) {
        expect_ruling("optics_tolerance_prism", &a);
        expect_ruling("optics_tolerance_prism", &b);
    }
    if (optics_axis_tolerance(draw_any(r, -10, 10), draw_any(r, 0, 1), &deg) ==
        OPTICS_OK)
        expect_sound("optics_axis_tolerance", deg);
}

static struct optics_glass draw_glass(struct random *r, unsigned says)
{
    return (struct optics_glass){draw_any_power(r), draw_any_prism(r),
        draw_any(r, 0, 20), draw_any(r, 0, 100), draw_any(r, 0, 100),
        draw_any(r, 0, 100), says};
}

static void explained(const struct optics_pair *pair)
{
    struct optics_explanation e[OPTICS_EXPLANATIONS_MAX];
    double size;
    size_t n = optics_pair_explain(pair, e, &size);

    expect_sound("optics_pair_explain", size);
    for (size_t i = 0; i < n; i++) {
        expect_sound("optics_pair_explain", e[i].size);
        for (int eye = 0; eye < 2; eye++) {
            expect_power_sound("optics_pair_explain", e[i].residual[eye]);
            expect_sound("optics_pair_explain", e[i].add_error[eye]);
            expect_sound("optics_pair_explain", e[i].prism[eye].base_in);
            expect_sound("optics_pair_explain", e[i].prism[eye].base_up);
        }
    }
}

static void pairs(struct random *r)
{
    struct optics_pair pair = {.profile = draw_profile(r),
        .type = draw_type(r),
        .mounted = random_below(r, 2)};
    struct optics_pair_verdict got;

    for (int eye = 0; eye < 2; eye++) {
        unsigned says = (unsigned)random_below(r, 16);

        pair.eyes[eye] = (struct optics_finished){random_below(r, 4) > 0,
            draw_glass(r, says), draw_glass(r, says), random_below(r, 2),
            {draw_any(r, -30, 30), draw_any(r, 1.4, 2), draw_any(r, 0, 40)}};
    }
    if (optics_pair_check(&pair, &got) != OPTICS_OK)
        return;
    explained(&pair);
    HOLDS(got.n_open <= OPTICS_OPEN_MAX, "%zu are open", got.n_open);
    expect_sound("optics_pair_check", got.horizontal);
    expect_sound("optics_pair_check", got.vertical);
    expect_ruling("optics_pair_check", &got.horizontal_line);
    expect_ruling("optics_pair_check", &got.vertical_line);
    expect_ruling("optics_pair_check", &got.segments);
    for (int eye = 0; eye < 2; eye++) {
        const struct optics_glass_verdict *g = &got.eyes[eye];

        expect_power_sound("optics_pair_check", g->residual);
        expect_sound("optics_pair_check", g->add_error);
        SOUND("optics_pair_check", g->shift);
        SOUND("optics_pair_check", g->centring);
        SOUND("optics_pair_check", g->prism_error);
        expect_ruling("optics_pair_check", &g->power.sphere);
        expect_ruling("optics_pair_check", &g->power.cylinder);
        expect_ruling("optics_pair_check", &g->power.axis);
        expect_ruling("optics_pair_check", &g->add);
        expect_ruling("optics_pair_check", &g->point);
        expect_ruling("optics_pair_check", &g->segment);
    }
}

/* ---- look.h, spread.h */

static void looks(struct random *r)
{
    struct optics_look_eye eye = {
        draw_any(r, 0.1, 20), draw_any(r, -0.3, 2), draw_any(r, 0, 30)};
    struct optics_look look;
    double mar;

    if (optics_look_mar(draw_any_vector(r), draw_any(r, 0.1, 20), &mar) ==
        OPTICS_OK)
        expect_sound("optics_look_mar", mar);
    if (optics_look_through(draw_any_vector(r), eye, &look) == OPTICS_OK)
        SOUND("optics_look_through", look);
}

static void spreads(struct random *r)
{
    static double light[OPTICS_SPREAD_MAX * OPTICS_SPREAD_MAX];
    struct optics_ellipse ellipse;
    struct optics_spread_grid grid = {draw_any(r, 0.1, 20), 0};

    if (optics_blur_ellipse(
            draw_any_power(r), draw_any(r, 0.1, 20), &ellipse) != OPTICS_OK)
        return;
    if (random_below(r, 2))
        ellipse = optics_spread_mirrored(ellipse);
    SOUND("optics_spread_mirrored", ellipse);
    if (optics_spread_size(ellipse, grid.arcmin_per_pixel, &grid.n) !=
            OPTICS_OK ||
        optics_spread_draw(ellipse, grid, light) != OPTICS_OK)
        return;
    expect_all_sound("optics_spread_draw", light,
        (size_t)(grid.n * grid.n) * sizeof(double));
}

static const struct finite_trial MORE[] = {
    {near_adds, MILLION / 4},
    {both_eyes, MILLION / 4},
    {tilts, MILLION / 4},
    {reading_level, MILLION / 4},
    {frames, MILLION / 4},
    {thicknesses, MILLION / 4},
    {outlines, MILLION / 10},
    {made, 500},
    {tolerances, MILLION / 10},
    {pairs, MILLION / 20},
    {looks, MILLION / 4},
    {spreads, 1000},
};

START_TEST(other_functions_give_numbers)
{
    finite_run(&MORE[_i], (uint64_t)(400 + _i));
}
END_TEST

Suite *suite_finite_more(void)
{
    TCase *tc = tcase_create("finite, more");
    Suite *s = suite_create("finite, more");

    suite_add_tcase(s, tc);
    tcase_set_timeout(tc, 120);
    tcase_add_loop_test(tc, other_functions_give_numbers, 0, ROWS(MORE));
    return s;
}
