/*
 * instruments/profile_build.c - a record's rows become readings.
 *
 * Each reading is put together in the native form and read as such, so that
 * every rule of the native form holds here too; its faults are told with the
 * place of the payload that a figure came from.
 */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "instruments/native.h"
#include "instruments/profile_inside.h"

/* Where a member of the reading came from. */
struct origin {
    const char *pointer;
    const struct profile_row *row; /* NULL: the profile's own value */
    int cell;
};

/* An item of a list, by the number that the profile gives it or, for "-",
 * by its row. */
struct slot {
    const json_t *list;
    long label;
    size_t at;
};

#define SLOTS_MAX 512

struct build {
    const struct profile *p;
    const struct profile_record *record;
    const struct profile_mapping *mapping;
    struct err *err;
    struct arena *arena; /* the record's */
    struct arena *scrap; /* of one cell's text, reset before the next */
    json_t *doc;
    bool measured; /* something of an eye came from the payload */
    bool local;    /* taken_at is in the clinic's zone, written as UTC */
    struct origin *origins;
    size_t n_origins, room_origins;
    struct slot *slots;
    size_t n_slots;
};

struct profile_row *profile_row_add(
    const struct profile *p, struct profile_record *record, int sort)
{
    struct profile_row *row;

    record->rows = arena_grow(record->arena, record->rows, record->n,
        &record->room, sizeof(*record->rows));
    row = &record->rows[record->n++];
    row->sort = sort;
    row->cells =
        arena_calloc(record->arena, p->n_cells + 1, sizeof(*row->cells));
    return row;
}

/* ---- places of the payload --------------------------------------------- */

/* "line 3, column "axis"", or as much of it as is known. */
static const char *place_of(const struct build *b, const struct origin *from)
{
    const struct profile_row *row = from->row;
    const struct profile_record *r = b->record;
    const char *path;

    if (!row && r->last_line > r->line)
        return arena_printf(
            b->arena, "lines %zu to %zu", r->line, r->last_line);
    if (from->cell < 0)
        return arena_printf(b->arena, "line %zu", row ? row->line : r->line);
    path = b->p->cells[from->cell].path;
    return arena_printf(b->arena, "line %zu, %s\"%s\"", row->line,
        profile_by_rows(b->p) ? "column " : "", path);
}

/* One fault of the payload: with its place in words, or by pointer. */
static void fault(struct build *b, const struct origin *from,
    const char *pointer, const char *detail)
{
    const char *source = b->record->pointer;

    if (from->row && from->cell >= 0 && from->row->cells[from->cell].pointer)
        source = from->row->cells[from->cell].pointer;
    if (source)
        err_fault(b->err, source, "%s (%s)", detail, pointer);
    else
        err_fault(b->err, pointer, "%s: %s", place_of(b, from), detail);
}

static void origin_add(struct build *b, struct origin origin)
{
    b->origins = arena_grow(b->arena, b->origins, b->n_origins,
        &b->room_origins, sizeof(*b->origins));
    b->origins[b->n_origins++] = origin;
}

/* True when to, with the eye that pointer has, is pointer. */
static bool is_target(const char *to, const char *pointer)
{
    if (strncmp(to, "/{eye}/", 7) == 0) {
        const char *rest = strchr(pointer + 1, '/');

        return rest && strcmp(to + 6, rest) == 0;
    }
    return strcmp(to, pointer) == 0;
}

/* The empty cell that would have filled in pointer. */
static int cell_for(const struct build *b, const char *pointer)
{
    for (size_t i = 0; i < b->mapping->n_fields; i++)
        if (is_target(b->mapping->fields[i].to, pointer))
            return b->mapping->fields[i].cells[0];
    return -1;
}

static bool begins(const char *pointer, const char *start, size_t n)
{
    return strncmp(pointer, start, n) == 0 &&
           (pointer[n] == '\0' || pointer[n] == '/');
}

/*
 * Where what stands at pointer, or should stand there, came from: its own
 * cell, that of what it is part of, or the row of what stands beside it.
 */
static struct origin origin_of(const struct build *b, const char *pointer)
{
    struct origin best = {pointer, NULL, -1};
    const char *slash = strrchr(pointer, '/');
    size_t best_len = 0, parent = slash ? (size_t)(slash - pointer) : 0;

