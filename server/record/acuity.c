#include "record/acuity.h"

#include <math.h>
#include <string.h>

#include "base/arena.h"

/* 0.0 is normal sight; -1 and 4 lie beyond any eye and any scheme. */
#define LOGMAR_BEST (-1.0)
#define LOGMAR_WORST 4.0

static const char *const NOTATIONS[] = {"snellen", "decimal", "logmar",
    "letters-85", "letters-100", "n-points", "m-units", "jaeger", NULL};

bool record_acuity_of(struct json_in at, enum optics_notation notation,
    const char *text, struct record_acuity *ret)
{
    struct record_acuity acuity = {
        .notation = OPTICS_NOTATIONS[notation], .text = text};

    if (optics_acuity_read(notation, text, strlen(text), &acuity.value) !=
        OPTICS_OK) {
        err_fault(at.err, at.pointer, "is not an acuity written as %s: \"%s\"",
            acuity.notation, text);
        return false;
    }
    acuity.has_logmar = acuity.value.level == OPTICS_LEVEL_NUMBER;
    if (acuity.has_logmar && (acuity.value.logmar < LOGMAR_BEST ||
                                 acuity.value.logmar > LOGMAR_WORST)) {
        err_fault(at.err, at.pointer, "is beyond any eye: \"%s\"", text);
        return false;
    }
    *ret = acuity;
    return true;
}

static void check_logmar(struct json_in in, const struct record_acuity *acuity)
{
    double sent;

    if (!json_in_number(in, LOGMAR_BEST, LOGMAR_WORST, &sent))
        return;
    if (!acuity->has_logmar)
        err_fault(
            in.err, in.pointer, "can't be given for \"%s\"", acuity->text);
    else if (fabs(sent - acuity->value.logmar) > 0.1)
        err_fault(in.err, in.pointer,
            "doesn't fit the text \"%s\", which is %.2f", acuity->text,
            acuity->value.logmar);
}

bool record_acuity_read(struct json_in in, struct record_acuity *ret)
{
    static const char *const names[] = {"notation", "text", "logmar", NULL};
    struct json_in at_notation = json_in_get(in, "notation");
    struct json_in at_text = json_in_get(in, "text");
    struct record_acuity acuity = {0};
    size_t before = in.err->n_faults;
    const char *text;
    int notation;

    if (!json_in_object(in, names) && !json_is_object(in.value))
        return false;
    json_in_need(at_notation);
    json_in_need(at_text);
    if (json_in_choice(at_notation, NOTATIONS, &notation) &&
        json_in_text(at_text, 40, &text)) {
        text = arena_strdup(in.err->arena, text);
        acuity = (struct record_acuity){
            .notation = NOTATIONS[notation], .text = text};
        if (notation <= OPTICS_WRITTEN_LETTERS_100)
            record_acuity_of(
                at_text, (enum optics_notation)notation, text, &acuity);
        if (in.err->n_faults == before)
            check_logmar(json_in_get(in, "logmar"), &acuity);
    }
    if (in.err->n_faults > before)
        return false;
    *ret = acuity;
    return true;
}

void record_acuity_write(
    struct json_out *o, const char *key, const struct record_acuity *acuity)
{
    if (!acuity->notation)
        return;
    json_out_object(o, key);
    json_out_text(o, "notation", acuity->notation);
    json_out_text(o, "text", acuity->text);
    if (acuity->has_logmar)
        json_out_number(o, "logmar", acuity->value.logmar, 4);
    json_out_object_end(o);
}
