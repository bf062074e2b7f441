/* The rows of tests/data/optics on near, both eyes and tilted lenses; as in
 * cases.c. */
#include <string.h>

#include "case_file.h"
#include "suites.h"

#include "optics/binocular.h"
#include "optics/near.h"
#include "optics/worn.h"

#define RIGHT(call) ck_assert_int_eq((call), OPTICS_OK)

static void amplitude_by_age(struct case_row *c)
{
    struct optics_amplitude got;

    RIGHT(optics_amplitude_hofstetter(case_number(c, "age_years"), &got));
    want_number(c, "minimum", got.minimum);
    want_number(c, "average", got.average);
    want_number(c, "maximum", got.maximum);
}

static void add_from_amplitude(struct case_row *c)
{
    double got;

    RIGHT(optics_add_from_amplitude(case_number(c, "distance_cm"),
        case_number(c, "amplitude"), case_number(c, "fraction"), &got));
    want_number(c, "add", got);
}

static void add_at_distance(struct case_row *c)
{
    struct optics_add_moved got;

    RIGHT(optics_add_at_distance(case_number(c, "add"),
        case_number(c, "distance_cm"), case_number(c, "new_distance_cm"),
        &got));
    want_number(c, "add_at_new_distance", got.add);
    want_number(c, "dioptric_shift", got.shift);
}

static void clear_range(struct case_row *c)
{
    struct optics_clear_range got;

    RIGHT(optics_clear_range(
        case_number(c, "add"), case_number(c, "amplitude"), &got));
    want_number(c, "far_cm", got.far_cm);
    want_number(c, "near_cm", got.near_cm);
}

static void sheard(struct case_row *c)
{
    double got;

    RIGHT(optics_sheard(
        case_number(c, "phoria"), case_number(c, "reserve"), &got));
    want_number(c, "prism", got);
}

static void percival(struct case_row *c)
{
    double got;

    RIGHT(optics_percival(
        case_number(c, "greater"), case_number(c, "lesser"), &got));
    want_number(c, "prism", got);
}

static void one_to_one(struct case_row *c)
{
    double got;

    RIGHT(optics_one_to_one(
        case_number(c, "eso"), case_number(c, "base_in_recovery"), &got));
    want_number(c, "prism", got);
}

static void ac_a(struct case_row *c)
{
    double got;

    if (strcmp(case_text(c, "method"), "calculated") == 0)
        RIGHT(optics_aca_calculated(case_number(c, "pd_cm"),
            case_number(c, "near_m"), case_number(c, "far_phoria"),
            case_number(c, "near_phoria"), &got));
    else
        RIGHT(optics_aca_gradient(case_number(c, "lens_change"),
            case_number(c, "phoria_without_lens"),
            case_number(c, "phoria_with_lens"), &got));
    want_number(c, "ac_a", got);
}

static void tilt_martin(struct case_row *c)
{
    double sph, cyl;

    ck_assert_str_eq(case_text(c, "form"), "martin");
    RIGHT(optics_tilt_martin(case_number(c, "sphere"), case_number(c, "index"),
        case_number(c, "tilt_deg"), &sph, &cyl));
    want_number(c, "sphere", sph);
    want_number(c, "cylinder", cyl);
}

static void tilt_exact(struct case_row *c)
{
    double along, across;

    ck_assert_str_eq(case_text(c, "form"), "exact");
    RIGHT(optics_tilt_sphere(case_number(c, "sphere"), case_number(c, "index"),
        case_number(c, "tilt_deg"), &along, &across));
    want_number(c, "along_tilt_axis", along);
    want_number(c, "across", across);
}

static struct optics_tilt tilt_in(struct case_row *c)
{
    return (struct optics_tilt){case_number(c, "index"),
        case_number(c, "tilt_deg"),
        strcmp(case_text(c, "kind"), "wrap") == 0 ? OPTICS_WRAP
                                                  : OPTICS_PANTOSCOPIC};
}

static void tilt(struct case_row *c)
{
    struct optics_power got;

    RIGHT(optics_tilt_power(case_power(c, ""), tilt_in(c), &got));
    want_power(c, "", got);
}

static void tilt_compensation(struct case_row *c)
{
    struct optics_power got;

    RIGHT(optics_tilt_compensate(case_power(c, ""), tilt_in(c), &got));
    want_power(c, "", got);
}

static const struct {
    const char *file;
    size_t rows;
    void (*run)(struct case_row *c);
} FILES[] = {
    {"06a_hofstetter", 26, amplitude_by_age},
    {"06b_add_reserve", 38, add_from_amplitude},
    {"06d_add_other_distance", 23, add_at_distance},
    {"06e_clear_range", 27, clear_range},
    {"07a_sheard", 38, sheard},
    {"07b_percival", 34, percival},
    {"07c_one_to_one", 26, one_to_one},
    {"07d_aca", 37, ac_a},
    {"08a_martin", 32, tilt_martin},
    {"08b_tilt_exact_sphere", 30, tilt_exact},
    {"08c_tilt_exact_spherocyl", 45, tilt},
    {"08g_tilt_compensation", 33, tilt_compensation},
};

START_TEST(every_row_of_the_file_agrees)
{
    case_file_run(FILES[_i].file, FILES[_i].rows, FILES[_i].run);
}
END_TEST

Suite *suite_cases_near(void)
{
    TCase *tc;
    Suite *s = suite_new("cases, near and as worn", &tc);

    tcase_add_loop_test(tc, every_row_of_the_file_agrees, 0, ROWS(FILES));
    return s;
}
