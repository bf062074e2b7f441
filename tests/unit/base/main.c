#include <sodium.h>
#include <stdlib.h>

#include "suites.h"

Suite *suite_new(const char *name, TCase **ret_tc)
{
    Suite *s = suite_create(name);

    *ret_tc = tcase_create(name);
    suite_add_tcase(s, *ret_tc);
    return s;
}

int main(void)
{
    SRunner *sr = srunner_create(suite_num());
    int failed;

    if (sodium_init() < 0)
        return EXIT_FAILURE;
    srunner_add_suite(sr, suite_arena());
    srunner_add_suite(sr, suite_text());
    srunner_add_suite(sr, suite_json_in());
    srunner_add_suite(sr, suite_json_out());
    srunner_add_suite(sr, suite_json_merge());
    srunner_add_suite(sr, suite_uuid());
    srunner_add_suite(sr, suite_instant());
    srunner_add_suite(sr, suite_zone());
    srunner_add_suite(sr, suite_fold());
    srunner_add_suite(sr, suite_hash());
    srunner_add_suite(sr, suite_canon());
    srunner_add_suite(sr, suite_secret());
    srunner_add_suite(sr, suite_config());
    srunner_add_suite(sr, suite_child());
    srunner_add_suite(sr, suite_multipart());
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
