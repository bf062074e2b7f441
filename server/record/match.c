#include "record/match.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/fold.h"

/* How often one person's two records look so, and two persons'.  All shares and
 * limits below are chosen by us (record/match.h says in which light). */
struct shares {
    double same, other;
};

static const double NUMBER_ALIKE = 0.97, NUMBER_NEAR = 0.02,
                    NUMBER_APART = 0.01;
static const struct shares FAMILY_ALIKE = {0.88, 0.002},
                           FAMILY_NEAR = {0.06, 0.004},
                           FAMILY_PART = {0.03, 0.004},
                           FAMILY_APART = {0.03, 0.99};
static const struct shares GIVEN_ALIKE = {0.80, 0.010},
                           GIVEN_NEAR = {0.08, 0.015},
                           GIVEN_PART = {0.08, 0.020},
                           GIVEN_APART = {0.04, 0.95};
static const struct shares NAMES_EXCHANGED = {0.03, 0.00002};
/* A day among 60 years, and how many of them one slip leads to. */
#define DAYS (60 * 365.0)
static const struct shares BORN_ALIKE = {0.93, 1 / DAYS},
                           BORN_TURNED = {0.015, 1 / DAYS},
                           BORN_NEAR = {0.03, 100 / DAYS},
                           BORN_APART = {0.02, 1};
static const struct shares BORN_MONTH = {0.95, 1 / (60 * 12.0)},
                           BORN_YEAR = {0.95, 1 / 60.0};
static const double VISITS_MEASURED = 0.8;
/* No refraction alone says more: many have alike ones, and eyes change. */
static const double REFRACTION_FOR = 100, REFRACTION_AGAINST = 1000;

#define NAME_MOST 200 /* bytes of a folded name that are compared */

const char *record_match_word(enum record_match_field field)
{
    static const char *const words[] = {
        "number", "names", "born", "visit", "refraction"};

    return words[field];
}

static double ratio(struct shares s)
{
    return log(s.same / s.other);
}

/* ---- texts ------------------------------------------------------------ */

/* Code points of s, at most NAME_MOST. */
static size_t signs(const char *s, unsigned ret[NAME_MOST])
{
    size_t n = 0;

    for (; *s && n < NAME_MOST; s++) {
        unsigned char c = (unsigned char)*s;

        if ((c & 0xc0) == 0x80 && n > 0)
            ret[n - 1] = ret[n - 1] << 6 | (c & 0x3f);
        else
            ret[n++] = c;
    }
    return n;
}

static size_t least(size_t a, size_t b, size_t c)
{
    size_t m = a < b ? a : b;

    return m < c ? m : c;
}

size_t record_match_distance(const char *a, const char *b, size_t limit)
{
    unsigned x[NAME_MOST], y[NAME_MOST];
    size_t n = signs(a, x), m = signs(b, y);
    size_t rows[3][NAME_MOST + 1] = {{0}};

    for (size_t j = 0; j <= m; j++)
        rows[0][j] = j;
    for (size_t i = 1; i <= n; i++) {
        size_t *now = rows[i % 3], *up = rows[(i + 2) % 3];
        size_t *upper = rows[(i + 1) % 3];

        now[0] = i;
        for (size_t j = 1; j <= m; j++) {
            now[j] = least(
                up[j] + 1, now[j - 1] + 1, up[j - 1] + (x[i - 1] != y[j - 1]));
            if (i > 1 && j > 1 && x[i - 1] == y[j - 2] && x[i - 2] == y[j - 1])
                now[j] = least(now[j], upper[j - 2] + 1, now[j]);
        }
    }
    return rows[n % 3][m] <= limit ? rows[n % 3][m] : limit + 1;
}

/* '1' to '6', '0' for a vowel and what parts two codes, '-' for h and w. */
static char sound_of(char letter)
{
    static const char letters[] = "abcdefghijklmnopqrstuvwxyz";
    static const char codes[] = "0123012-02245501262301-202";
    const char *at = letter ? strchr(letters, letter) : NULL;

    if (!at)
        return '\0';
    return codes[at - letters];
}

void record_match_sound(const char *fold, char ret[5])
{
    size_t n = 0;
    char last = '\0';

    memset(ret, 0, 5);
    for (; *fold && n < 4; fold++) {
        char code = sound_of(*fold);

        if (!code)
            continue;
        if (n == 0)
            ret[n++] = *fold;
        else if (code != '0' && code != '-' && code != last)
            ret[n++] = code;
        if (code != '-')
            last = code;
    }
    while (n > 0 && n < 4)
        ret[n++] = '0';
}

/* ---- number ----------------------------------------------------------- */

/* A folded number without its blanks. */
static char *run_together(struct arena *arena, const char *s)
{
    char *fold = fold_text(arena, s), *to = fold;

    for (const char *from = fold; *from; from++)
        if (*from != ' ')
            *to++ = *from;
    *to = '\0';
    return fold;
}

