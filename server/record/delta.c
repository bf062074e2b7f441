#include "record/delta.h"

#include <math.h>

#include "base/num.h"
#include "optics/blur.h"
#include "optics/magnify.h"
#include "optics/prism.h"
#include "optics/vertex.h"
#include "record/power.h"

/* Both vertices are known and differ: the old lens as it would have to be at
 * the new place. */
static void move_old(struct record_delta *d, struct record_delta_eye *eye)
{
    int32_t from = d->old_entry->figures.vertex_mm100;
    int32_t to = d->new_entry->figures.vertex_mm100;
    struct optics_power moved;

    if (from == NUM_ABSENT || to == NUM_ABSENT || from == to)
        return;
    if (optics_vertex_move(eye->old_power, from / 100.0, to / 100.0, &moved) ==
        OPTICS_OK) {
        eye->old_power = moved;
        d->moved = true;
    }
}

static void predict(
    struct record_delta_eye *eye, const struct record_acuity *best)
{
    if (!best->notation || !best->has_logmar)
        return;
    eye->logmar = optics_predicted_logmar(best->value.logmar, eye->vector);
    eye->predicted = true;
}

static void compute_eye(
    struct record_delta *d, int side, const struct record_acuity *best)
{
    struct record_delta_eye *eye = &d->eyes[side];
    const struct record_refraction *was = &d->old_entry->figures;
    const struct record_refraction *is = &d->new_entry->figures;
    struct optics_noise noise;

    eye->old_here = was->here[side];
    eye->new_here = is->here[side];
    eye->compared =
        record_refraction_power(was, side) && record_refraction_power(is, side);
    if (!eye->compared)
        return;
    eye->old_power = optics_power_of_rx(was->eyes[side].power);
    eye->new_power = optics_power_of_rx(is->eyes[side].power);
    move_old(d, eye);
    eye->difference = optics_power_change(eye->old_power, eye->new_power);
    eye->vector = optics_vector_difference(
        optics_vector_of(eye->new_power), optics_vector_of(eye->old_power));
    eye->sphere_change = eye->new_power.sph - eye->old_power.sph;
    if (optics_change_noise(eye->old_power, eye->new_power, d->noise->limit_m,
            d->noise->limit_j, &noise) == OPTICS_OK)
        eye->within_noise = !noise.change;
    predict(eye, best);
}

static bool pair_here(const struct record_refraction *r)
{
    return record_refraction_power(r, 0) && record_refraction_power(r, 1);
}

/* Equal adds cancel between the eyes; unequal ones would need the segments. */
static bool adds_equal(const struct record_refraction *r)
{
    return r->eyes[0].add_cd == r->eyes[1].add_cd;
}

static bool pair_imbalance(const struct record_refraction *r, double *ret)
{
    struct optics_imbalance found;

    if (!adds_equal(r) ||
        optics_prism_imbalance(optics_power_of_rx(r->eyes[0].power),
            optics_power_of_rx(r->eyes[1].power), RECORD_READING_LEVEL_MM,
            &found) != OPTICS_OK)
        return false;
    *ret = found.vertical;
    return true;
}

static bool pair_image(const struct record_refraction *r, double *ret)
{
    double vertex_mm = r->vertex_mm100 == NUM_ABSENT ? RECORD_VERTEX_USUAL_MM
                                                     : r->vertex_mm100 / 100.0;

    return optics_image_ratio_estimate(optics_power_of_rx(r->eyes[0].power),
               optics_power_of_rx(r->eyes[1].power), vertex_mm,
               ret) == OPTICS_OK;
}

static bool pair_anisometropia(const struct record_refraction *r, double *ret)
{
    *ret = optics_power_equivalent(optics_power_of_rx(r->eyes[0].power)) -
           optics_power_equivalent(optics_power_of_rx(r->eyes[1].power));
    return true;
}

static void compute_pair(const struct record_delta *d,
    bool (*figure)(const struct record_refraction *, double *),
    struct record_delta_pair *ret)
{
    const struct record_refraction *was = &d->old_entry->figures;
    const struct record_refraction *is = &d->new_entry->figures;

    ret->old_here = pair_here(was) && figure(was, &ret->old_value);
    ret->new_here = pair_here(is) && figure(is, &ret->new_value);
}

void record_delta_compute(const struct record_entry *old_entry,
    const struct record_entry *new_entry, const struct record_acuity best[2],
    struct arena *arena, struct record_delta *ret)
{
    *ret = (struct record_delta){.old_entry = old_entry,
        .new_entry = new_entry,
        .noise = record_noise_of(old_entry, new_entry),
        .arena = arena,
        .cautions = {.arena = arena}};
    for (int side = 0; side < 2; side++)
        compute_eye(ret, side, &best[side]);
    compute_pair(ret, pair_anisometropia, &ret->anisometropia);
    compute_pair(ret, pair_imbalance, &ret->imbalance);
    compute_pair(ret, pair_image, &ret->image);
    record_delta_doubt(ret);
    record_delta_say(ret);
}
