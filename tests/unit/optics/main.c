#include <math.h>
#include <stdlib.h>

#include "suites.h"

#include "optics/angle.h"

Suite *suite_new(const char *name, TCase **ret_tc)
{
    Suite *s = suite_create(name);

    *ret_tc = tcase_create(name);
    tcase_set_timeout(*ret_tc, 120); /* of a loaded machine */
    suite_add_tcase(s, *ret_tc);
    return s;
}

void expect_power(const char *why, struct optics_power got,
    struct optics_power want, double tolerance, double axis_tolerance)
{
    bool axis_fits =
        (got.axis == 0) == (want.axis == 0) && got.axis >= 0 &&
        got.axis <= 180 &&
        optics_axis_difference(got.axis, want.axis) <= axis_tolerance;

    ck_assert_msg(fabs(got.sph - want.sph) <= tolerance &&
                      fabs(got.cyl - want.cyl) <= tolerance && axis_fits,
        "%s: got %.6f / %.6f x %.6f, not %g / %g x %g", why, got.sph, got.cyl,
        got.axis, want.sph, want.cyl, want.axis);
}

int main(void)
{
    SRunner *sr = srunner_create(suite_power());
    int failed;

    srunner_add_suite(sr, suite_angle());
    srunner_add_suite(sr, suite_vector());
    srunner_add_suite(sr, suite_vertex());
    srunner_add_suite(sr, suite_prism());
    srunner_add_suite(sr, suite_cornea());
    srunner_add_suite(sr, suite_acuity());
    srunner_add_suite(sr, suite_round());
    srunner_add_suite(sr, suite_magnify());
    srunner_add_suite(sr, suite_blur());
    srunner_add_suite(sr, suite_cases());
    srunner_add_suite(sr, suite_frame());
    srunner_add_suite(sr, suite_tolerance());
    srunner_add_suite(sr, suite_pair());
    srunner_add_suite(sr, suite_pair_why());
    srunner_add_suite(sr, suite_make());
    srunner_add_suite(sr, suite_cases_lens());
    srunner_add_suite(sr, suite_noise());
    srunner_add_suite(sr, suite_exchange());
    srunner_add_suite(sr, suite_slip());
    srunner_add_suite(sr, suite_bias());
    srunner_add_suite(sr, suite_near());
    srunner_add_suite(sr, suite_binocular());
    srunner_add_suite(sr, suite_worn());
    srunner_add_suite(sr, suite_slab());
    srunner_add_suite(sr, suite_cases_near());
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
