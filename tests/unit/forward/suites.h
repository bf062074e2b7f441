#pragma once
#include <check.h>

#include "base/arena.h"

#define ROWS(table) ((int)ARRAY_LEN(table))

Suite *suite_answer(void);
Suite *suite_rules(void);
Suite *suite_spool(void);
