/* http/optics_device.c - POST /v1/optics: an instrument against the final
 * prescriptions, and its control limits. */
#include "http/optics_functions.h"

#include "base/arena.h"
#include "optics/bias.h"

#define LIST_MAX 10000

static const char *const EYES[] = {"right", "left", NULL};

static void read_visit(struct json_in at, struct optics_device_visit *ret)
{
    static const char *const names[] = {"reading", "final", NULL};

    if (!json_in_need(at) || !json_in_object(at, EYES))
        return;
    for (int eye = 0; eye < 2; eye++) {
        struct json_in one = json_in_get(at, EYES[eye]);

        ret->has[eye] = json_in_here(one);
        if (!ret->has[eye] || !json_in_object(one, names))
            continue;
        ret->reading[eye] = http_optics_lens(json_in_get(one, "reading"));
        ret->final[eye] = http_optics_lens(json_in_get(one, "final"));
    }
    if (!ret->has[OPTICS_RIGHT] && !ret->has[OPTICS_LEFT])
        err_fault(at.err, at.pointer, "must have right, left or both");
}

static void put_vector(
    struct json_out *o, const char *key, struct optics_vector v)
{
    json_out_object(o, key);
    http_optics_put_vector(o, v);
    json_out_object_end(o);
}

static void put_turn(struct json_out *o, const char *key, struct optics_turn t)
{
    if (!t.known) {
        json_out_null(o, key);
        return;
    }
    json_out_object(o, key);
    json_out_exact(o, "degrees", t.turn_deg);
    json_out_exact(o, "standard_error", t.error_deg);
    json_out_object_end(o);
}

void http_optics_device_bias(struct json_in in, struct json_out *o)
{
    struct json_in at = json_in_get(in, "visits");
    struct optics_device_visit *visits;
    struct optics_device d;
    size_t n;

    if (!json_in_need(at) || !json_in_array(at, 2, LIST_MAX, &n))
        return;
    visits = arena_calloc(in.err->arena, n, sizeof(*visits));
    for (size_t i = 0; i < n; i++)
        read_visit(json_in_item(at, i), &visits[i]);
    if (!http_optics_right(in, optics_device_judge(visits, n, &d)))
        return;
    json_out_int(o, "visits", (int64_t)d.visits);
    json_out_int(o, "eyes", (int64_t)d.eyes);
    put_vector(o, "bias", d.bias);
    put_vector(o, "standard_error", d.error);
    put_vector(o, "sd", d.sd);
    json_out_object(o, "turn");
    put_turn(o, "both", d.both);
    put_turn(o, "right", d.eye[OPTICS_RIGHT]);
    put_turn(o, "left", d.eye[OPTICS_LEFT]);
    json_out_object_end(o);
    json_out_text(o, "verdict", optics_device_word(&d));
}

static void put_index(struct json_out *o, const char *key, size_t i, size_t n)
{
    if (i < n)
        json_out_int(o, key, (int64_t)i);
    else
        json_out_null(o, key);
}

void http_optics_control_limits(struct json_in in, struct json_out *o)
{
    struct json_in at = json_in_get(in, "values");
    int64_t baseline = 0;
    struct optics_chart c;
    double *values;
    size_t n;

    if (!json_in_need(at) || !json_in_array(at, 2, LIST_MAX, &n))
        return;
    baseline = (int64_t)n;
    if (http_optics_has(in, "baseline"))
        json_in_int(json_in_get(in, "baseline"), 2, LIST_MAX, &baseline);
    values = arena_calloc(in.err->arena, n, sizeof(*values));
    for (size_t i = 0; i < n; i++)
        if (json_in_need(json_in_item(at, i)))
            json_in_number(json_in_item(at, i), -1000, 1000, &values[i]);
    if (!http_optics_right(
            in, optics_chart_of(values, n, (size_t)baseline, &c)))
        return;
    json_out_exact(o, "centre", c.centre);
    json_out_exact(o, "sigma", c.sigma);
    json_out_exact(o, "low", c.low);
    json_out_exact(o, "high", c.high);
    json_out_int(o, "outside", (int64_t)c.outside);
    put_index(o, "first_outside", c.first_outside, n);
    put_index(o, "first_run", c.first_run, n);
    json_out_bool(o, "in_control", c.in_control);
}
