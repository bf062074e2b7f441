#include <stdlib.h>

#include "properties.h"

int main(void)
{
    SRunner *sr = srunner_create(suite_batch());
    int failed;

    srunner_add_suite(sr, suite_laws());
    srunner_add_suite(sr, suite_growth());
    srunner_add_suite(sr, suite_finite());
    srunner_add_suite(sr, suite_finite_more());
    srunner_add_suite(sr, suite_finite_judged());
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
