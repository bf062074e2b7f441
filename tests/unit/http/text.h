#pragma once
/* tests/unit/http/text.h - the parts of one program. */
#include <check.h>

void accept_tests(TCase *tc);
