/* What a practitioner should weigh before a delta is believed.  Limits are
 * chosen by us unless a source stands beside them. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/num.h"
#include "optics/vector.h"
#include "record/delta.h"
#include "record/power.h"

/* One eye alone by this much, and twice the other's change. */
#define LARGE_ONE_EYE_D 1.00
/* Children, cycloplegic less manifest: mean +0.55, SD 0.55 D (PMID 31703049);
 * mean + 1.96 SD. */
#define CYCLOPLEGIC_GAP_D 1.63
/* Both eyes the same way: the least change, and the course's longest
 * recovery, 84 days (Br J Ophthalmol 2000;84:1097), rounded up. */
#define SAME_WAY_D 0.50
#define SAME_WAY_DAYS 90
/* Common practice: worth a word on getting used to new lenses. */
#define ANISOMETROPIA_CHANGE_D 1.00

#define US_PER_DAY (86400LL * 1000000)

static bool condition_differs(const struct record_delta *d)
{
    return (d->old_entry->cycloplegic == RECORD_YES) !=
           (d->new_entry->cycloplegic == RECORD_YES);
}

/* Lenses compare with lenses whatever measured them; eyes only when they were
 * measured alike. */
static void check_method(struct record_delta *d)
{
    const struct record_entry *was = d->old_entry, *is = d->new_entry;

    if (was->glasses || is->glasses)
        return;
    if (strcmp(was->kind, is->kind) != 0)
        record_cautions_add(&d->cautions, "method-differs", -1,
            "measured differently: %s, now %s",
            record_entry_method(was, d->arena),
            record_entry_method(is, d->arena));
    if (condition_differs(d))
        record_cautions_add(&d->cautions, "condition-differs", -1,
            "measured under different conditions: %s, now %s",
            record_entry_method(was, d->arena),
            record_entry_method(is, d->arena));
}

static void check_gap(struct record_delta *d)
{
    if (d->old_entry->glasses || d->new_entry->glasses || !condition_differs(d))
        return;
    for (int side = 0; side < 2; side++) {
        const struct record_delta_eye *eye = &d->eyes[side];

        if (eye->compared && fabs(eye->vector.m) > CYCLOPLEGIC_GAP_D)
            record_cautions_add(&d->cautions, "cycloplegic-gap", side,
                "with and without cycloplegia the %s eye differs by %+.2f D "
                "of spherical equivalent (%+.2f D of sphere)",
                record_side_word((enum record_side)side), eye->vector.m,
                eye->sphere_change);
    }
}

static bool unknown_vertex(const struct record_entry *entry)
{
    return entry->figures.vertex_mm100 == NUM_ABSENT;
}

static int32_t strength(const struct record_entry *entry, int side)
{
    return record_power_strength(entry->figures.eyes[side].power);
}

static void check_vertex(struct record_delta *d)
{
    bool was = unknown_vertex(d->old_entry), is = unknown_vertex(d->new_entry);

    for (int side = 0; side < 2 && (was || is); side++) {
        if (!d->eyes[side].compared ||
            (strength(d->old_entry, side) < RECORD_VERTEX_MATTERS_CD &&
                strength(d->new_entry, side) < RECORD_VERTEX_MATTERS_CD))
            continue;
        record_cautions_add(&d->cautions, "vertex-unknown", side,
            "the vertex distance of %s is not known and the %s lens is strong; "
            "the powers are compared as they stand",
            was && is ? "both"
            : was     ? "the old lenses"
                      : "the new lenses",
            record_side_word((enum record_side)side));
    }
    if (d->moved)
        record_cautions_add(&d->cautions, "vertex-moved", -1,
            "the old powers were brought from %.2f mm to %.2f mm",
            d->old_entry->figures.vertex_mm100 / 100.0,
            d->new_entry->figures.vertex_mm100 / 100.0);
    if (d->old_entry->figures.vertex_assumed ||
        d->new_entry->figures.vertex_assumed)
        record_cautions_add(&d->cautions, "vertex-assumed", -1,
            "a vertex distance was assumed by the instrument, not measured");
}