    for (size_t i = 0; i < b->n_origins; i++) {
        size_t n = strlen(b->origins[i].pointer);

        if (n > best_len && begins(pointer, b->origins[i].pointer, n)) {
            best = b->origins[i];
            best_len = n;
        }
    }
    for (size_t i = 0; best_len == 0 && parent && i < b->n_origins; i++) {
        if (!begins(b->origins[i].pointer, pointer, parent))
            continue;
        best.row = b->origins[i].row;
        best.cell = cell_for(b, pointer);
        if (best.cell >= 0 && best.row &&
            b->p->cells[best.cell].sort != best.row->sort &&
            b->p->cells[best.cell].sort >= 0)
            best.cell = -1; /* of another row */
        break;
    }
    if (!best.row)
        best.cell = -1;
    return best;
}

/* ---- putting a document together --------------------------------------- */

/* Where an item of list stands; it is added when it is new. */
static json_t *item_of(
    struct build *b, json_t *list, long label, size_t *ret_at)
{
    for (size_t i = 0; i < b->n_slots; i++) {
        if (b->slots[i].list == list && b->slots[i].label == label) {
            *ret_at = b->slots[i].at;
            return json_array_get(list, *ret_at);
        }
    }
    if (b->n_slots == SLOTS_MAX)
        return NULL;
    if (!b->slots)
        b->slots = arena_calloc(b->arena, SLOTS_MAX, sizeof(*b->slots));
    *ret_at = json_array_size(list);
    b->slots[b->n_slots++] = (struct slot){list, label, *ret_at};
    json_array_append_new(list, json_object());
    return json_array_get(list, *ret_at);
}

/* The member name of parent, made when it isn't there; NULL when something
 * else stands there. */
static json_t *member_of(json_t *parent, const char *name, bool list)
{
    json_t *at = json_object_get(parent, name);

    if (!at) {
        json_object_set_new(parent, name, list ? json_array() : json_object());
        at = json_object_get(parent, name);
    }
    return list == json_is_array(at) ? at : NULL;
}

/* "-" is a row's own item; a number is the profile's name of one. */
static long label_of(
    const struct build *b, const char *word, const struct profile_row *row)
{
    long label = 0;

    if (*word == '-')
        return -1 - (long)(row - b->record->rows);
    for (; *word; word++)
        label = label * 10 + (*word - '0');
    return label;
}

/* The pieces of a target: with the eye's word, "/right/repeats/-/axis" as
 * right, repeats, -, axis. */
#define PARTS_MAX 6

static size_t cut(const struct build *b, const char *to, const char *eye,
    const char *parts[PARTS_MAX])
{
    char *rest = arena_strdup(b->arena, to + 1);
    size_t n = 0;

    do {
        const char *part = strsep(&rest, "/");

        parts[n++] = strcmp(part, "{eye}") == 0 ? eye : part;
    } while (rest && n < PARTS_MAX);
    return n;
}

static bool is_item(const char *part)
{
    return *part == '-' || (*part >= '0' && *part <= '9');
}

/* The object that the target's last part is a member of, made where it isn't
 * there; NULL when it can't be.  *ret_pointer is the target's place. */
static json_t *parent_of(struct build *b, const char *const *parts, size_t n,
    const struct profile_row *row, const char **ret_pointer)
{
    TEXT_AUTO pointer = {0};
    json_t *at = b->doc;

    for (size_t i = 0; at && i + 1 < n; i++) {
        size_t place = 0;

        if (is_item(parts[i])) {
            at = item_of(b, at, label_of(b, parts[i], row), &place);
            text_printf(&pointer, "/%zu", place);
        } else {
            at = member_of(at, parts[i], is_item(parts[i + 1]));
            text_printf(&pointer, "/%s", parts[i]);
        }
    }
    text_printf(&pointer, "/%s", parts[n - 1]);
    *ret_pointer = arena_strdup(b->arena, pointer.data);
    return json_is_object(at) ? at : NULL;
}

/* Takes value over. */
static void put(struct build *b, const struct profile_field *f,
    const struct profile_row *row, const char *eye, json_t *value)
{
    const char *parts[PARTS_MAX], *pointer;
    size_t n = cut(b, f->to, eye, parts);
    json_t *parent = parent_of(b, parts, n, row, &pointer);
    const json_t *there = parent ? json_object_get(parent, parts[n - 1]) : NULL;
    struct origin origin = {pointer, row, f->cells[0]};

    if (!parent) {
        fault(b, &origin, pointer, "can't stand beside what is there already");
        json_decref(value);
    } else if (there) {
        if (!json_equal(there, value))
            fault(b, &origin, pointer,
                "is another value than one before it in the same record");
        json_decref(value);
    } else {
        json_object_set_new(parent, parts[n - 1], value);
        origin_add(b, origin);
    }
}

/* ---- rows -------------------------------------------------------------- */

