#pragma once
/*
 * tests/unit/optics/case_file.h - one row of tests/data/optics, and the look
 * at each figure that it expects.
 *
 * A row is {"id","path","request","expect","tolerance","angle_tolerance",
 * "tolerances"?,"angles","source","note"}.  angles names the figures that are
 * angles and the turn after which they begin anew.  A figure that the row
 * doesn't expect is passed over; a row is through when every figure that it
 * expects was looked at.
 */
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#include "optics/power.h"
#include "optics/prism.h"

struct case_row {
    const json_t *row;
    size_t seen;
};

/* The request's member at a dotted path; the test fails when it is missing. */
double case_number(const struct case_row *c, const char *path);
bool case_has(const struct case_row *c, const char *path);
const char *case_text(const struct case_row *c, const char *path);
bool case_is_null(const struct case_row *c, const char *path);
size_t case_count(const struct case_row *c, const char *path);

/* The power whose members stand under prefix ("", "new.", "readings.0."). */
struct optics_power case_power(const struct case_row *c, const char *prefix);
enum optics_eye case_eye(const struct case_row *c);

/* A figure that the row expects, for rows that are looked at another way. */
double case_expected(struct case_row *c, const char *path);

void want_number(struct case_row *c, const char *path, double got);
void want_null(struct case_row *c, const char *path);
void want_text(struct case_row *c, const char *path, const char *got);
void want_bool(struct case_row *c, const char *path, bool got);
/* sphere, cylinder and axis under prefix. */
void want_power(
    struct case_row *c, const char *prefix, struct optics_power got);

/* Runs run on every row of the file and fails unless there are rows rows. */
void case_file_run(
    const char *name, size_t rows, void (*run)(struct case_row *c));

/* Compares everything that the row expects with an answer in its form. */
void want_answer(struct case_row *c, const json_t *answer);

/* Every row of the file, an array (json_decref). */
json_t *case_file_load(const char *name);
