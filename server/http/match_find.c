#include "http/match_find.h"

#include <stdlib.h>
#include <string.h>

#include "base/fold.h"
#include "base/num.h"
#include "http/shape.h"
#include "record/patient.h"

#define FIRST_MOST 100 /* candidates of one whose refractions are read */
#define SHOWN_LEAST 0.002
#define PERSONS_MOST 500 /* of all together */
#define NUMBER_MOST 20   /* bytes of a number whose slips are looked for */
#define PAST_MOST 60     /* refractions of one person that count */

/* What the statement asks about, place by place. */
struct asked {
    struct arena *arena;
    const char **ords, **lowest, **above;
    size_t n, room;
};

struct refractions {
    const char *id;
    struct record_past past[PAST_MOST];
    size_t n;
};

struct job {
    struct match_wanted *wanted;
    size_t n;
    http_next *next;
    void *state;              /* the handler's */
    struct match_found **all; /* of each wanted, FIRST_MOST at most */
    size_t *n_all;
    struct record_crowd *crowds;
    const char **persons;
    size_t n_persons;
    struct refractions *refractions;
    size_t n_refractions;
};

/* ---- what is asked for ------------------------------------------------ */

static void ask(
    struct asked *a, const char *ord, const char *lowest, const char *above)
{
    if (a->n == a->room) {
        size_t room = a->room ? 2 * a->room : 256;
        const char **old[] = {a->ords, a->lowest, a->above};
        const char ***now[] = {&a->ords, &a->lowest, &a->above};

        for (int i = 0; i < 3; i++) {
            *now[i] = arena_calloc(a->arena, room, sizeof(char *));
            if (a->n)
                memcpy(*now[i], old[i], a->n * sizeof(char *));
        }
        a->room = room;
    }
    a->ords[a->n] = ord;
    a->lowest[a->n] = lowest;
    a->above[a->n++] = above;
}

static void ask_word(struct asked *a, const char *ord, const char *word)
{
    ask(a, ord, word, arena_printf(a->arena, "%s\x01", word));
}

static void ask_begins(struct asked *a, const char *ord, const char *start)
{
    ask(a, ord, start, arena_printf(a->arena, "%s\xf4\x8f\xbf\xbf", start));
}

/* A slip: cut bytes at a place give way to a text. */
struct slip {
    size_t at, cut;
    const char *put;
};

static void ask_number(
    struct asked *a, const char *ord, const char *number, struct slip slip)
{
    ask_word(a, ord,
        arena_printf(a->arena, "%c%.*s%s%s", RECORD_NUMBER_MARK, (int)slip.at,
            number, slip.put, number + slip.at + slip.cut));
}

static char *run_together(struct arena *arena, const char *s)
{
    char *fold = fold_text(arena, s), *to = fold;

    for (const char *from = fold; *from; from++)
        if (*from != ' ')
            *to++ = *from;
    *to = '\0';
    return fold;
}

/* Another digit at a place, in the place of one or between. */
static void ask_digits(
    struct asked *a, const char *ord, const char *number, size_t at)
{
    static const char digits[] = "0123456789";
    bool over = number[at] >= '0' && number[at] <= '9';

    for (const char *d = digits; *d; d++) {
        const char put[] = {*d, '\0'};

        if (over)
            ask_number(a, ord, number, (struct slip){at, 1, put});
        ask_number(a, ord, number, (struct slip){at, 0, put});
    }
}

/* The number and every one that a slip with a digit makes of it. */
static void ask_numbers(struct asked *a, const char *ord, const char *sent)
{
    const char *number = run_together(a->arena, sent);
    size_t len = strlen(number);

    if (len == 0)
        return;
    ask_number(a, ord, number, (struct slip){0, 0, ""});
    if (len > NUMBER_MOST)
        return;
    for (size_t at = 0; at <= len; at++) {
        if (at + 1 < len)
            ask_number(a, ord, number,
                (struct slip){
                    at, 2, (const char[]){number[at + 1], number[at], '\0'}});
        if (at < len)
            ask_number(a, ord, number, (struct slip){at, 1, ""});
        ask_digits(a, ord, number, at);
    }
}

/* Bytes of the first n letters of s. */
static size_t letters_len(const char *s, size_t n)
{
    size_t at = 0;

    while (s[at] && n-- > 0)
        do
            at++;
        while (((unsigned char)s[at] & 0xc0) == 0x80);
    return at;
}

static size_t letters(const char *s)
{
    size_t n = 0;

    for (; *s; s++)
        n += ((unsigned char)*s & 0xc0) != 0x80;
    return n;
}

/* Each word of a name, and beginnings and ends where one letter may be wrong:
 * a slip stands in one half and leaves the other. */
