#include <sodium.h>
#include <stdlib.h>

#include "suites.h"

int main(void)
{
    SRunner *sr = srunner_create(suite_rules());
    int failed;

    if (sodium_init() < 0)
        return EXIT_FAILURE;
    srunner_add_suite(sr, suite_answer());
    srunner_add_suite(sr, suite_spool());
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
