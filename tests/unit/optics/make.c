#include <math.h>

#include "suites.h"

#include "optics/frame.h"
#include "optics/make.h"
#include "optics/outline.h"

/* Round, centred: 50 by 50, ED 50, eye at the boxed centre. */
static struct optics_make round_lens(double sph, double front)
{
    return (struct optics_make){.eye = OPTICS_RIGHT,
        .power = {sph, 0, 0},
        .front_power = front,
        .index = 1.6,
        .density = 1.3,
        .a_mm = 50,
        .b_mm = 50,
        .dbl_mm = 18,
        .ed_mm = 50,
        .pd_mm = 34,
        .height_mm = 25,
        .min_centre_mm = 1.5,
        .min_edge_mm = 1,
        .allowance_mm = 2};
}

static struct optics_made made(struct optics_make lens)
{
    struct optics_made m;

    ck_assert_int_eq(optics_make_lens(&lens, &m), OPTICS_OK);
    return m;
}

/* pi s^2 (3 r - s) / 3, negative for a surface that curves the other way. */
static double cap(double curvature, double y)
{
    double s = optics_sag_of(curvature, y);

    if (curvature == 0)
        return 0;
    return acos(-1) * s * s * (3 / curvature - s) / 3;
}

/* A round spherical lens is a plate as thick as its edge, with the front's cap
 * and without the back's: closed forms for edge, centre and volume. */
static const struct {
    double sph, front, centre_mm; /* the centre asked for, 0: by the edge */
} ROUND[] = {{-6, 3, 1.5}, {-2, 4, 1.5}, {4, 7, 0}, {8, 10, 0}, {0, 0, 1.5},
    {-10, 0, 1.5}, {2, 0, 0}};

START_TEST(a_round_lens_is_a_plate_and_two_caps)
{
    struct optics_made m = made(round_lens(ROUND[_i].sph, ROUND[_i].front));
    struct optics_blank_lens lens = {ROUND[_i].sph, ROUND[_i].front, 1.6, 50};
    double edge_mm, back, want_mm3, pi = acos(-1);
    double centre_mm = ROUND[_i].centre_mm;

    if (centre_mm == 0)
        ck_assert_int_eq(
            optics_centre_thickness(lens, 1, &centre_mm), OPTICS_OK);
    ck_assert_double_eq_tol(m.centre_mm, centre_mm, 1e-9);
    ck_assert_int_eq(
        optics_edge_thickness(lens, centre_mm, &edge_mm, &back), OPTICS_OK);
    ck_assert_double_eq_tol(m.thinnest.mm, edge_mm, 1e-9);
    ck_assert_double_eq_tol(m.thickest.mm, edge_mm, 1e-9);
    for (int i = 0; i < 4; i++)
        ck_assert_double_eq_tol(m.meridians[i].mm, edge_mm, 1e-9);
    want_mm3 = pi * 625 * edge_mm + cap(ROUND[_i].front / 600, 25) -
               cap(-back / 600, 25);
    ck_assert_double_eq_tol(m.volume_mm3, want_mm3, 1e-5 * want_mm3);
    ck_assert_double_eq_tol(m.weight_g, m.volume_mm3 / 1000 * 1.3, 1e-9);
    ck_assert_double_eq_tol(m.least.mm, fmin(m.centre_mm, edge_mm), 1e-9);
    ck_assert_double_eq(m.least_blank_mm, 52);
    ck_assert_double_eq_tol(m.shape_blank_mm, 52, 1e-9);
    ck_assert(!m.by_decentration);
}
END_TEST

START_TEST(a_centred_left_lens_has_no_minus_zero)
{
    struct optics_make lens = round_lens(-2, 4);
    struct optics_made m;

    lens.eye = OPTICS_LEFT;
    m = made(lens);
    ck_assert(!signbit(m.decentration.in_mm) && !signbit(m.least.x_mm));
    for (int i = 0; i < 4; i++)
        ck_assert(m.meridians[i].x_mm != 0 || !signbit(m.meridians[i].x_mm));
}
END_TEST

/* In the cylinder's two meridians the lens is a sphere's: -1.00 -3.00 x 180
 * has -1.00 sideways and -4.00 upwards. */
