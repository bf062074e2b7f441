#pragma once
/*
 * http/exam_delta.h - the delta of an exam's final refraction as JSON.
 */
#include "http/exam_row.h"
#include "record/delta.h"

/* The two sides: what the exam's body stands for, and an entry. */
struct exam_delta {
    const struct exam_row *x;
    const struct record_final *final;
    enum record_final_from from;
    const struct record_entry *old_entry;
    bool habitual; /* old_entry is that */
    bool frozen;   /* it is made for signing */
};

/* Writes the members into an open object; cautions are left in *ret_delta,
 * which the caller gives. */
void exam_delta_write(struct http_req *rq, struct json_out *o,
    const struct exam_delta *d, struct record_delta *ret_delta);

/* The final refraction as an entry of the timeline would say it. */
void exam_final_entry(struct http_req *rq, const struct exam_row *x,
    const json_t *body, const struct record_final *final,
    struct record_entry *ret);
