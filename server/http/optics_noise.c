/* http/optics_noise.c - POST /v1/optics: change against noise as a
 * probability, eyes exchanged, an entry's one slip. */
#include "http/optics_functions.h"

#include <math.h>

#include "base/arena.h"
#include "base/num.h"
#include "optics/noise.h"
#include "optics/slip.h"

static const char *const METHODS[] = {"autorefraction",
    "hand-held-autorefraction", "subjective", "automated-subjective",
    "retinoscopy", "lensometry", NULL};

/* A member that may be absent, for which there is a default. */
static double arg_or(
    struct json_in in, enum optics_fault which, double default_value)
{
    return http_optics_has(in, optics_fault_arg(which))
               ? http_optics_arg(in, which)
               : default_value;
}

static bool drops(struct json_in at)
{
    bool yes = false;

    if (http_optics_has(at, "cycloplegic"))
        json_in_bool(json_in_get(at, "cycloplegic"), &yes);
    return yes;
}

/* One side of a change. */
static struct optics_power read_side(struct json_in in, const char *name,
    double age_years, struct optics_how *ret_how)
{
    static const char *const names[] = {
        "sphere", "cylinder", "axis", "method", "cycloplegic", NULL};
    struct json_in at = http_optics_object(in, name, names);
    struct optics_power none = {0};

    *ret_how = (struct optics_how){.age_years = age_years};
    if (!json_is_object(at.value))
        return none;
    ret_how->method =
        (enum optics_method)http_optics_word(at, "method", METHODS);
    ret_how->cycloplegic = drops(at);
    return http_optics_power(at);
}

static void put_vector(
    struct json_out *o, const char *key, struct optics_vector v)
{
    json_out_object(o, key);
    http_optics_put_vector(o, v);
    json_out_object_end(o);
}

/* Why a change that is inside as a whole isn't called so. */
static void put_edge(struct json_out *o, const struct optics_change *c)
{
    TEXT_AUTO words = {0};

    if (c->probability_m < OPTICS_REPEAT_PROBABILITY)
        text_printf(&words,
            "M alone changed by %+.2f D, beyond its 95 percent limit of %.2f "
            "D; together with J0 and J45 the change is not beyond",
            optics_round_to(c->delta.m, 0.01),
            optics_round_to(c->limit_m, 0.01));
    else
        text_puts(&words,
            "cylinder and axis alone (J0 and J45) changed by more than repeat "
            "error explains; together with M the change is not beyond");
    json_out_text(o, NULL, words.data);
}

static void put_cautions(
    struct json_out *o, const struct optics_change *c, bool age_known)
{
    json_out_array(o, "cautions");
    if (c->verdict == OPTICS_CHANGE_EDGE)
        put_edge(o, c);
    if (c->methods_differ)
        json_out_text(o, NULL,
            "the methods differ; two methods differ more "
            "than one does from itself");
    if (c->conditions_differ)
        json_out_text(o, NULL,
            "with and without cycloplegia: focusing is "
            "part of this change");
    if (!age_known)
        json_out_text(o, NULL, "age unknown, taken as an adult's");
    if (!c->published)
        json_out_text(o, NULL,
            "no published repeatability of this method; "
            "a figure of ours stands in");
    json_out_array_end(o);
}

void http_optics_change_probability(struct json_in in, struct json_out *o)
{
    double age = arg_or(in, OPTICS_BAD_AGE_YEARS, OPTICS_AGE_UNKNOWN);
    struct optics_how old_how, new_how;
    struct optics_power old = read_side(in, "old", age, &old_how);
    struct optics_power now = read_side(in, "new", age, &new_how);
    struct optics_change c;

    if (!http_optics_right(
            in, optics_change_probability(old, old_how, now, new_how, &c)))
        return;
    put_vector(o, "delta", c.delta);
    put_vector(o, "sd", c.sd);
    json_out_exact(o, "distance", c.distance);
    json_out_exact(o, "probability", c.probability);
    json_out_exact(o, "probability_m", c.probability_m);
    json_out_exact(o, "limit_m", c.limit_m);
    json_out_exact(o, "probability_j", c.probability_j);
    json_out_text(o, "verdict", optics_change_word(c.verdict));
    json_out_text(o, "basis", c.published ? "published" : "chosen");
    put_cautions(o, &c, http_optics_has(in, "age_years"));
}

/* The eyes and the method of an entry, at an object whose names were checked.
 */
static struct optics_entry read_entry(struct json_in at)
{
    static const char *const eyes[] = {"right", "left"};
    struct optics_entry e = {0};

    if (!json_is_object(at.value))
        return e;
    for (int eye = 0; eye < 2; eye++) {
        e.has[eye] = http_optics_has(at, eyes[eye]);
        if (e.has[eye])
            e.eye[eye] = http_optics_lens(json_in_get(at, eyes[eye]));
    }
    if (!e.has[OPTICS_RIGHT] && !e.has[OPTICS_LEFT])
        err_fault(at.err, at.pointer, "must have right, left or both");
    e.method = (enum optics_method)http_optics_word(at, "method", METHODS);
    e.cycloplegic = drops(at);
    return e;
}

