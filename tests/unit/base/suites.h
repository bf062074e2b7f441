#pragma once
/*
 * tests/unit/base/suites.h - one suite a part of server/base.
 */
#include <check.h>

#include "base/arena.h"

Suite *suite_arena(void);
Suite *suite_child(void);
Suite *suite_config(void);
Suite *suite_fold(void);
Suite *suite_canon(void);
Suite *suite_hash(void);
Suite *suite_instant(void);
Suite *suite_json_in(void);
Suite *suite_json_merge(void);
Suite *suite_json_out(void);
Suite *suite_multipart(void);
Suite *suite_num(void);
Suite *suite_secret(void);
Suite *suite_text(void);
Suite *suite_uuid(void);
Suite *suite_zone(void);

/* A suite of one case, to which tests are added. */
Suite *suite_new(const char *name, TCase **ret_tc);

#define ROWS(a) ((int)ARRAY_LEN(a))
