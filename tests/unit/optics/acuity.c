#include <math.h>
#include <string.h>

#include "suites.h"

#include "optics/acuity.h"

/* Definitions: 20/x and 6/x are one tenth of a logMAR line apart for a factor
 * of 10^0.1; 20/63 is nominally 0.5 and exactly log10(63/20) = 0.4983. */
static const struct {
    const char *why;
    enum optics_scale scale;
    double value, logmar, tolerance;
} SCALES[] = {
    {"20/20", OPTICS_SNELLEN_20FT, 20, 0, 1e-12},
    {"6/60", OPTICS_SNELLEN_6M, 60, 1, 1e-12},
    {"20/63 is not quite 0.5", OPTICS_SNELLEN_20FT, 63, 0.4983, 5e-5},
    {"20/30 is no standard step", OPTICS_SNELLEN_20FT, 30, 0.1761, 5e-5},
    {"decimal 0.1", OPTICS_DECIMAL, 0.1, 1, 1e-12},
    {"logMAR itself", OPTICS_LOGMAR, -0.1, -0.1, 0},
    /* Beck 2003: 85 letters are 20/20; the other score gives 100. */
    {"85 letters of one score", OPTICS_LETTERS_85, 85, 0, 1e-12},
    {"85 letters of the other", OPTICS_LETTERS_100, 85, 0.3, 1e-12},
    {"100 of the other", OPTICS_LETTERS_100, 100, 0, 1e-12},
};

START_TEST(every_scale_has_its_logmar)
{
    double logmar;

    ck_assert_int_eq(
        optics_acuity_logmar(SCALES[_i].scale, SCALES[_i].value, &logmar),
        OPTICS_OK);
    ck_assert_msg(fabs(logmar - SCALES[_i].logmar) <= SCALES[_i].tolerance,
        "%s: got %f", SCALES[_i].why, logmar);
    ck_assert_msg(!(logmar == 0 && signbit(logmar)), "-0 left");
    ck_assert_double_eq_tol(
        optics_acuity_on(SCALES[_i].scale, logmar), SCALES[_i].value, 1e-9);
}
END_TEST

static const struct {
    const char *text;
    enum optics_notation notation;
    enum optics_level level;
    double logmar;
} READ[] = {
    {"6/6", OPTICS_WRITTEN_SNELLEN, OPTICS_LEVEL_NUMBER, 0},
    {"20/20", OPTICS_WRITTEN_SNELLEN, OPTICS_LEVEL_NUMBER, 0},
    {"3/60", OPTICS_WRITTEN_SNELLEN, OPTICS_LEVEL_NUMBER, 1.30103},
    {"6/7.5", OPTICS_WRITTEN_SNELLEN, OPTICS_LEVEL_NUMBER, 0.09691},
    /* two letters missed of 6/12, 0.02 each: 0.30103 + 0.04 */
    {"6/12-2", OPTICS_WRITTEN_SNELLEN, OPTICS_LEVEL_NUMBER, 0.34103},
    {"6/12 +1", OPTICS_WRITTEN_SNELLEN, OPTICS_LEVEL_NUMBER, 0.28103},
    {"0.8", OPTICS_WRITTEN_DECIMAL, OPTICS_LEVEL_NUMBER, 0.09691},
    {"1.0-1", OPTICS_WRITTEN_DECIMAL, OPTICS_LEVEL_NUMBER, 0.02},
    {"-0.10", OPTICS_WRITTEN_LOGMAR, OPTICS_LEVEL_NUMBER, -0.1},
    {"0.30", OPTICS_WRITTEN_LOGMAR, OPTICS_LEVEL_NUMBER, 0.3},
    {"70", OPTICS_WRITTEN_LETTERS_85, OPTICS_LEVEL_NUMBER, 0.3},
    {"70", OPTICS_WRITTEN_LETTERS_100, OPTICS_LEVEL_NUMBER, 0.6},
    {"CF", OPTICS_WRITTEN_SNELLEN, OPTICS_LEVEL_CF, 0},
    {"CF 2 m", OPTICS_WRITTEN_DECIMAL, OPTICS_LEVEL_CF, 0},
    {"HM", OPTICS_WRITTEN_LOGMAR, OPTICS_LEVEL_HM, 0},
    {"LP", OPTICS_WRITTEN_SNELLEN, OPTICS_LEVEL_LP, 0},
    {"NLP", OPTICS_WRITTEN_SNELLEN, OPTICS_LEVEL_NLP, 0},
};

