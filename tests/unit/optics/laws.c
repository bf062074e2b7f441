/* What must hold for every lens: a million made-up ones for each law. */
#include <math.h>

#include "draw.h"
#include "properties.h"

#include "optics/acuity.h"
#include "optics/angle.h"
#include "optics/cornea.h"
#include "optics/prism.h"
#include "optics/round.h"
#include "optics/vertex.h"
#include "optics/worn.h"

static void expect_same(const char *why, struct optics_power a,
    struct optics_power b, double within)
{
    double off = optics_power_distance(a, b);

    HOLDS(off <= within, "%s: %g / %g x %g is %g D from %g / %g x %g", why,
        a.sph, a.cyl, a.axis, off, b.sph, b.cyl, b.axis);
}

static bool vectors_near(
    struct optics_vector a, struct optics_vector b, double within)
{
    return fabs(a.m - b.m) <= within && fabs(a.j0 - b.j0) <= within &&
           fabs(a.j45 - b.j45) <= within;
}

/* What a record may hold, in hundredths. */
static struct optics_rx draw_rx(struct random *r)
{
    struct optics_rx rx;

    do {
        rx.sph_cd = random_below(r, 8001) - 4000;
        rx.cyl_cd = random_below(r, 4001) - 2000;
        rx.axis_cdeg = random_below(r, 18001);
        if (random_below(r, 10) == 0)
            rx.cyl_cd = 0;
        rx = optics_rx_normal(rx);
    } while (optics_rx_check(rx) != OPTICS_OK);
    return rx;
}

START_TEST(transposing_twice_is_identity)
{
    struct random r = {.state = 101};

    for (int i = 0; i < MILLION; i++) {
        struct optics_rx rx = draw_rx(&r);
        struct optics_rx minus = optics_rx_as(rx, OPTICS_MINUS_CYL);
        struct optics_rx plus = optics_rx_as(minus, OPTICS_PLUS_CYL);
        struct optics_rx back = optics_rx_as(plus, OPTICS_MINUS_CYL);

        HOLDS(back.sph_cd == minus.sph_cd && back.cyl_cd == minus.cyl_cd &&
                  back.axis_cdeg == minus.axis_cdeg && optics_rx_same(rx, plus),
            "%d %d x %d", rx.sph_cd, rx.cyl_cd, rx.axis_cdeg);
        HOLDS(minus.cyl_cd <= 0 && plus.cyl_cd >= 0 &&
                  optics_rx_check(minus) == OPTICS_OK &&
                  optics_rx_check(plus) == OPTICS_OK,
            "%d %d x %d becomes senseless", rx.sph_cd, rx.cyl_cd, rx.axis_cdeg);
        rx = optics_rx_of_power(optics_power_of_rx(minus));
        HOLDS(rx.sph_cd == minus.sph_cd && rx.cyl_cd == minus.cyl_cd &&
                  rx.axis_cdeg == minus.axis_cdeg,
            "hundredths become doubles and others: %d", rx.sph_cd);
    }
}
END_TEST

START_TEST(transposing_doubles_twice_is_identity)
{
    struct random r = {.state = 102};

    for (int i = 0; i < MILLION; i++) {
        struct optics_power p = draw_power(&r, 1000);
        struct optics_power n = optics_power_normal(p);
        enum optics_form form = n.cyl < 0 ? OPTICS_MINUS_CYL : OPTICS_PLUS_CYL;
        struct optics_power other = optics_power_as(
            p, form == OPTICS_PLUS_CYL ? OPTICS_MINUS_CYL : OPTICS_PLUS_CYL);
        struct optics_power back = optics_power_as(other, form);

        HOLDS(fabs(back.sph - n.sph) < 1e-9 && back.cyl == n.cyl &&
                  fabs(back.axis - n.axis) < 1e-9,
            "%.17g %.17g x %.17g", p.sph, p.cyl, p.axis);
        expect_same("the other form is another lens", p, other, 1e-9);
    }
}
END_TEST

START_TEST(difference_plus_old_is_new)
{
    struct random r = {.state = 103};

    for (int i = 0; i < MILLION; i++) {
        struct optics_power was = draw_power(&r, 300);
        struct optics_power is = draw_power(&r, 300);
        struct optics_power change = optics_power_change(was, is);

        expect_same("old and change", optics_power_sum(was, change), is, 1e-9);
        expect_same(
            "and the other way round", optics_power_sum(change, was), is, 1e-9);
    }
}
END_TEST

/* Also that no way round is shorter than the straight one. */
START_TEST(distance_is_a_distance)
{
    struct random r = {.state = 104};

    for (int i = 0; i < MILLION; i++) {
        struct optics_power a = draw_power(&r, 40), b = draw_power(&r, 40);
        struct optics_power c = draw_power(&r, 40);
        double ab = optics_power_distance(a, b);

        HOLDS(
            fabs(ab - optics_power_distance(b, a)) < 1e-9, "another way back");
        HOLDS(ab <= optics_power_distance(a, c) + optics_power_distance(c, b) +
                        1e-9,
            "a detour is shorter");
    }
}
END_TEST