START_TEST(principal_meridians_are_those_of_spheres)
{
    struct optics_make lens = round_lens(-1, 4);
    struct optics_made m;
    double weak, strong, back;

    lens.power = (struct optics_power){-1, -3, 180};
    m = made(lens);
    ck_assert_int_eq(
        optics_edge_thickness((struct optics_blank_lens){-1, 4, 1.6, 50},
            m.centre_mm, &weak, &back),
        OPTICS_OK);
    ck_assert_int_eq(
        optics_edge_thickness((struct optics_blank_lens){-4, 4, 1.6, 50},
            m.centre_mm, &strong, &back),
        OPTICS_OK);
    ck_assert_double_eq_tol(m.meridians[0].mm, weak, 1e-9);
    ck_assert_double_eq_tol(m.meridians[1].mm, strong, 1e-9);
    ck_assert_double_eq_tol(m.meridians[0].x_mm, -25, 1e-9);
    ck_assert_double_eq_tol(m.meridians[1].y_mm, -25, 1e-9);
    ck_assert_double_eq_tol(m.meridians[2].mm, weak, 1e-9);
    ck_assert_double_eq_tol(m.meridians[3].mm, strong, 1e-9);
    ck_assert_double_eq_tol(m.thinnest.mm, weak, 1e-6);
    ck_assert_double_eq_tol(m.thickest.mm, strong, 1e-6);
}
END_TEST

/* The other form of the same lens is the same lens, to the fourth order. */
START_TEST(both_forms_give_one_lens)
{
    struct optics_make lens = round_lens(-1, 5);
    struct optics_made a, b;

    lens.power = (struct optics_power){-1, -3, 30};
    a = made(lens);
    lens.power = (struct optics_power){-4, 3, 120};
    b = made(lens);
    ck_assert_double_eq_tol(a.thickest.mm, b.thickest.mm, 1e-9);
    ck_assert_double_eq_tol(a.thinnest.mm, b.thinnest.mm, 1e-9);
    ck_assert_double_eq_tol(a.volume_mm3, b.volume_mm3, 0.002 * a.volume_mm3);
}
END_TEST

/* 5 mm in and 3 mm up: ED 50 + 2 sqrt(34) + 2, and in the round shape that is
 * also the way to the farthest point.  -2.00: 1.00 base out, 0.60 base down
 * at the boxed centre. */
START_TEST(decentration_costs_blank_and_makes_prism)
{
    struct optics_make lens = round_lens(-2, 4);
    struct optics_made m;

    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++) {
        lens.eye = (enum optics_eye)eye;
        lens.pd_mm = 29;
        lens.height_mm = 28;
        m = made(lens);
        ck_assert_double_eq_tol(m.decentration.in_mm, 5, 1e-12);
        ck_assert_double_eq_tol(m.decentration.up_mm, 3, 1e-12);
        ck_assert_double_eq_tol(m.least_blank_mm, 52 + 2 * sqrt(34), 1e-9);
        ck_assert_double_eq_tol(m.shape_blank_mm, m.least_blank_mm, 0.01);
        ck_assert_double_eq_tol(m.at_boxed_centre.base_in, -1, 1e-9);
        ck_assert_double_eq_tol(m.at_boxed_centre.base_up, -0.6, 1e-9);
        /* A minus lens is thickest away from its centre: outwards and down. */
        ck_assert((m.thickest.x_mm < 0) == (eye == OPTICS_RIGHT));
        ck_assert(m.thickest.y_mm < 0);
        ck_assert((m.thinnest.x_mm > 0) == (eye == OPTICS_RIGHT));
    }
}
END_TEST

/* 3 cm/m base in before the left eye, plano: a wedge of 3 / (100 * 0.6) = 0.05
 * a millimetre; 2.5 mm over 50, thick side nasal (left in the picture). */
START_TEST(a_wedge_is_thick_at_its_base)
{
    struct optics_make lens = round_lens(0, 0);
    struct optics_made m;

    lens.eye = OPTICS_LEFT;
    lens.prism.base_in = 3;
    m = made(lens);
    ck_assert_double_eq_tol(m.thickest.mm - m.thinnest.mm, 2.5, 1e-6);
    ck_assert_double_eq_tol(m.thinnest.mm, 1, 1e-3);
    ck_assert_double_eq_tol(m.centre_mm, 2.25, 1e-3);
    ck_assert_double_eq_tol(m.thickest.x_mm, -25, 1e-3);
    ck_assert_double_eq_tol(m.least.mm, m.thinnest.mm, 1e-3);
    ck_assert(!m.by_decentration);
    ck_assert_double_eq_tol(m.at_boxed_centre.base_in, 3, 1e-12);
}
END_TEST