START_TEST(an_acuity_is_read_as_written)
{
    struct optics_acuity got;

    ck_assert_msg(optics_acuity_read(READ[_i].notation, READ[_i].text,
                      strlen(READ[_i].text), &got) == OPTICS_OK,
        "\"%s\" was refused", READ[_i].text);
    ck_assert_int_eq(got.level, READ[_i].level);
    ck_assert_msg(fabs(got.logmar - READ[_i].logmar) < 1e-5, "\"%s\": got %f",
        READ[_i].text, got.logmar);
}
END_TEST

static const struct {
    const char *text;
    enum optics_notation notation;
} UNREADABLE[] = {
    {"", OPTICS_WRITTEN_SNELLEN},
    {"6", OPTICS_WRITTEN_SNELLEN},
    {"6/", OPTICS_WRITTEN_SNELLEN},
    {"/6", OPTICS_WRITTEN_SNELLEN},
    {"6/0", OPTICS_WRITTEN_SNELLEN},
    {"0/6", OPTICS_WRITTEN_SNELLEN},
    {"6/6/6", OPTICS_WRITTEN_SNELLEN},
    {"6/6+", OPTICS_WRITTEN_SNELLEN},
    {"6/6+0", OPTICS_WRITTEN_SNELLEN},
    {"6/6+12", OPTICS_WRITTEN_SNELLEN},
    {"6/6 ", OPTICS_WRITTEN_SNELLEN},
    {"-6/6", OPTICS_WRITTEN_SNELLEN},
    {"6/6x", OPTICS_WRITTEN_SNELLEN},
    {"0,8", OPTICS_WRITTEN_DECIMAL},
    {"0.", OPTICS_WRITTEN_DECIMAL},
    {".8", OPTICS_WRITTEN_DECIMAL},
    {"0", OPTICS_WRITTEN_DECIMAL},
    {"1e1", OPTICS_WRITTEN_DECIMAL},
    {"nan", OPTICS_WRITTEN_DECIMAL},
    {"88888888", OPTICS_WRITTEN_DECIMAL},
    {"0.12345678", OPTICS_WRITTEN_DECIMAL},
    {"9", OPTICS_WRITTEN_LOGMAR},
    {"--0.1", OPTICS_WRITTEN_LOGMAR},
    {"0.3+1", OPTICS_WRITTEN_LOGMAR},
    {"101", OPTICS_WRITTEN_LETTERS_85},
    {"-1", OPTICS_WRITTEN_LETTERS_85},
    {"CFX", OPTICS_WRITTEN_SNELLEN},
    {"cf", OPTICS_WRITTEN_SNELLEN},
};

START_TEST(what_is_no_acuity_is_refused)
{
    struct optics_acuity got = {OPTICS_LEVEL_LP, 7};

    ck_assert_msg(
        optics_acuity_read(UNREADABLE[_i].notation, UNREADABLE[_i].text,
            strlen(UNREADABLE[_i].text), &got) == OPTICS_BAD_TEXT,
        "\"%s\" was read", UNREADABLE[_i].text);
    ck_assert(got.level == OPTICS_LEVEL_LP && got.logmar == 7);
}
END_TEST

START_TEST(reading_stops_at_the_length_given)
{
    struct optics_acuity got;

    ck_assert_int_eq(
        optics_acuity_read(OPTICS_WRITTEN_SNELLEN, "6/60", 3, &got), OPTICS_OK);
    ck_assert_double_eq_tol(got.logmar, 0, 1e-12);
    ck_assert_int_eq(
        optics_acuity_read(OPTICS_WRITTEN_SNELLEN, "6/60", 2, &got),
        OPTICS_BAD_TEXT);
}
END_TEST

START_TEST(low_vision_is_ordered_below_any_number)
{
    static const struct optics_acuity best_first[] = {
        {OPTICS_LEVEL_NUMBER, -0.1}, {OPTICS_LEVEL_NUMBER, 0.3},
        {OPTICS_LEVEL_NUMBER, 3.5}, {OPTICS_LEVEL_CF, 0}, {OPTICS_LEVEL_HM, 0},
        {OPTICS_LEVEL_LP, 0}, {OPTICS_LEVEL_NLP, 0}};

    for (int i = 0; i < ROWS(best_first); i++)
        for (int k = 0; k < ROWS(best_first); k++) {
            int got = optics_acuity_compare(best_first[i], best_first[k]);

            ck_assert((i < k && got > 0) || (i > k && got < 0) ||
                      (i == k && got == 0));
        }
    ck_assert_str_eq(optics_level_word(OPTICS_LEVEL_NLP), "NLP");
}
END_TEST

