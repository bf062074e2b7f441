#include "record/check_word.h"

#include <assert.h>
#include <stddef.h>
#include <string.h>

const char RECORD_SYMBOLS[] = "234579CFHJKMNPRTWXY";

#define SYMBOLS 19U
#define PRIME 43427U /* the greatest with 3 * PRIME <= 19^4 */
#define OFFSET (RECORD_FIGURE_MAX + 1)

/* A primitive root of PRIME: its powers, and their negatives, all differ.  Of
 * the roots one that lets no two usual slips cancel (tested exhaustively). */
#define WEIGHT 101U

static_assert(sizeof(RECORD_SYMBOLS) == SYMBOLS + 1, "a symbol a digit");
static_assert(3 * PRIME <= SYMBOLS * SYMBOLS * SYMBOLS * SYMBOLS, "it fits");
static_assert(2 * OFFSET < PRIME, "no two values of a figure are congruent");

struct record_eye_figures record_eye_figures_none(void)
{
    return (struct record_eye_figures){.lens = RECORD_LENS_NONE,
        .sph_cd = NUM_ABSENT,
        .cyl_cd = NUM_ABSENT,
        .axis_deg = NUM_ABSENT,
        .add_cd = NUM_ABSENT,
        .intermediate_add_cd = NUM_ABSENT,
        .pd_far_mm100 = NUM_ABSENT,
        .pd_near_mm100 = NUM_ABSENT,
        .fitting_height_mm100 = NUM_ABSENT};
}

static uint32_t counted(int32_t figure)
{
    if (figure == NUM_ABSENT)
        return 0;
    assert(figure >= -RECORD_FIGURE_MAX && figure <= RECORD_FIGURE_MAX);
    return (uint32_t)(figure + OFFSET);
}

#define EYE_FIGURES 13

static void count_eye(
    const struct record_eye_figures *eye, uint32_t ret[EYE_FIGURES])
{
    const int32_t figures[EYE_FIGURES] = {eye->lens, eye->sph_cd, eye->cyl_cd,
        eye->axis_deg, eye->add_cd, eye->intermediate_add_cd, eye->prism_in_cd,
        eye->prism_up_cd, eye->near_prism_in_cd, eye->near_prism_up_cd,
        eye->pd_far_mm100, eye->pd_near_mm100, eye->fitting_height_mm100};

    for (int i = 0; i < EYE_FIGURES; i++)
        ret[i] = counted(figures[i]);
}

/* 0: alike; 1: the first figure that differs is greater in a; else 2. */
static uint32_t compare(
    const uint32_t a[EYE_FIGURES], const uint32_t b[EYE_FIGURES])
{
    for (int i = 0; i < EYE_FIGURES; i++)
        if (a[i] != b[i])
            return a[i] > b[i] ? 1 : 2;
    return 0;
}

/* The lowest n digits of value in base 19, the greatest first. */
static void put_symbols(uint32_t value, int n, char *to)
{
    while (n-- > 0) {
        to[n] = RECORD_SYMBOLS[value % SYMBOLS];
        value /= SYMBOLS;
    }
}

void record_check_word(
    const struct record_figures *figures, char ret[RECORD_CHECK_WORD_SIZE])
{
    uint32_t all[2 * EYE_FIGURES + 3];
    uint32_t sum = 0, weight = 1;

    count_eye(&figures->eye[RECORD_RIGHT], all);
    count_eye(&figures->eye[RECORD_LEFT], all + EYE_FIGURES);
    all[2 * EYE_FIGURES] = counted(figures->vertex_mm100);
    all[2 * EYE_FIGURES + 1] = counted(figures->pd_far_mm100);
    all[2 * EYE_FIGURES + 2] = counted(figures->pd_near_mm100);
    for (size_t i = 0; i < sizeof(all) / sizeof(all[0]); i++) {
        sum = (sum + weight * all[i]) % PRIME; /* below 2^31 */
        weight = weight * WEIGHT % PRIME;
    }
    put_symbols(3 * sum + compare(all, all + EYE_FIGURES),
        RECORD_CHECK_WORD_SIZE - 1, ret);
    ret[RECORD_CHECK_WORD_SIZE - 1] = '\0';
}

/* ---- the number of an order ------------------------------------------- */

#define NUMBER_SYMBOLS 8
#define DAY_MS 86400000U
#define FIRST_DAY 18262 /* 2020-01-01, in days since 1970 */

/* The last symbol: position times value, positions from 1, add up to 0. */
static uint32_t number_check(const uint32_t digits[NUMBER_SYMBOLS - 1])
{
    uint32_t sum = 0;

    for (uint32_t i = 0; i < NUMBER_SYMBOLS - 1; i++)
        sum += (i + 1) * digits[i];
    /* 8 x = -sum modulo 19; 8 * 12 = 96 = 1 modulo 19. */
    return (SYMBOLS - sum % SYMBOLS) * 12 % SYMBOLS;
}

static void number_text(
    const uint32_t digits[NUMBER_SYMBOLS], char ret[RECORD_ORDER_NUMBER_SIZE])
{
    for (int i = 0; i < NUMBER_SYMBOLS; i++)
        ret[i + (i > 3)] = RECORD_SYMBOLS[digits[i]];
    ret[4] = '-';
    ret[RECORD_ORDER_NUMBER_SIZE - 1] = '\0';
}

void record_order_number(
    const uint8_t id[16], char ret[RECORD_ORDER_NUMBER_SIZE])
{
    uint32_t digits[NUMBER_SYMBOLS];
    uint64_t ms = 0;
    uint32_t day, random = 0;

    for (int i = 0; i < 6; i++)
        ms = ms << 8 | id[i];
    for (int i = 12; i < 16; i++)
        random = random << 8 | id[i];
    /* Before 2020 only in a test; the modulo of an unsigned number is fine. */
    day = (uint32_t)(ms / DAY_MS) - FIRST_DAY;
    for (int i = 2; i >= 0; i--, day /= SYMBOLS)
        digits[i] = day % SYMBOLS;
    for (int i = 6; i >= 3; i--, random /= SYMBOLS)
        digits[i] = random % SYMBOLS;
    digits[7] = number_check(digits);
    number_text(digits, ret);
}

static char upper(char c)
{
    if (c >= 'a' && c <= 'z')
        return (char)(c - 'a' + 'A');
    return c;
}

bool record_order_number_read(const char *s, char ret[RECORD_ORDER_NUMBER_SIZE])
{
    uint32_t digits[NUMBER_SYMBOLS];
    size_t n = 0;

    for (; *s; s++) {
        char c = upper(*s);
        const char *at = strchr(RECORD_SYMBOLS, c);

        if (c == '-' || c == ' ')
            continue;
        if (!at || n == NUMBER_SYMBOLS)
            return false;
        digits[n++] = (uint32_t)(at - RECORD_SYMBOLS);
    }
    if (n != NUMBER_SYMBOLS || number_check(digits) != digits[7])
        return false;
    number_text(digits, ret);
    return true;
}
