/* http/optics_eye.c - POST /v1/optics: cornea and acuity. */
#include "http/optics_functions.h"

#include "base/arena.h"
#include "optics/cornea.h"

void http_optics_corneal_power(struct json_in in, struct json_out *o)
{
    double radius_mm = http_optics_arg(in, OPTICS_BAD_RADIUS_MM);
    double index = http_optics_arg(in, OPTICS_BAD_INDEX);
    double power;

    if (http_optics_right(in, optics_cornea_power(radius_mm, index, &power)))
        json_out_exact(o, "power", power);
}

void http_optics_corneal_average(struct json_in in, struct json_out *o)
{
    double flat_mm = http_optics_arg(in, OPTICS_BAD_FLAT_MM);
    double steep_mm = http_optics_arg(in, OPTICS_BAD_STEEP_MM);
    double index = http_optics_arg(in, OPTICS_BAD_INDEX);
    struct optics_cornea_mean m;

    if (!http_optics_right(
            in, optics_cornea_average(flat_mm, steep_mm, index, &m)))
        return;
    json_out_exact(o, "mean_power_of_powers", m.mean_power_of_powers);
    json_out_exact(o, "mean_radius_mm", m.mean_radius_mm);
    json_out_exact(o, "power_of_mean_radius", m.power_of_mean_radius);
}

void http_optics_corneal_astigmatism(struct json_in in, struct json_out *o)
{
    double flat = http_optics_arg(in, OPTICS_BAD_FLAT_POWER);
    double axis = http_optics_arg(in, OPTICS_BAD_FLAT_AXIS);
    double steep = http_optics_arg(in, OPTICS_BAD_STEEP_POWER);
    struct optics_power p;

    if (!http_optics_right(
            in, optics_cornea_astigmatism(flat, axis, steep, &p)))
        return;
    http_optics_put_cylinder(o, p);
    json_out_text(o, "class", optics_rule_word(optics_rule_of(p)));
}

void http_optics_refractive_from_corneal(struct json_in in, struct json_out *o)
{
    double factor = http_optics_arg(in, OPTICS_BAD_FACTOR);
    double constant = http_optics_arg(in, OPTICS_BAD_CONSTANT);
    struct optics_power cornea = {0}, p;

    cornea.cyl = http_optics_arg(in, OPTICS_BAD_CORNEAL_CYLINDER);
    if (http_optics_has(in, "corneal_axis")) {
        cornea.axis = http_optics_arg(in, OPTICS_BAD_CORNEAL_AXIS);
        if (cornea.axis == 0)
            cornea.axis = 180;
    }
    if (http_optics_right(
            in, optics_cornea_expected(cornea, factor, constant, &p)))
        http_optics_put_cylinder(o, p);
}

static const enum optics_fault ACUITIES[] = {OPTICS_BAD_SNELLEN_20FT,
    OPTICS_BAD_SNELLEN_6M, OPTICS_BAD_DECIMAL, OPTICS_BAD_LOGMAR};
static const enum optics_scale ACUITY_SCALE[] = {
    OPTICS_SNELLEN_20FT, OPTICS_SNELLEN_6M, OPTICS_DECIMAL, OPTICS_LOGMAR};

/* The two letter scores; which one is said by its value for 20/20. */
static const char *const SCORES[] = {"etdrs-85", "vas-100", NULL};
static const enum optics_fault SCORE_FAULT[] = {
    OPTICS_BAD_LETTERS, OPTICS_BAD_SCORE};
static const enum optics_scale SCORE_SCALE[] = {
    OPTICS_LETTERS_85, OPTICS_LETTERS_100};

void http_optics_acuity(struct json_in in, struct json_out *o)
{
    bool scored = http_optics_has(in, "score");
    int score = scored ? http_optics_word(in, "score", SCORES) : 0;
    int given;
    double value =
        http_optics_one_of(in, ACUITIES, ARRAY_LEN(ACUITIES), &given);
    double logmar;

    if (!http_optics_right(
            in, optics_acuity_logmar(ACUITY_SCALE[given], value, &logmar)))
        return;
    for (int i = 0; i < (int)ARRAY_LEN(ACUITIES); i++)
        if (i != given)
            json_out_exact(o, optics_fault_arg(ACUITIES[i]),
                optics_acuity_on(ACUITY_SCALE[i], logmar));
    if (scored)
        json_out_exact(
            o, "letters", optics_acuity_on(SCORE_SCALE[score], logmar));
}

void http_optics_letter_score(struct json_in in, struct json_out *o)
{
    int score = http_optics_has(in, "score")
                    ? http_optics_word(in, "score", SCORES)
                    : 0;
    double letters = http_optics_arg(in, SCORE_FAULT[score]);
    double logmar;

    if (!http_optics_right(
            in, optics_acuity_logmar(SCORE_SCALE[score], letters, &logmar)))
        return;
    json_out_exact(o, "logmar", logmar);
    json_out_exact(o, "decimal", optics_acuity_on(OPTICS_DECIMAL, logmar));
}

void http_optics_partial_line(struct json_in in, struct json_out *o)
{
    double line = http_optics_arg(in, OPTICS_BAD_LINE_LOGMAR);
    double extra = http_optics_arg(in, OPTICS_BAD_LETTERS_EXTRA);
    double per_line = http_optics_arg(in, OPTICS_BAD_LETTERS_PER_LINE);
    double logmar;

    if (http_optics_right(
            in, optics_acuity_partial_line(line, extra, per_line, &logmar)))
        json_out_exact(o, "logmar", logmar);
}

void http_optics_near_acuity(struct json_in in, struct json_out *o)
{
    static const enum optics_fault sizes[] = {
        OPTICS_BAD_M_UNITS, OPTICS_BAD_SNELLEN_20FT};
    struct optics_near sight;
    int given;
    double value = http_optics_one_of(in, sizes, ARRAY_LEN(sizes), &given);
    double near_cm = http_optics_arg(in, OPTICS_BAD_NEAR_CM);

    if (!http_optics_right(
            in, given == 0 ? optics_near_of_m(value, near_cm, &sight)
                           : optics_near_of_snellen(value, near_cm, &sight)))
        return;
    json_out_exact(o, "logmar", sight.logmar);
    json_out_exact(o, "decimal", sight.decimal);
    if (given != 0)
        json_out_exact(o, "m_units", sight.m_units);
    json_out_exact(o, "n_points", sight.n_points);
    json_out_exact(o, "height_mm", sight.height_mm);
    json_out_exact(o, "reduced_14in", sight.reduced_14in);
    json_out_exact(o, "reduced_35cm", sight.reduced_35cm);
}

void http_optics_low_vision(struct json_in in, struct json_out *o)
{
    static const char *const entries[] = {"CF", "HM", "LP", "NLP", NULL};
    static const char *const schemes[] = {"bach", "holladay", NULL};
    int entry = http_optics_word(in, "entry", entries) + OPTICS_LEVEL_CF;
    int scheme = http_optics_word(in, "scheme", schemes);
    double feet = 0, logmar;

    if (scheme == OPTICS_LOW_HOLLADAY || http_optics_has(in, "distance_ft"))
        feet = http_optics_arg(in, OPTICS_BAD_DISTANCE_FT);
    if (http_optics_right(
            in, optics_acuity_low((enum optics_level)entry,
                    (enum optics_low_scheme)scheme, feet, &logmar)))
        json_out_exact(o, "logmar", logmar);
}
