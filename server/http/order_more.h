#pragma once
/*
 * http/order_more.h - what happened to an order beside its moves: amendments,
 * questions, remakes, checks of the finished glasses.
 *
 * Texts are in the request's arena, NULL where there is none.
 */
#include "http/http.h"

struct order_by {
    const char *id, *name;
};

/* An edition: what the lab was told at one time. */
struct order_edition {
    int edition; /* 0: never placed */
    int64_t at_us;
    struct order_by by;
    const char *reason;  /* of an amendment */
    const char *changes; /* JSON list, from the edition before */
    const char *code;    /* the square code */
    const char *told;    /* what the lab was told */
};

struct order_question {
    const char *id;
    int edition;
    int64_t at_us;
    struct order_by by;
    const char *pointer, *text;
    const char *answer; /* NULL: none yet */
    int64_t answered_us;
    struct order_by answered_by;
};

/* Which order replaced which. */
struct order_remake {
    const char *id, *number; /* the new one */
    const char *of_id, *of_number;
    int of_edition;
    const char *cause, *note;
    bool is_new; /* the order in hand is the new one */
};

struct order_check {
    const char *id;
    int64_t at_us;
    int edition;
    const char *profile, *verdict;
    const char *again; /* the check whose measurement it judges */
};

struct order_more {
    struct order_edition edition; /* the newest */
    size_t n_questions, n_remakes, n_checks;
    struct order_question *questions; /* oldest first */
    struct order_remake *remakes;
    struct order_check *checks;
};

#define ORDER_MORE_CALLS 4
void order_more_calls(struct http_req *rq, const char *order_id,
    struct db_call *ret[ORDER_MORE_CALLS]);
void order_more_load(struct http_req *rq, const struct db_rows *const *rows,
    struct order_more *ret);

bool order_questions_open(const struct order_more *more);

/* Members amendment, questions, remake_of, remade_by, bench_checks, each if
 * there is something. */
void order_more_write(
    struct http_req *rq, struct json_out *o, const struct order_more *more);

/* One question with its answer, as a member or item. */
void order_question_write(struct http_req *rq, struct json_out *o,
    const char *key, const struct order_question *q);

/* {"id","name"} under key. */
void order_by_write(struct json_out *o, const char *key, struct order_by by);
