#include "http/patient_row.h"

#include "http/shape.h"

void patient_take(
    struct record_patient *p, const struct db_rows *rows, size_t row, int first)
{
    *p = (struct record_patient){
        .id = db_rows_text(rows, row, first),
        .record_number = db_rows_text(rows, row, first + 2),
        .family = db_rows_text(rows, row, first + 3),
        .given = db_rows_text(rows, row, first + 4),
        .born = db_rows_text(rows, row, first + 5),
        .sex = db_rows_text(rows, row, first + 6),
        .telephone = db_rows_text(rows, row, first + 7),
        .created_us = db_rows_int(rows, row, first + 8),
    };
}

void patient_calls(
    struct http_req *rq, const char *id, struct db_call *ret[PATIENT_CALLS])
{
    ret[0] = db_call_new(rq->arena, &DB_PATIENT_GET);
    db_put_text(ret[0], id);
    ret[1] = db_call_new(rq->arena, &DB_PATIENT_MERGED);
    db_put_text(ret[1], id);
}

static void keep(struct http_req *rq, const char **text)
{
    if (*text)
        *text = arena_strdup(rq->arena, *text);
}

static void load_merged(struct http_req *rq, const struct db_rows *rows,
    size_t row, struct patient_merged *ret)
{
    *ret = (struct patient_merged){.id = http_kept(rq, rows, row, 0),
        .into = http_kept(rq, rows, row, 1),
        .record_number = http_kept(rq, rows, row, 2),
        .family = http_kept(rq, rows, row, 3),
        .given = http_kept(rq, rows, row, 4),
        .born = http_kept(rq, rows, row, 5),
        .at_us = db_rows_int(rows, row, 6)};
}

bool patient_load(struct http_req *rq, const struct db_rows *const *rows,
    struct patient_row *ret)
{
    struct record_patient *p = &ret->patient;

    if (db_rows_count(rows[0]) == 0)
        return false;
    patient_take(p, rows[0], 0, 0);
    keep(rq, &p->id);
    keep(rq, &p->record_number);
    keep(rq, &p->family);
    keep(rq, &p->given);
    keep(rq, &p->born);
    keep(rq, &p->sex);
    keep(rq, &p->telephone);
    ret->version = db_rows_int(rows[0], 0, 1);
    ret->n_merged = db_rows_count(rows[1]);
    /* One more, for who is merged now. */
    ret->merged =
        arena_calloc(rq->arena, ret->n_merged + 1, sizeof(*ret->merged));
    for (size_t i = 0; i < ret->n_merged; i++)
        load_merged(rq, rows[1], i, &ret->merged[i]);
    return true;
}

static void patient_write(
    struct http_req *rq, struct json_out *o, const struct patient_row *p)
{
    record_patient_write(o, &p->patient);
    if (!p->n_merged)
        return;
    json_out_array(o, "merged");
    for (size_t i = 0; i < p->n_merged; i++) {
        const struct patient_merged *m = &p->merged[i];

        json_out_object(o, NULL);
        json_out_text(o, "id", m->id);
        shape_text(o, "record_number", m->record_number);
        shape_text(o, "family", m->family);
        shape_text(o, "given", m->given);
        shape_text(o, "born", m->born);
        json_out_text(o, "into", m->into);
        json_out_text(o, "at", http_time(rq, m->at_us));
        json_out_object_end(o);
    }
    json_out_array_end(o);
}

const char *patient_json(struct http_req *rq, const struct patient_row *p,
    const struct patient_doubt *doubts, size_t n)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    patient_write(rq, &o, p);
    if (n)
        json_out_array(&o, "cautions");
    for (size_t i = 0; i < n; i++) {
        json_out_object(&o, NULL);
        json_out_text(&o, "code", doubts[i].code);
        json_out_text(&o, "text", doubts[i].text);
        json_out_text(&o, "patient", doubts[i].other_id);
        json_out_object_end(&o);
    }
    if (n)
        json_out_array_end(&o);
    json_out_object_end(&o);
    return arena_strdup(rq->arena, t.data);
}
