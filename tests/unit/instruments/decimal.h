#pragma once
#include <check.h>

void decimal_tests(TCase *tc);
