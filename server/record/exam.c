#include "record/exam.h"

#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "record/exam_shapes.h"

const char *const RECORD_SECTIONS[] = {"history", "acuities", "objective",
    "subjective", "binocular", "near", "final", NULL};
const char *const RECORD_ACUITY_STAGES[] = {
    "nothing", "habitual", "working", "final", "pinhole", NULL};

static const char *const OUTCOMES[] = {"new", "unchanged", "none-needed", NULL};

#define ACUITIES_MAX 100

const char *record_outcome_word(enum record_outcome outcome)
{
    return outcome == RECORD_OUTCOME_UNSAID ? NULL : OUTCOMES[outcome - 1];
}

/* ---- subjective and final -------------------------------------------- */

static void read_expires(struct json_in in, const char **ret)
{
    const char *date;

    if (!json_in_date(in, &date))
        return;
    if (strlen(date) != strlen("2026-03-02"))
        err_fault(in.err, in.pointer, "must be a full date, as 2028-03-02");
    else
        *ret = arena_strdup(in.err->arena, date);
}

bool record_final_read(struct json_in in, struct record_final *ret)
{
    size_t before = in.err->n_faults;
    int word;

    *ret = (struct record_final){.figures = record_refraction_none()};
    if (!json_is_object(in.value))
        return true;
    record_refraction_read(in, &ret->figures);
    if (json_in_choice(json_in_get(in, "purpose"), RECORD_PURPOSES, &word))
        ret->purpose = RECORD_PURPOSES[word];
    if (json_in_choice(json_in_get(in, "outcome"), OUTCOMES, &word))
        ret->outcome = (enum record_outcome)(word + 1);
    read_expires(json_in_get(in, "expires_on"), &ret->expires_on);
    return in.err->n_faults == before;
}

static void write_final(struct json_out *o, const struct record_final *f)
{
    record_refraction_write(o, &f->figures);
    if (f->purpose)
        json_out_text(o, "purpose", f->purpose);
    if (f->expires_on)
        json_out_text(o, "expires_on", f->expires_on);
    if (f->outcome != RECORD_OUTCOME_UNSAID)
        json_out_text(o, "outcome", record_outcome_word(f->outcome));
}

void record_final_write(
    struct json_out *o, const char *key, const struct record_final *f)
{
    json_out_object(o, key);
    write_final(o, f);
    json_out_object_end(o);
}

static void copy_refraction(
    struct json_in in, const char *key, bool subjective, struct json_out *o)
{
    static const char *const subjective_names[] = {"right", "left", "vertex_mm",
        "vertex_assumed", "pd_mm", "purpose", "expires_on", "outcome",
        "condition", NULL};
    static const char *const final_names[] = {"right", "left", "vertex_mm",
        "vertex_assumed", "pd_mm", "purpose", "expires_on", "outcome", NULL};
    struct json_in condition = json_in_get(in, "condition");
    struct record_final f;

    if (!json_in_object(in, subjective ? subjective_names : final_names) &&
        !json_is_object(in.value))
        return;
    record_final_read(in, &f);
    json_out_object(o, key);
    write_final(o, &f);
    if (subjective && json_in_here(condition))
        record_shape_copy(condition, RECORD_CONDITION_SHAPE, o, "condition");
    json_out_object_end(o);
}

/* ---- acuities -------------------------------------------------------- */

/* The three members of an acuity, out of an item that has more. */
static bool read_acuity(struct json_in in, struct record_acuity *ret)
{
    static const char *const names[] = {"notation", "text", "logmar"};
    json_t *part = json_object();
    struct json_in at = {part, in.pointer, in.err};
    bool good;

    for (size_t i = 0; i < ARRAY_LEN(names); i++) {
        json_t *member = json_object_get(in.value, names[i]);

        if (member)
            json_object_set(part, names[i], member);
    }
    good = record_acuity_read(at, ret); /* its texts are in err's arena */
    json_decref(part);
    return good;
}

static void need_choice(struct json_in in, const char *const words[], int *ret)
{
    if (json_in_need(in))
        json_in_choice(in, words, ret);
}

static bool read_item(struct json_in in, struct record_exam_acuity *ret)
{
    static const char *const names[] = {"eye", "distance", "distance_m", "with",
        "notation", "text", "logmar", NULL};
    size_t before = in.err->n_faults;
    struct json_in eye;

    if (!json_is_object(in.value)) {
        err_fault(in.err, in.pointer, "must be an object");
        return false;
    }
    *ret = (struct record_exam_acuity){0};
    json_in_object(in, names);
    eye = json_in_get(in, "eye");
    if (json_in_need(eye))
        record_eyes_read(eye, &ret->eye);
    need_choice(json_in_get(in, "distance"), RECORD_DISTANCES, &ret->distance);
    need_choice(json_in_get(in, "with"), RECORD_ACUITY_STAGES, &ret->with);
    read_acuity(in, &ret->acuity);
    return in.err->n_faults == before;
}

