/* http/order_list.c - GET /v1/orders: a lab's queue, a clinic's orders. */
#include <string.h>

#include "http/handlers.h"
#include "http/shape.h"
#include "record/order.h"
#include "record/order_state.h"

struct asking {
    int limit;
    const char *below, *status, *lab, *patient, *number;
};

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    bool lab = rq->who.role == HTTP_LAB;

    json_out_text(o, "id", db_rows_text(rows, row, 0));
    json_out_text(o, "number", db_rows_text(rows, row, 1));
    json_out_int(o, "version", db_rows_int(rows, row, 2));
    json_out_int(o, "edition", db_rows_int(rows, row, 3));
    json_out_text(o, "status", db_rows_text(rows, row, 4));
    json_out_text(o, "stage", db_rows_text(rows, row, 5));
    if (!lab)
        json_out_text(o, "exam", db_rows_text(rows, row, 6));
    json_out_object(o, "patient");
    if (!lab)
        json_out_text(o, "id", db_rows_text(rows, row, 7));
    shape_text(o, "record_number", db_rows_text(rows, row, 12));
    shape_text(o, "family", db_rows_text(rows, row, 13));
    shape_text(o, "given", db_rows_text(rows, row, 14));
    json_out_object_end(o);
    json_out_text(o, "clinic", db_rows_text(rows, row, 8));
    shape_text(o, "clinic_name", db_rows_text(rows, row, 9));
    json_out_text(o, "lab", db_rows_text(rows, row, 10));
    shape_text(o, "lab_name", db_rows_text(rows, row, 11));
    shape_text(o, "design", db_rows_text(rows, row, 15));
    shape_text(o, "priority", db_rows_text(rows, row, 16));
    shape_text(o, "purpose", db_rows_text(rows, row, 17));
    json_out_text(o, "created_at", http_time(rq, db_rows_int(rows, row, 18)));
    json_out_text(o, "placed_at",
        db_rows_text(rows, row, 19) ? http_time(rq, db_rows_int(rows, row, 19))
                                    : NULL);
}

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct asking *a = rq->state;

    (void)err;
    if (a->patient)
        http_viewed(rq, "patient", a->patient, a->patient);
    return shape_list(rq, reply->rows[0], a->limit, false, write_item);
}

static enum rc read_status(
    struct http_req *rq, const char **ret, struct err *err)
{
    *ret = http_query(rq, "status");
    if (!*ret)
        return RC_OK;
    for (size_t i = 0; RECORD_ORDER_STATUS_WORDS[i]; i++)
        if (strcmp(*ret, RECORD_ORDER_STATUS_WORDS[i]) == 0)
            return RC_OK;
    return err_set(
        err, RC_INVALID, "/status", "no status is called \"%s\"", *ret);
}

/* As people type it. */
static enum rc read_number(
    struct http_req *rq, const char **ret, struct err *err)
{
    const char *typed = http_query(rq, "number");
    char *number = arena_alloc(rq->arena, RECORD_ORDER_NUMBER_SIZE);

    *ret = NULL;
    if (!typed)
        return RC_OK;
    if (!record_order_number_read(typed, number))
        return err_set(err, RC_INVALID, "/number",
            "\"%s\" is no order's number: a symbol is wrong or missing", typed);
    *ret = number;
    return RC_OK;
}

static const char *or_null(const char *text)
{
    return *text ? text : NULL;
}

/* GET /v1/orders */
enum rc http_order_list(struct http_req *rq, struct err *err)
{
    struct asking *a = arena_calloc(rq->arena, 1, sizeof(*a));
    struct db_call *call = db_call_new(rq->arena, &DB_ORDER_LIST);

    rq->state = a;
    TRY(shape_page(rq, &a->limit, &a->below, err));
    TRY(read_status(rq, &a->status, err));
    TRY(shape_query_id(rq, "lab", &a->lab, err));
    TRY(shape_query_id(rq, "patient", &a->patient, err));
    TRY(read_number(rq, &a->number, err));
    db_put_text(call, a->below);
    db_put_text(call, rq->who.role == HTTP_LAB ? rq->who.lab_id : NULL);
    db_put_text(call, a->status);
    db_put_text(call, a->lab);
    db_put_text(call, a->patient);
    db_put_text(call, a->number);
    db_put_text(call, or_null(rq->who.clinic_id));
    db_put_int(call, a->limit + 1);
    return http_read(rq, &call, 1, listed);
}
