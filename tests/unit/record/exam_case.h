#pragma once
/*
 * tests/unit/record/exam_case.h - JSON in, JSON out, for tests of what an exam
 * is made of.  Texts use ' for "
 * unless a " stands in them.
 */
#include <jansson.h>

#include "record/delta.h"
#include "record/exam.h"
#include "record/step.h"

extern struct arena *ARENA; /* per test, made and freed by the fixture */

void exam_case_begin(void);
void exam_case_end(void);

/* Parsed; freed with the fixture. */
json_t *exam_json(const char *text);
struct record_refraction exam_refraction(const char *text);
/* {'right':EYE,…} as an entry of kind. */
struct record_entry exam_entry(const char *kind, const char *text);

/* Members written between braces, with ' for ". */
const char *exam_written(const struct record_refraction *r);

/* The faults of err: "pointer detail", one a line. */
const char *exam_faults(const struct err *err);