static struct optics_entry read_now(struct json_in in)
{
    static const char *const names[] = {
        "right", "left", "method", "cycloplegic", NULL};

    return read_entry(http_optics_object(in, "entry", names));
}

static struct optics_patient read_patient(struct json_in in)
{
    static const char *const names[] = {
        "right", "left", "method", "cycloplegic", "years_before", NULL};
    struct json_in at = json_in_get(in, "history");
    struct optics_patient p = {
        .age_years = arg_or(in, OPTICS_BAD_AGE_YEARS, OPTICS_AGE_UNKNOWN)};
    struct optics_entry *list;
    size_t n;

    if (!json_in_here(at) || !json_in_array(at, 0, OPTICS_HISTORY_MAX, &n))
        return p;
    list = arena_calloc(in.err->arena, n, sizeof(*list));
    for (size_t i = 0; i < n; i++) {
        struct json_in item = json_in_item(at, i);

        if (json_in_need(item))
            json_in_object(item, names);
        list[i] = read_entry(item);
        list[i].years_before = http_optics_arg(item, OPTICS_BAD_YEARS_BEFORE);
    }
    p.history = list;
    p.n = n;
    return p;
}

static void put_eyes(struct json_out *o, const char *key, const double eye[2],
    const bool known[2])
{
    json_out_object(o, key);
    http_optics_put_angle(o, "right", eye[OPTICS_RIGHT], known[0]);
    http_optics_put_angle(o, "left", eye[OPTICS_LEFT], known[1]);
    json_out_object_end(o);
}

/* "2.00 D from its own past and 0.00 D from the other eye's". */
static void text_distances(
    struct text *to, const struct optics_exchange *x, enum optics_eye eye)
{
    enum optics_eye fellow = eye == OPTICS_RIGHT ? OPTICS_LEFT : OPTICS_RIGHT;
    const char *and = "";

    text_printf(to, "; the %s eye is", eye == OPTICS_RIGHT ? "right" : "left");
    if (x->known[eye]) {
        text_printf(to, " %.2f D from its own past", x->own[eye]);
        and = " and";
    }
    if (x->known[fellow])
        text_printf(to, "%s %.2f D from the other eye's", and, x->other[eye]);
}

static void put_exchange_text(
    struct json_out *o, const struct optics_exchange *x)
{
    TEXT_AUTO words = {0};

    if (x->verdict != OPTICS_EXCHANGE_LIKELY)
        return;
    text_puts(&words, "right and left look exchanged");
    text_distances(&words, x, OPTICS_RIGHT);
    text_distances(&words, x, OPTICS_LEFT);
    text_puts(&words, "; nothing was changed, please confirm the side");
    json_out_text(o, "text", words.data);
}

void http_optics_eye_exchange(struct json_in in, struct json_out *o)
{
    struct optics_entry now = read_now(in);
    struct optics_patient patient = read_patient(in);
    double prior = arg_or(in, OPTICS_BAD_PRIOR, OPTICS_EXCHANGE_PRIOR);
    struct optics_exchange x;

    if (!http_optics_right(in, optics_exchange_judge(now, patient, prior, &x)))
        return;
    json_out_exact(o, "log_likelihood_ratio", x.log_ratio);
    json_out_exact(o, "probability", x.probability);
    json_out_text(o, "verdict", optics_exchange_word(x.verdict));
    json_out_int(o, "compared", (int64_t)x.compared);
    if (x.compared > 0) {
        put_eyes(o, "distance_own", x.own, x.known);
        put_eyes(o, "distance_other", x.other,
            (const bool[]){x.known[1], x.known[0]});
    }
    put_exchange_text(o, &x);
}

/* A corneal astigmatism: the minus cylinder that corrects it. */
static struct optics_power read_cornea(struct json_in at)
{
    static const char *const names[] = {"cylinder", "axis", NULL};
    struct optics_power p = {0};

    json_in_object(at, names);
    p.cyl = http_optics_arg(at, OPTICS_BAD_CYLINDER);
    if (http_optics_has(at, "axis"))
        p.axis = http_optics_arg(at, OPTICS_BAD_AXIS);
    if (p.axis == 0 && http_optics_has(at, "axis"))
        p.axis = 180;
    if (optics_power_check(p) == OPTICS_OK)
        return p;
    http_optics_blame(at, optics_power_check(p));
    return (struct optics_power){0};
}

static void read_corneas(struct json_in in, struct optics_known *to)
{
    static const char *const eyes[] = {"right", "left", NULL};
    struct json_in at = json_in_get(in, "cornea");

    if (!json_in_here(at))
        return;
    json_in_object(at, eyes);
    for (int eye = 0; eye < 2; eye++) {
        to->has_cornea[eye] = http_optics_has(at, eyes[eye]);
        if (to->has_cornea[eye])
            to->cornea[eye] = read_cornea(json_in_get(at, eyes[eye]));
    }
}