/* Powers that a vertex distance can be asked of, away from the focal point. */
START_TEST(vertex_there_and_back_is_identity)
{
    struct random r = {.state = 105};

    for (int i = 0; i < MILLION; i++) {
        struct optics_power p = draw_power(&r, 25), there, back;
        double from = random_in(&r, 0, 30), to = random_in(&r, 0, 30);

        if (fabs(p.sph + p.cyl) > 25)
            continue;
        HOLDS(optics_vertex_move(p, from, to, &there) == OPTICS_OK &&
                  optics_vertex_move(there, to, from, &back) == OPTICS_OK,
            "%g %g x %g from %g to %g mm", p.sph, p.cyl, p.axis, from, to);
        expect_same("there and back", p, back, 1e-8);
    }
}
END_TEST

START_TEST(vector_and_matrix_agree)
{
    struct random r = {.state = 106};

    for (int i = 0; i < MILLION; i++) {
        struct optics_power p = draw_power(&r, 1000);
        struct optics_vector v = optics_vector_of(p);
        struct optics_matrix f = optics_matrix_of(p);
        double t = random_in(&r, 0, 180), s, c;

        HOLDS(vectors_near(optics_matrix_vector(f), v, 1e-9), "%g %g x %g",
            p.sph, p.cyl, p.axis);
        expect_same("from vector", p,
            optics_vector_power(v, i % 2 ? OPTICS_MINUS_CYL : OPTICS_PLUS_CYL),
            1e-9);
        /* u' F u of the unit vector along the meridian. */
        s = sin(t * M_PI / 180);
        c = cos(t * M_PI / 180);
        HOLDS(fabs(f.f11 * c * c + 2 * f.f12 * s * c + f.f22 * s * s -
                   optics_power_meridian(p, t)) < 1e-9,
            "%g %g x %g along %g", p.sph, p.cyl, p.axis, t);
    }
}
END_TEST

/* The sum by matrices is the sum by vectors. */
START_TEST(sum_by_matrix_is_sum_by_vector)
{
    struct random r = {.state = 107};

    for (int i = 0; i < MILLION; i++) {
        struct optics_power a = draw_power(&r, 300), b = draw_power(&r, 300);
        struct optics_matrix f = optics_matrix_of(a), g = optics_matrix_of(b);
        struct optics_matrix sum = {
            f.f11 + g.f11, f.f12 + g.f12, f.f22 + g.f22};

        expect_same("matrices", optics_power_sum(a, b),
            optics_vector_power(optics_matrix_vector(sum), OPTICS_MINUS_CYL),
            1e-9);
    }
}
END_TEST

START_TEST(compose_and_resolve_are_inverse)
{
    struct random r = {.state = 108};

    for (int i = 0; i < MILLION; i++) {
        enum optics_eye eye = i % 2 ? OPTICS_LEFT : OPTICS_RIGHT;
        struct optics_prism p = {
            random_in(&r, -1000, 1000), random_in(&r, -1000, 1000)};
        struct optics_prism back;
        struct optics_base base;

        if (i % 10 == 0)
            p.base_in = 0;
        base = optics_prism_compose(eye, p);
        HOLDS(base.amount >= 0 && base.angle >= 0 && base.angle < 360,
            "%g at %g", base.amount, base.angle);
        base.amount = fmin(base.amount, 1000);
        if (hypot(p.base_in, p.base_up) > 1000)
            continue;
        HOLDS(optics_prism_resolve(eye, base, &back) == OPTICS_OK &&
                  fabs(back.base_in - p.base_in) < 1e-9 &&
                  fabs(back.base_up - p.base_up) < 1e-9,
            "in %.17g, up %.17g", p.base_in, p.base_up);
    }
}
END_TEST

START_TEST(shift_and_prism_are_inverse)
{
    struct random r = {.state = 109};

    for (int i = 0; i < MILLION; i++) {
        enum optics_eye eye = i % 2 ? OPTICS_LEFT : OPTICS_RIGHT;
        struct optics_power p = draw_power(&r, 20);
        struct optics_shift shift = {
            random_in(&r, -30, 30), random_in(&r, -30, 30)};
        struct optics_shift back;
        struct optics_prism prism;

        if (fabs(p.sph) < 0.12 || fabs(p.sph + p.cyl) < 0.12)
            continue;
        HOLDS(optics_prism_of_shift(eye, p, shift, &prism) == OPTICS_OK &&
                  optics_shift_of_prism(eye, p, prism, &back) == OPTICS_OK &&
                  fabs(back.in_mm - shift.in_mm) < 1e-9 &&
                  fabs(back.up_mm - shift.up_mm) < 1e-9,
            "%g %g x %g by %g, %g", p.sph, p.cyl, p.axis, shift.in_mm,
            shift.up_mm);
    }
}
END_TEST

