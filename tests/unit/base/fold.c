#include <string.h>

#include "suites.h"

#include "base/fold.h"

static const struct {
    const char *why, *in, *want;
} FOLD[] = {
    {"case", "ANNA", "anna"},
    /* P-24: the same name composed (U+00E9) and with a combining acute
     * (U+0065 U+0301); UAX #15, section 1.1. */
    {"a composed letter", "Ren\xc3\xa9", "rene"},
    {"the same letter in two", "Rene\xcc\x81", "rene"},
    {"an angstrom sign (U+212B) is A with a ring (UAX #15, table 1)",
        "\xe2\x84\xab", "a"},
    {"a ligature (U+FB01) is taken apart (UAX #15, figure 6)", "\xef\xac\x81n",
        "fin"},
    {"two marks on one letter (U+1EC7)", "Vi\xe1\xbb\x87t", "viet"},
    /* CaseFolding.txt of the Unicode Character Database, status F. */
    {"sharp s folds to two (U+00DF)",
        "Stra\xc3\x9f"
        "e",
        "strasse"},
    {"capital sharp s (U+1E9E) too",
        "STRA\xe1\xba\x9e"
        "E",
        "strasse"},
    {"final sigma (U+03C2) is a sigma",
        "\xce\xa3\xce\xaf\xcf\x83\xcf\x85\xcf\x86\xce\xbf\xcf\x82",
        "\xcf\x83\xce\xb9\xcf\x83\xcf\x85\xcf\x86\xce\xbf\xcf\x83"},
    {"Cyrillic short i (U+0439) is i with a breve", "\xd0\x99", "\xd0\xb8"},
    {"dotted capital I (U+0130)", "\xc4\xb0rem", "irem"},
    {"dotless i (U+0131)", "\xc4\xb1rmak", "irmak"},
    /* Letters whose stroke Unicode does not take off. */
    {"o with stroke (U+00D8)", "S\xc3\x98rensen", "sorensen"},
    {"l with stroke (U+0141)", "\xc5\x81ukasz", "lukasz"},
    {"ae (U+00C6)", "\xc3\x86ther", "aether"},
    {"thorn and eth (U+00DE, U+00F0)", "\xc3\x9eor\xc3\xb0ur", "thordur"},
    {"oe (U+0153)", "c\xc5\x93ur", "coeur"},
    {"an apostrophe and a hyphen part words (P-24)", "O'Brien-Ng",
        "o brien ng"},
    {"a typographic apostrophe (U+2019) as well",
        "O\xe2\x80\x99"
        "Brien",
        "o brien"},
    {"gaps are one blank, none at the ends", "  van  der ,Meer. ",
        "van der meer"},
    {"digits stay", "Q-10442", "q 10442"},
    {"full-width digits are digits (U+FF11)", "\xef\xbc\x91", "1"},
    {"one letter (P-24)", "O", "o"},
    {"Han stays as it is (U+674E)", "\xe6\x9d\x8e", "\xe6\x9d\x8e"},
    {"a mark alone is nothing", "\xcc\x81", ""},
    {"nothing", "", ""},
    {"signs alone", "-'-", ""},
};

START_TEST(a_name_is_folded)
{
    struct arena *arena = arena_new();
    const char *got = fold_text(arena, FOLD[_i].in);

    ck_assert_msg(
        strcmp(got, FOLD[_i].want) == 0, "%s: got \"%s\"", FOLD[_i].why, got);
    /* A folded name is its own folded form. */
    ck_assert_str_eq(fold_text(arena, got), got);
    arena_free(arena);
}
END_TEST

START_TEST(a_long_name_is_folded_whole)
{
    struct arena *arena = arena_new();
    char name[241] = "";

    /* P-24: 120 characters, here each of two bytes. */
    for (int i = 0; i < 120; i++)
        memcpy(name + 2 * i, "\xc3\x89", 3);
    ck_assert_uint_eq(strlen(fold_text(arena, name)), 120);
    arena_free(arena);
}
END_TEST

Suite *suite_fold(void)
{
    TCase *tc;
    Suite *s = suite_new("fold", &tc);

    tcase_add_loop_test(tc, a_name_is_folded, 0, ROWS(FOLD));
    tcase_add_test(tc, a_long_name_is_folded_whole);
    return s;
}
