#pragma once
/*
 * http/order_change.h - an order with other parts than it has, by a merge
 * patch (RFC 7396) of what the clinic said.
 */
#include "http/order_row.h"

/* What the request names and the order doesn't hold yet. */
struct order_look order_change_look(struct http_req *rq);

/*
 * Reads what the request's body makes of the order as it is stored into *x,
 * with every fault.  others: members that the caller reads itself, NULL-ended.
 * The caller's (json_decref).
 */
json_t *order_change_read(struct http_req *rq, const char *const others[],
    struct order_row *x, struct err *err);

/* Names of RECORD_ORDER_FIELDS and others, NULL-ended. */
const char *const *order_fields(
    struct http_req *rq, const char *const others[]);
