#include "record/prism.h"

#include <stdlib.h>

#include "base/num.h"

static const double AMOUNT_RANGE[] = {0, RECORD_PRISM_MAX_CD / 100.0};

/* The whole prism as amount and base direction, which needs the side unless
 * it points straight up or down. */
static void read_polar(struct json_in in, int32_t amount_cd,
    enum record_side side, struct record_prism *prism)
{
    static const double range[] = {0, 360};
    struct json_in at = json_in_get(in, "angle");
    struct optics_base base;
    struct optics_prism parts;
    enum optics_eye eye = side == RECORD_LEFT ? OPTICS_LEFT : OPTICS_RIGHT;
    int32_t cdeg;

    if (!json_in_scaled(at, 2, range, &cdeg))
        return;
    if (side != RECORD_RIGHT && side != RECORD_LEFT && cdeg % 18000 != 9000) {
        err_fault(in.err, at.pointer,
            "says in or out only for a known side; give amount and base");
        return;
    }
    base = (struct optics_base){amount_cd / 100.0, cdeg / 100.0};
    if (optics_prism_resolve(eye, base, &parts) != OPTICS_OK)
        return; /* amount and angle were read within its ranges */
    prism->amount_cd = amount_cd;
    prism->angle_cdeg = cdeg;
    prism->in_cd = (int32_t)num_round(parts.base_in, 2);
    prism->up_cd = (int32_t)num_round(parts.base_up, 2);
}

/* What a list of components has said so far. */
struct said {
    bool horizontal, vertical;
};

static void read_part(struct json_in in, int32_t amount_cd, struct said *said,
    struct record_prism *prism)
{
    static const char *const bases[] = {"in", "out", "up", "down", NULL};
    struct json_in at = json_in_get(in, "base");
    bool *twice;
    int base;

    if (!json_in_choice(at, bases, &base))
        return;
    twice = base < 2 ? &said->horizontal : &said->vertical;
    if (*twice)
        err_fault(in.err, at.pointer,
            "is a second %s prism; one is the most an eye can have",
            base < 2 ? "horizontal" : "vertical");
    *twice = true;
    *(base < 2 ? &prism->in_cd : &prism->up_cd) =
        base % 2 ? -amount_cd : amount_cd;
}

static void read_item(struct json_in in, enum record_side side,
    struct said *said, struct record_prism *prism)
{
    static const char *const names[] = {"amount", "base", "angle", NULL};
    struct json_in amount = json_in_get(in, "amount");
    bool base = json_in_here(json_in_get(in, "base"));
    bool angle = json_in_here(json_in_get(in, "angle"));
    int32_t cd = 0;

    if (!json_is_object(in.value)) {
        err_fault(in.err, in.pointer, "must be an object");
        return;
    }
    json_in_object(in, names);
    if (json_in_need(amount))
        json_in_scaled(amount, 2, AMOUNT_RANGE, &cd);
    if (base && !angle)
        read_part(in, cd, said, prism);
    else if (angle && !base)
        read_polar(in, cd, side, prism);
    else
        err_fault(in.err, in.pointer, "must have one of base and angle");
}

bool record_prism_read(
    struct json_in in, enum record_side side, struct record_prism *ret)
{
    struct record_prism prism = {true, 0, 0, NUM_ABSENT, NUM_ABSENT};
    struct said said = {false, false};
    size_t before = in.err->n_faults, n;

    if (!json_in_array(in, 0, 2, &n))
        return false;
    for (size_t i = 0; i < n; i++)
        read_item(json_in_item(in, i), side, &said, &prism);
    if (n == 2 && prism.amount_cd != NUM_ABSENT)
        err_fault(in.err, in.pointer,
            "must hold nothing beside a prism given as amount and angle");
    if (in.err->n_faults > before)
        return false;
    *ret = prism;
    return true;
}

static void write_part(struct json_out *o, int32_t cd, const char *base)
{
    json_out_object(o, NULL);
    json_out_cd(o, "amount", abs(cd));
    json_out_text(o, "base", base);
    json_out_object_end(o);
}

void record_prism_write(
    struct json_out *o, const char *key, const struct record_prism *prism)
{
    if (!prism->here)
        return;
    json_out_array(o, key);
    if (prism->in_cd)
        write_part(o, prism->in_cd, prism->in_cd > 0 ? "in" : "out");
    if (prism->up_cd)
        write_part(o, prism->up_cd, prism->up_cd > 0 ? "up" : "down");
    json_out_array_end(o);
}

struct optics_prism record_prism_optics(const struct record_prism *prism)
{
    if (!prism->here)
        return (struct optics_prism){0, 0};
    return (struct optics_prism){
        .base_in = prism->in_cd / 100.0, .base_up = prism->up_cd / 100.0};
}