/* M. Bach's page: 1.9, 2.3, 2.7, 3.0; Holladay's chart: at 2 ft 2.0 and 3.0. */
START_TEST(low_vision_has_two_schemes)
{
    double logmar = 7;

    ck_assert_int_eq(
        optics_acuity_low(OPTICS_LEVEL_CF, OPTICS_LOW_BACH, 0, &logmar),
        OPTICS_OK);
    ck_assert_double_eq_tol(logmar, 1.9, 1e-12);
    ck_assert_int_eq(
        optics_acuity_low(OPTICS_LEVEL_CF, OPTICS_LOW_HOLLADAY, 2, &logmar),
        OPTICS_OK);
    ck_assert_double_eq_tol(logmar, 2.0, 1e-12);
    logmar = 7;
    ck_assert_int_eq(
        optics_acuity_low(OPTICS_LEVEL_NLP, OPTICS_LOW_HOLLADAY, 2, &logmar),
        OPTICS_BAD_ENTRY);
    ck_assert_int_eq(
        optics_acuity_low(OPTICS_LEVEL_NUMBER, OPTICS_LOW_BACH, 2, &logmar),
        OPTICS_BAD_ENTRY);
    ck_assert_int_eq(
        optics_acuity_low(OPTICS_LEVEL_HM, OPTICS_LOW_HOLLADAY, 0, &logmar),
        OPTICS_BAD_DISTANCE_FT);
    ck_assert(logmar == 7);
}
END_TEST

static const struct {
    enum optics_scale scale;
    double value;
    enum optics_fault fault;
} SENSELESS[] = {
    {OPTICS_SNELLEN_20FT, 0, OPTICS_BAD_SNELLEN_20FT},
    {OPTICS_SNELLEN_6M, -6, OPTICS_BAD_SNELLEN_6M},
    {OPTICS_DECIMAL, 0, OPTICS_BAD_DECIMAL},
    {OPTICS_DECIMAL, NAN, OPTICS_BAD_DECIMAL},
    {OPTICS_LOGMAR, INFINITY, OPTICS_BAD_LOGMAR},
    {OPTICS_LETTERS_85, 101, OPTICS_BAD_LETTERS},
    {OPTICS_LETTERS_100, -1, OPTICS_BAD_SCORE},
};

START_TEST(a_senseless_acuity_is_named)
{
    double logmar = 7;

    ck_assert_int_eq(
        optics_acuity_logmar(SENSELESS[_i].scale, SENSELESS[_i].value, &logmar),
        SENSELESS[_i].fault);
    ck_assert(logmar == 7);
}
END_TEST

START_TEST(senseless_lines_and_near_distances_are_named)
{
    struct optics_near near_acuity;
    double logmar;

    ck_assert_int_eq(optics_acuity_partial_line(0.3, 2, 0, &logmar),
        OPTICS_BAD_LETTERS_PER_LINE);
    ck_assert_int_eq(optics_acuity_partial_line(0.3, NAN, 5, &logmar),
        OPTICS_BAD_LETTERS_EXTRA);
    ck_assert_int_eq(optics_near_of_m(1, 0, &near_acuity), OPTICS_BAD_NEAR_CM);
    ck_assert_int_eq(optics_near_of_m(0, 40, &near_acuity), OPTICS_BAD_M_UNITS);
    ck_assert_int_eq(
        optics_near_of_snellen(0, 40, &near_acuity), OPTICS_BAD_SNELLEN_20FT);
}
END_TEST

Suite *suite_acuity(void)
{
    TCase *tc;
    Suite *s = suite_new("acuity", &tc);

    tcase_add_loop_test(tc, every_scale_has_its_logmar, 0, ROWS(SCALES));
    tcase_add_loop_test(tc, an_acuity_is_read_as_written, 0, ROWS(READ));
    tcase_add_loop_test(tc, what_is_no_acuity_is_refused, 0, ROWS(UNREADABLE));
    tcase_add_test(tc, reading_stops_at_the_length_given);
    tcase_add_test(tc, low_vision_is_ordered_below_any_number);
    tcase_add_test(tc, low_vision_has_two_schemes);
    tcase_add_loop_test(tc, a_senseless_acuity_is_named, 0, ROWS(SENSELESS));
    tcase_add_test(tc, senseless_lines_and_near_distances_are_named);
    return s;
}
