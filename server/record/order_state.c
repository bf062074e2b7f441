#include "record/order_state.h"

#include <string.h>

#include "base/arena.h"
#include "base/text.h"

const char *const RECORD_ORDER_STATUS_WORDS[] = {"draft", "requested",
    "received", "accepted", "rejected", "in-progress", "on-hold", "completed",
    "cancelled", "failed", NULL};
const char *const RECORD_ORDER_STAGE_WORDS[] = {
    "cut", "checked", "sent", "arrived", "handed over", NULL};
const char *const RECORD_REMAKE_CAUSES[] = {"power-off", "axis-off", "add-off",
    "centring-off", "prism-off", "wrong-lens", "surface-fault", "edge-fault",
    "frame-fault", "broken", "lost", "order-wrong", "rx-changed",
    "not-tolerated", "other", NULL};

#define BIT(s) (1U << RECORD_ORDER_##s)

/* From which states each is reached, and by whom.  Rejected, completed,
 * cancelled and failed are ends. */
static const struct {
    enum record_party party;
    unsigned from;
} MOVES[RECORD_ORDER_STATUSES] = {
    [RECORD_ORDER_REQUESTED] = {RECORD_CLINIC, BIT(DRAFT)},
    [RECORD_ORDER_RECEIVED] = {RECORD_LAB, BIT(REQUESTED)},
    [RECORD_ORDER_ACCEPTED] = {RECORD_LAB,
        BIT(REQUESTED) | BIT(RECEIVED) | BIT(ON_HOLD)},
    [RECORD_ORDER_REJECTED] = {RECORD_LAB,
        BIT(REQUESTED) | BIT(RECEIVED) | BIT(ON_HOLD)},
    [RECORD_ORDER_IN_PROGRESS] = {RECORD_LAB, BIT(ACCEPTED) | BIT(ON_HOLD)},
    [RECORD_ORDER_ON_HOLD] = {RECORD_LAB,
        BIT(RECEIVED) | BIT(ACCEPTED) | BIT(IN_PROGRESS)},
    [RECORD_ORDER_COMPLETED] = {RECORD_LAB, BIT(IN_PROGRESS)},
    [RECORD_ORDER_FAILED] = {RECORD_LAB,
        BIT(ACCEPTED) | BIT(IN_PROGRESS) | BIT(ON_HOLD)},
    [RECORD_ORDER_CANCELLED] = {RECORD_CLINIC,
        BIT(DRAFT) | BIT(REQUESTED) | BIT(RECEIVED) | BIT(ACCEPTED) |
            BIT(IN_PROGRESS) | BIT(ON_HOLD)},
};

#define NONE 1U
#define STAGE(s) (2U << RECORD_STAGE_##s)

/* Beside which status each stage stands, by whom it is set, and after which.
 * A lens that failed its check is cut again; uncut lenses are never cut; who
 * forgets a step is not stopped at the next. */
static const struct {
    enum record_order_status beside;
    enum record_party party;
    unsigned after;
} STEPS[] = {
    [RECORD_STAGE_CUT] = {RECORD_ORDER_IN_PROGRESS, RECORD_LAB,
        NONE | STAGE(CHECKED)},
    [RECORD_STAGE_CHECKED] = {RECORD_ORDER_IN_PROGRESS, RECORD_LAB,
        NONE | STAGE(CUT)},
    [RECORD_STAGE_SENT] = {RECORD_ORDER_COMPLETED, RECORD_LAB,
        NONE | STAGE(CUT) | STAGE(CHECKED)},
    [RECORD_STAGE_ARRIVED] = {RECORD_ORDER_COMPLETED, RECORD_CLINIC,
        NONE | STAGE(CUT) | STAGE(CHECKED) | STAGE(SENT)},
    [RECORD_STAGE_HANDED_OVER] = {RECORD_ORDER_COMPLETED, RECORD_CLINIC,
        NONE | STAGE(CUT) | STAGE(CHECKED) | STAGE(SENT) | STAGE(ARRIVED)},
};

