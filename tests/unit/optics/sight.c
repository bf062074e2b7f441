/* Sight through another lens, and the picture of its blur. */
#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "random.h"

#include "optics/angle.h"
#include "optics/look.h"
#include "optics/spread.h"

#define ROWS(a) ((int)(sizeof(a) / sizeof((a)[0])))
#define MILLION 1000000

static double picture[OPTICS_SPREAD_MAX * OPTICS_SPREAD_MAX];

static struct optics_ellipse ellipse_of(struct optics_power p, double pupil_mm)
{
    struct optics_ellipse e;

    ck_assert_int_eq(optics_blur_ellipse(p, pupil_mm, &e), OPTICS_OK);
    return e;
}

static double mar_of(struct optics_vector v, double pupil_mm)
{
    double mar;

    ck_assert_int_eq(optics_look_mar(v, pupil_mm, &mar), OPTICS_OK);
    return mar;
}

/* By hand: at 4 mm 1 + b^2; at 2 mm 1 D is as 0.5 D, 1.25; at 6 mm as 1.5 D,
 * 3.25. */
static const struct {
    double m, pupil_mm, mar;
} GROWTH[] = {{1, 4, 2}, {1, 2, 1.25}, {-1, 6, 3.25}, {0, 6, 1}};

START_TEST(a_wider_pupil_weighs_like_a_greater_error)
{
    struct optics_vector v = {GROWTH[_i].m, 0, 0};

    ck_assert_double_eq_tol(
        mar_of(v, GROWTH[_i].pupil_mm), GROWTH[_i].mar, 1e-12);
    ck_assert_double_eq_tol(mar_of(v, 4), optics_relative_mar(v), 1e-12);
}
END_TEST

/* MAR = 0.65 p b for errors of 1 to 3 D (Smith 1991), from memory: within 0.16
 * logMAR, a line and a half. */
START_TEST(large_errors_agree_with_another_rule)
{
    for (int quarters = 4; quarters <= 12; quarters++) {
        double b = quarters / 4.0;

        ck_assert_double_eq_tol(
            log10(mar_of((struct optics_vector){b, 0, 0}, 4)),
            log10(0.65 * 4 * b), 0.16);
    }
}
END_TEST

static const struct {
    const char *why;
    struct optics_vector missing;
    double has, uses, m;
} ACCOMMODATED[] = {
    {"plus is made up", {1, 0.5, 0}, 5, 1, 0},
    {"as far as it goes", {3, 0.5, 0}, 1.25, 1.25, 1.75},
    {"minus can't be", {-1, 0.5, 0}, 5, 0, -1},
    {"nothing missing, nothing used", {0, 0.5, 0}, 5, 0, 0},
    {"an old eye", {1, 0.5, 0}, 0, 0, 1},
};

START_TEST(an_eye_makes_up_for_missing_plus)
{
    struct optics_look_eye eye = {4, 0, ACCOMMODATED[_i].has};
    struct optics_look got;

    ck_assert_int_eq(
        optics_look_through(ACCOMMODATED[_i].missing, eye, &got), OPTICS_OK);
    ck_assert_msg(got.accommodated == ACCOMMODATED[_i].uses &&
                      got.residual.m == ACCOMMODATED[_i].m &&
                      got.residual.j0 == 0.5,
        "%s: used %g, left %g", ACCOMMODATED[_i].why, got.accommodated,
        got.residual.m);
}
END_TEST

/* New -2.25 -0.75 x 180 through the old -2.00 -0.75 x 10, by hand: the
 * difference's M is -0.25, J0 0.375 (1 - cos 20) = 0.022615, J45
 * -0.375 sin 20 = -0.128258; b^2 = 0.0794615. */
START_TEST(the_new_eye_through_the_old_glasses)
{
    struct optics_power now = {-2.25, -0.75, 180}, old = {-2, -0.75, 10};
    struct optics_vector missing =
        optics_vector_difference(optics_vector_of(now), optics_vector_of(old));
    struct optics_look got;

    ck_assert_int_eq(optics_look_through(
                         missing, (struct optics_look_eye){4, -0.1, 0}, &got),
        OPTICS_OK);
    ck_assert_double_eq_tol(got.relative_mar, 1.0794615, 1e-6);
    ck_assert_double_eq_tol(got.logmar, -0.1 + log10(1.0794615), 1e-6);
    /* Meridians -0.25 -+ 0.130236: 4 mm * 0.380236 D * 3.437747. */
    ck_assert_double_eq_tol(got.ellipse.major_arcmin, 5.22864, 1e-4);
    ck_assert_double_eq_tol(got.ellipse.minor_arcmin, 1.64686, 1e-4);
}
END_TEST

