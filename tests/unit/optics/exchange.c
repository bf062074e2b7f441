#include <math.h>

#include "suites.h"

#include "optics/exchange.h"

static struct optics_entry entry(
    struct optics_power right, struct optics_power left, double years)
{
    return (struct optics_entry){.eye = {right, left},
        .has = {true, true},
        .method = OPTICS_BY_SUBJECTIVE,
        .years_before = years};
}

static struct optics_entry turned(struct optics_entry e)
{
    return (struct optics_entry){.eye = {e.eye[1], e.eye[0]},
        .has = {e.has[1], e.has[0]},
        .method = e.method,
        .years_before = e.years_before};
}

static struct optics_exchange judge(
    struct optics_entry now, const struct optics_entry *history, size_t n)
{
    struct optics_patient patient = {history, n, 40};
    struct optics_exchange got;

    ck_assert_int_eq(
        optics_exchange_judge(now, patient, OPTICS_EXCHANGE_PRIOR, &got),
        OPTICS_OK);
    ck_assert(isfinite(got.log_ratio));
    return got;
}

/* doaj.org 0b8504d87eaf4f21afbba14032a38e34: right -2.25 (2014), -6.75 -0.50 x
 * 170 (2018 and 2019), left always plano -0.50 x 10. */
START_TEST(p02_one_eye_that_progresses_is_no_exchange)
{
    struct optics_power left = {0, -0.5, 10}, strong = {-6.75, -0.5, 170};
    struct optics_entry first =
        entry((struct optics_power){-2.25, 0, 0}, left, 4.5);
    struct optics_entry both[] = {first, entry(strong, left, 1.1)};
    struct optics_exchange got;

    got = judge(entry(strong, left, 0), &first, 1);
    ck_assert_int_eq(got.verdict, OPTICS_AS_LABELLED);
    ck_assert_double_eq_tol(got.own[OPTICS_RIGHT], 4.76, 5e-3);
    ck_assert(got.own[OPTICS_LEFT] == 0);
    both[0].years_before = 5.6;
    got = judge(entry(strong, left, 0), both, 2);
    ck_assert_int_eq(got.verdict, OPTICS_AS_LABELLED);
    ck_assert_uint_eq(got.compared, 2);
    /* The newest one is described, in whatever order they stand. */
    ck_assert(got.own[OPTICS_RIGHT] == 0);
    both[1] = both[0];
    both[0] = entry(strong, left, 1.1);
    ck_assert(judge(entry(strong, left, 0), both, 2).own[OPTICS_RIGHT] == 0);
}
END_TEST

/* eyetubeod.com 2016/04; distances of the case, 7.07 D and 0. */
START_TEST(p22_exchanged_on_import_is_flagged)
{
    struct optics_power a = {-6.75, -6.5, 30}, b = {-7, -7.75, 130};
    struct optics_entry last = entry(a, b, 1);
    struct optics_exchange got = judge(entry(b, a, 0), &last, 1);

    ck_assert_int_eq(got.verdict, OPTICS_EXCHANGE_LIKELY);
    ck_assert_str_eq(optics_exchange_word(got.verdict), "likely exchanged");
    for (int eye = 0; eye < 2; eye++) {
        ck_assert_double_eq_tol(got.own[eye], 7.07, 5e-3);
        ck_assert(got.other[eye] == 0);
    }
    /* Exchanging the entry turns the sign of the evidence. */
    ck_assert_double_eq_tol(
        judge(entry(a, b, 0), &last, 1).log_ratio, -got.log_ratio, 1e-9);
}
END_TEST

START_TEST(eyes_alike_cannot_be_told)
{
    struct optics_power p = {-2, -0.5, 180};
    struct optics_entry last = entry(p, p, 1);
    struct optics_exchange got = judge(entry(p, p, 0), &last, 1);

    ck_assert_int_eq(got.verdict, OPTICS_EXCHANGE_UNDECIDED);
    ck_assert(fabs(got.log_ratio) < 1e-9);
    ck_assert_double_eq_tol(got.probability, OPTICS_EXCHANGE_PRIOR, 1e-9);
}
END_TEST

