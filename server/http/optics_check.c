/* http/optics_check.c - POST /v1/optics/pair-check: a finished pair. */
#include "http/optics_functions.h"
#include "http/optics_ruling.h"

#include "optics/pair_why.h"

/* Said beside every verdict. */
#define CAUTION                                                                \
    "An aid for whoever releases the pair: the standard itself and local "     \
    "rules come first"

/* A number that may be missing; what is the flag that it sets. */
static void read_said(struct json_in in, enum optics_fault which, unsigned what,
    double *ret, unsigned *says)
{
    if (!http_optics_has(in, optics_fault_arg(which)))
        return;
    *ret = http_optics_arg(in, which);
    *says |= what;
}

static struct optics_glass read_glass(struct json_in in, const char *name)
{
    static const char *const names[] = {"sphere", "cylinder", "axis", "add",
        "prism", "pd_mm", "height_mm", "segment_height_mm", NULL};
    static const char *const parts[] = {"base_in", "base_up", NULL};
    struct json_in at = http_optics_object(in, name, names);
    struct optics_glass g = {.power = http_optics_power(at)};

    if (http_optics_has(at, "prism"))
        g.prism = http_optics_prism(http_optics_object(at, "prism", parts));
    read_said(at, OPTICS_BAD_ADD_POWER, OPTICS_SAYS_ADD, &g.add, &g.says);
    read_said(at, OPTICS_BAD_PD_MM, OPTICS_SAYS_PD, &g.pd_mm, &g.says);
    read_said(
        at, OPTICS_BAD_HEIGHT_MM, OPTICS_SAYS_HEIGHT, &g.height_mm, &g.says);
    read_said(at, OPTICS_BAD_SEGMENT_HEIGHT_MM, OPTICS_SAYS_SEGMENT,
        &g.segment_height_mm, &g.says);
    return g;
}

static struct optics_body read_body(struct json_in at)
{
    static const char *const names[] = {
        "front_power", "index", "thickness_mm", NULL};
    struct json_in in = http_optics_object(at, "body", names);
    struct optics_body body = {
        .front_power = http_optics_arg(in, OPTICS_BAD_FRONT_POWER),
        .index = http_optics_arg(in, OPTICS_BAD_INDEX),
        .thickness_mm = http_optics_arg(in, OPTICS_BAD_THICKNESS_MM),
    };

    http_optics_right(in, optics_body_check(body));
    return body;
}

static struct optics_finished read_finished(struct json_in in, const char *side)
{
    static const char *const names[] = {"ordered", "delivered", "body", NULL};
    struct optics_finished lens = {0};
    size_t before = in.err->n_faults;
    enum optics_fault fault;
    struct json_in at;
    bool delivered;

    if (!http_optics_has(in, side))
        return lens;
    at = http_optics_object(in, side, names);
    lens.there = true;
    lens.ordered = read_glass(at, "ordered");
    lens.delivered = read_glass(at, "delivered");
    lens.has_body = http_optics_has(at, "body");
    if (lens.has_body)
        lens.body = read_body(at);
    if (in.err->n_faults > before)
        return lens;
    fault = optics_finished_check(&lens, &delivered);
    http_optics_blame(
        json_in_get(at, delivered ? "delivered" : "ordered"), fault);
    return lens;
}

/* A line that the profile has a rule for. */
static void put_line(
    struct json_out *o, const char *key, const struct optics_ruling *line)
{
    if (line->n > 0)
        http_optics_put_ruling(o, key, line);
}

static void put_glass(struct json_out *o, const char *side,
    const struct optics_finished *lens, const struct optics_glass_verdict *v)
{
    struct optics_vector residual = optics_vector_of(v->residual);

    json_out_object(o, side);
    json_out_object(o, "residual");
    http_optics_put_power(o, v->residual);
    http_optics_put_vector(o, residual);
    json_out_exact(o, "blur", optics_vector_blur(residual));
    json_out_object_end(o);
    if ((lens->ordered.says & lens->delivered.says & OPTICS_SAYS_ADD) != 0)
        json_out_exact(o, "add_error", v->add_error);
    json_out_exact(o, "in_mm", v->shift.in_mm);
    json_out_exact(o, "up_mm", v->shift.up_mm);
    http_optics_put_side(o, "centring_prism", v->centring);
    http_optics_put_side(o, "prism_error", v->prism_error);
    json_out_object(o, "lines");
    put_line(o, "sphere", &v->power.sphere);
    put_line(o, "cylinder", &v->power.cylinder);
    put_line(o, "axis", &v->power.axis);
    put_line(o, "add", &v->add);
    put_line(o, "reference_point", &v->point);
    put_line(o, "segment_height", &v->segment);
    json_out_object_end(o);
    json_out_object_end(o);
}

