#include "record/history_caution.h"

#include <math.h>
#include <string.h>

#include "base/arena.h"
#include "base/instant.h"
#include "optics/slip.h"
#include "record/caution.h"

/* Chosen by us, unless a source is named. */
#define MOST 40 /* entries of a history that are looked at */
#define DAY_US INT64_C(86400000000)
#define DROPS_LAST_US (8 * INT64_C(3600000000)) /* common practice: hours */
/* Children: mean 0.55 + 1.96 SD of 0.55 D (PubMed 31703049, abstract). */
#define CYCLOPLEGIC_GAP_D 1.63
#define GAP_DAYS 90
#define LARGE_ONE_EYE_D 1.00
#define SAME_WAY_D 0.50
#define SAME_WAY_DAYS 90
#define RETURNED_D 0.25
#define RETURNED_DAYS 180
#define SAME_D 1e-4 /* vectors are kept to 0.0001 D */
#define COPY_CHANCE 0.01
#define COPY_STEP_D 0.125 /* of M, J0, J45 where powers are in quarters */

struct looked {
    const struct record_story *story;
    struct record_past before[MOST]; /* newest first, all at most as late */
    size_t n;
    double age_years;
    struct record_cautions *list;
    bool explained; /* an exchange or a slip was suspected */
};

static const char *day_of(struct looked *l, const struct record_past *past)
{
    char text[INSTANT_TEXT_MAX];

    instant_text(past->at_us, 0, text);
    return arena_printf(l->list->arena, "%.10s", text);
}

static bool refracts(const struct record_past *past)
{
    return !record_past_glasses(past);
}

/* The newest earlier refraction of the eye itself under the same condition. */
static const struct record_past *last_alike(const struct looked *l)
{
    for (size_t i = 0; i < l->n; i++)
        if (refracts(&l->before[i]) &&
            record_past_cycloplegic(&l->before[i]) ==
                record_past_cycloplegic(&l->story->now))
            return &l->before[i];
    return NULL;
}

static double days_between(
    const struct record_past *a, const struct record_past *b)
{
    return fabs((double)(a->at_us - b->at_us)) / (double)DAY_US;
}

/* ---- exchange and slips ----------------------------------------------- */

static struct optics_patient patient_of(
    const struct looked *l, struct optics_entry history[MOST])
{
    for (size_t i = 0; i < l->n; i++)
        history[i] = record_past_entry(&l->before[i], l->story->now.at_us);
    return (struct optics_patient){history, l->n, l->age_years};
}

static void check_exchange(struct looked *l)
{
    struct optics_entry history[MOST];
    struct optics_entry now =
        record_past_entry(&l->story->now, l->story->now.at_us);
    struct optics_exchange got;

    if (!now.has[0] || !now.has[1] ||
        optics_exchange_judge(now, patient_of(l, history),
            OPTICS_EXCHANGE_PRIOR, &got) != OPTICS_OK ||
        got.verdict != OPTICS_EXCHANGE_LIKELY)
        return;
    l->explained = true;
    record_cautions_add(l->list, "exchange-suspected", -1,
        "right and left may be exchanged: the eyes lie %.2f and %.2f D from "
        "their own last powers, and %.2f and %.2f D from each other's",
        got.own[0], got.own[1], got.other[0], got.other[1]);
}

static const char *power_text(struct looked *l, struct optics_power p)
{
    if (p.cyl == 0)
        return arena_printf(l->list->arena, "%+.2f", p.sph);
    return arena_printf(
        l->list->arena, "%+.2f %+.2f x %.0f", p.sph, p.cyl, p.axis);
}

static void check_slips(struct looked *l)
{
    struct optics_entry history[MOST];
    struct optics_known known = {.patient = patient_of(l, history)};
    struct optics_entry now =
        record_past_entry(&l->story->now, l->story->now.at_us);
    struct optics_slip_answers *got = arena_alloc(l->list->arena, sizeof(*got));

    if (l->explained || l->n == 0)
        return;
    for (int eye = 0; eye < 2; eye++) {
        known.has_cornea[eye] =
            l->story->has_cornea[eye] && refracts(&l->story->now);
        known.cornea[eye] = l->story->cornea[eye];
    }
    if (optics_slip_explain(now, &known, got) != OPTICS_OK)
        return;
    for (int eye = 0; eye < 2; eye++) {
        const struct optics_slip_answer *a = &got->eye[eye];
        const struct optics_meaning *m = &a->meaning[a->offered];

        if (!now.has[eye] || a->verdict != OPTICS_SLIP_OFFERED ||
            (m->both && eye == 1))
            continue;
        l->explained = true;
        record_cautions_add(l->list, "slip-suspected", m->both ? -1 : eye,
            "%s fits badly to what is known; %s would fit, if %s%s",
            power_text(l, optics_power_as(now.eye[eye], OPTICS_MINUS_CYL)),
            power_text(l, m->power[eye]), optics_slip_word(m->slip),
            m->both ? ", as in the other eye" : "");
    }
}

