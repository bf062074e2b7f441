/* http/order_row.c - an order out of its rows, and who may do what with it. */
#include "http/order_row.h"

#include <string.h>

#include "base/instant.h"

/* ---- reading ---------------------------------------------------------- */

static void put_own_lab(struct http_req *rq, struct db_call *call)
{
    db_put_text(call, rq->who.role == HTTP_LAB ? rq->who.lab_id : NULL);
}

void order_calls(struct http_req *rq, struct order_look look,
    struct db_call *ret[ORDER_CALLS])
{
    ret[0] = db_call_new(rq->arena, &DB_ORDER_GET);
    db_put_text(ret[0], rq->ids[0]);
    put_own_lab(rq, ret[0]);
    db_put_text(ret[0], look.lab);
    db_put_text(ret[0], look.previous);
    db_put_text(ret[0], rq->who.db.user_id);
    db_put_bool(ret[0], look.newest_rx);
    ret[1] = db_call_new(rq->arena, &DB_ORDER_EVENT_LIST);
    db_put_text(ret[1], rq->ids[0]);
    order_more_calls(rq, rq->ids[0], &ret[2]);
}

static const char *member(struct http_req *rq, struct json_in in)
{
    const char *text = json_string_value(in.value);

    return text ? arena_strdup(rq->arena, text) : NULL;
}

/* A signed Rx is ours and was checked, so faults can't come. */
static void load_rx(struct http_req *rq, struct order_row *x)
{
    struct err scratch = ERR_INIT(rq->arena);
    json_auto_t *json = json_loads(x->rx_text, 0, NULL);
    struct json_in rx = json_in_root(json, &scratch);
    struct json_in by = json_in_get(rx, "signed_by");

    record_order_rx_read(rx, &x->rx);
    x->signed_at = member(rq, json_in_get(rx, "signed_at"));
    x->signer_id = member(rq, json_in_get(by, "id"));
    x->signer = member(rq, json_in_get(by, "name"));
    x->licence = member(rq, json_in_get(by, "licence_number"));
    x->address = member(rq, json_in_get(by, "address"));
}

/* So is a stored body. */
static void load_body(struct http_req *rq, struct order_row *x)
{
    struct err scratch = ERR_INIT(rq->arena);
    json_auto_t *json = json_loads(x->body, 0, NULL);

    record_order_read(json_in_root(json, &scratch), &x->order);
}

static void load_names(
    struct http_req *rq, const struct db_rows *rows, struct order_row *x)
{
    const char *form = db_rows_text(rows, 0, 22);

    x->newer_on = http_kept(rq, rows, 0, 19);
    x->today = http_kept(rq, rows, 0, 20);
    x->clinic = http_kept(rq, rows, 0, 21);
    x->form = strcmp(form, "plus") == 0 ? OPTICS_PLUS_CYL : OPTICS_MINUS_CYL;
    x->network = http_kept(rq, rows, 0, 23);
    x->record_number = http_kept(rq, rows, 0, 24);
    x->family = http_kept(rq, rows, 0, 25);
    x->given = http_kept(rq, rows, 0, 26);
    x->lab = http_kept(rq, rows, 0, 28);
    x->lab_closed = x->lab && db_rows_bool(rows, 0, 29);
    x->previous_number = http_kept(rq, rows, 0, 31);
    x->previous_patient = http_kept(rq, rows, 0, 32);
    x->asker = http_kept(rq, rows, 0, 33);
}

static void load_row(
    struct http_req *rq, const struct db_rows *rows, struct order_row *x)
{
    const char *newest = db_rows_text(rows, 0, 13);

