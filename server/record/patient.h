#pragma once
/*
 * record/patient.h - who is examined, and the words by which they are found.
 *
 * Nothing is folded in what is stored: a name keeps its bytes as they came.
 * One name only, a name of one letter and every script are fine.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"

struct arena;

#define RECORD_NAME_MAX 120

/* Before a record number run together, so that no name search passes the
 * numbers of everybody; no folded word holds it. */
#define RECORD_NUMBER_MARK '#'
/* Before a year of birth, and before what stands inside a name from one of its
 * letters on, of RECORD_INSIDE_LETTERS or more: "okonjo" is "~konjo" too. */
#define RECORD_YEAR_MARK '@'
#define RECORD_INSIDE_MARK '~'
#define RECORD_INSIDE_LETTERS 3

/* Texts live in the arena of what made it; NULL where there is none. */
struct record_patient {
    const char *id;
    const char *record_number;
    const char *family;
    const char *given;
    const char *born; /* a FHIR date: year, year-month or full */
    const char *sex;
    const char *telephone;
    int64_t created_us;
};

/*
 * Reads what a client may write (all but id and created_us), copied into the
 * arena of in's err.  now_us judges a birth date that lies ahead.  Faults are
 * in in's err; false when there are any.
 */
bool record_patient_read(
    struct json_in in, int64_t now_us, struct record_patient *ret);

/* Its members, between the braces that the caller writes. */
void record_patient_write(struct json_out *o, const struct record_patient *p);

/* The words of p for the search index, each once, in arena: every folded word
 * of its names and number, each name run together, the number run together
 * behind RECORD_NUMBER_MARK, the year of birth and the ends of each name run
 * together behind their marks. */
const char *const *record_patient_words(
    struct arena *arena, const struct record_patient *p, size_t *ret_n);