static int word_index(const char *const words[], const char *word)
{
    for (int i = 0; word && words[i]; i++)
        if (strcmp(words[i], word) == 0)
            return i;
    return -1;
}

struct record_order_state record_order_state_of(
    const char *status, const char *stage)
{
    int s = word_index(RECORD_ORDER_STATUS_WORDS, status);

    return (struct record_order_state){
        .status = s < 0 ? RECORD_ORDER_DRAFT : (enum record_order_status)s,
        .stage = (enum record_order_stage)word_index(
            RECORD_ORDER_STAGE_WORDS, stage)};
}

static const char *party_word(enum record_party party)
{
    return party == RECORD_LAB ? "lab" : "clinic";
}

enum rc record_order_may(const struct record_order_move *move, struct err *err)
{
    enum record_order_stage stage = move->to.stage;
    enum record_order_status status = move->to.status;

    if (stage != RECORD_STAGE_NONE && STEPS[stage].party != move->party)
        return err_set(err, RC_FORBIDDEN, "/stage",
            "\"%s\" is for the %s to say", RECORD_ORDER_STAGE_WORDS[stage],
            party_word(STEPS[stage].party));
    /* A stage's status is only repeated by who sets the stage. */
    if (stage != RECORD_STAGE_NONE && status == STEPS[stage].beside)
        return RC_OK;
    if (MOVES[status].party && MOVES[status].party != move->party)
        return err_set(err, RC_FORBIDDEN, "/status",
            "\"%s\" is for the %s to say", RECORD_ORDER_STATUS_WORDS[status],
            party_word(MOVES[status].party));
    return RC_OK;
}

/* Every status that can follow from, with whose it is. */
static const char *possible(enum record_order_status from, struct arena *arena)
{
    TEXT_AUTO list = {0};

    for (int to = 0; to < RECORD_ORDER_STATUSES; to++)
        if (MOVES[to].from & 1U << from)
            text_printf(&list, "%s%s (%s)", list.len ? ", " : "",
                RECORD_ORDER_STATUS_WORDS[to], party_word(MOVES[to].party));
    return list.len ? arena_strdup(arena, list.data) : "nothing";
}

static enum rc move_status(struct record_order_state from,
    const struct record_order_move *move, struct err *err)
{
    enum record_order_status to = move->to.status;

    if (to == from.status && move->to.stage != RECORD_STAGE_NONE)
        return RC_OK;
    if ((to == RECORD_ORDER_CANCELLED || to == RECORD_ORDER_REJECTED) &&
        from.stage != RECORD_STAGE_NONE && MOVES[to].from & 1U << from.status)
        return err_set(err, RC_CONFLICT, "/status",
            "the lenses are \"%s\" already: the order can't be \"%s\" any more",
            RECORD_ORDER_STAGE_WORDS[from.stage],
            RECORD_ORDER_STATUS_WORDS[to]);
    if (!(MOVES[to].from & 1U << from.status))
        return err_set(err, RC_CONFLICT, "/status",
            "an order that is \"%s\" can't become \"%s\"; it can become: %s",
            RECORD_ORDER_STATUS_WORDS[from.status],
            RECORD_ORDER_STATUS_WORDS[to], possible(from.status, err->arena));
    if (MOVES[to].party != move->party)
        return err_set(err, RC_FORBIDDEN, "/status",
            "\"%s\" is for the %s to say", RECORD_ORDER_STATUS_WORDS[to],
            party_word(MOVES[to].party));
    return RC_OK;
}

static const char *stage_word(enum record_order_stage stage)
{
    return stage == RECORD_STAGE_NONE ? "none"
                                      : RECORD_ORDER_STAGE_WORDS[stage];
}

