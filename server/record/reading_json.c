#include "record/reading_json.h"

#include <string.h>

#include "base/instant.h"
#include "base/json_out.h"
#include "base/num.h"

static void put_text(struct json_out *o, const char *key, const char *text)
{
    if (text)
        json_out_text(o, key, text);
}

/* figure * 10^-places with its zeros cut, if it is there. */
static void put_figure(
    struct json_out *o, const char *key, int32_t figure, int places)
{
    static const double unit[] = {1, 10, 100, 1000};

    if (figure != NUM_ABSENT)
        json_out_number(o, key, figure / unit[places], places);
}

static void put_cd(struct json_out *o, const char *key, int32_t cd)
{
    if (cd != NUM_ABSENT)
        json_out_cd(o, key, cd);
}

static void put_yes(struct json_out *o, const char *key, enum record_yes yes)
{
    if (yes != RECORD_UNSAID)
        json_out_bool(o, key, yes == RECORD_YES);
}

static void put_device(struct json_out *o, const struct record_device *d)
{
    if (!d->serial && !d->model && !d->manufacturer && !d->software)
        return;
    json_out_object(o, "device");
    put_text(o, "serial", d->serial);
    put_text(o, "model", d->model);
    put_text(o, "manufacturer", d->manufacturer);
    put_text(o, "software", d->software);
    json_out_object_end(o);
}

static void put_patient(struct json_out *o, const struct record_patient_ref *p)
{
    if (!p->here)
        return;
    json_out_object(o, "patient_as_sent");
    put_text(o, "id", p->id);
    put_text(o, "record_number", p->record_number);
    put_text(o, "issuer", p->issuer);
    put_text(o, "family", p->family);
    put_text(o, "given", p->given);
    put_text(o, "born", p->born);
    json_out_object_end(o);
}

static void put_condition(struct json_out *o, const struct record_condition *c)
{
    if (!c->here)
        return;
    json_out_object(o, "condition");
    put_yes(o, "cycloplegic", c->cycloplegic);
    put_text(o, "drug", c->drug);
    put_figure(o, "minutes_since", c->minutes_since, 0);
    put_text(o, "lens_worn", c->lens_worn);
    put_figure(o, "test_distance_m", c->test_distance_mm, 3);
    json_out_object_end(o);
}

static void put_vertex(struct json_out *o, const struct record_reading *r)
{
    put_cd(o, "vertex_mm", r->vertex_mm100);
    if (r->vertex_assumed)
        json_out_bool(o, "vertex_assumed", true);
    put_text(o, "vertex_place", r->vertex_place);
    if (r->working_removed)
        json_out_text(o, "working_distance", "removed");
    if (r->working_mm != NUM_ABSENT) {
        json_out_object(o, "working_distance");
        json_out_int(o, "mm", r->working_mm);
        json_out_object_end(o);
    }
}

static void put_pair(struct json_out *o, const struct record_pair *p)
{
    if (!p->label && !p->purpose && !p->made_on && p->worn == RECORD_UNSAID)
        return;
    json_out_object(o, "pair");
    put_text(o, "label", p->label);
    put_text(o, "purpose", p->purpose);
    put_text(o, "made_on", p->made_on);
    put_yes(o, "worn", p->worn);
    json_out_object_end(o);
}

static void put_prescription(
    struct json_out *o, const struct record_prescription *p)
{
    if (!p->here)
        return;
    json_out_object(o, "prescription");
    put_text(o, "by", p->by);
    put_yes(o, "verified", p->verified);
    json_out_object_end(o);
}

static void put_dicom(struct json_out *o, const struct record_dicom *d)
{
    if (!d->sop_instance)
        return;
    json_out_object(o, "dicom");
    put_text(o, "sop_class", d->sop_class);
    put_text(o, "sop_instance", d->sop_instance);
    put_text(o, "series", d->series);
    put_text(o, "study", d->study);
    json_out_object_end(o);
}

static void put_vector(struct json_out *o, struct optics_vector v)
{
    json_out_number(o, "m", v.m, 4);
    json_out_number(o, "j0", v.j0, 4);
    json_out_number(o, "j45", v.j45, 4);
}

static void put_power(
    struct json_out *o, const struct record_reading_eye *eye, bool brief)
{
    static const char *const sources[] = {
        NULL, "sent", "mean-of-repeats", "net-of-working-distance"};

    if (eye->source == RECORD_FROM_NOTHING)
        return;
    record_power_write(o, eye->power);
    put_vector(o, eye->vector);
    json_out_text(o, "source", sources[eye->source]);
    if (!brief && eye->sent.sph_cd != NUM_ABSENT)
        record_sent_write(o, "as_received", eye->sent);
    if (eye->source == RECORD_FROM_NET) {
        json_out_object(o, "gross");
        record_power_write(o, eye->gross);
        json_out_object_end(o);
    }
}

/* True when the record's form is what came in, so that saying it once will
 * do. */
static bool as_sent(const struct record_repeat *repeat)
{
    struct record_sent s = repeat->sent;

    return s.cyl_cd != NUM_ABSENT && s.cyl_cd == repeat->power.cyl_cd &&
           (s.axis_cdeg == NUM_ABSENT ? 0 : s.axis_cdeg) ==
               repeat->power.axis_cdeg;
}

