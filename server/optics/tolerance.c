#include "optics/tolerance.h"

#include <math.h>

#include "optics/angle.h"

#define MEET 1e-9 /* edges and limits */
#define ANY 1e9

enum { SV = 1, MF = 2, PAL = 4, SV_MF = SV | MF, MF_PAL = MF | PAL, ALL = 7 };
enum { FROM, OVER };

const char *const OPTICS_PROFILES[] = {
#define PROFILE(name, word) word,
#define LIMIT(...)
#include "optics/tolerance.def"
#undef PROFILE
#undef LIMIT
    NULL,
};

static const struct row {
    enum optics_profile profile;
    enum optics_group group;
    int lenses;
    int from; /* FROM: low itself is held; OVER: it isn't */
    double low, high, limit;
    enum optics_unit unit;
    const char *source;
} ROWS[] = {
#define PROFILE(name, word)
#define LIMIT(profile, group, lenses, from, low, high, limit, unit, source)    \
    {OPTICS_PROFILE_##profile, OPTICS_GROUP_##group, lenses, from, low, high,  \
        limit, OPTICS_UNIT_##unit, source},
#include "optics/tolerance.def"
#undef PROFILE
#undef LIMIT
};

#define N_ROWS (sizeof(ROWS) / sizeof(ROWS[0]))

const char *const OPTICS_LENS_TYPES[] = {"single-vision", "bifocal", "trifocal",
    "progressive", "occupational", NULL};

static const int LENSES[] = {SV, MF, MF, PAL, PAL};

const char *optics_unit_word(enum optics_unit unit)
{
    static const char *const words[] = {"D", "D", "deg", "prism", "mm", "mm"};

    return words[unit];
}

const char *optics_verdict_word(enum optics_verdict verdict)
{
    static const char *const words[] = {
        "not-judged", "pass", "at-limit", "fail"};

    return words[verdict];
}

static bool belongs(const struct row *row, struct optics_rule_key key)
{
    return row->profile == key.profile && row->group == key.group &&
           (row->lenses & LENSES[key.type]) != 0;
}

static bool starts(const struct row *row, double value)
{
    return row->from == FROM ? value >= row->low - MEET
                             : value > row->low + MEET;
}

static void add_rule(
    struct optics_ruling *line, const struct row *row, double value)
{
    struct optics_rule rule = {
        .group = row->group,
        .unit = row->unit,
        .limit = row->limit,
        .source = row->source,
    };

    if (row->unit == OPTICS_UNIT_PERCENT) {
        rule.unit = OPTICS_UNIT_D;
        rule.limit = row->limit * value / 100;
    }
    for (size_t i = 0; i < line->n; i++)
        if (line->rules[i].group == rule.group &&
            line->rules[i].unit == rule.unit &&
            fabs(line->rules[i].limit - rule.limit) < MEET)
            return;
    if (line->n < OPTICS_RULES_MAX)
        line->rules[line->n++] = rule;
}

/* The rows next to a value that none holds, where it has one on both sides. */
static void add_gap(
    struct optics_ruling *line, struct optics_rule_key key, double value)
{
    const struct row *below = NULL, *above = NULL;

    for (const struct row *row = ROWS; row < ROWS + N_ROWS; row++) {
        if (!belongs(row, key))
            continue;
        if (starts(row, value))
            below = row;
        else if (!above)
            above = row;
    }
    if (!below || !above)
        return;
    add_rule(line, below, value);
    add_rule(line, above, value);
}

void optics_rules_add(
    struct optics_ruling *line, struct optics_rule_key key, double value)
{
    bool held = false;

    value = fabs(value);
    for (const struct row *row = ROWS; row < ROWS + N_ROWS; row++) {
        if (!belongs(row, key) || !starts(row, value) ||
            value > row->high + MEET)
            continue;
        add_rule(line, row, value);
        held = true;
    }
    if (!held)
        add_gap(line, key, value);
}

static void hold(struct optics_rule *rule, double error)
{
    rule->error = optics_clean(fabs(error));
    rule->pass = rule->error <= rule->limit + MEET;
    rule->known = true;
}

void optics_rules_hold(
    struct optics_ruling *line, enum optics_unit unit, double error)
{
    for (size_t i = 0; i < line->n; i++)
        if (line->rules[i].unit == unit)
            hold(&line->rules[i], error);
}

void optics_rules_judge(struct optics_ruling *line)
{
    size_t passed = 0, failed = 0;

    for (size_t i = 0; i < line->n; i++) {
        passed += line->rules[i].known && line->rules[i].pass;
        failed += line->rules[i].known && !line->rules[i].pass;
    }
    if (failed > 0)
        line->verdict = passed > 0 ? OPTICS_AT_LIMIT : OPTICS_FAIL;
    else
        line->verdict =
            line->n > 0 && passed == line->n ? OPTICS_PASS : OPTICS_NOT_JUDGED;
}

static void judge_sphere(struct optics_ruling *line, struct optics_rule_key key,
    struct optics_power ordered, struct optics_power measured)
{
    double other = ordered.sph + ordered.cyl;
    bool by_other = fabs(other) > fabs(ordered.sph) + MEET;
    double sphere_error = measured.sph - ordered.sph;
    double other_error = measured.sph + measured.cyl - other;

    key.group = OPTICS_GROUP_SPHERE;
    optics_rules_add(line, key, ordered.sph);
    key.group = OPTICS_GROUP_STRONGEST;
    optics_rules_add(line, key, by_other ? other : ordered.sph);
    for (size_t i = 0; i < line->n; i++)
        hold(&line->rules[i],
            by_other && line->rules[i].group == OPTICS_GROUP_STRONGEST
                ? other_error
                : sphere_error);
    optics_rules_judge(line);
}

enum optics_fault optics_tolerance_power(enum optics_profile profile,
    enum optics_lens_type type, struct optics_power ordered,
    struct optics_power measured, struct optics_power_ruling *ret)
{
    struct optics_rule_key key = {profile, type, OPTICS_GROUP_CYLINDER};
    struct optics_power_ruling r = {0};
    enum optics_fault fault = optics_power_check(ordered);

    if (fault == OPTICS_OK)
        fault = optics_power_check(measured);
    if (fault != OPTICS_OK)
        return fault;
    ordered = optics_power_as(ordered, OPTICS_MINUS_CYL);
    measured = optics_power_as(measured, OPTICS_MINUS_CYL);
    judge_sphere(&r.sphere, key, ordered, measured);
    optics_rules_add(&r.cylinder, key, ordered.cyl);
    optics_rules_hold(&r.cylinder, OPTICS_UNIT_D, measured.cyl - ordered.cyl);
    optics_rules_judge(&r.cylinder);
    key.group = OPTICS_GROUP_AXIS;
    if (ordered.axis != 0)
        optics_rules_add(&r.axis, key, ordered.cyl);
    if (measured.axis != 0)
        optics_rules_hold(&r.axis, OPTICS_UNIT_DEG,
            optics_axis_difference(measured.axis, ordered.axis));
    optics_rules_judge(&r.axis);
    *ret = r;
    return OPTICS_OK;
}

static void judge_place(struct optics_ruling *line, struct optics_rule_key key,
    double power, double prism, double mm)
{
    *line = (struct optics_ruling){0};
    optics_rules_add(line, key, power);
    optics_rules_hold(line, OPTICS_UNIT_PRISM, prism);
    optics_rules_hold(line, OPTICS_UNIT_MM_EACH, mm);
    optics_rules_hold(line, OPTICS_UNIT_MM_PAIR, mm);
    optics_rules_judge(line);
}

enum optics_fault optics_tolerance_prism(enum optics_profile profile,
    enum optics_lens_type type, struct optics_pair_errors pair,
    struct optics_ruling *ret_vertical, struct optics_ruling *ret_horizontal)
{
    struct optics_rule_key key = {profile, type, OPTICS_GROUP_VERTICAL};
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_VERTICAL_POWER, pair.vertical_power},
        {OPTICS_BAD_HORIZONTAL_POWER, pair.horizontal_power},
        {OPTICS_BAD_VERTICAL_IMBALANCE, pair.vertical_imbalance},
        {OPTICS_BAD_VERTICAL_MM, pair.vertical_mm},
        {OPTICS_BAD_HORIZONTAL_IMBALANCE, pair.horizontal_imbalance},
        {OPTICS_BAD_HORIZONTAL_MM, pair.horizontal_mm},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    judge_place(ret_vertical, key, pair.vertical_power, pair.vertical_imbalance,
        pair.vertical_mm);
    key.group = OPTICS_GROUP_HORIZONTAL;
    judge_place(ret_horizontal, key, pair.horizontal_power,
        pair.horizontal_imbalance, pair.horizontal_mm);
    return OPTICS_OK;
}

enum optics_fault optics_axis_tolerance(
    double cylinder, double error, double *ret_deg)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_CYLINDER, cylinder},
        {OPTICS_BAD_ERROR, error},
        {OPTICS_OK, 0},
    });

    if (fault != OPTICS_OK)
        return fault;
    if (fabs(cylinder) < MEET)
        return OPTICS_BAD_NO_CYLINDER;
    *ret_deg =
        asin(fmin(error / (2 * fabs(cylinder)), 1)) * 180 / acos(-1) + 0.0;
    return OPTICS_OK;
}
