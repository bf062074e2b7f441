/* What signing shows and never forbids.  Limits are chosen by us. */
#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "optics/round.h"
#include "record/caution.h"
#include "record/rx.h"

/* Worse than 6/12 (0.301) with the final lens is acuity that does not come
 * up. */
#define ACUITY_LOW_LOGMAR 0.305
/* Refractive cylinder against what the cornea lets expect, D of cylinder. */

static const char *side_word(int side)
{
    return record_side_word((enum record_side)side);
}

static bool acuity_below(const struct record_acuity *a, double logmar)
{
    if (a->value.level != OPTICS_LEVEL_NUMBER)
        return true;
    return a->has_logmar && a->value.logmar > logmar;
}

static void check_acuity(struct json_in body, const struct record_final *final,
    int side, struct record_cautions *list)
{
    const struct record_eye *eye = &final->figures.eyes[side];
    struct json_in acuities = json_in_get(body, "acuities");
    struct record_acuity found;

    if (!final->figures.here[side] || eye->lens == RECORD_LENS_PROSTHESIS)
        return;
    if (!record_acuities_best(
            acuities, (enum record_side)side, "nothing", "habitual", &found))
        record_cautions_add(list, "unaided-acuity-missing", side,
            "no acuity of the %s eye without glasses or with the old ones is "
            "noted",
            side_word(side));
    if (!eye->acuity.notation)
        record_cautions_add(list, "acuity-missing", side,
            "no acuity of the %s eye with the final lens is noted",
            side_word(side));
    else if (acuity_below(&eye->acuity, ACUITY_LOW_LOGMAR))
        record_cautions_add(list, "acuity-low", side,
            "the %s eye reads %s with its final lens; where no known cause "
            "explains that, local rules may ask to refer",
            side_word(side), eye->acuity.text);
}

static void check_cornea(const struct record_final *final, int side,
    const struct record_entry *k, struct record_cautions *list)
{
    double off;

    if (!k || !record_refraction_power(&final->figures, side))
        return;
    off = record_cornea_mismatch(final->figures.eyes[side].power,
        final->figures.vertex_mm100, &k->cornea[side]);
    if (off > RECORD_CORNEA_APART_D)
        record_cautions_add(list, "cornea-mismatch", side,
            "the cylinder of the %s eye lies %.2f D from what its cornea lets "
            "expect; check axis and power",
            side_word(side), off);
}

static int32_t near_add(struct json_in body, int side)
{
    struct json_in at = json_in_get(
        json_in_get(json_in_get(body, "near"), side_word(side)), "add");
    int32_t add;

    record_add_read(at, &add);
    return add;
}

static void check_add(struct json_in body, const struct record_final *final,
    int side, struct record_cautions *list)
{
    int32_t add = near_add(body, side);
    int32_t is = final->figures.eyes[side].add_cd;
    char buf[2][NUM_TEXT_MAX];

    if (add == NUM_ABSENT || add == is ||
        !record_refraction_power(&final->figures, side))
        return;
    record_cautions_add(list, "near-add-differs", side,
        "near testing found an add of %s for the %s eye; the final has %s",
        num_text(add, 2, buf[0]), side_word(side),
        is == NUM_ABSENT ? "none" : num_text(is, 2, buf[1]));
}

/* Two eyes' figures that a lens is made from. */
static bool same_lens(const struct record_eye *a, const struct record_eye *b)
{
    return a->lens == b->lens && optics_rx_same(a->power, b->power) &&
           a->add_cd == b->add_cd && a->prism.in_cd == b->prism.in_cd &&
           a->prism.up_cd == b->prism.up_cd;
}

/* Steps taken after the section final was written don't reach it. */
static void check_working(struct json_in body, const struct record_final *final,
    struct record_cautions *list)
{
    struct record_refraction working;

    record_refraction_read(json_in_get(body, "working"), &working);
    for (int side = 0; side < 2; side++)
        if (working.here[side] && final->figures.here[side] &&
            final->outcome != RECORD_OUTCOME_NONE_NEEDED &&
            !same_lens(&working.eyes[side], &final->figures.eyes[side]))
            record_cautions_add(list, "working-differs", side,
                "the working refraction of the %s eye differs from the final "
                "one, and the final one is signed",
                side_word(side));
}