START_TEST(without_a_past_nothing_is_compared)
{
    struct optics_power p = {-2, 0, 0}, q = {-4, 0, 0};
    struct optics_entry last = entry(p, q, 1);
    struct optics_exchange got = judge(entry(p, q, 0), NULL, 0);

    ck_assert_int_eq(got.verdict, OPTICS_EXCHANGE_UNDECIDED);
    ck_assert(got.compared == 0 && got.log_ratio == 0 && got.own[0] == 0);
    last.has[OPTICS_LEFT] = last.has[OPTICS_RIGHT] = false;
    got = judge(entry(p, q, 0), &last, 1);
    ck_assert(got.compared == 0 && got.log_ratio == 0 && !got.known[0]);
}
END_TEST

/* Each eye by an entry of its own, as an instrument sends that knows one eye at
 * a time; -2.00 and -4.00. */
START_TEST(one_eye_of_the_past_speaks)
{
    struct optics_power p = {-2, 0, 0}, q = {-4, 0, 0};
    struct optics_entry both = entry(p, q, 1), one[2] = {both, both};
    struct optics_exchange got;
    double alone;

    one[0].has[OPTICS_LEFT] = one[1].has[OPTICS_RIGHT] = false;
    got = judge(entry(q, p, 0), one, 1);
    ck_assert_uint_eq(got.compared, 1);
    ck_assert(got.known[OPTICS_RIGHT] && !got.known[OPTICS_LEFT]);
    ck_assert_double_eq(got.own[OPTICS_RIGHT], 2);
    ck_assert(got.other[OPTICS_LEFT] == 0 && got.own[OPTICS_LEFT] == 0);
    ck_assert_double_gt(got.log_ratio, log(10));
    alone = got.log_ratio;
    got = judge(entry(q, p, 0), one, 2);
    ck_assert_int_eq(got.verdict, OPTICS_EXCHANGE_LIKELY);
    ck_assert_double_eq_tol(got.log_ratio, 2 * alone, 0.01);
    ck_assert_double_eq_tol(
        judge(entry(p, q, 0), one, 2).log_ratio, -got.log_ratio, 1e-9);
    /* The left eye's alone, mirrored. */
    ck_assert_double_eq_tol(
        judge(entry(q, p, 0), one + 1, 1).log_ratio, alone, 0.01);
}
END_TEST

/* A single eye that contradicts all pairs was labelled wrongly. */
START_TEST(one_mislabelled_eye_is_left_out)
{
    struct optics_power p = {-1, 0, 0}, q = {-7, 0, 0};
    struct optics_entry history[4];
    double without;

    for (int i = 0; i < 4; i++)
        history[i] = entry(p, q, i + 1);
    without = judge(entry(p, q, 0), history, 3).log_ratio;
    history[3] = entry(q, p, 0.5);
    history[3].has[OPTICS_LEFT] = false;
    ck_assert_double_eq_tol(
        judge(entry(p, q, 0), history, 4).log_ratio, without, 1e-9);
    history[3] = entry(p, q, 0.5);
    history[3].has[OPTICS_LEFT] = false;
    ck_assert_double_lt(judge(entry(p, q, 0), history, 4).log_ratio, without);
}
END_TEST

START_TEST(one_exchanged_entry_of_the_past_is_left_out)
{
    struct optics_power p = {-1, 0, 0}, q = {-3, 0, 0};
    struct optics_entry history[5];

    for (int i = 0; i < 5; i++)
        history[i] = entry(p, q, i + 1);
    history[0] = turned(history[0]);
    ck_assert_int_eq(
        judge(entry(p, q, 0), history, 5).verdict, OPTICS_AS_LABELLED);
    ck_assert_int_eq(
        judge(entry(q, p, 0), history, 5).verdict, OPTICS_EXCHANGE_LIKELY);
    /* Of two that contradict each other, both are. */
    ck_assert_int_eq(
        judge(entry(q, p, 0), history, 2).verdict, OPTICS_EXCHANGE_UNDECIDED);
}
END_TEST

START_TEST(longer_ago_says_less)
{
    struct optics_power p = {-1, 0, 0}, q = {-1.75, 0, 0};
    double last = 0;

    for (int years = 0; years < 20; years += 4) {
        struct optics_entry was = entry(p, q, years);
        double ratio = judge(entry(q, p, 0), &was, 1).log_ratio;

        ck_assert(ratio > 0 && (years == 0 || ratio < last));
        last = ratio;
    }
}
END_TEST

