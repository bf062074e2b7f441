#include "record/step.h"

#include "base/arena.h"
#include "base/num.h"
#include "optics/round.h"
#include "record/power.h"

const char *const RECORD_TESTS[] = {"retinoscopy", "fogging", "best-sphere",
    "duochrome", "cross-cylinder-axis", "cross-cylinder-power", "fan-and-block",
    "stenopaeic-slit", "pinhole", "balance", "near", "cover-test", "maddox-rod",
    "von-graefe", "fixation-disparity", "trial-frame", "patient-preference",
    "jackson-cross-cylinder", "red-green", "binocular-balance", "phoria",
    "vergence", "worth-four-dot", "stereopsis", "cycloplegic",
    "over-refraction", "typed", "other", NULL};

static const char *const FORMS[] = {"minus", "plus", NULL};

/* ---- reading ---------------------------------------------------------- */

static void read_prism(struct json_in in, enum record_field field, int32_t *ret)
{
    static const char *const names[] = {"amount", "base", NULL};
    static const char *const horizontal[] = {"in", "out", NULL};
    static const char *const vertical[] = {"up", "down", NULL};
    static const double range[] = {0, RECORD_PRISM_MAX_CD / 100.0};
    bool up = field == RECORD_FIELD_PRISM_VERTICAL ||
              field == RECORD_FIELD_NEAR_PRISM_VERTICAL;
    struct json_in amount = json_in_get(in, "amount");
    struct json_in base = json_in_get(in, "base");
    int32_t cd;
    int word;

    if (!json_in_object(in, names) && !json_is_object(in.value))
        return;
    if (json_in_need(amount) && json_in_need(base) &&
        json_in_scaled(amount, 2, range, &cd) &&
        json_in_choice(base, up ? vertical : horizontal, &word) && cd)
        *ret = word ? -cd : cd;
}

/* One {"amount","base"}, or the list of them that an eye has. */
static void read_whole_prism(
    struct json_in in, enum record_side side, int32_t *ret)
{
    struct record_prism prism;
    struct json_in list = in;
    json_auto_t *one = NULL;

    if (json_is_object(in.value)) {
        one = json_pack("[O]", in.value);
        list.value = one;
    }
    if (record_prism_read(list, side, &prism))
        *ret = record_prism_pack(prism.in_cd, prism.up_cd);
}

static void read_lens(struct json_in in, int32_t *ret)
{
    int word;

    if (json_in_choice(in, RECORD_LENS_WORDS, &word))
        *ret = word;
}

static void read_axis(struct json_in in, int32_t *ret_cdeg)
{
    static const double range[] = {1, 180};
    int32_t deg;

    if (json_in_scaled(in, 0, range, &deg))
        *ret_cdeg = deg * 100;
}

/* One figure; *ret stays NUM_ABSENT when there is none. */
static void read_figure(struct json_in in, const struct record_step *step,
    enum record_side side, int32_t *ret)
{
    static const double sphere[] = {-40, 40}, minus[] = {-20, 0},
                        plus[] = {0, 20}, vertex[] = {0, 30};

    *ret = NUM_ABSENT;
    if (!json_in_here(in))
        return;
    switch (step->field) {
    case RECORD_FIELD_SPHERE:
        json_in_scaled(in, 2, sphere, ret);
        break;
    case RECORD_FIELD_CYLINDER:
        json_in_scaled(
            in, 2, step->form == OPTICS_PLUS_CYL ? plus : minus, ret);
        break;
    case RECORD_FIELD_AXIS:
        read_axis(in, ret);
        break;
    case RECORD_FIELD_ADD:
    case RECORD_FIELD_INTERMEDIATE_ADD:
        record_add_read(in, ret);
        break;
    case RECORD_FIELD_PRISM:
        read_whole_prism(in, side, ret);
        break;
    case RECORD_FIELD_LENS:
        read_lens(in, ret);
        break;
    case RECORD_FIELD_VERTEX_MM:
        json_in_scaled(in, 2, vertex, ret);
        break;
    default:
        read_prism(in, step->field, ret);
    }
}