/* Before -6.00 the same wedge moves the thinnest place inwards off the
 * reference point: t = 1.5 + 0.05 x + 0.005 x^2 nearly, least at x = -5,
 * 0.125 thinner.  2 cm/m by decentration: 2 / 6 cm. */
START_TEST(prism_in_a_minus_lens_thins_it_beside_its_centre)
{
    struct optics_make lens = round_lens(-6, 3);
    struct optics_made m;

    lens.prism.base_in = 3;
    m = made(lens);
    ck_assert_double_eq(m.centre_mm, 1.5);
    ck_assert_double_eq_tol(m.least.mm, 1.375, 0.005);
    ck_assert_double_eq_tol(m.least.x_mm, -5, 0.2);
    ck_assert_double_eq_tol(m.least.y_mm, 0, 1e-3);
    ck_assert(m.by_decentration);
    ck_assert_double_eq_tol(m.optical_centre.in_mm, -5, 1e-9);
    ck_assert_double_eq_tol(m.by_decentration_blank_mm, 62, 1e-9);
}
END_TEST

/* p 2 is an ellipse, infinity the box; by hand for p 4 with a = b = 10: the
 * diagonal point is at x = 10 / 2^(1/4), so ED = 20 * 2^(1/4). */
START_TEST(an_outline_has_its_ed)
{
    struct optics_outline o;

    ck_assert_int_eq(optics_outline_of(50, 30, 50, &o), OPTICS_OK);
    ck_assert_double_eq_tol(o.p, 2, 1e-9);
    ck_assert_double_eq_tol(optics_outline_gauge(&o, 15, 12), 1, 1e-9);
    ck_assert_int_eq(
        optics_outline_of(20, 20, 20 * pow(2, 0.25), &o), OPTICS_OK);
    ck_assert_double_eq_tol(o.p, 4, 1e-9);
    ck_assert_int_eq(optics_outline_of(60, 80, 100, &o), OPTICS_OK);
    ck_assert_double_eq_tol(optics_outline_gauge(&o, 30, 40), 1, 1e-6);
    ck_assert_double_eq_tol(optics_outline_gauge(&o, -30, 0), 1, 1e-12);
    ck_assert_double_eq(optics_outline_gauge(&o, 0, 0), 0);
    ck_assert_int_eq(optics_outline_of(60, 80, 79, &o), OPTICS_BAD_ED_UNDER_B);
    ck_assert_int_eq(optics_outline_of(80, 60, 79, &o), OPTICS_BAD_ED_SMALL);
    ck_assert_int_eq(optics_outline_of(60, 80, 100.1, &o), OPTICS_BAD_ED_WIDE);
    ck_assert_int_eq(optics_outline_of(60, 0, 100, &o), OPTICS_BAD_B_MM);
}
END_TEST

START_TEST(densities_hold_where_they_are_usual)
{
    double got = 7;

    ck_assert_int_eq(optics_density(OPTICS_RESIN, 1.498, &got), OPTICS_OK);
    ck_assert_double_eq(got, 1.32);
    ck_assert_int_eq(
        optics_density(OPTICS_POLYURETHANE, 1.67, &got), OPTICS_OK);
    ck_assert_double_eq(got, 1.35);
    ck_assert_int_eq(
        optics_density(OPTICS_MINERAL, 1.8, &got), OPTICS_BAD_NO_DENSITY);
    ck_assert_int_eq(
        optics_density(OPTICS_POLYCARBONATE, 1.5, &got), OPTICS_BAD_NO_DENSITY);
    ck_assert_double_eq(got, 1.35);
}
END_TEST

START_TEST(the_least_fitting_height_is_corridor_and_near_zone)
{
    double got = 7;

    ck_assert_int_eq(optics_least_fitting_height(14, 3, &got), OPTICS_OK);
    ck_assert_double_eq(got, 17);
    ck_assert_int_eq(
        optics_least_fitting_height(0, 3, &got), OPTICS_BAD_CORRIDOR_MM);
    ck_assert_int_eq(
        optics_least_fitting_height(14, -1, &got), OPTICS_BAD_NEAR_ZONE_MM);
    ck_assert_double_eq(got, 17);
}
END_TEST