START_TEST(senseless_eyes_are_named)
{
    struct optics_vector v = {1, 0, 0};
    struct optics_look got;
    double mar = 7;

    ck_assert_int_eq(
        optics_look_through(v, (struct optics_look_eye){0, 0, 0}, &got),
        OPTICS_BAD_PUPIL_MM);
    ck_assert_int_eq(
        optics_look_through(v, (struct optics_look_eye){4, 6, 0}, &got),
        OPTICS_BAD_BEST_LOGMAR);
    ck_assert_int_eq(
        optics_look_through(v, (struct optics_look_eye){4, 0, -1}, &got),
        OPTICS_BAD_ACCOMMODATION);
    ck_assert_int_eq(optics_look_mar(v, 30, &mar), OPTICS_BAD_PUPIL_MM);
    ck_assert(mar == 7);
}
END_TEST

static void expect_sound(double x)
{
    if (!isfinite(x) || (x == 0 && signbit(x)))
        ck_abort_msg("%g came out", x);
}

static struct optics_vector random_vector(struct random *r)
{
    return (struct optics_vector){
        random_in(r, -8, 8), random_in(r, -3, 3), random_in(r, -3, 3)};
}

static struct optics_vector scaled(struct optics_vector v, double k)
{
    return (struct optics_vector){v.m * k, v.j0 * k, v.j45 * k};
}

/* Along a line away from the right lens, and as the pupil opens, everything
 * that stands for retinal defocus grows; with accommodation it can only
 * shrink.  A million errors. */
START_TEST(more_defocus_is_never_clearer)
{
    struct random r = {4};

    for (int i = 0; i < MILLION; i++) {
        struct optics_vector v = random_vector(&r);
        double pupil = random_in(&r, 1, 8), more = random_in(&r, 1.001, 2);
        double can = random_in(&r, 0, 4);
        struct optics_look a, further, wider, young;

        optics_look_through(v, (struct optics_look_eye){pupil, 0, 0}, &a);
        optics_look_through(
            scaled(v, more), (struct optics_look_eye){pupil, 0, 0}, &further);
        optics_look_through(
            v, (struct optics_look_eye){pupil * more, 0, 0}, &wider);
        optics_look_through(v, (struct optics_look_eye){pupil, 0, can}, &young);
        if (!(further.relative_mar > a.relative_mar &&
                wider.relative_mar > a.relative_mar &&
                young.relative_mar <= a.relative_mar &&
                further.logmar >= a.logmar && wider.logmar >= a.logmar))
            ck_abort_msg("sight: %g %g %g", v.m, v.j0, v.j45);
        if (!(further.ellipse.major_arcmin > a.ellipse.major_arcmin &&
                further.ellipse.minor_arcmin >= a.ellipse.minor_arcmin &&
                wider.ellipse.major_arcmin > a.ellipse.major_arcmin &&
                wider.ellipse.minor_arcmin >= a.ellipse.minor_arcmin))
            ck_abort_msg("ellipse: %g %g %g", v.m, v.j0, v.j45);
        expect_sound(young.accommodated);
        expect_sound(young.residual.m);
        expect_sound(young.logmar);
        expect_sound(young.ellipse.minor_arcmin);
    }
}
END_TEST

/* More sphere on top of an error of the same sign blurs every meridian more. */
START_TEST(more_sphere_of_the_same_sign_blurs_every_meridian_more)
{
    struct random r = {5};

    for (int i = 0; i < MILLION; i++) {
        double sign = random_below(&r, 2) ? 1 : -1;
        struct optics_power p = {sign * random_in(&r, 0, 5),
            sign * random_in(&r, 0, 3), random_in(&r, 0.001, 180)};
        struct optics_ellipse a, b;

        optics_blur_ellipse(p, 4, &a);
        p.sph += sign * random_in(&r, 0.001, 2);
        optics_blur_ellipse(p, 4, &b);
        if (!(b.major_arcmin > a.major_arcmin &&
                b.minor_arcmin > a.minor_arcmin))
            ck_abort_msg("%g %g", p.sph, p.cyl);
    }
}
END_TEST

/* Draws into picture; the n that holds it, rings more when asked. */
static int draw(struct optics_ellipse e, double arcmin_per_pixel, int rings)
{
    struct optics_spread_grid g = {arcmin_per_pixel, 0};

    ck_assert_int_eq(optics_spread_size(e, arcmin_per_pixel, &g.n), OPTICS_OK);
    g.n += 2 * rings;
    ck_assert_int_eq(optics_spread_draw(e, g, picture), OPTICS_OK);
    return g.n;
}

struct moments {
    double sum, x, y, xx, yy, xy;
};

static struct moments moments_of(int n)
{
    struct moments m = {0};

