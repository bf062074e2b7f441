/* The rows of tests/data/optics on frames and tolerances; as in cases.c. */
#include <math.h>
#include <string.h>

#include "case_file.h"
#include "suites.h"

#include "optics/frame.h"
#include "optics/tolerance.h"

#define RIGHT(call) ck_assert_int_eq((call), OPTICS_OK)

static void blank_size(struct case_row *c)
{
    struct optics_blank got;

    RIGHT(optics_blank_size(
        (struct optics_boxing){case_number(c, "a_mm"), case_number(c, "dbl_mm"),
            case_number(c, "ed_mm"), case_number(c, "pd_mm"),
            case_number(c, "allowance_mm")},
        &got));
    want_number(c, "frame_pd_mm", got.frame_pd_mm);
    want_number(c, "decentration_each_mm", got.decentration_each_mm);
    want_number(c, "minimum_blank_mm", got.minimum_blank_mm);
}

static void sag(struct case_row *c)
{
    struct optics_sag got;

    RIGHT(optics_sag(case_number(c, "surface_power"), case_number(c, "index"),
        case_number(c, "diameter_mm"), &got));
    want_number(c, "radius_mm", got.radius_mm);
    want_number(c, "sag_mm", got.sag_mm);
    want_number(c, "sag_approx_mm", got.sag_approx_mm);
}

static struct optics_blank_lens lens_in(struct case_row *c)
{
    return (struct optics_blank_lens){case_number(c, "back_vertex_power"),
        case_number(c, "front_power"), case_number(c, "index"),
        case_number(c, "diameter_mm")};
}

static void edge_thickness(struct case_row *c)
{
    double edge_mm, back;

    RIGHT(optics_edge_thickness(
        lens_in(c), case_number(c, "centre_mm"), &edge_mm, &back));
    want_number(c, "edge_mm", edge_mm);
    want_number(c, "back_power", back);
}

static void centre_thickness(struct case_row *c)
{
    double min_edge_mm = case_number(c, "min_edge_mm");
    double centre_mm, edge_mm, back;

    RIGHT(optics_centre_thickness(lens_in(c), min_edge_mm, &centre_mm));
    want_number(c, "centre_mm", centre_mm);
    RIGHT(optics_edge_thickness(lens_in(c), centre_mm, &edge_mm, &back));
    ck_assert_double_eq_tol(edge_mm, min_edge_mm, 1e-9);
}

static double radius_in(struct case_row *c, const char *path)
{
    return case_is_null(c, path) ? INFINITY : case_number(c, path);
}

static void nominal_power(struct case_row *c)
{
    double got;

    RIGHT(optics_nominal_power(case_number(c, "index"),
        radius_in(c, "front_radius_m"), radius_in(c, "back_radius_m"), &got));
    want_number(c, "power", got);
}

static void segment_drop(struct case_row *c)
{
    double got;

    RIGHT(optics_segment_drop(
        case_number(c, "b_mm"), case_number(c, "segment_height_mm"), &got));
    want_number(c, "segment_drop_mm", got);
}

static void edge_from_curvatures(struct case_row *c)
{
    double got;

    RIGHT(optics_edge_of_curvatures(case_number(c, "front_curvature"),
        case_number(c, "back_curvature"), case_number(c, "centre_mm"),
        case_number(c, "semi_diameter_mm"), &got));
    want_number(c, "edge_mm", got);
}

static int word_of(const char *const words[], const char *word)
{
    int i = 0;

    while (words[i] && strcmp(words[i], word) != 0)
        i++;
    ck_assert_ptr_nonnull(words[i]);
    return i;
}

static const char *own_answer(struct optics_ruling r)
{
    if (r.n == 0 || !r.rules[0].known)
        return "n/a";
    return r.rules[0].pass ? "pass" : "fail";
}

static void want_line(struct case_row *c, const char *limit,
    const char *verdict, struct optics_ruling r)
{
    if (r.n == 0)
        want_null(c, limit);
    else
        want_number(c, limit, r.rules[0].limit);
    want_text(c, verdict, own_answer(r));
}

static void tolerance_power(struct case_row *c)
{
    struct optics_power_ruling got;

    RIGHT(optics_tolerance_power(
        (enum optics_profile)word_of(OPTICS_PROFILES, case_text(c, "profile")),
        (enum optics_lens_type)word_of(
            OPTICS_LENS_TYPES, case_text(c, "lens_type")),
        case_power(c, "ordered."), case_power(c, "measured."), &got));
    want_line(c, "limit.sphere", "verdict.sphere", got.sphere);
    want_line(c, "limit.cylinder", "verdict.cylinder", got.cylinder);
    want_line(c, "limit.axis", "verdict.axis", got.axis);
}

static void tolerance_prism(struct case_row *c)
{
    struct optics_pair_errors pair = {
        case_number(c, "vertical_power"),
        case_number(c, "horizontal_power"),
        case_number(c, "vertical_imbalance"),
        case_number(c, "horizontal_imbalance"),
        case_number(c, "vertical_mm"),
        case_number(c, "horizontal_mm"),
    };
    struct optics_ruling vertical, horizontal;

    RIGHT(optics_tolerance_prism(
        (enum optics_profile)word_of(OPTICS_PROFILES, case_text(c, "profile")),
        OPTICS_SINGLE_VISION, pair, &vertical, &horizontal));
    want_text(c, "vertical.by", optics_unit_word(vertical.rules[0].unit));
    want_text(c, "vertical.verdict", own_answer(vertical));
    want_text(c, "horizontal.by", optics_unit_word(horizontal.rules[0].unit));
    want_text(c, "horizontal.verdict", own_answer(horizontal));
}

static void axis_tolerance(struct case_row *c)
{
    double got;

    RIGHT(optics_axis_tolerance(
        case_number(c, "cylinder"), case_number(c, "error"), &got));
    want_number(c, "axis_tolerance", got);
}

static const struct {
    const char *file;
    size_t rows;
    void (*run)(struct case_row *c);
} FILES[] = {
    {"09a_blank", 38, blank_size},
    {"09b_sag", 35, sag},
    {"09c_edge_thickness", 38, edge_thickness},
    {"09d_nominal_power", 20, nominal_power},
    {"09e_seg", 19, segment_drop},
    {"09f_edge_from_curvatures", 16, edge_from_curvatures},
    {"09g_plus_centre_thickness", 34, centre_thickness},
    {"10a_ansi2015_power_verdict", 90, tolerance_power},
    {"10b_ansi2015_prism_verdict", 45, tolerance_prism},
    {"10c_axis_tol_derivation", 15, axis_tolerance},
};

START_TEST(every_row_of_the_file_agrees)
{
    case_file_run(FILES[_i].file, FILES[_i].rows, FILES[_i].run);
}
END_TEST

Suite *suite_cases_lens(void)
{
    TCase *tc;
    Suite *s = suite_new("cases, lens and frame", &tc);

    tcase_add_loop_test(tc, every_row_of_the_file_agrees, 0, ROWS(FILES));
    return s;
}
