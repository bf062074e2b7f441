#include "record/search.h"

#include <stdbool.h>
#include <string.h>

#include "base/arena.h"
#include "base/fold.h"
#include "base/instant.h"
#include "base/text.h"
#include "record/patient.h"

#define TOKENS_MAX 64 /* more is not a name */

struct reading {
    struct arena *arena;
    struct record_search *to;
    const char *tokens[TOKENS_MAX]; /* what stands between blanks, folded */
    size_t n_tokens;
    const char *words[RECORD_SEARCH_WORDS];
    size_t n_words;
};

/* A script without an alphabet (ideographs, Hangul): its first sign tells. */
static bool sign_script(const char *word)
{
    return (unsigned char)word[0] >= 0xe2; /* from U+2000 on in UTF-8 */
}

static size_t letters(const char *word)
{
    size_t n = 0;

    for (; *word; word++)
        n += ((unsigned char)*word & 0xc0) != 0x80;
    return n;
}

static void add_range(
    struct record_search *to, struct arena *arena, const char *word, int bits)
{
    bool exact = !to->several && letters(word) == 1 && !sign_script(word);

    for (size_t i = 0; i < to->n; i++)
        if (strcmp(to->lowest[i], word) == 0)
            return;
    if (to->n == RECORD_SEARCH_RANGES)
        return;
    to->lowest[to->n] = word;
    /* U+10FFFF stands behind every letter; U+0001 before every one. */
    to->above[to->n] =
        arena_printf(arena, "%s%s", word, exact ? "\x01" : "\xf4\x8f\xbf\xbf");
    to->bits[to->n++] = bits;
}

/* The bit of a word; the shortest gives way when there are too many. */
static int word_place(struct reading *r, const char *word)
{
    size_t shortest = 0;

    for (size_t i = 0; i < r->n_words; i++) {
        if (strcmp(r->words[i], word) == 0)
            return (int)i;
        if (strlen(r->words[i]) < strlen(r->words[shortest]))
            shortest = i;
    }
    if (r->n_words < RECORD_SEARCH_WORDS) {
        r->words[r->n_words] = word;
        return (int)r->n_words++;
    }
    if (strlen(word) > strlen(r->words[shortest]))
        r->words[shortest] = word;
    return -1;
}

static const char *next_word(
    struct arena *arena, const char **at, const char *blanks)
{
    const char *start = *at + strspn(*at, blanks);
    size_t len = strcspn(start, blanks);

    *at = start + len;
    return len ? arena_memdup(arena, start, len) : NULL;
}

static void take_token(struct reading *r, const char *typed)
{
    const char *fold, *at, *word;

    if (strlen(typed) >= 7 && instant_date_valid(typed)) {
        r->to->born = typed;
        return;
    }
    fold = fold_text(r->arena, typed);
    if (!*fold || r->n_tokens == TOKENS_MAX)
        return;
    r->tokens[r->n_tokens++] = fold;
    for (at = fold; (word = next_word(r->arena, &at, " "));)
        word_place(r, word);
}

static int bits_of(struct reading *r, const char *fold, struct text *run)
{
    const char *at = fold, *word;
    int bits = 0;

    while ((word = next_word(r->arena, &at, " "))) {
        for (size_t i = 0; i < r->n_words; i++)
            if (strcmp(r->words[i], word) == 0)
                bits |= 1 << i;
        text_puts(run, word);
    }
    return bits;
}

/* What was typed run together, as a name and, with a digit, as a number. */
static void add_run(struct reading *r, const char *run, int bits)
{
    if (!run)
        return;
    add_range(r->to, r->arena, arena_strdup(r->arena, run), bits);
    if (strpbrk(run, "0123456789"))
        add_range(r->to, r->arena,
            arena_printf(r->arena, "%c%s", RECORD_NUMBER_MARK, run), bits);
}

/* "anne-marie" also finds Annemarie, "van der berg" Vanderberg. */
static void add_runs(struct reading *r)
{
    TEXT_AUTO all = {0};

    for (size_t i = 0; i < r->n_tokens; i++) {
        TEXT_AUTO run = {0};
        int bits = bits_of(r, r->tokens[i], &run);

        text_puts(&all, run.data);
        add_run(r, run.data, bits);
    }
    if (r->n_tokens > 1)
        add_run(r, all.data, r->to->all);
}

static void add_marked(struct reading *r, char mark, const char *word, int bits)
{
    add_range(
        r->to, r->arena, arena_printf(r->arena, "%c%s", mark, word), bits);
}

static void add_word(struct reading *r, const char *word, int bits)
{
    bool digits = word[strspn(word, "0123456789")] == '\0';

    add_range(r->to, r->arena, word, bits);
    if (digits && strlen(word) == 4)
        add_marked(r, RECORD_YEAR_MARK, word, bits);
    else if (!digits && letters(word) >= RECORD_INSIDE_LETTERS)
        add_marked(r, RECORD_INSIDE_MARK, word, bits);
}

void record_search_read(
    struct arena *arena, const char *q, struct record_search *ret)
{
    struct reading r = {.arena = arena, .to = ret};
    const char *at = q, *typed;

    *ret = (struct record_search){.whole = q};
    while ((typed = next_word(arena, &at, " \t\r\n,;")))
        take_token(&r, typed);
    ret->several = r.n_words > 1;
    for (size_t i = 0; i < r.n_words; i++) {
        add_word(&r, r.words[i], 1 << i);
        ret->all |= 1 << i;
    }
    add_runs(&r);
    ret->plain =
        ret->n == 1 || (ret->n == 2 && ret->lowest[1][0] == RECORD_INSIDE_MARK);
}