    for (int i = 0; i < n * n; i++) {
        int column = i % n, row = i / n, half = n / 2;
        double x = column - half, y = half - row, w = picture[i];

        expect_sound(w);
        ck_assert(w >= 0);
        m.sum += w;
        m.x += w * x;
        m.y += w * y;
        m.xx += w * x * x;
        m.yy += w * y * y;
        m.xy += w * x * y;
    }
    return m;
}

/* Any error, pupil and pixel: all the light is there, in the middle of the
 * picture, and as much of it the other way round. */
START_TEST(a_point_keeps_its_light)
{
    struct random r = {6};

    for (int i = 0; i < 3000; i++) {
        struct optics_power p = {random_in(&r, -3, 3), random_in(&r, -2, 2),
            random_in(&r, 0.001, 180)};
        int n = draw(ellipse_of(p, random_in(&r, 1, 8)), random_in(&r, 1.5, 6),
            random_below(&r, 2));
        struct moments m = moments_of(n);

        ck_assert_double_eq_tol(m.sum, 1, 1e-9);
        ck_assert_double_eq_tol(m.x, 0, 1e-9);
        ck_assert_double_eq_tol(m.y, 0, 1e-9);
        for (int k = 0; k < n * n / 2; k++)
            ck_assert_double_eq_tol(picture[k], picture[n * n - 1 - k], 1e-9);
    }
}
END_TEST

/* An even ellipse's second moments are (major / 4)^2 and (minor / 4)^2, turned
 * by its axis; each pixel adds a twelfth, on the average of many. */
START_TEST(a_points_second_moments_are_the_ellipses)
{
    struct random r = {7};

    for (int i = 0; i < 200; i++) {
        struct optics_power p = {random_in(&r, 1, 3), random_in(&r, -0.5, 0.5),
            random_in(&r, 0.001, 180)};
        struct optics_ellipse e = ellipse_of(p, 5);
        double app = e.major_arcmin / random_in(&r, 20, 60);
        double a = pow(e.major_arcmin / app / 4, 2);
        double b = pow(e.minor_arcmin / app / 4, 2), s, c;
        struct moments m = moments_of(draw(e, app, 0));

        optics_sincos_deg(2 * e.major_axis, &s, &c);
        ck_assert_double_eq_tol(
            m.xx, (a + b) / 2 + (a - b) / 2 * c + 1 / 12.0, 0.03);
        ck_assert_double_eq_tol(
            m.yy, (a + b) / 2 - (a - b) / 2 * c + 1 / 12.0, 0.03);
        ck_assert_double_eq_tol(m.xy, (a - b) / 2 * s, 0.03);
    }
}
END_TEST

/* A quarter turn of the axis turns the picture, a mirrored one mirrors it. */
START_TEST(the_picture_turns_with_the_axis)
{
    struct optics_ellipse e = {31, 12, 25}, f;
    static double first[OPTICS_SPREAD_MAX * OPTICS_SPREAD_MAX];
    int n = draw(e, 1, 0);

    for (int i = 0; i < n * n; i++)
        first[i] = picture[i];
    f = e;
    f.major_axis += 90;
    ck_assert_int_eq(draw(f, 1, 0), n);
    for (int y = 0; y < n; y++)
        for (int x = 0; x < n; x++)
            ck_assert_double_eq_tol(
                picture[(n - 1 - x) * n + y], first[y * n + x], 1e-12);
    f = optics_spread_mirrored(e);
    ck_assert_double_eq(f.major_axis, 155);
    ck_assert_int_eq(draw(f, 1, 0), n);
    for (int y = 0; y < n; y++)
        for (int x = 0; x < n; x++)
            ck_assert_double_eq_tol(
                picture[y * n + n - 1 - x], first[y * n + x], 1e-12);
}
END_TEST

/* Axis 45 goes up to the right: the light above the middle lies to its right.
 */
START_TEST(an_axis_is_drawn_anticlockwise_from_the_right)
{
    struct optics_ellipse e = {20, 0, 45};
    int n = draw(e, 1, 0);

    ck_assert_double_gt(picture[n / 2 * n - n + n / 2 + 1], 0.01);
    ck_assert(picture[n / 2 * n - n + n / 2 - 1] == 0);
    ck_assert_double_gt(moments_of(n).xy, 0);
}
END_TEST

/* By hand: a disc 3 pixels wide reaches half of the four pixels at its sides
 * and is 9 pi / 4 = 7.069 large, so the middle is 1 / 7.069. */
START_TEST(a_disc_is_even_in_the_middle)
{
    struct optics_ellipse e = {3, 3, 0};

    ck_assert_int_eq(draw(e, 1, 0), 3);
    ck_assert_double_eq_tol(picture[4], 4 / (9 * M_PI), 1e-12);
    ck_assert_double_eq_tol(picture[1], picture[3], 1e-12);
    ck_assert_double_lt(picture[0], picture[1]);
}
END_TEST