static void check_one_eye(struct record_delta *d)
{
    double blur[2];
    int side;

    if (!d->eyes[0].compared || !d->eyes[1].compared || condition_differs(d))
        return;
    for (side = 0; side < 2; side++)
        blur[side] = optics_vector_blur(d->eyes[side].vector);
    side = blur[1] > blur[0];
    if (blur[side] < LARGE_ONE_EYE_D || blur[side] < 2 * blur[!side])
        return;
    record_cautions_add(&d->cautions, "large-one-eye-change", side,
        "the %s eye changed by %.2f D and the other by %.2f D; measure again "
        "and look for a cause, which local rules may ask to refer",
        record_side_word((enum record_side)side), blur[side], blur[!side]);
}

static void check_same_way(struct record_delta *d)
{
    const struct record_delta_eye *r = &d->eyes[0], *l = &d->eyes[1];
    int64_t days =
        llabs(d->new_entry->at_us - d->old_entry->at_us) / US_PER_DAY;
    double least;

    if (!r->compared || !l->compared || d->old_entry->glasses ||
        d->new_entry->glasses || condition_differs(d) || days > SAME_WAY_DAYS ||
        r->vector.m * l->vector.m <= 0)
        return;
    least = fmin(fabs(r->vector.m), fabs(l->vector.m));
    if (least < SAME_WAY_D)
        return;
    record_cautions_add(&d->cautions, "both-eyes-moved", -1,
        "both eyes moved the same way, %s by %.2f D or more, in %lld days; a "
        "power that moves so fast may move back, so note why glasses are "
        "ordered now",
        r->vector.m > 0 ? "to plus" : "to minus", least, (long long)days);
}

static void check_adds(struct record_delta *d)
{
    const struct record_refraction *r = &d->new_entry->figures;
    int32_t a = r->eyes[0].add_cd, b = r->eyes[1].add_cd;
    char buf[2][NUM_TEXT_MAX];

    if (!record_refraction_power(r, 0) || !record_refraction_power(r, 1) ||
        a == b)
        return;
    record_cautions_add(&d->cautions, "unequal-adds", -1,
        "the adds differ: right %s, left %s; the imbalance at the reading "
        "level is not computed, it would need the kind and place of the "
        "segments",
        a == NUM_ABSENT ? "none" : num_text(a, 2, buf[0]),
        b == NUM_ABSENT ? "none" : num_text(b, 2, buf[1]));
}

static void check_anisometropia(struct record_delta *d)
{
    const struct record_delta_pair *p = &d->anisometropia;
    double change = fabs(p->new_value) - fabs(p->old_value);

    if (p->old_here && p->new_here && fabs(change) >= ANISOMETROPIA_CHANGE_D)
        record_cautions_add(&d->cautions, "anisometropia-change", -1,
            "the difference between the eyes changes by %.2f D; new lenses may "
            "need getting used to",
            fabs(p->new_value - p->old_value));
}

static void check_places(struct record_delta *d)
{
    for (int side = 0; side < 2; side++) {
        const struct record_delta_eye *eye = &d->eyes[side];

        if (eye->old_here != eye->new_here)
            record_cautions_add(&d->cautions, "one-side-only", side,
                "the %s eye stands only in %s; nothing is compared",
                record_side_word((enum record_side)side),
                eye->old_here ? "the old one" : "the new one");
    }
    if (d->old_entry->unsided)
        record_cautions_add(&d->cautions, "side-unknown", -1,
            "a lens of unknown side stands beside the old figures and is left "
            "out");
}

void record_delta_doubt(struct record_delta *d)
{
    check_method(d);
    check_gap(d);
    check_places(d);
    check_vertex(d);
    check_one_eye(d);
    check_same_way(d);
    check_adds(d);
    check_anisometropia(d);
}