    *x = (struct order_row){.id = http_kept(rq, rows, 0, 0),
        .number = http_kept(rq, rows, 0, 1),
        .version = db_rows_int(rows, 0, 2),
        .edition = (int)db_rows_int(rows, 0, 3),
        .exam_id = http_kept(rq, rows, 0, 4),
        .prescription_id = http_kept(rq, rows, 0, 5),
        .patient_id = http_kept(rq, rows, 0, 6),
        .clinic_id = http_kept(rq, rows, 0, 7),
        .state = record_order_state_of(
            db_rows_text(rows, 0, 8), db_rows_text(rows, 0, 9)),
        .created_us = db_rows_int(rows, 0, 11),
        .exam_status = http_kept(rq, rows, 0, 14),
        .amending = db_rows_bool(rows, 0, 15),
        .expires_on = http_kept(rq, rows, 0, 17),
        .body = http_kept(rq, rows, 0, 10),
        .rx_text = http_kept(rq, rows, 0, 18)};
    if (db_rows_text(rows, 0, 12))
        x->placed_us = db_rows_int(rows, 0, 12);
    load_body(rq, x);
    load_names(rq, rows, x);
    if (!x->rx_text)
        return;
    x->rx_edition = (int)db_rows_int(rows, 0, 16);
    x->superseded = strcmp(newest, x->prescription_id) != 0;
    load_rx(rq, x);
}

static void load_events(
    struct http_req *rq, const struct db_rows *rows, struct order_row *x)
{
    x->n_events = db_rows_count(rows);
    x->events = arena_calloc(rq->arena, x->n_events + 1, sizeof(*x->events));
    for (size_t i = 0; i < x->n_events; i++)
        x->events[i] = (struct order_event){.at_us = db_rows_int(rows, i, 0),
            .kind = http_kept(rq, rows, i, 6),
            .status = http_kept(rq, rows, i, 1),
            .stage = http_kept(rq, rows, i, 2),
            .note = http_kept(rq, rows, i, 3),
            .user_id = http_kept(rq, rows, i, 4),
            .user = http_kept(rq, rows, i, 5)};
}

enum rc order_load(struct http_req *rq, const struct db_reply *reply,
    struct order_row *ret, struct err *err)
{
    if (db_rows_count(reply->rows[0]) == 0)
        return err_set(err, RC_NOT_FOUND, NULL, "there is no order \"%s\" here",
            rq->ids[0]);
    load_row(rq, reply->rows[0], ret);
    load_events(rq, reply->rows[1], ret);
    order_more_load(rq, &reply->rows[2], &ret->more);
    return RC_OK;
}

bool order_begun(
    struct http_req *rq, const struct db_rows *rows, struct order_row *ret)
{
    if (db_rows_count(rows) == 0)
        return false;
    load_row(rq, rows, ret);
    ret->created_us = rq->now_us;
    ret->events = arena_calloc(rq->arena, 1, sizeof(*ret->events));
    return true;
}

/* ---- who may ----------------------------------------------------------- */

enum record_party order_party(const struct http_req *rq)
{
    return rq->who.role == HTTP_LAB ? RECORD_LAB : RECORD_CLINIC;
}

static bool own(const struct http_req *rq, const struct order_row *x)
{
    return rq->who.role == HTTP_LAB ||
           strcmp(rq->who.clinic_id, x->clinic_id) == 0;
}

enum rc order_may_write(
    struct http_req *rq, const struct order_row *x, struct err *err)
{
    if (own(rq, x))
        return RC_OK;
    return err_set(err, RC_FORBIDDEN, NULL,
        "an order is written by its own clinic's users");
}

enum rc order_may_read(
    struct http_req *rq, const struct order_row *x, struct err *err)
{
    if (x->placed_us || own(rq, x))
        return RC_OK;
    return err_set(err, RC_FORBIDDEN, NULL,
        "a draft is read by its own clinic's users; others see the order once "
        "it is placed");
}

/* ---- what is wrong with it ----------------------------------------------- */

static bool faulted(const struct err *err, const char *pointer)
{
    for (const struct err_fault *f = err->faults; f; f = f->next)
        if (strcmp(f->pointer, pointer) == 0)
            return true;
    return false;
}

void order_refuse_gap(const struct record_gap *gap, struct err *err)
{
    if (!faulted(err, gap->pointer))
        err_fault(err, gap->pointer, "%s", gap->detail);
}

