/* Words are the trade's: exo, eso, hyper, break, recovery, fusion. */
#include "record/exam_shapes.h"

#include "record/reading.h"

#define TEXT(name_, max_)                                                      \
    {                                                                          \
        .name = (name_), .what = RECORD_SHAPE_TEXT, .max = (max_)              \
    }
#define YES(name_)                                                             \
    {                                                                          \
        .name = (name_), .what = RECORD_SHAPE_YES                              \
    }
#define WORD(name_, words_)                                                    \
    {                                                                          \
        .name = (name_), .what = RECORD_SHAPE_WORD, .words = (words_)          \
    }
#define ID(name_)                                                              \
    {                                                                          \
        .name = (name_), .what = RECORD_SHAPE_ID                               \
    }
#define OBJECT(name_, members_)                                                \
    {                                                                          \
        .name = (name_), .what = RECORD_SHAPE_OBJECT, .members = (members_)    \
    }
#define LIST(name_, max_, members_)                                            \
    {                                                                          \
        .name = (name_), .what = RECORD_SHAPE_LIST, .max = (max_),             \
        .members = (members_)                                                  \
    }
#define NUMBER(name_, low_, high_, places_)                                    \
    {                                                                          \
        .name = (name_), .what = RECORD_SHAPE_NUMBER, .range = {low_, high_},  \
        .places = (places_)                                                    \
    }
#define FIXED(name_, low_, high_)                                              \
    {                                                                          \
        .name = (name_), .what = RECORD_SHAPE_FIXED, .range = {low_, high_},   \
        .places = 2                                                            \
    }

static const char *const DIABETES[] = {
    "none", "type-1", "type-2", "gestational", "other", "unknown", NULL};

/* Complaints that local rules may ask to refer; cautions at signing. */
static const char *const WARNINGS[] = {"new-diplopia", "field-loss", "eye-pain",
    "sudden-loss-of-vision", "flashes-or-floaters",
    "headache-with-vision-change", NULL};

static const struct record_shape TASK[] = {
    {.name = "name", .what = RECORD_SHAPE_TEXT, .needed = true, .max = 200},
    NUMBER("distance_mm", 100, 20000, 0), {0}};

const struct record_shape RECORD_HISTORY_SHAPE[] = {TEXT("complaint", 2000),
    TEXT("notes", 4000), TEXT("medication", 2000), TEXT("allergies", 2000),
    TEXT("general_health", 2000), TEXT("eye_history", 2000),
    TEXT("family_history", 2000), TEXT("occupation", 200),
    WORD("diabetes", DIABETES), YES("pregnant"), YES("contact_lenses"),
    {.name = "warning_signs",
        .what = RECORD_SHAPE_WORDS,
        .max = 10,
        .words = WARNINGS},
    LIST("tasks", 20, TASK), {0}};

/* One reading of each kind stands for what was measured today; the names are
 * the kinds. */
const struct record_shape RECORD_OBJECTIVE_SHAPE[] = {ID("autorefraction"),
    ID("lensometry"), ID("keratometry"), ID("subjective"), ID("acuity"),
    ID("retinoscopy"), ID("over-refraction"),
    {.name = "others", .what = RECORD_SHAPE_IDS, .max = 20}, {0}};

const struct record_shape RECORD_CONDITION_SHAPE[] = {YES("cycloplegic"),
    TEXT("drug", 200), NUMBER("minutes_since", 0, 10080, 0),
    NUMBER("test_distance_m", 0.2, 20, 3), {0}};

static const char *const HORIZONTAL[] = {"exo", "eso", NULL};
static const char *const VERTICAL[] = {"right-hyper", "left-hyper", NULL};
static const char *const TURN[] = {"phoria", "tropia", NULL};
static const char *const PHORIA_METHODS[] = {"cover-test", "prism-cover-test",
    "maddox-rod", "von-graefe", "fixation-disparity", "other", NULL};
static const char *const BASES[] = {
    "base-in", "base-out", "base-up", "base-down", NULL};
static const char *const EYES[] = {"right", "left", NULL};
static const char *const FOUR_DOT[] = {"fusion", "suppression-right",
    "suppression-left", "alternating", "diplopia-crossed", "diplopia-uncrossed",
    "diplopia-vertical", NULL};

static const struct record_shape HORIZONTAL_PART[] = {
    {.name = "amount",
        .what = RECORD_SHAPE_FIXED,
        .needed = true,
        .range = {0, 60},
        .places = 2},
    {.name = "direction", .what = RECORD_SHAPE_WORD, .words = HORIZONTAL}, {0}};

static const struct record_shape VERTICAL_PART[] = {
    {.name = "amount",
        .what = RECORD_SHAPE_FIXED,
        .needed = true,
        .range = {0, 60},
        .places = 2},
    {.name = "direction", .what = RECORD_SHAPE_WORD, .words = VERTICAL}, {0}};

static const struct record_shape PHORIA[] = {{.name = "distance",
                                                 .what = RECORD_SHAPE_WORD,
                                                 .needed = true,
                                                 .words = RECORD_DISTANCES},
    OBJECT("horizontal", HORIZONTAL_PART), OBJECT("vertical", VERTICAL_PART),
    WORD("turn", TURN), WORD("method", PHORIA_METHODS),
    WORD("with", RECORD_ACUITY_WITH), {0}};

static const struct record_shape VERGENCE[] = {{.name = "distance",
                                                   .what = RECORD_SHAPE_WORD,
                                                   .needed = true,
                                                   .words = RECORD_DISTANCES},
    {.name = "direction",
        .what = RECORD_SHAPE_WORD,
        .needed = true,
        .words = BASES},
    FIXED("blur", 0, 60), FIXED("break", 0, 60), FIXED("recovery", -60, 60),
    {0}};

static const struct record_shape WORTH[] = {
    WORD("far", FOUR_DOT), WORD("near", FOUR_DOT), {0}};

static const struct record_shape CONVERGENCE[] = {
    NUMBER("break_mm", 0, 1000, 0), NUMBER("recovery_mm", 0, 1000, 0), {0}};

const struct record_shape RECORD_BINOCULAR_SHAPE[] = {
    LIST("phorias", 20, PHORIA), LIST("vergences", 20, VERGENCE),
    OBJECT("worth_four_dot", WORTH), NUMBER("stereo_arcsec", 1, 10000, 0),
    TEXT("stereo_test", 200), OBJECT("near_point_of_convergence", CONVERGENCE),
    NUMBER("aca_ratio", 0, 20, 2), WORD("dominant_eye", EYES),
    TEXT("notes", 4000), {0}};

static const char *const ADD_FROM[] = {"near_total", NULL};

static const struct record_shape NEAR_EYE[] = {FIXED("add", 0.25, 20),
    WORD("add_from", ADD_FROM), FIXED("intermediate_add", 0.25, 20),
    FIXED("amplitude", 0, 25), {0}};

static const char *const ADD_METHODS[] = {"age", "amplitude", "fused-cross",
    "plus-build-up", "range", "typed", "other", NULL};

const struct record_shape RECORD_NEAR_SHAPE[] = {
    NUMBER("working_distance_mm", 100, 2000, 0), OBJECT("right", NEAR_EYE),
    OBJECT("left", NEAR_EYE), NUMBER("intermediate_distance_mm", 200, 2000, 0),
    WORD("method", ADD_METHODS), LIST("tasks", 20, TASK),
    NUMBER("clear_from_mm", 30, 5000, 0), NUMBER("clear_to_mm", 30, 20000, 0),
    TEXT("notes", 4000), {0}};
