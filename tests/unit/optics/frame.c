#include <math.h>

#include "suites.h"

#include "optics/frame.h"
#include "optics/solve.h"

/* Frame PD 70, eyes 60, ED 56 (forum archive t-1795): 5 mm each, 56 + 10 + 1.
 * Total decentration, 10 mm a lens, would give 77. */
START_TEST(a_blank_needs_twice_the_decentration_of_one_lens)
{
    struct optics_blank got;

    ck_assert_int_eq(
        optics_blank_size((struct optics_boxing){52, 18, 56, 60, 1}, &got),
        OPTICS_OK);
    ck_assert_double_eq(got.decentration_each_mm, 5);
    ck_assert_double_eq(got.minimum_blank_mm, 67);
}
END_TEST

/* Eyes wider than the frame decentre outwards, and cost as much blank. */
START_TEST(outward_decentration_costs_the_same)
{
    struct optics_blank in, out, none;

    ck_assert_int_eq(
        optics_blank_size((struct optics_boxing){50, 18, 55, 64, 2}, &in),
        OPTICS_OK);
    ck_assert_int_eq(
        optics_blank_size((struct optics_boxing){50, 18, 55, 72, 2}, &out),
        OPTICS_OK);
    ck_assert_int_eq(
        optics_blank_size((struct optics_boxing){50, 18, 50, 68, 0}, &none),
        OPTICS_OK);
    ck_assert_double_eq(in.decentration_each_mm, 2);
    ck_assert_double_eq(out.decentration_each_mm, -2);
    ck_assert_double_eq(in.minimum_blank_mm, out.minimum_blank_mm);
    ck_assert(none.decentration_each_mm == 0 && none.minimum_blank_mm == 50);
}
END_TEST

/* A flat surface has no sag; a hemisphere's is its radius: 500 (n - 1) / F is
 * y for n 1.5, F 20 D, y 25 mm. */
START_TEST(sag_from_flat_to_hemisphere)
{
    struct optics_sag got;

    ck_assert_int_eq(optics_sag(0, 1.5, 70, &got), OPTICS_OK);
    ck_assert(got.radius_mm == 0 && got.sag_mm == 0 && got.sag_approx_mm == 0);
    ck_assert(!signbit(got.sag_mm));
    ck_assert_int_eq(optics_sag(20, 1.5, 50, &got), OPTICS_OK);
    ck_assert_double_eq_tol(got.radius_mm, 25, 1e-12);
    ck_assert_double_eq_tol(got.sag_mm, 25, 1e-6);
    ck_assert_int_eq(optics_sag(-20, 1.5, 50, &got), OPTICS_OK);
    ck_assert_double_eq_tol(got.sag_mm, -25, 1e-6);
    ck_assert_int_eq(optics_sag(20, 1.5, 50.001, &got), OPTICS_BAD_WIDE);
}
END_TEST

/* Afocal with parallel flat sides: the edge is the centre. */
START_TEST(a_flat_plate_is_as_thick_at_its_edge)
{
    double edge_mm, back;

    ck_assert_int_eq(
        optics_edge_thickness(
            (struct optics_blank_lens){0, 0, 1.5, 60}, 2, &edge_mm, &back),
        OPTICS_OK);
    ck_assert(edge_mm == 2 && back == 0);
}
END_TEST

START_TEST(flat_sides_have_no_power)
{
    double got;

    ck_assert_int_eq(
        optics_nominal_power(1.5, INFINITY, INFINITY, &got), OPTICS_OK);
    ck_assert(got == 0 && !signbit(got));
    ck_assert_int_eq(optics_nominal_power(1.5, 0.1, -0.1, &got), OPTICS_OK);
    ck_assert(got == 0 && !signbit(got));
}
END_TEST

static double cube(double x, const void *of)
{
    return x * x * x - *(const double *)of;
}

/* Has no value outside 1..3. */
static double inside(double x, const void *of)
{
    return x < 1 ? -INFINITY : x > 3 ? INFINITY : x - *(const double *)of;
}

START_TEST(a_root_is_found_where_there_is_one)
{
    double wide[2] = {0, 1e4}, x = 7, of;

    for (of = 1e-9; of < 1e12; of *= 10) {
        ck_assert(optics_solve(cube, &of, wide, &x));
        ck_assert_double_eq_tol(x, cbrt(of), 1e-4 + 1e-9 * x);
    }
    of = 0;
    ck_assert(optics_solve(cube, &of, wide, &x) && x == 0);
    of = 2.5;
    ck_assert(optics_solve(inside, &of, wide, &x));
    ck_assert_double_eq_tol(x, 2.5, 1e-9);
    x = 7;
    of = 1e13;
    ck_assert(!optics_solve(cube, &of, wide, &x));
    of = -1;
    ck_assert(!optics_solve(cube, &of, wide, &x));
    of = 0.5; /* would change sign where there is no value */
    ck_assert(!optics_solve(inside, &of, wide, &x));
    of = 3.5; /* likewise */
    ck_assert(!optics_solve(inside, &of, wide, &x));
    ck_assert(x == 7);
}
END_TEST