void order_refuse_gaps(
    struct http_req *rq, const struct order_row *x, struct err *err)
{
    struct record_gap gaps[RECORD_GAPS_MAX];
    size_t n = record_order_gaps(&x->order, &x->rx, rq->arena, gaps);

    for (size_t i = 0; i < n; i++)
        order_refuse_gap(&gaps[i], err);
}

void order_check_named(const struct order_row *x, struct err *err)
{
    if (x->order.lab && !x->lab)
        err_fault(err, "/lab", "no such lab");
    else if (x->lab_closed)
        err_fault(err, "/lab", "the lab is closed");
    if (!x->order.previous)
        return;
    if (!x->previous_number)
        err_fault(err, "/previous", "no such order");
    else if (strcmp(x->previous_patient, x->patient_id) != 0)
        err_fault(err, "/previous", "that order is of another patient");
}

enum rc order_check_rx(const struct order_row *x, struct err *err)
{
    if (strcmp(x->exam_status, "entered-in-error") == 0)
        return err_set(err, RC_CONFLICT, "/exam",
            "the exam was marked as entered in error; nothing can be ordered "
            "from it");
    if (!x->rx_text)
        return err_set(err, RC_CONFLICT, "/exam",
            "the exam is not signed; glasses are ordered from a signed exam");
    if (x->superseded)
        return err_set(err, RC_CONFLICT, "/exam",
            "the Rx was amended after this order was begun and edition %d no "
            "longer stands; change the order's \"exam\" to the same exam to "
            "take the new one",
            x->rx_edition);
    return RC_OK;
}

void order_fix(struct http_req *rq, struct order_row *x)
{
    char *word = arena_alloc(rq->arena, RECORD_CHECK_WORD_SIZE);
    struct record_figures figures =
        record_order_figures(&x->order, &x->rx, x->order.form);

    record_check_word(&figures, word);
    x->order.check_word = word;
}

void order_place(struct http_req *rq, struct order_row *x)
{
    x->order.form = x->form;
    order_fix(rq, x);
    x->placed_us = rq->now_us;
}

void order_add_event(struct http_req *rq, struct order_row *x, const char *kind,
    const char *note)
{
    x->events[x->n_events++] = (struct order_event){.at_us = rq->now_us,
        .kind = kind,
        .status = RECORD_ORDER_STATUS_WORDS[x->state.status],
        .stage = x->state.stage == RECORD_STAGE_NONE
                     ? NULL
                     : RECORD_ORDER_STAGE_WORDS[x->state.stage],
        .note = note,
        .user_id = rq->who.db.user_id,
        .user = x->asker};
}

static void caution(struct record_order_caution *list, size_t *n,
    const char *code, const char *text)
{
    if (*n < RECORD_ORDER_CAUTIONS_MAX)
        list[(*n)++] = (struct record_order_caution){code, RECORD_BOTH, text};
}

size_t order_cautions(struct http_req *rq, const struct order_row *x,
    struct record_order_caution ret[RECORD_ORDER_CAUTIONS_MAX])
{
    struct record_order shown = x->order;
    size_t n;

    if (!x->placed_us)
        shown.form = x->form;
    n = record_order_cautions(&shown, &x->rx, rq->arena, ret);
    /* Dates as text of one form compare as dates. */
    if (x->expires_on && strcmp(x->expires_on, x->today) < 0)
        caution(ret, &n, "rx-expired",
            arena_printf(rq->arena, "the Rx expired on %s", x->expires_on));
    if (x->superseded)
        caution(ret, &n, "rx-amended",
            "the Rx was amended after this order was begun");
    if (x->amending)
        caution(ret, &n, "rx-being-amended",
            "the exam was opened again to be amended");
    if (strcmp(x->exam_status, "entered-in-error") == 0)
        caution(ret, &n, "rx-void", "the exam was marked as entered in error");
    if (x->newer_on)
        caution(ret, &n, "newer-rx",
            arena_printf(
                rq->arena, "the patient has a later Rx, of %s", x->newer_on));
    if (order_questions_open(&x->more))
        caution(ret, &n, "question-open",
            "the lab asked a question that isn't answered yet");
    return n;
}