/* What stands in a cell, until the next one is asked for. */
static const char *cell_text(
    const struct build *b, const struct profile_row *row, int cell)
{
    arena_reset(b->scrap);
    return profile_cell_text(&row->cells[cell], b->scrap);
}

/* True when any of the rows has it. */
static bool holds(const struct build *b, const struct profile_row *rows,
    size_t n, const struct profile_condition *c)
{
    bool here = false, is = false;

    for (size_t i = 0; i < n; i++) {
        const char *text = cell_text(b, &rows[i], c->cell);

        here = here || *text;
        is = is || (*text && profile_words_hold(&c->is, text));
    }
    return c->is.n ? is : here == c->here;
}

static bool all_hold(
    const struct build *b, const struct profile_row *rows, size_t n)
{
    for (size_t i = 0; i < b->mapping->n_when; i++)
        if (!holds(b, rows, n, &b->mapping->when[i]))
            return false;
    return true;
}

/* The word of the row's eye: its sort's, its label's, or the one that a line
 * before it named; NULL when there is none. */
static const char *eye_of(
    struct build *b, const struct profile_row *row, int *section)
{
    const struct profile *p = b->p;
    int cell = p->eye.here ? p->eye.cells[row->sort] : -1;
    const char *label;

    if (p->sorts[row->sort].eye >= 0) {
        *section = p->sorts[row->sort].eye;
        return record_side_word((enum record_side) * section);
    }
    label = cell < 0 ? "" : cell_text(b, row, cell);
    if (!*label)
        return *section >= 0 ? record_side_word((enum record_side) * section)
                             : NULL;
    for (int side = 0; side < RECORD_SIDES; side++)
        if (profile_words_hold(&p->eye.words[side], label))
            return record_side_word((enum record_side)side);
    fault(b, &(struct origin){"", row, cell}, "",
        arena_printf(b->arena, "is no label of an eye: \"%s\"", label));
    return NULL;
}

static bool needs_eye(const struct profile_field *f)
{
    return strncmp(f->to, "/{eye}/", 7) == 0;
}

static bool in_row(const struct build *b, const struct profile_field *f,
    const struct profile_row *row)
{
    int sort = b->p->cells[f->cells[0]].sort;

    return sort < 0 || sort == row->sort;
}

/* f's target as a pointer: with the eye's word. */
static const char *target_of(
    const struct build *b, const struct profile_field *f, const char *eye)
{
    if (!needs_eye(f) || !eye)
        return f->to;
    return arena_printf(b->arena, "/%s%s", eye, f->to + strlen("/{eye}"));
}

static void take_field(struct build *b, const struct profile_field *f,
    const struct profile_row *row, const char *eye)
{
    struct profile_why why = {.arena = b->scrap};
    struct origin from = {f->to, row, f->cells[0]};
    json_t *value;

    arena_reset(b->scrap);
    value = profile_value(b->p, b->mapping, f, row, &why);
    if (!value && !why.why)
        return;
    if (why.why) {
        fault(b, &from, target_of(b, f, eye), why.why);
        return;
    }
    if (needs_eye(f) && !eye) {
        fault(b, &from, f->to, "belongs to an eye that nothing names");
        json_decref(value);
        return;
    }
    if (f->want == PROFILE_TIME)
        b->local = why.local;
    b->measured = b->measured || f->of_eye;
    put(b, f, row, eye, value);
}

/* True when the object that f's target is a member of stands there already,
 * as an item of this row where it is one. */
static bool beside(const struct build *b, const struct profile_field *f,
    const char *eye, const struct profile_row *row)
{
    const char *parts[PARTS_MAX];
    size_t n = cut(b, f->to, eye ? eye : "", parts);
    const json_t *at = b->doc;

    for (size_t i = 0; at && i + 1 < n; i++) {
        const json_t *list = at;

        if (!is_item(parts[i])) {
            at = json_object_get(at, parts[i]);
            continue;
        }
        at = NULL;
        for (size_t k = 0; k < b->n_slots && !at; k++)
            if (b->slots[k].list == list &&
                b->slots[k].label == label_of(b, parts[i], row))
                at = json_array_get(list, b->slots[k].at);
    }
    return at != NULL;
}

/* The profile's own values; of an eye only beside what was measured. */
static void put_constants(
    struct build *b, const struct profile_row *row, const char *eye)
{
    for (size_t i = 0; i < b->mapping->n_fields; i++) {
        const struct profile_field *f = &b->mapping->fields[i];
        json_t *value;

        if (!f->constant || (f->of_eye && !(row && beside(b, f, eye, row))) ||
            (!f->of_eye && row))
            continue;
        value = profile_scalar_json(&f->value);
        if (value)
            put(b, f, row, eye, value);
    }
}

