#include "record/entry.h"

#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "record/power.h"

/* A reading's eye has more members than an EYE and fractions of a degree. */
static bool read_eye(
    struct json_in in, enum record_side side, struct record_eye *eye)
{
    struct record_sent sent;
    int lens = RECORD_LENS_POWER;

    *eye = record_eye_plano();
    if (!json_is_object(in.value))
        return false;
    json_in_choice(json_in_get(in, "lens"), RECORD_LENS_WORDS, &lens);
    eye->lens = (enum record_lens)lens;
    record_acuity_read(json_in_get(in, "acuity"), &eye->acuity);
    record_acuity_read(json_in_get(in, "near_acuity"), &eye->near_acuity);
    if (eye->lens != RECORD_LENS_POWER)
        return true;
    if (!json_in_here(json_in_get(in, "sphere")) ||
        !record_sent_read(in, RECORD_AXIS_INSTRUMENT, &sent))
        return false;
    eye->power = record_power_from(sent);
    record_add_read(json_in_get(in, "add"), &eye->add_cd);
    record_add_read(
        json_in_get(in, "intermediate_add"), &eye->intermediate_add_cd);
    record_prism_read(json_in_get(in, "prism"), side, &eye->prism);
    record_prism_read(json_in_get(in, "near_prism"), side, &eye->near_prism);
    return true;
}

static bool is(const char *word, const char *of)
{
    return word && strcmp(word, of) == 0;
}

static void read_cornea(struct json_in in, struct record_cornea *cornea)
{
    struct json_in apart = json_in_get(in, "keratometry");

    if (json_in_here(apart))
        record_cornea_read(apart, cornea);
    else if (json_in_here(json_in_get(in, "flat")) ||
             json_in_here(json_in_get(in, "steep")))
        record_cornea_read(in, cornea);
}

static void read_condition(struct json_in in, struct record_entry *entry)
{
    bool yes;

    if (json_in_bool(json_in_get(in, "cycloplegic"), &yes))
        entry->cycloplegic = yes ? RECORD_YES : RECORD_NO;
    json_in_text(json_in_get(in, "drug"), 200, &entry->drug);
}

void record_entry_read(struct json_in body, struct record_entry *entry)
{
    struct err scratch = ERR_INIT(body.err->arena);
    struct json_in in = {body.value, body.pointer, &scratch};

    entry->figures = record_refraction_none();
    for (int side = 0; side < 2; side++) {
        struct json_in eye =
            json_in_get(in, record_side_word((enum record_side)side));

        entry->cornea[side] = record_cornea_none();
        if (!json_in_here(eye))
            continue;
        entry->figures.here[side] =
            read_eye(eye, (enum record_side)side, &entry->figures.eyes[side]);
        read_cornea(eye, &entry->cornea[side]);
    }
    record_vertex_read(in, &entry->figures.vertex_mm100);
    json_in_bool(
        json_in_get(in, "vertex_assumed"), &entry->figures.vertex_assumed);
    if (json_in_here(json_in_get(in, "pd_mm")))
        record_pd_read(json_in_get(in, "pd_mm"), &entry->figures.pd);
    read_condition(json_in_get(in, "condition"), entry);
    entry->unsided = json_in_here(json_in_get(in, "unspecified"));
    if (json_in_here(json_in_get(in, "prescription")))
        entry->kind = "prescription";
    entry->glasses =
        is(entry->kind, "lensometry") || is(entry->kind, "prescription") ||
        is(entry->origin, "prescription") || is(entry->origin, "typed");
}

const char *record_entry_refusal(const struct record_entry *entry)
{
    if (is(entry->kind, "over-refraction"))
        return "an over-refraction is what a lens on the eye leaves, not the "
               "power of spectacles";
    if (is(entry->kind, "keratometry"))
        return "keratometry measures the cornea and has no spectacle power";
    if (is(entry->kind, "acuity"))
        return "an acuity has no power";
    if (record_refraction_here(&entry->figures))
        return NULL;
    return entry->unsided ? "nobody has said yet which eye its lens is for"
                          : "it has no power";
}

const char *record_entry_method(
    const struct record_entry *entry, struct arena *arena)
{
    if (entry->cycloplegic == RECORD_YES)
        return arena_printf(arena, "%s, cycloplegic%s%s", entry->kind,
            entry->drug ? " with " : "", entry->drug ? entry->drug : "");
    if (entry->cycloplegic == RECORD_NO)
        return arena_printf(arena, "%s, not cycloplegic", entry->kind);
    return arena_strdup(arena, entry->kind);
}
