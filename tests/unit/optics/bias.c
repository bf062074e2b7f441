#include <math.h>

#include "suites.h"

#include "optics/bias.h"

enum { N = 12 };

/* Patients whose readings are the final power, turned and shifted; noise that
 * adds up to nothing. */
static void fill(
    struct optics_device_visit visits[N], double turn_deg, double shift)
{
    for (int i = 0; i < N; i++) {
        double noise = i % 2 ? 0.02 : -0.02;

        for (int eye = 0; eye < 2; eye++) {
            struct optics_power p = {
                -1 - i / 4.0, -1.5, 20 + 12 * i + 70 * eye};
            struct optics_power r = p;

            r.sph += shift + noise;
            r.axis += turn_deg + 20 * noise;
            visits[i].final[eye] = p;
            visits[i].reading[eye] = r;
            visits[i].has[eye] = true;
        }
    }
}

static const struct {
    double turn, shift;
    const char *word;
} DEVICES[] = {
    {0, 0, "right"},
    {4, 0, "turned"},
    {-3, 0, "turned"},
    {2.01, 0, "turned"},
    {-1.99, 0, "right"}, /* certain, but less than a lens may be off */
    {0.26, 0, "right"},
    {0, 0.25, "biased"},
    {0, -0.125, "biased"},
    {0, 0.1, "right"}, /* certain, but under an eighth */
    {3, 0.5, "biased and turned"},
};

START_TEST(an_instrument_is_what_it_is_made)
{
    struct optics_device_visit visits[N];
    struct optics_device got;

    fill(visits, DEVICES[_i].turn, DEVICES[_i].shift);
    ck_assert_int_eq(optics_device_judge(visits, N, &got), OPTICS_OK);
    ck_assert_str_eq(optics_device_word(&got), DEVICES[_i].word);
    ck_assert_double_eq_tol(got.bias.m, DEVICES[_i].shift, 1e-9);
    ck_assert_double_eq_tol(got.both.turn_deg, DEVICES[_i].turn, 1e-3);
    ck_assert_double_eq_tol(
        got.eye[OPTICS_LEFT].turn_deg, DEVICES[_i].turn, 1e-3);
    ck_assert(got.visits == N && got.eyes == 2 * N);
}
END_TEST

/* By hand: differences of M 0.10, 0.30 (one visit), 0.20, 0.40 (another):
 * mean 0.25; residuals -0.15 0.05 -0.05 0.15; sd sqrt(0.05 / 3) = 0.1291;
 * visits' sums -0.10 and 0.10: sqrt(2 / 1 * 0.02) / 4 = 0.05. */
START_TEST(bias_spread_and_error_by_hand)
{
    static const double off[2][2] = {{0.1, 0.3}, {0.2, 0.4}};
    struct optics_device_visit visits[2] = {
        {.has = {true, true}}, {.has = {true, true}}};
    struct optics_device got;

    for (int i = 0; i < 4; i++)
        visits[i / 2].reading[i % 2].sph = off[i / 2][i % 2];
    optics_device_judge(visits, 2, &got);
    ck_assert_double_eq_tol(got.bias.m, 0.25, 1e-12);
    ck_assert_double_eq_tol(got.sd.m, 0.129099, 1e-6);
    ck_assert_double_eq_tol(got.error.m, 0.05, 1e-12);
    ck_assert(!got.both.known && !got.enough);
    ck_assert_str_eq(optics_device_word(&got), "too few to tell");
}
END_TEST

/* Astigmatism that is added isn't a turn of both eyes the same way where axes
 * lie all around; it is a bias of J0 or J45. */
START_TEST(a_bias_of_either_astigmatic_part_is_one)
{
    static const double axis[] = {90, 180, 45, 135};

    for (int k = 0; k < 4; k++) {
        struct optics_device_visit visits[N];
        struct optics_device got;

        fill(visits, 0, 0);
        for (int i = 0; i < 2 * N; i++)
            visits[i / 2].reading[i % 2] =
                optics_power_sum(visits[i / 2].final[i % 2],
                    (struct optics_power){0.2, -0.4, axis[k]});
        optics_device_judge(visits, N, &got);
        ck_assert(got.biased);
        ck_assert_double_eq_tol(hypot(got.bias.j0, got.bias.j45), 0.2, 1e-9);
        ck_assert_double_eq_tol(got.bias.m, 0, 1e-9);
    }
}
END_TEST

