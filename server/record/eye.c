#include "record/eye.h"

#include "base/num.h"
#include "record/power.h"

struct record_eye record_eye_plano(void)
{
    return (struct record_eye){
        .add_cd = NUM_ABSENT, .intermediate_add_cd = NUM_ABSENT};
}

bool record_add_read(struct json_in in, int32_t *ret_cd)
{
    static const double range[] = {
        RECORD_ADD_MIN_CD / 100.0, RECORD_ADD_MAX_CD / 100.0};

    *ret_cd = NUM_ABSENT;
    return !json_in_here(in) || json_in_scaled(in, 2, range, ret_cd);
}

bool record_add_from_total(struct json_in total, struct json_in add,
    int32_t sphere_cd, int32_t *ret_cd)
{
    static const double range[] = {-40, 60};
    int32_t total_cd, made_cd, sent_cd;
    char buf[NUM_TEXT_MAX];

    if (!json_in_scaled(total, 2, range, &total_cd))
        return false;
    made_cd = total_cd - sphere_cd;
    num_text(made_cd, 2, buf);
    if (made_cd < RECORD_ADD_MIN_CD || made_cd > RECORD_ADD_MAX_CD) {
        err_fault(total.err, total.pointer,
            "makes an add of %s D, outside 0.25 to 20.00", buf);
        return false;
    }
    if (json_in_here(add) && record_add_read(add, &sent_cd) &&
        sent_cd != made_cd) {
        err_fault(total.err, total.pointer,
            "makes an add of %s D, not the add beside it", buf);
        return false;
    }
    *ret_cd = made_cd;
    return true;
}

/* A balance lens, an occluder and so on has no figures of its own. */
static void refuse_figures(struct json_in in, enum record_lens lens)
{
    static const char *const figures[] = {"sphere", "cylinder", "axis", "add",
        "add_from", "near_total", "intermediate_add", "prism", "near_prism",
        NULL};

    for (int i = 0; figures[i]; i++) {
        struct json_in at = json_in_get(in, figures[i]);

        if (json_in_here(at))
            err_fault(in.err, at.pointer, "can't stand beside the lens \"%s\"",
                RECORD_LENS_WORDS[lens]);
    }
}

static void read_figures(
    struct json_in in, enum record_side side, struct record_eye *eye)
{
    static const char *const totals[] = {"near_total", NULL};
    struct record_sent sent;
    struct json_in from = json_in_get(in, "add_from");
    struct json_in prism = json_in_get(in, "prism");
    struct json_in near_prism = json_in_get(in, "near_prism");
    struct json_in add = json_in_get(in, "add");
    int32_t total_add_cd = NUM_ABSENT;
    int word;

    if (record_sent_read(in, RECORD_AXIS_PERSON, &sent)) {
        eye->power = record_power_from(sent);
        eye->form = record_sent_form(sent);
        eye->add_from_total = record_add_from_total(
            json_in_get(in, "near_total"), add, sent.sph_cd, &total_add_cd);
    }
    record_add_read(add, &eye->add_cd);
    if (eye->add_from_total)
        eye->add_cd = total_add_cd;
    if (json_in_choice(from, totals, &word))
        eye->add_from_total = eye->add_cd != NUM_ABSENT;
    record_add_read(
        json_in_get(in, "intermediate_add"), &eye->intermediate_add_cd);
    record_prism_read(prism, side, &eye->prism);
    record_prism_read(near_prism, side, &eye->near_prism);
}

bool record_eye_read(
    struct json_in in, enum record_side side, struct record_eye *ret)
{
    static const char *const names[] = {"lens", "sphere", "cylinder", "axis",
        "add", "add_from", "near_total", "intermediate_add", "prism",
        "near_prism", "acuity", "near_acuity", NULL};
    struct record_eye eye = record_eye_plano();
    struct json_in acuity = json_in_get(in, "acuity");
    struct json_in near_acuity = json_in_get(in, "near_acuity");
    size_t before = in.err->n_faults;
    int lens = RECORD_LENS_POWER;

    if (!json_is_object(in.value)) {
        err_fault(in.err, in.pointer, "must be an object");
        return false;
    }
    json_in_object(in, names);
    json_in_choice(json_in_get(in, "lens"), RECORD_LENS_WORDS, &lens);
    eye.lens = (enum record_lens)lens;
    if (eye.lens == RECORD_LENS_POWER)
        read_figures(in, side, &eye);
    else
        refuse_figures(in, eye.lens);
    record_acuity_read(acuity, &eye.acuity);
    record_acuity_read(near_acuity, &eye.near_acuity);
    if (in.err->n_faults > before)
        return false;
    *ret = eye;
    return true;
}

void record_eye_write(
    struct json_out *o, const char *key, const struct record_eye *eye)
{
    json_out_object(o, key);
    json_out_text(o, "lens", RECORD_LENS_WORDS[eye->lens]);
    if (eye->lens == RECORD_LENS_POWER)
        record_power_write(o, eye->power);
    if (eye->add_cd != NUM_ABSENT)
        json_out_cd(o, "add", eye->add_cd);
    if (eye->add_from_total && eye->add_cd != NUM_ABSENT)
        json_out_text(o, "add_from", "near_total");
    if (eye->intermediate_add_cd != NUM_ABSENT)
        json_out_cd(o, "intermediate_add", eye->intermediate_add_cd);
    record_prism_write(o, "prism", &eye->prism);
    record_prism_write(o, "near_prism", &eye->near_prism);
    record_acuity_write(o, "acuity", &eye->acuity);
    record_acuity_write(o, "near_acuity", &eye->near_acuity);
    json_out_object_end(o);
}
