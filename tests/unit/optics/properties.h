#pragma once
/*
 * tests/unit/optics/properties.h - suites that try what holds for every lens
 * on made-up ones, a million of them.
 */
#include <check.h>

Suite *suite_batch(void);
Suite *suite_finite(void);
Suite *suite_finite_judged(void);
Suite *suite_finite_more(void);
Suite *suite_growth(void);
Suite *suite_laws(void);