/* As it is written on paper: "-2.50" or "-2.50 -0.75 x 172". */
static void text_power(struct text *to, struct optics_power p)
{
    text_printf(to, "%+.2f", p.sph);
    if (p.axis != 0)
        text_printf(to, " %+.2f x %03.0f", p.cyl, p.axis);
}

/* Words of the eyes that a meaning changes. */
static const char *meaning_eye(const struct optics_meaning *m)
{
    if (m->both)
        return "both";
    return m->eye == OPTICS_RIGHT ? "right" : "left";
}

/* With the lens of eye, or of the one that changes. */
static void put_meaning(
    struct json_out *o, const struct optics_meaning *m, enum optics_eye eye)
{
    json_out_text(o, "slip", optics_slip_word(m->slip));
    json_out_text(o, "eye", meaning_eye(m));
    http_optics_put_power(o, m->power[m->both ? eye : m->eye]);
    json_out_exact(o, "log_odds", m->log_odds);
    json_out_bool(o, "fits", m->fits);
}

/* "the sign of the sphere is wrong in both eyes" */
static void text_slip(struct text *to, const struct optics_meaning *m)
{
    text_puts(to, optics_slip_word(m->slip));
    if (m->both && m->slip != OPTICS_SLIP_EYES)
        text_puts(to, " in both eyes");
}

/* How many times as likely, in words for people; e^700 is still a number. */
static double times(double log_odds)
{
    return exp(fmin(700, log_odds));
}

static void text_beside(struct text *to, const struct optics_slip_answer *a,
    const struct optics_meaning *m)
{
    text_puts(to, "; or ");
    if (!m->both && m->eye != a->eye)
        text_printf(to, "the %s eye as ", meaning_eye(m));
    text_power(to, m->power[m->both ? a->eye : m->eye]);
    text_puts(to, ", if ");
    text_slip(to, m);
    text_printf(to, " (%.2g times as likely)",
        times(m->log_odds - a->meaning[a->offered].log_odds));
}

static void put_offer(struct json_out *o, const struct optics_slip_answer *a,
    struct optics_power entered)
{
    const struct optics_meaning *m = &a->meaning[a->offered];
    bool clear = a->verdict == OPTICS_SLIP_OFFERED;
    TEXT_AUTO words = {0};

    text_power(&words, optics_power_as(entered, OPTICS_MINUS_CYL));
    text_puts(&words, " fits badly; ");
    text_power(&words, m->power[a->eye]);
    text_puts(&words, clear ? " would fit, if " : " would fit too, if ");
    text_slip(&words, m);
    if (!clear)
        text_printf(
            &words, " (%.2g times as likely as the entry)", times(m->log_odds));
    for (size_t i = 0; i < a->n_beside; i++)
        text_beside(&words, a, &a->beside[i]);
    text_puts(&words, "; nothing was changed, please look");
    json_out_object(o, "offered");
    put_meaning(o, m, a->eye);
    json_out_exact(o, "odds", times(m->log_odds));
    json_out_array(o, "alternatives");
    for (size_t i = 0; i < a->n_beside; i++) {
        json_out_object(o, NULL);
        put_meaning(o, &a->beside[i], a->eye);
        json_out_exact(
            o, "times_as_likely", times(a->beside[i].log_odds - m->log_odds));
        json_out_object_end(o);
    }
    json_out_array_end(o);
    json_out_text(o, "text", words.data);
    json_out_object_end(o);
}

static void put_slips(struct json_out *o, const struct optics_slip_answer *a,
    struct optics_power entered)
{
    json_out_object(o, a->eye == OPTICS_RIGHT ? "right" : "left");
    json_out_text(o, "verdict", optics_slip_verdict_word(a->verdict));
    if (a->verdict >= OPTICS_SLIP_POSSIBLE)
        put_offer(o, a, entered);
    json_out_array(o, "considered");
    for (size_t i = 0; i < a->n; i++) {
        json_out_object(o, NULL);
        put_meaning(o, &a->meaning[i], a->eye);
        json_out_object_end(o);
    }
    json_out_array_end(o);
    json_out_object_end(o);
}

void http_optics_slip_explanation(struct json_in in, struct json_out *o)
{
    struct optics_known known = {.patient = read_patient(in)};
    struct optics_entry now = read_now(in);
    struct optics_slip_answers answers;

    read_corneas(in, &known);
    if (!http_optics_right(in, OPTICS_OK) ||
        !http_optics_right(in, optics_slip_explain(now, &known, &answers)))
        return;
    for (int eye = 0; eye < 2; eye++)
        if (now.has[eye])
            put_slips(o, &answers.eye[eye], now.eye[eye]);
}
