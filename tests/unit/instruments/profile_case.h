#pragma once
/*
 * tests/unit/instruments/profile_case.h - rows of cases that a field profile
 * reads, and its reader of rows.
 */
#include <check.h>
#include <jansson.h>
#include <stdbool.h>

struct arena;
struct profile;
struct text;

/* The profile that a row names, with its change; NULL when it names none. */
const struct profile *profile_case(const json_t *row, struct arena *arena);

/* The row's hex as bytes; false when it has none. */
bool profile_case_bytes(const json_t *row, struct text *to);

/* Rows as they arrive, templates of times, encodings. */
void profile_tests(TCase *tc);
