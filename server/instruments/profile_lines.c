/*
 * instruments/profile_lines.c - lines of text by patterns.
 *
 * A pattern is compared once from left to right and never goes back, so that
 * a line takes time by its length:
 *   a letter or sign    itself; "{{" is a brace
 *   blanks              one or more blanks or tabs
 *   {name}              what stands there up to the next thing of the
 *                       pattern: its first sign, a blank, or the line's end
 *   {name:5}            as many characters
 *   {name?}             may be empty; {} and {:5} are passed over
 * Blanks around a line, and control characters in it, don't count.
 */
#include <string.h>

#include "base/arena.h"
#include "instruments/profile_inside.h"

/* ---- reading a pattern ------------------------------------------------- */

#define PIECES_MAX 100

struct source {
    const char *at;
    struct json_in in;
    struct profile *p;
    struct profile_pattern *to;
};

static void add_piece(struct source *s, struct profile_piece piece)
{
    if (s->to->n == PIECES_MAX)
        err_fault(s->in.err, s->in.pointer, "has over %d parts", PIECES_MAX);
    else
        s->to->pieces[s->to->n++] = piece;
}

/* {name:5?}; false when it isn't that. */
static bool read_capture(struct source *s)
{
    const char *end = strchr(s->at, '}');
    struct profile_piece piece = {.type = PROFILE_CAPTURE, .cell = -1};
    size_t n = strcspn(s->at + 1, ":?}");
    const char *at = s->at + 1 + n;

    if (!end || n > 60)
        return false;
    if (*at == ':') {
        at++;
        if (*at < '1' || *at > '9')
            return false;
        for (; *at >= '0' && *at <= '9' && piece.width < 1000; at++)
            piece.width = piece.width * 10 + (size_t)(*at - '0');
    }
    if (*at == '?') {
        piece.maybe = true;
        at++;
    }
    if (at != end)
        return false;
    if (n)
        piece.cell = profile_capture_of(
            s->p, arena_memdup(s->in.err->arena, s->at + 1, n), s->in);
    s->at = end + 1;
    add_piece(s, piece);
    return true;
}

static void read_literal(struct source *s)
{
    struct profile_piece piece = {.type = PROFILE_LITERAL, .text = s->at};

    if (*s->at == '{') {
        piece.len = 1;
        s->at += 2;
    } else {
        piece.len = strcspn(s->at, " \t{");
        s->at += piece.len;
    }
    piece.text = arena_memdup(s->in.err->arena, piece.text, piece.len);
    add_piece(s, piece);
}

/* What captures up to nowhere would take: two side by side, the first without
 * a width. */
static bool is_clear(const struct profile_pattern *pattern)
{
    for (size_t i = 0; i + 1 < pattern->n; i++)
        if (pattern->pieces[i].type == PROFILE_CAPTURE &&
            pattern->pieces[i + 1].type == PROFILE_CAPTURE &&
            pattern->pieces[i].width == 0)
            return false;
    return pattern->n > 0;
}

static bool names_twice(const struct profile_pattern *pattern)
{
    for (size_t i = 0; i < pattern->n; i++)
        for (size_t k = i + 1; k < pattern->n; k++)
            if (pattern->pieces[i].type == PROFILE_CAPTURE &&
                pattern->pieces[k].type == PROFILE_CAPTURE &&
                pattern->pieces[i].cell >= 0 &&
                pattern->pieces[i].cell == pattern->pieces[k].cell)
                return true;
    return false;
}

bool profile_pattern_read(
    struct json_in in, struct profile *p, struct profile_pattern *ret)
{
    struct source s = {.in = in, .p = p, .to = ret};
    size_t before = in.err->n_faults;

    if (!json_in_line(in, 300, &s.at))
        return false;
    ret->pieces = arena_calloc(in.err->arena, PIECES_MAX, sizeof(*ret->pieces));
    s.at += strspn(s.at, " ");
    while (*s.at && in.err->n_faults == before) {
        if (*s.at == ' ') {
            s.at += strspn(s.at, " ");
            if (*s.at)
                add_piece(&s, (struct profile_piece){.type = PROFILE_BLANKS});
        } else if (*s.at == '{' && s.at[1] != '{') {
            if (!read_capture(&s))
                err_fault(in.err, in.pointer,
                    "holds a brace that begins no {name}, {name:5} or {name?}");
        } else {
            read_literal(&s);
        }
    }
    if (in.err->n_faults == before && !is_clear(ret))
        err_fault(in.err, in.pointer,
            "needs a width, or a sign between two captures");
    if (in.err->n_faults == before && names_twice(ret))
        err_fault(in.err, in.pointer, "names a capture twice");
    return in.err->n_faults == before;
}

/* ---- comparing a line -------------------------------------------------- */

struct line {
    const char *at, *end;
};

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

