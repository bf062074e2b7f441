#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "optics/fingerprint.h"

static struct optics_entry entry(
    struct optics_power right, struct optics_power left, double years)
{
    return (struct optics_entry){.eye = {right, left},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE,
        .years_before = years};
}

static struct optics_fingerprint judge(
    struct optics_entry now, const struct optics_entry *history, size_t n)
{
    struct optics_patient patient = {history, n, 40};
    struct optics_fingerprint got;

    ck_assert_int_eq(optics_fingerprint_judge(now, patient, &got), OPTICS_OK);
    ck_assert(isfinite(got.log_ratio));
    return got;
}

static const struct optics_power PLANO = {0, 0, 0};

/* The eyes of P-22 (eyetubeod.com 2016/04): few have such. */
static const struct optics_power RIGHT = {-6.75, -6.5, 30};
static const struct optics_power LEFT = {-7, -7.75, 130};

START_TEST(unusual_eyes_are_known_again)
{
    struct optics_entry last = entry(RIGHT, LEFT, 1);
    struct optics_power near_right = {-6.5, -6.25, 32};
    struct optics_fingerprint got = judge(entry(near_right, LEFT, 0), &last, 1);

    ck_assert_double_gt(got.log_ratio, log(1000));
    ck_assert_uint_eq(got.compared, 1);
    ck_assert_double_eq_tol(
        got.apart, optics_power_distance(near_right, RIGHT), 1e-12);
    ck_assert_double_lt(
        judge(entry(PLANO, PLANO, 0), &last, 1).log_ratio, -log(1000));
}
END_TEST

START_TEST(usual_eyes_say_little)
{
    struct optics_entry last = entry(PLANO, PLANO, 1);
    double same = judge(last, &last, 1).log_ratio;

    ck_assert_double_gt(same, 0);
    ck_assert_double_lt(same, log(30));
}
END_TEST

START_TEST(farther_is_less_likely_and_longer_ago_more_forgiven)
{
    struct optics_entry last = entry(RIGHT, LEFT, 1), old = last;
    struct optics_power p = RIGHT;
    double before = INFINITY;

    old.years_before = 20;
    for (int i = 0; i < 20; i++) {
        double ratio = judge(entry(p, LEFT, 0), &last, 1).log_ratio;

        ck_assert_double_lt(ratio, before);
        before = ratio;
        p.sph += 0.25;
    }
    ck_assert_double_gt(judge(entry(p, LEFT, 0), &old, 1).log_ratio,
        judge(entry(p, LEFT, 0), &last, 1).log_ratio);
}
END_TEST

START_TEST(only_shared_eyes_count_and_without_any_nothing_is_said)
{
    struct optics_entry last = entry(RIGHT, LEFT, 1);
    struct optics_entry one = entry(RIGHT, PLANO, 0);
    struct optics_fingerprint got;

    one.has[OPTICS_LEFT] = false;
    got = judge(one, &last, 1);
    ck_assert_uint_eq(got.compared, 1);
    ck_assert_double_gt(got.log_ratio, 0);
    last.has[OPTICS_RIGHT] = false;
    got = judge(one, &last, 1);
    ck_assert_uint_eq(got.compared, 0);
    ck_assert(got.log_ratio == 0 && got.apart == 0);
    got = judge(one, NULL, 0);
    ck_assert(got.compared == 0 && got.log_ratio == 0);
    /* The left one alone is held against its own. */
    one = entry(PLANO, LEFT, 0);
    one.has[OPTICS_RIGHT] = false;
    ck_assert_double_gt(judge(one, &last, 1).log_ratio, 0);
}
END_TEST

START_TEST(one_entry_that_fits_is_weighed_with_all)
{
    struct optics_entry both[] = {
        entry(RIGHT, LEFT, 1), entry(PLANO, PLANO, 1)};
    struct optics_entry now = entry(RIGHT, LEFT, 0);

    /* The second explains nothing, so half of the weight is left. */
    ck_assert_double_eq_tol(judge(now, both, 2).log_ratio,
        judge(now, both, 1).log_ratio - log(2), 1e-6);
}
END_TEST

