/*
 * instruments/profile_rows.c - rows of a body, cut and grouped as the bytes
 * arrive.
 *
 * A line is found in the bytes as they are, so that what is kept is what
 * arrived; it becomes UTF-8 when its group is read.
 */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "instruments/profile_inside.h"

/* One line of the group that is being gathered. */
struct row_line {
    size_t number, last; /* lines of the body; a quoted field may have more */
    size_t offset, len;  /* in group; without its end */
};

/* A line of the body, and what it takes with its end. */
struct raw_line {
    const char *bytes;
    size_t len, whole;
    size_t lines; /* line feeds in it, its end included */
};

/* Follows quotes through a line, since a line feed may stand within them. */
enum quoting { START, PLAIN, QUOTED, CLOSED };

/* The next line as far as it was looked at, so that no byte is looked at
 * again when more arrive. */
struct cutter {
    size_t n;
    enum quoting state;
    size_t lines;
    bool done;
};

struct profile_rows {
    const struct profile *p;
    struct instruments_zone zone;
    enum encoding encoding;
    struct text bytes; /* not looked at yet, from at on */
    size_t at;
    struct cutter cutter;
    bool begun, ended, failed;
    size_t line;    /* the last one that was taken */
    size_t skipped; /* before the header */
    bool has_header;
    struct profile_header header;
    struct text head;  /* the header's line as it arrived */
    struct text group; /* head, and the group's lines */
    struct row_line lines[PROFILE_GROUP_LINES_MAX];
    size_t n_lines;
    char *key; /* of the group, or NULL */
    struct arena *scratch;
};

struct profile_rows *profile_rows_new(
    const struct profile *profile, struct instruments_zone zone)
{
    struct profile_rows *rows = xcalloc(1, sizeof(*rows));

    rows->p = profile;
    rows->zone = zone;
    rows->encoding = profile->encoding;
    rows->scratch = arena_new();
    (void)text_space(&rows->bytes, 1);
    return rows;
}

void profile_rows_free(struct profile_rows *rows)
{
    if (!rows)
        return;
    text_free(&rows->bytes);
    text_free(&rows->head);
    text_free(&rows->group);
    free(rows->key);
    arena_free(rows->scratch);
    free(rows);
}

void profile_rows_add(struct profile_rows *rows, const char *bytes, size_t len)
{
    size_t left = rows->bytes.len - rows->at;

    if (rows->failed)
        return;
    if (rows->at && left <= rows->at) {
        memmove(rows->bytes.data, rows->bytes.data + rows->at, left);
        rows->bytes.len = left;
        rows->at = 0;
    }
    text_put(&rows->bytes, bytes, len);
}

void profile_rows_end(struct profile_rows *rows)
{
    rows->ended = true;
}

/* ---- lines ------------------------------------------------------------- */

/* The character at bytes, as far as it is ASCII; else 0x80. */
static unsigned char ascii_at(enum encoding encoding, const char *bytes)
{
    unsigned char a = (unsigned char)bytes[0], b;

    if (encoding_unit(encoding) == 1)
        return a;
    b = (unsigned char)bytes[1];
    if (encoding == ENCODING_UTF_16LE)
        return b ? 0x80 : a;
    return a ? 0x80 : b;
}

static enum quoting quoting_next(
    enum quoting state, const struct profile *p, unsigned char c)
{
    if (state == QUOTED)
        return c == (unsigned char)p->quote ? CLOSED : QUOTED;
    if (c == (unsigned char)p->delimiter)
        return START;
    if (c == (unsigned char)p->quote && state != PLAIN)
        return QUOTED; /* opened, or the second of two */
    return PLAIN;
}

/* Looks at bytes up to the line's end. */
static void look(struct profile_rows *rows, const char *s, size_t len)
{
    const struct profile *p = rows->p;
    struct cutter *c = &rows->cutter;
    size_t unit = encoding_unit(rows->encoding);
    bool quotes = p->form == PROFILE_DELIMITED && p->quote &&
                  p->delimiter != ' ' && rows->skipped >= p->skip;

    for (; !c->done && c->n + unit <= len; c->n += unit) {
        unsigned char a = ascii_at(rows->encoding, s + c->n);

        c->lines += a == '\n';
        c->done = (a == '\n' && c->state != QUOTED) || c->n > PROFILE_LINE_MAX;
        if (c->done)
            break;
        if (quotes)
            c->state = quoting_next(c->state, p, a);
    }
}