static void copy_item(struct json_in in, struct json_out *o)
{
    static const double range[] = {0.1, 20};
    struct record_exam_acuity item;
    int32_t mm;

    if (!read_item(in, &item))
        return;
    json_out_object(o, NULL);
    json_out_text(o, "eye", record_side_word(item.eye));
    json_out_text(o, "distance", RECORD_DISTANCES[item.distance]);
    if (json_in_scaled(json_in_get(in, "distance_m"), 3, range, &mm))
        json_out_number(o, "distance_m", mm / 1000.0, 3);
    json_out_text(o, "with", RECORD_ACUITY_STAGES[item.with]);
    json_out_text(o, "notation", item.acuity.notation);
    json_out_text(o, "text", item.acuity.text);
    if (item.acuity.has_logmar)
        json_out_number(o, "logmar", item.acuity.value.logmar, 4);
    json_out_object_end(o);
}

static void copy_acuities(struct json_in in, struct json_out *o)
{
    size_t n;

    if (!json_in_array(in, 0, ACUITIES_MAX, &n))
        return;
    json_out_array(o, "acuities");
    for (size_t i = 0; i < n; i++)
        copy_item(json_in_item(in, i), o);
    json_out_array_end(o);
}

bool record_acuities_best(struct json_in acuities, enum record_side eye,
    const char *stage, const char *or_stage, struct record_acuity *ret)
{
    bool found = false;

    for (size_t i = 0; i < json_array_size(acuities.value); i++) {
        struct record_exam_acuity item;
        const char *with;

        if (!read_item(json_in_item(acuities, i), &item))
            continue;
        with = RECORD_ACUITY_STAGES[item.with];
        if (item.eye != eye || item.distance != 0 ||
            (!item.acuity.has_logmar &&
                item.acuity.value.level == OPTICS_LEVEL_NUMBER) ||
            (strcmp(with, stage) != 0 &&
                (!or_stage || strcmp(with, or_stage) != 0)))
            continue;
        if (found && optics_acuity_compare(item.acuity.value, ret->value) <= 0)
            continue;
        *ret = item.acuity;
        found = true;
    }
    return found;
}

/* ---- all of them ----------------------------------------------------- */

static void copy_shape(struct json_in in, const char *name, struct json_out *o)
{
    static const struct {
        const char *name;
        const struct record_shape *shape;
    } shapes[] = {{"history", RECORD_HISTORY_SHAPE},
        {"objective", RECORD_OBJECTIVE_SHAPE},
        {"binocular", RECORD_BINOCULAR_SHAPE}, {"near", RECORD_NEAR_SHAPE}};

    for (size_t i = 0; i < ARRAY_LEN(shapes); i++)
        if (strcmp(shapes[i].name, name) == 0)
            record_shape_copy(in, shapes[i].shape, o, name);
}

bool record_sections_copy(struct json_in in, struct json_out *o)
{
    size_t before = in.err->n_faults;

    for (int i = 0; RECORD_SECTIONS[i]; i++) {
        const char *name = RECORD_SECTIONS[i];
        struct json_in section = json_in_get(in, name);

        if (!json_in_here(section))
            continue;
        if (strcmp(name, "acuities") == 0)
            copy_acuities(section, o);
        else if (strcmp(name, "subjective") == 0)
            copy_refraction(section, name, true, o);
        else if (strcmp(name, "final") == 0)
            copy_refraction(section, name, false, o);
        else
            copy_shape(section, name, o);
    }
    return in.err->n_faults == before;
}

static void check_eye_patch(struct json_in eye)
{
    struct json_in cyl = json_in_get(eye, "cylinder");

    if (!json_is_number(cyl.value) || json_number_value(cyl.value) <= 0)
        return;
    if (!json_in_here(json_in_get(eye, "sphere")) ||
        !json_in_here(json_in_get(eye, "axis")))
        err_fault(cyl.err, cyl.pointer,
            "needs the sphere and the axis of the plus-cylinder form beside "
            "it; what stands is in minus form");
}

void record_sections_check_patch(struct json_in patch)
{
    static const char *const sections[] = {"subjective", "final"};

    for (size_t i = 0; i < ARRAY_LEN(sections); i++) {
        struct json_in section = json_in_get(patch, sections[i]);

        check_eye_patch(json_in_get(section, "right"));
        check_eye_patch(json_in_get(section, "left"));
    }
}

size_t record_objective_named(
    struct json_in objective, struct record_named *ret, size_t max)
{
    struct err scratch = ERR_INIT(objective.err->arena);
    struct json_in in = {objective.value, objective.pointer, &scratch};
    struct json_in others = json_in_get(in, "others");
    size_t n = 0;

    for (int i = 0; RECORD_KIND_WORDS[i] && n < max; i++) {
        struct json_in at = json_in_get(in, RECORD_KIND_WORDS[i]);

        if (json_in_uuid(at, &ret[n].id)) {
            ret[n].kind = RECORD_KIND_WORDS[i];
            ret[n++].pointer = at.pointer;
        }
    }
    for (size_t i = 0; i < json_array_size(others.value) && n < max; i++) {
        struct json_in at = json_in_item(others, i);

        if (json_in_uuid(at, &ret[n].id)) {
            ret[n].kind = "";
            ret[n++].pointer = at.pointer;
        }
    }
    return n;
}
