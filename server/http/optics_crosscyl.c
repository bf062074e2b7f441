/* http/optics_crosscyl.c - POST /v1/optics: refinement by a cross cylinder. */
#include "http/optics_functions.h"

#include <math.h>

#include "base/arena.h"
#include "optics/crosscyl.h"

#define PRESENTATIONS_MAX 100

/* How far M of the trial lenses may differ before it is said, D: half a step
 * is lost when a quarter of cylinder is made up by an eighth of sphere. */
static const double M_RANGE = 0.25;

static double arg_or(
    struct json_in in, enum optics_fault which, double default_value)
{
    return http_optics_has(in, optics_fault_arg(which))
               ? http_optics_arg(in, which)
               : default_value;
}

static bool flag(struct json_in in, const char *name)
{
    bool yes = false;

    if (http_optics_has(in, name))
        json_in_bool(json_in_get(in, name), &yes);
    return yes;
}

static double read_size(struct json_in in, double default_value)
{
    struct json_in at = json_in_get(in, "size");
    double size = default_value;

    if (http_optics_has(in, "size") && json_in_number(at, 0, 100, &size))
        http_optics_blame(
            in, optics_flip_check((struct optics_flip){.size = size}));
    return size;
}

struct presentation {
    struct optics_flip flip;
    enum optics_flip_answer answer;
};

static struct presentation read_presentation(struct json_in at)
{
    static const char *const names[] = {
        "trial", "size", "minus_axis", "at_once", "answer", NULL};
    static const char *const answers[] = {"first", "second", "same", NULL};
    struct presentation p = {.flip.size = 0.25};

    if (!json_in_need(at) || !json_in_object(at, names))
        return p;
    p.flip.trial = http_optics_lens(json_in_get(at, "trial"));
    json_in_need(json_in_get(at, "size"));
    p.flip.size = read_size(at, p.flip.size);
    p.flip.minus_axis = http_optics_arg(at, OPTICS_BAD_MINUS_AXIS);
    p.flip.at_once = flag(at, "at_once");
    p.answer = (enum optics_flip_answer)http_optics_word(at, "answer", answers);
    return p;
}

struct series {
    struct presentation *list;
    size_t n;
    struct optics_flip next; /* what is in place now, and what to ask with */
    enum optics_step step;
};

static void read_list(struct json_in in, struct series *s)
{
    struct json_in at = json_in_get(in, "presentations");

    if (!json_in_need(at) || !json_in_array(at, 0, PRESENTATIONS_MAX, &s->n))
        return;
    s->list = arena_calloc(in.err->arena, s->n + 1, sizeof(*s->list));
    for (size_t i = 0; i < s->n; i++)
        s->list[i] = read_presentation(json_in_item(at, i));
}

/* The next one is with the last one's lens and cross cylinder unless another
 * is named. */
static struct series read_series(struct json_in in, struct optics_power start)
{
    struct series s = {.next.size = 0.25};
    double step = arg_or(in, OPTICS_BAD_STEP, 0.25);

    read_list(in, &s);
    s.next.trial = start;
    if (s.n > 0)
        s.next = s.list[s.n - 1].flip;
    s.next.size = read_size(in, s.next.size);
    if (http_optics_has(in, "at_once"))
        s.next.at_once = flag(in, "at_once");
    http_optics_blame(in, optics_step_find(step, &s.step));
    return s;
}

static double m_range(const struct series *s, double m)
{
    double low = m, high = m;

    for (size_t i = 0; i < s->n; i++) {
        double here = optics_power_equivalent(s->list[i].flip.trial);

        low = fmin(low, here);
        high = fmax(high, here);
    }
    return high - low;
}

static void put_spread(struct json_out *o, struct optics_crosscyl_spread s)
{
    json_out_object(o, "sd");
    json_out_exact(o, "j0", s.sd_j0);
    json_out_exact(o, "j45", s.sd_j45);
    json_out_object_end(o);
    json_out_exact(o, "covariance", s.covariance);
    json_out_object(o, "ellipse");
    json_out_exact(o, "major", s.major);
    json_out_exact(o, "minor", s.minor);
    json_out_exact(o, "angle", s.angle);
    json_out_object_end(o);
}

static void put_words(
    struct json_out *o, const struct optics_crosscyl_estimate *e, double range)
{
    TEXT_AUTO t = {0};