static void put_both(struct json_out *o, const struct optics_pair_verdict *v)
{
    json_out_object(o, "both");
    json_out_exact(o, "horizontal_imbalance", v->horizontal);
    json_out_exact(o, "vertical_imbalance", v->vertical);
    json_out_object(o, "lines");
    put_line(o, "horizontal", &v->horizontal_line);
    put_line(o, "vertical", &v->vertical_line);
    put_line(o, "segment_heights", &v->segments);
    json_out_object_end(o);
    json_out_object_end(o);
}

static void put_open(struct json_out *o, const struct optics_pair_verdict *v)
{
    json_out_array(o, "not_judged");
    for (size_t i = 0; i < v->n_open; i++) {
        const struct optics_open *one = &v->open[i];

        json_out_object(o, NULL);
        json_out_text(o, "eye",
            one->pair                  ? "both"
            : one->eye == OPTICS_RIGHT ? "right"
                                       : "left");
        json_out_text(o, "what", optics_open_what_word(one->what));
        json_out_text(o, "why", optics_open_why_word(one->why));
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

static void put_left(struct json_out *o, const char *key,
    const struct optics_finished *lens, const struct optics_explanation *e,
    int eye)
{
    json_out_object(o, key);
    http_optics_put_power(o, e->residual[eye]);
    json_out_exact(
        o, "blur", optics_vector_blur(optics_vector_of(e->residual[eye])));
    if ((lens->ordered.says & lens->delivered.says & OPTICS_SAYS_ADD) != 0)
        json_out_exact(o, "add_error", e->add_error[eye]);
    http_optics_put_side(o, "prism", e->prism[eye]);
    json_out_object_end(o);
}

/* Of a pair that isn't as ordered. */
static void put_explanations(struct json_out *o, const struct optics_pair *pair)
{
    struct optics_explanation e[OPTICS_EXPLANATIONS_MAX];
    double size;
    size_t n = optics_pair_explain(pair, e, &size);

    json_out_exact(o, "size", size);
    json_out_array(o, "explanations");
    for (size_t i = 0; i < n; i++) {
        json_out_object(o, NULL);
        json_out_text(o, "what", optics_why_word(e[i].why));
        json_out_text(o, "eye",
            e[i].both                  ? "both"
            : e[i].eye == OPTICS_RIGHT ? "right"
                                       : "left");
        for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++)
            if (pair->eyes[eye].there)
                put_left(o, eye == OPTICS_RIGHT ? "right" : "left",
                    &pair->eyes[eye], &e[i], eye);
        json_out_exact(o, "size", e[i].size);
        json_out_text(o, "verdict", optics_verdict_word(e[i].verdict));
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

/* Absent is true: a pair in its frame. */
static bool read_mounted(struct json_in in)
{
    struct json_in at = json_in_get(in, "mounted");
    bool mounted = true;

    if (json_in_here(at))
        json_in_bool(at, &mounted);
    return mounted;
}

void http_optics_put_pair(struct json_out *o, const struct optics_pair *pair,
    const struct optics_pair_verdict *v)
{
    json_out_text(o, "profile", OPTICS_PROFILES[pair->profile]);
    json_out_text(o, "verdict", optics_verdict_word(v->verdict));
    for (int eye = OPTICS_RIGHT; eye <= OPTICS_LEFT; eye++)
        if (pair->eyes[eye].there)
            put_glass(o, eye == OPTICS_RIGHT ? "right" : "left",
                &pair->eyes[eye], &v->eyes[eye]);
    if (pair->eyes[OPTICS_RIGHT].there && pair->eyes[OPTICS_LEFT].there)
        put_both(o, v);
    put_open(o, v);
    json_out_text(o, "caution", CAUTION);
    if (v->verdict != OPTICS_PASS)
        put_explanations(o, pair);
}

void http_optics_pair_check(struct json_in in, struct json_out *o)
{
    struct optics_pair pair = {
        .profile = http_optics_profile(in),
        .type = http_optics_lens_type(in),
        .mounted = read_mounted(in),
        .eyes = {read_finished(in, "right"), read_finished(in, "left")},
    };
    struct optics_pair_verdict v;

    if (!http_optics_right(in, optics_pair_check(&pair, &v)))
        return;
    http_optics_put_pair(o, &pair, &v);
}