/* The next line; false when its end isn't there yet. */
static bool next_line(struct profile_rows *rows, struct raw_line *ret)
{
    size_t unit = encoding_unit(rows->encoding);
    const char *s = rows->bytes.data + rows->at;
    size_t len = rows->bytes.len - rows->at;
    const struct cutter *c = &rows->cutter;

    look(rows, s, len);
    if (!c->done && !(rows->ended && len))
        return false;
    *ret = (struct raw_line){.bytes = s,
        .len = c->done ? c->n : len,
        .whole = c->done ? c->n + unit : len,
        .lines = c->done ? c->lines : c->lines + 1};
    if (ret->len >= unit &&
        ascii_at(rows->encoding, s + ret->len - unit) == '\r')
        ret->len -= unit;
    return true;
}

static struct encoding_text line_text(struct profile_rows *rows,
    const char *bytes, size_t len, size_t number, struct err *err)
{
    struct encoding_text text =
        encoding_read(rows->encoding, bytes, len, err->arena);

    if (!text.s)
        err_fault(err, "", "line %zu: byte %zu can't be read as %s", number,
            text.bad_at + 1, ENCODING_WORDS[rows->encoding]);
    return text;
}

static bool passed_over(struct profile_rows *rows, const struct raw_line *raw)
{
    struct encoding_text text =
        encoding_read(rows->encoding, raw->bytes, raw->len, rows->scratch);
    const char *remark = rows->p->remark;
    size_t n = remark ? strlen(remark) : 0, blank = 0;

    if (!text.s)
        return false;
    while (blank < text.len && (text.s[blank] == ' ' || text.s[blank] == '\t'))
        blank++;
    if (blank == text.len)
        return true;
    return n && text.len >= n && memcmp(text.s, remark, n) == 0;
}

static void take(struct profile_rows *rows, const struct raw_line *raw)
{
    rows->at += raw->whole;
    rows->line += raw->lines;
    rows->cutter = (struct cutter){0};
}

/* ---- groups ------------------------------------------------------------ */

static void group_add(struct profile_rows *rows, const struct raw_line *raw)
{
    if (rows->n_lines == 0) {
        rows->group.len = 0;
        if (rows->head.len)
            text_put(&rows->group, rows->head.data, rows->head.len);
    }
    rows->lines[rows->n_lines++] = (struct row_line){
        rows->line + 1, rows->line + raw->lines, rows->group.len, raw->len};
    text_put(&rows->group, raw->bytes, raw->whole);
    take(rows, raw);
}

/* What a row has in the columns of the group, in scratch; NULL when it can't
 * be read: it is a group of its own then. */
static char *key_of(struct profile_rows *rows, const struct raw_line *raw)
{
    const struct profile *p = rows->p;
    struct err err = ERR_INIT(rows->scratch);
    struct profile_record record = {.arena = rows->scratch};
    struct profile_row *row = profile_row_add(p, &record, 0);
    struct encoding_text text = line_text(rows, raw->bytes, raw->len, 0, &err);
    TEXT_AUTO key = {0};

    if (!text.s || !profile_split(p, &rows->header, text, row, &err))
        return NULL;
    for (size_t i = 0; i < p->n_group; i++)
        text_printf(&key, "%s\n",
            profile_cell_text(&row->cells[p->group[i]], rows->scratch));
    return arena_strdup(rows->scratch, key.data);
}

/* Reads the gathered lines as one record. */
static void group_read(
    struct profile_rows *rows, struct profile_group *ret, struct err *err)
{
    struct profile_record record = {.arena = rows->scratch};
    struct profile_found found = {0};
    bool good = true;

    arena_reset(rows->scratch);
    for (size_t i = 0; i < rows->n_lines; i++) {
        const struct row_line *line = &rows->lines[i];
        struct encoding_text text = line_text(rows,
            rows->group.data + line->offset, line->len, line->number, err);
        struct profile_row *row = profile_row_add(rows->p, &record, 0);

        row->line = line->number;
        good = text.s &&
               profile_split(rows->p, &rows->header, text, row, err) && good;
    }
    record.line = rows->lines[0].number;
    record.last_line = rows->lines[rows->n_lines - 1].last;
    if (good)
        profile_build(rows->p, &record, rows->zone, &found, err);
    *ret = (struct profile_group){.line = record.line,
        .last_line = record.last_line,
        .bytes = rows->group.data,
        .len = rows->group.len,
        .readings = {found.items, found.n}};
    if (err->rc != RC_OK)
        ret->readings = (struct instruments_readings){0};
    rows->n_lines = 0;
    free(rows->key);
    rows->key = NULL;
}

