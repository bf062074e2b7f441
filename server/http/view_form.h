#pragma once
/* http/view_form.h - powers in the form the reader prefers. */
#include "http/http.h"

/* ?cylinder=minus (or absent) or plus. */
enum rc http_cylinder_view(
    struct http_req *rq, bool *ret_plus, struct err *err);

/* JSON of the record with its powers turned when plus; json itself else. */
const char *http_in_form(struct http_req *rq, const char *json, bool plus);