START_TEST(senseless_frames_are_named)
{
    struct optics_boxing frame = {52, 18, 56, 60, 1}, bad = frame;
    struct optics_blank blank = {.frame_pd_mm = 7};

    bad.a_mm = NAN;
    ck_assert_int_eq(optics_blank_size(bad, &blank), OPTICS_BAD_A_MM);
    bad = frame;
    bad.allowance_mm = -1;
    ck_assert_int_eq(optics_blank_size(bad, &blank), OPTICS_BAD_ALLOWANCE_MM);
    bad = frame;
    bad.ed_mm = 51.9;
    ck_assert_int_eq(optics_blank_size(bad, &blank), OPTICS_BAD_ED_SMALL);
    ck_assert(blank.frame_pd_mm == 7);
}
END_TEST

START_TEST(senseless_lenses_are_named)
{
    struct optics_blank_lens lens = {4, 6, 1.5, 60}, bad = lens;
    double edge = 7, back = 7, got = 7;

    bad.index = 1;
    ck_assert_int_eq(
        optics_edge_thickness(bad, 3, &edge, &back), OPTICS_BAD_INDEX);
    ck_assert_int_eq(
        optics_edge_thickness(lens, -1, &edge, &back), OPTICS_BAD_CENTRE_MM);
    bad = (struct optics_blank_lens){0, 50, 1.5, 10};
    ck_assert_int_eq(
        optics_edge_thickness(bad, 30, &edge, &back), OPTICS_BAD_FRONT_FOCAL);
    bad = (struct optics_blank_lens){0, 20, 1.5, 60};
    ck_assert_int_eq(
        optics_edge_thickness(bad, 3, &edge, &back), OPTICS_BAD_WIDE);
    bad = (struct optics_blank_lens){-20, 0, 1.5, 60};
    ck_assert_int_eq(
        optics_edge_thickness(bad, 3, &edge, &back), OPTICS_BAD_WIDE);
    ck_assert_int_eq(
        optics_centre_thickness(lens, 21, &got), OPTICS_BAD_MIN_EDGE_MM);
    bad.index = 9;
    ck_assert_int_eq(optics_centre_thickness(bad, 1, &got), OPTICS_BAD_INDEX);
    bad = (struct optics_blank_lens){-4, 2, 1.5, 60};
    ck_assert_int_eq(optics_centre_thickness(bad, 1, &got), OPTICS_BAD_THIN);
    bad = (struct optics_blank_lens){18, 0, 1.5, 60};
    ck_assert_int_eq(optics_centre_thickness(bad, 1, &got), OPTICS_BAD_WIDE);
    /* The back would have to be steeper than its sphere is wide. */
    bad = (struct optics_blank_lens){0, 15, 1.5, 66};
    ck_assert_int_eq(optics_centre_thickness(bad, 20, &got), OPTICS_BAD_WIDE);
    ck_assert_int_eq(
        optics_sag(1, 0.9, 60, &(struct optics_sag){0}), OPTICS_BAD_INDEX);
    ck_assert(edge == 7 && back == 7 && got == 7);
}
END_TEST

START_TEST(senseless_surfaces_are_named)
{
    double got = 7;

    ck_assert_int_eq(optics_nominal_power(0.9, 1, 1, &got), OPTICS_BAD_INDEX);
    ck_assert_int_eq(
        optics_nominal_power(1.5, 0, 1, &got), OPTICS_BAD_FRONT_RADIUS_M);
    ck_assert_int_eq(
        optics_nominal_power(1.5, 1, -0.0009, &got), OPTICS_BAD_BACK_RADIUS_M);
    ck_assert_int_eq(
        optics_nominal_power(1.5, 1, NAN, &got), OPTICS_BAD_BACK_RADIUS_M);
    ck_assert_int_eq(optics_segment_drop(0, 1, &got), OPTICS_BAD_B_MM);
    ck_assert_int_eq(
        optics_segment_drop(30, 30.1, &got), OPTICS_BAD_SEGMENT_HIGH);
    ck_assert_int_eq(optics_edge_of_curvatures(2, 0, 3, 30, &got),
        OPTICS_BAD_FRONT_CURVATURE);
    ck_assert_int_eq(optics_edge_of_curvatures(0.04, 0, 3, 25.1, &got),
        OPTICS_BAD_SEMI_WIDE);
    ck_assert_int_eq(optics_edge_of_curvatures(0, -0.04, 3, 25.1, &got),
        OPTICS_BAD_SEMI_WIDE);
    ck_assert(got == 7);
}
END_TEST

Suite *suite_frame(void)
{
    TCase *tc;
    Suite *s = suite_new("frame", &tc);

    tcase_add_test(tc, a_blank_needs_twice_the_decentration_of_one_lens);
    tcase_add_test(tc, outward_decentration_costs_the_same);
    tcase_add_test(tc, sag_from_flat_to_hemisphere);
    tcase_add_test(tc, a_flat_plate_is_as_thick_at_its_edge);
    tcase_add_test(tc, flat_sides_have_no_power);
    tcase_add_test(tc, a_root_is_found_where_there_is_one);
    tcase_add_test(tc, senseless_frames_are_named);
    tcase_add_test(tc, senseless_lenses_are_named);
    tcase_add_test(tc, senseless_surfaces_are_named);
    return s;
}