static enum rc move_stage(struct record_order_state from,
    const struct record_order_move *move, struct err *err)
{
    enum record_order_stage to = move->to.stage;
    unsigned now = from.stage == RECORD_STAGE_NONE ? NONE : 2U << from.stage;

    if (to == RECORD_STAGE_NONE)
        return RC_OK;
    if (STEPS[to].beside != move->to.status)
        return err_set(err, RC_CONFLICT, "/stage",
            "\"%s\" stands beside the status \"%s\" only",
            RECORD_ORDER_STAGE_WORDS[to],
            RECORD_ORDER_STATUS_WORDS[STEPS[to].beside]);
    if (!(STEPS[to].after & now))
        return err_set(err, RC_CONFLICT, "/stage", "\"%s\" can't follow \"%s\"",
            RECORD_ORDER_STAGE_WORDS[to], stage_word(from.stage));
    return RC_OK;
}

enum rc record_order_move(struct record_order_state from,
    const struct record_order_move *move, struct record_order_state *ret,
    struct err *err)
{
    TRY(record_order_may(move, err));
    TRY(move_status(from, move, err));
    TRY(move_stage(from, move, err));
    ret->status = move->to.status;
    ret->stage =
        move->to.stage == RECORD_STAGE_NONE ? from.stage : move->to.stage;
    return RC_OK;
}

/* ---- amendments, questions, checks, remakes ------------------------------ */

#define OPEN                                                                   \
    (BIT(REQUESTED) | BIT(RECEIVED) | BIT(ACCEPTED) | BIT(IN_PROGRESS) |       \
        BIT(ON_HOLD))

static bool stands_in(struct record_order_state from, unsigned bits)
{
    return (bits & 1U << from.status) != 0;
}

enum rc record_order_may_amend(struct record_order_state from, struct err *err)
{
    const char *status = RECORD_ORDER_STATUS_WORDS[from.status];

    if (from.status == RECORD_ORDER_DRAFT)
        return err_set(err, RC_CONFLICT, "/status",
            "a draft isn't amended but changed as it is");
    if (!stands_in(from, OPEN))
        return err_set(err, RC_CONFLICT, "/status",
            "an order that is \"%s\" can't be amended; place another, or have "
            "it remade",
            status);
    if (from.stage != RECORD_STAGE_NONE)
        return err_set(err, RC_CONFLICT, "/stage",
            "the lenses are \"%s\" already: the order can't be amended any "
            "more",
            RECORD_ORDER_STAGE_WORDS[from.stage]);
    return RC_OK;
}

enum rc record_order_may_remake(struct record_order_state from, struct err *err)
{
    if (stands_in(from, BIT(COMPLETED) | BIT(FAILED)))
        return RC_OK;
    return err_set(err, RC_CONFLICT, "/status",
        "an order that is \"%s\" can't be remade; only one that is completed "
        "or failed",
        RECORD_ORDER_STATUS_WORDS[from.status]);
}

enum rc record_order_may_ask(struct record_order_state from, struct err *err)
{
    if (stands_in(from, OPEN))
        return RC_OK;
    return err_set(err, RC_CONFLICT, "/status",
        "nothing is asked about an order that is \"%s\"",
        RECORD_ORDER_STATUS_WORDS[from.status]);
}

enum rc record_order_may_check(struct record_order_state from, struct err *err)
{
    if (stands_in(from, BIT(IN_PROGRESS) | BIT(COMPLETED) | BIT(FAILED)))
        return RC_OK;
    return err_set(err, RC_CONFLICT, "/status",
        "an order that is \"%s\" has no glasses to measure yet",
        RECORD_ORDER_STATUS_WORDS[from.status]);
}

bool record_order_goes_on(
    struct record_order_state from, struct record_order_state to)
{
    return from.stage == RECORD_STAGE_NONE &&
           (to.status == RECORD_ORDER_ACCEPTED ||
               to.status == RECORD_ORDER_IN_PROGRESS ||
               to.status == RECORD_ORDER_COMPLETED);
}