START_TEST(one_eye_alone_is_no_turned_table)
{
    struct optics_device_visit visits[N];
    struct optics_device got;

    fill(visits, 5, 0);
    for (int i = 0; i < N; i++)
        visits[i].has[OPTICS_LEFT] = false;
    optics_device_judge(visits, N, &got);
    ck_assert(got.both.known && !got.eye[OPTICS_LEFT].known);
    ck_assert_str_eq(optics_device_word(&got), "right");
    ck_assert_uint_eq(got.eyes, N);
    for (int i = 0; i < N; i++) {
        visits[i].has[OPTICS_LEFT] = true;
        visits[i].has[OPTICS_RIGHT] = false;
    }
    optics_device_judge(visits, N, &got);
    ck_assert(!got.eye[OPTICS_RIGHT].known && !got.turned);
    /* Two visits tell a bias of their own, no turn. */
    optics_device_judge(visits, 2, &got);
    ck_assert(!got.both.known);
    /* Opposite ways. */
    fill(visits, 5, 0);
    for (int i = 0; i < N; i++)
        visits[i].reading[OPTICS_LEFT].axis -= 10;
    optics_device_judge(visits, N, &got);
    ck_assert(!got.turned);
    ck_assert_double_eq_tol(got.eye[OPTICS_RIGHT].turn_deg, 5, 1e-3);
    ck_assert_double_eq_tol(got.eye[OPTICS_LEFT].turn_deg, -5, 1e-3);
}
END_TEST

START_TEST(what_is_far_but_uncertain_is_not_said)
{
    struct optics_device_visit visits[N];
    struct optics_device got;

    fill(visits, 0, 0.2);
    for (int i = 0; i < N; i++)
        for (int eye = 0; eye < 2; eye++)
            visits[i].reading[eye].sph += i % 2 ? 0.5 : -0.5;
    optics_device_judge(visits, N, &got);
    ck_assert_double_eq_tol(got.bias.m, 0.2, 1e-9);
    ck_assert(got.enough && !got.biased);
    /* Spheres have no turn. */
    for (int i = 0; i < 2 * N; i++)
        visits[i / 2].reading[i % 2].cyl = visits[i / 2].final[i % 2].cyl = 0;
    optics_device_judge(visits, N, &got);
    ck_assert(!got.both.known && !got.turned);
}
END_TEST

START_TEST(a_turn_beyond_45_degrees_is_one)
{
    struct optics_device_visit visits[N];
    struct optics_device got;

    fill(visits, 80, 0);
    optics_device_judge(visits, N, &got);
    ck_assert_double_eq_tol(got.both.turn_deg, 80, 1e-2);
}
END_TEST

/* One eye just under a right angle, the other just over it. */
START_TEST(a_turn_by_a_right_angle_is_one)
{
    struct optics_device_visit visits[N];
    struct optics_device got;

    fill(visits, 90, 0);
    for (int i = 0; i < N; i++) {
        visits[i].reading[OPTICS_RIGHT].axis -= 0.1;
        visits[i].reading[OPTICS_LEFT].axis += 0.1;
    }
    optics_device_judge(visits, N, &got);
    ck_assert(got.eye[0].turn_deg > 0 && got.eye[1].turn_deg < 0);
    ck_assert(got.turned);
}
END_TEST

START_TEST(senseless_visits_are_named)
{
    struct optics_device_visit visits[N];
    struct optics_device got = {.eyes = 7};

    fill(visits, 0, 0);
    ck_assert_int_eq(optics_device_judge(visits, 1, &got), OPTICS_BAD_VISITS);
    ck_assert_int_eq(
        optics_device_judge(visits, 10001, &got), OPTICS_BAD_VISITS);
    visits[3].has[0] = visits[3].has[1] = false;
    ck_assert_int_eq(optics_device_judge(visits, N, &got), OPTICS_BAD_VISIT);
    ck_assert(got.eyes == 7);
}
END_TEST