/* ---- copies ----------------------------------------------------------- */

static bool same_eyes(const struct record_past *a, const struct record_past *b)
{
    for (int eye = 0; eye < 2; eye++) {
        if (a->has[eye] != b->has[eye])
            return false;
        if (a->has[eye] && optics_vector_blur(optics_vector_difference(
                               a->eyes[eye], b->eyes[eye])) > SAME_D)
            return false;
    }
    return true;
}

static double alike_by_chance(double variance)
{
    return fmin(1, COPY_STEP_D / sqrt(2 * 3.14159265358979 * 2 * variance));
}

/* How seldom measuring anew gives the very digits; an eye without cylinder
 * says nothing by its J. */
static double copy_chance(struct looked *l)
{
    struct optics_entry now =
        record_past_entry(&l->story->now, l->story->now.at_us);
    struct optics_patient patient = {NULL, 0, l->age_years};
    double chance = 1;

    for (int eye = 0; eye < 2; eye++) {
        struct optics_covariance s;

        if (!now.has[eye])
            continue;
        s = optics_entry_noise(now, (enum optics_eye)eye, patient);
        chance *= alike_by_chance(s.mm);
        if (now.eye[eye].cyl != 0)
            chance *= alike_by_chance(s.j00) * alike_by_chance(s.j4545);
    }
    return chance;
}

static bool same_series(
    const struct record_past *a, const struct record_past *b)
{
    return a->series && b->series && strcmp(a->series, b->series) == 0;
}

static void check_copy(struct looked *l)
{
    const struct record_past *now = &l->story->now;
    double chance = copy_chance(l);

    if (strcmp(now->kind, "autorefraction") != 0 || chance > COPY_CHANCE)
        return;
    for (size_t i = 0; i < l->n; i++) {
        const struct record_past *old = &l->before[i];

        if (strcmp(old->kind, now->kind) != 0 || !same_eyes(now, old) ||
            same_series(now, old))
            continue;
        record_cautions_add(l->list, "copied-reading", -1,
            "equal to the last digit to the one of %s, which measuring anew "
            "gives about once in %.0f times: it may be a copy",
            day_of(l, old), 1 / chance);
        return;
    }
}

/* ---- conditions ------------------------------------------------------- */

static void check_drops(struct looked *l)
{
    const struct record_past *now = &l->story->now;

    if (record_past_cycloplegic(now) || record_past_glasses(now))
        return;
    for (size_t i = 0; i < l->n; i++)
        if (record_past_cycloplegic(&l->before[i]) &&
            now->at_us - l->before[i].at_us <= DROPS_LAST_US) {
            record_cautions_add(l->list, "condition-mismatch", -1,
                "it doesn't say cycloplegic, and was taken %.0f minutes after "
                "one that was: the drops may still have acted",
                (double)(now->at_us - l->before[i].at_us) / 60e6);
            return;
        }
}

static void check_gap(struct looked *l)
{
    const struct record_past *now = &l->story->now, *other = NULL;

    for (size_t i = 0; i < l->n && !other; i++)
        if (refracts(&l->before[i]) && record_past_cycloplegic(&l->before[i]) !=
                                           record_past_cycloplegic(now))
            other = &l->before[i];
    if (!other || record_past_glasses(now) ||
        days_between(now, other) > GAP_DAYS)
        return;
    for (int eye = 0; eye < 2; eye++) {
        double gap = now->eyes[eye].m - other->eyes[eye].m;

        if (now->has[eye] && other->has[eye] && fabs(gap) > CYCLOPLEGIC_GAP_D)
            record_cautions_add(l->list, "cycloplegic-gap", eye,
                "S + C/2 differs by %+.2f D from the one %s drops of %s; keep "
                "them apart",
                gap, record_past_cycloplegic(other) ? "with" : "without",
                day_of(l, other));
    }
}

