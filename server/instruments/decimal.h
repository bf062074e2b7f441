#pragma once
/*
 * instruments/decimal.h - decimal text of DICOM (VR DS) without a locale.
 */
#include <stdbool.h>
#include <stddef.h>

/*
 * [+-]digits[.digits][E[+-]digits], padded by spaces on either side; a point
 * may stand first.  At most 16 characters without the padding (PS3.5, from
 * memory); more, NaN, infinities and anything else are refused.  *ret is the
 * nearest double for exponents within +-22.
 */
bool instruments_decimal_read(const char *s, size_t len, double *ret);
