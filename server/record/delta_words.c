/* A delta in plain sentences, per eye: what a practitioner would tell the
 * person in the chair.  Figures as on every screen: sign, two decimals. */
#include <math.h>
#include <stdlib.h>

#include "base/arena.h"
#include "base/num.h"
#include "optics/acuity.h"
#include "optics/angle.h"
#include "optics/round.h"
#include "optics/vector.h"
#include "record/delta.h"

static const double SEEN = 0.005; /* D; less reads 0.00 */

struct says {
    struct record_delta_eye *eye;
    struct arena *arena;
    size_t n;
};

static void say(struct says *s, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));

static void say(struct says *s, const char *fmt, ...)
{
    va_list ap;

    if (s->n + 1 >= ARRAY_LEN(s->eye->words))
        return;
    va_start(ap, fmt);
    s->eye->words[s->n++] = arena_vprintf(s->arena, fmt, ap);
    va_end(ap);
}

/* "more minus", or "less plus" while the lens stays on the plus side. */
static const char *direction(double was, double is)
{
    if (is < was)
        return was > 0 && is >= 0 ? "less plus" : "more minus";
    return was < 0 && is <= 0 ? "less minus" : "more plus";
}

/* Two decimals that stand for an eighth (.12 .37 .62 .87) mean the eighth. */
static double true_power(double x)
{
    double hundredths = (double)num_round(x, 2);
    int32_t count;

    if (fabs(hundredths - x * 100) < 1e-6 &&
        optics_step_count(OPTICS_STEP_EIGHTH, (int32_t)hundredths, &count))
        return count * 0.125;
    return x;
}

static struct optics_power true_lens(struct optics_power power)
{
    power.sph = true_power(power.sph);
    power.cyl = true_power(power.cyl);
    return power;
}

/* As it is shown: an eighth as the trade writes it, else two decimals. */
static double shown(double x)
{
    double count = round(x / 0.125);

    if (fabs(x) < SEEN)
        return 0;
    if (fabs(x / 0.125 - count) < 1e-6)
        return optics_step_written(OPTICS_STEP_EIGHTH, (int32_t)count) / 100.0;
    return (double)num_round(x, 2) / 100.0;
}

static void say_equivalent(struct says *s)
{
    struct optics_power old = true_lens(s->eye->old_power);
    struct optics_power new = true_lens(s->eye->new_power);
    double was = optics_power_equivalent(old);
    double is = optics_power_equivalent(new);

    if (fabs(is - was) < SEEN) {
        say(s, "The spherical equivalent stays at %+.2f D.", shown(is));
        return;
    }
    say(s, "%.2f D %s: the spherical equivalent goes from %+.2f to %+.2f D.",
        shown(fabs(is - was)), direction(was, is), shown(was), shown(is));
    if (fabs(new.sph - old.sph - (is - was)) >= SEEN)
        say(s, "The sphere alone changes by %+.2f D.",
            shown(new.sph - old.sph));
}

/* "The cylinder goes from -1.00 to -0.50 D", or what else it does; then
 * "its axis turns by 5 degrees (10 to 15)". */
static const char *cylinder_words(
    const struct says *s, struct optics_power was, struct optics_power is)
{
    double turn = optics_round_to(optics_axis_difference(was.axis, is.axis), 1);
    const char *size, *axis;

    if (shown(was.cyl) == shown(is.cyl))
        size = arena_printf(
            s->arena, "The cylinder stays at %+.2f D", shown(is.cyl));
    else
        size = arena_printf(s->arena, "The cylinder goes from %+.2f to %+.2f D",
            shown(was.cyl), shown(is.cyl));
    if (turn < 1)
        axis = arena_printf(s->arena, "at axis %.0f", is.axis);
    else
        axis =
            arena_printf(s->arena, "its axis turns by %.0f %s (%.0f to %.0f)",
                turn, turn < 2 ? "degree" : "degrees", was.axis, is.axis);
    return arena_printf(s->arena, "%s%s %s", size, turn < 1 ? "" : ",", axis);
}

