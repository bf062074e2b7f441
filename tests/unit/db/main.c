#include <stdlib.h>

#include "suites.h"

int main(void)
{
    Suite *suite = suite_create("db");
    TCase *tc = tcase_create("parameters");
    SRunner *runner;
    int failed;

    call_tests(tc);
    parray_tests(tc);
    suite_add_tcase(suite, tc);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
