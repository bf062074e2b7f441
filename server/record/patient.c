#include "record/patient.h"

#include <string.h>

#include "base/arena.h"
#include "base/fold.h"
#include "base/instant.h"
#include "base/text.h"

#define NUMBER_MAX 40
#define TELEPHONE_MAX 40

static const char *const SEXES[] = {"male", "female", "other", "unknown", NULL};

/* A zone is at most 14 hours ahead: a date later than that lies ahead of
 * everybody. */
static bool ahead(const char *born, int64_t now_us)
{
    char today[INSTANT_TEXT_MAX];

    instant_text(now_us + INT64_C(14) * 3600000000, 0, today);
    return strncmp(born, today, strlen(born)) > 0;
}

static const char *read_born(struct json_in in, int64_t now_us)
{
    const char *born;

    if (!json_in_date(in, &born))
        return NULL;
    if (ahead(born, now_us))
        err_fault(in.err, in.pointer, "lies in the future");
    return arena_strdup(in.err->arena, born);
}

bool record_patient_read(
    struct json_in in, int64_t now_us, struct record_patient *ret)
{
    static const char *const names[] = {
        "record_number", "family", "given", "born", "sex", "telephone", NULL};
    struct json_in family = json_in_get(in, "family");
    struct json_in given = json_in_get(in, "given");
    size_t before = in.err->n_faults;
    int sex;

    *ret = (struct record_patient){0};
    if (!json_in_object(in, names) && !json_is_object(in.value))
        return false;
    json_in_line(
        json_in_get(in, "record_number"), NUMBER_MAX, &ret->record_number);
    json_in_line(family, RECORD_NAME_MAX, &ret->family);
    json_in_line(given, RECORD_NAME_MAX, &ret->given);
    ret->born = read_born(json_in_get(in, "born"), now_us);
    if (json_in_choice(json_in_get(in, "sex"), SEXES, &sex))
        ret->sex = SEXES[sex];
    json_in_line(json_in_get(in, "telephone"), TELEPHONE_MAX, &ret->telephone);
    if (!json_in_here(family) && !json_in_here(given))
        err_fault(in.err, family.pointer, "or given is required");
    return in.err->n_faults == before;
}

static void write_text(struct json_out *o, const char *key, const char *s)
{
    if (s)
        json_out_text(o, key, s);
}

void record_patient_write(struct json_out *o, const struct record_patient *p)
{
    char created[INSTANT_TEXT_MAX];

    json_out_text(o, "id", p->id);
    write_text(o, "record_number", p->record_number);
    write_text(o, "family", p->family);
    write_text(o, "given", p->given);
    write_text(o, "born", p->born);
    write_text(o, "sex", p->sex);
    write_text(o, "telephone", p->telephone);
    json_out_text(o, "created_at", instant_text(p->created_us, 0, created));
}

/* ---- words ------------------------------------------------------------ */

/* More than any two names, their ends, and a number can give, unless made of
 * signs that fold into many letters. */
#define WORDS_MAX (4 * RECORD_NAME_MAX + NUMBER_MAX)

struct words {
    struct arena *arena;
    const char **list;
    size_t n;
};

static void add_word(struct words *w, const char *word, size_t len)
{
    for (size_t i = 0; i < w->n; i++)
        if (strlen(w->list[i]) == len && memcmp(w->list[i], word, len) == 0)
            return;
    if (w->n < WORDS_MAX)
        w->list[w->n++] = arena_memdup(w->arena, word, len);
}

/* The words of a text from least bytes on, and all in one behind mark. */
static void add_words(
    struct words *w, const char *s, size_t least, const char *mark)
{
    TEXT_AUTO whole = {0};
    const char *fold;

    if (!s)
        return;
    fold = fold_text(w->arena, s);
    text_puts(&whole, mark);
    while (*fold) {
        size_t len = strcspn(fold, " ");

        if (len >= least)
            add_word(w, fold, len);
        text_put(&whole, fold, len);
        fold += len + (fold[len] == ' ');
    }
    if (whole.len > strlen(mark))
        add_word(w, whole.data, whole.len);
}

static bool begins_letter(char byte)
{
    return ((unsigned char)byte & 0xc0) != 0x80;
}

/* What begins with a later letter of the name run together: each part of a
 * name is the beginning of one of them. */
static void add_ends(struct words *w, const char *s)
{
    TEXT_AUTO run = {0};
    size_t letters = 0;

    if (!s)
        return;
    text_puts(&run, "");
    for (const char *fold = fold_text(w->arena, s); *fold; fold++)
        if (*fold != ' ')
            text_put(&run, fold, 1);
    for (size_t at = run.len; at-- > 1;) {
        char *end;

        letters += begins_letter(run.data[at]);
        if (!begins_letter(run.data[at]) || letters < RECORD_INSIDE_LETTERS)
            continue;
        end = arena_printf(w->arena, "%c%s", RECORD_INSIDE_MARK, run.data + at);
        add_word(w, end, strlen(end));
    }
}

const char *const *record_patient_words(
    struct arena *arena, const struct record_patient *p, size_t *ret_n)
{
    static const char mark[] = {RECORD_NUMBER_MARK, '\0'};
    struct words w = {.arena = arena};

    w.list = arena_calloc(arena, WORDS_MAX, sizeof(*w.list));

    add_words(&w, p->family, 1, "");
    add_words(&w, p->given, 1, "");
    /* The Q of Q-10442 alone would be a word of everybody. */
    add_words(&w, p->record_number, 2, mark);
    if (p->born)
        add_word(
            &w, arena_printf(arena, "%c%.4s", RECORD_YEAR_MARK, p->born), 5);
    add_ends(&w, p->family);
    add_ends(&w, p->given);
    *ret_n = w.n;
    return w.list;
}