/* Where the capture at pieces[i] ends. */
static const char *capture_end(
    const struct profile_pattern *pattern, size_t i, struct line line)
{
    const struct profile_piece *piece = &pattern->pieces[i];
    const char *s = line.at;
    size_t n = piece->width;

    if (n) {
        for (; n && s < line.end; n--)
            for (s++; s < line.end && ((unsigned char)*s & 0xc0) == 0x80;)
                s++;
        return s;
    }
    if (i + 1 == pattern->n)
        return line.end;
    piece++;
    while (s < line.end &&
           !(piece->type == PROFILE_BLANKS ? is_blank(*s) : *s == *piece->text))
        s++;
    return s;
}

static bool match_piece(const struct profile_pattern *pattern, size_t i,
    struct line *line, struct profile_row *row)
{
    const struct profile_piece *piece = &pattern->pieces[i];
    const char *end;

    if (piece->type == PROFILE_BLANKS) {
        if (line->at == line->end || !is_blank(*line->at))
            return false;
        while (line->at < line->end && is_blank(*line->at))
            line->at++;
        return true;
    }
    if (piece->type == PROFILE_LITERAL) {
        if ((size_t)(line->end - line->at) < piece->len ||
            memcmp(line->at, piece->text, piece->len) != 0)
            return false;
        line->at += piece->len;
        return true;
    }
    end = capture_end(pattern, i, *line);
    if (end == line->at && !piece->maybe)
        return false;
    if (piece->cell >= 0 && row)
        row->cells[piece->cell] = (struct profile_cell){
            .s = line->at, .len = (size_t)(end - line->at)};
    line->at = end;
    return true;
}

/* Row's cells are written only when the whole line is as the pattern. */
static bool matches(const struct profile_pattern *pattern, struct line line,
    struct profile_row *row)
{
    struct line all = line;

    for (size_t i = 0; i < pattern->n; i++)
        if (!match_piece(pattern, i, &line, NULL))
            return false;
    if (line.at != line.end)
        return false;
    for (size_t i = 0; row && i < pattern->n; i++)
        match_piece(pattern, i, &all, row);
    return true;
}

/* ---- records ----------------------------------------------------------- */

struct reader {
    struct profile_job job;
    struct profile_record record;
    size_t records;
    size_t number; /* of the line */
};

static void close_record(struct reader *r)
{
    if (r->record.n == 0)
        return;
    r->records++;
    profile_build(r->job.p, &r->record, r->job.zone, r->job.found, r->job.err);
    arena_reset(r->job.record);
    r->record = (struct profile_record){.arena = r->job.record};
}

static void take_line(struct reader *r, struct line line)
{
    const struct profile *p = r->job.p;

    for (size_t i = 0; i < p->n_sorts; i++) {
        struct profile_row *row;

        if (!matches(&p->sorts[i].pattern, line, NULL))
            continue;
        if (r->record.n == PROFILE_ROWS_MAX) {
            err_fault(r->job.err, "", "line %zu: a record has over %d lines",
                r->number, PROFILE_ROWS_MAX);
            return;
        }
        row = profile_row_add(p, &r->record, (int)i);
        row->line = r->number;
        matches(&p->sorts[i].pattern, line, row);
        if (r->record.n == 1)
            r->record.line = r->number;
        r->record.last_line = r->number;
        return;
    }
    if (!p->others_pass)
        err_fault(r->job.err, "", "line %zu: is as no pattern of the profile",
            r->number);
}

/* Control characters of a serial line (STX, ETX, EOT, ...) count as blanks. */
static struct line clean(char *s, size_t len)
{
    struct line line = {s, s + len};

    for (char *c = s; c < line.end; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7f)
            *c = ' ';
    while (line.at < line.end && is_blank(*line.at))
        line.at++;
    while (line.end > line.at && is_blank(line.end[-1]))
        line.end--;
    return line;
}

/* The next line of s, which ends at LF, CR LF or CR; *s is passed behind. */
static struct line next_line(char **s, char *end)
{
    size_t len = 0;
    struct line line;

    while (*s + len < end && (*s)[len] != '\n' && (*s)[len] != '\r')
        len++;
    line = clean(*s, len);
    *s += len;
    if (end - *s > 1 && **s == '\r' && (*s)[1] == '\n')
        (*s)++;
    *s += *s < end;
    return line;
}

enum rc profile_lines_decode(struct profile_job job, struct encoding_text text)
{
    struct reader r = {.job = job, .record = {.arena = job.record}};
    char *s = arena_memdup(job.err->arena, text.s, text.len);
    char *end = s + text.len;

    while (s < end && r.records < INSTRUMENTS_READINGS_MAX &&
           job.err->n_faults < ERR_FAULTS_MAX) {
        struct line line = next_line(&s, end);

        r.number++;
        if (line.at == line.end)
            continue;
        if (job.p->begins && matches(&job.p->begin, line, NULL))
            close_record(&r);
        take_line(&r, line);
    }
    if (s < end && r.records == INSTRUMENTS_READINGS_MAX)
        err_fault(job.err, "", "line %zu: the text has over %d records",
            r.number + 1, INSTRUMENTS_READINGS_MAX);
    else if (r.record.n == 0 && r.records == 0 && job.err->rc == RC_OK)
        err_fault(job.err, "", "holds no line of a record");
    close_record(&r);
    return job.err->rc;
}