static void say_astigmatism(struct says *s)
{
    struct optics_power was = true_lens(s->eye->old_power);
    struct optics_power is = true_lens(s->eye->new_power);
    double apart;

    if (fabs(was.cyl) < SEEN && fabs(is.cyl) < SEEN)
        return;
    if (fabs(was.cyl) < SEEN) {
        say(s, "A cylinder of %+.2f D at axis %.0f is new.", shown(is.cyl),
            is.axis);
        return;
    }
    if (fabs(is.cyl) < SEEN) {
        say(s, "The cylinder of %+.2f D is gone.", shown(was.cyl));
        return;
    }
    apart = optics_vector_astigmatism(
        optics_vector_difference(optics_vector_of(is), optics_vector_of(was)));
    if (2 * apart < SEEN)
        return;
    say(s, "%s; together that is %.2f D of cylinder at axis %.0f.",
        cylinder_words(s, was, is), shown(2 * apart), s->eye->difference.axis);
}

static void say_add(struct says *s, int32_t was, int32_t is)
{
    if (was == is)
        return;
    if (was == NUM_ABSENT)
        say(s, "The add of %+.2f D is new.", is / 100.0);
    else if (is == NUM_ABSENT)
        say(s, "The old add of %+.2f D is gone.", was / 100.0);
    else
        say(s, "The add goes from %+.2f to %+.2f D.", was / 100.0, is / 100.0);
}

static void say_prism(struct says *s, const struct record_prism *was,
    const struct record_prism *is)
{
    int32_t in = is->in_cd - was->in_cd, up = is->up_cd - was->up_cd;
    char buf[2][NUM_TEXT_MAX];

    if (in && up)
        say(s, "The prism changes by %s base %s and %s base %s.",
            num_text(abs(in), 2, buf[0]), in > 0 ? "in" : "out",
            num_text(abs(up), 2, buf[1]), up > 0 ? "up" : "down");
    else if (in)
        say(s, "The prism changes by %s base %s.", num_text(abs(in), 2, buf[0]),
            in > 0 ? "in" : "out");
    else if (up)
        say(s, "The prism changes by %s base %s.", num_text(abs(up), 2, buf[0]),
            up > 0 ? "up" : "down");
}

static void say_predicted(struct says *s)
{
    if (!s->eye->predicted || s->eye->within_noise)
        return;
    say(s,
        "Through the old lens about %.2f logMAR (decimal %.2f) is to be "
        "expected.",
        s->eye->logmar, optics_acuity_on(OPTICS_DECIMAL, s->eye->logmar));
}

static void say_powers(
    struct says *s, const struct record_eye *was, const struct record_eye *is)
{
    if (optics_vector_blur(s->eye->vector) < SEEN) {
        say(s, "The power stays the same.");
    } else if (s->eye->within_noise) {
        say(s,
            "Same: what differs (%+.2f D of spherical equivalent, %.2f D of "
            "cylinder) is inside the noise band.",
            shown(s->eye->vector.m),
            shown(2 * optics_vector_astigmatism(s->eye->vector)));
    } else {
        say_equivalent(s);
        say_astigmatism(s);
    }
    say_add(s, was->add_cd, is->add_cd);
    say_prism(s, &was->prism, &is->prism);
    say_predicted(s);
}

static void say_lens(struct says *s, enum record_lens was, enum record_lens is)
{
    if (was == is)
        say(s, "The lens stays: %s.", RECORD_LENS_WORDS[is]);
    else
        say(s, "The lens changes from %s to %s.", RECORD_LENS_WORDS[was],
            RECORD_LENS_WORDS[is]);
}

void record_delta_say(struct record_delta *d)
{
    for (int side = 0; side < 2; side++) {
        struct says s = {&d->eyes[side], d->arena, 0};
        const struct record_eye *was = &d->old_entry->figures.eyes[side];
        const struct record_eye *is = &d->new_entry->figures.eyes[side];

        if (s.eye->compared)
            say_powers(&s, was, is);
        else if (s.eye->old_here && s.eye->new_here)
            say_lens(&s, was->lens, is->lens);
    }
}
