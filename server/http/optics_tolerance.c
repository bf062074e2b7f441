/* http/optics_tolerance.c - POST /v1/optics: tolerances of finished lenses. */
#include "http/optics_functions.h"
#include "http/optics_ruling.h"

enum optics_profile http_optics_profile(struct json_in in)
{
    return (enum optics_profile)http_optics_word(
        in, "profile", OPTICS_PROFILES);
}

enum optics_lens_type http_optics_lens_type(struct json_in in)
{
    return (enum optics_lens_type)http_optics_word(
        in, "lens_type", OPTICS_LENS_TYPES);
}

/* What was held to the rule. */
static const char *measure_word(const struct optics_rule *rule)
{
    static const char *const words[] = {
        [OPTICS_GROUP_SPHERE] = "sphere meridian in minus form",
        [OPTICS_GROUP_STRONGEST] = "meridian of highest power",
        [OPTICS_GROUP_CYLINDER] = "cylinder",
        [OPTICS_GROUP_AXIS] = "axis",
        [OPTICS_GROUP_ADD] = "add",
        [OPTICS_GROUP_POINT] = "reference point",
        [OPTICS_GROUP_VERTICAL] = "vertical imbalance",
        [OPTICS_GROUP_HORIZONTAL] = "horizontal imbalance",
        [OPTICS_GROUP_SEGMENT] = "segment height",
        [OPTICS_GROUP_SEGMENTS] = "difference of segment heights",
    };
    bool mm =
        rule->unit == OPTICS_UNIT_MM_EACH || rule->unit == OPTICS_UNIT_MM_PAIR;

    if (mm && (rule->group == OPTICS_GROUP_VERTICAL ||
                  rule->group == OPTICS_GROUP_HORIZONTAL))
        return rule->unit == OPTICS_UNIT_MM_EACH ? "place of each lens"
                                                 : "place of the pair";
    return words[rule->group];
}

static void put_rule(struct json_out *o, const struct optics_rule *rule)
{
    json_out_object(o, NULL);
    json_out_text(o, "by", measure_word(rule));
    json_out_text(o, "unit", optics_unit_word(rule->unit));
    json_out_exact(o, "limit", rule->limit);
    http_optics_put_angle(o, "error", rule->error, rule->known);
    json_out_text(o, "verdict",
        optics_verdict_word(!rule->known ? OPTICS_NOT_JUDGED
                            : rule->pass ? OPTICS_PASS
                                         : OPTICS_FAIL));
    json_out_text(o, "source", rule->source);
    json_out_object_end(o);
}

void http_optics_put_ruling(
    struct json_out *o, const char *key, const struct optics_ruling *line)
{
    json_out_object(o, key);
    json_out_text(o, "verdict", optics_verdict_word(line->verdict));
    json_out_array(o, "rules");
    for (size_t i = 0; i < line->n; i++)
        put_rule(o, &line->rules[i]);
    json_out_array_end(o);
    json_out_object_end(o);
}

/* The profile's own answer: by its first rule. */
static const char *own_word(const struct optics_ruling *line)
{
    if (line->n == 0 || !line->rules[0].known)
        return "n/a";
    return line->rules[0].pass ? "pass" : "fail";
}

static void put_limit(
    struct json_out *o, const char *key, const struct optics_ruling *line)
{
    http_optics_put_angle(o, key, line->rules[0].limit, line->n > 0);
}

void http_optics_tolerance_power(struct json_in in, struct json_out *o)
{
    enum optics_profile profile = http_optics_profile(in);
    enum optics_lens_type type = http_optics_lens_type(in);
    struct optics_power ordered = http_optics_lens(json_in_get(in, "ordered"));
    struct optics_power found = http_optics_lens(json_in_get(in, "measured"));
    struct optics_power_ruling r;

    if (!http_optics_right(
            in, optics_tolerance_power(profile, type, ordered, found, &r)))
        return;
    json_out_object(o, "limit");
    put_limit(o, "sphere", &r.sphere);
    put_limit(o, "cylinder", &r.cylinder);
    put_limit(o, "axis", &r.axis);
    json_out_object_end(o);
    json_out_object(o, "verdict");
    json_out_text(o, "sphere", own_word(&r.sphere));
    json_out_text(o, "cylinder", own_word(&r.cylinder));
    json_out_text(o, "axis", own_word(&r.axis));
    json_out_object_end(o);
    json_out_object(o, "lines");
    http_optics_put_ruling(o, "sphere", &r.sphere);
    http_optics_put_ruling(o, "cylinder", &r.cylinder);
    http_optics_put_ruling(o, "axis", &r.axis);
    json_out_object_end(o);
}

static void put_place(
    struct json_out *o, const char *key, const struct optics_ruling *line)
{
    json_out_object(o, key);
    json_out_text(
        o, "by", line->n > 0 ? optics_unit_word(line->rules[0].unit) : NULL);
    put_limit(o, "limit", line);
    json_out_text(o, "verdict", own_word(line));
    http_optics_put_ruling(o, "line", line);
    json_out_object_end(o);
}

void http_optics_tolerance_prism(struct json_in in, struct json_out *o)
{
    enum optics_profile profile = http_optics_profile(in);
    enum optics_lens_type type = http_optics_has(in, "lens_type")
                                     ? http_optics_lens_type(in)
                                     : OPTICS_SINGLE_VISION;
    struct optics_pair_errors pair = {
        .vertical_power = http_optics_arg(in, OPTICS_BAD_VERTICAL_POWER),
        .horizontal_power = http_optics_arg(in, OPTICS_BAD_HORIZONTAL_POWER),
        .vertical_imbalance =
            http_optics_arg(in, OPTICS_BAD_VERTICAL_IMBALANCE),
        .horizontal_imbalance =
            http_optics_arg(in, OPTICS_BAD_HORIZONTAL_IMBALANCE),
        .vertical_mm = http_optics_arg(in, OPTICS_BAD_VERTICAL_MM),
        .horizontal_mm = http_optics_arg(in, OPTICS_BAD_HORIZONTAL_MM),
    };
    struct optics_ruling vertical, horizontal;

    if (!http_optics_right(in, optics_tolerance_prism(profile, type, pair,
                                   &vertical, &horizontal)))
        return;
    put_place(o, "vertical", &vertical);
    put_place(o, "horizontal", &horizontal);
}

void http_optics_axis_tolerance(struct json_in in, struct json_out *o)
{
    double cylinder = http_optics_arg(in, OPTICS_BAD_CYLINDER);
    double error = http_optics_arg(in, OPTICS_BAD_ERROR);
    double deg;

    if (http_optics_right(in, optics_axis_tolerance(cylinder, error, &deg)))
        json_out_exact(o, "axis_tolerance", deg);
}