static void ask_name(struct asked *a, const char *ord, const char *name)
{
    const char *run, *at = fold_text(a->arena, name);
    size_t n;

    while (*at) {
        size_t len = strcspn(at, " ");

        if (len > 1)
            ask_word(a, ord, arena_memdup(a->arena, at, len));
        at += len + (at[len] == ' ');
    }
    run = run_together(a->arena, name);
    n = letters(run);
    if (n < 4)
        return;
    ask_begins(a, ord, arena_memdup(a->arena, run, letters_len(run, n - 1)));
    ask_begins(
        a, ord, arena_memdup(a->arena, run, letters_len(run, (n + 1) / 2)));
    for (size_t skip = 1; skip <= n / 2 && n - skip >= 3; skip++)
        ask_word(a, ord,
            arena_printf(a->arena, "%c%s", RECORD_INSIDE_MARK,
                run + letters_len(run, skip)));
}

/* The day itself, and with day and month exchanged. */
static void ask_born(struct asked *a, const char *ord, const char *born)
{
    ask(a, ord, born, NULL);
    if (strlen(born) == 10)
        ask(a, ord,
            arena_printf(a->arena, "%.4s-%.2s-%.2s", born, born + 8, born + 5),
            NULL);
}

static struct db_call *candidates_call(struct http_req *rq, struct job *job)
{
    struct db_call *call = db_call_new(rq->arena, &DB_MATCH_CANDIDATES);
    struct asked words = {.arena = rq->arena}, births = words, visits = words;

    for (size_t i = 0; i < job->n; i++) {
        const struct match_wanted *w = &job->wanted[i];
        const char *ord = arena_printf(rq->arena, "%zu", i);

        if (w->said.record_number)
            ask_numbers(&words, ord, w->said.record_number);
        if (w->said.family)
            ask_name(&words, ord, w->said.family);
        if (w->said.given)
            ask_name(&words, ord, w->said.given);
        if (w->said.born)
            ask_born(&births, ord, w->said.born);
        if (w->clinic_id)
            ask(&visits, ord, w->clinic_id, http_time(rq, w->at_us));
    }
    db_put_texts(call, words.ords, words.n);
    db_put_texts(call, words.lowest, words.n);
    db_put_texts(call, words.above, words.n);
    db_put_texts(call, births.ords, births.n);
    db_put_texts(call, births.lowest, births.n);
    db_put_texts(call, visits.ords, visits.n);
    db_put_texts(call, visits.lowest, visits.n);
    db_put_texts(call, visits.above, visits.n);
    return call;
}

/* ---- ranking ---------------------------------------------------------- */

static struct record_known take_known(
    struct http_req *rq, const struct db_rows *rows, size_t row, int first)
{
    return (struct record_known){
        .record_number = http_kept(rq, rows, row, first),
        .family = http_kept(rq, rows, row, first + 1),
        .given = http_kept(rq, rows, row, first + 2),
        .born = http_kept(rq, rows, row, first + 3)};
}

static void take_candidate(struct http_req *rq, struct job *job,
    const struct db_rows *rows, size_t row)
{
    size_t ord = (size_t)db_rows_int(rows, row, 0);
    const struct match_wanted *w = &job->wanted[ord];
    const char *id = db_rows_text(rows, row, 1);
    struct match_found *f = &job->all[ord][job->n_all[ord]];
    bool visited = db_rows_bool(rows, row, 11);

    job->crowds[ord].visits += visited;
    if (w->not_id && strcmp(w->not_id, id) == 0)
        return;
    f->person.id = arena_strdup(rq->arena, id);
    f->person.known = take_known(rq, rows, row, 2);
    f->own = take_known(rq, rows, row, 7);
    f->visited = visited;
    job->n_all[ord]++;
}

static int by_ratio(const void *a, const void *b)
{
    const struct match_found *x = a, *y = b;

    if (x->match.log_ratio != y->match.log_ratio)
        return x->match.log_ratio < y->match.log_ratio ? 1 : -1;
    return strcmp(x->person.id, y->person.id);
}

/* The records of one person stand beside each other: the likeliest stays. */
static size_t one_each(struct match_found *all, size_t n)
{
    size_t m = 0;

    for (size_t i = 0; i < n; i++) {
        if (m && strcmp(all[m - 1].person.id, all[i].person.id) == 0) {
            bool visited = all[m - 1].visited || all[i].visited;

            if (all[i].match.log_ratio > all[m - 1].match.log_ratio)
                all[m - 1] = all[i];
            all[m - 1].visited = visited;
        } else {
            all[m++] = all[i];
        }
    }
    return m;
}

static void weigh(struct job *job, size_t ord)
{
    size_t n = job->n_all[ord];
    struct match_found *all = job->all[ord];
    struct record_match *list[FIRST_MOST * 4];

    for (size_t at = 0; at < n; at += ARRAY_LEN(list)) {
        size_t some = n - at < ARRAY_LEN(list) ? n - at : ARRAY_LEN(list);

        for (size_t i = 0; i < some; i++)
            list[i] = &all[at + i].match;
        record_match_weigh(
            list, some, &job->wanted[ord].said, &job->crowds[ord]);
    }
}