/* A line along 180, 8 pixels: three whole ones to each side and half of the
 * next; the shares of a line lit as an ellipse's shadow, by hand from
 * (asin u + u sqrt(1 - u^2)) / pi at u = 1/8 for the middle one. */
START_TEST(a_line_is_one_pixel_wide)
{
    struct optics_ellipse e = {8, 0, 180};
    int n = draw(e, 1, 0);
    double u = 0.125;

    ck_assert_int_eq(n, 9);
    for (int i = 0; i < n * n; i++)
        ck_assert(i / n == 4 || picture[i] == 0);
    ck_assert_double_eq_tol(
        picture[4 * n + 4], 2 * (asin(u) + u * sqrt(1 - u * u)) / M_PI, 1e-6);
}
END_TEST

START_TEST(less_than_a_pixel_is_a_dot)
{
    struct optics_ellipse dot = {0.99, 0.5, 30}, none = {0, 0, 0},
                          pixel = {1, 1, 0};

    ck_assert_int_eq(draw(dot, 1, 1), 3);
    for (int i = 0; i < 9; i++)
        ck_assert(picture[i] == (i == 4 ? 1 : 0));
    ck_assert_int_eq(draw(none, 1, 0), 1);
    ck_assert(picture[0] == 1);
    ck_assert_int_eq(draw(pixel, 1, 0), 1);
    ck_assert_double_eq(picture[0], 1);
}
END_TEST

START_TEST(a_disc_has_no_other_side)
{
    struct optics_ellipse disc = {5, 5, 0}, upright = {5, 2, 180};

    ck_assert_double_eq(optics_spread_mirrored(disc).major_axis, 0);
    ck_assert_double_eq(optics_spread_mirrored(upright).major_axis, 180);
}
END_TEST

static const struct {
    const char *why;
    struct optics_spread_grid grid;
    enum optics_fault fault;
} GRIDS[] = {
    {"31 pixels wide", {1, 31}, OPTICS_OK},
    {"with a border", {1, 33}, OPTICS_OK},
    {"no room", {1, 29}, OPTICS_BAD_N_SMALL},
    {"no middle", {1, 32}, OPTICS_BAD_N_EVEN},
    {"nothing to draw on", {1, 0}, OPTICS_BAD_N},
    {"a picture too large", {1, 131}, OPTICS_BAD_N},
    {"129 pixels wide", {31 / 129.0, 129}, OPTICS_OK},
    {"131", {31 / 131.0, 129}, OPTICS_BAD_FINE},
    {"no pixel", {0, 31}, OPTICS_BAD_ARCMIN_PER_PIXEL},
    {"not a number", {NAN, 31}, OPTICS_BAD_ARCMIN_PER_PIXEL},
};

START_TEST(a_picture_must_hold_the_blur)
{
    struct optics_ellipse e = {31, 31, 0};
    enum optics_fault got = optics_spread_draw(e, GRIDS[_i].grid, picture);

    ck_assert_msg(
        got == GRIDS[_i].fault, "%s: %s", GRIDS[_i].why, optics_fault_why(got));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("sight");
    TCase *tc = tcase_create("sight");
    SRunner *sr;
    int failed;

    suite_add_tcase(s, tc);
    tcase_set_timeout(tc, 120);
    tcase_add_loop_test(
        tc, a_wider_pupil_weighs_like_a_greater_error, 0, ROWS(GROWTH));
    tcase_add_test(tc, large_errors_agree_with_another_rule);
    tcase_add_loop_test(
        tc, an_eye_makes_up_for_missing_plus, 0, ROWS(ACCOMMODATED));
    tcase_add_test(tc, the_new_eye_through_the_old_glasses);
    tcase_add_test(tc, senseless_eyes_are_named);
    tcase_add_test(tc, more_defocus_is_never_clearer);
    tcase_add_test(tc, more_sphere_of_the_same_sign_blurs_every_meridian_more);
    tcase_add_test(tc, a_point_keeps_its_light);
    tcase_add_test(tc, a_points_second_moments_are_the_ellipses);
    tcase_add_test(tc, the_picture_turns_with_the_axis);
    tcase_add_test(tc, an_axis_is_drawn_anticlockwise_from_the_right);
    tcase_add_test(tc, a_disc_is_even_in_the_middle);
    tcase_add_test(tc, a_line_is_one_pixel_wide);
    tcase_add_test(tc, less_than_a_pixel_is_a_dot);
    tcase_add_test(tc, a_disc_has_no_other_side);
    tcase_add_loop_test(tc, a_picture_must_hold_the_blur, 0, ROWS(GRIDS));
    sr = srunner_create(s);
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
