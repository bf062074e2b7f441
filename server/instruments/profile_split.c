/* instruments/profile_split.c - lines of delimited and fixed rows. */
#include <string.h>

#include "base/arena.h"
#include "instruments/profile_inside.h"

/* The fields of a delimited line. */
struct fields {
    struct {
        const char *s;
        size_t len;
    } at[PROFILE_COLUMNS_MAX];
    size_t n;
    const char *why; /* what is wrong with the line */
};

struct scan {
    const struct profile *p;
    const char *at, *end;
    struct arena *arena;
};

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

/* Behind the opening quote; a quote within is written twice. */
static const char *quoted(struct scan *s, struct fields *f)
{
    char *to = arena_alloc(s->arena, (size_t)(s->end - s->at) + 1);
    size_t n = 0;

    for (; s->at < s->end; s->at++) {
        if (*s->at == s->p->quote) {
            if (s->at + 1 == s->end || s->at[1] != s->p->quote)
                break;
            s->at++;
        }
        to[n++] = *s->at;
    }
    if (s->at == s->end)
        return "a quote isn't closed";
    s->at++;
    while (s->at < s->end && is_blank(*s->at) && *s->at != s->p->delimiter)
        s->at++;
    if (s->at < s->end && *s->at != s->p->delimiter)
        return "something stands behind a closing quote";
    f->at[f->n].s = to;
    f->at[f->n].len = n;
    return NULL;
}

static const char *plain(struct scan *s, struct fields *f)
{
    const char *start = s->at;

    while (s->at < s->end && *s->at != s->p->delimiter) {
        if (s->p->quote == '"' && *s->at == '"')
            return "a quote stands within a field that doesn't begin with one";
        s->at++;
    }
    f->at[f->n].s = start;
    f->at[f->n].len = (size_t)(s->at - start);
    return NULL;
}

static const char *one_field(struct scan *s, struct fields *f)
{
    if (f->n == PROFILE_COLUMNS_MAX)
        return "has too many fields";
    if (s->p->quote && s->at < s->end && *s->at == s->p->quote) {
        s->at++;
        return quoted(s, f);
    }
    return plain(s, f);
}

static void cut_blanks(struct scan *s, struct fields *f)
{
    while (!f->why) {
        while (s->at < s->end && is_blank(*s->at))
            s->at++;
        if (s->at == s->end)
            return;
        if (f->n == PROFILE_COLUMNS_MAX) {
            f->why = "has too many fields";
            return;
        }
        f->at[f->n].s = s->at;
        while (s->at < s->end && !is_blank(*s->at))
            s->at++;
        f->at[f->n].len = (size_t)(s->at - f->at[f->n].s);
        f->n++;
    }
}

static void cut(const struct profile *p, struct encoding_text line,
    struct arena *arena, struct fields *f)
{
    struct scan s = {p, line.s, line.s + line.len, arena};

    f->n = 0;
    f->why = NULL;
    if (p->delimiter == ' ') {
        cut_blanks(&s, f);
        return;
    }
    while (!f->why) {
        f->why = one_field(&s, f);
        if (f->why)
            return;
        f->n++;
        if (s.at == s.end)
            return;
        s.at++; /* the delimiter */
    }
}

/* ---- headers ----------------------------------------------------------- */

void profile_header_fixed(const struct profile *p, struct profile_header *ret)
{
    ret->n = p->n_columns;
    for (size_t i = 0; i < p->n_cells; i++)
        for (size_t k = 0; k < p->n_columns; k++)
            if (strcmp(p->columns[k].name, p->cells[i].path) == 0)
                ret->columns[i] = (int)k;
}

static bool is_named(const struct fields *f, size_t i, const char *name)
{
    const char *s = f->at[i].s;
    size_t len = f->at[i].len;

    while (len && is_blank(*s)) {
        s++;
        len--;
    }
    while (len && is_blank(s[len - 1]))
        len--;
    return len == strlen(name) && memcmp(s, name, len) == 0;
}

bool profile_header_read(const struct profile *p, struct encoding_text line,
    size_t number, struct profile_header *ret, struct err *err)
{
    struct fields f;
    size_t before = err->n_faults;

    cut(p, line, err->arena, &f);
    if (f.why) {
        err_fault(err, "", "line %zu, the header: %s", number, f.why);
        return false;
    }
    ret->n = f.n;
    for (size_t i = 0; i < p->n_cells; i++) {
        size_t found = 0;

        for (size_t k = 0; k < f.n; k++) {
            if (!is_named(&f, k, p->cells[i].path))
                continue;
            ret->columns[i] = (int)k;
            found++;
        }
        if (found != 1)
            err_fault(err, "", "line %zu, the header: %s column \"%s\"", number,
                found ? "names twice the" : "has no", p->cells[i].path);
    }
    return err->n_faults == before;
}

/* ---- rows -------------------------------------------------------------- */

/* Bytes of the first n characters of UTF-8. */
static size_t characters(const char *s, size_t len, size_t n)
{
    size_t at = 0;

    while (n > 0 && at < len) {
        at++;
        while (at < len && ((unsigned char)s[at] & 0xc0) == 0x80)
            at++;
        n--;
    }
    return at;
}

static void split_fixed(const struct profile *p,
    const struct profile_header *header, struct encoding_text line,
    struct profile_row *row)
{
    for (size_t i = 0; i < p->n_cells; i++) {
        const struct profile_column *c = &p->columns[header->columns[i]];
        size_t from = characters(line.s, line.len, c->from - 1);

        row->cells[i].s = line.s + from;
        row->cells[i].len =
            characters(line.s + from, line.len - from, c->length);
    }
}

bool profile_split(const struct profile *p, const struct profile_header *header,
    struct encoding_text line, struct profile_row *row, struct err *err)
{
    struct fields f;

    if (p->form == PROFILE_FIXED) {
        split_fixed(p, header, line, row);
        return true;
    }
    cut(p, line, err->arena, &f);
    if (f.why) {
        err_fault(err, "", "line %zu: %s", row->line, f.why);
        return false;
    }
    if (f.n != header->n) {
        err_fault(err, "", "line %zu: has %zu fields, not %zu", row->line, f.n,
            header->n);
        return false;
    }
    for (size_t i = 0; i < p->n_cells; i++) {
        row->cells[i].s = f.at[header->columns[i]].s;
        row->cells[i].len = f.at[header->columns[i]].len;
    }
    return true;
}
