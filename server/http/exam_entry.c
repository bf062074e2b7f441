/* http/exam_entry.c - the entries that an exam starts from or is held against.
 */
#include <string.h>

#include "http/exam_row.h"

static void load_entry(struct http_req *rq, const struct db_rows *rows,
    size_t i, struct exam_entry *ret)
{
    struct err scratch = ERR_INIT(rq->arena);
    const char *inside = db_rows_text(rows, i, 6);
    const char *text = arena_printf(rq->arena, "{%s}", inside);
    json_auto_t *body = json_loads(text, JSON_ALLOW_NUL, NULL);
    struct record_entry *e = &ret->entry;

    ret->patient_id = http_kept(rq, rows, i, 1);
    *e = (struct record_entry){
        .id = arena_strdup(rq->arena, db_rows_text(rows, i, 0)),
        .origin = arena_strdup(rq->arena, db_rows_text(rows, i, 2)),
        .kind = arena_strdup(rq->arena, db_rows_text(rows, i, 3)),
        .at_us = db_rows_int(rows, i, 4)};
    record_entry_read(json_in_root(body, &scratch), e);
    if (e->drug) /* borrowed from the tree, which goes */
        e->drug = arena_strdup(rq->arena, e->drug);
}

bool exam_entry_find(struct http_req *rq, const struct db_rows *rows,
    const char *id, struct exam_entry *ret)
{
    for (size_t i = 0; id && i < db_rows_count(rows); i++)
        if (strcmp(db_rows_text(rows, i, 0), id) == 0) {
            load_entry(rq, rows, i, ret);
            return true;
        }
    return false;
}

enum rc exam_entry_check(const struct exam_entry *found,
    const struct exam_row *x, const char *pointer, struct err *err)
{
    const char *why = record_entry_refusal(&found->entry);

    if (!found->patient_id)
        return err_set(err, RC_INVALID, pointer,
            "the reading lies in the unclaimed tray; claim it for the patient "
            "first");
    if (strcmp(found->patient_id, x->patient_id) != 0)
        return err_set(err, RC_INVALID, pointer, "it is of another patient");
    if (why)
        return err_set(err, RC_INVALID, pointer,
            "the %s can't be used here: %s", found->entry.kind, why);
    return RC_OK;
}

void exam_entry_write(struct http_req *rq, struct json_out *o, const char *key,
    const struct record_entry *entry)
{
    json_out_object(o, key);
    json_out_text(o, "id", entry->id);
    json_out_text(o, "origin", entry->origin);
    json_out_text(o, "kind", entry->kind);
    json_out_text(o, "at", http_time(rq, entry->at_us));
    json_out_text(o, "method", record_entry_method(entry, rq->arena));
    json_out_object_end(o);
}