static bool on_steps(struct optics_rx rx)
{
    int32_t count;

    return optics_step_count(OPTICS_STEP_EIGHTH, rx.sph_cd, &count) &&
           optics_step_count(OPTICS_STEP_EIGHTH, rx.cyl_cd, &count);
}

static void check_orderable(
    const struct record_final *final, int side, struct record_cautions *list)
{
    struct optics_rx rx = final->figures.eyes[side].power;
    struct optics_orderable near;
    const char *cylinder = "";
    char buf[2][NUM_TEXT_MAX];

    if (!record_refraction_power(&final->figures, side) || on_steps(rx))
        return;
    near = optics_round_orderable(optics_power_of_rx(rx), OPTICS_STEP_QUARTER);
    if (near.rx.cyl_cd)
        cylinder = arena_printf(list->arena, " %s x %d",
            num_text(near.rx.cyl_cd, 2, buf[1]), near.rx.axis_cdeg / 100);
    record_cautions_add(list, "not-orderable", side,
        "lenses come in steps of 0.25 or 0.12 D; the nearest to the %s eye's "
        "is %s%s, %.2f D away",
        side_word(side), num_text(near.rx.sph_cd, 2, buf[0]), cylinder,
        near.distance);
}

static void check_pair(
    const struct record_final *final, struct record_cautions *list)
{
    const struct record_refraction *r = &final->figures;
    bool power = record_refraction_power(r, 0) || record_refraction_power(r, 1);

    if (!power)
        return;
    if (r->vertex_mm100 == NUM_ABSENT)
        record_cautions_add(
            list, "vertex-missing", -1, "the vertex distance is not noted");
    if (r->vertex_assumed)
        record_cautions_add(list, "vertex-assumed", -1,
            "the vertex distance was assumed by an instrument, not measured");
    if (!record_pd_here(&r->pd))
        record_cautions_add(
            list, "pd-missing", -1, "no distance between the pupils is noted");
    if (record_refraction_power(r, 0) && record_refraction_power(r, 1) &&
        r->eyes[0].add_cd != r->eyes[1].add_cd)
        record_cautions_add(list, "unequal-adds", -1,
            "the adds of the eyes differ; see that this is meant");
}

static void check_head(const struct record_final *final,
    const struct record_rx_head *head, struct record_cautions *list)
{
    const char *expires = record_rx_expires(final, head);

    if (!final->purpose)
        record_cautions_add(list, "purpose-missing", -1,
            "what the glasses are for is not noted");
    if (!expires)
        record_cautions_add(list, "expiry-none", -1,
            "no expiry is set, neither here nor by the rule of the place");
    else if (strcmp(expires, head->today) < 0)
        record_cautions_add(
            list, "expiry-past", -1, "it has expired already, on %s", expires);
    if (expires && head->expires_on && strcmp(expires, head->expires_on) != 0)
        record_cautions_add(list, "expiry-differs", -1,
            "it expires on %s, by the rule of the place on %s; a reason should "
            "be on record",
            expires, head->expires_on);
    if (!head->licence_number || !head->licence_number[0])
        record_cautions_add(list, "licence-missing", -1,
            "the signer has no licence number on record");
    if (!head->address || !head->address[0])
        record_cautions_add(list, "address-missing", -1,
            "the signer has no practice address on record");
}

static void check_warnings(struct json_in body, struct record_cautions *list)
{
    struct json_in signs =
        json_in_get(json_in_get(body, "history"), "warning_signs");

    for (size_t i = 0; i < json_array_size(signs.value); i++)
        record_cautions_add(list, "warning-sign", -1,
            "the history names %s; local rules may ask to refer",
            json_string_value(json_in_item(signs, i).value));
}

void record_sign_doubt(struct json_in body, const struct record_final *final,
    const struct record_rx_head *head, const struct record_entry *k,
    struct record_cautions *list)
{
    struct err scratch = ERR_INIT(body.err->arena);
    struct json_in in = {body.value, body.pointer, &scratch};

    for (int side = 0; side < 2; side++) {
        check_acuity(in, final, side, list);
        check_cornea(final, side, k, list);
        check_add(in, final, side, list);
        check_orderable(final, side, list);
    }
    check_working(in, final, list);
    check_pair(final, list);
    check_head(final, head, list);
    check_warnings(in, list);
}
