#include "record/reading.h"

#include <string.h>

#include "base/arena.h"
#include "base/num.h"

const char *const RECORD_KIND_WORDS[] = {"autorefraction", "lensometry",
    "keratometry", "subjective", "acuity", "retinoscopy", "over-refraction",
    NULL};
const char *const RECORD_LENS_TYPES[] = {"single-vision", "bifocal", "trifocal",
    "progressive", "occupational", "not-progressive", NULL};
const char *const RECORD_ACUITY_WITH[] = {"nothing", "habitual", "working",
    "final", "pinhole", "autorefraction", "best-corrected", "potential-acuity",
    "brightness-test", NULL};
const char *const RECORD_DISTANCES[] = {"far", "intermediate", "near", NULL};

static void eye_clear(struct record_reading_eye *eye)
{
    const struct record_add no_add = {NUM_ABSENT, NUM_ABSENT};

    *eye = (struct record_reading_eye){
        .sent = {NUM_ABSENT, NUM_ABSENT, NUM_ABSENT},
        .add = no_add,
        .intermediate_add = no_add,
        .second_add = no_add,
        .near_total_cd = NUM_ABSENT,
        .cornea = record_cornea_none(),
        .pupil_mm100 = NUM_ABSENT,
        .cornea_mm100 = NUM_ABSENT,
        .transmittance_e2 = NUM_ABSENT,
        .channel_mm100 = NUM_ABSENT,
    };
}

struct record_reading *record_reading_new(struct arena *arena)
{
    struct record_reading *r = arena_calloc(arena, 1, sizeof(*r));

    r->arena = arena;
    r->condition.minutes_since = NUM_ABSENT;
    r->condition.test_distance_mm = NUM_ABSENT;
    r->vertex_mm100 = NUM_ABSENT;
    r->working_mm = NUM_ABSENT;
    r->pd = (struct record_pd)RECORD_PD_NONE;
    for (int side = 0; side < RECORD_SIDES; side++)
        eye_clear(&r->eyes[side]);
    r->cautions_end = &r->cautions;
    return r;
}

bool record_kind_refracts(enum record_kind kind)
{
    return kind != RECORD_KERATOMETRY && kind != RECORD_ACUITY;
}

/* Each repeat in the record's form, then their mean. */
static void compute_repeats(struct arena *arena, struct record_reading_eye *eye)
{
    struct optics_power *powers =
        arena_calloc(arena, eye->n_repeats, sizeof(*powers));

    for (size_t i = 0; i < eye->n_repeats; i++) {
        eye->repeats[i].power = record_power_from(eye->repeats[i].sent);
        powers[i] = optics_power_of_rx(eye->repeats[i].power);
    }
    /* The decoder kept every repeat in range and their number within 1000. */
    (void)optics_mean(powers, eye->n_repeats, &eye->mean);
}

/* What one looks at through a lens of -1000 / mm dioptres is at the same
 * place as the retinoscope, so its power is taken off the sphere. */
int32_t record_working_cd(int32_t mm)
{
    return (int32_t)num_round(1000.0 / mm, 2);
}

static void compute_eye(
    const struct record_reading *r, struct record_reading_eye *eye)
{
    if (eye->n_repeats)
        compute_repeats(r->arena, eye);
    if (eye->sent.sph_cd == NUM_ABSENT && eye->n_repeats == 1)
        eye->sent = eye->repeats[0].sent;
    if (eye->sent.sph_cd != NUM_ABSENT) {
        eye->power = record_power_from(eye->sent);
        eye->source = RECORD_FROM_SENDER;
    } else if (eye->n_repeats) {
        eye->power = optics_rx_of_power(
            optics_vector_power(eye->mean.mean, OPTICS_MINUS_CYL));
        eye->source = RECORD_FROM_MEAN;
    } else {
        return;
    }
    if (r->kind == RECORD_RETINOSCOPY && r->working_mm != NUM_ABSENT) {
        eye->gross = eye->power;
        eye->power.sph_cd -= record_working_cd(r->working_mm);
        eye->source = RECORD_FROM_NET;
    }
    eye->vector = optics_vector_of(optics_power_of_rx(eye->power));
}

void record_reading_compute(struct record_reading *reading)
{
    for (int side = 0; side < RECORD_SIDES; side++) {
        struct record_reading_eye *eye = &reading->eyes[side];

        if (eye->here && eye->lens == RECORD_LENS_POWER)
            compute_eye(reading, eye);
    }
}

const char *record_condition_key(struct arena *arena, enum record_kind kind,
    const struct record_condition *condition)
{
    static const char *const drops[] = {"unsaid", "dry", "cycloplegic"};
    const char *word = RECORD_KIND_WORDS[kind];
    const char *worn = condition->lens_worn;

    if (!record_kind_refracts(kind) || kind == RECORD_LENSOMETRY)
        return word;
    if (!worn || strcmp(worn, "none") == 0)
        return arena_printf(
            arena, "%s/%s", word, drops[condition->cycloplegic]);
    return arena_printf(
        arena, "%s/%s/%s", word, drops[condition->cycloplegic], worn);
}

const char *record_reading_key(const struct record_reading *reading)
{
    if (reading->prescription.here)
        return "subjective/prescription";
    if (reading->kind != RECORD_ACUITY)
        return record_condition_key(
            reading->arena, reading->kind, &reading->condition);
    return arena_printf(reading->arena, "acuity/%s/%s",
        reading->acuity_distance ? reading->acuity_distance : "unsaid",
        reading->acuity_with ? reading->acuity_with : "unsaid");
}
