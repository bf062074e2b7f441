#include "optics/acuity.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "optics/angle.h"

static const double LOG_PER_LETTER = 0.02;
static const double LOG_PER_LINE = 0.1;

static const enum optics_fault SCALE_FAULT[] = {
    [OPTICS_SNELLEN_20FT] = OPTICS_BAD_SNELLEN_20FT,
    [OPTICS_SNELLEN_6M] = OPTICS_BAD_SNELLEN_6M,
    [OPTICS_DECIMAL] = OPTICS_BAD_DECIMAL,
    [OPTICS_LOGMAR] = OPTICS_BAD_LOGMAR,
    [OPTICS_LETTERS_85] = OPTICS_BAD_LETTERS,
    [OPTICS_LETTERS_100] = OPTICS_BAD_SCORE,
};

enum optics_fault optics_acuity_logmar(
    enum optics_scale scale, double value, double *ret_logmar)
{
    enum optics_fault fault = optics_fault_check(SCALE_FAULT[scale], value);
    double logmar = value;

    if (fault != OPTICS_OK)
        return fault;
    switch (scale) {
    case OPTICS_SNELLEN_20FT:
        logmar = log10(value / 20);
        break;
    case OPTICS_SNELLEN_6M:
        logmar = log10(value / 6);
        break;
    case OPTICS_DECIMAL:
        logmar = -log10(value);
        break;
    case OPTICS_LETTERS_85:
        logmar = 1.7 - LOG_PER_LETTER * value;
        break;
    case OPTICS_LETTERS_100:
        logmar = 2.0 - LOG_PER_LETTER * value;
        break;
    case OPTICS_LOGMAR:
        break;
    }
    *ret_logmar = optics_clean(logmar);
    return OPTICS_OK;
}

double optics_acuity_on(enum optics_scale scale, double logmar)
{
    switch (scale) {
    case OPTICS_SNELLEN_20FT:
        return 20 * pow(10, logmar);
    case OPTICS_SNELLEN_6M:
        return 6 * pow(10, logmar);
    case OPTICS_DECIMAL:
        return pow(10, -logmar);
    case OPTICS_LETTERS_85:
        return optics_clean(85 - logmar / LOG_PER_LETTER);
    case OPTICS_LETTERS_100:
        return optics_clean(100 - logmar / LOG_PER_LETTER);
    case OPTICS_LOGMAR:
        break;
    }
    return logmar;
}

enum optics_fault optics_acuity_partial_line(double line_logmar,
    double letters_extra, double letters_per_line, double *ret_logmar)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_LINE_LOGMAR, line_logmar},
        {OPTICS_BAD_LETTERS_EXTRA, letters_extra},
        {OPTICS_BAD_LETTERS_PER_LINE, letters_per_line},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret_logmar = optics_clean(
            line_logmar - LOG_PER_LINE * letters_extra / letters_per_line);
    return fault;
}

int optics_acuity_compare(struct optics_acuity a, struct optics_acuity b)
{
    if (a.level != b.level)
        return a.level > b.level ? -1 : 1;
    if (a.level != OPTICS_LEVEL_NUMBER || a.logmar == b.logmar)
        return 0;
    return a.logmar > b.logmar ? -1 : 1;
}

static const char *const LEVELS[] = {"", "CF", "HM", "LP", "NLP"};

const char *optics_level_word(enum optics_level level)
{
    return LEVELS[level];
}

const char *const OPTICS_NOTATIONS[] = {
    "snellen", "decimal", "logmar", "letters-85", "letters-100", NULL};

/* What is still to be read. */
struct rest {
    const char *at, *end;
};

static bool take_char(struct rest *r, char c)
{
    if (r->at == r->end || *r->at != c)
        return false;
    r->at++;
    return true;
}

static bool digit_next(const struct rest *r)
{
    return r->at < r->end && *r->at >= '0' && *r->at <= '9';
}

/* digits[.digits], at most six of each. */
static bool take_number(struct rest *r, double *ret)
{
    double value = 0, place = 1;
    int n = 0;

    for (; digit_next(r) && n < 6; n++)
        value = value * 10 + (*r->at++ - '0');
    if (n == 0 || digit_next(r))
        return false;
    if (take_char(r, '.')) {
        for (n = 0; digit_next(r) && n < 6; n++) {
            value = value * 10 + (*r->at++ - '0');
            place *= 10;
        }
        if (n == 0 || digit_next(r))
            return false;
    }
    *ret = value / place; /* one division: the nearest double */
    return true;
}

/* Nothing, or [space](+|-)digit: letters of a line of five. */
static bool take_letters(struct rest *r, double *ret)
{
    double sign;

    *ret = 0;
    if (r->at == r->end)
        return true;
    take_char(r, ' ');
    if (take_char(r, '+'))
        sign = 1;
    else if (take_char(r, '-'))
        sign = -1;
    else
        return false;
    if (!digit_next(r) || *r->at == '0')
        return false;
    *ret = sign * (*r->at++ - '0');
    return true;
}

