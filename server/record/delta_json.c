/* A delta as JSON; every computed figure beside the rule it comes from. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/num.h"
#include "optics/acuity.h"
#include "record/delta.h"
#include "record/power.h"

static void write_computed(
    struct json_out *o, const char *key, struct optics_power power)
{
    json_out_object(o, key);
    record_computed_write(o, power);
    json_out_object_end(o);
}

static void write_vector(struct json_out *o, struct optics_vector v)
{
    struct optics_vector r = optics_vector_rounded(v);

    json_out_object(o, "power_vector");
    json_out_number(o, "m", r.m, 4);
    json_out_number(o, "j0", r.j0, 4);
    json_out_number(o, "j45", r.j45, 4);
    json_out_number(o, "blur", optics_vector_blur(v), 4);
    json_out_object_end(o);
}

static void write_prism(struct json_out *o, const struct record_prism *was,
    const struct record_prism *is)
{
    struct record_prism change = {was->here || is->here, is->in_cd - was->in_cd,
        is->up_cd - was->up_cd, NUM_ABSENT, NUM_ABSENT};

    record_prism_write(o, "prism_change", &change);
}

static void write_acuity(
    struct json_out *o, const char *old_word, double logmar)
{
    json_out_object(o, strcmp(old_word, "habitual") == 0
                           ? "predicted_acuity_with_habitual"
                           : "predicted_acuity_with_old");
    json_out_number(o, "logmar", logmar, 4);
    json_out_number(o, "decimal", optics_acuity_on(OPTICS_DECIMAL, logmar), 4);
    json_out_object_end(o);
}

static void write_compared(struct json_out *o, const char *old_word,
    const struct record_delta *d, int side)
{
    const struct record_delta_eye *eye = &d->eyes[side];
    const struct record_eye *was = &d->old_entry->figures.eyes[side];
    const struct record_eye *is = &d->new_entry->figures.eyes[side];

    if (d->moved)
        write_computed(o, "old_at_new_vertex", eye->old_power);
    write_computed(o, "difference", eye->difference);
    write_vector(o, eye->vector);
    json_out_number(o, "spherical_equivalent_change", eye->vector.m, 4);
    json_out_number(o, "sphere_change", eye->sphere_change, 4);
    if (was->add_cd != NUM_ABSENT && is->add_cd != NUM_ABSENT)
        json_out_cd(o, "add_change", is->add_cd - was->add_cd);
    write_prism(o, &was->prism, &is->prism);
    json_out_bool(o, "within_noise", eye->within_noise);
    if (eye->predicted)
        write_acuity(o, old_word, eye->logmar);
}

static void write_eye_cautions(
    struct json_out *o, const struct record_delta *d, int side)
{
    json_out_array(o, "cautions");
    for (const struct record_caution *c = d->cautions.first; c; c = c->next)
        if (c->side == side) {
            json_out_object(o, NULL);
            json_out_text(o, "code", c->code);
            json_out_text(o, "text", c->text);
            json_out_object_end(o);
        }
    json_out_array_end(o);
}

static void write_eye(struct json_out *o, const char *old_word,
    const struct record_delta *d, int side)
{
    const struct record_delta_eye *eye = &d->eyes[side];

    if (!eye->old_here && !eye->new_here)
        return;
    json_out_object(o, record_side_word((enum record_side)side));
    if (eye->old_here)
        record_eye_write(o, old_word, &d->old_entry->figures.eyes[side]);
    if (eye->new_here)
        record_eye_write(o, "final", &d->new_entry->figures.eyes[side]);
    if (eye->compared)
        write_compared(o, old_word, d, side);
    json_out_array(o, "words");
    for (size_t i = 0; eye->words[i]; i++)
        json_out_text(o, NULL, eye->words[i]);
    json_out_array_end(o);
    write_eye_cautions(o, d, side);
    json_out_object_end(o);
}

static void write_vertex(
    struct json_out *o, const char *old_word, const struct record_delta *d)
{
    int32_t was = d->old_entry->figures.vertex_mm100;
    int32_t is = d->new_entry->figures.vertex_mm100;

    json_out_object(o, "vertex_mm");
    if (was != NUM_ABSENT)
        json_out_cd(o, old_word, was);
    if (is != NUM_ABSENT)
        json_out_cd(o, "final", is);
    json_out_bool(o, "moved", d->moved);
    json_out_object_end(o);
}

static void write_pair(
    struct json_out *o, const char *old_word, const struct record_delta_pair *p)
{
    if (p->old_here)
        json_out_number(o, old_word, p->old_value, 4);
    if (p->new_here)
        json_out_number(o, "final", p->new_value, 4);
    if (p->old_here && p->new_here)
        json_out_number(o, "change", p->new_value - p->old_value, 4);
}

static void write_base(struct json_out *o, const char *key, double up)
{
    json_out_object(o, key);
    json_out_number(o, "amount", fabs(up), 4);
    json_out_text(o, "base", fabs(up) < 5e-5 ? NULL : up > 0 ? "up" : "down");
    json_out_text(o, "before", "right");
    json_out_object_end(o);
}

static void write_imbalance(
    struct json_out *o, const char *old_word, const struct record_delta_pair *p)
{
    if (!p->new_here)
        return;
    json_out_object(o, "vertical_imbalance");
    json_out_number(o, "below_centres_mm", RECORD_READING_LEVEL_MM, 2);
    if (p->old_here)
        write_base(o, old_word, p->old_value);
    write_base(o, "final", p->new_value);
    json_out_text(o, "computed",
        "power matrices of both lenses looked through 10 mm below their "
        "optical centres (assumed); adds are equal and cancel; prescribed "
        "prism is not counted");
    json_out_object_end(o);
}

static void write_image(
    struct json_out *o, const char *old_word, const struct record_delta *d)
{
    int32_t vertex = d->new_entry->figures.vertex_mm100;

    if (!d->image.new_here)
        return;
    json_out_object(o, "image_size_difference_percent");
    write_pair(o, old_word, &d->image);
    json_out_number(o, "vertex_mm",
        vertex == NUM_ABSENT ? RECORD_VERTEX_USUAL_MM : vertex / 100.0, 2);
    if (vertex == NUM_ABSENT)
        json_out_bool(o, "vertex_assumed", true);
    json_out_text(o, "computed",
        "an estimate: power factors 1 / (1 - h F) at the spherical "
        "equivalents, h the vertex distance and 3 mm; right over left; base "
        "curve and thickness are not counted");
    json_out_object_end(o);
}

static void write_both(
    struct json_out *o, const char *old_word, const struct record_delta *d)
{
    json_out_object(o, "both");
    if (d->anisometropia.new_here) {
        json_out_object(o, "anisometropia");
        write_pair(o, old_word, &d->anisometropia);
        json_out_text(o, "computed",
            "spherical equivalent of the right lens less the left's");
        json_out_object_end(o);
    }
    write_imbalance(o, old_word, &d->imbalance);
    write_image(o, old_word, d);
    json_out_object_end(o);
}

static void write_rules(struct json_out *o, const struct record_delta *d)
{
    json_out_object(o, "computed");
    json_out_text(o, "difference",
        "the lens that must be added to the old one to get the new one: the "
        "difference of the power vectors M = S + C/2, J0 = -(C/2) cos 2A, J45 "
        "= -(C/2) sin 2A (Thibos, Wheeler & Horner 1997)");
    json_out_text(o, "blur", "the length of that vector");
    json_out_text(o, "spherical_equivalent_change", "new S + C/2 less old");
    json_out_text(
        o, "sphere_change", "new sphere less old, both in minus form");
    json_out_text(o, "vertex_mm",
        d->moved ? "the old lens as it would have to be at the new vertex: F / "
                   "(1 - d F) in both meridians"
                 : "powers are compared as they stand");
    json_out_object(o, "within_noise");
    json_out_number(o, "limit_m", d->noise->limit_m, 2);
    json_out_number(o, "limit_j", d->noise->limit_j, 2);
    json_out_text(o, "rule", d->noise->rule);
    json_out_object_end(o);
    if (d->eyes[0].predicted || d->eyes[1].predicted)
        json_out_text(o, "predicted_acuity",
            "best acuity + log10(1 + blur^2) (Blendowske 2015, abstract); "
            "leaves out pupil, axis, age and accommodation");
    json_out_text(o, "note",
        "computed values aid and do not replace the judgement of a licensed "
        "practitioner");
    json_out_object_end(o);
}

void record_delta_write(
    struct json_out *o, const char *old_word, const struct record_delta *d)
{
    write_vertex(o, old_word, d);
    for (int side = 0; side < 2; side++)
        write_eye(o, old_word, d, side);
    write_both(o, old_word, d);
    record_cautions_write(o, "cautions", &d->cautions);
    write_rules(o, d);
}
