#pragma once
/* tests/unit/db/suites.h - parts of server/db that need no database. */
#include <check.h>

void call_tests(TCase *tc);
void parray_tests(TCase *tc);