/* Flow rates of NIST/SEMATECH e-Handbook 6.3.2.2, from memory: mean 50.81,
 * moving ranges 2.0 2.3 1.4 3.5 3.4 1.4 0.2 1.2 1.5, their mean 1.8778; limits
 * 45.8159 and 55.8041 with d2 = 1.128. */
START_TEST(limits_of_a_handbook)
{
    static const double x[] = {
        49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
    struct optics_chart got;

    ck_assert_int_eq(optics_chart_of(x, 10, 10, &got), OPTICS_OK);
    ck_assert_double_eq_tol(got.centre, 50.81, 1e-9);
    ck_assert_double_eq_tol(got.sigma, 1.8778 / 1.128, 1e-3);
    ck_assert_double_eq_tol(got.low, 45.8159, 2e-3);
    ck_assert_double_eq_tol(got.high, 55.8041, 2e-3);
    ck_assert(got.in_control && got.outside == 0);
    ck_assert(got.first_outside == 10 && got.first_run == 10);
}
END_TEST

START_TEST(points_beyond_and_runs_are_seen)
{
    /* Centre 0, ranges 2: sigma 1.77, limits 5.3. */
    double x[20] = {1, -1, 1, -1};
    struct optics_chart got;

    x[4] = 6;
    x[5] = -6;
    optics_chart_of(x, 6, 4, &got);
    ck_assert(got.outside == 2 && got.first_outside == 4 && !got.in_control);
    for (int i = 4; i < 11; i++)
        x[i] = -1;
    optics_chart_of(x, 11, 4, &got);
    ck_assert(got.first_run == 10); /* the fourth is one of the eight */
    ck_assert(got.outside == 0 && !got.in_control);
    for (int i = 11; i < 20; i++)
        x[i] = -1;
    optics_chart_of(x, 20, 4, &got);
    ck_assert(got.first_run == 10); /* where it is full first */
    x[8] = 0;                       /* on the centre: the run begins anew */
    optics_chart_of(x, 11, 4, &got);
    ck_assert(got.in_control);
    optics_chart_of((double[]){2, 2, 2}, 3, 3, &got);
    ck_assert(got.sigma == 0 && got.in_control);
}
END_TEST

START_TEST(senseless_values_are_named)
{
    double x[] = {1, 2, NAN};
    struct optics_chart got = {.sigma = 7};

    ck_assert_int_eq(optics_chart_of(x, 1, 2, &got), OPTICS_BAD_POINTS);
    ck_assert_int_eq(optics_chart_of(x, 3, 1, &got), OPTICS_BAD_BASELINE);
    ck_assert_int_eq(optics_chart_of(x, 2, 3, &got), OPTICS_BAD_BASELINE_LONG);
    ck_assert_int_eq(optics_chart_of(x, 3, 2, &got), OPTICS_BAD_VALUE);
    ck_assert(got.sigma == 7);
}
END_TEST

Suite *suite_bias(void)
{
    TCase *tc;
    Suite *s = suite_new("bias", &tc);

    tcase_add_loop_test(tc, an_instrument_is_what_it_is_made, 0, ROWS(DEVICES));
    tcase_add_test(tc, bias_spread_and_error_by_hand);
    tcase_add_test(tc, a_bias_of_either_astigmatic_part_is_one);
    tcase_add_test(tc, one_eye_alone_is_no_turned_table);
    tcase_add_test(tc, what_is_far_but_uncertain_is_not_said);
    tcase_add_test(tc, a_turn_beyond_45_degrees_is_one);
    tcase_add_test(tc, a_turn_by_a_right_angle_is_one);
    tcase_add_test(tc, senseless_visits_are_named);
    tcase_add_test(tc, limits_of_a_handbook);
    tcase_add_test(tc, points_beyond_and_runs_are_seen);
    tcase_add_test(tc, senseless_values_are_named);
    return s;
}