static void put_repeats(
    struct json_out *o, const struct record_reading_eye *eye)
{
    json_out_array(o, "repeats");
    for (size_t i = 0; i < eye->n_repeats; i++) {
        const struct record_repeat *repeat = &eye->repeats[i];

        json_out_object(o, NULL);
        record_power_write(o, repeat->power);
        put_figure(o, "confidence", repeat->confidence_e2, 2);
        if (!as_sent(repeat))
            record_sent_write(o, "as_received", repeat->sent);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

static void put_mean(
    struct json_out *o, const struct record_reading_eye *eye, bool brief)
{
    if (!eye->n_repeats)
        return;
    if (!brief)
        put_repeats(o, eye);
    json_out_object(o, "mean");
    record_computed_write(
        o, optics_vector_power(eye->mean.mean, OPTICS_MINUS_CYL));
    put_vector(o, eye->mean.mean);
    json_out_int(o, "of", (int64_t)eye->n_repeats);
    json_out_object_end(o);
    if (eye->n_repeats < 2)
        return; /* n - 1 is 0: one figure has no spread */
    json_out_object(o, "spread");
    put_vector(o, eye->mean.sd);
    json_out_number(o, "total", eye->mean.sd_total, 4);
    if (!brief)
        json_out_text(o, "rule", "sample standard deviation (n - 1)");
    json_out_object_end(o);
}

static void put_add(struct json_out *o, const char *key, const char *distance,
    const struct record_add *add)
{
    put_cd(o, key, add->power_cd);
    put_figure(o, distance, add->at_mm, 0);
}

static void put_prism_sent(
    struct json_out *o, const char *key, const struct record_prism *prism)
{
    if (!prism->here || prism->amount_cd == NUM_ABSENT)
        return;
    json_out_object(o, key);
    json_out_cd(o, "amount", prism->amount_cd);
    json_out_number(o, "angle", prism->angle_cdeg / 100.0, 2);
    json_out_object_end(o);
}

static void put_extras(struct json_out *o, const struct record_reading_eye *eye)
{
    put_add(o, "add", "add_distance_mm", &eye->add);
    put_cd(o, "near_total", eye->near_total_cd);
    put_add(o, "intermediate_add", "intermediate_add_distance_mm",
        &eye->intermediate_add);
    put_add(o, "second_add", "second_add_distance_mm", &eye->second_add);
    record_prism_write(o, "prism", &eye->prism);
    put_prism_sent(o, "prism_as_received", &eye->prism);
    record_prism_write(o, "near_prism", &eye->near_prism);
    put_prism_sent(o, "near_prism_as_received", &eye->near_prism);
    record_acuity_write(o, "acuity", &eye->acuity);
    record_acuity_write(o, "near_acuity", &eye->near_acuity);
    put_text(o, "lens_type", eye->lens_type);
    put_figure(o, "pupil_mm", eye->pupil_mm100, 2);
    put_figure(o, "cornea_mm", eye->cornea_mm100, 2);
    put_figure(o, "transmittance_percent", eye->transmittance_e2, 2);
    put_figure(o, "channel_mm", eye->channel_mm100, 2);
}

static void put_eye(struct json_out *o, const struct record_reading *r,
    enum record_side side, bool brief)
{
    const struct record_reading_eye *eye = &r->eyes[side];

    if (!eye->here)
        return;
    json_out_object(o, record_side_word(side));
    if (eye->lens != RECORD_LENS_POWER)
        json_out_text(o, "lens", RECORD_LENS_WORDS[eye->lens]);
    put_power(o, eye, brief);
    put_mean(o, eye, brief);
    put_extras(o, eye);
    if (record_cornea_here(&eye->cornea) && r->kind == RECORD_KERATOMETRY) {
        record_cornea_write(o, &eye->cornea);
    } else if (record_cornea_here(&eye->cornea)) {
        json_out_object(o, "keratometry");
        record_cornea_write(o, &eye->cornea);
        json_out_object_end(o);
    }
    json_out_object_end(o);
}

static void put_cautions(struct json_out *o, const struct record_reading *r)
{
    json_out_array(o, "cautions");
    for (const struct record_caution *c = r->cautions; c; c = c->next) {
        json_out_object(o, NULL);
        json_out_text(o, "code", c->code);
        json_out_text(o, "eye",
            c->side < 0 ? NULL : record_side_word((enum record_side)c->side));
        json_out_text(o, "text", c->text);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

static void put_reading(
    const struct record_reading *reading, bool brief, struct text *to)
{
    struct json_out o = JSON_OUT(to);
    char when[INSTANT_TEXT_MAX];

    json_out_text(&o, "kind", RECORD_KIND_WORDS[reading->kind]);
    json_out_text(&o, "condition_key", record_reading_key(reading));
    json_out_text(&o, "taken_at",
        instant_text(reading->taken_us, reading->taken_offset_min, when));
    if (reading->offset_assumed)
        json_out_bool(&o, "offset_assumed", true);
    put_device(&o, &reading->device);
    if (!brief)
        put_patient(&o, &reading->patient);
    put_condition(&o, &reading->condition);
    put_vertex(&o, reading);
    record_pd_write(&o, "pd_mm", &reading->pd);
    put_text(&o, "with", reading->acuity_with);
    put_text(&o, "distance", reading->acuity_distance);
    put_text(&o, "lens_type", reading->lens_type);
    put_pair(&o, &reading->pair);
    put_prescription(&o, &reading->prescription);
    if (!brief)
        put_dicom(&o, &reading->dicom);
    put_text(&o, "comment", reading->comment);
    for (int side = 0; side < RECORD_SIDES; side++)
        put_eye(&o, reading, (enum record_side)side, brief);
    put_cautions(&o, reading);
}

void record_reading_json(const struct record_reading *reading, struct text *to)
{
    put_reading(reading, false, to);
}

void record_reading_brief(const struct record_reading *reading, struct text *to)
{
    put_reading(reading, true, to);
}