/* By numbers, names and births each record alone. */
static void compare_all(struct http_req *rq, struct job *job, size_t ord)
{
    const struct record_known *said = &job->wanted[ord].said;
    struct record_crowd *crowd = &job->crowds[ord];
    struct match_found *all = job->all[ord];

    for (size_t i = 0; i < job->n_all[ord]; i++)
        crowd->near_numbers +=
            record_match_near_number(rq->arena, said, &all[i].own);
    for (size_t i = 0; i < job->n_all[ord]; i++)
        record_match_compare(
            rq->arena, said, &all[i].own, crowd, &all[i].match);
    weigh(job, ord);
}

/* Without refractions, of which only the best ones' are read; in a worker. */
static void rank_first(struct http_req *rq)
{
    struct job *job = rq->state;

    for (size_t ord = 0; ord < job->n; ord++) {
        struct match_found *all = job->all[ord];

        compare_all(rq, job, ord);
        job->n_all[ord] = one_each(all, job->n_all[ord]);
        for (size_t i = 0; i < job->n_all[ord]; i++)
            record_match_visit(
                all[i].visited, &job->crowds[ord], &all[i].match);
        weigh(job, ord);
        qsort(all, job->n_all[ord], sizeof(*all), by_ratio);
        if (job->n_all[ord] > FIRST_MOST)
            job->n_all[ord] = FIRST_MOST;
    }
}

static const struct refractions *refractions_of(
    const struct job *job, const char *id)
{
    size_t low = 0, high = job->n_refractions;

    while (low < high) {
        size_t mid = (low + high) / 2;
        int c = strcmp(job->refractions[mid].id, id);

        if (c == 0)
            return &job->refractions[mid];
        if (c < 0)
            low = mid + 1;
        else
            high = mid;
    }
    return NULL;
}

static void hold_refraction(struct http_req *rq, const struct match_wanted *w,
    const struct refractions *r, struct match_found *f)
{
    struct optics_entry history[PAST_MOST];
    struct optics_patient patient = {
        history, 0, record_age_years(f->person.known.born, w->at_us)};
    struct optics_fingerprint got;

    for (size_t i = 0; i < r->n; i++)
        history[patient.n++] = record_past_entry(&r->past[i], w->at_us);
    if (optics_fingerprint_judge(
            record_past_entry(&w->past, w->at_us), patient, &got) == OPTICS_OK)
        record_match_refraction(rq->arena, &got, &f->match);
}

/* And by refractions; in a worker. */
static void rank_last(struct http_req *rq)
{
    struct job *job = rq->state;

    for (size_t ord = 0; ord < job->n; ord++) {
        struct match_wanted *w = &job->wanted[ord];
        struct match_found *all = job->all[ord];

        for (size_t i = 0; w->refracted && i < job->n_all[ord]; i++) {
            const struct refractions *r = refractions_of(job, all[i].person.id);

            if (r)
                hold_refraction(rq, w, r, &all[i]);
        }
        weigh(job, ord);
        qsort(all, job->n_all[ord], sizeof(*all), by_ratio);
        while (w->n < MATCH_SHOWN && w->n < job->n_all[ord] &&
               all[w->n].match.probability > SHOWN_LEAST) {
            w->found[w->n] = &all[w->n];
            w->n++;
        }
    }
}

/* ---- the steps -------------------------------------------------------- */

static enum rc finished(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct job *job = rq->state;

    (void)reply;
    rq->state = job->state;
    return job->next(rq, NULL, err);
}

void match_take_past(struct http_req *rq, const struct db_rows *rows,
    size_t row, struct record_past *past)
{
    *past = (struct record_past){.id = http_kept(rq, rows, row, 10),
        .kind = http_kept(rq, rows, row, 2),
        .condition_key = http_kept(rq, rows, row, 3),
        .series = http_kept(rq, rows, row, 11),
        .at_us = db_rows_int(rows, row, 1)};
    for (int eye = 0; eye < 2; eye++) {
        int col = 4 + 3 * eye;

        past->has[eye] = db_rows_text(rows, row, col) != NULL;
        if (past->has[eye])
            past->eyes[eye] = (struct optics_vector){
                db_rows_real(rows, row, col), db_rows_real(rows, row, col + 1),
                db_rows_real(rows, row, col + 2)};
    }
}

