#include "record/refraction.h"

#include "base/num.h"
#include "optics/angle.h"
#include "record/power.h"

struct record_refraction record_refraction_none(void)
{
    return (struct record_refraction){
        .vertex_mm100 = NUM_ABSENT, .pd = RECORD_PD_NONE};
}

void record_vertex_read(struct json_in in, int32_t *ret_mm100)
{
    static const double range[] = {0, 30};

    *ret_mm100 = NUM_ABSENT;
    json_in_scaled(json_in_get(in, "vertex_mm"), 2, range, ret_mm100);
}

bool record_refraction_read(struct json_in in, struct record_refraction *ret)
{
    size_t before = in.err->n_faults;
    struct json_in pd = json_in_get(in, "pd_mm");

    *ret = record_refraction_none();
    for (int side = 0; side < 2; side++) {
        struct json_in eye =
            json_in_get(in, record_side_word((enum record_side)side));

        if (json_in_here(eye))
            ret->here[side] =
                record_eye_read(eye, (enum record_side)side, &ret->eyes[side]);
    }
    record_vertex_read(in, &ret->vertex_mm100);
    json_in_bool(json_in_get(in, "vertex_assumed"), &ret->vertex_assumed);
    if (json_in_here(pd))
        record_pd_read(pd, &ret->pd);
    return in.err->n_faults == before;
}

void record_refraction_write(
    struct json_out *o, const struct record_refraction *r)
{
    for (int side = 0; side < 2; side++)
        if (r->here[side])
            record_eye_write(
                o, record_side_word((enum record_side)side), &r->eyes[side]);
    if (r->vertex_mm100 != NUM_ABSENT)
        json_out_cd(o, "vertex_mm", r->vertex_mm100);
    if (r->vertex_assumed)
        json_out_bool(o, "vertex_assumed", true);
    record_pd_write(o, "pd_mm", &r->pd);
}

bool record_eyes_read(struct json_in in, enum record_side *ret)
{
    static const char *const words[] = {"right", "left", "both", NULL};
    static const enum record_side sides[] = {
        RECORD_RIGHT, RECORD_LEFT, RECORD_BOTH};
    int word;

    if (!json_in_choice(in, words, &word))
        return false;
    *ret = sides[word];
    return true;
}

bool record_refraction_power(const struct record_refraction *r, int side)
{
    return r->here[side] && r->eyes[side].lens == RECORD_LENS_POWER;
}

int32_t record_refraction_strength(const struct record_refraction *r)
{
    int32_t most = 0;

    for (int side = 0; side < 2; side++) {
        int32_t strength;

        if (!record_refraction_power(r, side))
            continue;
        strength = record_power_strength(r->eyes[side].power);
        if (strength > most)
            most = strength;
    }
    return most;
}

void record_refraction_start(
    struct record_refraction *r, struct record_rounded ret[2])
{
    for (int side = 0; side < 2; side++) {
        struct record_eye *eye = &r->eyes[side];

        ret[side] = (struct record_rounded){0, 0};
        if (!r->here[side])
            continue;
        ret[side].from_cdeg = eye->power.axis_cdeg;
        eye->power.axis_cdeg = optics_axis_whole(eye->power.axis_cdeg);
        ret[side].to_cdeg = eye->power.axis_cdeg;
        eye->acuity = (struct record_acuity){0};
        eye->near_acuity = (struct record_acuity){0};
    }
}
