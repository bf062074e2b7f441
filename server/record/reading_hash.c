/* Canonical JSON of what makes a reading the same one: members in this fixed
 * order, no spaces, figures as whole numbers of the record's units, null where
 * nothing was said.  Changing it would store again what stands there already,
 * so a new member is written only where it has a value. */
#include "base/hash.h"
#include "base/json_out.h"
#include "base/num.h"
#include "record/reading_json.h"

static void put_figure(struct json_out *o, int32_t figure)
{
    if (figure == NUM_ABSENT)
        json_out_null(o, NULL);
    else
        json_out_int(o, NULL, figure);
}

static void put_figures(
    struct json_out *o, const char *key, const int32_t *figures, size_t n)
{
    bool any = false;

    for (size_t i = 0; i < n; i++)
        any = any || figures[i] != NUM_ABSENT;
    if (!any)
        return;
    json_out_array(o, key);
    for (size_t i = 0; i < n; i++)
        put_figure(o, figures[i]);
    json_out_array_end(o);
}

#define PUT_FIGURES(o, key, ...)                                               \
    put_figures((o), (key), (const int32_t[]){__VA_ARGS__},                    \
        sizeof((const int32_t[]){__VA_ARGS__}) / sizeof(int32_t))

/* In the record's form, so that both forms of one lens are the same. */
static void put_sent(
    struct json_out *o, const char *key, struct record_sent sent)
{
    struct optics_rx power;

    if (sent.sph_cd == NUM_ABSENT)
        return;
    power = record_power_from(sent);
    PUT_FIGURES(o, key, power.sph_cd, power.cyl_cd, power.axis_cdeg);
}

static void put_repeats(
    struct json_out *o, const struct record_reading_eye *eye)
{
    if (!eye->n_repeats)
        return;
    json_out_array(o, "repeats");
    for (size_t i = 0; i < eye->n_repeats; i++) {
        struct optics_rx p = record_power_from(eye->repeats[i].sent);

        PUT_FIGURES(o, NULL, p.sph_cd, p.cyl_cd, p.axis_cdeg,
            eye->repeats[i].confidence_e2);
    }
    json_out_array_end(o);
}

static void put_prism(
    struct json_out *o, const char *key, const struct record_prism *prism)
{
    if (prism->here)
        PUT_FIGURES(o, key, prism->in_cd, prism->up_cd);
}

static void put_acuity(
    struct json_out *o, const char *key, const struct record_acuity *acuity)
{
    if (!acuity->notation)
        return;
    json_out_array(o, key);
    json_out_text(o, NULL, acuity->notation);
    json_out_text(o, NULL, acuity->text);
    json_out_array_end(o);
}

/* A figure that was computed from the others says nothing new. */
static void put_meridian(
    struct json_out *o, const char *key, const struct record_meridian *m)
{
    PUT_FIGURES(o, key, m->radius_computed ? NUM_ABSENT : m->radius_um,
        m->power_computed ? NUM_ABSENT : m->power_cd, m->axis_cdeg);
}

static void put_eye(
    struct json_out *o, const char *key, const struct record_reading_eye *eye)
{
    const struct record_cornea *c = &eye->cornea;

    if (!eye->here)
        return;
    json_out_object(o, key);
    if (eye->lens != RECORD_LENS_POWER)
        json_out_text(o, "lens", RECORD_LENS_WORDS[eye->lens]);
    put_sent(o, "power", eye->sent);
    put_repeats(o, eye);
    PUT_FIGURES(o, "add", eye->add.power_cd);
    PUT_FIGURES(o, "intermediate_add", eye->intermediate_add.power_cd);
    PUT_FIGURES(o, "second_add", eye->second_add.power_cd);
    put_prism(o, "prism", &eye->prism);
    put_prism(o, "near_prism", &eye->near_prism);
    put_acuity(o, "acuity", &eye->acuity);
    put_acuity(o, "near_acuity", &eye->near_acuity);
    put_meridian(o, "flat", &c->flat);
    put_meridian(o, "steep", &c->steep);
    if (!c->index_assumed)
        PUT_FIGURES(o, "index", c->index_e4);
    PUT_FIGURES(o, "widths", eye->pupil_mm100, eye->cornea_mm100);
    PUT_FIGURES(o, "lens_figures", eye->transmittance_e2, eye->channel_mm100);
    json_out_object_end(o);
}

static void put_patient(struct json_out *o, const struct record_patient_ref *p)
{
    json_out_array(o, "patient");
    json_out_text(o, NULL, p->id);
    json_out_text(o, NULL, p->record_number);
    json_out_text(o, NULL, p->family);
    json_out_text(o, NULL, p->given);
    json_out_text(o, NULL, p->born);
    json_out_array_end(o);
}

static void put_word(struct json_out *o, const char *key, const char *word)
{
    if (word)
        json_out_text(o, key, word);
}

/* Through which lens: the same figures through another are another finding;
 * and what was prescribed isn't what was measured. */
static void put_terms(struct json_out *o, const struct record_reading *r)
{
    put_word(o, "with", r->acuity_with);
    put_word(o, "distance", r->acuity_distance);
    if (r->kind == RECORD_OVER_REFRACTION)
        put_word(o, "lens_worn", r->condition.lens_worn);
    put_word(o, "prescription", r->prescription.here ? "here" : NULL);
}

static void put_reading(struct json_out *o, const struct record_reading *r)
{
    const struct record_pd *pd = &r->pd;

    json_out_text(o, "kind", RECORD_KIND_WORDS[r->kind]);
    json_out_int(o, "taken_us", r->taken_us);
    json_out_text(o, "serial", r->device.serial);
    put_patient(o, &r->patient);
    PUT_FIGURES(o, "vertex", r->vertex_mm100);
    PUT_FIGURES(o, "working", r->working_mm);
    put_terms(o, r);
    PUT_FIGURES(o, "pd", pd->far.right_mm100, pd->far.left_mm100,
        pd->far.binocular_mm100, pd->near.right_mm100, pd->near.left_mm100,
        pd->near.binocular_mm100);
    for (int side = 0; side < RECORD_SIDES; side++)
        put_eye(o, record_side_word((enum record_side)side), &r->eyes[side]);
}

void record_reading_hash(
    const struct record_reading *reading, uint8_t ret[RECORD_HASH_SIZE])
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    if (reading->dicom.sop_instance)
        json_out_text(&o, "sop_instance", reading->dicom.sop_instance);
    else
        put_reading(&o, reading);
    json_out_object_end(&o);
    hash_bytes(t.data, t.len, ret);
}