/* ---- changes ---------------------------------------------------------- */

static void check_one_eye(struct looked *l, const struct record_past *old)
{
    const struct record_past *now = &l->story->now;
    double blur[2];
    int side;

    for (int eye = 0; eye < 2; eye++) {
        if (!now->has[eye] || !old->has[eye])
            return;
        blur[eye] = optics_vector_blur(
            optics_vector_difference(now->eyes[eye], old->eyes[eye]));
    }
    side = blur[1] > blur[0];
    if (blur[side] >= LARGE_ONE_EYE_D && blur[side] >= 2 * blur[!side])
        record_cautions_add(l->list, "large-one-eye-change", side,
            "this eye changed by %.2f D since %s and the other by %.2f D; "
            "measure again and look for a cause",
            blur[side], day_of(l, old), blur[!side]);
}

/* How far both eyes moved the same way in M; 0 when they didn't. */
static double same_way(
    const struct record_past *now, const struct record_past *old)
{
    double move[2];

    for (int eye = 0; eye < 2; eye++) {
        if (!now->has[eye] || !old->has[eye])
            return 0;
        move[eye] = now->eyes[eye].m - old->eyes[eye].m;
    }
    if (move[0] * move[1] <= 0)
        return 0;
    return fabs(move[0]) < fabs(move[1]) ? move[0] : move[1];
}

/* One of before the last that both eyes are back at. */
static const struct record_past *back_at(
    const struct looked *l, const struct record_past *last)
{
    const struct record_past *now = &l->story->now;

    for (size_t i = 0; i < l->n; i++) {
        const struct record_past *old = &l->before[i];

        if (old->at_us < last->at_us && refracts(old) &&
            record_past_cycloplegic(old) == record_past_cycloplegic(now) &&
            days_between(now, old) <= RETURNED_DAYS && now->has[0] &&
            now->has[1] && old->has[0] && old->has[1] &&
            fabs(now->eyes[0].m - old->eyes[0].m) <= RETURNED_D &&
            fabs(now->eyes[1].m - old->eyes[1].m) <= RETURNED_D)
            return old;
    }
    return NULL;
}

static void check_same_way(struct looked *l, const struct record_past *last)
{
    const struct record_past *now = &l->story->now, *back;
    double moved = same_way(now, last);

    if (days_between(now, last) > SAME_WAY_DAYS || fabs(moved) < SAME_WAY_D)
        return;
    back = back_at(l, last);
    if (back)
        record_cautions_add(l->list, "returned", -1,
            "both eyes are back where they were on %s, after %.2f D or more "
            "between",
            day_of(l, back), fabs(moved));
    else
        record_cautions_add(l->list, "both-eyes-moved", -1,
            "both eyes moved the same way, %s by %.2f D or more, in %.0f "
            "days; a power that moves so fast may move back",
            moved > 0 ? "to plus" : "to minus", fabs(moved),
            days_between(now, last));
}

static void check_changes(struct looked *l)
{
    const struct record_past *last = last_alike(l);

    if (!last || record_past_glasses(&l->story->now))
        return;
    if (!l->explained)
        check_one_eye(l, last);
    check_same_way(l, last);
}

static void check_cornea(struct looked *l)
{
    const struct record_past *now = &l->story->now;

    for (int eye = 0; eye < 2; eye++) {
        double off;

        if (!now->has[eye] || !l->story->has_cornea[eye] ||
            record_past_glasses(now))
            continue;
        off = record_cornea_apart(now->eyes[eye], l->story->cornea[eye]);
        if (off > RECORD_CORNEA_APART_D)
            record_cautions_add(l->list, "cornea-mismatch", eye,
                "the cylinder lies %.2f D from what the last keratometry lets "
                "expect",
                off);
    }
}

void record_history_caution(
    const struct record_story *story, struct record_cautions *list)
{
    struct looked l = {.story = story,
        .age_years = record_age_years(story->born, story->now.at_us),
        .list = list};

    for (size_t i = 0; i < story->n && l.n < MOST; i++)
        if (story->history[i].at_us <= story->now.at_us)
            l.before[l.n++] = story->history[i];
    check_exchange(&l);
    check_slips(&l);
    check_copy(&l);
    check_drops(&l);
    check_gap(&l);
    check_changes(&l);
    check_cornea(&l);
}
