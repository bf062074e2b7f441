#include "decimal.h"

#include <math.h>
#include <string.h>

#include "instruments/decimal.h"

/* The first six are values that other readers got wrong
 * (github.com/pydicom/pydicom issues 117 and 1632). */
static const struct {
    const char *text;
    bool good;
    double value;
} DECIMALS[] = {
    {"-2.25", true, -2.25},
    {"+1.50 ", true, 1.5},
    {".002006091181818", true, .002006091181818},
    {"-9.81338674e-006", true, -9.81338674e-6},
    {"3.05171124637127E-05", false, 0},
    {"NaN", false, 0},
    {"  -0  ", true, 0},
    {"1.", true, 1},
    {"1234567890123456", true, 1234567890123456.0},
    {"12345678901234567", false, 0},
    {"1E5", true, 1e5},
    {"1E+05", true, 1e5},
    {"", false, 0},
    {" ", false, 0},
    {".", false, 0},
    {"+", false, 0},
    {"1E", false, 0},
    {"1E+", false, 0},
    {"1E100", false, 0},
    {"2,25", false, 0},
    {"--1", false, 0},
    {"1 2", false, 0},
    {"0x10", false, 0},
    {"inf", false, 0},
};

START_TEST(a_decimal_string_is_exact_or_refused)
{
    const char *text = DECIMALS[_i].text;
    double got = NAN;
    bool good = instruments_decimal_read(text, strlen(text), &got);

    ck_assert_msg(good == DECIMALS[_i].good, "\"%s\": %s", text,
        good ? "taken" : "refused");
    if (good)
        ck_assert_msg(got == DECIMALS[_i].value, "\"%s\": %.17g", text, got);
}
END_TEST

void decimal_tests(TCase *tc)
{
    tcase_add_loop_test(tc, a_decimal_string_is_exact_or_refused, 0,
        (int)(sizeof(DECIMALS) / sizeof(DECIMALS[0])));
}