static size_t numbers_apart(struct arena *arena, const struct record_known *a,
    const struct record_known *b)
{
    return record_match_distance(run_together(arena, a->record_number),
        run_together(arena, b->record_number), 1);
}

bool record_match_near_number(struct arena *arena, const struct record_known *a,
    const struct record_known *b)
{
    return a->record_number && b->record_number &&
           numbers_apart(arena, a, b) == 1;
}

/* A number is one person's; those near it are as many as were found. */
static struct record_match_part number_part(struct arena *arena,
    const struct record_known *said, const struct record_known *patient,
    const struct record_crowd *crowd)
{
    double people = (double)crowd->people;

    if (!said->record_number || !patient->record_number)
        return (struct record_match_part){0, NULL};
    switch (numbers_apart(arena, said, patient)) {
    case 0:
        return (struct record_match_part){
            log(NUMBER_ALIKE * people), "the record numbers are the same"};
    case 1:
        return (struct record_match_part){
            log(NUMBER_NEAR * people / fmax(1, (double)crowd->near_numbers)),
            "the record numbers are one slip apart"};
    default:
        return (struct record_match_part){
            log(NUMBER_APART), "the record numbers differ"};
    }
}

/* ---- names ------------------------------------------------------------ */

/* A word of a also stands in b, or begins one there. */
static bool shares_word(const char *a, const char *b, bool begins)
{
    while (*a) {
        size_t len = strcspn(a, " ");

        for (const char *w = b; *w;) {
            size_t wlen = strcspn(w, " ");

            if (len > 1 && strncmp(a, w, len) == 0 &&
                (wlen == len || (begins && len > 2 && wlen > len)))
                return true;
            w += wlen + (w[wlen] == ' ');
        }
        a += len + (a[len] == ' ');
    }
    return false;
}

static bool sounds_alike(const char *a, const char *b)
{
    char x[5], y[5];

    record_match_sound(a, x);
    record_match_sound(b, y);
    /* Four signs tell no more than the beginning of a long name. */
    return *x && strcmp(x, y) == 0 &&
           labs((long)strlen(a) - (long)strlen(b)) <= 2;
}

enum likeness { ALIKE, NEAR, PART, APART };

/* One name, folded. */
static enum likeness compare(const char *a, const char *b)
{
    size_t shorter = strlen(a) < strlen(b) ? strlen(a) : strlen(b);

    if (strcmp(a, b) == 0)
        return ALIKE;
    if (record_match_distance(a, b, 1 + (shorter > 7)) <= 1 + (shorter > 7) &&
        shorter > 2)
        return NEAR;
    if (sounds_alike(a, b))
        return NEAR;
    if (shares_word(a, b, true) || shares_word(b, a, true))
        return PART;
    return APART;
}

static const char *folded(struct arena *arena, const char *s)
{
    return s ? fold_text(arena, s) : "";
}

/* Two names of one kind; nothing where one lacks it. */
static double name_ratio(struct arena *arena, const char *a, const char *b,
    const struct shares by[4], enum likeness *ret)
{
    const char *x = folded(arena, a), *y = folded(arena, b);

    *ret = APART;
    if (!*x || !*y)
        return 0;
    *ret = compare(x, y);
    return ratio(by[*ret]);
}

static bool exchanged(struct arena *arena, const struct record_known *a,
    const struct record_known *b)
{
    const char *family = folded(arena, a->family);
    const char *given = folded(arena, a->given);

    return *family && *given && strcmp(family, given) != 0 &&
           strcmp(family, folded(arena, b->given)) == 0 &&
           strcmp(given, folded(arena, b->family)) == 0;
}

static const char *names_text(enum likeness family, enum likeness given)
{
    if (family == ALIKE && given == ALIKE)
        return "both names are the same";
    if (family == APART && given == APART)
        return "the names differ";
    if (family == APART)
        return "the given name fits, the family name does not";
    if (given == APART)
        return "the family name fits, the given name does not";
    if (family == NEAR || given == NEAR)
        return "the names are spelt a little differently";
    return "a part of the names is the same";
}

static struct record_match_part names_part(struct arena *arena,
    const struct record_known *said, const struct record_known *patient)
{
    const struct shares families[] = {
        FAMILY_ALIKE, FAMILY_NEAR, FAMILY_PART, FAMILY_APART};
    const struct shares givens[] = {
        GIVEN_ALIKE, GIVEN_NEAR, GIVEN_PART, GIVEN_APART};
    bool two = said->family && patient->family;
    bool first = said->given && patient->given;
    enum likeness family, given;
    double sum;

    if (exchanged(arena, said, patient))
        return (struct record_match_part){
            ratio(NAMES_EXCHANGED), "family and given name stand exchanged"};
    if (!two && !first)
        return (struct record_match_part){0, NULL};
    sum = name_ratio(arena, said->family, patient->family, families, &family) +
          name_ratio(arena, said->given, patient->given, givens, &given);
    if (two && first)
        return (struct record_match_part){sum, names_text(family, given)};
    if (two)
        return (struct record_match_part){
            sum, family == ALIKE   ? "the family name is the same"
                 : family == APART ? "the family names differ"
                                   : "the family names are alike"};
    return (struct record_match_part){
        sum, given == ALIKE   ? "the given name is the same"
             : given == APART ? "the given names differ"
                              : "the given names are alike"};
}