/* from or to: one figure, or one for each eye. */
static void read_figures(
    struct json_in in, const struct record_step *step, int32_t ret[2])
{
    static const char *const names[] = {"right", "left", NULL};
    bool apart = json_in_here(json_in_get(in, "right")) ||
                 json_in_here(json_in_get(in, "left"));

    if (step->eye == RECORD_BOTH && apart) {
        json_in_object(in, names);
        read_figure(json_in_get(in, "right"), step, RECORD_RIGHT, &ret[0]);
        read_figure(json_in_get(in, "left"), step, RECORD_LEFT, &ret[1]);
        return;
    }
    read_figure(in, step, step->eye, &ret[0]);
    ret[1] = ret[0];
}

/* Some fields can be emptied by null, others always hold something. */
static void need_to(struct json_in in, const struct record_step *step)
{
    bool may_be_empty =
        step->field >= RECORD_FIELD_ADD && step->field != RECORD_FIELD_LENS;

    if (may_be_empty)
        return;
    for (int side = 0; side < 2; side++)
        if (record_step_concerns(step->eye, side) &&
            step->to[side] == NUM_ABSENT) {
            err_fault(in.err, in.pointer, "is required");
            return;
        }
}

static void read_belongings(struct json_in in, const struct record_step *step)
{
    struct json_in axis = json_in_get(in, "axis");
    struct json_in hold = json_in_get(in, "hold_equivalent");
    struct json_in form = json_in_get(in, "form");

    if (step->field > RECORD_FIELD_AXIS && json_in_here(form))
        err_fault(form.err, form.pointer,
            "belongs to a sphere, a cylinder or an axis");
    if (step->field != RECORD_FIELD_CYLINDER) {
        if (json_in_here(axis))
            err_fault(axis.err, axis.pointer, "belongs to a cylinder");
        if (json_in_here(hold))
            err_fault(hold.err, hold.pointer, "belongs to a cylinder");
    }
}

static void read_extras(struct json_in in, struct record_step *step)
{
    struct json_in acuity = json_in_get(in, "acuity");
    int word;

    if (json_in_choice(json_in_get(in, "form"), FORMS, &word))
        step->form = (enum optics_form)word;
    read_axis(json_in_get(in, "axis"), &step->axis_cdeg);
    json_in_bool(json_in_get(in, "hold_equivalent"), &step->hold_equivalent);
    if (json_in_choice(json_in_get(in, "test"), RECORD_TESTS, &word))
        step->test = RECORD_TESTS[word];
    if (json_in_here(acuity))
        record_acuity_read(acuity, &step->acuity);
}

/* What no field takes: a text that isn't a lens, or true or false. */
static void check_any_figure(struct json_in in)
{
    int32_t lens;

    if (json_is_boolean(in.value))
        err_fault(in.err, in.pointer, "is no figure of any field");
    else if (json_is_string(in.value))
        read_lens(in, &lens);
}

/* from and to while the field isn't known. */
static void check_loose_figures(struct json_in in)
{
    struct json_in to = json_in_get(in, "to");

    check_any_figure(json_in_get(in, "from"));
    check_any_figure(to);
    if (!json_object_get(in.value, "to"))
        err_fault(to.err, to.pointer, "is required");
}

static void read_change(struct json_in in, struct record_step *step)
{
    struct json_in to = json_in_get(in, "to");
    size_t before;

    read_belongings(in, step);
    read_figures(json_in_get(in, "from"), step, step->from);
    before = in.err->n_faults;
    read_figures(to, step, step->to);
    if (in.err->n_faults == before)
        need_to(to, step);
}

