/* instruments/profile_json.c - JSON of any shape, by JSON Pointers. */
#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "base/text.h"
#include "instruments/profile_inside.h"

/* A value of the payload and its JSON Pointer. */
struct at {
    const json_t *value;
    const char *pointer;
};

/* The next reference token of path (RFC 6901), unescaped, into token. */
static const char *next_token(const char *path, struct text *token)
{
    token->len = 0;
    for (path++; *path && *path != '/'; path++) {
        if (path[0] == '~' && (path[1] == '0' || path[1] == '1'))
            text_putc(token, *++path == '0' ? '~' : '/');
        else
            text_putc(token, *path);
    }
    return path;
}

static const json_t *item(const json_t *array, const char *token)
{
    int64_t i;

    if (!num_parse(token, strlen(token), 0, 1000000, &i) ||
        num_has_sign(token, strlen(token)) || (*token == '0' && token[1]))
        return NULL;
    return json_array_get(array, (size_t)i);
}

/* What stands at path from at on; value NULL when nothing does. */
static struct at find(struct at at, const char *path, struct arena *arena)
{
    TEXT_AUTO token = {0};

    at.pointer = arena_printf(arena, "%s%s", at.pointer, path);
    while (at.value && *path == '/') {
        path = next_token(path, &token);
        if (!token.data)
            text_puts(&token, "");
        if (json_is_array(at.value))
            at.value = item(at.value, token.len ? token.data : "");
        else
            at.value = json_object_get(at.value, token.len ? token.data : "");
    }
    if (json_is_null(at.value))
        at.value = NULL;
    return at;
}

static void fill_row(
    const struct profile_job *job, struct profile_row *row, struct at of)
{
    const struct profile *p = job->p;

    for (size_t i = 0; i < p->n_cells; i++) {
        struct at at;

        if (p->cells[i].sort != row->sort)
            continue;
        at = find(of, p->cells[i].path, job->record);
        row->cells[i].pointer = at.pointer;
        if (json_is_object(at.value) || json_is_array(at.value))
            err_fault(job->err, at.pointer,
                "must be a text, a number, true or false");
        else if (json_is_string(at.value) &&
                 strlen(json_string_value(at.value)) !=
                     json_string_length(at.value))
            err_fault(job->err, at.pointer, "holds a control character");
        else
            row->cells[i].json = at.value;
    }
}

/* The value itself, or each item of the list that it is. */
static size_t count(struct at at)
{
    if (!at.value)
        return 0;
    return json_is_array(at.value) ? json_array_size(at.value) : 1;
}

static struct at part(struct at at, size_t i, struct arena *arena)
{
    if (json_is_array(at.value)) {
        at.value = json_array_get(at.value, i);
        at.pointer = arena_printf(arena, "%s/%zu", at.pointer, i);
    }
    return at;
}

static void read_record(struct profile_job *job, struct at of)
{
    const struct profile *p = job->p;
    struct profile_record record = {
        .pointer = of.pointer, .arena = job->record};
    size_t before = job->err->n_faults;

    fill_row(job, profile_row_add(p, &record, 0), of);
    for (size_t i = 1; i < p->n_sorts; i++) {
        struct at rows = find(of, p->sorts[i].path, job->record);
        size_t n = count(rows);

        if (record.n + n > PROFILE_ROWS_MAX) {
            err_fault(job->err, rows.pointer, "makes over %d rows of a record",
                PROFILE_ROWS_MAX);
            return;
        }
        for (size_t k = 0; k < n; k++)
            fill_row(job, profile_row_add(p, &record, (int)i),
                part(rows, k, job->record));
    }
    if (job->err->n_faults == before)
        profile_build(p, &record, job->zone, job->found, job->err);
}

enum rc profile_json_decode(struct profile_job job, struct encoding_text text)
{
    json_auto_t *json = NULL;
    struct at records;
    size_t n;

    TRY(json_in_parse(text.s, text.len, &json, job.err));
    records = find((struct at){json, ""}, job.p->record, job.err->arena);
    n = count(records);
    if (n == 0 || n > INSTRUMENTS_READINGS_MAX)
        err_fault(job.err, records.pointer,
            "must be a record, or a list of 1 to %d", INSTRUMENTS_READINGS_MAX);
    for (size_t i = 0; i < n && n <= INSTRUMENTS_READINGS_MAX &&
                       job.err->n_faults < ERR_FAULTS_MAX;
         i++) {
        read_record(&job, part(records, i, job.record));
        arena_reset(job.record);
    }
    return job.err->rc;
}
