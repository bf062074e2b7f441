#pragma once
/*
 * tests/unit/optics/suites.h - one suite a part of server/optics, and what
 * they share.
 */
#include <check.h>

#include "optics/power.h"

Suite *suite_acuity(void);
Suite *suite_angle(void);
Suite *suite_bias(void);
Suite *suite_binocular(void);
Suite *suite_blur(void);
Suite *suite_cases(void);
Suite *suite_cases_lens(void);
Suite *suite_cases_near(void);
Suite *suite_cornea(void);
Suite *suite_exchange(void);
Suite *suite_frame(void);
Suite *suite_magnify(void);
Suite *suite_make(void);
Suite *suite_near(void);
Suite *suite_noise(void);
Suite *suite_pair(void);
Suite *suite_pair_why(void);
Suite *suite_power(void);
Suite *suite_prism(void);
Suite *suite_round(void);
Suite *suite_slab(void);
Suite *suite_slip(void);
Suite *suite_tolerance(void);
Suite *suite_vector(void);
Suite *suite_vertex(void);
Suite *suite_worn(void);

/* A suite of one case, to which tests are added. */
Suite *suite_new(const char *name, TCase **ret_tc);

/* Fails unless got is want within tolerance in sphere and cylinder, and its
 * axis within axis_tolerance of want's, around the half circle; a missing axis
 * must be missing. */
void expect_power(const char *why, struct optics_power got,
    struct optics_power want, double tolerance, double axis_tolerance);

#define ROWS(a) ((int)(sizeof(a) / sizeof((a)[0])))