static enum rc refractions_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct job *job = rq->state;
    const struct db_rows *rows = reply->rows[0];
    struct refractions *r = NULL;

    (void)err;
    job->refractions =
        arena_calloc(rq->arena, job->n_persons + 1, sizeof(*job->refractions));
    for (size_t i = 0; i < db_rows_count(rows); i++) {
        const char *id = db_rows_text(rows, i, 0);

        if (!r || strcmp(r->id, id) != 0) {
            r = &job->refractions[job->n_refractions++];
            r->id = arena_strdup(rq->arena, id);
        }
        if (r->n < PAST_MOST)
            match_take_past(rq, rows, i, &r->past[r->n++]);
    }
    return http_work(rq, rank_last, finished);
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Each once: of each asked about the best ones first. */
static void list_persons(struct http_req *rq, struct job *job)
{
    size_t m = 0;

    job->persons =
        arena_calloc(rq->arena, PERSONS_MOST + 1, sizeof(*job->persons));
    for (size_t place = 0; place < FIRST_MOST; place++)
        for (size_t ord = 0; ord < job->n; ord++)
            if (job->wanted[ord].refracted && place < job->n_all[ord] &&
                job->n_persons < PERSONS_MOST)
                job->persons[job->n_persons++] = job->all[ord][place].person.id;
    qsort(job->persons, job->n_persons, sizeof(*job->persons), by_text);
    for (size_t i = 0; i < job->n_persons; i++)
        if (m == 0 || strcmp(job->persons[m - 1], job->persons[i]) != 0)
            job->persons[m++] = job->persons[i];
    job->n_persons = m;
}

static enum rc first_ranked(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct job *job = rq->state;
    struct db_call *call;

    (void)reply;
    (void)err;
    list_persons(rq, job);
    call = db_call_new(rq->arena, &DB_MATCH_REFRACTIONS);
    db_put_texts(call, job->persons, job->n_persons);
    db_put_null(call);
    return http_read_slow(rq, &call, 1, refractions_read);
}

static enum rc candidates_read(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct job *job = rq->state;
    const struct db_rows *rows = reply->rows[0];
    size_t n = db_rows_count(rows);
    size_t *of = arena_calloc(rq->arena, job->n, sizeof(*of));

    (void)err;
    for (size_t ord = 0; ord < job->n; ord++)
        job->crowds[ord] = (struct record_crowd){
            .people = (size_t)db_rows_int(reply->rows[1], 0, 0),
            .on_record = job->wanted[ord].on_record};
    for (size_t i = 0; i < n; i++)
        of[db_rows_int(rows, i, 0)]++;
    for (size_t ord = 0; ord < job->n; ord++)
        job->all[ord] =
            arena_calloc(rq->arena, of[ord] + 1, sizeof(**job->all));
    for (size_t i = 0; i < n; i++)
        take_candidate(rq, job, rows, i);
    return http_work(rq, rank_first, first_ranked);
}

enum rc match_find(
    struct http_req *rq, struct match_wanted *wanted, size_t n, http_next *next)
{
    struct job *job = arena_calloc(rq->arena, 1, sizeof(*job));
    struct db_call *calls[2];

    *job = (struct job){
        .wanted = wanted, .n = n, .next = next, .state = rq->state};
    job->all = arena_calloc(rq->arena, n + 1, sizeof(*job->all));
    job->n_all = arena_calloc(rq->arena, n + 1, sizeof(*job->n_all));
    job->crowds = arena_calloc(rq->arena, n + 1, sizeof(*job->crowds));
    calls[0] = candidates_call(rq, job);
    calls[1] = db_call_new(rq->arena, &DB_MATCH_PEOPLE);
    rq->state = job;
    return http_read_slow(rq, calls, 2, candidates_read);
}

/* ---- writing ---------------------------------------------------------- */

/* exp's argument as powers of ten, which people read. */
#define LOG_TEN 2.302585092994046

void match_write(struct json_out *o, const struct match_wanted *wanted)
{
    json_out_array(o, "candidates");
    for (size_t i = 0; i < wanted->n; i++) {
        const struct match_found *f = wanted->found[i];

        json_out_object(o, NULL);
        json_out_object(o, "patient");
        json_out_text(o, "id", f->person.id);
        shape_text(o, "record_number", f->person.known.record_number);
        shape_text(o, "family", f->person.known.family);
        shape_text(o, "given", f->person.known.given);
        shape_text(o, "born", f->person.known.born);
        json_out_object_end(o);
        json_out_number(o, "probability", f->match.probability, 4);
        json_out_array(o, "reasons");
        for (int field = 0; field < RECORD_MATCH_FIELDS; field++) {
            const struct record_match_part *part = &f->match.parts[field];

            if (!part->text)
                continue;
            json_out_object(o, NULL);
            json_out_text(
                o, "about", record_match_word((enum record_match_field)field));
            json_out_number(o, "weight", part->log_ratio / LOG_TEN, 2);
            json_out_text(o, "text", part->text);
            json_out_object_end(o);
        }
        json_out_array_end(o);
        json_out_object_end(o);
    }
    json_out_array_end(o);
}
