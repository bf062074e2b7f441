/* Numbers in, numbers out, for what judges: noise, exchange, slips,
 * instruments, cross cylinder; see finite.c. */
#include <math.h>

#include "finite.h"
#include "properties.h"

#include "optics/bias.h"
#include "optics/crosscyl.h"
#include "optics/make.h"
#include "optics/noise.h"
#include "optics/slip.h"
#include "optics/solve.h"
#include "optics/tolerance.h"

#define SOUND(what, of) expect_all_sound((what), &(of), sizeof(of))

/* ---- noise.h */

static struct optics_how draw_how(struct random *r)
{
    return (struct optics_how){
        (enum optics_method)random_below(r, OPTICS_METHODS), random_below(r, 2),
        draw_any(r, 0, 130)};
}

static void covariances(struct random *r)
{
    struct optics_covariance a, b;
    struct optics_how how = draw_how(r), other = draw_how(r);
    struct optics_repeat repeat;
    struct optics_fit fit;

    if (optics_repeat_of(how, &repeat) != OPTICS_OK ||
        optics_covariance_of(draw_any_power(r), how, &a) != OPTICS_OK)
        return;
    expect_sound("optics_repeat_of", repeat.m);
    expect_sound("optics_repeat_of", repeat.j);
    SOUND("optics_covariance_of", a);
    b = optics_covariance_between(how, other);
    SOUND("optics_covariance_between", b);
    a = optics_covariance_sum(a, b);
    SOUND("optics_covariance_sum", a);
    fit = optics_covariance_fit(a, draw_any_vector(r));
    SOUND("optics_covariance_fit", fit);
    HOLDS(fit.distance2 >= 0, "a distance of %g", fit.distance2);
    expect_sound(
        "optics_student_log", optics_student_log(fit, 1 + random_below(r, 9)));
}

static void changes(struct random *r)
{
    struct optics_change c;
    double x = fabs(draw_any(r, 0, 100));

    expect_sound("optics_chi3_tail", optics_chi3_tail(x));
    if (optics_change_probability(draw_any_power(r), draw_how(r),
            draw_any_power(r), draw_how(r), &c) != OPTICS_OK)
        return;
    SOUND("optics_change_probability", c.delta);
    SOUND("optics_change_probability", c.sd);
    expect_sound("optics_change_probability", c.distance);
    expect_sound("optics_change_probability", c.probability);
    expect_sound("optics_change_probability", c.probability_m);
    expect_sound("optics_change_probability", c.limit_m);
    expect_sound("optics_change_probability", c.probability_j);
    HOLDS(c.probability >= 0 && c.probability <= 1 && c.probability_m >= 0 &&
              c.probability_m <= 1,
        "probabilities %g and %g", c.probability, c.probability_m);
}

/* ---- exchange.h, slip.h */

static struct optics_entry draw_entry(struct random *r)
{
    return (struct optics_entry){.eye = {draw_any_power(r), draw_any_power(r)},
        .has = {random_below(r, 8) > 0, random_below(r, 8) > 0},
        .method = (enum optics_method)random_below(r, OPTICS_METHODS),
        .cycloplegic = random_below(r, 2),
        .years_before = draw_any(r, 0, 20)};
}

static struct optics_patient draw_patient(
    struct random *r, struct optics_entry history[3])
{
    for (int i = 0; i < 3; i++)
        history[i] = draw_entry(r);
    return (struct optics_patient){
        history, (size_t)random_below(r, 4), draw_any(r, 0, 130)};
}

static void exchanges(struct random *r)
{
    static const double DRIFT[2] = {0.3, 0.15};
    struct optics_entry history[3];
    struct optics_patient patient = draw_patient(r, history);
    struct optics_exchange e;
    double a = draw_any(r, -100, 100);

    expect_sound("optics_log_sum", optics_log_sum(a, draw_any(r, -100, 100)));
    expect_sound("optics_drift",
        optics_drift(random_in(r, 0, 130), random_in(r, 0, 130), DRIFT));
    if (optics_exchange_judge(
            draw_entry(r), patient, draw_any(r, 1e-6, 0.5), &e) != OPTICS_OK)
        return;
    expect_sound("optics_exchange_judge", e.log_ratio);
    expect_sound("optics_exchange_judge", e.probability);
    expect_all_sound("optics_exchange_judge", e.own, sizeof(e.own));
    expect_all_sound("optics_exchange_judge", e.other, sizeof(e.other));
    HOLDS(e.probability >= 0 && e.probability <= 1, "probability %g",
        e.probability);
}

static void slips(struct random *r)
{
    struct optics_entry history[3];
    struct optics_known known = {.patient = draw_patient(r, history)};
    struct optics_slip_answers all;

    for (int eye = 0; eye < 2; eye++) {
        struct optics_power k = draw_power(r, 6);

        known.has_cornea[eye] = random_below(r, 2);
        known.cornea[eye] =
            (struct optics_power){0, -fabs(k.cyl), k.cyl != 0 ? k.axis : 0};
    }
    if (optics_slip_explain(draw_entry(r), &known, &all) != OPTICS_OK)
        return;
    for (int eye = 0; eye < 2; eye++) {
        const struct optics_slip_answer *got = &all.eye[eye];

        HOLDS(got->n < OPTICS_SLIPS_MAX, "%zu meanings", got->n);
        for (size_t i = 0; i < got->n; i++) {
            const struct optics_meaning *m = &got->meaning[i];

            expect_power_sound("optics_slip_explain", m->power[eye]);
            expect_sound("optics_slip_explain", m->log_odds);
            HOLDS(i == 0 || m->log_odds <= m[-1].log_odds,
                "a meaning is likelier than the one before it");
        }
    }
}