bool record_step_read(struct json_in in, struct record_step *ret)
{
    static const char *const names[] = {"eye", "field", "from", "to", "test",
        "form", "axis", "hold_equivalent", "acuity", NULL};
    struct json_in eye = json_in_get(in, "eye");
    struct json_in field = json_in_get(in, "field");
    size_t before = in.err->n_faults;
    struct record_step step = {.axis_cdeg = NUM_ABSENT};
    int word;

    if (!json_in_object(in, names) && !json_is_object(in.value))
        return false;
    json_in_need(eye);
    if (!record_eyes_read(eye, &step.eye))
        step.eye = RECORD_BOTH; /* to judge the figures, whose ever they are */
    json_in_need(field);
    read_extras(in, &step);
    if (json_in_choice(field, RECORD_FIELD_WORDS, &word)) {
        step.field = (enum record_field)word;
        if (step.field == RECORD_FIELD_VERTEX_MM && step.eye != RECORD_BOTH)
            err_fault(eye.err, eye.pointer, "must be both for vertex_mm");
        read_change(in, &step);
    } else {
        check_loose_figures(in);
    }
    if (in.err->n_faults > before)
        return false;
    *ret = step;
    return true;
}

/* ---- writing ---------------------------------------------------------- */

static void write_figures(struct json_out *o, const char *key,
    const struct record_step *step, const int32_t figures[2])
{
    if (step->eye != RECORD_BOTH || step->field == RECORD_FIELD_VERTEX_MM ||
        figures[0] == figures[1]) {
        int side = step->eye == RECORD_LEFT;

        record_field_write(o, key, step->field, figures[side]);
        return;
    }
    json_out_object(o, key);
    record_field_write(o, "right", step->field, figures[0]);
    record_field_write(o, "left", step->field, figures[1]);
    json_out_object_end(o);
}

void record_step_write(struct json_out *o, const struct record_step *step)
{
    write_figures(o, "from", step, step->from);
    write_figures(o, "to", step, step->to);
    if (step->axis_cdeg != NUM_ABSENT)
        json_out_int(o, "axis", step->axis_cdeg / 100);
    json_out_text(o, "test", step->test);
    record_acuity_write(o, "acuity", &step->acuity);
}

void record_step_write_standing(struct json_out *o, const char *key,
    const struct record_step *step, const struct record_refraction *r)
{
    int32_t figures[2];

    for (int side = 0; side < 2; side++)
        figures[side] = record_field_standing(r, step->field, step->form, side);
    write_figures(o, key, step, figures);
}

/* ---- the clinic's steps ----------------------------------------------- */

static bool on_grid(const struct record_step *step,
    const struct record_grid *grid, int32_t figure)
{
    int32_t count, in_cd, up_cd;

    switch (step->field) {
    case RECORD_FIELD_SPHERE:
    case RECORD_FIELD_CYLINDER:
    case RECORD_FIELD_ADD:
    case RECORD_FIELD_INTERMEDIATE_ADD:
        if (grid->sphere_cd == 12)
            return optics_step_count(OPTICS_STEP_EIGHTH, figure, &count);
        return figure % grid->sphere_cd == 0;
    case RECORD_FIELD_AXIS:
        return figure % (grid->axis_deg * 100) == 0;
    case RECORD_FIELD_PRISM:
        record_prism_unpack(figure, &in_cd, &up_cd);
        return in_cd % grid->prism_cd == 0 && up_cd % grid->prism_cd == 0;
    case RECORD_FIELD_LENS:
    case RECORD_FIELD_VERTEX_MM:
        return true;
    default:
        return figure % grid->prism_cd == 0;
    }
}

const char *record_step_off_grid(const struct record_step *step,
    const struct record_grid *grid, struct arena *arena)
{
    char buf[NUM_TEXT_MAX];

    for (int side = 0; side < 2; side++) {
        int32_t figure = step->to[side];

        if (!record_step_concerns(step->eye, side) || figure == NUM_ABSENT ||
            on_grid(step, grid, figure))
            continue;
        if (step->field == RECORD_FIELD_AXIS)
            return arena_printf(arena,
                "%s is off the clinic's steps of %d degrees",
                record_field_text(step->field, figure, arena), grid->axis_deg);
        return arena_printf(arena, "%s is off the clinic's steps of %s",
            record_field_text(step->field, figure, arena),
            num_text(step->field > RECORD_FIELD_INTERMEDIATE_ADD
                         ? grid->prism_cd
                         : grid->sphere_cd,
                2, buf));
    }
    return NULL;
}