/* What says nothing alone (a base, a confidence) comes second, and only beside
 * what was measured. */
static void take_fields(struct build *b, const struct profile_row *row,
    const char *eye, bool second)
{
    for (size_t i = 0; i < b->mapping->n_fields; i++) {
        const struct profile_field *f = &b->mapping->fields[i];

        if (!f->constant && f->second == second && in_row(b, f, row) &&
            (!second || beside(b, f, eye, row)))
            take_field(b, f, row, eye);
    }
}

static void take_row(
    struct build *b, const struct profile_row *row, int *section)
{
    size_t before = b->err->n_faults;
    const char *eye = eye_of(b, row, section);

    if (b->err->n_faults > before)
        return;
    take_fields(b, row, eye, false);
    take_fields(b, row, eye, true);
    put_constants(b, row, eye);
}

/* The rows that the mapping's conditions let through. */
static void take_rows(struct build *b)
{
    const struct profile_record *r = b->record;
    bool each = profile_by_rows(b->p);
    int section = -1;

    if (!each && !all_hold(b, r->rows, r->n))
        return;
    for (size_t i = 0; i < r->n; i++)
        if (!each || all_hold(b, &r->rows[i], 1))
            take_row(b, &r->rows[i], &section);
}

/* ---- a reading --------------------------------------------------------- */

static void found_add(
    struct profile_found *found, struct record_reading *r, struct arena *arena)
{
    found->items = arena_grow(arena, found->items, found->n, &found->room,
        sizeof(struct record_reading *));
    found->items[found->n++] = r;
}

/* Reads the document as a reading; its faults become the payload's. */
static struct record_reading *read_doc(struct build *b)
{
    struct err scratch = ERR_INIT(b->err->arena);
    struct record_reading *reading = NULL;

    instruments_native_read(json_in_root(b->doc, &scratch), &reading, &scratch);
    for (const struct err_fault *f = scratch.faults; f; f = f->next) {
        struct origin from = origin_of(b, f->pointer);

        fault(b, &from, f->pointer, f->detail);
    }
    return scratch.rc == RC_OK ? reading : NULL;
}

/* So that no fault, and no copy of a cell, is long. */
static void check_cells(struct build *b)
{
    for (size_t i = 0; i < b->record->n; i++) {
        const struct profile_row *row = &b->record->rows[i];

        for (size_t k = 0; k < b->p->n_cells; k++) {
            const struct profile_cell *cell = &row->cells[k];

            if (cell->len > PROFILE_CELL_MAX ||
                json_string_length(cell->json) > PROFILE_CELL_MAX)
                fault(b, &(struct origin){"", row, (int)k}, "",
                    "is too long to be a value");
        }
    }
}

/* One reading of the record, or NULL: faulty, or nothing was measured. */
static struct record_reading *build_one(
    struct build *b, struct instruments_zone zone)
{
    size_t before = b->err->n_faults;
    struct record_reading *reading = NULL;

    b->doc = json_object();
    json_object_set_new(b->doc, "kind", json_string(b->mapping->kind));
    take_rows(b);
    if (b->measured && b->err->n_faults == before) {
        put_constants(b, NULL, NULL);
        reading = read_doc(b);
        if (reading && b->local)
            instruments_zone_assume(&zone, reading);
    }
    json_decref(b->doc);
    return reading;
}

void profile_build(const struct profile *p, const struct profile_record *record,
    struct instruments_zone zone, struct profile_found *found, struct err *err)
{
    size_t before = err->n_faults, n = found->n;
    struct build *b = xcalloc(1, sizeof(*b));
    struct arena *scrap = arena_new();
    bool sane;

    *b = (struct build){
        .p = p, .record = record, .err = err, .arena = record->arena};
    check_cells(b);
    sane = err->n_faults == before;
    for (size_t i = 0; sane && i < p->n_readings; i++) {
        struct record_reading *reading;

        *b = (struct build){.p = p,
            .record = record,
            .mapping = &p->readings[i],
            .err = err,
            .arena = record->arena,
            .scrap = scrap};
        reading = build_one(b, zone);
        if (reading)
            found_add(found, reading, err->arena);
    }
    if (err->n_faults > before) {
        found->n = n;
    } else if (found->n == n) {
        b->mapping = &p->readings[0];
        fault(b, &(struct origin){"", NULL, -1}, "",
            "nothing that the profile reads was measured here");
    }
    arena_free(scrap);
    free(b);
}