    text_printf(&t, "cylinder %.2f D, most likely %.2f to %.2f D",
        optics_round_to(e->cylinder, 0.01),
        optics_round_to(e->cylinder_least, 0.01),
        optics_round_to(e->cylinder_most, 0.01));
    if (e->axis_error < 45)
        text_printf(&t, "; axis %.0f, give or take %.0f degrees",
            fmax(1, round(e->axis)), ceil(e->axis_error));
    else
        text_puts(&t, "; no axis can be told yet");
    json_out_text(o, "words", t.data);
    json_out_array(o, "cautions");
    json_out_text(o, NULL, "an estimate; the practitioner decides");
    if (e->far)
        json_out_text(o, NULL,
            "the answers lead far from the start: begin anew from here");
    if (range > M_RANGE + 1e-9)
        json_out_text(o, NULL,
            "the spherical equivalent was not held; the test needs it");
    json_out_array_end(o);
}

static void put_estimate(
    struct json_out *o, const struct optics_crosscyl_estimate *e, double range)
{
    http_optics_put_power(o, optics_vector_power(e->mean, OPTICS_MINUS_CYL));
    http_optics_put_vector(o, e->mean);
    put_spread(o, e->spread);
    json_out_exact(o, "area", e->area);
    json_out_exact(o, "cylinder_least", e->cylinder_least);
    json_out_exact(o, "cylinder_most", e->cylinder_most);
    json_out_exact(o, "axis_error", e->axis_error);
    json_out_exact(o, "entropy_bits", e->entropy_bits);
    json_out_exact(o, "m_range", range);
    json_out_bool(o, "enough", e->spread.major <= OPTICS_CROSSCYL_ENOUGH);
    put_words(o, e, range);
}

static void put_next(struct json_out *o, struct optics_crosscyl_next next)
{
    json_out_object(o, "next");
    json_out_object(o, "trial");
    http_optics_put_power(o, next.flip.trial);
    json_out_object_end(o);
    json_out_exact(o, "size", next.flip.size);
    json_out_exact(o, "minus_axis", next.flip.minus_axis);
    json_out_bool(o, "at_once", next.flip.at_once);
    json_out_text(o, "phase", optics_flip_phase_word(next.phase));
    json_out_exact(o, "gain_bits", next.gain_bits);
    json_out_object_end(o);
}

static void put_grid(struct json_out *o, const struct optics_crosscyl *c)
{
    json_out_object(o, "grid");
    json_out_exact(o, "j0", c->j0);
    json_out_exact(o, "j45", c->j45);
    json_out_exact(o, "step", c->step);
    json_out_array(o, "weights");
    for (int y = 0; y < OPTICS_CROSSCYL_SIDE; y++) {
        json_out_array(o, NULL);
        for (int x = 0; x < OPTICS_CROSSCYL_SIDE; x++)
            json_out_exact(o, NULL, c->weight[y][x]);
        json_out_array_end(o);
    }
    json_out_array_end(o);
    json_out_object_end(o);
}

void http_optics_cross_cylinder(struct json_in in, struct json_out *o)
{
    struct optics_crosscyl_model m = OPTICS_CROSSCYL_MODEL;
    struct optics_power start = http_optics_lens(json_in_get(in, "start"));
    double spread = arg_or(in, OPTICS_BAD_SPREAD, OPTICS_CROSSCYL_SPREAD);
    struct series s = read_series(in, start);
    bool grid = flag(in, "grid");
    struct optics_crosscyl_estimate e;
    struct optics_crosscyl *c;

    m.noise = arg_or(in, OPTICS_BAD_NOISE, m.noise);
    m.same = arg_or(in, OPTICS_BAD_SAME, m.same);
    m.lapse = arg_or(in, OPTICS_BAD_LAPSE, m.lapse);
    m.at_once = arg_or(in, OPTICS_BAD_AT_ONCE, m.at_once);
    if (in.err->n_faults > 0)
        return;
    c = arena_calloc(in.err->arena, 1, sizeof(*c));
    if (!http_optics_right(in, optics_crosscyl_start(start, spread, m, c)))
        return;
    json_out_array(o, "phases");
    for (size_t i = 0; i < s.n; i++) {
        optics_crosscyl_add(c, s.list[i].flip, s.list[i].answer);
        json_out_text(
            o, NULL, optics_flip_phase_word(optics_flip_phase(s.list[i].flip)));
    }
    json_out_array_end(o);
    e = optics_crosscyl_estimate(c);
    put_estimate(o, &e, m_range(&s, c->m));
    put_next(o, optics_crosscyl_next(c, s.next, s.step));
    if (grid)
        put_grid(o, c);
}