static void ck_refused(struct optics_make lens, enum optics_fault want)
{
    struct optics_made m = {.centre_mm = 7};

    ck_assert_int_eq(optics_make_lens(&lens, &m), want);
    ck_assert(m.centre_mm == 7);
}

START_TEST(senseless_lenses_are_named)
{
    struct optics_make good = round_lens(-2, 4), bad;

#define BAD(member, value, fault)                                              \
    bad = good;                                                                \
    bad.member = value;                                                        \
    ck_refused(bad, fault)
    BAD(power.sph, NAN, OPTICS_BAD_SPHERE);
    BAD(prism.base_up, INFINITY, OPTICS_BAD_BASE_UP);
    BAD(index, 1, OPTICS_BAD_INDEX);
    BAD(density, 0, OPTICS_BAD_DENSITY);
    BAD(dbl_mm, -1, OPTICS_BAD_DBL_MM);
    BAD(min_centre_mm, 21, OPTICS_BAD_MIN_CENTRE_MM);
    BAD(min_edge_mm, -1, OPTICS_BAD_MIN_EDGE_MM);
    BAD(allowance_mm, NAN, OPTICS_BAD_ALLOWANCE_MM);
    BAD(ed_mm, 71, OPTICS_BAD_ED_WIDE);
    BAD(ed_mm, 49, OPTICS_BAD_ED_SMALL);
    BAD(pd_mm, 9, OPTICS_BAD_OUTSIDE_PD);
    BAD(pd_mm, 60, OPTICS_BAD_OUTSIDE_PD);
    BAD(height_mm, 50, OPTICS_BAD_OUTSIDE_HEIGHT);
    BAD(height_mm, 0, OPTICS_BAD_OUTSIDE_HEIGHT);
    BAD(front_power, 25, OPTICS_BAD_TOO_STEEP); /* radius 24 */
    BAD(power.sph, -30, OPTICS_BAD_TOO_STEEP);
    BAD(power.sph, 29, OPTICS_BAD_TOO_STEEP); /* back convex */
    /* Across: a turned torus narrower than the lens. */
    bad = good;
    bad.front_power = 20;
    bad.power = (struct optics_power){-4, -0.5, 45};
    bad.ed_mm = 62;
    bad.pd_mm = 45;
    bad.height_mm = 10;
    ck_refused(bad, OPTICS_BAD_TOO_STEEP);
    bad = good; /* hollow along the axis down to the other centre */
    bad.front_power = 0;
    bad.power = (struct optics_power){-23, -20, 180};
    ck_refused(bad, OPTICS_BAD_TOO_STEEP);
    bad.power = (struct optics_power){-2, -28, 180}; /* radius 20 across */
    ck_refused(bad, OPTICS_BAD_TOO_STEEP);
    bad = good; /* the front's focal point inside the glass */
    bad.front_power = 100;
    bad.min_centre_mm = 20;
    ck_refused(bad, OPTICS_BAD_TOO_STEEP);
    /* A prism that no 100 mm of glass can hold: 1000 / 60 = 17 a millimetre. */
    BAD(prism.base_in, 1000, OPTICS_BAD_TOO_STEEP);
#undef BAD
}
END_TEST

Suite *suite_make(void)
{
    TCase *tc;
    Suite *s = suite_new("make", &tc);

    tcase_add_loop_test(
        tc, a_round_lens_is_a_plate_and_two_caps, 0, ROWS(ROUND));
    tcase_add_test(tc, a_centred_left_lens_has_no_minus_zero);
    tcase_add_test(tc, principal_meridians_are_those_of_spheres);
    tcase_add_test(tc, both_forms_give_one_lens);
    tcase_add_test(tc, decentration_costs_blank_and_makes_prism);
    tcase_add_test(tc, a_wedge_is_thick_at_its_base);
    tcase_add_test(tc, prism_in_a_minus_lens_thins_it_beside_its_centre);
    tcase_add_test(tc, an_outline_has_its_ed);
    tcase_add_test(tc, densities_hold_where_they_are_usual);
    tcase_add_test(tc, the_least_fitting_height_is_corridor_and_near_zone);
    tcase_add_test(tc, senseless_lenses_are_named);
    return s;
}
