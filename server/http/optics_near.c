/* http/optics_near.c - POST /v1/optics: near additions, both eyes together. */
#include "http/optics_functions.h"

#include "optics/binocular.h"
#include "optics/near.h"

void http_optics_amplitude_by_age(struct json_in in, struct json_out *o)
{
    double age = http_optics_arg(in, OPTICS_BAD_AGE_YEARS);
    struct optics_amplitude a;

    if (!http_optics_right(in, optics_amplitude_hofstetter(age, &a)))
        return;
    json_out_exact(o, "minimum", a.minimum);
    json_out_exact(o, "average", a.average);
    json_out_exact(o, "maximum", a.maximum);
}

void http_optics_donders_amplitude(struct json_in in, struct json_out *o)
{
    double age = http_optics_arg(in, OPTICS_BAD_DONDERS_AGE);
    double amplitude;

    if (http_optics_right(in, optics_amplitude_donders(age, &amplitude)))
        json_out_exact(o, "amplitude", amplitude);
}

void http_optics_add_by_age(struct json_in in, struct json_out *o)
{
    double age = http_optics_arg(in, OPTICS_BAD_ADD_AGE);
    struct optics_band add;

    if (!http_optics_right(in, optics_add_by_age(age, &add)))
        return;
    json_out_exact(o, "low", add.low);
    json_out_exact(o, "high", add.high);
}

void http_optics_add_from_amplitude(struct json_in in, struct json_out *o)
{
    double distance_cm = http_optics_arg(in, OPTICS_BAD_DISTANCE_CM);
    double amplitude = http_optics_arg(in, OPTICS_BAD_AMPLITUDE);
    double fraction = http_optics_arg(in, OPTICS_BAD_FRACTION);
    double add;

    if (http_optics_right(in,
            optics_add_from_amplitude(distance_cm, amplitude, fraction, &add)))
        json_out_exact(o, "add", add);
}

void http_optics_add_at_distance(struct json_in in, struct json_out *o)
{
    double add = http_optics_arg(in, OPTICS_BAD_ADD_POWER);
    double old_cm = http_optics_arg(in, OPTICS_BAD_DISTANCE_CM);
    double new_cm = http_optics_arg(in, OPTICS_BAD_NEW_DISTANCE_CM);
    struct optics_add_moved moved;

    if (!http_optics_right(
            in, optics_add_at_distance(add, old_cm, new_cm, &moved)))
        return;
    json_out_exact(o, "add_at_new_distance", moved.add);
    json_out_exact(o, "dioptric_shift", moved.shift);
}

static void put_limit(struct json_out *o, const char *key, double cm)
{
    if (cm != 0)
        json_out_exact(o, key, cm);
    else
        json_out_null(o, key);
}

void http_optics_clear_range(struct json_in in, struct json_out *o)
{
    double add = http_optics_arg(in, OPTICS_BAD_ADD_POWER);
    double amplitude = http_optics_arg(in, OPTICS_BAD_AMPLITUDE);
    struct optics_clear_range range;

    if (!http_optics_right(in, optics_clear_range(add, amplitude, &range)))
        return;
    put_limit(o, "far_cm", range.far_cm);
    put_limit(o, "near_cm", range.near_cm);
}

void http_optics_sheard(struct json_in in, struct json_out *o)
{
    double phoria = http_optics_arg(in, OPTICS_BAD_PHORIA);
    double reserve = http_optics_arg(in, OPTICS_BAD_RESERVE);
    double prism;

    if (http_optics_right(in, optics_sheard(phoria, reserve, &prism)))
        json_out_exact(o, "prism", prism);
}

void http_optics_percival(struct json_in in, struct json_out *o)
{
    double greater = http_optics_arg(in, OPTICS_BAD_GREATER);
    double lesser = http_optics_arg(in, OPTICS_BAD_LESSER);
    double prism;

    if (http_optics_right(in, optics_percival(greater, lesser, &prism)))
        json_out_exact(o, "prism", prism);
}

void http_optics_one_to_one(struct json_in in, struct json_out *o)
{
    double eso = http_optics_arg(in, OPTICS_BAD_ESO);
    double recovery = http_optics_arg(in, OPTICS_BAD_BASE_IN_RECOVERY);
    double prism;

    if (http_optics_right(in, optics_one_to_one(eso, recovery, &prism)))
        json_out_exact(o, "prism", prism);
}

/* The members of each way to measure AC/A. */
#define ACA_MEMBERS 4
static const enum optics_fault ACA_ARGS[2][ACA_MEMBERS] = {
    {OPTICS_BAD_PD_CM, OPTICS_BAD_NEAR_M, OPTICS_BAD_FAR_PHORIA,
        OPTICS_BAD_NEAR_PHORIA},
    {OPTICS_BAD_LENS_CHANGE, OPTICS_BAD_PHORIA_WITHOUT_LENS,
        OPTICS_BAD_PHORIA_WITH_LENS, OPTICS_OK},
};

/* A figure of the other way would go unused, so it is a mistake. */
static void refuse_other(struct json_in in, int method)
{
    for (int i = 0; i < ACA_MEMBERS; i++) {
        enum optics_fault arg = ACA_ARGS[1 - method][i];

        if (arg != OPTICS_OK && http_optics_has(in, optics_fault_arg(arg)))
            err_fault(in.err, json_in_get(in, optics_fault_arg(arg)).pointer,
                "is no member of this method");
    }
}

void http_optics_ac_a(struct json_in in, struct json_out *o)
{
    static const char *const methods[] = {"calculated", "gradient", NULL};
    size_t before = in.err->n_faults;
    int method = http_optics_word(in, "method", methods);
    double x[ACA_MEMBERS] = {0};
    double ratio;

    if (in.err->n_faults > before)
        return;
    refuse_other(in, method);
    for (int i = 0; i < ACA_MEMBERS; i++)
        if (ACA_ARGS[method][i] != OPTICS_OK)
            x[i] = http_optics_arg(in, ACA_ARGS[method][i]);
    if (http_optics_right(in,
            method == 0 ? optics_aca_calculated(x[0], x[1], x[2], x[3], &ratio)
                        : optics_aca_gradient(x[0], x[1], x[2], &ratio)))
        json_out_exact(o, "ac_a", ratio);
}

/* Said beside a sphere that stands in for a prism. */
#define SPHERE_CAUTION                                                         \
    "An estimate to try on the patient: a minus sphere is only for an eye "    \
    "that can focus as much more, and AC/A changes with age and from patient " \
    "to patient"

void http_optics_sphere_for_prism(struct json_in in, struct json_out *o)
{
    double base_in = http_optics_arg(in, OPTICS_BAD_BASE_IN);
    double ratio = http_optics_arg(in, OPTICS_BAD_AC_A);
    double sphere;

    if (!http_optics_right(
            in, optics_sphere_for_prism(base_in, ratio, &sphere)))
        return;
    json_out_exact(o, "sphere", sphere);
    json_out_text(o, "caution", SPHERE_CAUTION);
}

void http_optics_expected_finding(struct json_in in, struct json_out *o)
{
    int finding = http_optics_word(in, "finding", OPTICS_FINDINGS);
    double value = http_optics_arg(in, OPTICS_BAD_FINDING_VALUE);
    struct optics_expected e;

    if (!http_optics_right(in, optics_finding_expected(finding, value, &e)))
        return;
    json_out_exact(o, "mean", e.mean);
    json_out_exact(o, "sd", e.sd);
    json_out_exact(o, "narrow_sd", e.narrow_sd);
    json_out_exact(o, "difference", e.difference);
}