/* ---- birth ------------------------------------------------------------ */

/* 1984-05-03 and 1984-03-05. */
static bool turned(const char *a, const char *b)
{
    return strncmp(a, b, 4) == 0 && strncmp(a + 5, b + 8, 2) == 0 &&
           strncmp(a + 8, b + 5, 2) == 0;
}

static struct record_match_part born_part(
    const struct record_known *said, const struct record_known *patient)
{
    const char *a = said->born, *b = patient->born;
    size_t shorter;

    if (!a || !b)
        return (struct record_match_part){0, NULL};
    shorter = strlen(a) < strlen(b) ? strlen(a) : strlen(b);
    if (strncmp(a, b, shorter) == 0)
        return (struct record_match_part){ratio(shorter == 10  ? BORN_ALIKE
                                                : shorter == 7 ? BORN_MONTH
                                                               : BORN_YEAR),
            shorter == 10 ? "the birth dates are the same"
                          : "the birth dates agree as far as they are known"};
    if (shorter == 10 && turned(a, b))
        return (struct record_match_part){ratio(BORN_TURNED),
            "day and month of the birth dates stand exchanged"};
    if (shorter == 10 && record_match_distance(a, b, 1) == 1)
        return (struct record_match_part){
            ratio(BORN_NEAR), "the birth dates are one slip apart"};
    return (struct record_match_part){
        ratio(BORN_APART), "the birth dates differ"};
}

/* ---- all -------------------------------------------------------------- */

void record_match_compare(struct arena *arena, const struct record_known *said,
    const struct record_known *patient, const struct record_crowd *crowd,
    struct record_match *ret)
{
    *ret = (struct record_match){0};
    ret->parts[RECORD_MATCH_NUMBER] = number_part(arena, said, patient, crowd);
    ret->parts[RECORD_MATCH_NAMES] = names_part(arena, said, patient);
    ret->parts[RECORD_MATCH_BORN] = born_part(said, patient);
}

static double visit_ratio(bool here, const struct record_crowd *crowd)
{
    double others =
        fmin((double)crowd->visits / fmax(1, (double)crowd->people), 0.5);

    if (crowd->visits == 0)
        return 0;
    return here ? log(VISITS_MEASURED / others)
                : log((1 - VISITS_MEASURED) / (1 - others));
}

void record_match_visit(
    bool here, const struct record_crowd *crowd, struct record_match *match)
{
    if (crowd->visits)
        match->parts[RECORD_MATCH_VISIT] =
            (struct record_match_part){visit_ratio(here, crowd),
                here ? "was at the clinic on that day"
                     : "has no visit at the clinic on that day"};
}

void record_match_refraction(struct arena *arena,
    const struct optics_fingerprint *found, struct record_match *match)
{
    double log_ratio = fmax(
        -log(REFRACTION_AGAINST), fmin(log(REFRACTION_FOR), found->log_ratio));

    if (!found->compared)
        return;
    match->parts[RECORD_MATCH_REFRACTION] = (struct record_match_part){
        log_ratio, arena_printf(arena,
                       "the refraction lies %.2f D from the nearest on record, "
                       "%s",
                       found->apart,
                       log_ratio > 1    ? "as the same eyes' would"
                       : log_ratio < -1 ? "farther than the same eyes' would"
                                        : "which many others' would too")};
}

/* Of somebody whom nothing fits that is said. */
static double stranger_ratio(
    const struct record_known *said, const struct record_crowd *crowd)
{
    return (said->record_number ? log(NUMBER_APART) : 0) +
           (said->family ? ratio(FAMILY_APART) : 0) +
           (said->given ? ratio(GIVEN_APART) : 0) +
           (said->born ? ratio(BORN_APART) : 0) + visit_ratio(false, crowd);
}

void record_match_weigh(struct record_match **matches, size_t n,
    const struct record_known *said, const struct record_crowd *crowd)
{
    double people = fmax(1, fmax((double)n, (double)crowd->people));
    double prior = crowd->on_record / people;
    double all = 1 - crowd->on_record +
                 (people - (double)n) * prior *
                     exp(fmin(0, stranger_ratio(said, crowd)));

    for (size_t i = 0; i < n; i++) {
        struct record_match *m = matches[i];

        m->log_ratio = 0;
        for (int field = 0; field < RECORD_MATCH_FIELDS; field++)
            m->log_ratio += m->parts[field].log_ratio;
        m->probability = prior * exp(fmin(m->log_ratio, 600));
        all += m->probability;
    }
    for (size_t i = 0; i < n; i++)
        matches[i]->probability /= all;
}
