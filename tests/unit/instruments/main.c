#include <check.h>
#include <stdlib.h>

#include "decimal.h"
#include "instruments/format.h"
#include "profile_case.h"
#include "reading_case.h"

static const char *const FILES[] = {"dicom/fixtures.jsonl",
    "dicom/changed.jsonl", "native/cases.jsonl", "fhir/cases.jsonl",
    "profile/cases.jsonl"};
#define N_FILES (sizeof(FILES) / sizeof(FILES[0]))

static json_t **rows[N_FILES];
static size_t n_rows[N_FILES];

/* One loop over the rows of all files: _i counts through. */
START_TEST(a_payload_becomes_what_its_row_says)
{
    size_t i = (size_t)_i, file = 0;

    while (i >= n_rows[file])
        i -= n_rows[file++];
    reading_case_run(rows[file][i]);
}
END_TEST

START_TEST(each_format_is_found_by_its_media_type)
{
    const struct instruments_format *f;
    size_t n = 0;

    for (; (f = instruments_format_at(n)); n++)
        ck_assert_ptr_eq(instruments_format_of(f->media_type), f);
    ck_assert_uint_ge(n, 2);
    ck_assert_ptr_null(instruments_format_of("text/html"));
    ck_assert_ptr_null(instruments_format_probe("{}", 2));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("instruments");
    TCase *tc = tcase_create("cases");
    SRunner *runner;
    size_t total = 0;
    int failed;

    /* What harms would take minutes; a second, but for sanitizers. */
    tcase_set_timeout(tc, 30);
    for (size_t i = 0; i < N_FILES; i++) {
        rows[i] = reading_cases(FILES[i], &n_rows[i]);
        total += n_rows[i];
    }
    tcase_add_loop_test(tc, a_payload_becomes_what_its_row_says, 0, (int)total);
    tcase_add_test(tc, each_format_is_found_by_its_media_type);
    decimal_tests(tc);
    profile_tests(tc);
    suite_add_tcase(suite, tc);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
