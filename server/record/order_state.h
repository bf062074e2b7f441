#pragma once
/*
 * record/order_state.h - the states of an order (those of FHIR's Task, and
 * draft), the stages beside them, and who may move what where.
 *
 * One table (order_state.c) holds every lawful move of the status, another
 * every lawful step of the stage; what stands in neither is refused.
 */
#include <stdbool.h>

#include "base/err.h"

enum record_order_status {
    RECORD_ORDER_DRAFT,
    RECORD_ORDER_REQUESTED,
    RECORD_ORDER_RECEIVED,
    RECORD_ORDER_ACCEPTED,
    RECORD_ORDER_REJECTED,
    RECORD_ORDER_IN_PROGRESS,
    RECORD_ORDER_ON_HOLD,
    RECORD_ORDER_COMPLETED,
    RECORD_ORDER_CANCELLED,
    RECORD_ORDER_FAILED
};
#define RECORD_ORDER_STATUSES 10

enum record_order_stage {
    RECORD_STAGE_NONE = -1,
    RECORD_STAGE_CUT,
    RECORD_STAGE_CHECKED,
    RECORD_STAGE_SENT,
    RECORD_STAGE_ARRIVED,
    RECORD_STAGE_HANDED_OVER
};

/* Words of the JSON, NULL-ended. */
extern const char *const RECORD_ORDER_STATUS_WORDS[];
extern const char *const RECORD_ORDER_STAGE_WORDS[];

enum record_party { RECORD_CLINIC = 1, RECORD_LAB = 2 };

struct record_order_state {
    enum record_order_status status;
    enum record_order_stage stage;
};

/* What a word stands for; words of our own rows only. */
struct record_order_state record_order_state_of(
    const char *status, const char *stage);

/* What is asked for: a status, and a stage or none. */
struct record_order_move {
    struct record_order_state to;
    enum record_party party;
};

/*
 * RC_FORBIDDEN when the other party sets that status or stage, whatever
 * stands: RC_CONFLICT when it can't follow from, with what can.  RC_OK: *ret is
 * what stands then; a stage stays until another is set.
 */
enum rc record_order_move(struct record_order_state from,
    const struct record_order_move *move, struct record_order_state *ret,
    struct err *err);

/* Half of the above, for those who haven't read the order yet. */
enum rc record_order_may(const struct record_order_move *move, struct err *err);

/* RC_CONFLICT unless a clinic may change what it ordered: a placed order whose
 * lenses aren't cut.  It stands requested again afterwards, because the lab
 * accepted something else. */
enum rc record_order_may_amend(struct record_order_state from, struct err *err);

/* RC_CONFLICT unless glasses of it were made or given up: what an order that
 * replaces them can name. */
enum rc record_order_may_remake(
    struct record_order_state from, struct err *err);

/* RC_CONFLICT unless a lab is at work on it and may ask. */
enum rc record_order_may_ask(struct record_order_state from, struct err *err);

/* RC_CONFLICT unless there can be glasses to measure. */
enum rc record_order_may_check(struct record_order_state from, struct err *err);

/* True for a move that goes on towards lenses nobody has cut yet: it needs an
 * Rx that stands. */
bool record_order_goes_on(
    struct record_order_state from, struct record_order_state to);

/* Why glasses are made again, NULL-ended; the words are ours. */
extern const char *const RECORD_REMAKE_CAUSES[];