START_TEST(senseless_histories_are_refused)
{
    struct optics_entry now = entry(RIGHT, LEFT, 0), last = now;
    struct optics_fingerprint got;

    ck_assert_int_eq(
        optics_fingerprint_judge(now,
            (struct optics_patient){NULL, OPTICS_HISTORY_MAX + 1, 40}, &got),
        OPTICS_BAD_HISTORY);
    ck_assert_int_eq(optics_fingerprint_judge(
                         now, (struct optics_patient){&last, 1, 400}, &got),
        OPTICS_BAD_AGE_YEARS);
}
END_TEST

/* ---- the survey (US CDC NHANES, tests/data/corpus) --------------------- */

#define PEOPLE_MAX 500

static struct optics_entry measured[PEOPLE_MAX], glasses[PEOPLE_MAX];

/* Column by column; an empty one is NAN. */
static double field(char **at)
{
    char *end = *at + strcspn(*at, ",\n");
    double x = NAN;

    if (end > *at)
        ck_assert_int_eq(sscanf(*at, "%lf", &x), 1);
    *at = *end ? end + 1 : end;
    return x;
}

static struct optics_power plus(const double sca[3])
{
    return optics_power_normal((struct optics_power){
        sca[0], isnan(sca[1]) ? 0 : sca[1], isnan(sca[2]) ? 0 : sca[2]});
}

/* Rows of one person follow each other, the right eye first. */
static size_t read_survey(void)
{
    FILE *file = fopen(TEST_CORPUS "/sample.csv", "r");
    char line[400], last[40] = "";
    size_t n = 0;

    ck_assert_ptr_nonnull(file);
    ck_assert_ptr_nonnull(fgets(line, sizeof(line), file)); /* the head */
    while (n < PEOPLE_MAX && fgets(line, sizeof(line), file)) {
        char *at = strchr(line, ',') + 1, *person = at;
        double got[14];
        int eye;

        at += strcspn(at, ",") + 1;
        eye = *at == 'L';
        at = strchr(strchr(at, ',') + 1, ',') + 1;
        for (int i = 0; i < 13; i++)
            got[i] = field(&at);
        if (isnan(got[0]) || isnan(got[10]))
            continue;
        if (eye == 1 && strncmp(person, last, strcspn(last, ",") + 1) != 0)
            continue;
        measured[n].eye[eye] = plus(got);
        glasses[n].eye[eye] = plus(got + 10);
        memcpy(last, person, sizeof(last) - 1);
        n += eye == 1;
    }
    fclose(file);
    return n;
}

START_TEST(survey_eyes_find_their_own_glasses)
{
    size_t n = read_survey(), right = 0, pairs = 0;

    ck_assert_uint_gt(n, 100);
    for (size_t i = 0; i < n; i++) {
        measured[i].has[0] = measured[i].has[1] = true;
        glasses[i].has[0] = glasses[i].has[1] = true;
        measured[i].method = OPTICS_BY_AUTOREFRACTION;
        glasses[i].method = OPTICS_BY_LENSOMETRY;
        glasses[i].years_before = 2;
    }
    for (size_t i = 0; i < n; i++) {
        double own = judge(measured[i], &glasses[i], 1).log_ratio;

        for (size_t k = 0; k < n; k++) {
            if (k == i)
                continue;
            pairs++;
            right += own > judge(measured[i], &glasses[k], 1).log_ratio;
        }
    }
    /* 0.962 of 7,154 persons' in the whole survey, each beside one other. */
    ck_assert_double_gt((double)right / (double)pairs, 0.94);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("fingerprint");
    TCase *tc = tcase_create("fingerprint");
    SRunner *sr = srunner_create(s);
    int failed;

    suite_add_tcase(s, tc);
    tcase_add_test(tc, unusual_eyes_are_known_again);
    tcase_add_test(tc, usual_eyes_say_little);
    tcase_add_test(tc, farther_is_less_likely_and_longer_ago_more_forgiven);
    tcase_add_test(tc, only_shared_eyes_count_and_without_any_nothing_is_said);
    tcase_add_test(tc, one_entry_that_fits_is_weighed_with_all);
    tcase_add_test(tc, senseless_histories_are_refused);
    tcase_add_test(tc, survey_eyes_find_their_own_glasses);
    srunner_run_all(sr, CK_NORMAL);
    failed = srunner_ntests_failed(sr);
    srunner_free(sr);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