START_TEST(another_method_says_less)
{
    struct optics_power p = {-1, 0, 0}, q = {-1.75, 0, 0};
    struct optics_entry was = entry(p, q, 0), glasses = was;
    double same = judge(entry(q, p, 0), &was, 1).log_ratio;

    glasses.method = OPTICS_BY_LENSOMETRY;
    ck_assert(judge(entry(q, p, 0), &glasses, 1).log_ratio < same);
}
END_TEST

START_TEST(children_drift_more)
{
    static const double rates[2] = {0.3, 0.1};

    ck_assert_double_eq_tol(optics_drift(2, 8, rates), 0.6, 1e-12);
    ck_assert_double_eq_tol(optics_drift(2, 15, rates), 0.4, 1e-12);
    ck_assert_double_eq_tol(optics_drift(-2, 40, rates), 0.2, 1e-12);
}
END_TEST

START_TEST(logarithms_add_up)
{
    ck_assert_double_eq_tol(
        optics_log_sum(log(2), log(3)), 1.6094379124341003, 1e-15); /* ln 5 */
    ck_assert(optics_log_sum(-2000, -1e9) == -2000);
    ck_assert(optics_log_sum(-INFINITY, 1) == 1);
    ck_assert(isinf(optics_log_sum(-INFINITY, -INFINITY)));
}
END_TEST

START_TEST(senseless_requests_are_named)
{
    struct optics_power p = {-1, 0, 0};
    struct optics_entry now = entry(p, p, 0), past = entry(p, p, 1);
    struct optics_patient patient = {&past, 1, 40};
    struct optics_exchange got = {.log_ratio = 7};

    patient.n = 101;
    ck_assert_int_eq(
        optics_exchange_judge(now, patient, 0.01, &got), OPTICS_BAD_HISTORY);
    patient.n = 1;
    patient.age_years = -1;
    ck_assert_int_eq(
        optics_exchange_judge(now, patient, 0.01, &got), OPTICS_BAD_AGE_YEARS);
    patient.age_years = 40;
    past.years_before = NAN;
    ck_assert_int_eq(optics_exchange_judge(now, patient, 0.01, &got),
        OPTICS_BAD_YEARS_BEFORE);
    past.years_before = 1;
    ck_assert_int_eq(
        optics_exchange_judge(now, patient, 0, &got), OPTICS_BAD_PRIOR);
    now.has[OPTICS_LEFT] = false;
    ck_assert_int_eq(
        optics_exchange_judge(now, patient, 0.01, &got), OPTICS_BAD_BOTH_EYES);
    ck_assert(got.log_ratio == 7);
}
END_TEST

/* A history as long as it may be, of the greatest powers. */
START_TEST(the_longest_history_of_the_greatest_powers)
{
    static struct optics_entry history[OPTICS_HISTORY_MAX];
    struct optics_power a = {1000, -1000, 45}, b = {-1000, 1000, 45};
    struct optics_exchange got;

    for (int i = 0; i < OPTICS_HISTORY_MAX; i++)
        history[i] = entry(i % 3 ? a : b, i % 2 ? b : a, i);
    got = judge(entry(a, b, 0), history, OPTICS_HISTORY_MAX);
    ck_assert_uint_eq(got.compared, OPTICS_HISTORY_MAX);
    ck_assert(got.probability >= 0 && got.probability <= 1);
}
END_TEST

Suite *suite_exchange(void)
{
    TCase *tc;
    Suite *s = suite_new("exchange", &tc);

    tcase_add_test(tc, p02_one_eye_that_progresses_is_no_exchange);
    tcase_add_test(tc, p22_exchanged_on_import_is_flagged);
    tcase_add_test(tc, eyes_alike_cannot_be_told);
    tcase_add_test(tc, without_a_past_nothing_is_compared);
    tcase_add_test(tc, one_eye_of_the_past_speaks);
    tcase_add_test(tc, one_mislabelled_eye_is_left_out);
    tcase_add_test(tc, one_exchanged_entry_of_the_past_is_left_out);
    tcase_add_test(tc, longer_ago_says_less);
    tcase_add_test(tc, another_method_says_less);
    tcase_add_test(tc, children_drift_more);
    tcase_add_test(tc, logarithms_add_up);
    tcase_add_test(tc, senseless_requests_are_named);
    tcase_add_test(tc, the_longest_history_of_the_greatest_powers);
    return s;
}