static enum optics_level level_of(const char *text, size_t len)
{
    for (int level = OPTICS_LEVEL_NLP; level > OPTICS_LEVEL_NUMBER; level--) {
        size_t n = strlen(LEVELS[level]);

        if (len >= n && memcmp(text, LEVELS[level], n) == 0 &&
            (len == n || text[n] == ' '))
            return (enum optics_level)level;
    }
    return OPTICS_LEVEL_NUMBER;
}

/* The denominator under 20 of test/letter. */
static bool take_fraction(struct rest *r, double *ret)
{
    double test, letter;

    if (!take_number(r, &test) || !take_char(r, '/') ||
        !take_number(r, &letter) || test == 0)
        return false;
    *ret = letter * 20 / test;
    return true;
}

static bool take_signed(struct rest *r, double *ret)
{
    double sign = take_char(r, '-') ? -1 : 1;

    if (sign > 0)
        take_char(r, '+');
    if (!take_number(r, ret))
        return false;
    *ret *= sign;
    return true;
}

static bool read_line(
    struct rest *r, enum optics_notation notation, double *ret_logmar)
{
    static const struct {
        bool (*take)(struct rest *r, double *ret);
        enum optics_scale scale;
        bool letters; /* partial lines are written behind it */
    } how[] = {
        [OPTICS_WRITTEN_SNELLEN] = {take_fraction, OPTICS_SNELLEN_20FT, true},
        [OPTICS_WRITTEN_DECIMAL] = {take_number, OPTICS_DECIMAL, true},
        [OPTICS_WRITTEN_LOGMAR] = {take_signed, OPTICS_LOGMAR, false},
        [OPTICS_WRITTEN_LETTERS_85] = {take_number, OPTICS_LETTERS_85, false},
        [OPTICS_WRITTEN_LETTERS_100] = {take_number, OPTICS_LETTERS_100, false},
    };
    double value, logmar, letters = 0;

    if (!how[notation].take(r, &value))
        return false;
    if (how[notation].letters && !take_letters(r, &letters))
        return false;
    if (r->at != r->end)
        return false;
    if (optics_acuity_logmar(how[notation].scale, value, &logmar) != OPTICS_OK)
        return false;
    *ret_logmar = optics_clean(logmar - LOG_PER_LETTER * letters);
    return true;
}

enum optics_fault optics_acuity_read(enum optics_notation notation,
    const char *text, size_t len, struct optics_acuity *ret)
{
    struct rest r = {text, text + len};
    struct optics_acuity got = {level_of(text, len), 0};

    if (got.level == OPTICS_LEVEL_NUMBER &&
        !read_line(&r, notation, &got.logmar))
        return OPTICS_BAD_TEXT;
    *ret = got;
    return OPTICS_OK;
}

enum optics_fault optics_acuity_low(enum optics_level level,
    enum optics_low_scheme scheme, double distance_ft, double *ret_logmar)
{
    static const double bach[] = {0, 1.9, 2.3, 2.7, 3.0};
    double letter_ft = level == OPTICS_LEVEL_HM ? 2000 : 200;

    if (level == OPTICS_LEVEL_NUMBER ||
        (scheme == OPTICS_LOW_HOLLADAY && level > OPTICS_LEVEL_HM))
        return OPTICS_BAD_ENTRY;
    if (scheme == OPTICS_LOW_BACH) {
        *ret_logmar = bach[level];
        return OPTICS_OK;
    }
    if (optics_fault_check(OPTICS_BAD_DISTANCE_FT, distance_ft) != OPTICS_OK)
        return OPTICS_BAD_DISTANCE_FT;
    *ret_logmar = log10(letter_ft / distance_ft);
    return OPTICS_OK;
}

/* From the minimum angle of resolution in minutes of arc. */
static void near_of_mar(double mar, double near_cm, struct optics_near *ret)
{
    double five_minutes = 5 * M_PI / (180 * 60);

    ret->logmar = optics_clean(log10(mar));
    ret->decimal = 1 / mar;
    ret->m_units = mar * near_cm / 100;
    ret->n_points = 8 * ret->m_units;
    ret->height_mm = tan(five_minutes) * ret->m_units * 1000;
    ret->reduced_14in = 14 * mar;
    ret->reduced_35cm = 35 * mar;
}

enum optics_fault optics_near_of_m(
    double m_units, double near_cm, struct optics_near *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_M_UNITS, m_units},
        {OPTICS_BAD_NEAR_CM, near_cm},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        near_of_mar(m_units / (near_cm / 100), near_cm, ret);
    return fault;
}

enum optics_fault optics_near_of_snellen(
    double snellen_20ft, double near_cm, struct optics_near *ret)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_SNELLEN_20FT, snellen_20ft},
        {OPTICS_BAD_NEAR_CM, near_cm},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        near_of_mar(snellen_20ft / 20, near_cm, ret);
    return fault;
}
