#include "http/exam_delta.h"

#include "record/exam.h"

void exam_final_entry(struct http_req *rq, const struct exam_row *x,
    const json_t *body, const struct record_final *final,
    struct record_entry *ret)
{
    struct err scratch = ERR_INIT(rq->arena);
    struct json_in condition = json_in_get(
        json_in_get(json_in_root(body, &scratch), "subjective"), "condition");
    const char *drug = NULL;
    bool yes;

    *ret = (struct record_entry){.id = x->id,
        .origin = "exam",
        .kind = "final",
        .at_us = x->performed_us,
        .figures = final->figures};
    if (json_in_bool(json_in_get(condition, "cycloplegic"), &yes))
        ret->cycloplegic = yes ? RECORD_YES : RECORD_NO;
    if (json_in_text(json_in_get(condition, "drug"), 200, &drug))
        ret->drug = arena_strdup(rq->arena, drug);
}

void exam_delta_write(struct http_req *rq, struct json_out *o,
    const struct exam_delta *d, struct record_delta *ret_delta)
{
    json_auto_t *body = exam_body(d->x);
    struct record_entry *is = arena_alloc(rq->arena, sizeof(*is));
    struct record_acuity best[2];

    exam_final_entry(rq, d->x, body, d->final, is);
    for (int side = 0; side < 2; side++)
        best[side] = is->figures.here[side] ? is->figures.eyes[side].acuity
                                            : (struct record_acuity){0};
    record_delta_compute(d->old_entry, is, best, rq->arena, ret_delta);
    json_out_text(o, "exam", d->x->id);
    json_out_int(o, "edition", d->x->edition);
    json_out_bool(o, "frozen", d->frozen);
    json_out_text(o, "of", record_final_from_word(d->from));
    exam_entry_write(rq, o, d->habitual ? "habitual" : "against", d->old_entry);
    record_delta_write(o, d->habitual ? "habitual" : "against", ret_delta);
}
