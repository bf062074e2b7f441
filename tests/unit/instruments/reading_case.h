#pragma once
/*
 * tests/unit/instruments/reading_case.h - one row of a *.jsonl file of cases
 * about readings (tests/data/native/README.md says what a row may hold).
 */
#include <jansson.h>
#include <stddef.h>

/* The rows of tests/data/path, kept until the process ends; *ret_n is how
 * many.  The test program ends when the file can't be read. */
json_t **reading_cases(const char *path, size_t *ret_n);

/* Decodes what the row says and holds everything it expects against it; the
 * running check test fails at the first that differs. */
void reading_case_run(const json_t *row);

/* The value at an RFC 6901 pointer without ~ signs, or NULL. */
json_t *reading_case_at(json_t *root, const char *pointer);