/* ---- bias.h */

static void expect_turn(struct optics_turn turn)
{
    expect_sound("optics_device_judge", turn.turn_deg);
    expect_sound("optics_device_judge", turn.error_deg);
}

static void devices(struct random *r)
{
    struct optics_device_visit visits[12];
    size_t n = (size_t)(2 + random_below(r, ROWS(visits) - 1));
    struct optics_device d;

    for (size_t i = 0; i < n; i++)
        for (int eye = 0; eye < 2; eye++) {
            visits[i].reading[eye] = draw_any_power(r);
            visits[i].final[eye] = draw_any_power(r);
            visits[i].has[eye] = random_below(r, 3) > 0;
        }
    if (optics_device_judge(visits, n, &d) != OPTICS_OK)
        return;
    SOUND("optics_device_judge", d.bias);
    SOUND("optics_device_judge", d.error);
    SOUND("optics_device_judge", d.sd);
    expect_turn(d.both);
    expect_turn(d.eye[0]);
    expect_turn(d.eye[1]);
}

static void charts(struct random *r)
{
    double values[20];
    struct optics_chart c;

    for (int i = 0; i < ROWS(values); i++)
        values[i] = draw_any(r, -2, 2);
    if (optics_chart_of(values, (size_t)random_below(r, ROWS(values) + 1),
            (size_t)random_below(r, ROWS(values) + 1), &c) != OPTICS_OK)
        return;
    expect_sound("optics_chart_of", c.centre);
    expect_sound("optics_chart_of", c.sigma);
    expect_sound("optics_chart_of", c.low);
    expect_sound("optics_chart_of", c.high);
}

/* ---- crosscyl.h */

static struct optics_flip draw_flip(struct random *r)
{
    struct optics_flip flip;

    do
        flip = (struct optics_flip){
            random_below(r, 4) ? draw_quarters(r, 10) : draw_any_power(r),
            random_below(r, 2) ? 0.25 : 0.50, draw_any(r, 0, 180),
            random_below(r, 2)};
    while (optics_flip_check(flip) != OPTICS_OK);
    return flip;
}

static void cross_cylinders(struct random *r)
{
    static struct optics_crosscyl c;
    struct optics_crosscyl_estimate e;
    struct optics_crosscyl_next next;
    struct optics_vector mean;

    if (optics_crosscyl_start(draw_any_power(r), draw_any(r, 0.02, 0.6),
            OPTICS_CROSSCYL_MODEL, &c) != OPTICS_OK)
        return;
    for (int i = random_below(r, 6); i > 0; i--) {
        optics_crosscyl_add(
            &c, draw_flip(r), (enum optics_flip_answer)random_below(r, 3));
        expect_sound(
            "optics_crosscyl_gain", optics_crosscyl_gain(&c, draw_flip(r)));
    }
    expect_sound("optics_crosscyl_start", c.m);
    expect_all_sound("optics_crosscyl_add", c.weight, sizeof(c.weight));
    mean = optics_crosscyl_mean(&c);
    SOUND("optics_crosscyl_mean", mean);
    e = optics_crosscyl_estimate(&c);
    SOUND("optics_crosscyl_estimate", e);
    next = optics_crosscyl_next(&c, draw_flip(r),
        random_below(r, 2) ? OPTICS_STEP_QUARTER : OPTICS_STEP_EIGHTH);
    expect_power_sound("optics_crosscyl_next", next.flip.trial);
    expect_sound("optics_crosscyl_next", next.flip.minus_axis);
    expect_sound("optics_crosscyl_next", next.gain_bits);
}

/* ---- solve.h, and what is left of tolerance.h and make.h */

static double line(double x, const void *of)
{
    const double *at = of;

    return x - *at;
}

static void the_rest(struct random *r)
{
    struct optics_ruling ruling = {0};
    double at = draw_any(r, -10, 10), range[2] = {-10, 10}, x;
    double value = draw_any(r, 0, 40);

    if (optics_solve(line, &at, range, &x))
        expect_sound("optics_solve", x);
    optics_rules_add(&ruling,
        (struct optics_rule_key){(enum optics_profile)0, OPTICS_PROGRESSIVE,
            (enum optics_group)random_below(r, OPTICS_GROUP_SEGMENTS + 1)},
        value);
    optics_rules_hold(&ruling, OPTICS_UNIT_D, draw_any(r, -1, 1));
    optics_rules_judge(&ruling);
    for (size_t i = 0; i < ruling.n; i++) {
        expect_sound("optics_rules_add", ruling.rules[i].limit);
        expect_sound("optics_rules_hold", ruling.rules[i].error);
    }
    if (optics_density((enum optics_material)random_below(r, 4),
            draw_any(r, 1.4, 1.8), &x) == OPTICS_OK)
        expect_sound("optics_density", x);
}

static const struct finite_trial JUDGED[] = {
    {covariances, MILLION / 4},
    {changes, MILLION / 8},
    {exchanges, MILLION / 25},
    {slips, MILLION / 100},
    {devices, MILLION / 25},
    {charts, MILLION / 4},
    {cross_cylinders, 100},
    {the_rest, MILLION / 4},
};

START_TEST(judging_functions_give_numbers)
{
    finite_run(&JUDGED[_i], (uint64_t)(500 + _i));
}
END_TEST

Suite *suite_finite_judged(void)
{
    TCase *tc = tcase_create("finite, judged");
    Suite *s = suite_create("finite, judged");

    suite_add_tcase(s, tc);
    tcase_set_timeout(tc, 120);
    tcase_add_loop_test(tc, judging_functions_give_numbers, 0, ROWS(JUDGED));
    return s;
}