/* Nothing behind it can be read. */
static bool give_up(struct profile_rows *rows, struct profile_group *ret,
    struct err *err, const char *why)
{
    if (why)
        err_fault(err, "", "line %zu: %s", rows->line + 1, why);
    rows->failed = true;
    *ret = (struct profile_group){.line = rows->line + 1,
        .last_line = rows->line + 1,
        .bytes = "",
        .last = true};
    rows->bytes.len = rows->at = 0;
    return true;
}

/* Behind the mark: lines to skip, and the header.  False while it isn't
 * there, and when it is faulty (then err says so). */
static bool find_header(struct profile_rows *rows, struct err *err)
{
    const struct profile *p = rows->p;
    struct encoding_text text;
    struct raw_line raw;

    while (rows->skipped < p->skip) {
        if (!next_line(rows, &raw))
            return false;
        take(rows, &raw);
        rows->skipped++;
    }
    if (!p->header) {
        profile_header_fixed(p, &rows->header);
        return rows->has_header = true;
    }
    do {
        if (!next_line(rows, &raw))
            return false;
        if (raw.len > PROFILE_LINE_MAX) {
            err_fault(err, "", "line %zu: is over %d bytes", rows->line + 1,
                PROFILE_LINE_MAX);
            return false;
        }
        if (!passed_over(rows, &raw))
            break;
        take(rows, &raw);
    } while (true);
    text = line_text(rows, raw.bytes, raw.len, rows->line + 1, err);
    if (!text.s ||
        !profile_header_read(p, text, rows->line + 1, &rows->header, err))
        return false;
    text_put(&rows->head, raw.bytes, raw.whole);
    take(rows, &raw);
    return rows->has_header = true;
}

static bool begin(struct profile_rows *rows)
{
    if (!rows->ended && rows->bytes.len - rows->at < 3)
        return false;
    rows->at += encoding_mark(rows->bytes.data + rows->at,
        rows->bytes.len - rows->at, &rows->encoding);
    return rows->begun = true;
}

/* True when the line doesn't belong to the rows gathered so far. */
static bool closes(struct profile_rows *rows, const char *key)
{
    if (rows->n_lines == 0)
        return false;
    return !key || !rows->key || strcmp(key, rows->key) != 0;
}

enum gathered { MORE, WHOLE, LONG_LINE, MANY_LINES };

/* Takes lines until a group is whole. */
static enum gathered gather(struct profile_rows *rows)
{
    struct raw_line raw;

    while (next_line(rows, &raw)) {
        const char *key;

        arena_reset(rows->scratch);
        if (raw.len > PROFILE_LINE_MAX)
            return rows->n_lines ? WHOLE : LONG_LINE;
        if (passed_over(rows, &raw)) {
            take(rows, &raw);
            continue;
        }
        if (rows->p->n_group == 0) {
            group_add(rows, &raw);
            return WHOLE;
        }
        key = key_of(rows, &raw);
        if (closes(rows, key))
            return WHOLE;
        if (rows->n_lines == PROFILE_GROUP_LINES_MAX ||
            rows->group.len + raw.whole > PROFILE_GROUP_MAX)
            return MANY_LINES;
        if (!rows->key && key)
            rows->key = xstrdup(key);
        group_add(rows, &raw);
    }
    return rows->ended && rows->n_lines > 0 ? WHOLE : MORE;
}

bool profile_rows_next(
    struct profile_rows *rows, struct profile_group *ret, struct err *err)
{
    if (rows->failed || (!rows->begun && !begin(rows)))
        return false;
    arena_reset(rows->scratch);
    if (!rows->has_header && !find_header(rows, err)) {
        if (err->rc != RC_OK)
            return give_up(rows, ret, err, NULL);
        if (!rows->ended)
            return false;
        return give_up(rows, ret, err, "there is no header, nor any row");
    }
    switch (gather(rows)) {
    case WHOLE:
        group_read(rows, ret, err);
        return true;
    case LONG_LINE:
        return give_up(rows, ret, err, "is over 65536 bytes long");
    case MANY_LINES:
        return give_up(rows, ret, err,
            "too many rows belong together (500 rows or 1 MB at most)");
    default:
        return false;
    }
}