START_TEST(axes_stay_in_their_half_circle)
{
    struct random r = {.state = 110};

    for (int i = 0; i < MILLION; i++) {
        double a = random_in(&r, -1000, 1000), b = random_in(&r, -1000, 1000);
        double n = optics_axis_normal(a);
        double d = optics_axis_difference(a, b);

        HOLDS(n > 0 && n <= 180 && optics_axis_difference(n, a) < 2e-6,
            "axis %g becomes %g", a, n);
        HOLDS(d >= 0 && d <= 90 && d == optics_axis_difference(b, a) &&
                  fabs(d - optics_axis_difference(a + 180, b)) < 1e-9,
            "%g and %g are %g apart", a, b, d);
    }
}
END_TEST

START_TEST(scales_of_acuity_are_read_back)
{
    static const enum optics_scale SCALES[] = {OPTICS_SNELLEN_20FT,
        OPTICS_SNELLEN_6M, OPTICS_DECIMAL, OPTICS_LOGMAR, OPTICS_LETTERS_85,
        OPTICS_LETTERS_100};
    struct random r = {.state = 111};

    for (int i = 0; i < MILLION; i++) {
        enum optics_scale scale = SCALES[i % ROWS(SCALES)];
        double logmar = random_in(&r, 0, 1.69), back;

        HOLDS(optics_acuity_logmar(
                  scale, optics_acuity_on(scale, logmar), &back) == OPTICS_OK &&
                  fabs(back - logmar) < 1e-9,
            "%.17g on scale %d", logmar, (int)scale);
    }
}
END_TEST

START_TEST(radius_and_corneal_power_are_inverse)
{
    struct random r = {.state = 112};

    for (int i = 0; i < MILLION; i++) {
        double radius = random_in(&r, 3.5, 14), index = random_in(&r, 1.3, 1.4);
        double power, back;

        HOLDS(optics_cornea_power(radius, index, &power) == OPTICS_OK &&
                  optics_cornea_radius(power, index, &back) == OPTICS_OK &&
                  fabs(back - radius) < 1e-9,
            "%g mm with %g", radius, index);
    }
}
END_TEST

START_TEST(tilt_is_compensated)
{
    struct random r = {.state = 113};

    for (int i = 0; i < MILLION; i++) {
        struct optics_power wanted = draw_power(&r, 20), lens, acts;
        struct optics_tilt tilt = {random_in(&r, 1.4, 1.9),
            random_in(&r, -30, 30), i % 2 ? OPTICS_WRAP : OPTICS_PANTOSCOPIC};

        HOLDS(optics_tilt_compensate(wanted, tilt, &lens) == OPTICS_OK &&
                  optics_tilt_power(lens, tilt, &acts) == OPTICS_OK,
            "%g %g x %g tilted by %g", wanted.sph, wanted.cyl, wanted.axis,
            tilt.tilt_deg);
        expect_same("compensated", wanted, acts, 1e-9);
    }
}
END_TEST

/* No lens one step to any side is nearer than the one that was picked. */
START_TEST(orderable_lens_is_the_nearest)
{
    struct random r = {.state = 114};

    for (int i = 0; i < MILLION / 8; i++) {
        struct optics_power wanted = draw_power(&r, 12), near;
        struct optics_orderable got =
            optics_round_orderable(wanted, OPTICS_STEP_QUARTER);

        expect_same("residual and lens",
            optics_power_sum(
                got.exact, optics_vector_power(got.residual, OPTICS_MINUS_CYL)),
            wanted, 1e-9);
        for (int k = 0; k < 4; k++) {
            near = got.exact;
            near.sph += 0.25 * (random_below(&r, 5) - 2);
            near.cyl += 0.25 * (random_below(&r, 5) - 2);
            near.axis = optics_axis_normal(
                near.axis + random_below(&r, 5) - 2 + 1000 * 180);
            if (near.cyl > 0)
                continue;
            HOLDS(optics_power_distance(wanted, near) >= got.distance - 1e-9,
                "%g %g x %g: %g %g x %g is nearer", wanted.sph, wanted.cyl,
                wanted.axis, near.sph, near.cyl, near.axis);
        }
    }
}
END_TEST

Suite *suite_laws(void)
{
    TCase *tc = tcase_create("laws");
    Suite *s = suite_create("laws");

    suite_add_tcase(s, tc);
    tcase_set_timeout(tc, 120);
    tcase_add_test(tc, transposing_twice_is_identity);
    tcase_add_test(tc, transposing_doubles_twice_is_identity);
    tcase_add_test(tc, difference_plus_old_is_new);
    tcase_add_test(tc, distance_is_a_distance);
    tcase_add_test(tc, vertex_there_and_back_is_identity);
    tcase_add_test(tc, vector_and_matrix_agree);
    tcase_add_test(tc, sum_by_matrix_is_sum_by_vector);
    tcase_add_test(tc, compose_and_resolve_are_inverse);
    tcase_add_test(tc, shift_and_prism_are_inverse);
    tcase_add_test(tc, axes_stay_in_their_half_circle);
    tcase_add_test(tc, scales_of_acuity_are_read_back);
    tcase_add_test(tc, radius_and_corneal_power_are_inverse);
    tcase_add_test(tc, tilt_is_compensated);
    tcase_add_test(tc, orderable_lens_is_the_nearest);
    return s;
}
